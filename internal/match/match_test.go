package match_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"passbell/internal/match"
	"passbell/internal/night"
	"passbell/internal/reading"
)

// The book of the checks. Numbers: Ofcom's range for drama. Expected values
// follow from the rule in the package comment.
func book() []match.Order {
	return []match.Order{
		{Ref: "L101", Name: "Tess Hallow", Phone: "+447700900101", Slot: 18 * 60, Vehicles: []night.Vehicle{{Colours: []string{"grey"}, Make: "Volkswagen", Model: "Golf", Plate: "LX19KTO"}}},
		{Ref: "L102", Name: "Sarah Okoro", Phone: "+447700900102", Slot: 18 * 60},
		{Ref: "L103", Name: "Sarah Whitford", Phone: "+447700900103", Slot: 18*60 + 10},
		{Ref: "L104", Name: "Brendan O'Dowd", Phone: "+447700900104", Slot: 18*60 + 10},
		{Ref: "L105", Name: "Ana Núñez-Prado", Phone: "+447700900105", Slot: 18*60 + 20},
		{Ref: "L106", Name: "Kofi Mensah", Phone: "+447700900106", Slot: 18 * 60, Dishes: []string{"Lamb momo", "Slaw"}},
		{Ref: "L107", Name: "Ama Mensah", Phone: "+447700900106", Slot: 18*60 + 30, Dishes: []string{"Prawn har gow", "Slaw"}},
		{Ref: "L109", Name: "Ho Van Thanh", Phone: "+447700900109", Slot: 18 * 60},
		{Ref: "L110", Name: "Ann Min", Phone: "+447700900110", Slot: 18 * 60},
		{Ref: "L111", Name: "June Ofori", Phone: "+447700900111", Slot: 17*60 + 40},
		{Ref: "L112", Name: "June Ofori", Phone: "+447700900111", Slot: 18*60 + 20, Note: "for the bowls club"},
		{Ref: "L113", Name: "Lee Tran", Phone: "+447700900113", Slot: 18 * 60},
		{Ref: "L114", Name: "Lee Tran", Phone: "+447700900113", Slot: 18 * 60, Note: "second order, for mum"},
		{Ref: "L108", Name: "Will Grace", Phone: "+447700900108", Slot: 18*60 + 30},
	}
}

func read(x *match.Index, from, text string) (reading.Reading, match.Result) {
	zone := time.UTC
	ctx := reading.Context{
		Region: "GB", Zone: zone, Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 17 * 60, Last: 19 * 60,
		At: time.Date(2026, 12, 4, 18, 10, 0, 0, zone), Known: len(x.Of(from)) > 0, Book: x,
	}
	got := reading.Read(text, ctx)
	return got, x.Match(from, &got)
}

func TestMatch(t *testing.T) {
	t.Parallel()
	const stranger = "+447700900999"
	tests := []struct {
		name, from, text string
		orders           []string
		sure             bool
		ground           match.Ground
	}{
		{"the sender's own number", "+447700900101", "here", []string{"L101"}, true, match.ByNumber},
		{"another number's order by name", "+447700900102", "outside, picking up for Tess Hallow next door", []string{"L102", "L101"}, false, match.ByAmbiguous},
		{"another number's order by reference", "+447700900106", "here for L101", []string{"L106", "L107", "L101"}, false, match.ByAmbiguous},
		{"one's own full name", "+447700900101", "Tess Hallow here", []string{"L101"}, true, match.ByNumber},
		{"two orders under one number", "+447700900106", "here", []string{"L106", "L107"}, true, match.ByNumber},
		{"a first name picks one of two", "+447700900106", "here for Ama", []string{"L107"}, true, match.ByNumber},
		{"a slot picks one of two", "+447700900106", "here for the 6.30 order", []string{"L107"}, true, match.ByNumber},
		{"an ordinal picks one of two", "+447700900106", "outside for the second one", []string{"L107"}, true, match.ByNumber},
		{"the note picks one of two", "+447700900111", "here for the bowls club", []string{"L112"}, true, match.ByNumber},
		{"the note's word before a thing", "+447700900111", "outside for club order", []string{"L112"}, true, match.ByNumber},
		{"a relation by another word", "+447700900113", "here, mom's bag", []string{"L114"}, true, match.ByNumber},
		{"one's own beside a noted one", "+447700900113", "here for mine, mum's is later", []string{"L113"}, true, match.ByNumber},
		{"a relation who only speaks", "+447700900113", "mum says hello, I'm outside", []string{"L113", "L114"}, false, match.ByAmbiguous},
		{"a place of the note's name", "+447700900111", "parked by the club", []string{"L111", "L112"}, false, match.ByAmbiguous},
		{"both said", "+447700900106", "here for Ama's and mine", []string{"L106", "L107"}, true, match.ByNumber},
		{"two names beside each other", "+447700900106", "we are here for Kofi and Ama", []string{"L106", "L107"}, true, match.ByNumber},
		{"two owners", "+447700900106", "outside for Kofi and Ama's", []string{"L106", "L107"}, true, match.ByNumber},
		{"two orders at one slot", "+447700900106", "on our way, there for the two orders at 6", []string{"L106", "L107"}, true, match.ByNumber},
		{"another's car", "+447700900106", "here, in Ama's car", []string{"L106", "L107"}, true, match.ByNumber},
		{"the signature of one beside the note of the other", "+447700900113", "can you move my mum's one to 7? Lee", []string{"L114"}, true, match.ByNumber},
		{"love from one", "+447700900106", "lovely as ever, thanks from Ama", []string{"L106", "L107"}, false, match.ByAmbiguous},
		{"both of them", "+447700900106", "can my cousin get both of them? Ama", []string{"L106", "L107"}, true, match.ByNumber},
		{"a name and oneself", "+447700900106", "Kofi and I are on our way", []string{"L106", "L107"}, true, match.ByNumber},
		{"a name and oneself in Spanish", "+447700900106", "Kofi y yo ya estamos afuera", []string{"L106", "L107"}, true, match.ByNumber},
		{"oneself and a name in Spanish", "+447700900106", "ya llegamos, yo y Ama", []string{"L106", "L107"}, true, match.ByNumber},
		{"both in Spanish", "+447700900111", "vengo por las dos, June", []string{"L111", "L112"}, true, match.ByNumber},
		{"one got, one waited for", "+447700900106", "got Kofi's, waiting on Ama's", []string{"L107"}, false, match.ByAmbiguous},
		{"a name without its apostrophe", "+447700900106", "here for kofis", []string{"L106"}, true, match.ByNumber},
		{"2nd", "+447700900111", "outside for the 2nd one", []string{"L112"}, true, match.ByNumber},
		{"the second in French", "+447700900111", "ici pour la 2e", []string{"L112"}, true, match.ByNumber},
		{"the other's is scrapped", "+447700900106", "scrap hers, I'll still get mine. Kofi", []string{"L107"}, false, match.ByAmbiguous},
		{"one's own in Spanish", "+447700900106", "estoy afuera, es para la mía, la de mi suegra más tarde", []string{"L106", "L107"}, false, match.ByAmbiguous},
		{"the second time round", "+447700900106", "Back again, Aygo, same spot", []string{"L106", "L107"}, false, match.ByAmbiguous},
		{"only one, unnamed", "+447700900106", "ours only for now. be over in 5", []string{"L106", "L107"}, false, match.ByAmbiguous},
		{"another's, unnamed", "+447700900106", "can you do hers without onion?", []string{"L106", "L107"}, false, match.ByAmbiguous},
		{"only, of the time", "+447700900106", "only 5 minutes away", []string{"L106", "L107"}, true, match.ByNumber},
		{"one of two by when they come", "+447700900111", "on my way, be there 18:20", []string{"L112"}, true, match.ByNumber},
		{"a length that ends on a slot", "+447700900111", "on my way, be there in 10", []string{"L111", "L112"}, true, match.ByNumber},
		{"a range that ends on a slot", "+447700900111", "on my way, 6.15 or 6.20", []string{"L111", "L112"}, true, match.ByNumber},
		{"a reference from a stranger", stranger, "here for l104", []string{"L104"}, true, match.ByRef},
		{"a reference written in two", stranger, "here for L 104", []string{"L104"}, true, match.ByRef},
		{"a declared plate from a stranger", stranger, "outside lx19kto", []string{"L101"}, true, match.ByPlate},
		{"a full name", stranger, "here for Tess Hallow", []string{"L101"}, true, match.ByName},
		{"a full name backwards", stranger, "hallow, tess is outside", []string{"L101"}, true, match.ByName},
		{"a full name without its accents", stranger, "here for ana nunez prado", []string{"L105"}, true, match.ByName},
		{"a full name with an apostrophe", stranger, "outside for Mrs Brendan O’Dowd", []string{"L104"}, true, match.ByName},
		{"a full name of everyday words", stranger, "outside for Will Grace", []string{"L108"}, true, match.ByName},
		{"a full name that looks like a slip", stranger, "here for Thanh Ho Van", []string{"L109"}, true, match.ByName},
		{"a full name of shorthand words", stranger, "outside for ann min", []string{"L110"}, true, match.ByName},
		{"a first name that two bear", stranger, "here for Sarah", []string{"L102", "L103"}, false, match.ByLikely},
		{"a first name that one bears", stranger, "here for Tess", []string{"L101"}, false, match.ByLikely},
		{"a short form of a first name", stranger, "here for bren", []string{"L104"}, false, match.ByLikely},
		{"a short form that goes another way", stranger, "outside for Billy", []string{"L108"}, false, match.ByLikely},
		{"a surname", stranger, "collecting for Whitford, im outside", []string{"L103"}, false, match.ByLikely},
		{"a part of a plate", stranger, "reg ends KTO, outside", []string{"L101"}, false, match.ByLikely},
		{"a part of a double surname", stranger, "here for Ana Prado", []string{"L105"}, false, match.ByLikely},
		{"two full names", stranger, "here for Tess Hallow and Kofi Mensah", []string{"L101", "L106"}, false, match.ByAmbiguous},
		{"a reference and another's name", stranger, "L104 here, Tess Hallow", []string{"L104", "L101"}, false, match.ByAmbiguous},
		{"a vehicle alone", stranger, "outside, grey golf", nil, false, match.ByNobody},
		{"nothing to go by", stranger, "im outside in a red fiesta", nil, false, match.ByNobody},
		{"thanks from a stranger", stranger, "thanks", nil, true, match.ByNothing},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			x := match.New(book())
			_, res := read(x, tt.from, tt.text)
			var refs []string
			for _, i := range res.Orders {
				refs = append(refs, x.Order(i).Ref)
			}
			require.Equal(t, tt.orders, refs, res.Why)
			require.Equal(t, tt.sure, res.Sure, res.Why)
			require.Equal(t, tt.ground, res.Ground)
			require.NotEmpty(t, res.Why)
		})
	}
}

func TestHandedOutIsLeftOut(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	x.SetState(5, night.HandedOut)
	_, res := read(x, "+447700900106", "here again for the other one")
	require.Equal(t, []int{6}, res.Orders)
}

// TestNeverOnAGuess holds the rule that no order is marked as arrived on a
// first name, a surname or two likely orders, whatever the book and the sender.
func TestNeverOnAGuess(t *testing.T) {
	t.Parallel()
	firsts := []string{"Tess", "Sarah", "Kofi", "Ana", "Maria", "Grace", "Will", "Rose", "Nguyen", "José"}
	lasts := []string{"Hallow", "Okoro", "Mensah", "Núñez", "White", "Ford", "Nguyen", "O'Dowd", "Park", "May"}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "orders")
		orders := make([]match.Order, n)
		for i := range orders {
			orders[i] = match.Order{
				Ref:   fmt.Sprintf("L%d", 101+i),
				Name:  rapid.SampledFrom(firsts).Draw(t, "first") + " " + rapid.SampledFrom(lasts).Draw(t, "last"),
				Phone: fmt.Sprintf("+4477009001%02d", rapid.IntRange(0, 60).Draw(t, "phone")),
				Slot:  night.Clock(17*60 + 10*rapid.IntRange(0, 12).Draw(t, "slot")),
			}
		}
		x := match.New(orders)
		word := rapid.SampledFrom(append(append([]string{}, firsts...), lasts...)).Draw(t, "word")
		text := fmt.Sprintf(rapid.SampledFrom([]string{"here for %s", "%s here", "im outside, name is %s", "collecting for %s, red ford", "%s's order, outside", "HERE FOR %s"}).Draw(t, "form"), word)
		from := fmt.Sprintf("+4477009009%02d", rapid.IntRange(0, 99).Draw(t, "from")) // in no order
		got, res := read(x, from, text)
		if got.Intent == reading.Here && res.Sure {
			t.Fatalf("%q from a stranger marked %v as arrived: %s", text, res.Orders, res.Why)
		}
		// A full name is sure only where exactly one order carries it.
		o := orders[rapid.IntRange(0, n-1).Draw(t, "full")]
		same := 0
		for _, p := range orders {
			if p.Name == o.Name {
				same++
			}
		}
		_, res = read(x, from, "here for "+o.Name)
		if same > 1 && res.Sure {
			t.Fatalf("%d orders are named %s and one was taken: %s", same, o.Name, res.Why)
		}
	})
}

// TestLikelyLeavesOutHandedOut holds that nobody is likely to collect what was
// handed out before.
func TestLikelyLeavesOutHandedOut(t *testing.T) {
	t.Parallel()
	x := match.New(book())
	x.SetState(1, night.HandedOut) // Sarah Okoro's
	_, res := read(x, "+447700900999", "here for Sarah")
	require.Equal(t, []int{2}, res.Orders)
	require.False(t, res.Sure)
}

// TestAStrangerFetchesWhatIsLeft leaves out of a declared plate's orders what was handed
// out before.
func TestAStrangerFetchesWhatIsLeft(t *testing.T) {
	t.Parallel()
	orders := book()
	for i := range orders {
		if orders[i].Phone == "+447700900106" {
			orders[i].Vehicles = []night.Vehicle{{Plate: "AB12CDE"}}
		}
	}
	x := match.New(orders)
	x.SetState(5, night.HandedOut)
	_, res := read(x, "+447700900999", "outside in AB12 CDE")
	require.True(t, res.Sure)
	require.Equal(t, []int{6}, res.Orders)
}
