package simulation

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// cook acts for everybody in the kitchen.
const cook = "cook"

// prepare fills the agenda.
func (s *sim) prepare() {
	sc := s.sc
	s.agenda.plan(deed{at: sc.start, name: "load the order book", again: true, do: func(ctx context.Context, in *instance) error { return s.load(ctx, in, false, desk.OpenBook) }})
	s.agenda.plan(deed{at: sc.closeAt, name: "close orders", again: true, do: func(ctx context.Context, in *instance) error {
		_, err := in.desk.Close(ctx, s.night.ID, cook)
		return err
	}})
	if slices.ContainsFunc(sc.orders, func(b *booking) bool { return b.late }) {
		at := sc.closeAt.Add(time.Duration(s.rnd.IntN(100*60)) * time.Second)
		s.agenda.plan(deed{at: at, name: "load the late orders", again: true, do: func(ctx context.Context, in *instance) error { return s.load(ctx, in, true, desk.OpenBook) }})
	}
	for i := range sc.acts {
		a := sc.acts[i]
		s.agenda.plan(deed{at: a.at, name: a.what, again: s.rnd.IntN(2) == 0, do: func(ctx context.Context, in *instance) error { return s.act(ctx, in, a) }})
	}
	for _, p := range sc.parties {
		s.expect(p)
	}
	first, last := s.at(s.night.First), s.at(s.night.Last)
	for at := sc.closeAt.Add(30 * time.Minute); at.Before(first.Add(-30 * time.Minute)); at = at.Add(max(45*time.Minute, first.Sub(sc.closeAt)/5)) {
		s.look(at)
	}
	for at := first.Add(-20 * time.Minute); at.Before(last.Add(45 * time.Minute)); at = at.Add(6 * time.Minute) {
		s.look(at)
	}
	s.agenda.plan(deed{at: last.Add(45 * time.Minute), name: "give up", again: true, do: s.giveUp})
	for at := last.Add(46 * time.Minute); at.Before(last.Add(100 * time.Minute)); at = at.Add(12 * time.Minute) {
		s.look(at)
	}
}

func (s *sim) at(c night.Clock) time.Time { return s.sc.night.SlotAt(c, s.k.Zone) }

// expect plans what a customer does.
func (s *sim) expect(p *party) {
	slot := s.at(p.orders[0].slot)
	for _, l := range p.lines {
		at := s.sc.night.InstructAt.Add(l.after)
		if l.base == fromSlot {
			at = slot.Add(l.after)
		}
		if at.Before(s.sc.start) {
			continue
		}
		if p.last && l.means == "here" {
			at = s.at(s.night.Last).Add(50 * time.Minute)
		}
		s.agenda.plan(deed{at: at, lane: []string{}, name: "write " + l.text, do: func(context.Context, *instance) error {
			s.net.hear(p, l)
			return nil
		}})
	}
	if !p.comes {
		return
	}
	there := slot.Add(p.arrival)
	if p.last {
		there = s.at(s.night.Last).Add(48 * time.Minute)
	}
	s.agenda.plan(deed{at: there, lane: []string{}, name: "arrive", do: func(context.Context, *instance) error {
		p.present = true
		return nil
	}})
	s.door(p, there.Add(9*time.Minute))
}

// door plans that a customer comes to the door.
func (s *sim) door(p *party, at time.Time) {
	s.agenda.plan(deed{at: at, name: "come to the door", again: true, do: func(ctx context.Context, in *instance) error {
		return s.serve(ctx, in, p)
	}})
}

// serve hands a customer everything that is theirs. They stay for an order of which
// nobody knows yet: it comes too late into the book.
func (s *sim) serve(ctx context.Context, in *instance, p *party) error {
	orders, err := in.desk.Orders(ctx, s.night.ID)
	if err != nil {
		return err
	}
	var errs error
	unknown := refs(p.orders)
	for _, o := range orders {
		delete(unknown, o.Ref)
		if s.watch.partyOf(o.Ref) == p {
			_, err := in.desk.Out(ctx, s.named(o.Ref))
			errs = errors.Join(errs, settled(err))
		}
	}
	if errs == nil && len(unknown) > 0 {
		s.door(p, s.clock().Add(5*time.Minute))
	}
	return errs
}

func refs(orders []*booking) map[string]bool {
	out := make(map[string]bool, len(orders))
	for _, b := range orders {
		out[b.ref] = true
	}
	return out
}

// settled passes over what somebody else has done already.
func settled(err error) error {
	var illegal *night.StepError
	if errors.As(err, &illegal) || errors.Is(err, desk.ErrNothingToUndo) || errors.Is(err, night.ErrNotFound) {
		return nil
	}
	return err
}

func (s *sim) named(ref string) desk.Act { return desk.Act{Night: s.night.ID, Ref: ref, Who: cook} }

// load loads the order book.
func (s *sim) load(ctx context.Context, in *instance, late bool, extent desk.Extent) error {
	var book []night.Order
	for _, b := range s.sc.orders {
		if b.late && !late {
			continue
		}
		book = append(book, night.Order{
			Ref: b.ref, Name: b.name, Phone: b.party.phone, PhoneTyped: b.party.phone, Slot: b.slot,
			Items: []night.Item{{Qty: 2, Name: "Pork bao", Kind: night.Hot}, {Qty: 1, Name: "Cucumber salad", Kind: night.Cold}},
		})
	}
	_, err := in.desk.LoadExtent(ctx, s.night.ID, book, extent, cook)
	return err
}

// done plans again what must be done and could not be, and objects to what
// should not go wrong.
func (s *sim) done(d deed, err error) {
	if err == nil {
		return
	}
	s.say("%s: %v", d.name, err)
	if !s.passing(err) {
		s.refused(d.name, err)
		return
	}
	if d.again {
		d.at = s.clock().Add(time.Duration(5+s.rnd.IntN(100)) * time.Second)
		s.agenda.plan(d)
	}
}

// passing tells whether an error is over when one tries again.
func (s *sim) passing(err error) bool {
	return errors.Is(err, errDied) || errors.Is(err, night.ErrAway) || errors.Is(err, night.ErrChanged)
}

// refused objects to an error that nobody caused.
func (s *sim) refused(name string, err error) {
	var broken *night.StoreError
	if errors.As(err, &broken) {
		s.watch.violate("%s: the database fails by itself: %v", name, err)
	}
}

// tolerate is for what is tried again by itself.
func (s *sim) tolerate(name string) func(error) {
	return func(err error) {
		if err == nil {
			return
		}
		s.say("%s: %v", name, err)
		if !s.passing(err) {
			s.watch.violate("%s: %v", name, err)
		}
	}
}

// look plans one look of the cook at the pass.
func (s *sim) look(at time.Time) {
	s.agenda.plan(deed{at: at, lane: []string{people, reads}, name: "look at the pass", do: s.round})
}

// alarm says on the pass that a text needs a person. As a rule she sees it soon.
func (s *sim) alarm() {
	if s.rnd.IntN(3) > 0 {
		s.look(s.clock().Add(time.Duration(1+s.rnd.IntN(90)) * time.Second))
	}
}

// round is what the cook does each time that she looks at the pass.
func (s *sim) round(ctx context.Context, in *instance) error {
	b, err := in.desk.Board(ctx, s.night.ID)
	if err != nil {
		return err
	}
	var errs error
	for _, text := range b.Texts {
		errs = errors.Join(errs, settled(s.answer(ctx, in, text)))
	}
	for _, t := range b.Trouble {
		errs = errors.Join(errs, s.mend(ctx, in, t.Message))
	}
	for i, o := range b.Untold {
		if i < 3 {
			_, err := in.desk.Told(ctx, s.named(o.Ref))
			errs = errors.Join(errs, settled(err))
		}
	}
	for i, o := range b.Pack {
		if i < 2 {
			_, err := in.desk.Packed(ctx, s.named(o.Ref), true)
			errs = errors.Join(errs, settled(err))
		}
	}
	for _, o := range b.Gate {
		p := s.watch.partyOf(o.Ref)
		if p != nil && p.present {
			_, err = in.desk.Out(ctx, s.named(o.Ref))
		} else { // nobody is there
			_, err = in.desk.Undo(ctx, s.named(o.Ref))
		}
		errs = errors.Join(errs, settled(err))
	}
	return errs
}

// mend sees to a text that did not reach a customer for sure.
func (s *sim) mend(ctx context.Context, in *instance, m night.Message) error {
	var err error
	switch s.rnd.IntN(5) {
	case 0, 1:
		err = in.desk.ByHand(ctx, m.ID, cook)
	case 2, 3:
		_, err = in.desk.SendAgain(ctx, m.ID, cook)
	case 4: // she leaves it for later
	}
	if err != nil && !s.passing(err) {
		s.refused("mend", err)
		return nil // somebody was quicker
	}
	return err
}

// answer settles a text that stands on the pass. The cook understands whatever
// people write, so she acts by what it truly means.
func (s *sim) answer(ctx context.Context, in *instance, text night.Inbound) error {
	said := s.net.said[text.ProviderID]
	if said == nil {
		return nil
	}
	ref := said.ref
	if ref == "" {
		ref = said.party.orders[0].ref
	}
	var err error
	switch said.means {
	case "here", "car", "coming":
		if text.From != said.party.phone || said.party.phone == "" {
			return in.inbox.Place(ctx, text.ID, ref, cook)
		}
	case "cancel":
		_, err = in.desk.Cancel(ctx, s.named(ref))
	case "move":
		_, err = in.desk.Move(ctx, s.named(ref), said.to)
	}
	if err = settled(err); err != nil && s.passing(err) {
		return err
	}
	return in.desk.Settle(ctx, text.ID, cook)
}

// giveUp marks who did not come.
func (s *sim) giveUp(ctx context.Context, in *instance) error {
	b, err := in.desk.Board(ctx, s.night.ID)
	if err != nil {
		return err
	}
	var errs error
	for _, o := range b.Orders {
		if !o.State.Open() {
			continue
		}
		p := s.watch.partyOf(o.Ref)
		if p != nil && p.present {
			_, err = in.desk.Out(ctx, s.named(o.Ref))
		} else {
			_, err = in.desk.Absent(ctx, s.named(o.Ref))
		}
		errs = errors.Join(errs, settled(err))
	}
	return errs
}

// finish brings what is left to its end once nothing more happens by itself.
// over is true when nothing is left.
func (s *sim) finish(ctx context.Context) (over bool, err error) {
	s.mishap.list, s.mishap.failing = nil, 0
	if err := s.watch.look(ctx); err != nil {
		return false, err
	}
	if s.unfinished() == "" {
		return true, nil
	}
	const most = 25
	if s.rounds++; s.rounds > most {
		s.watch.violate("the night does not come to its end: %s", s.unfinished())
		return true, nil
	}
	at := s.clock().Add(5 * time.Minute)
	s.look(at)
	s.agenda.plan(deed{at: at.Add(time.Minute), name: "give up", again: true, do: s.giveUp})
	return false, nil
}

// unfinished says what is not at its end yet; "" for nothing.
func (s *sim) unfinished() string {
	for _, m := range s.watch.messages {
		switch m.State {
		case night.Due, night.Sending:
			return fmt.Sprintf("message %d, %s, is %s", m.ID, m.Kind, m.State)
		case night.Sent, night.Delivered, night.Failed, night.InDoubt, night.ByHand, night.Missed, night.Dropped:
		}
	}
	for _, o := range s.watch.orders {
		if o.State.Open() {
			return fmt.Sprintf("order %s is %s", o.Ref, o.State)
		}
	}
	for _, in := range s.watch.inbounds {
		if in.State == night.Fresh || in.State == night.Open {
			return fmt.Sprintf("text %d is %s", in.ID, in.State)
		}
	}
	return ""
}
