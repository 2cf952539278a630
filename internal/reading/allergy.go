package reading

import "strings"

// allergyStems name an allergy, an intolerance or a reaction wherever they stand in a
// word: it may go on ("allergies") and may have been run together with what comes before
// it ("l'allergie", "nutallergy"). Languages of the tables and of visitors; a slip of the
// keys is held against the mendable words first.
var allergyStems = []string{
	"allerg", "alerg", "allrg", "allerj", "alergi", "coeliac", "celiac", "coelic", "celiec", "coelia", "ceoliac", "seliac", "caeliac", "celiaq", "celiak", "zoliak", "silliac", "coleiac",
	"intoleran", "intollera", "intolleran", "intolernc", "anaphyl", "anafil", "anaphal", "annaphy", "epipen", "epi-pen", "epinephr", "antihistamin", "benadryl", "piriton", "lactose", "lactosa", "laktos", "lactase", "lactaid", "histamin", "fodmap", "favism", "phenylket",
	"glutenfree", "dairyfree", "nutfree", "eggfree", "glutenintol", "hypersens",
	"allegr", "alegr", "allegic", "allegie", "allgery", "alleric", "ailleirg", "uczulen", "uczulon", "unvertrag", "аллерг", "алерг",
}

// allergyWords are whole words that say it.
var allergyWords = map[string]bool{
	"gf": true, "hives": true, "ibs": true, "urticaria": true, "jext": true, "emerade": true, "ronchas": true, "sarpullido": true, "pku": true, "mcas": true, "oas": true, "epi": true, "epipens": true, "eczema": true, "crohns": true, "colitis": true, "dermatitis": true, "diabetic": true, "diabetes": true,
	"gluten": true, "rash": true, "allergen": true, "wheeze": true, "wheezing": true, "wheezy": true, "welts": true,
}

// bodily are words of the body: with an allergen anywhere in the same text they tell of
// what it does to somebody.
var bodily = map[string]bool{
	"throat": true, "throats": true, "tongue": true, "lips": true, "airway": true, "airways": true, "windpipe": true, "breathe": true, "breathing": true,
	"swell": true, "swells": true, "swelling": true, "swollen": true, "itch": true, "itches": true, "itchy": true, "vomit": true, "vomits": true, "ambulance": true,
	"garganta": true, "labios": true, "lengua": true, "gorge": true, "levres": true, "langue": true,
}

// allergyPhrases say it in more than a word. They are phrases of the tables'
// kind; <allergen> is an ingredient that people react to.
const allergyPhrases = `
	<allergen> .. no go|for ; <allergen> .. number on ; cross contam ; last time .. had|ate .. <allergen> ; no <allergen> thanks|cheers|please|ta ; ^ no <allergen> $ ; skip|hold|omit|leave|lose the|all|any <allergen> ; w|o <allergen> ; say|says|said no <allergen> ; <allergen> .. can not have|eat|touch ; found a|an|some <allergen> ; eyes|face|lips|lip|tongue|mouth|throat|hands|skin|ears <be>|has|have|feel|feels|felt|gone|went|going|blew|blown|getting all|so|a|really? bit|little? swollen|thick|numb|puffy|itchy|tight|blotchy|up ; threw|throwing|thrown|vomiting|vomited|puked|puking .. <allergen> ; <be>|started breaking out ; food sensitivities|sensitivity|intolerances|intolerance ; special|strict|elimination|restricted|exclusion diet
	bad|poorly|funny|terrible with <allergen> ; blow|blows|blew|puff|puffs|puffed up .. with|from|after|off ; went|gone|goes|going .. puffy|swollen|blotchy|itchy ; can not|cant|never have|eat|tolerate|digest|handle onion|onions|garlic|pepper|peppers|tomato|tomatoes|mushroom|mushrooms|bread|spice|chilli|rice|corn|beans ; doctor|doctors|dietitian|hospital|consultant .. no|without|says|said .. <allergen> ; <allergen> thing|things|kid|kids|family|house|household|home|school|classroom|table ; <allergen> free ; had|has|have|having|get|gets|got a? bad|nasty|serious|horrible|terrible|awful? reaction|reactions ; garlic|onion|onions|pepper|peppers|tomato|chilli|spice|spices|<allergen>|<food> upset|upsets my|his|her|their|our stomach|tummy|gut|guts|belly|tum|bowels ; does .. have <allergen> ; sick|ill|poorly from|off|after|on the? <allergen> ; hospital|emerg|emergency|er|ae|ambulance|casualty|clinic .. from|after|with|because|over of? <allergen> ; sans <allergen> ; peut|peux|peuvent|pouvons|mange|mangent pas .. <allergen> ; <allergen> .. malade|interdit|interdits|interdites
	puts|put|lays|laid me|him|her|us|them .. bed|hospital|toilet|bathroom|floor|days ; tree <allergen> ; end|ends|ended|ending up in the? er|hospital|ae|casualty|icu|ambulance ; spots|lumps|bumps|blotches|blotchy|marks .. round|around|on|over|all .. mouth|face|neck|skin|arms|lips|eyes|chest ; come|comes|coming|came up in spots|lumps|blotches|bumps|welts
	react|reacts|reacted|reacting bad|badly|severely|terribly|really|something ; <allergen> .. makes|make|made|gives|give|gave me|him|her|my|us|our|his|them ; flour|cheese|cream|bread|seed|seeds|oil|fish|seafood|spice|garlic|onion .. makes|make|made|gives|give|gave me|him|her|my|us|our .. ill|sick|bad|swell|itch|itchy|rash|poorly|funny|cramps|sore
	throat|lips|mouth|tongue|face|eyes|skin .. close|closes|tighten|tightens|tightening|itch|itches|burn|burns|burning|puffy|puffed|puff|tingle|tingles|tingly|swole|swoll|lumpy|blotchy|fizzy ; check|sure|certain|definitely|absolutely|strictly|remember .. no <allergen> ; nothing with|containing .. <allergen> ; sem|bez|ohne|senza|zonder|fara <allergen> ; 过 敏 ; 過 敏 ; di ung ; same|shared|separate|clean|different|own fryer|oil|pan|wok|board|knife|grill|gloves|tongs|water|kitchen|room .. as|with|from|for .. <allergen> ; carry|carries|carrying .. pen
	se|me|le|nos me|le|nos? hincha|hinchan|hincho|hincharon|cierra|cerro|cerrando ; hinchado|hinchada|hinchados|hinchadas|hinchando .. ; garganta|labios|boca|lengua .. hincha|hinchada|hinchados|hinchando|cierra|cerrando|pica|pican|hormiguea|hormiguean ; me|le|nos|les da|dio .. alergia|ronchas|comezon|picazon|reaccion
	<allergen> free ; free from|of <allergen> ; can not|cant|never have|eat|tolerate|touch|do|digest|take|handle|go|be .. <allergen> ; <allergen> .. reaction ; reacts|react|reacted|reacting to ; reaction to|from|after|with ; bad|allergic|severe|terrible|serious reaction ; <allergen> .. sets|set|off|kills|kill|swell|ill|sick|hospital|upset|upsets|anaphylactic|dangerous|deadly
	can not|cant .. <allergen> ; do|does|must|should not .. eat|have|tolerate|do|take|agree .. <allergen> ; no|without|zero|not|avoid|avoiding|any|contain|contains|containing|trace|traces .. <allergen> .. in|at|please|for|whatsoever|anywhere|or|allowed|due|because ; there|any|has|contain|contains|use|uses|using|trace|traces|cooked|fried|include|includes .. <allergen> ; is|are it|they|this|that|the|there .. <allergen> ; traces|trace of ; cross contamination|contaminated|contaminate|contact ; contamination ; swell|swells|swelled|swelling|swollen .. up|throat|lips|face|tongue|eyes ; throat|lips|face|tongue|mouth .. swell|swells|swelling|swollen|tingling|itchy|itching|closing|closed|tight|swelled ; come|came|coming|broke|breaks|break out in ; can not breathe ; trouble breathing ; epi pen|pens ; sensitive|sensitivity|sensitivities to|stomach|<allergen> ; <allergen> sensitive|sensitivity|intolerant|issue|issues|problem|problems|trouble ; off|avoid|avoids|avoiding <allergen> ; dietary requirement|requirements|needs|restriction|restrictions|issue|issues ; special diet|dietary ; medical|strict diet|dietary|reasons ; do|does not agree with ; does not|wont|not sit .. with ; makes|make|made me|him|her|us|them|my .. ill|sick|swell|itch|itchy|poorly ; nut one|order|box ; is nut|gluten|dairy|egg|wheat|milk safe ; safe for .. ; without|sin gluten|<allergen> ; no puede|puedo .. comer .. ; no come .. <allergen> ; contiene|contienen|lleva|llevan|tiene|tienen .. <allergen> ; hace|hacen dano|mal ; le|me cae|caen mal ; libre de ; wheat|gluten|dairy|nut|milk|egg one|version|option|options ; free from ; <allergen> .. in it|them|the|this|that|these|those|there|anything|any|your|my ; itchy|itching .. after|all|since|throat|mouth|skin|tongue ; auto immune|autoimmune ; coughing after ; tongue|throat|lips .. funny|tingly|numb ; steer|stay|keeps|keep|stays clear|away|off of|from <allergen>`

// allergyIn tells which words of a text speak of an allergy, "" for none. It
// errs on the side of telling: a person reads it either way.
func (v *vocab) allergyIn(toks []Token, marks []mark) string {
	food, body := "", ""
	for i := range toks {
		t := &toks[i]
		if t.Kind != Word {
			continue
		}
		w := t.Text
		if t.bits&clsAllergen != 0 && t.bits&clsCar == 0 { // but a mustard yellow car
			food = w
		}
		if bodily[w] {
			body = w
		}
		if allergyWords[w] && !(w == "gf" && girlfriend(toks, i)) {
			return w
		}
		if len(w) >= 4 {
			for _, stem := range allergyStems {
				if strings.Contains(w, stem) {
					return w
				}
			}
		}
	}
	if food != "" && body != "" {
		return food + ", " + body
	}
	for _, m := range marks {
		if m.sign == signAllergy {
			return joined(toks[m.start:m.end])
		}
	}
	return ""
}

// girlfriend tells whether "gf" at i is surely somebody and not food without gluten: "my
// gf Amy is there", not "make my gf please". Where it may be either it is the food.
func girlfriend(toks []Token, i int) bool {
	if w := word(toks, i-1); w != "my" && w != "his" {
		return false
	}
	if i+1 < len(toks) && toks[i+1].Kind == Word {
		t := &toks[i+1]
		return t.bits&(clsName|clsBe|clsGet|clsHave) != 0 || t.Upper && !t.known
	}
	return word(toks, i-2) == "is" && word(toks, i-3) == "she"
}

func joined(toks []Token) string {
	var b strings.Builder
	for i := range toks {
		if toks[i].Text == "" {
			continue
		}
		if b.Len() > 0 && !toks[i].Glued {
			b.WriteByte(' ')
		}
		b.WriteString(toks[i].Text)
	}
	return b.String()
}
