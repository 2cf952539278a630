package rehearsal

import (
	"context"
	"slices"
	"time"

	"passbell/internal/night"
)

// Who works in the kitchen.
const (
	cook   = "cook"
	helper = "Wen" // carries the bags out
)

const (
	// giveUpAfter is how long after the last slot the kitchen waits.
	giveUpAfter = 30 * time.Minute
	// readAfter is how long a text stands on the pass before somebody has a
	// hand free to read it.
	readAfter = 2 * time.Minute
	// packsAtOnce is how many orders the kitchen can pack in a minute.
	packsAtOnce = 3
)

func (r *Rehearsal) givenUpAt() time.Time {
	return r.night.SlotAt(lastSlot, r.house.Kitchen.Zone).Add(giveUpAfter)
}

// watches plans when the cook looks at the pass: now and then in the days
// before, every minute in the evening, once more before bed.
func (r *Rehearsal) watches(day func(int, night.Clock) time.Time) {
	look := func(before int, from, to, every night.Clock) {
		for c := from; c <= to; c += every {
			r.agenda.plan(day(before, c), r.look)
		}
	}
	look(3, 18*60+20, 20*60+50, 30)
	look(2, 9*60, 20*60+50, 60)
	look(1, 9*60, 20*60+50, 60)
	look(0, 9*60, 15*60+50, 20)
	look(0, 16*60, 20*60+50, 1)
	look(0, 21*60+15, 22*60+15, 30)
	r.agenda.plan(r.givenUpAt(), r.giveUp)
}

// look is what the cook does each time that she looks at the pass. Where nothing
// has happened since the last time, every fifth minute will do.
func (r *Rehearsal) look(ctx context.Context) error {
	if r.watch.event == r.seen && r.clock.Now().Minute()%5 != 0 {
		return nil
	}
	r.seen = r.watch.event
	b, err := r.house.Desk.Board(ctx, r.night.ID)
	if err != nil {
		return err
	}
	for _, in := range b.Texts {
		if b.At.Sub(in.At) < readAfter {
			continue
		}
		if err := r.read(ctx, in); err != nil {
			return err
		}
	}
	for _, t := range b.Trouble {
		if err := r.do(ctx, Task{Do: Told, Who: cook, Message: t.Message.ID}); err != nil {
			return err
		}
	}
	for i, o := range b.Pack {
		if i == packsAtOnce {
			break
		}
		if err := r.do(ctx, Task{Do: Packed, Who: cook, Ref: o.Ref}); err != nil {
			return err
		}
	}
	for _, o := range b.Gate {
		r.fetch(o.Ref)
	}
	return nil
}

// read settles a text that stands on the pass. The cook understands whatever
// people write, so she acts by what it truly means.
func (r *Rehearsal) read(ctx context.Context, in night.Inbound) error {
	s, ours := r.people.said[in.ProviderID]
	if !ours {
		return nil // a visitor's own text is theirs to settle
	}
	if s.party == nil {
		return r.do(ctx, Task{Do: Read, Who: cook, Text: in.ID})
	}
	place := !r.about(in.Orders, s.party)
	if !place && s.means == meansHere {
		o, err := r.house.Desk.Card(ctx, r.night.ID, s.party.rows[0].ref)
		if err != nil {
			return err
		}
		_, illegal := o.Order.State.After(night.Arrive)
		place = illegal == nil
	}
	var err error
	if place {
		err = r.do(ctx, Task{Do: Place, Who: cook, Text: in.ID, Ref: s.party.rows[0].ref})
	} else {
		err = r.do(ctx, Task{Do: Read, Who: cook, Text: in.ID})
	}
	if err != nil {
		return err
	}
	return r.obey(ctx, s)
}

// about tells whether the orders are some of the party's.
func (r *Rehearsal) about(orders []int64, p *party) bool {
	return len(orders) > 0 && !slices.ContainsFunc(orders, func(id int64) bool {
		o := r.people.byRef[r.watch.orders[id].Ref]
		return o == nil || o.party != p
	})
}

// obey does what a text asks for and no rule does by itself.
func (r *Rehearsal) obey(ctx context.Context, s said) error {
	for _, o := range s.party.rows {
		var err error
		task := Task{Who: cook, Ref: o.ref, Why: "by their text"}
		switch s.means {
		case meansHere:
			if s.party.present && !s.party.served {
				task.Do = Here
			}
		case meansCancel:
			task.Do = Cancel
		case meansMove:
			task.Do, task.Slot = Move, s.to
		case meansAsk:
			r.line(cook, "rings "+o.name+" back about their question")
		case meansThanks, meansCar, meansComing, meansStop, meansOther:
		}
		if task.Do != "" {
			err = r.do(ctx, task)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// fetch sends somebody out to a customer who is marked as here.
func (r *Rehearsal) fetch(ref string) {
	o := r.people.byRef[ref]
	switch {
	case o == nil || o.party.served || o.party.beingServed || o.party.checked:
	case o.party.present:
		r.serve(o.party, o.party.carry)
	default:
		o.party.checked = true
		r.agenda.plan(r.clock.Now().Add(o.party.carry), func(ctx context.Context) error { return r.nobody(ctx, o) })
	}
}

// nobody is what happens when somebody goes out and finds no one there.
func (r *Rehearsal) nobody(ctx context.Context, o *row) error {
	o.party.checked = false
	if o.party.present || o.party.served {
		return nil // the next look sees to them
	}
	c, err := r.house.Desk.Card(ctx, r.night.ID, o.ref)
	if err != nil || c.Order.State != night.Arrived {
		return err
	}
	r.watch.misread(o.name, "", "was marked as here and was not")
	return r.do(ctx, Task{Do: Undo, Who: helper, Ref: o.ref, Why: "nobody is there"})
}

// serve plans that a customer gets their bags.
func (r *Rehearsal) serve(p *party, in time.Duration) {
	p.beingServed = true
	r.agenda.plan(r.clock.Now().Add(in), func(ctx context.Context) error {
		if r.cast.slip {
			r.cast.slip = false
			if err := r.slipUp(ctx, p); err != nil {
				return err
			}
		}
		p.served = true
		for _, o := range p.rows {
			if err := r.do(ctx, Task{Do: Packed, Who: cook, Ref: o.ref}); err != nil {
				return err
			}
			if err := r.do(ctx, Task{Do: Out, Who: helper, Ref: o.ref}); err != nil {
				return err
			}
		}
		if p.afterwards != nil && p.phone != "" {
			r.sayLater(r.clock.Now().Add(p.afterwards.after), p, p.phone, *p.afterwards)
		}
		return nil
	})
}

// slipUp marks the wrong order as handed out and takes it back.
func (r *Rehearsal) slipUp(ctx context.Context, p *party) error {
	b, err := r.house.Desk.Board(ctx, r.night.ID)
	if err != nil {
		return err
	}
	for _, o := range b.Next {
		mine := r.people.byRef[o.Ref]
		if mine == nil || mine.party == p || mine.party.present {
			continue
		}
		for _, do := range []Doing{Out, Undo, Undo} { // it had marked them as here as well
			if err := r.do(ctx, Task{Do: do, Who: helper, Ref: o.Ref, Why: "the wrong order"}); err != nil {
				return err
			}
		}
		return nil
	}
	return nil
}

// giveUp marks everybody who did not come.
func (r *Rehearsal) giveUp(ctx context.Context) error {
	orders, err := r.house.Desk.Orders(ctx, r.night.ID)
	if err != nil {
		return err
	}
	for _, o := range orders {
		mine := r.people.byRef[o.Ref]
		if !o.State.Open() || mine == nil || mine.party.present {
			continue
		}
		if err := r.do(ctx, Task{Do: Absent, Who: cook, Ref: o.Ref, Why: "nobody came"}); err != nil {
			return err
		}
	}
	return nil
}
