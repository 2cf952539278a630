package vehicles_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/reading/vehicles"
)

// TestFind reads invented texts. Labels follow the README of the corpus; which
// maker sells a shared model where is from memory.
func TestFind(t *testing.T) {
	t.Parallel()

	tests := []struct {
		name, region, text string
		want               string // colours/make/model/body
	}{
		{"make and model", "GB", "Grey Skoda Octavia", "grey/Skoda/Octavia/"},
		{"model gives the make", "GB", "in the red twingo", "red/Renault/Twingo/"},
		{"nickname", "GB", "beemer, black", "black/BMW//"},
		{"nickname of a model", "US", "white bug", "white/Volkswagen/Beetle/"},
		{"regional maker GB", "GB", "blue corsa", "blue/Vauxhall/Corsa/"},
		{"regional maker IE", "IE", "blue corsa", "blue/Opel/Corsa/"},
		{"regional maker AU", "AU", "blue astra", "blue/Holden/Astra/"},
		{"regional maker DE", "DE", "blauer Corsa", "blue/Opel/Corsa/"},
		{"a model spelled by the market, with its make", "IE", "Toyota Hilux", "/Toyota/Hilux/"},
		{"the same elsewhere", "AU", "Toyota Hilux", "/Toyota/HiLux/"},
		{"a lamp's colour", "GB", "taxi outside, yellow light on the roof", "///taxi"},
		{"behind another's, in one's own", "GB", "sat behind the horsebox in a grey Berlingo", "grey/Citroen/Berlingo/"},
		{"a pickup behind its make", "US", "here, orange dodge pickup", "orange/Dodge//pickup"},
		{"a pickup in Spanish", "US", "estamos aquí, pickup rojo", "red///pickup"},
		{"one that was traded in", "US", "I traded the Buick in. It's a Nissan Rogue now, red", "red/Nissan/Rogue/"},
		{"a number ridden in", "GB", "we're here in the 3008.", "/Peugeot/3008/"},
		{"a dish", "GB", "has the mushroom one got cream in it", "///"},
		{"the first in Spanish", "US", "la primera orden venía sin tortillas", "///"},
		{"the last time in Spanish", "US", "la última vez no había salsa", "///"},
		{"make said beats the region", "IE", "vauxhall astra", "/Vauxhall/Astra/"},
		{"sierra in the US", "US", "black sierra", "black/GMC/Sierra/"},
		{"caddy in the US", "US", "white caddy", "white/Cadillac//"},
		{"caddy in GB", "GB", "white caddy", "white/Volkswagen/Caddy/"},
		{"plain letters", "GB", "Škoda Fabia, Citroën C3", "/Skoda/Fabia/"},
		{"capitals as the maker writes", "GB", "green mini", "green/MINI//"},
		{"hyphens", "US", "gray honda cr v", "grey/Honda/CR-V/"},
		{"trim is no model", "GB", "red fiesta st", "red/Ford/Fiesta/"},
		{"number model after its make", "GB", "peugeot 208, red", "red/Peugeot/208/"},
		{"number model after a colour", "GB", "red 3008", "red/Peugeot/3008/"},
		{"BMW by its engine", "GB", "320d in grey", "grey/BMW/3 Series/"},
		{"Mercedes by its engine", "GB", "black c220", "black/Mercedes-Benz/C-Class/"},
		{"misspelt make and model", "GB", "sliver nisan quashqia", "silver/Nissan/Qashqai/"},
		{"misspelt colour", "GB", "wite kia", "white/Kia//"},
		{"dictated red", "GB", "read fiesta outside", "red/Ford/Fiesta/"},
		{"dictated Accord", "US", "silver honda a chord", "silver/Honda/Accord/"},
		{"dictated CR-V", "US", "blue see are vee", "blue/Honda/CR-V/"},
		{"dictated F-250", "US", "white F 250 pickup truck", "white/Ford/F-250/pickup"},
		{"shade", "GB", "gunmetal audi a3", "grey/Audi/A3/"},
		{"two colours", "GB", "black and white mini", "black,white/MINI//"},
		{"one or the other", "US", "silver or gray kia", "silver,grey/Kia//"},
		{"slashed", "GB", "blue/green motorbike", "blue,green///motorbike"},
		{"colour after", "GB", "my honda jazz which is yellow", "yellow/Honda/Jazz/"},
		{"colour in its own sentence", "US", "in Cody's Jeep. Green.", "green/Jeep//"},
		{"colour of an unnamed car", "GB", "I don't know his car, it is silver", "silver///"},
		{"the silver one", "GB", "we are the silver one", "silver///"},
		{"colour far from the car", "GB", "the Ranger as usual, bright yellow", "yellow/Ford/Ranger/"},
		{"colour after the plate", "GB", "Nissan Juke AB12 CDE white", "white/Nissan/Juke/"},
		{"words between", "GB", "blue hand painted van", "blue///van"},
		{"Spanish", "US", "troca roja", "red///pickup"},
		{"Spanish article", "US", "ya llegamos, el azul", "blue///"},
		{"Spanish article of a sauce", "US", "dos salsas, la verde", "///"},
		{"Spanish for kind", "US", "llego tarde, tipo 7 y media", "///"},
		{"Spanish verb", "US", "van a abrir manana?", "///"},
		{"Spanish small one", "US", "versita gris", "grey/Nissan/Versa/"},
		{"Sienna with one n", "US", "blue toyota siena", "blue/Toyota/Sienna/"},
		{"Siena in Europe", "IE", "blue fiat siena", "blue/Fiat/Siena/"},
		{"a van by a car", "GB", "white van a bit further down", "white///van"},
		{"pickup for somebody", "CA", "red Tacoma pickup for us", "red/Toyota/Tacoma/pickup"},
		{"radish is no red", "GB", "the radish is off", "///"},
		{"the bike is a motorbike", "GB", "on the bike, the motorbike", "///motorbike"},
		{"black cab", "GB", "outside in a black cab", "black///taxi"},
		{"by walk", "GB", "I come by walk", "///foot"},
		{"Spanish shade", "US", "la camry color vino", "maroon/Toyota/Camry/"},
		{"Spanish silver", "US", "silverado plateada", "silver/Chevrolet/Silverado/"},
		{"a camioneta is no body", "US", "camioneta blanca", "white///"},
		{"Polish", "GB", "czerwona skoda", "red/Skoda//"},
		{"Ukrainian", "IE", "сірий опель астра", "grey/Opel/Astra/"},
		{"Chinese", "US", "我到了，白色特斯拉", "white/Tesla//"},
		{"Irish", "IE", "carr dearg", "red///"},
		{"truck in the US", "US", "blue truck", "blue///pickup"},
		{"lorry no body", "GB", "blue truck", "blue///"},
		{"ute", "AU", "white ute", "white///pickup"},
		{"moped", "GB", "on the moped", "///motorbike"},
		{"bicycle has no colour", "US", "green bike with a basket", "///bicycle"},
		{"taxi with a car", "GB", "in a taxi, silver Toyota", "silver/Toyota//taxi"},
		{"on foot", "GB", "i come by foot", "///foot"},
		{"walking", "GB", "no car, walking", "///foot"},
		{"pick up is a verb", "US", "here to pick up for Ana", "///"},
		{"pickup is a body", "GB", "dad's in the pickup, a ford ranger", "/Ford/Ranger/pickup"},
		{"Van is a name", "US", "here for Van Nguyen", "///"},
		{"landmark", "US", "silver Prius, parked behind a white van", "silver/Toyota/Prius/"},
		{"landmark first", "GB", "behind the white van, red Mazda", "red/Mazda//"},
		{"somebody else's", "GB", "someone in a silver golf took my spot", "///"},
		{"not that one", "GB", "black bmw not the audi", "black/BMW//"},
		{"corrected", "GB", "the micra, no the juke. red", "red/Nissan/Juke/"},
		{"excused", "GB", "micra wouldn't start so it'll be the red fiesta", "red/Ford/Fiesta/"},
		{"colour before a plate", "GB", "grey fx21wzb outside", "grey///"},
		{"colour before a plate in two", "GB", "red FX21 WZB", "red///"},
		{"colour behind a plate", "US", "HTB 4417, silver", "silver///"},
		{"colour of a kind of engine", "GB", "parked opposite in a grey hybrid", "grey///"},
		{"colour of the one that is meant", "US", "ya llegó, está en la roja", "red///"},
		{"one with a thing on it", "AU", "dark green one with the rack", "green///"},
		{"drawn out", "GB", "redddd fiesta", "red/Ford/Fiesta/"},
		{"Scots", "GB", "rid Astra", "red/Vauxhall/Astra/"},
		{"Irish car", "IE", "gluaisteán gorm", "blue///"},
		{"Persian", "AU", "کرولای سیاه", "black/Toyota/Corolla/"},
		{"two tone with its colours", "AU", "two tone Kombi, cream top orange bottom", "cream,orange/Volkswagen/Kombi/"},
		{"tractor", "IE", "on the green John Deere", "green/John Deere//"},
		{"make's letter", "US", "black Tesla X", "black/Tesla/Model X/"},
		{"as the maker writes in Australia", "AU", "silver landcruiser", "silver/Toyota/LandCruiser/"},
		{"as the maker writes in Ireland", "IE", "silver landcruiser", "silver/Toyota/Land Cruiser/"},
		{"name in two words", "AU", "brown pa jero", "brown/Mitsubishi/Pajero/"},
		{"said with an r", "GB", "in a blue micrar", "blue/Nissan/Micra/"},
		{"the article of the North", "GB", "in t'Fiesta", "/Ford/Fiesta/"},
		{"everyday word that ends what is said", "AU", "out front in the patrol", "/Nissan/Patrol/"},
		{"everyday word with a thing on it", "GB", "Outside, Yeti with the bike rack", "/Skoda/Yeti/"},
		{"a greeting that names a maker", "AU", "kia ora, in the blue tarago", "blue/Toyota/Tarago/"},
		{"walk of minutes", "US", "off the bus, 5 min walk", "///foot"},
		{"walking drawn out", "GB", "walkinggg", "///foot"},
		{"body in the model's name", "AU", "white falcon ute", "white/Ford/Falcon/pickup"},
		{"van behind the model", "GB", "white Transit van", "white/Ford/Transit/van"},
		{"everyday word with an adjective", "AU", "here. old patrol", "/Nissan/Patrol/"},
		{"a note that names a car", "GB", "as per my note silver astra", "silver/Vauxhall/Astra/"},
		{"one of those", "US", "driving my Ford Maverick, one of those orange ones", "orange/Ford/Maverick/"},
		{"a road is no car", "GB", "stuck on the M5 in a red fiesta", "red/Ford/Fiesta/"},
		{"tipper", "GB", "in the tipper tomorrow. yellow", "yellow///"},
		{"a pickup's cab", "US", "tan single cab Ranger", "beige/Ford/Ranger/"},
		{"French", "CA", "dans le VUS gris", "grey///suv"},
		{"on foot instead", "GB", "too icy for the bike so im on foot", "///foot"},
		{"number with its colour behind", "GB", "it's a 207 in black", "black/Peugeot/207/"},
		{"number of several makers", "GB", "red 500", "red/Fiat/500/"},
		{"left at home", "US", "truck's acting up so I'm on the motorcycle", "///motorbike"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f := vehicles.Find(tt.text, tt.region)
			got := strings.Join([]string{strings.Join(f.Colours, ","), f.Make, f.Model, f.Body}, "/")
			require.Equal(t, tt.want, got, tt.text)
			require.Equal(t, f.Any(), f.Why != "")
		})
	}
}

// TestNoVehicle holds everyday words, names and colours that are no car's.
func TestNoVehicle(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"can't play golf on saturday", "I left a note for you", "we love jazz", "up the road", "focus on the taste please",
		"what a smart idea", "the escape room was fun", "my accent is strong", "fit for a king", "is the sky always grey here",
		"picking up for Mercedes", "here for Logan", "Sienna is outside", "Henry Ford here", "thanks, Morgan", "Austin TX",
		"Mr White is outside", "James Brown here", "Jade here", "on Greenway Road", "by the blue house", "red door?", "stuck at red lights",
		"yellow raincoat by the gate", "grey hoodie", "green chile please", "black bean ones", "white rice or brown?", "red sauce please",
		"is there a car park?", "car seat in the way", "ready for pickup", "pickup at 6", "cant walk far", "walking distance?",
		"is it on with the amber rain warning", "who has the keys to the astro", "there is egg in the green one", "noice", "still on the B1110", "on the M5, back soon", "trae chamarra rosa", "which gate, the green one", "I'm in the purple parka", "is it a 10 min walk from town",
		"cruise for two", "in bed for two days", "stuck in traffic", "my partner is outside", "call me back", "",
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, vehicles.Found{}, vehicles.Find(text, "GB"))
		})
	}
}

// TestColours checks every colour of the corpus list and how published colour
// words fold onto it. Sources: the DVLA list as on the V5C (from memory); NCIC VCO
// codes' names (docs.oasis-open.org, ECF 5.0); the README of the corpus.
func TestColours(t *testing.T) {
	t.Parallel()
	for said, want := range map[string]string{
		"beige": "beige", "black": "black", "blue": "blue", "bronze": "bronze", "brown": "brown", "cream": "cream", "gold": "gold",
		"green": "green", "grey": "grey", "maroon": "maroon", "orange": "orange", "pink": "pink", "purple": "purple", "red": "red",
		"silver": "silver", "turquoise": "turquoise", "white": "white", "yellow": "yellow", "multi-coloured": "multi",
		"gray": "grey", "charcoal": "grey", "gunmetal": "grey", "graphite": "grey", "navy": "blue", "sky": "blue", "burgundy": "maroon",
		"wine": "maroon", "tan": "beige", "sand": "beige", "champagne": "gold", "teal": "turquoise",
		"dark blue": "blue", "light green": "green", "lavender": "purple", "mauve": "purple", "amethyst": "purple",
		"anthracite": "grey", "claret": "maroon", "lime": "green", "khaki": "green", "olive": "green", "ivory": "cream",
	} {
		t.Run(said, func(t *testing.T) {
			t.Parallel()
			f := vehicles.Find("a "+said+" toyota", "GB")
			require.NotEmpty(t, f.Colours)
			require.Equal(t, want, f.Colours[0])
			require.Equal(t, "Toyota", f.Make)
		})
	}
}

func TestAmbiguous(t *testing.T) {
	t.Parallel()
	f := vehicles.Find("me in the blue kia. my wife comes in a red ford", "GB")
	require.True(t, f.Ambiguous)
	require.Equal(t, "Kia", f.Make)
	require.Contains(t, f.Why, "another vehicle")
}

func TestSpans(t *testing.T) {
	t.Parallel()
	const text = "here in the red 🚗 Škoda Fabia!"
	f := vehicles.Find(text, "GB")
	var got []string
	for _, s := range f.Spans {
		got = append(got, text[s[0]:s[1]])
	}
	require.Equal(t, []string{"red", "Škoda", "Fabia"}, got)
}

// FuzzFind checks that no text panics and that every reading keeps its promises.
func FuzzFind(f *testing.F) {
	for _, s := range []string{"", "red mini", "我到了，白色特斯拉", "a a a a a a", "\xff golf", "grey grey grey grey grey grey kia", "no no the the not in", "🚗", "voy a pie", "l'auto's's"} {
		f.Add(s, "GB")
		f.Add(s, "US")
	}
	f.Fuzz(func(t *testing.T, text, region string) {
		if len(text) > 6400 {
			return
		}
		got := vehicles.Find(text, region)
		require.Equal(t, got.Any(), got.Why != "")
		for _, s := range got.Spans {
			require.True(t, 0 <= s[0] && s[0] < s[1] && s[1] <= len(text))
		}
	})
}
