package reading

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// TestTimes checks the times people say. Expected values follow from the words:
// by common practice, no source; "half 6" is 6:30 in Britain and Ireland.
func TestTimes(t *testing.T) {
	t.Parallel()
	// Sent at 18:00, slot 18:10.
	tests := []struct {
		text string
		due  string
	}{
		{"be there half 6", "18:30"},
		{"be there at half past six", "18:30"},
		{"see you at quarter to 7", "18:45"},
		{"see you at ten of seven", "18:50"},
		{"be there quarter past", "18:15"},
		{"with you by twenty past 6", "18:20"},
		{"be there 1815", "18:15"},
		{"should be there 6:25", "18:25"},
		{"will be there at 6.20pm", "18:20"},
		{"be there 7ish", "19:00"},
		{"be there at 6 thirty", "18:30"},
		{"be there around six forty five", "18:45"},
		{"in 10", "18:10"},
		{"be there in 10", "18:10"},
		{"10-15 mins", "18:15"},
		{"five minutes away", "18:05"},
		{"twenty five minutes away", "18:25"},
		{"half an hour away", "18:30"},
		{"be there in an hour", "19:00"},
		{"traffic, be there in 10 to 15", "18:15"},
		{"couple of minutes away", "18:02"},
		{"running 15 late", "18:25"},
		{"running 15 late, the 405 is a car park", "18:25"}, // a road
		{"running about twenty minutes late", "18:30"},
		{"I'll be 10 minutes early", "18:00"},
		{"half an hour late, sorry", "18:40"},
		{"running late, be there in 20", "18:20"},
		{"leaving at 6, be there 6.30", "18:30"},
		{"I'm here till 6 then setting off", ""},
		{"left 10 minutes ago", ""},
		{"won't be more than 10 mins", "18:10"},
		{"no later than 6.45", "18:45"},
		{"hour late, really sorry", "19:10"},
		{"be there in 1/2 hour", "18:30"},
		{"we'll be down to you for seven", "19:00"},
		{"on my way, it won't be before 6.45", ""},
		{"on the bus then the 102, no idea when", ""},
		{"stuck behind a bus doing ten miles an hour", ""},
		{"on my way, round the corner in two ticks", ""},
		{"traffic, add 20 on to my slot", "18:30"},
		{"running behind, won't reach you till 6.50, sorry", "18:50"},
		{"saindo agora, chego em 15 minutos", "18:15"},
		{"meia hora ainda", "18:30"},
		{"ag teacht anois, 5 nóiméad", "18:05"},
		{"llego a las 6 y media", "18:30"},
		{"llego en 15 minutos", "18:15"},
		{"estoy ahi a las siete menos cuarto", "18:45"},
		{"on my way, not 6 but 6.30", "18:30"},
		{"omw gps says 20", "18:20"},
		{"be there in ten lad", "18:10"},
		{"be there quarter tae", "18:45"},
		{"will be there quarter of", "18:45"},
		{"just leaving, 7 at the latest", "19:00"},
		{"on my way, j'arrive dans 5", "18:05"},
		{"on my way, 19h", "19:00"},
		{"on my way, 六点半", "18:30"},
		{"still coming, leaving here 20 past", ""},
		{"be there in 3/4 of an hour", "18:45"},
		{"three quarters of an hour away", "18:45"},
		{"hour and a half away", "19:30"},
		{"an hour and ten mins away", "19:10"},
		{"train gets in 18:22 then 5 min walk", "18:27"},
		{"will be 10 minutes after 6", "18:10"},
		{"finish at 6 so 6.20", "18:20"},
		{"heading over for 6.25", "18:25"},
		{"be there at 6-30", "18:30"},
		{"five and twenty past we'll be there", "18:25"},
		{"be there on the dot of 6", "18:00"},
		{"should be with you dead on seven", "19:00"},
		{"be with you 7 sharp", "19:00"},
		{"running a little early, about ten minutes", "18:00"},
		{"stopped behind a combine on my way. 5 minutes", "18:05"},
		{"on my way, will take 15", "18:15"},
		{"voy tarde, 10 minutos", "18:20"},
		{"bus due in at 18.20", "18:20"},
		{"stuck at work another half hour", "18:30"},
		{"be there no later than 6.30", "18:30"},
		{"on my way, will be with you at my time", "18:10"},
		{"on my way, about fifteen minutes after my slot", "18:25"},
		{"leaving in a minute, ten minutes before my time", "18:00"},
		{"we will come for our order at 6.40", "18:40"},
		{"stuck in traffic sorry, 20", "18:20"},
		{"coming, i get off at 6, be there 6.30", "18:30"},
		{"voy en camino, choque en la 15, 20 minutos", "18:20"},
		{"dame 15 min por favor", "18:15"},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			t.Parallel()
			got := Read(tt.text, situation(t, "due"))
			require.Equal(t, Coming, got.Intent, got.Why)
			if tt.due == "" {
				require.Nil(t, got.Due)
				return
			}
			require.NotNil(t, got.Due, got.Why)
			require.Equal(t, tt.due, got.Due.String())
		})
	}
}

// TestWanted checks the time that is asked for instead; the slot is 18:10.
func TestWanted(t *testing.T) {
	t.Parallel()
	tests := []struct{ text, to string }{
		{"push mine back 20", "18:30"},
		{"could we move to 7", "19:00"},
		{"can I swap from 6.10 to 6.40", "18:40"},
		{"could you hold mine till 7", "19:00"},
		{"can we come half an hour earlier", "17:40"},
		{"can you do closer to 7 for me? say 6:50", "18:50"},
		{"need to bring mine back a bit, 7 if poss", "19:00"},
		{"I get off at 6, any chance 7 works instead of 6.10", "19:00"},
		{"we want come 7pm not 6.10 please", "19:00"},
		{"can I have 7 instead of 6.10", "19:00"},
		{"any chance of a sunday collection", ""},
		{"me pueden cambiar a las 7 y media", "19:30"},
		{"can I do 7 not 6.10??", "19:00"},
		{"can I come 6.40 instead, no make it 7", "19:00"},
		{"can i come after 7 instead, like ten past", "19:10"},
		{"called out till noon. Can you do 6:40 stead of 6:10", "18:40"},
		{"can I get mum's 7.20 one at 6.10 with mine", "18:10"},
		{"can you move my mum's from 7.20 to 6.10 so I come once", "18:10"},
		{"could you change my slot, maybe 7 is ok instead of 6.10", "19:00"},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			t.Parallel()
			got := Read(tt.text, situation(t, "day"))
			require.Equal(t, Move, got.Intent, got.Why)
			if tt.to == "" {
				require.Nil(t, got.To)
				return
			}
			require.NotNil(t, got.To, got.Why)
			require.Equal(t, tt.to, got.To.String())
		})
	}
}

// TestOptOut checks the published words against everyday uses of them: 47 CFR
// 64.1200(a)(10), CTIA Messaging Principles and Best Practices (May 2023)
// §5.1.3; the everyday uses by common practice, no source.
func TestOptOut(t *testing.T) {
	t.Parallel()
	out := []string{"STOP", "stop.", " Stop ", "STOP!!", `"STOP"`, "Stop please", "UNSUBSCRIBE", "opt out", "Opt-out", "OPTOUT", "QUIT", "END", "cancel", "revoke", "StopAll", "please stop texting me", "dont message me again", "no more texts", "take me off your list"}
	for _, text := range out {
		require.Equal(t, Stop, Read(text, situation(t, "day")).Intent, text)
	}
	other := []string{"I'm at the stop sign, red car", "bus stop opposite, blue Golf", "at the end of the lane", "cancel my order", "can I cancel order 1042", "stopped for petrol, 5 mins", "please don't stop making these"}
	for _, text := range other {
		require.NotEqual(t, Stop, Read(text, situation(t, "due")).Intent, text)
	}
	require.True(t, Read("CANCEL", situation(t, "day")).Asks, "CANCEL alone may mean the order")
	require.False(t, Read("STOP", situation(t, "day")).Asks)
	yes := situation(t, "day")
	require.Equal(t, Thanks, Read("YES", yes).Intent)
	yes.Facts.OptedOut = true
	require.Equal(t, Start, Read("YES", yes).Intent)
}

// TestAllergyAlways holds spellings and ways round the word. Common practice,
// no source.
func TestAllergyAlways(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"my son is allergic to nuts", "any allergys?", "alergic to sesame", "I'm celiac", "coeliac here", "she's ceoliac", "gluten free please", "is it GF", "dairy free?", "lactose intolerant",
		"intollerant to egg", "he carries an epipen", "can't have nuts", "cant eat gluten", "peanuts set him off", "is there any nuts in it", "does it contain sesame", "nut free kitchen?",
		"soy alérgica al cacahuate", "es celíaco", "anaphylactic to shellfish", "comes out in hives", "my throat is swelling", "free from dairy", "made with traces of nuts", "I react to soy",
		"here, blue golf. its the coeliac one", "allergies!!", "no dairy whatsoever please", "doctor says no wheat for me, avoid wheat", "reaction to prawns last time", "gluten makes me ill",
		"my lips are tingling", "lips gone all tingly since I ate", "throat closing up", "sesame makes my throat close", "got spots round her mouth", "she came out in hives", "he came up in lumps",
		"tree nuts, remember", "I'd end up in the ER", "my husband reacts badly", "flour makes my son ill", "shellfish makes her swell", "please check no nuts", "nothing with tahini, I'm not able", "his face is puffy",
		"wheat gives me cramps", "flour puts me in bed for two days", "dairy upsets her tummy", "I have my epi pen", "se me hincha la boca", "le salen ronchas", "me da comezon el mani", "le hace daño el gluten", "tiene los labios hinchados", "no puede comer nueces",
		"he's got a nut thing, is that a problem", "we have a peanut kid, is it safe", "we're a nut-free house", "any wheat-free ones left", "my son carries an epi", "does the ranch have egg", "kid had a reaction last time",
		"onion upsets my stomach", "I got sick from the shrimp one", "she ended up in emerg before from peanuts", "my brother has crohns, nothing spicy", "dairy gives her eczema", "sans arachides", "il ne peut pas manger de noix",
		"he's bad with peanut", "he blows up like a balloon with prawns", "her ears went all puffy", "I can't tolerate onions", "his doctor says no shellfish",
		"nuts are a no-go for us", "dairy does a number on me", "no dairy thx", "hold the nuts", "can you do one w/o nuts", "found a cashew in mine", "my eyes are swollen", "her tongue feels thick", "he threw up after the shrimp", "son is breaking out",
		"n'oubliez pas l'allergie", "pas d'arachides, l'intolérance de mon fils", "nutallergy, see note", "nut allegry", "he is allegic", "uczulenie na orzechy", "аллергия на орехи", "孩子对花生过敏",
		"she only has to sit near prawns and her airway goes", "one sniff of peanut and it's straight to the throat", "is it fried in the same oil as the fish", "d'allergies chez nous", "ailléirge cnónna",
		"can you do me gf?", "are your gf ones safe", "make my gf please", "is my gf box marked", "is ours gf",
		"food sensitivities in our family", "she's on an elimination diet", "I'm diabetic", "nursing mum, no dairy",
	} {
		got := Read(text, situation(t, "day"))
		require.True(t, got.Allergy, text)
		require.True(t, got.Asks, text)
	}
	for _, text := range []string{"two pork and chive please", "here, silver nissan leaf", "thanks, lovely food", "is the car park free", "egg fried rice was gorgeous", "coriander tastes like soap to me", "no onions for me thanks", "my gf Amy collected it", "she is my gf", "my mouth is watering", "hot sauce nearly killed me haha"} {
		require.False(t, Read(text, situation(t, "served")).Allergy, text)
	}
}

func TestReadIsDeterministic(t *testing.T) {
	t.Parallel()
	ctx := situation(t, "due")
	text := "Hi, running 10 late, grey golf LX19 KTO, can you hold it? nut allergy"
	first := Read(text, ctx)
	for range 20 {
		require.Equal(t, first, Read(text, ctx))
	}
	require.NotEmpty(t, first.Why)
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{"", "here", "\x00\xff", "😀👍🏾", "شكرا", "我到了", strings.Repeat("here ", 320), "5.30", "half", "quarter to", "'''", "10-", "@#£", "i'm i'm i'm", "2:3:4", "\u202eereh"} {
		f.Add(s, int64(0))
	}
	f.Fuzz(func(t *testing.T, text string, minutes int64) {
		ctx := situation(t, "due")
		ctx.At = ctx.At.Add(time.Duration(minutes%100000) * time.Minute)
		got := Read(text, ctx)
		require.Contains(t, Intents(), got.Intent)
		require.NotEmpty(t, got.Why)
		for _, c := range []*night.Clock{got.Due, got.To, got.Slot} {
			require.True(t, c == nil || *c >= 0 && *c < 24*60)
		}
		for _, tok := range got.Tokens {
			require.True(t, tok.Start >= 0 && tok.Start <= tok.End && tok.End <= len(text))
		}
	})
}

// TestPersonOnArrival tells arrivals that somebody must look after from those that
// only sound so. Common practice, no source.
func TestPersonOnArrival(t *testing.T) {
	t.Parallel()
	for text, asks := range map[string]bool{
		"here, can't do the steps":                    true,
		"outside in a wheelchair":                     true,
		"here in the cab, quick as you can":           true,
		"we are sitting here and not one person":      true,
		"here, save me a coco bread":                  true,
		"outside, kindly knock on the window":         true,
		"outside, white van with the wheelchair lift": false,
		"I'm outside a bit early, no hurry at all":    false,
		"here, in a red Mazda, the small one":         false,
		"outside, not in a rush":                      false,
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			got := Read(text, situation(t, "due"))
			require.Equal(t, Here, got.Intent, got.Why)
			require.Equal(t, asks, got.Asks, got.Why)
		})
	}
}

// TestOwnTime keeps a slot that is told back apart from one that is asked for; the
// slot is 18:10. Common practice, no source.
func TestOwnTime(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		text   string
		intent Intent
	}{
		{"I shall call for it tomorrow at ten past six precisely", Coming},
		{"we will present ourselves at ten past six", Coming},
		{"could I change it to 6.40", Move},
	} {
		t.Run(tt.text, func(t *testing.T) {
			t.Parallel()
			got := Read(tt.text, situation(t, "day"))
			require.Equal(t, tt.intent, got.Intent, got.Why)
		})
	}
}

// TestSenses tells words of an arrival, a journey or an order from the same words in
// another sense. Common practice, no source.
func TestSenses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, when, text string
		intent           Intent
	}{
		{"there is, after a form of address", "served", "love there is no dip in there", Problem},
		{"only so many here", "served", "we paid for three trays but there is only two here", Problem},
		{"something found in the food", "served", "found glass in my dumplings", Problem},
		{"sat on", "served", "my pie has been sat on, the top caved in", Problem},
		{"somebody's hurt, nearly", "served", "there was a sharp piece of bone, my son nearly swallowed it", Problem},
		{"the bag of another", "served", "somebody left with my bag", Problem},
		{"something left out", "served", "you forgot the chilli oil", Problem},
		{"a question about the place", "day", "are you all still at the same place", Ask},
		{"a question about the time", "due", "am I meant to be there at 6 or later", Ask},
		{"setting out", "due", "we are just setting out", Coming},
		{"driven by somebody", "due", "my daughter is driving me over now", Coming},
		{"picked up by a cab", "due", "the taxi has picked me up", Coming},
		{"a lift in Spanish", "day", "no tengo carro, me lleva mi hermano", Car},
		{"off a list in French", "day", "enlevez mon numero de la liste", Stop},
		{"the wrong chat", "day", "wrong chat sorry", Other},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := Read(tt.text, situation(t, tt.when))
			require.Equal(t, tt.intent, got.Intent, got.Why)
		})
	}
}

// TestPlateMeant reads texts that name two plates, or a plate that is a name.
func TestPlateMeant(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ name, region, text, plate string }{
		{"replaced", "AU", "YRD-5O5? nah thats the trailer. its 5O6 YRD", "506YRD"},
		{"denied before", "GB", "not AB12 CDE, its AB13 CDE", "AB13CDE"},
		{"denied behind", "GB", "AB12 CDE not AB13 CDE", "AB12CDE"},
		{"two plainly", "GB", "AB12 CDE and AB13 CDE", "AB12CDE"},
		{"a name in capitals", "AU", "white GLC, plate is MAR IAM", "MARIAM"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := Read(tt.text, Context{Region: tt.region, Book: names{"mariam": true}})
			require.Equal(t, tt.plate, got.Vehicle.Plate)
		})
	}
}

// TestNameOrColour takes a colour that is somebody's surname as well for the colour where
// it stands in small letters beside a car.
func TestNameOrColour(t *testing.T) {
	t.Parallel()
	for text, colours := range map[string][]string{
		"here, brown Hyundai i20":         {"brown"},
		"Mrs Brown is here, Hyundai i20":  nil,
		"here for Brown, the Hyundai i20": nil,
	} {
		got := Read(text, Context{Region: "GB", Book: names{"brown": true}})
		require.Equal(t, colours, got.Vehicle.Colours, text)
		require.Equal(t, "Hyundai", got.Vehicle.Make, text)
	}
}

// names is an order book of names alone.
type names map[string]bool

func (n names) IsRef(string) bool         { return false }
func (n names) IsName(w string) bool      { return n[w] }
func (n names) Refs() map[string]struct{} { return nil }
func (n names) Plates() map[string]string { return nil }
