package web

import (
	"context"
	"encoding/json"
	"slices"
	"strconv"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// passPage is the pass.
type passPage struct {
	Origin
	Sentence  string
	At        string // the kitchen's clock
	Open      bool   // orders are not closed yet
	CalledOff bool
	Gate      []Ticket // those here, and those just handed out in their old places
	Here      int
	Pack      []Ticket
	Trouble   []trouble
	Doubtful  int
	Texts     []text
	Late      []Ticket
	Next      []Ticket // the next few
	Rest      []Ticket
	Needs     int
	Away      int
}

// trouble is a text that did not surely reach its customer.
type trouble struct {
	Origin
	ID     int64
	Kind   string
	State  night.MessageState
	Reason string
	About  *Ticket // nil where the text is about no order
	Tel    string
	Number string
}

// text is what a customer wrote and nobody could place.
type text struct {
	Origin
	ID     int64
	At     string
	Text   string
	Why    string
	Chips  []string
	Likely []Ticket
	Tel    string
	Number string
}

const (
	// justNow is how long a hand-out stays in its place, to be undone.
	justNow = time.Minute
	// nextFew is how many of those to come are shown at once.
	nextFew = 12
	// fewEvents is how far back a hand-out of the last minute can be: more
	// events than a kitchen has in a minute.
	fewEvents = 400
)

func (s *site) passView(ctx context.Context, n night.Night) (view, error) {
	b, err := s.Desk.Board(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	texts, err := s.Desk.Inbounds(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	recent, err := s.Desk.Events(ctx, n.ID, max(0, b.Event-fewEvents), fewEvents)
	if err != nil {
		return view{}, err
	}
	c := seen{Origin{"/", n.ID}, n, b.At, latest(texts), together(b.Orders)}
	p := passPage{Origin: c.Origin, Sentence: b.Sentence, At: s.clock(b.At), Open: n.ClosedAt.IsZero(), CalledOff: !n.CalledOff.IsZero(), Here: len(b.Gate)}
	p.Gate = s.gate(c, b, recent)
	p.Pack, p.Late = s.tickets(c, b.Pack), s.tickets(c, b.Late)
	p.Next = s.tickets(c, b.Next)
	p.Away = len(p.Next)
	if len(p.Next) > nextFew {
		p.Next, p.Rest = p.Next[:nextFew], p.Next[nextFew:]
	}
	for _, t := range b.Trouble {
		p.Trouble = append(p.Trouble, s.trouble(c, t))
		if t.Message.State == night.InDoubt {
			p.Doubtful++
		}
	}
	for _, in := range b.Texts {
		p.Texts = append(p.Texts, s.text(c, in, b.Orders))
	}
	p.Needs = len(p.Trouble) + len(p.Texts) + len(p.Late)
	return view{Template: "pass", Live: true, Title: "Pass", Tab: "pass", Event: b.Event, Data: p}, nil
}

func (s *site) tickets(c seen, orders []night.Order) []Ticket {
	out := make([]Ticket, len(orders))
	for i, o := range orders {
		out[i] = s.ticket(c, o)
	}
	return out
}

// gate lists who is here, longest wait first. Whoever was just handed out stays
// for a minute in the place they had, so that what was tapped answers where it
// was tapped.
func (s *site) gate(c seen, b desk.Board, recent []night.Event) []Ticket {
	out := map[int64]time.Time{}
	for _, e := range recent {
		switch {
		case e.OrderID == 0 || e.To == "":
		case e.To == night.HandedOut && e.What == night.StepTaken && c.at.Sub(e.At) < justNow:
			out[e.OrderID] = e.At
		default:
			delete(out, e.OrderID)
		}
	}
	orders := slices.Clone(b.Gate)
	for _, o := range b.Orders {
		if _, ok := out[o.ID]; ok && o.State == night.HandedOut {
			orders = append(orders, o)
		}
	}
	slices.SortStableFunc(orders, func(x, y night.Order) int { return x.Arrival.At.Compare(y.Arrival.At) })
	tickets := s.tickets(c, orders)
	for i := range tickets {
		if at, ok := out[tickets[i].ID]; ok && tickets[i].State == night.HandedOut {
			tickets[i].DoneAt = s.clock(at)
		}
	}
	return tickets
}

func (s *site) trouble(c seen, t desk.Trouble) trouble {
	out := trouble{
		Origin: c.Origin, ID: t.Message.ID, Kind: capital(kindWords(t.Message.Kind)), State: t.Message.State,
		Reason: t.Message.Reason,
	}
	if t.Order.ID != 0 {
		about := s.ticket(c, t.Order)
		out.About, out.Tel, out.Number = &about, about.Tel, about.Number
	}
	if out.Tel == "" && isNumber(t.Message.To) {
		out.Tel, out.Number = "tel:"+t.Message.To, national(t.Message.To)
	}
	return out
}

func isNumber(address string) bool {
	if len(address) < 8 || address[0] != '+' {
		return false
	}
	_, err := strconv.ParseUint(address[1:], 10, 64)
	return err == nil
}

// likelyFew is how many orders a text is offered.
const likelyFew = 4

func (s *site) text(c seen, in night.Inbound, orders []night.Order) text {
	t := text{Origin: c.Origin, ID: in.ID, At: s.when(c.night, in.At), Text: in.Text, Why: in.Why, Chips: s.chips(in.Reading)}
	if isNumber(in.From) {
		t.Tel, t.Number = "tel:"+in.From, national(in.From)
	} else {
		t.Number = in.From
	}
	for _, id := range in.Orders {
		i := slices.IndexFunc(orders, func(o night.Order) bool { return o.ID == id })
		if i >= 0 && len(t.Likely) < likelyFew {
			t.Likely = append(t.Likely, s.ticket(c, orders[i]))
		}
	}
	return t
}

// chips are the few things that were read in a text. The reading is whatever
// the reader wrote down; what is not known here is passed over.
func (s *site) chips(reading []byte) []string {
	var r struct {
		Intent  string         `json:"intent"`
		Vehicle *night.Vehicle `json:"vehicle"`
		Due     *night.Clock   `json:"due"`
		To      *night.Clock   `json:"to"`
		Allergy bool           `json:"allergy"`
	}
	if json.Unmarshal(reading, &r) != nil {
		return nil
	}
	var out []string
	add := func(w string) {
		if w != "" && !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	add(r.Intent)
	if v := r.Vehicle; v != nil {
		for _, c := range v.Colours {
			add(c)
		}
		add(words(v.Make, v.Model))
		add(v.Body)
		add(plateWords(s.Kitchen.Region, v.Plate))
	}
	if r.Due != nil {
		add("comes about " + s.slot(*r.Due))
	}
	if r.To != nil {
		add("asks for " + s.slot(*r.To))
	}
	if r.Allergy {
		add("allergy")
	}
	return out
}
