package book

import (
	"slices"
	"strings"

	"passbell/internal/night"
)

// kinds decides in which bag an item travels: by the kitchen's own words first,
// then by the words below, whole words of the name. What no word knows is hot:
// most of a supper is, and a cold thing in the hot bag is seen at once.
type kinds struct {
	own []kindWord
}

type kindWord struct {
	words string // folded
	kind  night.Kind
}

// Words of the trade; common practice, no source. What a dish is made with says
// little, its last word says what it is: a "kimchi fried rice" is hot and a
// "chicken in sauce" is no sauce.
const (
	// extras are what goes into a third bag or on top: sauces and table things.
	extraWords = " sauce sauces dip dips salsa salsas chutney ketchup mayo mayonnaise mustard gravy relish condiment condiments oil oils " +
		"vinegar napkin napkins cutlery chopstick chopsticks fork forks spoon spoons lid lids extra extras topping toppings garnish " +
		"sachet sachets guacamole hummus houmous aioli pickles crema sriracha sambal "
	extraFirst = " extra extras free side sauce dip salsa dipping complimentary "
	coldWords  = " salad salads slaw coleslaw cucumber kimchi yoghurt yogurt raita cheesecake tiramisu sorbet gelato cream mousse trifle " +
		"pavlova jelly pudding smoothie juice soda cola coke lemonade limeade water beer lager cider wine kombucha milkshake drink drinks " +
		"ceviche sushi sashimi gazpacho tzatziki fruit horchata brownie brownies cookie cookies cake cakes cupcake cupcakes macarons " +
		"ensalada agua refresco cerveza helado bebida gelatina "
	coldFirst = " cold chilled frozen iced ice fria frio "
	hotWords  = " hot soup broth ramen pho champurrado coffee tea latte cocoa mulled atole "
	// vessels stand behind what is in them and say nothing of it.
	vessels = " jar jars tub tubs pot pots bottle bottles can cans cup cups bowl bowls box boxes bag bags pint pints quart half dozen " +
		"pack packs portion portions small medium large regular piece pieces pcs each serving xl l m s of "
)

func newKinds(mapping map[string]string) kinds {
	var k kinds
	for _, kind := range []night.Kind{night.Hot, night.Cold, night.Extra} {
		for w := range strings.SplitSeq(mapping[string(kind)], ",") {
			if w = fold(w); w != "" {
				k.own = append(k.own, kindWord{words: w, kind: kind})
			}
		}
	}
	return k
}

func (k kinds) of(name string) night.Kind {
	words := " " + fold(name) + " "
	longest, kind := 0, night.Kind("")
	for _, o := range k.own {
		if len(o.words) > longest && strings.Contains(words, " "+o.words+" ") {
			longest, kind = len(o.words), o.kind
		}
	}
	if kind != "" {
		return kind
	}
	return usual(name)
}

// usual is the kind that the words of the trade give.
func usual(name string) night.Kind {
	name, _, _ = strings.Cut(name, "(")
	list := strings.Fields(fold(name))
	for i, w := range list {
		if i > 0 && (w == "with" || w == "in" || w == "con" || w == "w") {
			list = list[:i]
			break
		}
	}
	for len(list) > 1 && (strings.Contains(vessels, " "+list[len(list)-1]+" ") || strings.ContainsAny(list[len(list)-1], "0123456789")) {
		list = list[:len(list)-1]
	}
	if len(list) == 0 {
		return night.Hot
	}
	is := func(w, words string) bool { return strings.Contains(words, " "+w+" ") }
	first, last := list[0], list[len(list)-1]
	switch {
	case is(last, extraWords), is(first, extraFirst):
		return night.Extra
	case is(first, coldFirst):
		return night.Cold
	case slices.ContainsFunc(list, func(w string) bool { return is(w, hotWords) }):
		return night.Hot
	case is(last, coldWords):
		return night.Cold
	}
	return night.Hot
}
