package dispatch

import (
	"context"
	"errors"
	"time"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/night"
)

// ReceiptTx reads and writes what the network says of parts.
type ReceiptTx interface {
	PartsOf(ctx context.Context, messageID int64) ([]night.Part, error)
	PartByProviderID(ctx context.Context, adapter, id string) (night.Part, error)
	SetPart(ctx context.Context, adapter string, p night.Part, when time.Time) error
	KeepReceipt(ctx context.Context, adapter string, r adapters.Receipt) error
	TakeReceipts(ctx context.Context, adapter string, ids []string) ([]adapters.Receipt, error)
	Standing(ctx context.Context, messageID int64) (night.MessageState, error)
	ReceiptState(ctx context.Context, messageID int64, to night.MessageState, reason string) (bool, error)
}

// Receipt records what the network reports of a text. A report on something
// that is not on record yet is kept and joined when it is: the network may be
// faster than the answer to the send.
func (d *Dispatcher) Receipt(ctx context.Context, r adapters.Receipt) error {
	now := d.c.Now().UTC()
	return d.write(ctx, func(tx Tx) error {
		err := d.join(ctx, tx, r, now)
		if errors.Is(err, night.ErrNotFound) {
			return tx.KeepReceipt(ctx, d.c.Adapter, r)
		}
		return err
	})
}

func (d *Dispatcher) joinEarly(ctx context.Context, tx Tx, ids []string, now time.Time) error {
	receipts, err := tx.TakeReceipts(ctx, d.c.Adapter, ids)
	if err != nil {
		return err
	}
	for _, r := range receipts {
		if err := d.join(ctx, tx, r, now); err != nil {
			return err
		}
	}
	return nil
}

// join brings a report together with the part that it is about.
func (d *Dispatcher) join(ctx context.Context, tx Tx, r adapters.Receipt, now time.Time) error {
	part, err := tx.PartByProviderID(ctx, d.c.Adapter, r.ID)
	if err != nil {
		return err
	}
	if fate := Later(part.Fate, night.Fate(r.Status)); fate != part.Fate {
		part.Fate, part.Reason = fate, r.Reason
		if err := tx.SetPart(ctx, d.c.Adapter, part, now); err != nil {
			return err
		}
	}
	m, err := tx.Message(ctx, part.MessageID)
	if err != nil {
		return err
	}
	parts, err := tx.PartsOf(ctx, part.MessageID)
	if err != nil {
		return err
	}
	var fates []night.Fate
	reason := ""
	for _, p := range parts {
		if p.Attempt != part.Attempt {
			continue // each try stands for itself
		}
		fates = append(fates, p.Fate)
		if p.Fate == night.PartFailed {
			reason = p.Reason
		}
	}
	state, ok := night.PartsState(fates)
	if !ok {
		return nil
	}
	// Another try may have reached them, and half a text that broke off is none:
	// the message stands by all its tries. Records from before tries were told
	// apart have no number.
	if (state == night.Failed || state == night.Delivered) && part.Attempt != 0 {
		stands, err := tx.Standing(ctx, m.ID)
		if err != nil || stands != state && (state == night.Delivered || stands != night.InDoubt) {
			return err
		}
		state = stands
	}
	changed, err := arrived(ctx, tx, m, state, reason, now)
	if err != nil || !changed {
		return err
	}
	if state == night.Delivered { // whose fate was in doubt, or who was thought lost
		if err := desk.Told(ctx, tx, []*night.Message{&m}, nil, now, d.c.Adapter); err != nil {
			return err
		}
		// What a customer was thought not to know may have changed since.
		if !m.State.WentOut() {
			if err := d.c.Replanner.ReplanIn(ctx, tx, now, m); err != nil {
				return err
			}
		}
	}
	why := string(m.Kind) + ": " + string(state)
	if reason != "" {
		why += ", " + reason
	}
	if err := tx.Log(ctx, settled(&m, now, d.c.Adapter, why)); err != nil || state != night.Failed {
		return err
	}
	fell, err := d.fall(ctx, tx, &m, now)
	if err != nil || !fell {
		return err
	}
	return d.c.Replanner.ReplanIn(ctx, tx, now, m)
}

// arrived settles a message by what its parts say. One that waits to be tried
// again is not: the phone has it after all.
func arrived(ctx context.Context, tx Tx, m night.Message, state night.MessageState, reason string, now time.Time) (bool, error) {
	changed, err := tx.ReceiptState(ctx, m.ID, state, reason)
	if err != nil || changed || state != night.Delivered {
		return changed, err
	}
	return tx.SetMessageState(ctx, m.ID, []night.MessageState{night.Due}, state, reason, now)
}
