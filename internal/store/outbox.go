package store

import (
	"cmp"
	"context"
	"slices"
	"time"

	"passbell/adapters"
	"passbell/internal/night"
)

// Claim takes at most limit messages that are due at now and go by the adapter,
// or by any, and puts an attempt on record for each. It is committed before anybody calls the
// provider, so a crash leaves a row to look at and not a second text.
func (k *Kitchen) Claim(ctx context.Context, adapter string, now, leaseUntil time.Time, limit int) ([]night.Message, error) {
	var out []night.Message
	err := k.run(ctx, claiming, func(t *Tx) error {
		var rows []messageRow
		err := t.list(ctx, &rows, "due messages", `
			WITH due AS MATERIALIZED (
				SELECT id FROM messages WHERE kitchen_id = ? AND state = ? AND next_at <= ? AND adapter IN (?, '')
				ORDER BY next_at, id LIMIT ?`+t.dialect.skipLocked+`)
			UPDATE messages SET state = ?, attempt = attempt + 1, adapter = ?, lease_until = ?, reason = ''
			WHERE id IN (SELECT id FROM due) RETURNING *`,
			t.kitchen, night.Due, ms(now), adapter, limit, night.Sending, adapter, ms(leaseUntil))
		if err != nil || len(rows) == 0 {
			return err
		}
		slices.SortFunc(rows, func(a, b messageRow) int {
			return cmp.Or(cmp.Compare(a.NextAt, b.NextAt), cmp.Compare(a.ID, b.ID))
		})
		for ids := range slices.Chunk(rows, batch) {
			_, err := t.change(ctx, "attempts", `
				INSERT INTO attempts (message_id, attempt, kitchen_id, adapter, address, started_at)
				SELECT id, attempt, kitchen_id, adapter, address, CAST(? AS BIGINT) FROM messages WHERE kitchen_id = ? AND id IN (?)`,
				ms(now), t.kitchen, idsOf(ids))
			if err != nil {
				return err
			}
		}
		out, err = t.withCovers(ctx, rows)
		return err
	})
	return out, err
}

// NextDue gives the moment at which the next message is due; zero when nothing
// waits.
func (k *Kitchen) NextDue(ctx context.Context) (time.Time, error) {
	var next int64
	err := k.Read(ctx, func(t *Tx) error {
		return t.get(ctx, &next, "due messages",
			`SELECT coalesce(min(next_at), 0) FROM messages WHERE kitchen_id = ? AND state = ?`, t.kitchen, night.Due)
	})
	return at(next), err
}

// Abandoned gives the messages whose attempt is on record and whose lease ran
// out before it was settled: whoever made it is gone, and nobody knows whether
// the text went out.
func (t *Tx) Abandoned(ctx context.Context, now time.Time) ([]night.Message, error) {
	var rows []messageRow
	err := t.list(ctx, &rows, "abandoned messages",
		`SELECT * FROM messages WHERE kitchen_id = ? AND state = ? AND lease_until <= ?`, t.kitchen, night.Sending, ms(now))
	if err != nil {
		return nil, err
	}
	return t.withCovers(ctx, rows)
}

// Settle records what became of an attempt. It names the attempt it expects:
// a late finisher can't overwrite a newer one. It gives the state that the message
// is in then, "" where the settlement did not count.
//
// A try that reached nobody does not undo an earlier one that may have: then the
// message goes back to what its tries came to.
//
// An attempt that was given up as in doubt and reports after all is believed:
// it is the same attempt, and it knows more. If it reports that the text was
// accepted, that also stops the next try that a person asked for meanwhile and
// that did not begin yet.
func (t *Tx) Settle(ctx context.Context, s night.Settlement, now time.Time) (night.MessageState, error) {
	settled := now
	if s.State == night.Due {
		settled = time.Time{}
	}
	n, err := t.change(ctx, "message", `
		UPDATE messages SET state = ?, reason = ?, next_at = CASE WHEN CAST(? AS BIGINT) > 0 THEN ? ELSE next_at END, settled_at = ?, lease_until = 0
		WHERE kitchen_id = ? AND id = ? AND attempt = ? AND state IN (?, ?)`,
		s.State, s.Reason, ms(s.RetryAt), ms(s.RetryAt), ms(settled),
		t.kitchen, s.MessageID, s.Attempt, night.Sending, night.InDoubt)
	if err == nil && n == 0 && s.State == night.Sent {
		n, err = t.acceptedLate(ctx, s, now)
	}
	if err != nil || n == 0 {
		return "", err
	}
	_, err = t.change(ctx, "attempt",
		`UPDATE attempts SET settled_at = ?, outcome = ?, reason = ? WHERE kitchen_id = ? AND message_id = ? AND attempt = ?`,
		ms(now), s.Outcome, s.Reason, t.kitchen, s.MessageID, s.Attempt)
	if err != nil {
		return "", err
	}
	switch s.State {
	case night.Failed, night.Missed, night.Dropped:
		return t.unsent(ctx, s.MessageID, s.State)
	case night.Due, night.Sending, night.Sent, night.Delivered, night.InDoubt, night.ByHand:
	}
	for _, id := range s.IDs {
		_, err := t.change(ctx, "parts", `
			INSERT INTO parts (kitchen_id, adapter, provider_id, message_id, attempt, status, at) VALUES (?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT DO NOTHING`,
			t.kitchen, s.Adapter, id, s.MessageID, s.Attempt, night.OnTheWay, ms(now))
		if err != nil {
			return "", err
		}
	}
	return s.State, nil
}

// acceptedLate settles a message that waits for another try, where the last one
// was in doubt. One whose answer was on record before is left alone: what made
// it due again knew that answer.
func (t *Tx) acceptedLate(ctx context.Context, s night.Settlement, now time.Time) (int64, error) {
	return t.change(ctx, "message", `
		UPDATE messages SET state = ?, reason = ?, settled_at = ?
		WHERE kitchen_id = ? AND id = ? AND attempt = ? AND state = ? AND EXISTS (
			SELECT 1 FROM attempts WHERE kitchen_id = ? AND message_id = ? AND attempt = ? AND outcome = ?)`,
		s.State, s.Reason, ms(now), t.kitchen, s.MessageID, s.Attempt, night.Due,
		t.kitchen, s.MessageID, s.Attempt, string(adapters.Unknown))
}

// Unconfirmed gives the messages that the adapter's provider accepted before the
// given moment and of which nothing was heard since.
func (t *Tx) Unconfirmed(ctx context.Context, adapter string, before time.Time) ([]night.Message, error) {
	var rows []messageRow
	err := t.list(ctx, &rows, "unconfirmed messages", `
		SELECT * FROM messages WHERE kitchen_id = ? AND state = ? AND adapter = ? AND fallen = 0 AND settled_at <= ?`,
		t.kitchen, night.Sent, adapter, ms(before))
	if err != nil {
		return nil, err
	}
	return t.withCovers(ctx, rows)
}

// Reroute lets a message that failed, that waits for its next try, of which nothing
// was heard, or whose last try failed where an earlier one is in doubt, take
// another way at once. It does so once in a message's life, and tells whether
// it did.
func (t *Tx) Reroute(ctx context.Context, id int64, fall night.Fall, now time.Time) (bool, error) {
	n, err := t.change(ctx, "message", `
		UPDATE messages SET state = ?, adapter = ?, address = ?, fallen = 1, next_at = ?, settled_at = 0
		WHERE kitchen_id = ? AND id = ? AND fallen = 0 AND state IN (?)`,
		night.Due, fall.Adapter, fall.To, ms(now), t.kitchen, id, []night.MessageState{night.Failed, night.Due, night.Sent, night.InDoubt})
	return n > 0, err
}

type partRow struct {
	ProviderID string `db:"provider_id"`
	MessageID  int64  `db:"message_id"`
	Attempt    int    `db:"attempt"`
	Status     string `db:"status"`
	Reason     string `db:"reason"`
}

func (r partRow) part() (night.Part, error) {
	return night.Part{ProviderID: r.ProviderID, MessageID: r.MessageID, Attempt: r.Attempt, Fate: night.Fate(r.Status), Reason: r.Reason}, nil
}

// PartsOf gives the parts of a message that a provider accepted.
func (t *Tx) PartsOf(ctx context.Context, messageID int64) ([]night.Part, error) {
	var rows []partRow
	err := t.list(ctx, &rows, "parts",
		`SELECT provider_id, message_id, attempt, status, reason FROM parts WHERE kitchen_id = ? AND message_id = ? ORDER BY provider_id`,
		t.kitchen, messageID)
	if err != nil {
		return nil, err
	}
	return each(rows, partRow.part)
}

// PartByProviderID finds what a receipt reports on.
func (t *Tx) PartByProviderID(ctx context.Context, adapter, id string) (night.Part, error) {
	var r partRow
	err := t.get(ctx, &r, "part",
		`SELECT provider_id, message_id, attempt, status, reason FROM parts WHERE kitchen_id = ? AND adapter = ? AND provider_id = ?`,
		t.kitchen, adapter, id)
	if err != nil {
		return night.Part{}, err
	}
	return r.part()
}

// SetPart records what the network now says of a part.
func (t *Tx) SetPart(ctx context.Context, adapter string, p night.Part, when time.Time) error {
	_, err := t.change(ctx, "part",
		`UPDATE parts SET status = ?, reason = ?, at = ? WHERE kitchen_id = ? AND adapter = ? AND provider_id = ?`,
		p.Fate, p.Reason, ms(when), t.kitchen, adapter, p.ProviderID)
	return err
}

// KeepReceipt keeps a receipt that reports on nothing that is on record yet.
func (t *Tx) KeepReceipt(ctx context.Context, adapter string, r adapters.Receipt) error {
	_, err := t.change(ctx, "receipts", `
		INSERT INTO early_receipts (kitchen_id, adapter, provider_id, status, reason, at) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT DO NOTHING`, t.kitchen, adapter, r.ID, r.Status, r.Reason, ms(r.At))
	return err
}

// TakeReceipts gives and forgets the receipts that came early for the ids.
func (t *Tx) TakeReceipts(ctx context.Context, adapter string, ids []string) ([]adapters.Receipt, error) {
	if len(ids) == 0 {
		return nil, nil
	}
	var rows []receiptRow
	err := t.list(ctx, &rows, "receipts", `
		DELETE FROM early_receipts WHERE kitchen_id = ? AND adapter = ? AND provider_id IN (?)
		RETURNING provider_id, status, reason, at`, t.kitchen, adapter, ids)
	return receipts(rows), err
}

type receiptRow struct {
	ID     string `db:"provider_id"`
	Status string `db:"status"`
	Reason string `db:"reason"`
	At     int64  `db:"at"`
}

func receipts(rows []receiptRow) []adapters.Receipt {
	out := make([]adapters.Receipt, len(rows))
	for i, r := range rows {
		out[i] = adapters.Receipt{ID: r.ID, Status: adapters.Status(r.Status), Reason: r.Reason, At: at(r.At)}
	}
	return out
}

// ReceiptState settles a message by what its receipts say. A message that was
// sent, or whose fate was not known, may become delivered or failed, one that was
// sent in doubt, and a failed one delivered; nothing goes back. When the text went out stays as it
// was: a receipt may come much later. It tells whether the state changed.
func (t *Tx) ReceiptState(ctx context.Context, messageID int64, to night.MessageState, reason string) (bool, error) {
	from := []night.MessageState{night.Sent, night.InDoubt, night.Failed}
	switch to {
	case night.Failed:
		from = from[:2]
	case night.InDoubt: // one try was lost, and another may have arrived
		from = from[:1]
	case night.Due, night.Sending, night.Sent, night.Delivered, night.ByHand, night.Missed, night.Dropped:
	}
	n, err := t.change(ctx, "message",
		`UPDATE messages SET state = ?, reason = ? WHERE kitchen_id = ? AND id = ? AND state IN (?)`,
		to, reason, t.kitchen, messageID, from)
	return n > 0, err
}
