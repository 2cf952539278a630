package rehearsal

import "strings"

// Names are put together at random from these lists, so that a customer's name
// says nothing about anybody.

func firstNames() []string {
	return strings.Fields(`Abigail Adaeze Agnieszka Aidan Aisling Akua Alasdair Aleksander Alma Amara Anders Aneta
		Anouk Arjun Asha Astrid Aylin Babak Bartosz Beatriz Benedict Bethan Bogdan Bridie Bronwen Callista Camille
		Carys Catalina Chiara Chidi Clement Conall Daichi Dalia Davina Declan Delphine Deniz Desmond Dilys Dorota
		Ebele Edwin Efua Eilidh Elif Elspeth Emeka Emilia Enrique Esme Ewan Farida Fearghal Felicity Femi Fiona
		Florin Frances Gethin Gianna Gideon Gloria Greta Gulsen Gwilym Hamza Hanneke Harriet Hector Helga Hiroko
		Hugo Ibrahim Idris Ifeoma Ilse Imogen Ines Ingrid Ioana Isaac Isolde Jadwiga Jasmin Jemima Joaquin Jolanta
		Kamal Karim Katya Keiko Kenji Kerensa Kieran Kofi Kwame Lakshmi Lars Leila Lidia Linh Lorcan Lucinda Ludmila
		Maeve Magda Mairi Malika Marcin Mariam Marisol Matilda Meera Mehmet Mihai Minh Miriam Morag Mustafa Nadia
		Nasreen Neha Ngozi Niall Nikolai Noor Obinna Odette Oluwaseun Orla Osman Padma Pascal Paloma Petra Phoebe
		Piotr Pranav Quentin Rafael Raisa Ravi Renata Rhiannon Rohan Rosalind Rufus Sabine Sadia Sanjay Saoirse
		Selma Seren Shabnam Shreya Sinead Siobhan Solveig Stellan Sunita Svetlana Tadhg Tamsin Tariq Temitope Theo
		Thandiwe Tobias Tomasz Tuan Ulrike Umar Ursula Valentina Vikram Viola Wanda Wilfred Wioletta Xanthe Yasmin
		Yewande Yolanda Yusuf Zahra Zainab Zofia Zubair`)
}

func surnames() []string {
	return strings.Fields(`Abara Achterberg Adeyemo Agarwal Aldridge Amankwah Andrzejczak Antoniou Appleyard Arslan
		Ashdown Asante Ballantyne Banerjee Barraclough Baskaran Beddoes Benkovic Bhandari Birtwistle Blenkinsop
		Boateng Bramhall Brzezicki Buchholz Cadwallader Calderbank Castellanos Chakrabarti Chaudhry Chikwanha
		Chlebowski Cholmondley Cisneros Clutterbuck Coleridge Constantinou Cruickshank Culshaw Czarnecki Dalgliesh
		Danjuma Davenport Demirci Devereux Dimitrov Dlamini Drinkwater Durrani Dwivedi Eastwick Egerton Ekwueme
		Ellingham Entwistle Erikssen Esposito Etchells Fairclough Farquharson Featherby Fernandes Fitzmaurice
		Forsythe Fotheringham Gajewski Galbraith Georgiadis Ghoshal Gilchrist Gonsalves Gostelow Grabowski
		Greenhalgh Gunawardena Gyamfi Haddad Halloran Hamidzadeh Haverstock Hawksworth Hegarty Heptonstall Hollingbery
		Holtzmann Hossain Huddlestone Ibekwe Ikeda Ingleby Iyengar Jablonski Jankovic Jayasuriya Jedrzejek Kalinowski
		Kapadia Karagoz Kavanagh Keighley Khatun Kinsella Kirkbride Kobayashi Kowalczyk Krishnan Lachlan Lampitt
		Lazarov Leadbetter Lindqvist Llewellyn Lomax Lubomirski Macalister Mahendran Malherbe Manoharan Marchetti
		Mbeki Menzies Mistry Mohamud Molyneux Moriyama Mukherjee Munteanu Nakagawa Nandakumar Nethercott Nikolaidis
		Njoroge Nowicki Nwosu Oakeshott Obuya Ogunbanjo Okonjo Olaniyan Onyango Ormerod Osei Ostrowski Oyelaran
		Papadakis Parthasarathy Pemberton Penhaligon Petrescu Pickersgill Pilkington Ponsonby Popescu Postlethwaite
		Qureshi Radcliffe Ramaswamy Ravenscroft Rehman Rigby Rosewarne Rutkowski Sadowski Salgado Satterthwaite
		Schellenberg Sengupta Shackleton Sheikh Sidebottom Skarsgaard Sokolova Somerville Stankiewicz Strachan
		Subramanian Suleiman Sutcliffe Szymczak Takahara Tattersall Tavares Thackeray Thistlethwaite Thornley Tomaszek
		Trelawney Tsegaye Uchenna Umarov Valcarcel Vandermeer Vasquez Venkatesan Wadsworth Walewski Warburton
		Wetherall Wickramage Winstanley Wojtas Wolstenholme Wrigglesworth Yamashiro Yeboah Yildirim Zawadzki Zielinski`)
}
