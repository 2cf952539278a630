package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"passbell/internal/night"
	"passbell/internal/phone"
)

// Consequence is what a change means for one text: it would be planned,
// changed or withdrawn.
type Consequence struct {
	What    night.What // MessagePlanned, MessageChanged or MessageWithdrawn
	Message night.Message
}

// errOnlyTried takes a tried change back.
var errOnlyTried = errors.New("only tried")

// Foresee tries a change and takes it back: it gives what the change would mean
// for texts, or the error that it would end with.
func (d *Desk) Foresee(ctx context.Context, change func(d *Desk) error) ([]Consequence, error) {
	var out []Consequence
	trial := *d
	trial.store, trial.changed = tryStore{d.store}, func() {}
	trial.foresee = func(c Consequence) { out = append(out, c) }
	if err := change(&trial); err != nil {
		return nil, err
	}
	return out, nil
}

// tryStore undoes every write.
type tryStore struct{ Store }

func (s tryStore) Write(ctx context.Context, fn func(Tx) error) error {
	err := s.Store.Write(ctx, func(tx Tx) error {
		if err := fn(tx); err != nil {
			return err
		}
		return errOnlyTried
	})
	if errors.Is(err, errOnlyTried) {
		return nil
	}
	return err
}

func (d *Desk) foretell(what night.What, m night.Message) {
	if d.foresee != nil {
		d.foresee(Consequence{what, m})
	}
}

// SlotError says that an order can't be moved to a slot.
type SlotError struct {
	Slot night.Clock
	Why  string
}

func (e *SlotError) Error() string { return fmt.Sprintf("slot %s: %s", e.Slot, e.Why) }

// Move gives an order another slot. A customer who knows the old one is told.
func (d *Desk) Move(ctx context.Context, a Act, slot night.Clock) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		n, err := tx.Night(ctx, o.NightID)
		if err != nil {
			return err
		}
		_, err = move(ctx, tx, n, o, slot, now, a)
		return err
	})
}

func move(ctx context.Context, tx Tx, n night.Night, o *night.Order, slot night.Clock, now time.Time, a Act) (changed bool, err error) {
	switch {
	case !n.HasSlot(slot):
		return false, &SlotError{slot, fmt.Sprintf("the night has slots every %d minutes from %s to %s", n.Every, n.First, n.Last)}
	case !o.State.Open():
		return false, fmt.Errorf("order %s is %s, so it has no slot to move: undo that first", o.Ref, o.State)
	case o.Slot == slot:
		return false, nil
	}
	why := fmt.Sprintf("slot %s instead of %s", slot, o.Slot)
	o.Slot, o.ExpectedAt, o.Behind = slot, time.Time{}, 0
	return true, log(ctx, tx, *o, now, a.Who, night.OrderChanged, join(why, a.Why))
}

// MoveAll gives several orders another slot at once, all or none.
func (d *Desk) MoveAll(ctx context.Context, nightID int64, refs []string, slot night.Clock, who string) error {
	return d.write(ctx, func(tx Tx, now time.Time) error {
		n, err := tx.Night(ctx, nightID)
		if err != nil {
			return err
		}
		var moved []int64
		for _, ref := range refs {
			o, err := tx.OrderByRef(ctx, nightID, ref)
			if err != nil {
				return err
			}
			changed, err := move(ctx, tx, n, &o, slot, now, Act{Who: who})
			if err != nil {
				return err
			}
			if !changed {
				continue
			}
			if err := tx.SaveOrder(ctx, o); err != nil {
				return err
			}
			moved = append(moved, o.ID)
		}
		if len(moved) == 0 {
			return nil
		}
		return d.replan(ctx, tx, n, now, moved...)
	})
}

// SetNumber gives a customer another number, as typed. What they should know is
// sent there; what is still to come goes there too.
func (d *Desk) SetNumber(ctx context.Context, a Act, typed string) (night.Order, error) {
	number, err := phone.Parse(typed, d.kitchen.Region)
	if err != nil {
		return night.Order{}, err
	}
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		if o.Phone == number.E164 {
			return nil
		}
		o.Phone, o.PhoneTyped = number.E164, strings.TrimSpace(typed)
		return log(ctx, tx, *o, now, a.Who, night.OrderChanged, join("another number", a.Why))
	})
}

// SetCollector notes who comes instead of the customer; "" for the customer.
func (d *Desk) SetCollector(ctx context.Context, a Act, name string) (night.Order, error) {
	return d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		name = strings.TrimSpace(name)
		if o.Collector == name {
			return nil
		}
		o.Collector = name
		return log(ctx, tx, *o, now, a.Who, night.OrderChanged, join("collected by "+cmp.Or(name, "the customer"), a.Why))
	})
}

// Split takes items, by their place in the order, out into an order of their
// own with the reference ref. Customer, slot, note and allergy are the same.
func (d *Desk) Split(ctx context.Context, a Act, ref string, items []int) (night.Order, error) {
	var out night.Order
	_, err := d.order(ctx, a, func(tx Tx, o *night.Order, now time.Time) error {
		part := *o
		part.ID, part.Ref, part.Revision, part.Items, part.PackedAt, part.State = 0, ref, 0, nil, time.Time{}, night.Booked
		var rest []night.Item
		for i, it := range o.Items {
			if slices.Contains(items, i) {
				part.Items = append(part.Items, it)
			} else {
				rest = append(rest, it)
			}
		}
		switch {
		case !o.State.Open() || o.State == night.Arrived:
			return fmt.Errorf("order %s is %s, so it can't be split", o.Ref, o.State)
		case len(part.Items) == 0 || len(rest) == 0:
			return errors.New("to split an order, leave at least one item in each part")
		}
		bag, err := nextBag(ctx, tx, o.NightID)
		if err != nil {
			return err
		}
		if part.Bag > 0 {
			part.Bag = bag
		}
		o.Items = rest
		if part.ID, err = tx.AddOrder(ctx, part); err != nil {
			return err
		}
		out = part
		if err := log(ctx, tx, part, now, a.Who, night.OrderAdded, join("split off "+o.Ref, a.Why)); err != nil {
			return err
		}
		return log(ctx, tx, *o, now, a.Who, night.OrderChanged, join("split: "+ref+" is an order of its own", a.Why))
	})
	return out, err
}

// Join puts the items of the order other into the order of the act; other is
// then off. Notes and allergies of both are kept.
func (d *Desk) Join(ctx context.Context, a Act, other string) (night.Order, error) {
	var out night.Order
	err := d.write(ctx, func(tx Tx, now time.Time) error {
		o, err := tx.OrderByRef(ctx, a.Night, a.Ref)
		if err != nil {
			return err
		}
		from, err := tx.OrderByRef(ctx, a.Night, other)
		if err != nil {
			return err
		}
		if from.ID == o.ID || !o.State.Open() {
			return fmt.Errorf("order %s can't be joined into %s, which is %s", from.Ref, o.Ref, o.State)
		}
		o.Items = append(slices.Clone(o.Items), from.Items...)
		o.Note, o.Allergy = joinWords(o.Note, from.Note), joinWords(o.Allergy, from.Allergy)
		o.PackedAt = time.Time{}
		if err := take(ctx, tx, &from, night.Cancel, now, a.Who, "joined into "+o.Ref); err != nil {
			return err
		}
		if err := tx.SaveOrder(ctx, from); err != nil {
			return err
		}
		if err := log(ctx, tx, o, now, a.Who, night.OrderChanged, join("joined with "+from.Ref, a.Why)); err != nil {
			return err
		}
		if err := d.save(ctx, tx, o, now, from.ID); err != nil { // the other may have another number
			return err
		}
		out, err = tx.Order(ctx, o.ID)
		return err
	})
	return out, err
}

func nextBag(ctx context.Context, tx Tx, nightID int64) (int, error) {
	orders, err := tx.Orders(ctx, nightID)
	last := 0
	for _, o := range orders {
		last = max(last, o.Bag)
	}
	return last + 1, err
}

// ChangeNight stores what is now true of a night: its place, its slots, its
// rules. Whoever knows otherwise is told. A slot that an order still has can't
// go: move the order first.
func (d *Desk) ChangeNight(ctx context.Context, n night.Night, who string) error {
	if err := n.Validate(d.kitchen.Zone); err != nil {
		return err
	}
	return d.changeNight(ctx, n.ID, who, func(tx Tx, old *night.Night, _ time.Time) (string, error) {
		orders, err := tx.Orders(ctx, n.ID)
		if err != nil {
			return "", err
		}
		for _, o := range orders {
			if o.State.Open() && !n.HasSlot(o.Slot) && old.HasSlot(o.Slot) {
				return "", &SlotError{o.Slot, fmt.Sprintf("order %s still has it: move the order first", o.Ref)}
			}
		}
		why := "rules changed"
		if n.Place != old.Place || n.Parking != old.Parking {
			why = "place: " + cmp.Or(n.Place, "none")
		}
		n.ClosedAt, n.CalledOff = old.ClosedAt, old.CalledOff
		*old = n
		return why, nil
	})
}

// CallOff calls a night off. Everybody is told once, also those who are added
// later. It can be taken back with Resume.
func (d *Desk) CallOff(ctx context.Context, nightID int64, who, why string) error {
	return d.changeNight(ctx, nightID, who, func(_ Tx, n *night.Night, now time.Time) (string, error) {
		if n.CalledOff.IsZero() {
			n.CalledOff = now
		}
		return join("called off", why), nil
	})
}

// Resume takes the calling off of a night back. Whoever was told that it is off
// is told that it is on.
func (d *Desk) Resume(ctx context.Context, nightID int64, who, why string) error {
	return d.changeNight(ctx, nightID, who, func(_ Tx, n *night.Night, _ time.Time) (string, error) {
		n.CalledOff = time.Time{}
		return join("on again", why), nil
	})
}

func (d *Desk) changeNight(ctx context.Context, id int64, who string, change func(tx Tx, n *night.Night, now time.Time) (string, error)) error {
	return d.write(ctx, func(tx Tx, now time.Time) error {
		n, err := tx.Night(ctx, id)
		if err != nil {
			return err
		}
		why, err := change(tx, &n, now)
		if err != nil {
			return err
		}
		if err := tx.SaveNight(ctx, n); err != nil {
			return err
		}
		if err := tx.Log(ctx, night.Event{NightID: id, At: now, Who: who, What: night.NightChanged, Why: why}); err != nil {
			return err
		}
		return d.replan(ctx, tx, n, now)
	})
}

// Room is a slot and how many more orders it can take.
type Room struct {
	Slot night.Clock
	Free int // 0 or more; -1 where the night sets no limit
}

// NearestRoom gives at most count slots that still have room, the nearest to
// wish first, leaving out the slot that the order has.
func NearestRoom(n night.Night, orders []night.Order, o night.Order, wish night.Clock, count int) []Room {
	taken := map[night.Clock]int{}
	for _, other := range orders {
		if other.State != night.Cancelled {
			taken[other.Slot]++
		}
	}
	var out []Room
	for _, slot := range n.Slots() {
		free := n.Capacity - taken[slot]
		switch {
		case slot == o.Slot:
		case n.Capacity == 0:
			out = append(out, Room{slot, -1})
		case free > 0:
			out = append(out, Room{slot, free})
		}
	}
	far := func(r Room) night.Clock { return max(r.Slot-wish, wish-r.Slot) }
	slices.SortStableFunc(out, func(a, b Room) int { return cmp.Compare(far(a), far(b)) })
	return out[:min(count, len(out))]
}
