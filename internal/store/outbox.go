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
// or by any, and puts on each the try that is under way. It is committed before
// anybody calls the provider, so a crash leaves a row to look at and not a second
// text. A row that somebody else holds, such as one who mends a night by hand, is left
// for the next claim and holds up no other.
func (k *Kitchen) Claim(ctx context.Context, adapter string, now, leaseUntil time.Time, limit int) ([]night.Message, error) {
	var out []night.Message
	err := k.Write(ctx, func(t *Tx) error {
		var rows []messageRow
		// The states that the index of what waits is limited to stand in words: a
		// plan that is kept can't know what an argument will be.
		err := t.list(ctx, &rows, "due messages", `
			WITH due AS MATERIALIZED (
				SELECT id FROM messages WHERE kitchen_id = ? AND state = 'due' AND next_at <= ? AND adapter IN (?, '')
				ORDER BY next_at, id LIMIT ?`+t.dialect.skipLocked+`)
			UPDATE messages SET state = ?, attempt = attempt + 1, adapter = ?, started_at = ?, lease_until = ?, reason = '',
				turn = (SELECT turn + 1 FROM kitchens WHERE id = ?)
			WHERE id IN (SELECT id FROM due) RETURNING *`,
			t.kitchen, ms(now), adapter, limit, night.Sending, adapter, ms(now), ms(leaseUntil), t.kitchen)
		if err != nil || len(rows) == 0 {
			return err
		}
		if _, err := t.change(ctx, "kitchen", `UPDATE kitchens SET turn = turn + 1 WHERE id = ?`, t.kitchen); err != nil {
			return err
		}
		slices.SortFunc(rows, func(a, b messageRow) int {
			return cmp.Or(cmp.Compare(a.NextAt, b.NextAt), cmp.Compare(a.ID, b.ID))
		})
		out, err = t.withCovers(ctx, rows)
		return err
	})
	return out, err
}

// Trials gives how far the trying of messages is, in no particular order.
func (t *Tx) Trials(ctx context.Context, ids []int64) ([]night.Trial, error) {
	type row struct {
		ID      int64  `db:"id"`
		State   string `db:"state"`
		Attempt int    `db:"attempt"`
	}
	rows, err := listGiven[row](ctx, t, "messages",
		`SELECT id, state, attempt FROM messages WHERE id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	if err != nil {
		return nil, err
	}
	return each(rows, func(r row) (night.Trial, error) {
		return night.Trial{MessageID: r.ID, State: night.MessageState(r.State), Attempt: r.Attempt}, nil
	})
}

// NextDue gives the moment at which the next message is due, zero for at once, and
// whether any waits.
func (k *Kitchen) NextDue(ctx context.Context) (next time.Time, waits bool, err error) {
	var found []int64
	err = k.Read(ctx, func(t *Tx) error {
		return t.list(ctx, &found, "due messages",
			`SELECT next_at FROM messages WHERE kitchen_id = ? AND state = 'due' ORDER BY next_at LIMIT 1`, t.kitchen)
	})
	if err != nil || len(found) == 0 {
		return time.Time{}, false, err
	}
	return at(found[0]), true, nil
}

// Abandoned gives the messages whose try is on record and whose lease ran out
// before it was settled: whoever made it is gone, and nobody knows whether the
// text went out. A try that began further ahead of now than its lease is long was
// dated by a clock that was wrong; nobody waits until the right one gets there.
func (t *Tx) Abandoned(ctx context.Context, now time.Time) ([]night.Message, error) {
	var rows []messageRow
	err := t.list(ctx, &rows, "abandoned messages", `
		SELECT * FROM messages WHERE kitchen_id = ? AND state = 'sending'
			AND (lease_until <= ? OR started_at - ? > lease_until - started_at)`,
		t.kitchen, ms(now), ms(now))
	if err != nil {
		return nil, err
	}
	return t.withCovers(ctx, rows)
}

// Misdated gives the messages whose next try waits for a clock that is ahead of
// now: the try before was settled later than that.
func (t *Tx) Misdated(ctx context.Context, now time.Time) ([]int64, error) {
	var ids []int64
	err := t.list(ctx, &ids, "messages that wait", `
		SELECT m.id FROM messages m
		JOIN attempts a ON a.kitchen_id = m.kitchen_id AND a.message_id = m.id AND a.attempt = m.attempt
		WHERE m.kitchen_id = ? AND m.state = 'due' AND m.attempt > 0 AND m.next_at > ? AND m.next_at <> m.due_at AND a.settled_at > ?`,
		t.kitchen, ms(now), ms(now))
	return ids, err
}

// Redate lets messages that Misdated gave wait for as long as they should have,
// from now on.
func (t *Tx) Redate(ctx context.Context, ids []int64, now time.Time) error {
	if len(ids) == 0 {
		return nil
	}
	const which = `+m.kitchen_id = ? AND m.id IN (?) AND m.state = 'due' AND m.attempt > 0 AND m.next_at <> m.due_at
		AND a.kitchen_id = m.kitchen_id AND a.message_id = m.id AND a.attempt = m.attempt AND a.settled_at > ?`
	if _, err := t.change(ctx, "messages that wait",
		`UPDATE messages AS m SET next_at = m.next_at - a.settled_at + ? FROM attempts AS a WHERE `+which, ms(now), t.kitchen, ids, ms(now)); err != nil {
		return err
	}
	_, err := t.change(ctx, "attempts",
		`UPDATE attempts AS a SET settled_at = ? FROM messages AS m WHERE `+which, ms(now), t.kitchen, ids, ms(now))
	return err
}

// Settle records what became of attempts, each at most once in the list. It
// names the attempt it expects: a late finisher can't overwrite a newer one. It
// gives the states that the messages are in then, "" where a settlement did not
// count.
//
// A try does not undo an earlier one that came to more: then the message goes
// back to what its tries came to. So one that is known to have arrived, by a
// report that came while it was tried again, is not tried any more.
//
// An attempt that was given up as in doubt and reports after all is believed:
// it is the same attempt, and it knows more. If it reports that the text was
// accepted, that also stops the next try that a person asked for meanwhile and
// that did not begin yet; but one whose answer was on record before is left
// alone: what made it due again knew that answer.
func (t *Tx) Settle(ctx context.Context, all []night.Settlement) ([]night.MessageState, error) {
	g := given{columns: []string{"message", "try", "state", "reason", "retry_at", "settled_at"}}
	for _, s := range all {
		settled := ms(s.At)
		if s.State == night.Due {
			settled = 0
		}
		g.rows = append(g.rows, []any{s.MessageID, s.Attempt, string(s.State), s.Reason, ms(s.RetryAt), settled})
	}
	// What may be settled is asked of the rows that were named, and not looked
	// for among all that are in such a state.
	type named struct {
		ID      int64 `db:"id"`
		Attempt int   `db:"attempt"`
	}
	found, err := listGiven[named](ctx, t, "message", `
		UPDATE messages AS m SET state = given.state, reason = given.reason, lease_until = 0, settled_at = given.settled_at,
			next_at = CASE WHEN given.retry_at > 0 THEN given.retry_at ELSE m.next_at END
		FROM %s
		WHERE +m.kitchen_id = ? AND m.id = given.message AND m.attempt = given.try AND CASE
			WHEN m.state IN (?, ?) THEN 1
			WHEN m.state = ? AND given.state = ? THEN (SELECT count(*) FROM attempts a
				WHERE a.kitchen_id = m.kitchen_id AND a.message_id = m.id AND a.attempt = m.attempt AND a.outcome = ?)
			ELSE 0 END = 1
		RETURNING id, attempt`,
		g, nil, []any{t.kitchen, night.Sending, night.InDoubt, night.Due, night.Sent, string(adapters.Unknown)})
	if err != nil {
		return nil, err
	}
	stood := make(map[named]bool, len(found))
	for _, f := range found {
		stood[f] = true
	}
	became := make([]night.MessageState, len(all))
	var counted []night.Settlement
	for i, s := range all {
		if stood[named{s.MessageID, s.Attempt}] {
			became[i] = s.State
			counted = append(counted, s)
		}
	}
	if err := t.settleTries(ctx, counted); err != nil {
		return nil, err
	}
	for i, state := range became {
		if state == "" || !unreached(state) && all[i].Attempt == 1 {
			continue
		}
		if became[i], err = t.stand(ctx, all[i].MessageID, state); err != nil {
			return nil, err
		}
	}
	return became, nil
}

// unreached tells whether a state says that the text reached nobody.
func unreached(state night.MessageState) bool {
	switch state {
	case night.Failed, night.Missed, night.Dropped:
		return true
	case night.Due, night.Sending, night.Sent, night.Delivered, night.InDoubt, night.ByHand:
	}
	return false
}

// settleTries records tries and the answers to them, and what the provider calls
// the parts of those that it may have accepted. One that was given up is on record
// already, as it was then.
func (t *Tx) settleTries(ctx context.Context, all []night.Settlement) error {
	tries := given{columns: []string{"message", "try", "at", "word", "why"}}
	parts := given{columns: []string{"adapter", "id", "message", "attempt", "at"}}
	for _, s := range all {
		tries.rows = append(tries.rows, []any{s.MessageID, s.Attempt, ms(s.At), s.Outcome, s.Reason})
		if unreached(s.State) {
			continue
		}
		for _, id := range s.IDs {
			parts.rows = append(parts.rows, []any{s.Adapter, id, s.MessageID, s.Attempt, ms(s.At)})
		}
	}
	_, err := t.changeGiven(ctx, "attempt", `
		INSERT INTO attempts (kitchen_id, message_id, attempt, adapter, address, turn, started_at, settled_at, outcome, reason)
		SELECT m.kitchen_id, m.id, given.try, m.adapter, m.address, m.turn, m.started_at, given.at, given.word, given.why
		FROM %s JOIN messages m ON m.id = given.message WHERE +m.kitchen_id = ?
		ON CONFLICT (message_id, attempt) DO UPDATE SET settled_at = excluded.settled_at, outcome = excluded.outcome, reason = excluded.reason`,
		tries, nil, []any{t.kitchen})
	if err != nil {
		return err
	}
	_, err = t.changeGiven(ctx, "parts", `
		INSERT INTO parts (kitchen_id, adapter, provider_id, message_id, attempt, status, at)
		SELECT CAST(? AS BIGINT), adapter, id, message, attempt, CAST(? AS TEXT), at FROM %s WHERE true
		ON CONFLICT DO NOTHING`, parts, []any{t.kitchen, night.OnTheWay}, nil)
	return err
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
func (t *Tx) Reroute(ctx context.Context, id int64, fall night.Fall) (bool, error) {
	n, err := t.change(ctx, "message", `
		UPDATE messages SET state = ?, adapter = ?, address = ?, fallen = 1, next_at = ?, settled_at = 0
		WHERE kitchen_id = ? AND id = ? AND fallen = 0 AND state IN (?)`,
		night.Due, fall.Adapter, fall.To, atOnce, t.kitchen, id, []night.MessageState{night.Failed, night.Due, night.Sent, night.InDoubt})
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
		`SELECT provider_id, message_id, attempt, status, reason FROM parts WHERE +kitchen_id = ? AND message_id = ? ORDER BY provider_id`,
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
	rows, err := listGiven[receiptRow](ctx, t, "receipts", `
		DELETE FROM early_receipts WHERE kitchen_id = ? AND adapter = ? AND provider_id %s
		RETURNING provider_id, status, reason, at`, these(ids), []any{t.kitchen, adapter}, nil)
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
