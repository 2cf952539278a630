package reading

import (
	"slices"
	"strings"
	"sync"
)

// themes are words that a learned text shares with others of its meaning though the
// word itself was never seen: what is said of a dish that nobody praised so far. They
// are features of the learned model alone; no rule rests on them. A word may stand in
// several rows.
var themes = []struct{ name, words string }{
	{"praise", `amazing awesome brilliant best class cool cracking deadly delicious divine epic excellent fab fabulous fantastic fine gorgeous grand great happy heavenly heaven incredible legend legends legendary
		lovely lush magic magical marvellous marvelous nice outstanding perfect perfection phenomenal quality scrumptious stunning super superb sweet tasty terrific unreal wicked wonderful yum yummy banging mint belter
		beautiful dope bomb bussin insane savage sublime exquisite mouthwatering dreamy glorious delightful delish spectacular sensational exceptional extraordinary magnificent ace smashing tidy beaut ripper choice
		cracker stellar immense peng leng slaps slapped fire lit elite goated goat wow wowza crikey blimey unbelievable proper impeccable flawless moreish scrummy toothsome succulent tender juicy crispy crunchy melt melted
		fluffy warming comforting hearty homely authentic killer fierce massive phenom boss sick gas heat chefs ten outta world banger lifechanging rico rica delicioso deliciosa delicieux delicieuse excellent bravo magnifique
		genial buenisimo riquisimo sabroso masarap sarap swaad lajawab mashallah zabardast mazedaar oishii umami hao chi maravilloso increible treat treats hero heroes angel angels saint star stars genius queen king wizard goddess`},
	{"enjoy", `love loved loves loving adore adored adores enjoy enjoyed enjoying enjoys relish relished savour savoured savor savored devoured devour inhaled scoffed demolished polished scarfed gobbled hoovered licked licking lick
		drooling salivating obsessed addicted hooked impressed treated spoilt spoiled stuffed full satisfied bellies belly seconds leftovers plates clean licked raved raving rave praised approved approves smiling grinning happy tears heaven sold`},
	{"eat", `eat eats eating ate eaten et bite bites biting nibble nibbled nibbling taste tasted tasting tastes tried try trying chew chewed chewing swallow swallowed munch munched munching dine dined dining feast feasted snack snacked tuck tucked
		sampled sip sipped drank spoon forkful mouthful comer comimos comi comiendo manger mange mangé`},
	{"thank", `thanks thank thankyou thx tnx tks ty tysm cheers ta grateful gratitude appreciate appreciated appreciates obliged bless blessings blessed gracias merci mercy danke grazie obrigado obrigada salamat shukria shukriya dhanyavad dhanyavaad
		xiexie diolch tapadh slainte kiitos tack mahalo arigato domo asante medaase dziekuje dzieki multumesc spasibo teshekkur tesekkur efharisto toda todah cảm ơn kamsahamnida maake jazakallah jazak khair shukran respect props kudos preciate kia ora`},
	{"agree", `ok okay okie okey okily oki k kk yes yep yeah yeh yup yip yas aye sure certainly absolutely definitely indeed alright alrighty righto rightio right roger copy noted understood gotcha done deal agreed agree sound sorted sweet perfect
		fine good fair bueno vale claro sí si oui dac bien accord haan theek thik acha accha ji oo opo sige da hai jawohl confirmed confirm confirming confirms acknowledged received reading seen will affirmative fab bet word calm safe`},
	{"bad", `bad awful horrible terrible disgusting gross vile rank minging manky rotten mouldy moldy mold mould off sour stale soggy mushy dry burnt burned burn charred raw undercooked overcooked bland salty tasteless greasy oily rubbery tough chewy cold
		lukewarm tepid frozen hard stodgy slimy rancid smelly stinks stink stank bitter watery runny gritty sandy dirty filthy inedible disappointed disappointing disappointment shocking shocker poor worst worse rubbish crap shite shit nasty weird strange odd
		funny dodgy unhappy unacceptable appalling ridiculous disgrace joke fuming raging livid annoyed upset angry furious let`},
	{"broken", `broken broke break leak leaked leaking leaks leaky spilled spilt spill spilling spills burst bursting split splits torn tore tear ripped rip crushed squashed smashed cracked crack chipped dented squished flattened loose undone opened tipped
		tipping upside soaked soaking drenched wet dripping drip drips drenching collapsed popped exploded melted damp seal sealed unsealed lid lids tape`},
	{"foreign", `hair hairs bone bones shell shells plastic glass metal wire staple string twine stone stones grit sand insect fly flies bug bugs maggot cockroach roach ant ants worm moth wasp spider plaster nail tooth fingernail toothpick splinter wood eyelash rubber
		band cardboard mould mold foil wrapper sticker bandage`},
	{"lack", `missing miss missed short shorted forgot forgotten forget lacking lack lacks without absent only just half empty none nothing nowhere skipped omitted left instead wrong incorrect mixup mixed mix swapped swap switched mistake mistaken error
		somebody else's someone other different extra less fewer not never minus sans falta faltan falto olvidaron manque manquait incomplete partial another's strangers`},
	{"ill", `sick ill unwell poorly vomit vomiting vomited puking puked puke threw throwing nausea nauseous queasy stomach tummy cramps diarrhea diarrhoea runs ache aching fever food-poisoning poisoning poisoned hospital ambulance doctor emergency a&e er clinic
		rash hives swelling swollen swells itchy itching itch tingling tingly wheezing wheeze wheezy breathing breathe breath choking choked choke epipen epi antihistamine reaction reacting spots blotchy blotches lips lip tongue throat mouth burning
		flu covid virus bug concussion broke surgery operation labour labor contractions migraine dentist stitches injured injury hurt fell fall accident funeral passed died death`},
	{"dish", `dumpling dumplings bao baos gyoza potsticker potstickers wonton wontons momo momos tamale tamales pierogi pierogies pelmeni empanada empanadas samosa samosas pasty pasties pie pies curry curries stew stews soup soups broth ramen noodle noodles rice
		biryani pilau pilaf pulao naan naans roti rotis paratha parathas chapati dal daal lentils paneer tikka masala korma vindaloo jollof suya egusi fufu plantain moimoi injera wat tagine couscous hummus falafel kebab kebabs kofte kofta shawarma gyro gyros souvlaki
		moussaka lasagna lasagne pasta gnocchi ravioli pizza pizzas calzone burger burgers brisket ribs wings chicken beef pork lamb goat duck turkey ham sausage sausages bacon fish salmon cod prawns prawn shrimp crab lobster oyster mussels squid tofu tempeh egg eggs
		cheese bread loaf loaves sourdough bun buns roll rolls bagel bagels focaccia pretzel cake cakes cupcake cupcakes brownie brownies cookie cookies biscuit biscuits tart tarts cobbler pudding puddings custard trifle cheesecake pavlova doughnut doughnuts donut donuts
		scone scones crumble strudel baklava ice cream gelato salad slaw coleslaw potato potatoes chips fries mash gravy stuffing beans corn greens cabbage kimchi pickle pickles chutney raita salsa guac guacamole sauce sauces dip dips relish mayo ketchup mustard vinegar
		oil chili chilli garlic ginger spring onion onions mushroom mushrooms pumpkin sweet spinach veg vegetables veggies meat meats seafood roast roasts casserole hotpot hotpots goulash chowder chili gumbo jambalaya etouffee catfish grits collards mac pozole birria taco
		tacos burrito burritos enchilada enchiladas quesadilla tostada mole tortilla tortillas arepa arepas pupusa pupusas ceviche adobo sinigang lumpia pancit sisig lechon satay rendang laksa pho banh mi nasi goreng sushi katsu tempura donburi bento bulgogi bibimbap
		kimbap tteokbokki congee jiaozi siu mai hargow dimsum platter tray trays sampler portion portions serving servings boxful tub tubs plate plates dessert desserts sides side starter starters drink drinks juice soda lemonade chai`},
	{"diet", `vegan veggie vegetarian veg pescatarian halal kosher jain keto lowcarb gluten glutenfree gf dairy dairyfree lactose df nutfree eggless nonveg meatfree meatless plantbased organic fodmap sugarfree diabetic coeliac celiac coeliacs celiacs spicy spice spicier
		mild milder hot hotter extra less heat spiciness msg alcohol pork`},
	{"allergen", `allergy allergies allergic allergen allergens intolerant intolerance anaphylaxis anaphylactic nut nuts peanut peanuts almond almonds cashew cashews walnut walnuts hazelnut pistachio pecan sesame tahini gluten wheat dairy lactose milk butter egg eggs
		shellfish crustacean crustaceans mustard celery soy soya lupin sulphites sulfites fish prawn prawns shrimp trace traces contamination crosscontamination ingredients ingredient contain contains containing epipen`},
	{"kin", `husband hubby wife wifey missus mum mom mam mammy mummy mommy ma dad daddy da pa papa son sons daughter daughters sister sis brother bro uncle auntie aunt aunty nan nana nanny gran grandma granny grandad grandpa grandson granddaughter nephew niece cousin cousins
		partner boyfriend bf girlfriend gf fiance fiancee parents inlaws kid kids child children baby babies toddler twins teenager teen lad lads lass family fam mother father stepmum stepdad stepson abuela abuelo tia tio tita tito lola lolo kuya ate bhai bhaiya didi
		amma appa ammi abbu nani dadi babcia ciocia oma opa nonna yiayia mate friend friends neighbour neighbor flatmate housemate roommate roomie buddy pal colleague coworker`},
	{"hired", `driver taxi cab cabbie courier rider carer caregiver nurse helper assistant secretary pa intern sitter babysitter nanny aupair aide volunteer apprentice employee staff student chauffeur minicab rickshaw`},
	{"travel", `drive driving drove driven ride riding rode walk walking walked walkin cycle cycling cycled biking bike pedal pedalling run running ran jog jogging head heading headed headin come coming comin came go going goin gone went leave leaving left leavin set setting
		off depart departing travelling traveling travel journey trip commute road route way en omw otw enroute rolling roll trundling legging legged pegging dashing dash rushing rush hurrying hurry speeding bombing zooming flying fly scooting nipping nip popping pop
		swinging swing bouncing crossing cross approaching approach nearing nearly almost turning turn merging exit junction motorway highway freeway interstate expressway bypass m1 m25 a1 toll bridge tunnel ferry tube train bus tram metro rail platform station airport
		miles mile km kms blocks block yards corner minutes away closing sat satnav gps maps map eta reroute rerouted diversion detour llego llegando camino voy vamos route chemin arrive`},
	{"delay", `late later latish lateness delay delayed delays traffic jam jams jammed gridlock queue queues queuing crawl crawling standstill stuck behind held holdup roadworks works closed closure shut accident crash collision pileup breakdown broke puncture flat tyre tire
		weather snow ice flood flooded storm fog fire police train cancelled running slow slower overrun overran overtime meeting shift boss kept delayed longer sorry apologies bear patience patient wait hold hang meanwhile unfortunately afraid retard tarde retraso trafico atascado
		tractor cows sheep herd cattle parade marathon demonstration march lights temporary petrol gas fuel charging charger forgot wallet keys asleep overslept nap alarm babysitter toddler tantrum nappy shower bath hair`},
	{"arrive", `here arrived arrive arriving arrival reached reach parked park parking pulled pulling landed outside outdoors waiting wait waits standing stood stand sitting sat sit lurking loitering hovering stationed rocked turned rolled made present downstairs upfront
		outfront front door doorstep gate kerb curb kerbside curbside driveway drive bay space layby lot carpark window hatch counter bell knock knocked knocking rang ring ringing buzz buzzed hazards flashers flashing headlights beams engine idling boot trunk tailgate
		waving wave hello afuera aqui llegue llegamos estacionado estacionada dehors arrive arrivé stationné devant porte`},
	{"place", `gate gates door doors house home kitchen drive driveway road street corner kerb curb carpark park lot space bay entrance front back side lane garage bin bins postbox mailbox lamp lamppost church chapel temple mosque shop shops store bridge wall fence tree
		hedge alley building counter line window porch step steps stairs yard layby bollard skip shed hydrant sidewalk footpath pavement verge hall centre center tent stall van trailer unit pole flagpole bench playground shutter barrier cone cones sign red blue green
		skip dumpster mural fountain statue clock tower chippy offlicence bakery butcher chemist pharmacy laundrette launderette barber salon bookies bank school nursery pub gasworks railway arch arches canal river path`},
	{"way", `where wheres where's which whereabouts address postcode zip eircode directions direction map maps pin location located locate find finding entrance left right straight turn junction number door buzzer code gate lost wandering circles satnav far near opposite
		landmark landmarks street road park parking permit space spaces meter ticket donde direccion estacionar ou adresse`},
	{"pay", `pay paid payment payments paying cash card cards contactless tap bank transfer transferred etransfer invoice invoices receipt receipts refund refunds refunded money owe owed owing charge charged charges
		deposit balance bill price prices cost costs cheap expensive dear discount voucher coupon total tip tips quid pound pounds dollar dollars bucks euro euros change pago pagar dinero efectivo tarjeta precio cuanto factura`},
	{"order", `order orders ordered ordering booking booked collection pickup slot slots menu add added adding extra remove change swap switch upgrade double another more basket confirmation confirm reserved reserve preorder pre-order deposit catering cater party bulk
		deliver delivery delivering delivered`},
	{"cancel", `cancel cancelled cancelling canceled canceling cancellation refund scrap scratch bin forget void withdraw skip pass donate give sell gift nevermind unable cannot cant couldn't wont no-show rain check raincheck bail bailing drop out pull cancelo cancelar annuler
		annulez anular kill knock`},
	{"shift", `move moved moving change changed changing swap switch reschedule rescheduled shift shifted push pushed postpone postponed delay bring forward earlier later sooner instead rather another different next tomorrow possible possibly chance any squeeze slot time
		mover cambiar adelantar posponer changer déplacer hold keep save`},
	{"private", `babe baby bae hun hunny love luv darling sweetie honey xoxo kiss miss dinner tea lunch breakfast homework school teacher class football footie soccer hockey rugby cricket netball basketball baseball gym yoga pilates zumba swimming practice training rehearsal
		choir band gig concert party pub club beers pint pints drinks wine night match game season team coach movie film telly tv show episode series dog cat vet walkies hamster bath bedtime nap nursery daycare crèche laundry washing dishes hoover bins recycling
		milk bread nappies diapers shopping groceries boiler plumber electrician landlord rent mortgage meeting office boss payroll spreadsheet report deadline client invoice interview exam essay lecture uni seminar dissertation wedding bridesmaid
		funeral christening birthday cake present gift holiday flight hotel airport passport packing suitcase beach date ex gossip haircut hairdresser nails dentist doctors appointment prescription keys charger phone wifi password lol lmao rofl omg bruh dude`},
	{"ad", `offer offers deal deals discount sale save savings win winner won prize claim claims reward rewards bonus points voucher gift free trial quote quotes loan loans credit debt mortgage insurance insured policy claim compensation ppi solar panels roof roofing gutters
		windows conservatory boiler broadband fibre energy tariff supplier investment invest crypto bitcoin trading profit earn income casino slots bet bets betting spins jackpot lottery click link visit website www http https subscribe follow 
		verify verification code otp passcode security suspended account login delivery parcel package courier customs redelivery tracking tax vote voter poll election candidate donate campaign survey appointment reminder clinic dental dentist surgery gp pharmacy
		prescription reply text stop optout unsubscribe msg rates apply terms limited today expires hurry listing realtor property viewing recruiter vacancy hiring job seo marketing leads website`},
	{"ask", `can could would will may might shall do does did is are was what when where which who why how any anyone possible possibly wondering wonder chance mind please if whether know tell confirm check allowed okay ok query question q querying ask asking advise quick
		puedo puede podria como cuando donde cual que pourriez pouvez est-ce peut-on quand comment combien pwede ba kya kab`},
	{"carry", `carry carrying carried bring bringing brought lift lifting hand hands help heavy arms full crutches wheelchair walker frame stick cane knee hip ankle leg back arthritis disabled disability badge blue bluebadge mobility pregnant pram buggy stairs steps ramp door
		deaf hearing blind asleep sleeping carseat unattended alone struggle struggling`},
	{"urge", `hurry quick quickly asap soon rush rushing long longer ages forever cold freezing wet rain raining soaked starving hungry hangry impatient still yet already again hello anybody anyone nobody noone somebody someone waiting waited wait minutes mins hour half past
		ignored forgotten ridiculous warden ticket traffic blocking meter`},
	{"nobody", `nobody noone nobodys no-one none anybody anyone somebody someone answer answering answered reply response empty closed locked dark shut deserted quiet sign life ghost`},
	{"got", `got gotten have had received receive collected collect picked pick handed handing grabbed fetched delivered safe safely home inside bagged secured boot fridge table served unpacked unpacking opened plated reheating reheated heating microwave oven recibido recibi
		recibimos récupéré reçu`},
	{"carpart", `reg rego registration plate plates licence license tag tags number ending ends starts colour color hatchback saloon sedan estate wagon suv van minivan pickup truck coupe convertible cabriolet people carrier mpv 4x4 jeep campervan camper motorhome trailer
		moped scooter motorbike bike bicycle ebike electric hybrid rental hire hired loaner courtesy borrowed company work lease sticker stickers roofrack rack roof dent dented scratch rusty rust dirty muddy clean tinted wheels alloys bumper spoiler exhaust wing mirror
		headlight windscreen windshield rear front back door doors left-hand matte metallic sparkly shiny two-tone`},
	{"future", `will shall gonna going will'll later tonight tomorrow soon next then after before when once until till by around about expect expecting plan planning hope hoping hopefully should aim aiming might probably likely intend looking seeya see`},
	{"past", `was were been had did yesterday earlier ago last previously before used once already since gone went came waited ordered told said asked`},
	{"stopper", `stop stopping unsubscribe unsub optout opt remove delete take off list cease desist quit end spam spamming harass harassing bothering annoying texts messages notifications reminders alerts sms marketing consent gdpr block blocked number phone never again anymore
		enough discontinue désabonner désinscrire baja parar arreter arrêtez dejen`},
	{"wrongno", `wrong number mistake mistaken who whos dis mixed meant accident accidentally oops ignore disregard pocket toddler fingers autocorrect error recipient thread chat group unknown unfamiliar stranger`},
	{"sorry", `sorry apologies apologise apologize apology soz sozzle pardon forgive regret afraid unfortunately sadly perdon disculpa lo siento désolé desole pardon oops whoops`},
	{"greet", `hi hello hey hiya heya hullo howdy yo morning afternoon evening gday greetings hola buenas bonjour bonsoir salut namaste salaam salam assalamu alaikum kumusta ciao hallo hej wagwan alright ayup ey up eyup`},
	{"smalltalk", `weather sunshine weekend christmas xmas easter eid diwali hanukkah thanksgiving birthday anniversary holiday hope well day week night everyone team crew family business community neighbourhood support supporting local recommend recommended recommending
		recommendation review reviews stars told telling friends post posted photo photos picture pictures recipe secret again next always regular regulars customer customers`},
}

// themesByWord gives the themes of a folded word.
var themesByWord = sync.OnceValue(func() map[string][]string {
	out := make(map[string][]string)
	for _, t := range themes {
		for _, w := range strings.Fields(t.words) {
			if w = Fold(w); !slices.Contains(out[w], t.name) {
				out[w] = append(out[w], t.name)
			}
		}
	}
	return out
})

// themesOf gives the themes of a word, or of what it is the plural of.
func themesOf(w string) []string {
	all := themesByWord()
	if found := all[w]; found != nil || len(w) <= 3 || w[len(w)-1] != 's' {
		return found
	}
	return all[w[:len(w)-1]]
}
