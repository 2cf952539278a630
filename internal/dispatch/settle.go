package dispatch

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/fault"
	"passbell/internal/night"
)

// settle records what became of tries. What the database does not take is held
// until next time: an answer that is known must not end in doubt.
func (d *Dispatcher) settle(ctx context.Context) error {
	ctx = context.WithoutCancel(ctx) // a shutdown must not lose what is known
	failed, err := apart(d.unsettled, func(some []*result) error {
		return d.sound(func() error { return d.settleOnly(ctx, some) })
	})
	d.unsettled, d.held = nil, append(d.held, failed...)
	return err
}

// apart has all dealt with together, and where that fails each by itself, so that one
// holds up no other. It gives those that failed. A database that is away would keep
// each of them waiting, so then the rest are not tried.
func apart[T any](all []T, do func(some []T) error) (failed []T, err error) {
	if len(all) == 0 {
		return nil, nil
	}
	err = do(all)
	if err == nil {
		return nil, nil
	}
	if len(all) == 1 || errors.Is(err, night.ErrAway) {
		return all, err
	}
	err = nil
	for i := range all {
		wrong := do(all[i : i+1])
		if wrong == nil {
			continue
		}
		err = errors.Join(err, wrong)
		if errors.Is(wrong, night.ErrAway) { // it went meanwhile
			return append(failed, all[i:]...), err
		}
		failed = append(failed, all[i])
	}
	return failed, err
}

// sound gives a fault in the code as an error.
func (d *Dispatcher) sound(do func() error) (err error) {
	defer func() { err = errors.Join(err, fault.Caught(recover(), d.c.Log)) }()
	return do()
}

// settleOnly records some results, all or none.
func (d *Dispatcher) settleOnly(ctx context.Context, batch []*result) error {
	now := d.c.Now().UTC()
	ends := make([]*end, len(batch))
	for i, r := range batch {
		if r.stopped != nil {
			ends[i] = d.endStopped(r, now)
		} else {
			ends[i] = d.endTried(r, now)
		}
	}
	for _, e := range ends { // one that did not go out may be due again, and so may those who shared it
		d.more = d.more || e.State != night.Sent
	}
	again := false
	return d.write(ctx, func(tx Tx) error {
		if again { // somebody may have changed an order since the last look
			for _, e := range ends {
				e.orders = nil
			}
		}
		again = true
		counted, err := d.record(ctx, tx, ends, now)
		if err != nil {
			return err
		}
		return d.follow(ctx, tx, counted, now)
	})
}

// end is how the attempt to send a claimed message ended.
type end struct {
	*result
	night.Settlement
	became night.MessageState // the state that the message is in by all its tries
}

// endStopped says how a claimed message ended that was not handed over.
func (d *Dispatcher) endStopped(r *result, now time.Time) *end {
	v := r.stopped
	return &end{result: r, Settlement: night.Settlement{State: v.State, Reason: v.Reason, RetryAt: v.Until, Outcome: night.NotSent, At: now}}
}

// endTried says what one try led to. Its text, if any, went out when it began: a
// slow answer does not make it newer than what went out meanwhile.
func (d *Dispatcher) endTried(r *result, now time.Time) *end {
	out := Decide(r.err, *r.message, d.c.Retry, now, d.c.Spread())
	if out.Pause > 0 {
		d.c.Pace.pause(now.Add(out.Pause))
	}
	return &end{result: r, Settlement: night.Settlement{State: out.State, Reason: out.Reason, RetryAt: out.RetryAt, Outcome: out.Word, IDs: r.accepted.IDs, At: r.began}}
}

// record settles attempts, says so in the history, and gives those that counted.
func (d *Dispatcher) record(ctx context.Context, tx Tx, ends []*end, now time.Time) ([]*end, error) {
	all := make([]night.Settlement, len(ends))
	for i := range ends {
		s := &ends[i].Settlement
		m := ends[i].message
		s.MessageID, s.Attempt, s.Adapter, s.To = m.ID, m.Attempt, d.c.Adapter, m.To
		all[i] = *s
	}
	became, err := tx.Settle(ctx, all)
	if err != nil {
		return nil, err
	}
	counted := make([]*end, 0, len(ends))
	said := make([]night.Event, 0, len(ends))
	for i, e := range ends {
		if e.became = became[i]; e.became == "" {
			continue
		}
		counted = append(counted, e)
		why := string(e.message.Kind) + ": " + string(e.State)
		switch {
		case e.became != e.State:
			why = fmt.Sprintf("%s: %s, as it was before: %s this time", e.message.Kind, e.became, e.State)
		case e.State == night.Due:
			why = fmt.Sprintf("%s: not yet", e.message.Kind)
		}
		if e.Reason != "" {
			why += ", " + e.Reason
		}
		said = append(said, settled(e.message, now, d.c.Adapter, why))
	}
	return counted, tx.Log(ctx, said...)
}

// follow does what follows from settled attempts: orders move on, early reports
// are joined, what failed takes another way, and those who shared an untrue text
// get a true one.
func (d *Dispatcher) follow(ctx context.Context, tx Tx, ends []*end, now time.Time) error {
	told := make([]*night.Message, 0, len(ends))
	known := make([]night.Stage, 0, len(ends))
	var ids []string
	for _, e := range ends {
		if e.State == night.Sent || e.became == night.Delivered {
			told, known = append(told, e.message), append(known, e.orders...)
		}
		if e.State == night.Sent || e.State == night.InDoubt { // some parts may have been numbered
			ids = append(ids, e.IDs...)
		}
	}
	if err := desk.Told(ctx, tx, told, known, now, d.c.Adapter); err != nil {
		return err
	}
	if err := d.joinEarly(ctx, tx, ids, now); err != nil {
		return err
	}
	var anew []night.Message
	for _, e := range ends {
		fell := false
		silent := e.became == night.Due && d.c.FallAfter > 0 && now.Sub(e.message.DueAt) >= d.c.FallAfter
		if e.stopped == nil && (e.State == night.Failed || silent) {
			var err error
			if fell, err = d.fall(ctx, tx, e.message, now); err != nil {
				return err
			}
		}
		nobody := e.stopped != nil && e.State == night.Dropped || e.became != e.State // has it from this try
		again := e.State == night.Sent && e.message.Attempt > 1                       // it went at another time than was planned with
		waits := e.became == night.Due                                                // and may have been given up meanwhile, and its number changed
		if fell || nobody || again || waits {
			anew = append(anew, *e.message)
		}
	}
	return d.c.Replanner.ReplanIn(ctx, tx, now, anew...)
}

// ordersOf gives the ids of the orders that a message is about.
func ordersOf(m *night.Message) []int64 {
	ids := make([]int64, len(m.Covers))
	for i, c := range m.Covers {
		ids[i] = c.OrderID
	}
	return ids
}

// fall sends a message another way, and tells whether there is one. Whoever calls it
// plans anew for those whom it is about.
func (d *Dispatcher) fall(ctx context.Context, tx Tx, m *night.Message, now time.Time) (fell bool, err error) {
	var orders []night.Order
	for _, c := range m.Covers {
		o, err := tx.Order(ctx, c.OrderID)
		if err != nil {
			return false, err
		}
		orders = append(orders, o)
	}
	next, ok := d.c.Next(*m, orders)
	if !ok {
		return false, nil
	}
	if fell, err = tx.Reroute(ctx, m.ID, next); err != nil || !fell {
		return false, err
	}
	return true, tx.Log(ctx, settled(m, now, d.c.Adapter, fmt.Sprintf("%s: goes by %s instead", m.Kind, next.Adapter)))
}

func settled(m *night.Message, now time.Time, who, why string) night.Event {
	e := night.Event{NightID: m.NightID, MessageID: m.ID, InboundID: m.InboundID, At: now, Who: who, What: night.MessageSettled, Why: why}
	if len(m.Covers) > 0 {
		e.OrderID = m.Covers[0].OrderID
	}
	return e
}

// abandon finds tries that nobody will settle any more: whoever made them is
// gone, and nobody knows whether the text went out. It also finds those that wait
// for a clock that is ahead of this one. It looks once more in the transaction in
// which it acts: another instance may have seen to them meanwhile.
func (d *Dispatcher) abandon(ctx context.Context) error {
	now := d.c.Now().UTC()
	var found []night.Message
	var misdated []int64
	err := d.c.Store.Read(ctx, func(tx Tx) (err error) {
		if found, err = tx.Abandoned(ctx, now); err != nil {
			return err
		}
		misdated, err = tx.Misdated(ctx, now)
		return err
	})
	if err == nil && len(misdated) > 0 {
		err = d.write(ctx, func(tx Tx) error {
			misdated, err := tx.Misdated(ctx, now)
			if err != nil {
				return err
			}
			return tx.Redate(ctx, misdated, now)
		})
	}
	if err != nil {
		return err
	}
	_, err = apart(found, func(some []night.Message) error {
		return d.sound(func() error { return d.giveUp(ctx, some, now) })
	})
	return err
}

// giveUp ends in doubt those of the tries that nobody has settled meanwhile.
func (d *Dispatcher) giveUp(ctx context.Context, some []night.Message, now time.Time) error {
	return d.write(ctx, func(tx Tx) error {
		still, err := tx.Abandoned(ctx, now)
		if err != nil {
			return err
		}
		var ends []*end
		for i := range still {
			if !slices.ContainsFunc(some, func(m night.Message) bool { return m.ID == still[i].ID }) {
				continue
			}
			ends = append(ends, &end{result: &result{message: &still[i]}, Settlement: night.Settlement{
				State: night.InDoubt, Outcome: string(adapters.Unknown), At: now,
				Reason: "passbell was stopped while sending: it may have gone out",
			}})
		}
		if len(ends) == 0 {
			return nil
		}
		counted, err := d.record(ctx, tx, ends, now)
		if err != nil {
			return err
		}
		return d.follow(ctx, tx, counted, now)
	})
}

// doubt sends another way what no receipt came for, where the kitchen wants
// that. Each message is looked at once more in the transaction that moves it: a
// receipt may have come meanwhile.
func (d *Dispatcher) doubt(ctx context.Context) error {
	if d.c.FallUnconfirmed <= 0 {
		return nil
	}
	now := d.c.Now().UTC()
	var silent []night.Message
	err := d.c.Store.Read(ctx, func(tx Tx) (err error) {
		silent, err = tx.Unconfirmed(ctx, d.c.Adapter, now.Add(-d.c.FallUnconfirmed))
		return err
	})
	if err != nil {
		return err
	}
	_, err = apart(silent, func(some []night.Message) error {
		return d.sound(func() error { return d.fallAll(ctx, some, now) })
	})
	return err
}

// fallAll sends another way those of the messages that are not confirmed yet.
func (d *Dispatcher) fallAll(ctx context.Context, some []night.Message, now time.Time) error {
	return d.write(ctx, func(tx Tx) error {
		var anew []night.Message
		for i := range some {
			m := &some[i]
			current, err := tx.Message(ctx, m.ID)
			if err != nil {
				return err
			}
			if current.State != night.Sent || !m.ExpiresAt.IsZero() && !now.Before(m.ExpiresAt) {
				continue
			}
			fell, err := d.fall(ctx, tx, m, now)
			if err != nil {
				return err
			}
			if fell {
				anew = append(anew, *m)
			}
		}
		return d.c.Replanner.ReplanIn(ctx, tx, now, anew...)
	})
}
