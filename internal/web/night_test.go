package web_test

import (
	"fmt"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/reading"

	"github.com/stretchr/testify/require"
)

// The invented night of the Larkfield Dumpling Kitchen. The numbers are from
// the range that Ofcom keeps for drama.
var customers = []struct{ name, note, allergy string }{
	{"Bethan Cadwgan", "coeliac - rice wrappers please", "coeliac - rice wrappers please"},
	{"Priya Solanki", "no onion no garlic if possible", "no onion no garlic if possible"},
	{"Callum Braithwaite", "", ""},
	{"Nimmi Perera", "second order, for mum", ""},
	{"Alf Wigglesworth", "neighbour, Brenda collects for me", ""},
	{"Hana Morikawa", "", ""},
	{"Rosalind Pargeter", "my little red car", ""},
	{"Harjit Dhanoa", "veggie household, no meat pans pls", "veggie household, no meat pans pls"},
	{"Farhana Hussain", "daughter has severe nut allergy", "daughter has severe nut allergy"},
	{"Ruth Appiah", "", ""},
	{"Clive Pritchard", "", ""},
	{"Zoë Llewellyn-Featherstonehaugh", "will be on foot with a pushchair", ""},
	{"Dean Hepworth", "", ""}, {"Shona McAllister", "", ""}, {"Gordon Baird", "", ""}, {"Kieron Achebe", "", ""},
	{"Tanisha Duhaney", "", ""}, {"Dilwyn Prosser", "", ""}, {"Cerys Meredith", "", ""}, {"Declan Mulholland", "", ""},
	{"Orla McGrady", "sesame allergy: she carries two adrenaline pens, so please no sesame oil, no seeds, and a clean board", "sesame allergy: she carries two adrenaline pens, so please no sesame oil, no seeds, and a clean board"},
	{"Zsófia Kertész", "", ""}, {"Abdul Rehman Qazi", "", ""}, {"Nasreen Qazi", "", ""}, {"Krystyna Baran", "", ""},
	{"João Carvalho", "", ""}, {"Wendy Oldroyd", "wheelchair user", ""}, {"Trevor Oldroyd", "", ""}, {"Ayodele Balogun", "", ""},
	{"Hettie Crabtree", "", ""}, {"Ngoc Pham", "", ""}, {"Wanda Crowley", "", ""}, {"Arjun Mehta", "", ""}, {"Mateo Olvera", "", ""},
	{"Keisha Barlow", "", ""}, {"Norman Fitch", "", ""}, {"Layla Haddad", "", ""}, {"Kyle Brandt", "", ""}, {"Ada Nwosu", "", ""}, {"Tom Birtwistle", "", ""},
}

func book() []night.Order {
	hot := []string{"Chicken and ginger dumplings 12", "Pork and chive dumplings 12", "Mushroom and tofu dumplings 12", "Prawn har gow 8", "Lamb and cumin dumplings 12"}
	cold := []string{"Smashed cucumber", "Sesame noodle salad", "Iced jasmine tea"}
	var out []night.Order
	for i, c := range customers {
		o := night.Order{
			Ref: fmt.Sprintf("K%d", 401+i), Name: c.name, Note: c.note, Allergy: c.allergy,
			Slot:  night.Clock(16*60 + 30 + 10*(i/3)),
			Items: []night.Item{{Qty: 1 + i%3, Name: hot[i%len(hot)], Kind: night.Hot}},
		}
		o.Phone = fmt.Sprintf("+44770090%04d", 107+i*7)
		o.PhoneTyped = fmt.Sprintf("0770090%04d", 107+i*7)
		if i%2 == 0 {
			o.Items = append(o.Items, night.Item{Qty: 1, Name: cold[i%len(cold)], Kind: night.Cold})
		}
		if i%4 == 0 {
			o.Items = append(o.Items, night.Item{Qty: 1, Name: hot[(i+2)%len(hot)], Kind: night.Hot})
		}
		o.Items = append(o.Items, night.Item{Qty: 1 + i%2, Name: "Chilli oil pot", Kind: night.Extra})
		if i == 27 { // the same household
			o.Phone, o.PhoneTyped = out[26].Phone, out[26].PhoneTyped
		}
		out = append(out, o)
	}
	return out
}

// fill plays the night up to 17:12: some served, some at the gate, some late,
// texts that failed and texts that nobody could place.
func (h *house) fill() {
	h.t.Helper()
	ctx := h.t.Context()
	h.open()
	_, err := h.desk.Close(ctx, h.night.ID, "cook")
	require.NoError(h.t, err)
	off, lost, late := h.order("K417").ID, h.order("K418").ID, h.order("K421").ID
	h.carry(func(m night.Message) (night.MessageState, string) {
		if m.Kind != night.Reminder {
			return "", ""
		}
		switch m.Covers[0].OrderID {
		case off:
			return night.Failed, "the network says the number is switched off"
		case lost:
			return night.InDoubt, "no answer came back from the provider"
		case late:
			return night.Missed, "passbell was not running at its time"
		}
		return "", ""
	})
	h.clock.set(evening("16:24"))
	for _, ref := range []string{"K401", "K402", "K403", "K404", "K405"} {
		_, err := h.desk.Packed(ctx, h.act(ref), true)
		require.NoError(h.t, err)
	}
	h.clock.set(evening("16:33"))
	h.arrive("K402", "here! silver fiesta", car("silver", "Ford", "Fiesta", ""), "")
	_, err = h.desk.Out(ctx, h.act("K402"))
	require.NoError(h.t, err)
	h.clock.set(evening("16:41"))
	_, err = h.desk.Out(ctx, h.act("K404"))
	require.NoError(h.t, err)
	h.clock.set(evening("16:52"))
	h.text(h.order("K410").Phone, "running about 20 mins late sorry x", desk.Decision{Intent: reading.Coming, Sure: true, Due: ptr(night.Clock(17*60 + 20)), Why: "their number"}, "K410")
	h.clock.set(evening("16:58"))
	h.arrive("K406", "here, grey golf lx19 kto by the bins", car("grey", "Volkswagen", "Golf", "LX19KTO"), "by the bins")
	h.clock.set(evening("17:03"))
	h.arrive("K409", "We're outside. Dark blue people carrier, Citroen, YK68 OPR", car("blue", "Citroën", "Berlingo", "YK68OPR"), "")
	_, err = h.desk.Packed(ctx, h.act("K409"), true)
	require.NoError(h.t, err)
	h.clock.set(evening("17:08"))
	h.arrive("K407", "Im here", night.Vehicle{}, "")
	h.arrive("K412", "hi i'm at the green gate on foot with a pushchair", night.Vehicle{Body: "on foot"}, "at the green gate")
	h.clock.set(evening("17:09"))
	h.text("+447700900777", "hiya picking up for bethan or maybe callum, white van outside", desk.Decision{Intent: reading.Here, Vehicle: car("white", "", "van", ""), Why: "the number is in no order; the names fit two orders"}, "K401", "K403")
	h.text("+447700900778", "Is there anywhere to park with a disabled badge?", desk.Decision{Intent: reading.Ask, Person: true, Why: "a question"})
	h.clock.set(evening("17:11"))
	h.arrive("K411", "here now red corsa FY17 ZZB", car("red", "Vauxhall", "Corsa", "FY17ZZB"), "")
	_, err = h.desk.Out(ctx, h.act("K411"))
	require.NoError(h.t, err)
	h.clock.set(evening("17:11").Add(40e9))
}

func ptr[T any](v T) *T { return &v }
