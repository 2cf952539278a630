package reading

// The word classes. A phrase names one as <subject>; a word may be in several.
const (
	clsCar    class = 1 << iota // part of a vehicle's description (laid over the text)
	clsPlate                    // part of a plate (laid over)
	clsName                     // a name of the order book (laid over)
	clsRef                      // an order reference (laid over)
	clsTime                     // part of a clock time (laid over)
	clsDur                      // part of a length of time (laid over)
	clsNumber                   // a number, in digits or words
	clsSubject
	clsPerson
	clsBe
	clsHave
	clsWill
	clsDo
	clsCan
	clsNot
	clsNobody
	clsMine // possessives and articles
	clsAdverb
	clsBeside
	clsSpot // things that stand at or near a collection point
	clsWh   // question words
	clsYou
	clsFood
	clsItem // order, bag, food in general
	clsGet  // collect, pick up
	clsDay
	clsFiller
	clsPolite
	clsVocative
	clsGreeting
	clsAllergen
	clsWear
	clsTopic
	clsLead
	clsPraise
	clsSlot
	clsTravel
	clsMonth
)

// overlaid are the classes that depend on the text and not on the word alone.
const overlaid = clsCar | clsPlate | clsName | clsRef | clsTime | clsDur | clsNumber

var classNames = map[string]class{
	"car": clsCar, "plate": clsPlate, "name": clsName, "ref": clsRef, "time": clsTime, "dur": clsDur, "num": clsNumber,
	"subject": clsSubject, "person": clsPerson, "be": clsBe, "have": clsHave, "will": clsWill, "do": clsDo, "can": clsCan,
	"not": clsNot, "nobody": clsNobody, "my": clsMine, "adv": clsAdverb, "beside": clsBeside, "spot": clsSpot, "wh": clsWh,
	"you": clsYou, "food": clsFood, "item": clsItem, "get": clsGet, "day": clsDay, "filler": clsFiller, "polite": clsPolite,
	"mate": clsVocative, "hi": clsGreeting, "allergen": clsAllergen, "wear": clsWear, "topic": clsTopic, "praise": clsPraise,
	"slot": clsSlot, "travel": clsTravel,
}

// classTable holds the words of each class. A new language adds rows.
var classTable = []struct {
	class class
	words string
}{
	{clsSubject, "i we he she they that it everyone yo nosotros el"},
	{clsPerson, `husband hubby wife wifey missus mrs mum mom mam mammy mummy mommy ma dad daddy da son daughter sister sis brother bro uncle
		auntie aunt aunty nan nana nanny gran grandma granny grandad grandpa grandson granddaughter grandfather grandmother nephew niece cousin friend
		mate pal buddy partner boyfriend bf boyf fella girlfriend gf gfs fiance fiancee neighbour neighbor flatmate housemate roommate roomie colleague
		coworker workmate boss driver cabbie cab taxi uber lyft lad lads lass kid kids girls boys guys guy man fella parents inlaws mil fil carer helper
		assistant someone somebody son-in-law daughter-in-law sitter babysitter au-pair intern secretary family folks
		esposo marido esposa mujer hijo hija hermano hermana mama papa primo prima amigo amiga vecino vecina novio novia suegra suegro cunado cunada abuelo
		abuela tio tia sobrino sobrina nieto nieta senora senor alguien chofer conductor`},
	{clsBe, "am is are be been being was were estoy esta estan estamos soy somos es"},
	{clsHave, "have has had having"},
	{clsWill, "will shall would should might may must voy va vamos van"},
	{clsDo, "do does did"},
	{clsCan, "can could may might would will puedo puede podemos pueden podria podriamos"},
	{clsNot, "not never aint nae no ya-no nunca"},
	{clsNobody, "nobody noone none nadie nobodys"},
	{clsMine, "my our his her their your the a an this that these those mine another some el la los las un una mi mis tu su sus nuestro nuestra"},
	{clsAdverb, "now just already finally currently still all only literally both actually right safely also over out up in back again early well both too even basically officially physically about sat sitting standing parked waiting already outside ya ahora aqui apenas"},
	{clsBeside, "at by beside besides near behind opposite outside next across along alongside under underneath round around facing against in inside on onto outside past adjacent en frente afuera detras junto cerca atras"},
	{clsSpot, `gate gates door doors doorstep doorway house home place kitchen drive driveway road street st corner curb kerb kerbside curbside carpark park lot spot space bay bays entrance
		entry entryway front back side lane garage garages bin bins postbox mailbox box lamp lamppost bus stop church chapel shop shops store bridge junction wall fence tree trees sign pub school hedge alley
		alleyway building table counter queue line window porch step steps stairs yard layby lay-by bollard bollards skip shed hydrant sidewalk footpath pavement verge hall centre center tent stall stand van trailer
		address property unit pole post flagpole bench playground roundabout lights streetlight streetlamp dumpster dumpsters sidewalk parkade forecourt laneway crossing footpath ramp railings gatepost shutter shutters awning
		puerta casa porton esquina calle entrada estacionamiento cochera banqueta acera tienda iglesia parqueadero camino frente reja garaje parada porche buzon semaforo cocina local
		estate nature strip naturestrip hatch bell letterbox reception lobby foyer hub club clubhouse oval court crescent close terrace mews path pathway cones cone bank grass point area zone`},
	{clsWh, "what where when which who whom whose why how que donde cuando cual quien como cuanto cuanta cuantos cuantas"},
	{clsYou, "you ye yous they ya usted ustedes tu"},
	{clsItem, "order orders bag bags box boxes food foods meal meals dinner tea lunch supper takeaway takeout delivery stuff items item goods grub parcel tray trays container containers pack packs tub tubs package pickup collection booking pedido pedidos comida bolsa orden ordenes"},
	{clsGet, "collect collecting collected collects pick picking picked grab grabbing get getting fetch fetching pickup recoger recogo recoge recogera buscar"},
	{clsDay, "today tonight tomorrow monday tuesday wednesday thursday friday saturday sunday mon tue tues wed weds thu thur thurs fri sat sun weekend week morning afternoon evening arvo manana hoy lunes martes miercoles jueves viernes sabado domingo"},
	{clsFiller, `x xx xxx xo xoxo lol haha hahaha ha lmao please thanks thank you so very much sorry love mate and the a an oh ah um er well just now then also btw fyi ok okay yes yeah yep hi hello hey hiya
		cheers ta regards kind dear best bit there we i it is am are my our in on for with of to by as reg reg. registration plate plates number licence license rego tag tags car vehicle at all from this that its me one colour color coloured colored colore make model
		here por favor gracias en el la un una de mi placas placa matricula carro coche auto es con y soy yo el los las tengo hola buenas buenos tardes noches`},
	{clsPolite, "please thanks thank you cheers ta ty kindly sorry gracias favor por now all messages texts it"},
	{clsVocative, "mate love bro boss lads lad boys folks guys dear darling hun hon luv pal buddy sir madam maam chef man dude chief bossman sis fam y'all everyone team lady ladies gents friend amigo jefe senora senor sweetheart pet duck petal bud cuz brother sister doll brethren bruv babe"},
	{clsGreeting, "hi hello hey hiya heya hullo howdy yo morning afternoon evening gday greetings heyy hola buenas good evening hii howya"},
	{clsAllergen, `nut nuts peanut peanuts almond almonds cashew cashews walnut walnuts hazelnut hazelnuts pistachio pistachios pecan pecans sesame tahini gluten wheat dairy lactose milk butter egg eggs shellfish crustacean
		crustaceans mollusc molluscs mustard celery soy soya lupin sulphite sulphites sulfites fish prawn prawns shrimp shrimps cacahuate cacahuates cacahuete mani nuez nueces leche lacteos huevo huevos mariscos camaron camarones trigo soja ajonjoli casein whey barley rye noix noisette noisettes amande amandes arachide arachides lait oeuf oeufs crevette crevettes poisson poissons crab crabs lobster oyster oysters mussels clams scallops squid calamari msg`},
	{clsFood, `bean beans chile chili chilli chillies salsa rice sauce wine cabbage curd cheese tea bag pepper peppers onion onions cake cakes mole queso pumpkin lentil lentils curry chicken pork beef lamb duck juice soup salad corn cream bread dumpling dumplings tamale tamales pierogi tofu
		mushroom mushrooms noodles pickle pickles roti naan dal daal dhal masala pudding custard slaw dip pie pies macaroni steak noodle samosa samosas bhaji bhajis pasty pasties pastry burger burgers wrap wraps wings ribs taco tacos burrito empanada empanadas`},
	{clsWear, `coat jacket umbrella hat cap helmet hoodie hoody puffa puffer scarf pram buggy stroller suitcase rucksack backpack beanie jumper sweater dress top shirt tshirt trousers shorts boots wellies trainers shoes gloves
		mask tie vest fleece cardigan skirt jeans raincoat mac poncho anorak cagoule sari hijab turban apron hair beard trolley wheelchair scooter-bag tote leash lead dog pup puppy collie labrador lab poodle balloon balloons torch flag chaqueta abrigo gorra sombrero paraguas camisa sueter mochila
		overalls uniform scrubs hivis tracksuit joggers lights door light sign house gate wall fence bin bins building wheels rims stripe stripes roof sticker stickers tent awning porch shutters shutter front mailbox postbox`},
	{clsTopic, `order orders ordered ordering booking booked cancel uncancel cancelled refund menu dumpling dumplings food collect collection pickup menu price cost pay paid cash card payment voucher parking park address postcode zip zipcode slot slots spicy vegan vegetarian veggie veg halal kosher
		reheat heat freeze frozen portion portions vinegar napkins chopsticks cutlery directions deliver delivery receipt invoice refund deposit allergen allergens allergy ingredients collecting wait queue kitchen bring door
		pedido orden menu pagar pago efectivo tarjeta direccion estacionar estacionamiento salsa picante precio cuesta cuanto lugar hora recoger`},
	{clsLead, "and but so then well ok okay yes yeah yep hi hello hey hiya sorry please thanks just now also oh ah right hola pero y"},
	{clsPraise, "amazing awesome brilliant best class cool cracking deadly delicious divine epic excellent fab fabulous fantastic fine gorgeous grand great happy heavenly incredible legend legends legendary lovely lush magic marvellous nice outstanding perfect perfection phenomenal quality scrumptious sound spot-on stunning stoked super superb sweet tasty terrific top unreal wicked wonderful yum yummy yumm banging bangin mint belter beautiful dope fire bomb bussin rico ricos rica ricas delicioso deliciosa deliciosos excelente perfecto perfecta genial buenisimo riquisimo ricas sabroso sabrosos unbelievable insane savage"},
	{clsSlot, "slot time pickup collection order booking mine it ours one appointment reservation hora pedido turno"},
	{clsTravel, "leave leaving left head heading set setting go going start starting finish finishing off work works shift clock out begin till until"},
}

// numberWords in English and Spanish. "half" and "quarter" are read with times.
var numberWords = map[string]int{
	"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10, "eleven": 11, "twelve": 12,
	"thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19, "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50,
	"fiveish": 5, "sixish": 6, "sevenish": 7, "eightish": 8, "tenish": 10, "twennie": 20,
	"dos": 2, "tres": 3, "cuatro": 4, "cinco": 5, "seis": 6, "siete": 7, "ocho": 8, "nueve": 9, "diez": 10, "once-es": 11, "doce": 12, "quince": 15, "veinte": 20, "veinticinco": 25, "treinta": 30, "cuarenta": 40,
	"deux": 2, "trois": 3, "quatre": 4, "cinq": 5, "huit": 8, "neuf": 9, "dix": 10, "onze": 11, "douze": 12, "quinze": 15, "vingt": 20, "trente": 30, "quarante": 40,
	"一": 1, "二": 2, "两": 2, "三": 3, "四": 4, "五": 5, "六": 6, "七": 7, "八": 8, "九": 9, "十": 10,
}

// shorthand is what people type for longer words, with or without apostrophes.
const shorthand = `
im iam=i am
ive=i have
youre ur'e yr=you are
theyre=they are
hes=he is
shes=she is
thats=that is
theres=there is
heres=here is
wheres=where is
whats wats=what is
whens=when is
whos=who is
hows=how is
its=it is
itll=it will
thatll=that will
theyll=they will
youll=you will
weve=we have
theyve=they have
youve=you have
hasnt hasn't=has not
havent haven't havnt=have not
hadnt=had not
isnt=is not
arent=are not
wasnt=was not
werent=were not
dont=do not
doesnt dosnt=does not
didnt=did not
cant cannot=can not
couldnt=could not
wont=will not
wouldnt=would not
shouldnt=should not
aint=is not
gonna gunna gna goin2 gon=going to
wanna=want to
gotta=got to
tryna=trying to
lemme=let me
gimme=give me
finna=going to
imma ima=i will
omw omwww=on my way
otw=on the way
u yu=you
ur=your
r=are
b=be
c=see
n nd=and
k kk okey okie okey-dokey oki=ok
pls plz plss plse pleas plese=please
thx tx tnx thnx thnks thks thanx fanks tks=thanks
ty tysm tyvm tq=thank you
cya=see you
tmrw tmw tomoz 2moro tomoro tmr tomorow tommorow tommorrow=tomorrow
tonite 2nite 2night tnite=tonight
2day=today
min noimead noimeid minutinhos minutinho mins minute minuts minites minutos minuto minits minutitos minutito mintues minuts=minutes
hr hrs hour=hours
sec secs segundos=seconds
wat wot wht=what
wen=when
wer whr=where
abt bout=about
bc cos coz cuz bcoz becos=because
rn atm=now
hv hav=have
jus jst=just
outa outta=out of
cud=could
shud=should
wud=would
ppl=people
msg msgs mssg=message
txt txts=text
txting=texting
sat'day=saturday
nr=near
approx aprox bout=about
w=with
wiv=with
dat=that
dis=this
dem=them
den=then
dere=there
gud gd=good
no1 noone=nobody
nobodys noones=nobody is
some1=someone
any1=anyone
anybody=anyone
every1=everyone
yous youse yas yiz=you
yall=you
ppl=people
outsid outsde ouside otside oustide=outside
arrvd arived arrvied=arrived
nvm=never mind
idk=i do not know
dunno=do not know
wdym=what do you mean
soz sry sos srry soory=sorry
deffo defo=definitely
luv=love
def=definitely
prob probs prolly=probably
poss=possible
q'd=queued
sista=sister
bday=birthday
dnt=do not
cnt=can not
wnt=want
gr8=great
m8=mate
l8=late
l8r=later
4u=for you
b4=before
st8=straight
yea yeh yah yup yus aye=yes
nah nope naw=no
ello=hello
alrite alright aite aight=ok
tho=though
thru=through
til till=until
yer yr=your
cuppa=tea
qs=questions
addy=address
resched=reschedule
appt=appointment
xq xfa=because
stoped=stopped
ahorita=ahora
x'favor porfa porfis plis=por favor
minut minuti minuta minuty minuten minutter minuter=minutes
whit=what
oot=out
doon=down
tae=to
stead=instead
hoose=house
aboot=about
roon roond=round
wi wie=with
noo=now
didnae didny=did not
cannae canny cannie=can not
couldnae=could not
wasnae=was not
isnae=is not
willnae=will not
havenae huvnae=have not
doesnae=does not
wouldnae=would not
gonnae gonny=going to
summat summit=something
nowt=nothing
owt=anything
mebbe=maybe
theah thar dere=there
heah hyar=here
aftah=after
quatah quater=quarter
caint=can not
ovah=over
watah=water
tonicht=tonight
sori=sorry
comin=coming
mornin=morning
thankyou=thank you
cheerz=cheers
fanks=thanks
parkin=parking
weel=well
ahm=i am
aam=i am
wur=we are
amn't amnt=am not
`

// quotedShorthand needs its apostrophe: without it these are other words.
const quotedShorthand = `
we're=we are
were=we are
we'll=we will
well=we will
i'll=i will
ill=i will
he'll=he will
hell=he will
she'll=she will
shell=she will
we'd=we would
wed=we would
i'd=i would
id=i would
she'd=she would
shed=she would
he'd=he would
let's=let us
lets=let us
who're=who are
they'd=they would
`

// face is one meaning of a word beside certain neighbours. "*" takes any, "$"
// the end of the clause.
type face struct {
	prev, next string
	means      []string
}

const (
	verbsAfterWill = "be come get arrive pick collect text see let leave need have bring drive head pop swing wait make send call park meet ring take just prob probably definitely also not try go walk stay still"
	headOfClause   = "$ and but so hi hello hey ok yes sorry now think because when if until as once btw"
)

// faces are words that dictation and haste confuse with others.
var faces = map[string][]face{
	"were":      {{headOfClause, "*", []string{"we", "are"}}},
	"ill":       {{"*", verbsAfterWill, []string{"i", "will"}}},
	"well":      {{"*", verbsAfterWill, []string{"we", "will"}}},
	"shell":     {{"*", verbsAfterWill, []string{"she", "will"}}},
	"hell":      {{"*", verbsAfterWill, []string{"he", "will"}}},
	"id":        {{"$", "like prefer rather be need love", []string{"i", "would"}}},
	"wed":       {{"$", "like prefer rather be need love", []string{"we", "would"}}},
	"hear":      {{"am are is be we now he she they just still finally been right all", "*", []string{"here"}}, {"$", "$ now in outside at waiting for with x mate", []string{"here"}}},
	"heer":      {{"*", "*", []string{"here"}}},
	"her":       {{"am are we", "$ now", []string{"here"}}},
	"hare":      {{"am are we", "*", []string{"here"}}},
	"ere":       {{"*", "*", []string{"here"}}},
	"hre":       {{"*", "*", []string{"here"}}},
	"hete":      {{"*", "*", []string{"here"}}},
	"herr":      {{"*", "*", []string{"here"}}},
	"gere":      {{"*", "*", []string{"here"}}},
	"jere":      {{"*", "*", []string{"here"}}},
	"herw":      {{"*", "*", []string{"here"}}},
	"heee":      {{"*", "*", []string{"here"}}},
	"their":     {{"be get getting nearly almost am are", "*", []string{"there"}}, {"*", "in $ by at", []string{"there"}}},
	"hour":      {{"in outside", "van car", []string{"our"}}},
	"parker":    {{"am are just have", "*", []string{"parked"}}},
	"perked":    {{"am are just have $", "*", []string{"parked"}}},
	"barked":    {{"am are just have $", "up outside", []string{"parked"}}},
	"wheat":     {{"$ i am", "outside", []string{"waiting"}}},
	"fore":      {{"*", "*", []string{"for"}}},
	"weight":    {{"will can please just", "$ outside in for until here", []string{"wait"}}},
	"weighting": {{"*", "*", []string{"waiting"}}},
	"peace":     {{"*", "of", []string{"piece"}}},
	"there":     {{"*", "car van order bag", []string{"their"}}},
	"knot":      {{"am is are can", "*", []string{"not"}}},
	"bean":      {{"have has", "*", []string{"been"}}},
	"buy":       {{"*", "the postbox gate door bins church wall", []string{"by"}}},
	"bye":       {{"*", "the", []string{"by"}}},
	"inn":       {{"*", "a the", []string{"in"}}},
	"minuets":   {{"*", "*", []string{"minutes"}}},
}

// mendable are the words that a slip of one letter is put right to.
const mendable = `outside arrived arriving parked parking waiting pulling tomorrow tonight minutes cancel cancelled cancelling collect collected collecting collection running leaving
nearly almost stuck traffic delayed missing forgot forgotten thanks thank please order ordered nobody somebody someone instead earlier later reschedule change moved switch
driveway carpark downstairs entrance standing sitting reached coming heading vehicle running cancelar gracias afuera llegando llegue estacionado pedido esperando
allergy allergic allergies allergen coeliac celiac intolerant intolerance anaphylaxis anaphylactic peanut peanuts gluten lactose sesame shellfish
unsubscribe texting messaging messages perfect brilliant lovely delicious amazing received picked
quarter thirty fifteen twenty address postcode possible`
