package book

import (
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

// Words of the trade; common practice, no source. Hot words win over the
// others, since "hot chocolate" is hot and "salad" alone is not.
const (
	hotWords = " hot soup broth ramen pho champurrado coffee tea latte cocoa mulled toastie "
	// extras are what goes into a third bag or on top: sauces and table things.
	extraWords = " sauce sauces dip dips dipping salsa chutney ketchup mayo mayonnaise mustard gravy relish condiment condiments " +
		"oil vinegar napkin napkins cutlery chopstick chopsticks fork forks spoon spoons lid lids extra extras topping toppings " +
		"garnish sachet sachets complimentary guacamole hummus houmous salsas aioli pickles crema sriracha "
	coldWords = " cold chilled frozen iced ice salad slaw coleslaw cucumber kimchi yoghurt yogurt raita cheesecake tiramisu sorbet gelato " +
		"mousse trifle pavlova jelly pudding panna smoothie juice soda cola coke lemonade limeade water beer wine cider kombucha " +
		"milkshake drink drinks bottle can cans ceviche sushi sashimi gazpacho tzatziki fruit cream horchata agua ensalada " +
		"refresco cerveza helado fria frio bebida brownie cookie cookies cake cakes cupcake macaron macarons "
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
	has := func(list string) bool {
		for w := range strings.FieldsSeq(words) {
			if strings.Contains(list, " "+w+" ") {
				return true
			}
		}
		return false
	}
	switch {
	case has(hotWords):
		return night.Hot
	case has(extraWords), strings.HasPrefix(words, " free "):
		return night.Extra
	case has(coldWords):
		return night.Cold
	}
	return night.Hot
}
