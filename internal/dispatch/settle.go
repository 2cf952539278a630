package dispatch

import (
	"context"
	"errors"
	"fmt"
	"time"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/night"
)

// settle records what became of tries. What the database does not take is kept
// for the next time: an answer that is known must not end in doubt. One result
// that can't be recorded does not hold up the others.
func (d *Dispatcher) settle(ctx context.Context) error {
	if len(d.unsettled) == 0 {
		return nil
	}
	ctx = context.WithoutCancel(ctx) // a shutdown must not lose what is known
	all := d.unsettled
	err := d.settleOnly(ctx, all)
	if err == nil || len(all) == 1 {
		d.unsettled = nil
		if err != nil {
			d.unsettled = all
		}
		return err
	}
	d.unsettled = nil
	err = nil
	for _, r := range all {
		if failed := d.settleOnly(ctx, []result{r}); failed != nil {
			d.unsettled = append(d.unsettled, r)
			err = errors.Join(err, failed)
		}
	}
	return err
}

// settleOnly records some results, all or none.
func (d *Dispatcher) settleOnly(ctx context.Context, batch []result) error {
	now := d.c.Now().UTC()
	return d.write(ctx, func(tx Tx) error {
		for _, r := range batch {
			var err error
			if r.stopped != nil {
				err = d.settleStopped(ctx, tx, r.message, *r.stopped, now)
			} else {
				err = d.settleTried(ctx, tx, r, now)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// settleStopped records that a claimed message was not handed over, and lets
// those who shared an untrue text get a true one.
func (d *Dispatcher) settleStopped(ctx context.Context, tx Tx, m night.Message, v Verdict, now time.Time) error {
	counted, err := d.record(ctx, tx, m, night.Settlement{State: v.State, Reason: v.Reason, RetryAt: v.Until, Outcome: night.NotSent}, now)
	if err != nil || !counted || v.State != night.Dropped || len(m.Covers) == 0 {
		return err
	}
	orders := make([]int64, len(m.Covers))
	for i, c := range m.Covers {
		orders[i] = c.OrderID
	}
	return d.c.Replanner.ReplanIn(ctx, tx, now, m.NightID, orders...)
}

// settleTried records what one try led to.
func (d *Dispatcher) settleTried(ctx context.Context, tx Tx, r result, now time.Time) error {
	out := Decide(r.err, r.message, d.c.Retry, now, d.c.Spread())
	if out.Pause > 0 {
		d.c.Pace.pause(now.Add(out.Pause))
	}
	s := night.Settlement{State: out.State, Reason: out.Reason, RetryAt: out.RetryAt, Outcome: out.Word, IDs: r.accepted.IDs}
	counted, err := d.recordAt(ctx, tx, r.message, s, r.began, now)
	if err != nil || !counted {
		return err
	}
	return d.follow(ctx, tx, r, out, now)
}

// follow does what follows from a settled try: the order moves on, or the
// message takes another way.
func (d *Dispatcher) follow(ctx context.Context, tx Tx, r result, out Outcome, now time.Time) error {
	silent := out.State == night.Due && d.c.FallAfter > 0 && now.Sub(r.message.DueAt) >= d.c.FallAfter
	switch {
	case out.State == night.Failed || silent:
		return d.fall(ctx, tx, r.message, now)
	case out.State == night.Sent:
		if err := desk.Told(ctx, tx, r.message, now, d.c.Adapter); err != nil {
			return err
		}
		return d.joinEarly(ctx, tx, r.accepted.IDs, now)
	case out.State == night.InDoubt: // some parts may have been numbered
		return d.joinEarly(ctx, tx, r.accepted.IDs, now)
	}
	return nil
}

// fall sends a message another way, where there is one.
func (d *Dispatcher) fall(ctx context.Context, tx Tx, m night.Message, now time.Time) error {
	var orders []night.Order
	for _, c := range m.Covers {
		o, err := tx.Order(ctx, c.OrderID)
		if err != nil {
			return err
		}
		orders = append(orders, o)
	}
	next, ok := d.c.Next(m, orders)
	if !ok {
		return nil
	}
	fell, err := tx.Reroute(ctx, m.ID, next, now)
	if err != nil || !fell {
		return err
	}
	return tx.Log(ctx, settled(m, now, d.c.Adapter, fmt.Sprintf("%s: goes by %s instead", m.Kind, next.Adapter)))
}

// record settles one attempt and says so in the history.
func (d *Dispatcher) record(ctx context.Context, tx Tx, m night.Message, s night.Settlement, now time.Time) (bool, error) {
	return d.recordAt(ctx, tx, m, s, now, now)
}

// recordAt is record for an attempt whose text, if any, went out at a moment
// before: a slow answer does not make it newer than what went out meanwhile.
func (d *Dispatcher) recordAt(ctx context.Context, tx Tx, m night.Message, s night.Settlement, went, now time.Time) (bool, error) {
	s.MessageID, s.Attempt, s.Adapter = m.ID, m.Attempt, d.c.Adapter
	became, err := tx.Settle(ctx, s, went)
	if err != nil || became == "" {
		return false, err
	}
	why := fmt.Sprintf("%s: %s", m.Kind, s.State)
	switch {
	case s.State == night.Due:
		why = fmt.Sprintf("%s: not yet", m.Kind)
	case became != s.State:
		why = fmt.Sprintf("%s: %s, as it was before: %s this time", m.Kind, became, s.State)
	}
	if s.Reason != "" {
		why += ", " + s.Reason
	}
	return true, tx.Log(ctx, settled(m, now, d.c.Adapter, why))
}

func settled(m night.Message, now time.Time, who, why string) night.Event {
	e := night.Event{NightID: m.NightID, MessageID: m.ID, InboundID: m.InboundID, At: now, Who: who, What: night.MessageSettled, Why: why}
	if len(m.Covers) > 0 {
		e.OrderID = m.Covers[0].OrderID
	}
	return e
}

// abandon finds tries that nobody will settle any more: whoever made them is
// gone, and nobody knows whether the text went out.
func (d *Dispatcher) abandon(ctx context.Context) error {
	now := d.c.Now().UTC()
	var found []night.Message
	err := d.c.Store.Read(ctx, func(tx Tx) (err error) {
		found, err = tx.Abandoned(ctx, now)
		return err
	})
	if err != nil || len(found) == 0 {
		return err
	}
	return d.write(ctx, func(tx Tx) error {
		for _, m := range found {
			_, err := d.record(ctx, tx, m, night.Settlement{
				State: night.InDoubt, Outcome: string(adapters.Unknown),
				Reason: "passbell was stopped while sending: it may have gone out",
			}, now)
			if err != nil {
				return err
			}
		}
		return nil
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
	if err != nil || len(silent) == 0 {
		return err
	}
	return d.write(ctx, func(tx Tx) error {
		for _, m := range silent {
			current, err := tx.Message(ctx, m.ID)
			if err != nil {
				return err
			}
			if current.State != night.Sent || !m.ExpiresAt.IsZero() && !now.Before(m.ExpiresAt) {
				continue
			}
			if err := d.fall(ctx, tx, m, now); err != nil {
				return err
			}
		}
		return nil
	})
}
