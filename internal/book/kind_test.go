package book

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

// The trade's own sense of what goes into which bag; common practice, no source.
func TestKinds(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]night.Kind{
		"Pork bao": night.Hot, "Prawn har gow 8": night.Hot, "Kimchi fried rice": night.Hot, "Beer battered cod": night.Hot,
		"Chicken in black bean sauce": night.Hot, "Bao with dipping sauce": night.Hot, "Champurrado bottle": night.Hot, "Hot chocolate": night.Hot,
		"Veg gyoza + extra chilli": night.Hot, "Miso soup": night.Hot,
		"Slaw": night.Cold, "Smashed cucumber": night.Cold, "Coke 330ml": night.Cold, "Can of cola": night.Cold, "Iced coffee": night.Cold,
		"Kimchi tub": night.Cold, "Lemonade (large)": night.Cold, "Frozen gyoza 20": night.Cold, "Ice cream": night.Cold,
		"Dipping sauce": night.Extra, "Chilli oil jar": night.Extra, "Hot sauce": night.Extra, "Free napkins": night.Extra,
		"Extra coriander": night.Extra, "Salsa verde 8oz": night.Extra, "Chopsticks": night.Extra,
	} {
		require.Equal(t, want, newKinds(nil).of(name), name)
	}
	own := newKinds(map[string]string{"cold": "bun, pork bao", "hot": "slaw"})
	require.Equal(t, night.Cold, own.of("Sweet bun"))
	require.Equal(t, night.Cold, own.of("Pork bao (6)"))
	require.Equal(t, night.Hot, own.of("Slaw"))
}

func TestAllergyWords(t *testing.T) {
	t.Parallel()
	for note, want := range map[string]string{
		"coeliac":                                    "coeliac",
		"ceoliac disease":                            "ceoliac disease",
		"Celiac's, separate pan":                     "Celiac's, separate pan",
		"alergic to prawns":                          "alergic to prawns",
		"shrimp makes me ill":                        "shrimp makes me ill",
		"I have a dairy problem":                     "I have a dairy problem",
		"Nuts!":                                      "Nuts!",
		"nuts, sesame":                               "nuts, sesame",
		"vegtarian":                                  "vegtarian",
		"glutenfree pls":                             "glutenfree pls",
		"can you leave out the nuts":                 "can you leave out the nuts",
		"epi-pen carrier":                            "epi-pen carrier",
		"no allergies but NO peanuts":                "no allergies but NO peanuts",
		"Blue Golf. Nut allergy. Late":               "Nut allergy",
		"allergic. to nuts":                          "allergic; to nuts",
		"can’t eat eggs":                             "can’t eat eggs",
		"pescatarian\nring the bell":                 "pescatarian",
		"alérgica a los frutos secos":                "alérgica a los frutos secos",
		"sin gluten":                                 "sin gluten",
		"no allergies":                               "",
		"No known allergies or dietary requirements": "",
		"N/A":                          "",
		"extra soy sauce please":       "",
		"grey fish van":                "",
		"I don't have a car":           "",
		"Diet Coke if you have it":     "",
		"park free outside":            "",
		"ring 07700 900123 when there": "",
	} {
		require.Equal(t, want, allergyIn(note), note)
	}
	require.Equal(t, "Gluten free gyoza", allergyInItem("Gluten free gyoza"))
	require.Empty(t, allergyInItem("Prawn har gow"))
	require.Empty(t, allergyInItem("Egg fried rice"))
	require.Empty(t, allergyCell("None"))
	require.Empty(t, allergyCell("no allergies"))
	require.Equal(t, "Kiwi", allergyCell("Kiwi"))
}

// No word of a heading means two things.
func TestHeadingsAreUnambiguous(t *testing.T) {
	t.Parallel()
	seen := map[string]field{}
	for f, list := range headings {
		for w := range strings.SplitSeq(list, "|") {
			w = strings.TrimSpace(w)
			require.Equal(t, fold(w), w, "headings are folded")
			require.NotContains(t, seen, w)
			seen[w] = f
		}
	}
	require.Equal(t, fRef, readHeading("Order No.").field)
	require.Equal(t, fPhone, readHeading("Customer Phone").field)
	require.Equal(t, fName, readHeading("billing_name").field)
	require.Equal(t, billing, readHeading("billing_name").side)
	require.Equal(t, fFirst, readHeading("First Name (Shipping)").field)
	require.Equal(t, shipping, readHeading("First Name (Shipping)").side)
	require.Equal(t, fTotal, readHeading("Order total (GBP)").field)
	require.Equal(t, fUnknown, readHeading("Pork bao").field)
	require.Equal(t, fUnknown, readHeading("Lemonade").field)
}
