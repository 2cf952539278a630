package web

import (
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// apiNight is a night and how it stands.
type apiNight struct {
	Date      string         `json:"date" doc:"ISO 8601"`
	Zone      string         `json:"zone" doc:"IANA time zone of every wall time"`
	First     string         `json:"first" doc:"First slot"`
	Last      string         `json:"last" doc:"Last slot"`
	Every     int            `json:"every" doc:"Minutes from slot to slot"`
	Capacity  int            `json:"capacity" doc:"Orders a slot can take; 0 for no limit"`
	Place     string         `json:"place"`
	Parking   string         `json:"parking"`
	ClosedAt  *time.Time     `json:"closed_at,omitempty"`
	CalledOff *time.Time     `json:"called_off,omitempty"`
	Sentence  string         `json:"sentence" doc:"The night in a line"`
	States    map[string]int `json:"states" doc:"Orders by state"`
	Event     int64          `json:"event" doc:"The last event in this: follow /events?after=… from here"`
}

func (s *site) toNight(b desk.Board) apiNight {
	n := b.Night
	out := apiNight{
		Date: n.Date.String(), Zone: s.Kitchen.Zone.String(), First: n.First.String(), Last: n.Last.String(), Every: n.Every,
		Capacity: n.Capacity, Place: n.Place, Parking: n.Parking, ClosedAt: instant(n.ClosedAt), CalledOff: instant(n.CalledOff),
		Sentence: b.Sentence, States: map[string]int{}, Event: b.Event,
	}
	for st, count := range b.Counts {
		out.States[string(st)] = count
	}
	return out
}

func instant(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}

// apiItem is one line of an order.
type apiItem struct {
	Qty  int    `json:"qty" minimum:"1" maximum:"999"`
	Name string `json:"name" minLength:"1" maxLength:"200"`
	Kind string `json:"kind,omitempty" enum:"hot,cold,extra" doc:"In which bag it travels; found from the name where left out"`
}

// apiLine is one line of an order as the kitchen sees it on the night.
type apiLine struct {
	apiItem
	Ticked bool `json:"ticked,omitempty" doc:"It is in the bag"`
	Short  int  `json:"short,omitempty" doc:"Pieces that are missing"`
}

// apiOrder is one order.
type apiOrder struct {
	Ref        string        `json:"ref"`
	Bag        int           `json:"bag,omitempty" doc:"0 before orders are closed"`
	Name       string        `json:"name"`
	Phone      string        `json:"phone,omitempty" doc:"E.164; empty where the customer can't be texted"`
	PhoneTyped string        `json:"phone_typed,omitempty"`
	Slot       string        `json:"slot"`
	Items      []apiLine     `json:"items"`
	Note       string        `json:"note,omitempty"`
	Allergy    string        `json:"allergy,omitempty"`
	State      string        `json:"state"`
	PackedAt   *time.Time    `json:"packed_at,omitempty"`
	ExpectedAt *time.Time    `json:"expected_at,omitempty"`
	ArrivedAt  *time.Time    `json:"arrived_at,omitempty"`
	Spot       string        `json:"spot,omitempty"`
	Vehicle    night.Vehicle `json:"vehicle"`
	Revision   int           `json:"revision"`
}

func toOrder(o night.Order) apiOrder {
	out := apiOrder{
		Ref: o.Ref, Bag: o.Bag, Name: o.Name, Phone: o.Phone, PhoneTyped: o.PhoneTyped, Slot: o.Slot.String(), Items: []apiLine{},
		Note: o.Note, Allergy: o.Allergy, State: string(o.State), PackedAt: instant(o.PackedAt), ExpectedAt: instant(o.ExpectedAt),
		ArrivedAt: instant(o.Arrival.At), Spot: o.Arrival.Spot, Vehicle: o.Vehicle, Revision: o.Revision,
	}
	for _, it := range o.Items {
		out.Items = append(out.Items, apiLine{apiItem{it.Qty, it.Name, string(it.Kind)}, it.Ticked, it.Short})
	}
	return out
}

// apiEvent is one line of what happened.
type apiEvent struct {
	ID      int64     `json:"id"`
	Order   int64     `json:"order,omitempty" doc:"The order's number inside passbell"`
	Message int64     `json:"message,omitempty"`
	Inbound int64     `json:"inbound,omitempty"`
	At      time.Time `json:"at"`
	Who     string    `json:"who"`
	What    string    `json:"what"`
	From    string    `json:"from,omitempty" doc:"State before, where the order moved"`
	To      string    `json:"to,omitempty"`
	Why     string    `json:"why,omitempty"`
}

func toEvent(e night.Event) apiEvent {
	return apiEvent{
		ID: e.ID, Order: e.OrderID, Message: e.MessageID, Inbound: e.InboundID, At: e.At.UTC(), Who: e.Who, What: string(e.What),
		From: string(e.From), To: string(e.To), Why: e.Why,
	}
}

// apiMessage is one text to a customer.
type apiMessage struct {
	ID        int64      `json:"id"`
	Kind      string     `json:"kind"`
	Orders    []string   `json:"orders" doc:"References of the orders that it is about"`
	To        string     `json:"to"`
	Text      string     `json:"text"`
	Parts     int        `json:"parts"`
	State     string     `json:"state"`
	Reason    string     `json:"reason,omitempty"`
	DueAt     time.Time  `json:"due_at"`
	SettledAt *time.Time `json:"settled_at,omitempty"`
	Attempt   int        `json:"attempt"`
	Adapter   string     `json:"adapter,omitempty"`
}

func toMessage(m night.Message, refs map[int64]string) apiMessage {
	out := apiMessage{
		ID: m.ID, Kind: string(m.Kind), Orders: []string{}, To: m.To, Text: m.Text, Parts: m.Parts, State: string(m.State), Reason: m.Reason,
		DueAt: m.DueAt.UTC(), SettledAt: instant(m.SettledAt), Attempt: m.Attempt, Adapter: m.Adapter,
	}
	for _, c := range m.Covers {
		if ref, ok := refs[c.OrderID]; ok {
			out.Orders = append(out.Orders, ref)
		}
	}
	return out
}

// apiCard is one order with its history.
type apiCard struct {
	Order    apiOrder     `json:"order"`
	Events   []apiEvent   `json:"events"`
	Messages []apiMessage `json:"messages"`
}
