package web

import (
	"context"
	"encoding/json"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
	"passbell/internal/reading"
)

// passPage is the pass.
type passPage struct {
	Origin
	Sentence  []string // its parts; no line ends within one
	At        string   // the kitchen's clock
	Open      bool     // orders are not closed yet
	Closes    string   // when they close by themselves; "" where they don't
	Unclosed  string   // what that means, where they should be closed by now
	CalledOff bool
	Gate      []Ticket // those here, and those just handed out in their old places
	Here      int
	Pack      []Ticket
	Trouble   []trouble
	Doubtful  int
	Texts     []text
	Untold    []untold
	Late      []Ticket
	Next      []template.HTML // lines of the next few
	Rest      []template.HTML
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
	Way    string
	About  *Ticket // nil where the text is about no order
	Tel    template.URL
	Number string
}

// untold is an order whose customer no text can tell.
type untold struct {
	Ticket
	Why string
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
	Wishes []wish
	Off    bool    // they ask for their order to be cancelled
	Head   string  // what is to be done with it
	From   *Ticket // whose it is, where that is known
	Tel    template.URL
	Number string
}

// wish is a slot that somebody who asks for another can have at a tap.
type wish struct {
	Ref   string
	Value string
	Label string
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

func (s *site) passView(ctx context.Context, n night.Night, limited bool) (view, error) {
	b, err := s.Desk.Board(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	texts, err := s.Desk.Inbounds(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	recent, err := s.recent(ctx, b)
	if err != nil {
		return view{}, err
	}
	c := seen{Origin{Back: "/", Night: n.ID, Limited: limited}, n, b.At, latest(texts), together(b.Orders), b.Unsaid}
	p := passPage{Origin: c.Origin, Sentence: strings.SplitAfter(s.say(b.Sentence), " ·"), At: s.clock(b.At), Open: n.ClosedAt.IsZero(), CalledOff: !n.CalledOff.IsZero(), Here: len(b.Gate)}
	p.Gate = s.gate(c, b, recent)
	p.Pack, p.Late = s.tickets(c, b.Pack), s.tickets(c, b.Late)
	if p.Next, err = s.lines(s.tickets(c, b.Next)); err != nil {
		return view{}, err
	}
	p.Away = len(p.Next)
	if len(p.Next) > nextFew {
		p.Next, p.Rest = p.Next[:nextFew], p.Next[nextFew:]
	}
	if limited { // what has to be told or sent is the cook's
		b.Trouble, b.Texts, b.Untold, b.Overdue = nil, nil, nil, false
	}
	switch {
	case b.Overdue:
		p.Unclosed = s.t("No text goes out until somebody closes them.")
		if b.NotClosed != "" {
			p.Unclosed = capital(s.say(b.NotClosed)) + ". " + p.Unclosed
		}
		p.Needs++
	case s.ClosesItself && n.ClosesAt.After(b.At):
		p.Closes = s.when(n, n.ClosesAt)
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
	for _, o := range b.Untold {
		why := s.t("no number that takes texts")
		if o.Address(true) != "" {
			why = s.t("they asked for no texts, or no way reaches their number")
		}
		p.Untold = append(p.Untold, untold{s.ticket(c, o), why})
	}
	p.Needs += len(p.Trouble) + len(p.Texts) + len(p.Untold) + len(p.Late)
	return view{Template: "pass", Live: true, Title: s.t("Pass"), Tab: "pass", Event: b.Event, Data: p}, nil
}

func (s *site) tickets(c seen, orders []night.Order) []Ticket {
	out := make([]Ticket, len(orders))
	for i, o := range orders {
		out[i] = s.ticket(c, o)
	}
	return out
}

// recent gives the events among which those of the last minute's hand-outs are.
func (s *site) recent(ctx context.Context, b desk.Board) ([]night.Event, error) {
	if b.Counts[night.HandedOut] == 0 {
		return nil, nil
	}
	return s.Desk.Events(ctx, b.Night.ID, max(0, b.Event-fewEvents), fewEvents)
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
		Origin: c.Origin, ID: t.Message.ID, Kind: capital(s.kind(t.Message.Kind)), State: t.Message.State,
		Reason: s.say(t.Message.Reason), Way: s.way(t.Message),
	}
	if t.Order.ID != 0 {
		about := s.ticket(c, t.Order)
		out.About, out.Tel, out.Number = &about, about.Tel, about.Number
	}
	if out.Tel == "" && isNumber(t.Message.To) {
		out.Tel, out.Number = telURL(t.Message.To), phone.National(t.Message.To)
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
	t := text{Origin: c.Origin, ID: in.ID, At: s.when(c.night, in.At), Text: in.Text, Why: s.say(in.Why), Chips: s.chips(in.Reading)}
	if isNumber(in.From) {
		t.Tel, t.Number = telURL(in.From), phone.National(in.From)
	} else {
		t.Number = in.From
	}
	for _, id := range in.Orders {
		i := slices.IndexFunc(orders, func(o night.Order) bool { return o.ID == id })
		if i >= 0 && len(t.Likely) < likelyFew {
			t.Likely = append(t.Likely, s.ticket(c, orders[i]))
		}
	}
	t.Wishes, t.Off = s.wishes(c, in, orders)
	t.Head = s.t("Whose text is this?")
	if len(in.Orders) == 1 && len(t.Likely) == 1 && t.Likely[0].Number == t.Number {
		t.From, t.Head = &t.Likely[0], s.t("Wants an answer")
		t.Likely = nil // it is theirs without anybody saying so
	}
	switch {
	case len(t.Wishes) > 0:
		t.Head = s.t("Asks for another slot")
	case t.Off:
		t.Head = s.t("Asks to cancel")
	}
	return t
}

const (
	// wishOrders is for how many orders a text that asks for another slot is
	// offered some, and wishSlots how many.
	wishOrders = 2
	wishSlots  = 3
)

// wishes offers slots with room to whoever asks for another.
func (s *site) wishes(c seen, in night.Inbound, orders []night.Order) (out []wish, off bool) {
	var r struct {
		Intent reading.Intent `json:"intent"`
		To     *night.Clock   `json:"to"`
	}
	if json.Unmarshal(in.Reading, &r) != nil || in.State != night.Open {
		return nil, false
	}
	if r.Intent != reading.Move {
		return nil, r.Intent == reading.Cancel
	}
	ids := in.Orders[:min(len(in.Orders), wishOrders)]
	for _, o := range orders {
		if !slices.Contains(ids, o.ID) || !o.State.Open() {
			continue
		}
		to := o.Slot
		if r.To != nil {
			to = *r.To
		}
		for _, room := range desk.NearestRoom(c.night, orders, o, to, wishSlots) {
			w := wish{Ref: o.Ref, Value: room.Slot.String(), Label: s.t("Move to %s", s.slot(room.Slot))}
			if len(ids) > 1 {
				w.Label = s.t("Move %s to %s", o.Ref, s.slot(room.Slot))
			}
			if room.Free > 0 {
				w.Label = s.t("%s (%d free)", w.Label, room.Free)
			}
			out = append(out, w)
		}
	}
	return out, false
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
	add(s.say(r.Intent))
	if v := r.Vehicle; v != nil {
		for _, c := range v.Colours {
			add(s.say(c))
		}
		add(words(v.Make, v.Model))
		add(s.say(v.Body))
		add(plateWords(s.Kitchen.Region, v.Plate))
	}
	if r.Due != nil {
		add(s.t("comes about %s", s.slot(*r.Due)))
	}
	if r.To != nil {
		add(s.t("asks for %s", s.slot(*r.To)))
	}
	if r.Allergy {
		add(s.t("allergy"))
	}
	return out
}
