package rehearsal

import (
	"context"
	"errors"
	"slices"
	"time"

	"passbell/internal/desk"
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
		if err := r.house.Desk.ByHand(ctx, t.Message.ID, cook); err != nil {
			return err
		}
	}
	for i, o := range b.Pack {
		if i == packsAtOnce {
			break
		}
		if _, err := r.house.Desk.Packed(ctx, r.act(o.Ref, cook, ""), true); err != nil {
			return err
		}
	}
	for _, o := range b.Gate {
		r.fetch(o.Ref)
	}
	return nil
}

func (r *Rehearsal) act(ref, who, why string) desk.Act {
	return desk.Act{Night: r.night.ID, Ref: ref, Who: who, Why: why}
}

// step passes over what somebody else has done already: on a live pass a visitor
// may be quicker.
func step(_ night.Order, err error) error {
	var illegal *night.StepError
	if errors.As(err, &illegal) || errors.Is(err, desk.ErrNothingToUndo) {
		return nil
	}
	return err
}

// read settles a text that stands on the pass. The cook understands whatever
// people write, so she acts by what it truly means.
func (r *Rehearsal) read(ctx context.Context, in night.Inbound) error {
	s, ours := r.people.said[in.ProviderID]
	if !ours {
		return nil // a visitor's own text is theirs to settle
	}
	if s.party == nil {
		return r.house.Desk.Settle(ctx, in.ID, cook)
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
		err = r.house.Inbox.Place(ctx, in.ID, s.party.rows[0].ref, cook)
	} else {
		err = r.house.Desk.Settle(ctx, in.ID, cook)
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
	desk := r.house.Desk
	for _, o := range s.party.rows {
		var err error
		switch s.means {
		case meansHere:
			if s.party.present && !s.party.served {
				err = step(desk.Here(ctx, r.act(o.ref, cook, "by their text")))
			}
		case meansCancel:
			err = step(desk.Cancel(ctx, r.act(o.ref, cook, "by their text")))
		case meansMove:
			_, err = desk.Move(ctx, r.act(o.ref, cook, "by their text"), s.to)
		case meansAsk:
			r.line(cook, "rings "+o.name+" back about their question")
		case meansThanks, meansCar, meansComing, meansStop, meansOther:
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
	return step(r.house.Desk.Undo(ctx, r.act(o.ref, helper, "nobody is there")))
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
			if _, err := r.house.Desk.Packed(ctx, r.act(o.ref, cook, ""), true); err != nil {
				return err
			}
			if err := step(r.house.Desk.Out(ctx, r.act(o.ref, helper, ""))); err != nil {
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
		a := r.act(o.Ref, helper, "the wrong order")
		if err := step(r.house.Desk.Out(ctx, a)); err != nil {
			return err
		}
		for range 2 { // it had marked them as here as well
			if err := step(r.house.Desk.Undo(ctx, a)); err != nil {
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
		if err := step(r.house.Desk.Absent(ctx, r.act(o.Ref, cook, "nobody came"))); err != nil {
			return err
		}
	}
	return nil
}
