package web

import (
	"context"
	"html/template"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
)

func escape(s string) string { return url.PathEscape(s) }

type ordersPage struct {
	Origin
	Query  string
	Found  []Ticket
	All    int
	Counts []count
}

type count struct {
	Words string
	N     int
}

// sight is what the pages about orders are made from.
func (s *site) sight(ctx context.Context, n night.Night, back string) (seen, []night.Order, error) {
	orders, err := s.Desk.Orders(ctx, n.ID)
	if err != nil {
		return seen{}, nil, err
	}
	texts, err := s.Desk.Inbounds(ctx, n.ID)
	return seen{Origin{Back: back, Night: n.ID}, n, s.Now(), latest(texts), together(orders), nil}, orders, err
}

func (s *site) ordersView(ctx context.Context, n night.Night, q string) (view, error) {
	back := "/orders"
	if q != "" {
		back += "?q=" + url.QueryEscape(q)
	}
	c, orders, err := s.sight(ctx, n, back)
	if err != nil {
		return view{}, err
	}
	p := ordersPage{Origin: c.Origin, Query: q, Found: s.tickets(c, find(orders, q)), All: len(orders)}
	counts := map[night.State]int{}
	for _, o := range orders {
		counts[o.State]++
	}
	for _, st := range []night.State{night.Booked, night.Told, night.Reminded, night.Arrived, night.HandedOut, night.NotCollected, night.Cancelled} {
		if counts[st] > 0 {
			p.Counts = append(p.Counts, count{s.states(st, counts[st]), counts[st]})
		}
	}
	return view{Template: "orders", Title: s.t("Orders"), Tab: "orders", Data: p}, nil
}

// orderPage is one order with all that happened.
type orderPage struct {
	Ticket
	Typed   string // the number as it stood in the order book
	Email   string
	Lines   []line
	Sent    []sentText
	Texts   []text
	Slots   []slotChoice
	Items   []bagItem
	NewRef  string   // for what is split off
	Others  []Ticket // what can be joined into this one, those of the same number first
	AtSlot  int      // orders that a move of the whole slot takes along
	CanUndo bool
	Undoes  string
	Steps   map[string]bool
	Told    bool
	Here    string // the page behind their arrival link
}

type line struct{ At, Who, What string }

type sentText struct {
	Origin
	ID     int64
	At     string
	Kind   string
	State  night.MessageState
	Reason string
	Tel    template.URL
	Number string // or the address
	Text   string
	Parts  int
	Way    string // which way it took
	About  string // names and references
	Again  bool   // a person may send it again
}

type slotChoice struct {
	Value string
	Words string
	Full  bool
	Now   bool
}

func (s *site) orderView(ctx context.Context, n night.Night, ref string) (view, error) {
	card, err := s.Desk.Card(ctx, n.ID, ref)
	if err != nil {
		return view{}, err
	}
	o := card.Order
	c, orders, err := s.sight(ctx, n, "/orders/"+escape(o.Ref))
	if err != nil {
		return view{}, err
	}
	texts, err := s.Desk.Inbounds(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	c.unsaid = map[int64]bool{o.ID: desk.Unsaid(o, card.Messages)}
	p := orderPage{Ticket: s.ticket(c, o), Email: o.Email, Slots: s.slots(n, orders, o), Steps: map[string]bool{}, Told: told(card)}
	p.Items, p.NewRef, p.Others = itemsOf(o), newRef(orders, o), s.joinable(c, orders, o)
	p.AtSlot = len(atSlot(orders, o.Slot))
	if o.PhoneTyped != p.Number {
		p.Typed = o.PhoneTyped
	}
	key, err := HereKey(ctx, s.Keep)
	if err != nil {
		return view{}, err
	}
	p.Here = HerePath(key, n.ID, o.ID)
	for _, step := range o.State.Steps() {
		p.Steps[string(step)] = true
	}
	if back, ok := night.Undone(card.Events); ok {
		p.CanUndo, p.Undoes = true, s.t("Take back “%s”: then %s again", s.state(o.State), s.state(back))
	}
	for _, e := range slices.Backward(card.Events) {
		p.Lines = append(p.Lines, line{s.when(n, e.At), s.whoWords(e.Who), s.tell(e)})
	}
	byID := namesByID(orders)
	for _, m := range slices.Backward(card.Messages) {
		p.Sent = append(p.Sent, s.sentText(c, m, byID))
	}
	for _, in := range slices.Backward(texts) {
		if slices.Contains(in.Orders, o.ID) {
			p.Texts = append(p.Texts, s.text(c, in, orders))
		}
	}
	last := int64(0)
	if len(card.Events) > 0 {
		last = card.Events[len(card.Events)-1].ID
	}
	return view{Template: "order", Live: true, Title: o.Ref + " " + o.Name, Tab: "orders", Event: last, Data: p}, nil
}

// told tells whether the customer knows anything of the night, so that a change
// has to reach them.
func told(c desk.Card) bool {
	return slices.ContainsFunc(c.Messages, func(m night.Message) bool {
		return m.State.WentOut() && m.Kind != night.Reply && m.Kind != night.Confirmation
	})
}

// namesByID gives the name and reference of each order.
func namesByID(orders []night.Order) map[int64]string {
	out := make(map[int64]string, len(orders))
	for _, o := range orders {
		out[o.ID] = o.Name + " " + o.Ref
	}
	return out
}

func refsByID(orders []night.Order) map[int64]string {
	out := make(map[int64]string, len(orders))
	for _, o := range orders {
		out[o.ID] = o.Ref
	}
	return out
}

func (s *site) sentText(c seen, m night.Message, names map[int64]string) sentText {
	t := sentText{
		Origin: c.Origin, ID: m.ID, At: s.when(c.night, m.DueAt), Kind: capital(s.kind(m.Kind)), State: m.State, Reason: s.say(m.Reason),
		Text: m.Text, Parts: m.Parts, Way: s.way(m),
	}
	if !m.SettledAt.IsZero() {
		t.At = s.when(c.night, m.SettledAt)
	}
	t.Number = m.To
	if isNumber(m.To) {
		t.Tel, t.Number = telURL(m.To), phone.National(m.To)
	}
	var about []string
	for _, cover := range m.Covers {
		about = append(about, names[cover.OrderID])
	}
	t.About = strings.Join(about, ", ")
	switch m.State {
	case night.Failed, night.InDoubt, night.Missed:
		t.Again = true
	case night.Due, night.Sending, night.Sent, night.Delivered, night.ByHand, night.Dropped:
	}
	return t
}

// slots lists where an order can be moved to, and how full each slot is.
func (s *site) slots(n night.Night, orders []night.Order, o night.Order) []slotChoice {
	taken := map[night.Clock]int{}
	for _, other := range orders {
		if other.State != night.Cancelled {
			taken[other.Slot]++
		}
	}
	var out []slotChoice
	for _, c := range n.Slots() {
		choice := slotChoice{Value: c.String(), Now: c == o.Slot, Full: n.Capacity > 0 && taken[c] >= n.Capacity}
		switch {
		case choice.Full:
			choice.Words = s.t("%s · %d of %d orders, full", s.slot(c), taken[c], n.Capacity)
		case n.Capacity > 0:
			choice.Words = s.t("%s · %d of %d orders", s.slot(c), taken[c], n.Capacity)
		default:
			choice.Words = s.slot(c) + " · " + s.t("%d orders", taken[c])
		}
		out = append(out, choice)
	}
	return out
}

// cancelView asks before an order is cancelled, and shows what follows.
func (s *site) cancelView(ctx context.Context, n night.Night, ref string) (view, error) {
	return s.lookView(ctx, n, ref, url.Values{"do": {"cancel"}})
}

// textPage is one text that nobody could place, with a search for its order.
type textPage struct {
	text
	Query string
	Found []Ticket
	Done  bool
}

// foundFew is how many orders a search for a text's order shows.
const foundFew = 20

func (s *site) textView(ctx context.Context, n night.Night, id, q string) (view, error) {
	number, err := strconv.ParseInt(id, 10, 64)
	if err != nil {
		return view{}, errNoPage
	}
	c, orders, err := s.sight(ctx, n, "/")
	if err != nil {
		return view{}, err
	}
	b, err := s.Desk.Board(ctx, n.ID) // texts that are about no night stand there too
	if err != nil {
		return view{}, err
	}
	all, err := s.Desk.Inbounds(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	for _, in := range append(slices.Clone(b.Texts), all...) {
		if in.ID != number {
			continue
		}
		p := textPage{text: s.text(c, in, orders), Query: q, Done: in.State != night.Open}
		if q != "" {
			p.Found = s.tickets(c, find(orders, q))
			p.Found = p.Found[:min(len(p.Found), foundFew)]
		}
		return view{Template: "text", Title: s.t("Whose text is this?"), Tab: "pass", Data: p}, nil
	}
	return view{}, errNoPage
}
