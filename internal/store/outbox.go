package store

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"time"

	"passbell/adapters"
	"passbell/internal/night"
)

// The outbox has a row of each message that is due, and of no other: what waits
// to be sent, and with a lease what is being sent. How far the sending is stands
// only there, and goes to the message when the try is settled.

// places is messages' places in the outbox, each with the time of its next try.
func (t *Tx) places(waits given) later {
	return later{table: "outbox", rows: waits, args: []any{t.kitchen},
		query: `INSERT INTO outbox (message_id, kitchen_id, next_at) SELECT message, CAST(? AS BIGINT), next FROM %s`}
}

// queueAtOnce lets a message be tried at once, whether it waits already or not.
func (t *Tx) queueAtOnce(ctx context.Context, id int64) error {
	_, err := t.change(ctx, "outbox", `
		INSERT INTO outbox (message_id, kitchen_id, next_at) VALUES (?, ?, ?)
		ON CONFLICT (message_id) DO UPDATE SET next_at = excluded.next_at, waits_from = 0`, id, t.kitchen, atOnce)
	return err
}

// unqueue takes messages out of the outbox, where they are in it.
func (t *Tx) unqueue(ctx context.Context, ids ...int64) error {
	_, err := t.changeGiven(ctx, "outbox",
		`DELETE FROM outbox WHERE message_id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	return err
}

// Claim takes at most limit messages that are due at now and go by the adapter,
// or by any, and puts on each the try that is under way. It is committed before
// anybody calls the provider, so a crash leaves a row to look at and not a second
// text. A message that somebody else holds, such as one who mends a night by hand, is left
// for the next claim and holds up no other.
func (k *Kitchen) Claim(ctx context.Context, adapter string, now, leaseUntil time.Time, limit int) ([]night.Message, error) {
	var out []night.Message
	err := k.Write(ctx, func(t *Tx) error {
		var tries []underway
		err := t.list(ctx, &tries, "due messages", `
			WITH due AS MATERIALIZED (
				SELECT m.id, m.attempt AS before FROM outbox o JOIN messages m ON m.id = o.message_id AND +m.kitchen_id = o.kitchen_id
				WHERE o.kitchen_id = ? AND o.next_at <= ? AND o.attempt = 0 AND m.adapter IN (?, '')
				ORDER BY o.next_at, o.message_id LIMIT ?`+t.dialect.skipLocked+`)
			UPDATE outbox SET attempt = due.before + 1, lease_until = ?, started_at = ?, adapter = ?,
				turn = (SELECT k.turn + 1 FROM kitchens k WHERE k.id = ?)
			FROM due WHERE message_id = due.id AND outbox.attempt = 0 RETURNING `+tried,
			t.kitchen, ms(now), adapter, limit, ms(leaseUntil), ms(now), adapter, t.kitchen)
		if err != nil || len(tries) == 0 {
			return err
		}
		_, err = t.change(ctx, "kitchen",
			`UPDATE kitchens SET turn = turn + 1, claimed_at = CASE WHEN claimed_at < ? THEN ? ELSE claimed_at END WHERE id = ?`,
			ms(now), ms(now), t.kitchen)
		if err != nil {
			return err
		}
		if out, err = t.claimed(ctx, tries); err != nil {
			return err
		}
		return t.withEarlier(ctx, out)
	})
	return out, err
}

// underway is what stands in the outbox of a message and its try.
type underway struct {
	MessageID int64  `db:"message_id"`
	NextAt    int64  `db:"next_at"`
	Attempt   int64  `db:"attempt"` // 0 where none is under way
	Adapter   string `db:"adapter"`
	Turn      int64  `db:"turn"`
}

// of brings a message to how far its sending is.
func (u underway) of(m *night.Message) {
	m.AtOnce = u.NextAt == atOnce
	if u.Attempt > 0 {
		m.State, m.Reason, m.Attempt, m.Adapter, m.Turn = night.Sending, "", int(u.Attempt), u.Adapter, u.Turn
	}
}

// tried is the columns of an underway.
const tried = `message_id, next_at, outbox.attempt, outbox.adapter, turn`

// claimed gives messages as they are with the tries that were just put on record,
// in the order in which they were due.
func (t *Tx) claimed(ctx context.Context, tries []underway) ([]night.Message, error) {
	slices.SortFunc(tries, func(a, b underway) int {
		return cmp.Or(cmp.Compare(a.NextAt, b.NextAt), cmp.Compare(a.MessageID, b.MessageID))
	})
	ids := make([]int64, len(tries))
	for i, u := range tries {
		ids[i] = u.MessageID
	}
	// What they came to before the try is not asked for.
	rows, err := listGiven[messageRow](ctx, t, "messages", `
		SELECT m.id, m.kitchen_id, m.night_id, m.inbound_id, m.kind, m.revision, m.place, m.address, m.text, m.parts, m.due_at, m.expires_at, m.fallen,
			c.order_id AS cover_order, c.slot AS cover_slot
		FROM messages m LEFT JOIN message_orders c ON c.message_id = m.id AND +c.kitchen_id = m.kitchen_id
		WHERE m.id %s AND +m.kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	if err != nil {
		return nil, err
	}
	out := make([]night.Message, len(tries))
	place := make(map[int64]int, len(tries))
	for i, u := range tries {
		place[u.MessageID] = i
	}
	for i := range rows {
		r := &rows[i]
		m := &out[place[r.ID]]
		if m.ID == 0 {
			*m = r.message()
			tries[place[r.ID]].of(m)
		}
		m.Covers = r.cover(m.Covers)
	}
	return out, nil
}

// Trials gives those of the messages that are in the outbox, in no particular
// order, each with the attempt that is under way; 0 for none.
func (t *Tx) Trials(ctx context.Context, ids []int64) ([]night.Trial, error) {
	type row struct {
		ID      int64 `db:"message_id"`
		Attempt int64 `db:"attempt"`
	}
	rows, err := listGiven[row](ctx, t, "outbox",
		`SELECT message_id, attempt FROM outbox WHERE message_id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	if err != nil {
		return nil, err
	}
	return each(rows, func(r row) (night.Trial, error) { return night.Trial{MessageID: r.ID, Attempt: int(r.Attempt)}, nil })
}

// tries gives what stands in the outbox of messages.
func (t *Tx) tries(ctx context.Context, ids []int64) ([]underway, error) {
	return listGiven[underway](ctx, t, "outbox",
		`SELECT `+tried+` FROM outbox WHERE message_id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
}

// Waits tells whether something is due at now that may go by the adapter.
func (t *Tx) Waits(ctx context.Context, adapter string, now time.Time) (bool, error) {
	var found []int64
	err := t.list(ctx, &found, "due messages", `
		SELECT m.id FROM outbox o JOIN messages m ON m.id = o.message_id AND +m.kitchen_id = o.kitchen_id
		WHERE o.kitchen_id = ? AND o.next_at <= ? AND o.attempt = 0 AND m.adapter IN (?, '') LIMIT 1`,
		t.kitchen, ms(now), adapter)
	return len(found) > 0, err
}

// NextDue gives the moment at which the next message is due, zero for at once, and
// whether any waits.
func (k *Kitchen) NextDue(ctx context.Context) (next time.Time, waits bool, err error) {
	var found []int64
	err = k.Read(ctx, func(t *Tx) error {
		return t.list(ctx, &found, "due messages",
			`SELECT next_at FROM outbox WHERE kitchen_id = ? AND attempt = 0 ORDER BY next_at LIMIT 1`, t.kitchen)
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
	var ids []int64
	// What is under way was due by the clock of whoever claimed it.
	err := t.list(ctx, &ids, "abandoned messages", `
		SELECT o.message_id FROM kitchens k JOIN outbox o ON o.kitchen_id = k.id AND o.next_at <= k.claimed_at
		WHERE k.id = ? AND o.attempt > 0 AND (o.lease_until <= ? OR o.started_at - ? > o.lease_until - o.started_at)`,
		t.kitchen, ms(now), ms(now))
	if err != nil {
		return nil, err
	}
	return t.messagesBy(ctx, ids)
}

// Misdated gives the messages whose next try waits for a clock that is ahead of
// now: the try before was settled later than that.
func (t *Tx) Misdated(ctx context.Context, now time.Time) ([]int64, error) {
	var ids []int64
	err := t.list(ctx, &ids, "messages that wait", `
		SELECT message_id FROM outbox WHERE kitchen_id = ? AND waits_from > ? AND waits_from > 0 AND attempt = 0 AND next_at > ?`,
		t.kitchen, ms(now), ms(now))
	return ids, err
}

// Redate lets messages that Misdated gave wait for as long as they should have,
// from now on.
func (t *Tx) Redate(ctx context.Context, ids []int64, now time.Time) error {
	_, err := t.changeGiven(ctx, "messages that wait", `
		UPDATE outbox SET next_at = next_at - waits_from + ?, waits_from = ?
		WHERE message_id %s AND +kitchen_id = ? AND waits_from > ? AND attempt = 0`,
		these(ids), []any{ms(now), ms(now)}, []any{t.kitchen, ms(now)})
	return err
}

// Stray gives the messages of which the outbox does not say what they say: those
// that are due and not in it, or in it and not due. There should never be any.
func (t *Tx) Stray(ctx context.Context) ([]int64, error) {
	var ids []int64
	err := t.list(ctx, &ids, "outbox", `
		SELECT coalesce(m.id, o.message_id) FROM (SELECT * FROM messages WHERE kitchen_id = ? AND state = ?) m
		FULL JOIN (SELECT * FROM outbox WHERE kitchen_id = ?) o ON o.message_id = m.id
		WHERE m.id IS NULL OR o.message_id IS NULL OR o.attempt NOT IN (0, m.attempt + 1)`, t.kitchen, night.Due, t.kitchen)
	return ids, err
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
	under, err := t.end(ctx, all)
	if err != nil {
		return nil, err
	}
	var others []int64 // waits again, or is late
	for i := range all {
		if _, ended := under[all[i].MessageID]; !ended {
			others = append(others, all[i].MessageID)
		}
	}
	tries, err := t.tries(ctx, others)
	if err != nil {
		return nil, err
	}
	for _, u := range tries {
		under[u.MessageID] = u
	}
	became := make([]night.MessageState, len(all))
	counted := make([]night.Settlement, 0, len(all))
	for i, s := range all {
		if u := under[s.MessageID]; u.Attempt > 0 && u.Attempt == int64(s.Attempt) {
			became[i] = s.State
			counted = append(counted, s)
		} else if became[i], err = t.settleLate(ctx, s, u); err != nil {
			return nil, err
		}
	}
	if err := t.settleTries(ctx, counted, under); err != nil {
		return nil, err
	}
	if err := t.number(ctx, all, became); err != nil {
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

// end takes out of the outbox what is not to be tried again, where the try is the
// one under way, and gives what stood there.
func (t *Tx) end(ctx context.Context, all []night.Settlement) (map[int64]underway, error) {
	ended := map[int][]int64{} // by attempt: nearly all are the first
	for i := range all {
		if s := &all[i]; s.State != night.Due && s.Attempt > 0 { // what waits for its time has none
			ended[s.Attempt] = append(ended[s.Attempt], s.MessageID)
		}
	}
	under := make(map[int64]underway, len(all))
	for _, attempt := range slices.Sorted(maps.Keys(ended)) {
		tries, err := listGiven[underway](ctx, t, "outbox",
			`DELETE FROM outbox WHERE message_id %s AND attempt = ? AND +kitchen_id = ? RETURNING `+tried,
			these(ended[attempt]), nil, []any{attempt, t.kitchen})
		if err != nil {
			return nil, err
		}
		for _, u := range tries {
			under[u.MessageID] = u
		}
	}
	return under, nil
}

// settleTries settles tries that are under way: the messages take over from the
// outbox what became of them, and what is to be tried again waits there.
func (t *Tx) settleTries(ctx context.Context, all []night.Settlement, under map[int64]underway) error {
	again := given{columns: []string{"message", "next", "since"}}
	g := given{columns: []string{"message", "try", "state", "why", "settled", "by", "nth"}, rows: make([][]any, len(all))}
	tries := given{columns: []string{"message", "try", "by", "address", "nth", "at", "word", "why"}, rows: make([][]any, len(all))}
	for i, s := range all {
		u, settled := under[s.MessageID], ms(s.At)
		tries.rows[i] = []any{s.MessageID, s.Attempt, u.Adapter, s.To, u.Turn, settled, s.Outcome, s.Reason}
		if s.State == night.Due {
			settled = 0
			next, since := u.NextAt, int64(0)
			if !s.RetryAt.IsZero() {
				next, since = ms(s.RetryAt), ms(s.At)
			}
			again.rows = append(again.rows, []any{s.MessageID, next, since})
		}
		g.rows[i] = []any{s.MessageID, s.Attempt, string(s.State), s.Reason, settled, u.Adapter, u.Turn}
	}
	_, err := t.changeGiven(ctx, "outbox", `
		UPDATE outbox SET attempt = 0, lease_until = 0, started_at = 0, adapter = '', turn = 0, next_at = given.next, waits_from = given.since
		FROM %s WHERE message_id = given.message AND +kitchen_id = ?`, again, nil, []any{t.kitchen})
	if err != nil {
		return err
	}
	_, err = t.changeGiven(ctx, "message", `
		UPDATE messages SET state = given.state, reason = given.why, attempt = given.try, settled_at = given.settled,
			adapter = given.by, turn = given.nth
		FROM %s WHERE id = given.message AND +kitchen_id = ?`, g, nil, []any{t.kitchen})
	if err != nil {
		return err
	}
	_, err = t.changeGiven(ctx, "attempt", `
		INSERT INTO attempts (kitchen_id, message_id, attempt, adapter, address, turn, settled_at, outcome, reason)
		SELECT CAST(? AS BIGINT), message, try, by, address, nth, at, word, why FROM %s`, tries, []any{t.kitchen}, nil)
	return err
}

// settleLate settles a try that was given up, or that another one was asked for
// after which has not begun, and gives the state that the message is in then; ""
// where it does not count. u is what stands in the outbox of the message.
func (t *Tx) settleLate(ctx context.Context, s night.Settlement, u underway) (night.MessageState, error) {
	if u.Attempt > 0 {
		return "", nil
	}
	settled := ms(s.At)
	if s.State == night.Due {
		settled = 0
	}
	n, err := t.change(ctx, "message", `
		UPDATE messages SET state = ?, reason = ?, settled_at = ? WHERE kitchen_id = ? AND id = ? AND attempt = ? AND CASE
			WHEN state = ? THEN 1
			WHEN state = ? AND ? = ? THEN (SELECT count(*) FROM attempts a
				WHERE a.kitchen_id = messages.kitchen_id AND a.message_id = messages.id AND a.attempt = messages.attempt AND a.outcome = ?)
			ELSE 0 END = 1`,
		s.State, s.Reason, settled, t.kitchen, s.MessageID, s.Attempt,
		night.InDoubt, night.Due, s.State, night.Sent, string(adapters.Unknown))
	if err != nil || n == 0 {
		return "", err
	}
	if err := t.unqueue(ctx, s.MessageID); err != nil {
		return "", err
	}
	if s.State == night.Due { // its time had come before that try
		if _, err := t.writeNow(ctx, t.places(given{[]string{"message", "next"}, [][]any{{s.MessageID, ms(s.RetryAt)}}})); err != nil {
			return "", err
		}
	}
	_, err = t.change(ctx, "attempt",
		`UPDATE attempts SET settled_at = ?, outcome = ?, reason = ? WHERE kitchen_id = ? AND message_id = ? AND attempt = ?`,
		ms(s.At), s.Outcome, s.Reason, t.kitchen, s.MessageID, s.Attempt)
	return s.State, err
}

// number records what the provider calls the parts of texts that it may have
// accepted. What a settlement did not count for is passed over.
func (t *Tx) number(ctx context.Context, all []night.Settlement, became []night.MessageState) error {
	parts := given{columns: []string{"id", "adapter", "message", "attempt", "at"}}
	for i, s := range all {
		if became[i] == "" || unreached(s.State) {
			continue
		}
		for _, id := range s.IDs {
			parts.rows = append(parts.rows, []any{id, s.Adapter, s.MessageID, s.Attempt, ms(s.At)})
		}
	}
	_, err := t.changeGiven(ctx, "parts", `
		INSERT INTO parts (kitchen_id, adapter, provider_id, message_id, attempt, status, at)
		SELECT CAST(? AS BIGINT), adapter, id, message, attempt, CAST(? AS TEXT), at FROM %s WHERE true
		ON CONFLICT DO NOTHING`, parts, []any{t.kitchen, night.OnTheWay}, nil)
	return err
}

// Unconfirmed gives the messages that the adapter's provider accepted before the
// given moment and of which nothing was heard since.
func (t *Tx) Unconfirmed(ctx context.Context, adapter string, before time.Time) ([]night.Message, error) {
	var ids []int64
	// A text is of no use any more some hours after its night.
	from := before.AddDate(0, 0, -2).Format(time.DateOnly)
	err := t.list(ctx, &ids, "unconfirmed messages", `
		SELECT m.id FROM nights n JOIN messages m ON m.kitchen_id = n.kitchen_id AND m.night_id = n.id
		WHERE n.kitchen_id = ? AND n.date >= ? AND m.state = ? AND m.adapter = ? AND m.fallen = 0 AND m.settled_at <= ?`,
		t.kitchen, from, night.Sent, adapter, ms(before))
	if err != nil {
		return nil, err
	}
	return t.messagesBy(ctx, ids)
}

// Reroute lets a message that failed, that waits for its next try, of which nothing
// was heard, or whose last try failed where an earlier one is in doubt, take
// another way at once. It does so once in a message's life, and tells whether
// it did.
func (t *Tx) Reroute(ctx context.Context, id int64, fall night.Fall) (bool, error) {
	n, err := t.change(ctx, "message", `
		UPDATE messages SET state = ?, adapter = ?, address = ?, fallen = 1, settled_at = 0
		WHERE kitchen_id = ? AND id = ? AND fallen = 0 AND state IN (?) AND `+idle,
		night.Due, fall.Adapter, fall.To, t.kitchen, id, []night.MessageState{night.Failed, night.Due, night.Sent, night.InDoubt})
	if err != nil || n == 0 {
		return false, err
	}
	return true, t.queueAtOnce(ctx, id)
}
