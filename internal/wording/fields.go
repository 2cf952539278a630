package wording

import (
	"reflect"
	"slices"
	"text/template"
	"text/template/parse"
	"time"

	"passbell/internal/night"
)

// FieldNames lists what a text may name: the fields of Facts and, for a text
// that goes through Orders, those of an order.
func FieldNames() []string {
	var out []string
	for _, t := range []reflect.Type{reflect.TypeFor[Facts](), reflect.TypeFor[OrderFacts]()} {
		for _, f := range reflect.VisibleFields(t) {
			if f.IsExported() && !slices.Contains(out, f.Name) {
				out = append(out, f.Name)
			}
		}
	}
	return out
}

// unknownField finds a field that does not exist anywhere in a text, also in a
// branch that a trial would not reach.
func unknownField(t *template.Template) (string, bool) {
	known := FieldNames()
	for _, sub := range t.Templates() {
		if sub.Tree == nil {
			continue
		}
		for _, name := range namedFields(sub.Root) {
			if !slices.Contains(known, name) {
				return name, true
			}
		}
	}
	return "", false
}

// namedFields walks a parsed text. A chain such as .Orders.Ref gives every
// name in it.
func namedFields(n parse.Node) []string {
	var out []string
	walk := func(nodes ...parse.Node) {
		for _, n := range nodes {
			out = append(out, namedFields(n)...)
		}
	}
	branch := func(b parse.BranchNode) {
		walk(b.Pipe, b.List)
		if b.ElseList != nil {
			walk(b.ElseList)
		}
	}
	switch n := n.(type) {
	case *parse.ListNode:
		if n != nil {
			walk(n.Nodes...)
		}
	case *parse.ActionNode:
		walk(n.Pipe)
	case *parse.IfNode:
		branch(n.BranchNode)
	case *parse.RangeNode:
		branch(n.BranchNode)
	case *parse.WithNode:
		branch(n.BranchNode)
	case *parse.TemplateNode:
		if n.Pipe != nil {
			walk(n.Pipe)
		}
	case *parse.PipeNode:
		if n != nil {
			for _, c := range n.Cmds {
				walk(c.Args...)
			}
		}
	case *parse.FieldNode:
		out = append(out, n.Ident...)
	case *parse.VariableNode:
		out = append(out, n.Ident[1:]...)
	case *parse.ChainNode:
		walk(n.Node)
		out = append(out, n.Field...)
	}
	return out
}

// samples gives made-up facts that reach every branch that a text is likely to
// have: one order, two orders, everything known, next to nothing known, and
// nobody known for the texts that may go to strangers.
func samples(name, lang string) []Facts {
	k := night.Kitchen{Name: "Larkfield Dumpling Kitchen", Region: "GB", Zone: time.UTC, Number: "+447700900100"}
	n := night.Night{
		Date: night.Date{Year: 2026, Month: time.December, Day: 4}, First: 16*60 + 30, Last: 19*60 + 30, Every: 10,
		Place: "the yard behind 14 Mill Lane", Parking: "in front of the green gate",
	}
	a := night.Order{
		Ref: "K420", Bag: 7, Name: "Bethan Cadwgan", Slot: 17*60 + 10,
		Items: []night.Item{{Qty: 2, Name: "Pork dumplings", Kind: night.Hot, Short: 2}, {Qty: 3, Name: "Chilli oil", Kind: night.Extra, Short: 1}},
	}
	b := night.Order{Ref: "K443", Bag: 19, Name: "Bethan Cadwgan", Slot: 17*60 + 30}
	full := FactsFor(k, n, []night.Order{a, b}, lang).Delayed(15).Expecting(17*60 + 40).
		Seen(night.Vehicle{Colours: []string{"grey"}, Make: "Volkswagen", Model: "Golf", Plate: "LX19KTO"})
	k.Number, k.Region, n.Parking = "", "US", ""
	a.Bag, a.Name = 0, ""
	bare := FactsFor(k, n, []night.Order{a}, lang)
	out := []Facts{full, bare}
	switch name {
	case ReplyUnsure, StopConfirmed, StartConfirmed, Help:
		out = append(out, FactsFor(k, n, nil, lang), FactsFor(k, night.Night{}, nil, lang))
	}
	return out
}
