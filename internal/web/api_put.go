package web

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"passbell/internal/book"
	"passbell/internal/desk"
	"passbell/internal/night"
)

// putIn is an order as a shop puts it.
type putIn struct {
	Ref  string `path:"ref" minLength:"1" maxLength:"80" doc:"The order's reference" example:"K401"`
	Body struct {
		_     struct{}  `additionalProperties:"false"`
		Name  string    `json:"name" minLength:"1" maxLength:"200"`
		Phone string    `json:"phone,omitempty" maxLength:"100" doc:"As the customer typed it"`
		Slot  string    `json:"slot" doc:"Wall time of the night's zone" example:"17:10"`
		Items []apiItem `json:"items" minItems:"1" maxItems:"200"`
		Note  string    `json:"note,omitempty" maxLength:"5000"`
		Who   string    `json:"who,omitempty" maxLength:"40"`
	}
}

type putOut struct {
	Body struct {
		Order   apiOrder      `json:"order"`
		Changed []string      `json:"changed" doc:"What is different from before; \"new\" for a new order"`
		Look    []putProblems `json:"look" doc:"What a person should see to, though the order stands"`
	}
}

type putProblems struct {
	Field string `json:"field"`
	What  string `json:"what"`
	Fix   string `json:"fix"`
}

// apiPut takes one order in, as a row of the order book: number, items and the
// allergy words in its note are read as an order book's are.
func (s *site) apiPut(ctx context.Context, in *putIn) (*putOut, error) {
	n, err := s.Desk.Current(ctx)
	if err != nil {
		return nil, s.apiError(err)
	}
	row, problems, err := s.row(n, in)
	if err != nil {
		return nil, err
	}
	who := in.Body.Who
	if who == "" {
		who = byAPI
	}
	loaded, err := s.Desk.LoadExtent(ctx, n.ID, []night.Order{row}, desk.SingleOrder, who)
	if err != nil {
		return nil, s.apiError(err)
	}
	card, err := s.Desk.Card(ctx, n.ID, row.Ref)
	if err != nil {
		return nil, s.apiError(err)
	}
	out := &putOut{}
	out.Body.Order, out.Body.Changed, out.Body.Look = toOrder(card.Order), []string{}, problems
	if len(loaded.New) > 0 {
		out.Body.Changed = []string{"new"}
	}
	for _, c := range loaded.Changed {
		out.Body.Changed = append(out.Body.Changed, c.What...)
	}
	return out, nil
}

func (s *site) row(n night.Night, in *putIn) (night.Order, []putProblems, error) {
	slot, err := night.ParseClock(in.Body.Slot)
	if err != nil {
		return night.Order{}, nil, wrong("slot", err.Error(), in.Body.Slot)
	}
	if !n.HasSlot(slot) {
		what := fmt.Sprintf("slot %s: the night has slots every %d minutes from %s to %s", slot, n.Every, n.First, n.Last)
		return night.Order{}, nil, wrong("slot", what, in.Body.Slot)
	}
	lines := make([]string, len(in.Body.Items))
	for i, it := range in.Body.Items {
		lines[i] = fmt.Sprintf("%dx %s", it.Qty, it.Name)
	}
	doc, err := json.Marshal([]map[string]string{{
		"order": in.Ref, "name": in.Body.Name, "phone": in.Body.Phone, "slot": slot.String(), "items": strings.Join(lines, "; "), "note": in.Body.Note,
	}})
	if err != nil {
		return night.Order{}, nil, s.apiError(err)
	}
	b, err := book.Read(strings.NewReader(string(doc)), "the order", book.Options{
		Region: s.Kitchen.Region, Zone: s.Kitchen.Zone, Night: n, Fiction: s.Demo,
	})
	if err != nil {
		return night.Order{}, nil, wrong("", err.Error(), nil)
	}
	if len(b.Orders) != 1 {
		what := "this can't be read as an order"
		if len(b.LeftOut) > 0 {
			what = b.LeftOut[0].Why
		}
		return night.Order{}, nil, wrong("", what, nil)
	}
	row := b.Orders[0]
	// What came in fields of its own needs no reading.
	row.Ref, row.Slot, row.Name, row.Items = in.Ref, slot, in.Body.Name, s.items(in.Body.Items, row.Items)
	look := []putProblems{}
	for _, p := range b.Problems {
		look = append(look, putProblems{p.Field, p.What, p.Fix})
	}
	return row, look, nil
}

// items keeps the items as they were put, with the bag that the order book's
// reader would choose where none is given.
func (s *site) items(put []apiItem, read []night.Item) []night.Item {
	out := make([]night.Item, len(put))
	for i, it := range put {
		out[i] = night.Item{Qty: it.Qty, Name: it.Name, Kind: night.Kind(it.Kind)}
		if it.Kind == "" {
			out[i].Kind = night.Hot
			if len(read) == len(put) {
				out[i].Kind = read[i].Kind
			}
		}
	}
	return out
}

func wrong(field, what string, value any) error {
	return huma.Error422UnprocessableEntity(what, &huma.ErrorDetail{Message: what, Location: "body." + field, Value: value})
}
