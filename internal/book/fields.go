package book

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"passbell/internal/night"
	"passbell/internal/phone"
)

// number reads the order's number: the first of its cells that takes texts.
func (b *builder) number(g *group, o *night.Order) {
	row := g.lines[0].num
	if len(g.lines) == 1 && len(g.lines[0].phones) == 1 {
		n, ok := b.phones.Short(g.lines[0].phones[0])
		if ok && !n.Foreign(b.opt.Region) && n.Line.TakesTexts() && (!n.Fiction || b.opt.Fiction) {
			o.Phone, o.PhoneTyped = n.E164, n.Typed
			return
		}
	}
	var typed []string
	for _, x := range g.lines {
		for _, p := range x.phones {
			if !contains(typed, p) {
				typed = append(typed, p)
			}
		}
	}
	var read []phone.Number
	var trouble *phone.Error
	for _, t := range typed {
		n, err := b.phones.Parse(t)
		var e *phone.Error
		switch {
		case err == nil:
			read = append(read, n)
		case errors.As(err, &e) && (trouble == nil || trouble.Kind == phone.NoNumber):
			trouble = e
			if o.PhoneTyped == "" {
				o.PhoneTyped = t
			}
		}
	}
	for _, n := range read {
		if n.Line.TakesTexts() {
			b.take(row, n, o)
			b.second(row, n, read, o)
			return
		}
	}
	switch {
	case len(read) > 0:
		b.take(row, read[0], o)
	case trouble != nil:
		fix := trouble.Fix
		if offer := offered(trouble); offer != "" {
			fix += ": " + offer
		}
		b.problem(row, o.Ref, "phone", Stop, trouble.What, fix)
	default:
		b.problem(row, o.Ref, "phone", Stop, "there is no number", "ask the customer for a mobile number, or plan to ring or mail them")
	}
}

func offered(e *phone.Error) string {
	var out []string
	for _, n := range e.Offer {
		out = append(out, n.E164)
	}
	return strings.Join(out, " or ")
}

// take files a clean number, or holds it where it must not be texted unasked.
func (b *builder) take(row int, n phone.Number, o *night.Order) {
	o.PhoneTyped = n.Typed
	hold := func(what, fix string) {
		b.book.Held[o.Ref] = n.E164
		b.problem(row, o.Ref, "phone", Stop, what, fix)
	}
	switch {
	case !n.Line.TakesTexts():
		hold(fmt.Sprintf("%s is a %s, which takes no texts", n.National, n.Line), "ask for a mobile number, or plan to ring this one")
	case n.Foreign(b.opt.Region):
		hold(fmt.Sprintf("%s is a number of another country (%s)", n.E164, n.Region), "say yes to text it; it may cost more")
	case n.Fiction && !b.opt.Fiction:
		hold(n.National+" is a number for films and examples; nobody has it", "ask for the real number; such numbers serve for practice only")
	default:
		o.Phone = n.E164
	}
	if n.Beside != "" {
		b.problem(row, o.Ref, "phone", Look, fmt.Sprintf("beside the number stands %q", n.Beside), "make sure that the number is the customer's own")
	}
}

// second mentions another mobile of the same order.
func (b *builder) second(row int, taken phone.Number, read []phone.Number, o *night.Order) {
	for _, n := range read {
		if n.Line.TakesTexts() && n.E164 != taken.E164 {
			b.problem(row, o.Ref, "phone", Look, fmt.Sprintf("there are two numbers; %s is used and %s is not", taken.National, n.National), "change it if the other one is right")
			return
		}
	}
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// items gathers what is ordered from every notation that the file uses.
func (b *builder) items(g *group, o *night.Order) {
	for _, x := range g.lines {
		for _, cell := range x.items {
			b.itemsCell(cell, x, o)
		}
		if x.product != "" && !b.remark(x) {
			b.product(x, o)
		}
		for _, it := range x.counts {
			b.add(o, it, "")
		}
		for _, odd := range x.oddCount {
			b.problem(x.num, o.Ref, "items", Look, fmt.Sprintf("%q is no quantity", odd), "look up what was ordered")
		}
	}
	kept := o.Items[:0]
	for _, it := range o.Items {
		switch {
		case it.Qty > 0:
			kept = append(kept, it)
		case it.Qty < 0:
			b.problem(g.lines[0].num, o.Ref, "items", Look, "more "+it.Name+" was given back than ordered", "look up what was ordered")
		}
	}
	o.Items = kept
}

// remark tells whether a row's product is a remark: words of an allergy without
// the quantity that the others have.
func (b *builder) remark(x line) bool {
	return x.qty == "" && b.lay.has(fQty) && x.ref == "" && warns(x.product)
}

// readCell is what a cell of items holds, ready to stand in an order.
type readCell struct {
	items   []night.Item
	allergy string
}

// itemsCell adds a cell of items.
func (b *builder) itemsCell(cell string, x line, o *night.Order) {
	read := b.memos.cells.get(cell, func(cell string) readCell {
		var whole night.Order
		for _, it := range parseItems(cell, b.style) {
			b.add(&whole, it, "")
		}
		return readCell{whole.Items, whole.Allergy}
	})
	o.Allergy = joinAllergy(o.Allergy, read.allergy)
	if len(o.Items) == 0 {
		o.Items = slices.Clone(read.items)
	} else {
		for _, it := range read.items {
			b.put(o, it)
		}
	}
	if len(read.items) == 1 && x.qty != "" && x.product == "" && read.items[0].Qty == 1 {
		if q, ok := parseQty(x.qty); ok {
			i := slices.IndexFunc(o.Items, func(it night.Item) bool { return strings.EqualFold(it.Name, read.items[0].Name) })
			o.Items[i].Qty += q - 1
		}
	}
}

// product reads a row that is one line of an order.
func (b *builder) product(x line, o *night.Order) {
	it := night.Item{Qty: 1, Name: x.product}
	if read, ok := parseItem(x.product, itemStyle{}); ok && x.qty == "" && hasQty(x.product) {
		it = read
	}
	if x.qty != "" {
		q, ok := parseQty(x.qty)
		if !ok {
			b.problem(x.num, o.Ref, "items", Look, fmt.Sprintf("%q is no quantity of %s; one is taken", x.qty, x.product), "look up how many were ordered")
			q = 1
		}
		it.Qty = q
	}
	b.add(o, it, x.variant)
}

// slotWords are what is left of a product that stands for the slot alone.
const slotWords = " slot slots collection collect pickup pick up time timeslot at on for from to the your friday saturday thursday sunday monday tuesday wednesday night evening booking recogida hora franja "

// readItem is an item's name without a slot in it, and what it says.
type readItem struct {
	name    string // "" where it was nothing but a slot
	kind    night.Kind
	allergy string
}

// add puts an item on the order. A time in its name is the slot's, not the
// item's.
func (b *builder) add(o *night.Order, it night.Item, variant string) {
	if it.Kind != "" { // an export of our own: nothing to find out
		o.Allergy = joinAllergy(o.Allergy, allergyInItem(it.Name))
		b.put(o, it)
		return
	}
	read := b.memos.items.get(it.Name+"\x00"+variant, func(string) readItem { return b.readItem(it.Name, variant) })
	if read.name == "" {
		return
	}
	it.Name, it.Kind = read.name, read.kind
	o.Allergy = joinAllergy(o.Allergy, read.allergy)
	b.put(o, it)
}

// put adds an item, the same item once with its quantities added up.
func (b *builder) put(o *night.Order, it night.Item) {
	for i := range o.Items {
		if strings.EqualFold(o.Items[i].Name, it.Name) {
			o.Items[i].Qty += it.Qty
			return
		}
	}
	o.Items = append(o.Items, it)
}

func (b *builder) readItem(name, variant string) readItem {
	name, _ = b.withoutSlot(name)
	if variant != "" {
		if v, _ := b.withoutSlot(variant); v != "" && !strings.Contains(fold(name), fold(v)) && fold(v) != "default title" {
			name += " (" + v + ")"
		}
	}
	if onlySlotWords(name) {
		return readItem{}
	}
	return readItem{name: name, kind: b.kinds.of(name), allergy: allergyInItem(name)}
}

func onlySlotWords(name string) bool {
	for w := range strings.FieldsSeq(fold(name)) {
		if !strings.Contains(slotWords, " "+w+" ") {
			return false
		}
	}
	return true
}

// withoutSlot takes a slot of the night, and the dates beside it, out of an
// item's name. A price or a count of pieces is none: the time must be a slot.
func (b *builder) withoutSlot(name string) (string, []span) {
	if !datable(name) {
		return name, nil
	}
	f := findDates(name, b.opt.Night.Date)
	var used []span
	rest := odd.Replace(f.rest)
	for _, sp := range findSpans(f.rest, loose) {
		if _, ok, trouble := sp.place(b.opt.Night); ok && trouble == nil && b.opt.Night.Every > 0 {
			rest = strings.Replace(rest, sp.text, " ", 1)
			used = append(used, sp)
		}
	}
	if used == nil {
		return name, nil
	}
	rest = weekday().ReplaceAllString(rest, " ")
	rest = strings.Join(strings.Fields(rest), " ")
	for _, pair := range []string{"()", "[]", "( )", "[ ]"} {
		rest = strings.ReplaceAll(rest, pair, "")
	}
	return strings.Trim(rest, " -–—,:;|/@"), used
}

// note gathers what customers wrote, once each, and what of it is an allergy.
// Words in columns that nobody knows are searched for allergies as well.
func (b *builder) note(g *group, o *night.Order) {
	notes := g.lines[0].notes
	if len(g.lines) > 1 || g.lines[0].variant != "" {
		notes = nil
	}
	for _, x := range g.lines {
		for _, n := range x.notes {
			if !contains(notes, n) {
				notes = append(notes, n)
			}
		}
		if x.variant != "" && x.product == "" {
			notes = append(notes, x.variant)
		}
		if x.product != "" && b.remark(x) {
			notes = append(notes, x.product)
		}
	}
	o.Note = strings.Join(notes, "; ")
	for _, n := range notes {
		b.numberInNote(g.lines[0].num, n, o)
	}
	for _, n := range notes {
		o.Allergy = joinAllergy(o.Allergy, b.memos.notes.get(n, allergyIn))
	}
	for _, x := range g.lines {
		for _, a := range x.allergy {
			o.Allergy = joinAllergy(o.Allergy, allergyCell(a))
		}
		for _, u := range x.unknown {
			o.Allergy = joinAllergy(o.Allergy, b.memos.notes.get("\x00"+u, func(string) string {
				if a := allergyIn(u); warns(a) {
					return a
				}
				return ""
			}))
		}
	}
}

var noteNumber = pattern(`\+?\(?\d[\d\s()\-.]{8,18}\d`)

// numberInNote mentions a number in a note that is not the order's own: it may be
// the one to text.
func (b *builder) numberInNote(row int, note string, o *night.Order) {
	digits := 0
	for i := range len(note) {
		if note[i] >= '0' && note[i] <= '9' {
			digits++
		}
	}
	if digits < 9 {
		return
	}
	typed := noteNumber().FindString(note)
	if typed == "" {
		return
	}
	if n, err := b.phones.Parse(typed); err == nil && n.E164 != o.Phone {
		b.problem(row, o.Ref, "phone", Look, "the note names another number, "+n.National, "change the number if that one is right")
	}
}

// slot finds when the order is collected.
func (b *builder) slot(g *group, o *night.Order) {
	row := g.lines[0].num
	for _, p := range g.looks {
		b.problem(row, o.Ref, p.Field, p.Level, p.What, p.Fix)
	}
	for _, p := range g.stops {
		b.problem(row, o.Ref, p.Field, p.Level, p.What, p.Fix)
	}
	stop := func(what, fix string) {
		b.book.Unplaced[o.Ref] = true
		b.problem(row, o.Ref, "slot", Stop, what, fix)
	}
	if len(g.lines) == 1 && len(g.lines[0].slots) == 1 && g.lines[0].slotEnd == "" {
		read := b.memos.slots.get(g.lines[0].slots[0], func(cell string) readSlot {
			c, ok, trouble := b.oneSlot([]string{cell}, slotCell)
			return readSlot{c, ok, trouble}
		})
		if read.ok && read.trouble == nil {
			o.Slot = read.clock
			return
		}
	}
	for _, src := range b.slotSources(g) {
		c, ok, trouble := b.oneSlot(src.texts, src.how)
		if !ok && trouble == nil {
			continue
		}
		if ok {
			o.Slot = c
		}
		if trouble != nil {
			stop(trouble.what, trouble.fix)
		}
		return
	}
	words := ""
	for _, x := range g.lines {
		words = strings.Join(append([]string{words}, x.slots...), " ")
	}
	if words = strings.TrimSpace(words); words != "" {
		stop(fmt.Sprintf("%q names no time", words), "ask which slot is meant")
		return
	}
	stop("there is no slot", "ask when they want to come, and give them a slot that has room")
}

// readSlot is what a cell of slots says.
type readSlot struct {
	clock   night.Clock
	ok      bool
	trouble *slotTrouble
}

type slotSource struct {
	texts []string
	how   strictness
}

// slotSources lists where a slot may stand, the best place first.
func (b *builder) slotSources(g *group) []slotSource {
	var cells, dates, names, methods, notes []string
	for _, x := range g.lines {
		for i, s := range x.slots {
			if i == 0 && x.slotEnd != "" {
				s += " - " + x.slotEnd
			}
			cells = append(cells, s)
		}
		dates = append(dates, x.dates...)
		names = append(names, x.variant, x.product)
		names = append(names, x.items...)
		methods = append(methods, x.methods...)
		notes = append(notes, x.notes...)
	}
	return []slotSource{{cells, slotCell}, {dates, loose}, {names, loose}, {methods, loose}, {notes, loose}}
}

// oneSlot reads the one slot that texts name. Texts that name two are a
// question. Outside of a slot column only a time that is a slot counts.
func (b *builder) oneSlot(texts []string, how strictness) (night.Clock, bool, *slotTrouble) {
	var clock night.Clock
	var said string
	var trouble *slotTrouble
	have := false
	for _, v := range texts {
		for _, sp := range b.spans(v, how) {
			c, ok, t := sp.place(b.opt.Night)
			if how == loose && (!ok || t != nil) {
				continue
			}
			switch {
			case have && ok && c != clock:
				return 0, false, &slotTrouble{fmt.Sprintf("%q and %q are two different times", said, sp.text), "ask which slot is meant"}
			case ok && !have:
				clock, have, said, trouble = c, true, sp.text, t
			case !have && trouble == nil:
				trouble = t
			}
		}
	}
	return clock, have, trouble
}

func (b *builder) spans(v string, how strictness) []span {
	f := findDates(v, b.opt.Night.Date)
	if f.moment != nil {
		local := f.moment.In(b.opt.Zone)
		return []span{{from: tick{hour: local.Hour(), minute: local.Minute(), half: full, exact: true}, text: v}}
	}
	return findSpans(f.rest, how)
}
