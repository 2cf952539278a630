package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"passbell/internal/night"
)

// messageRow is a message with what stands in the outbox of it, and one of the
// orders that it is about; without either where there is none. Where many rows are
// read, whole numbers are int64: database/sql reads any other kind by way of its digits.
type messageRow struct {
	ID        int64  `db:"id"`
	KitchenID int64  `db:"kitchen_id"`
	NightID   int64  `db:"night_id"`
	InboundID *int64 `db:"inbound_id"`
	Kind      string `db:"kind"`
	Revision  int64  `db:"revision"`
	Place     string `db:"place"`
	Address   string `db:"address"`
	Text      string `db:"text"`
	Parts     int64  `db:"parts"`
	DueAt     int64  `db:"due_at"`
	ExpiresAt int64  `db:"expires_at"`
	State     string `db:"state"`
	Reason    string `db:"reason"`
	Attempt   int64  `db:"attempt"`
	Adapter   string `db:"adapter"`
	Fallen    int64  `db:"fallen"`
	SettledAt int64  `db:"settled_at"`
	Turn      int64  `db:"turn"`

	NextAt  sql.NullInt64  `db:"next_at"`
	Trying  sql.NullInt64  `db:"trying"`
	TriedBy sql.NullString `db:"tried_by"`
	TryTurn sql.NullInt64  `db:"try_turn"`

	OrderID sql.NullInt64 `db:"cover_order"`
	Slot    sql.NullInt64 `db:"cover_slot"`
}

// atOnce is the next_at of what goes as soon as anybody can send it. A moment
// would be one on somebody's clock, and whoever reads another would wait for it.
const atOnce = 0

// nextAt gives when a message that waits is to be tried.
func nextAt(m *night.Message) int64 {
	if m.AtOnce {
		return atOnce
	}
	return ms(m.DueAt)
}

// message gives the message without its orders. The row of one that is being sent
// is as it was before that try, which stands in the outbox.
func (r *messageRow) message() night.Message {
	m := night.Message{
		ID: r.ID, KitchenID: r.KitchenID, NightID: r.NightID,
		Kind: night.MessageKind(r.Kind), Revision: int(r.Revision), Place: r.Place,
		To: r.Address, Text: r.Text, Parts: int(r.Parts), DueAt: at(r.DueAt), ExpiresAt: at(r.ExpiresAt),
		State: night.MessageState(r.State), Reason: r.Reason,
		Attempt: int(r.Attempt), Adapter: r.Adapter, Fallen: r.Fallen != 0, SettledAt: at(r.SettledAt), Turn: r.Turn,
	}
	if r.InboundID != nil {
		m.InboundID = *r.InboundID
	}
	if r.NextAt.Valid {
		underway{NextAt: r.NextAt.Int64, Attempt: r.Trying.Int64, Adapter: r.TriedBy.String, Turn: r.TryTurn.Int64}.of(&m)
	}
	return m
}

// cover adds the order of a row to those that its message is about.
func (r *messageRow) cover(covers []night.Cover) []night.Cover {
	if !r.OrderID.Valid {
		return covers
	}
	return append(covers, night.Cover{OrderID: r.OrderID.Int64, Slot: night.Clock(r.Slot.Int64)})
}

// Messages gives all messages of a night in the order in which they are due.
func (t *Tx) Messages(ctx context.Context, nightID int64) ([]night.Message, error) {
	var rows []messageRow
	err := t.list(ctx, &rows, "messages", covered+` WHERE m.kitchen_id = ? AND m.night_id = ? `+inTurn, t.kitchen, nightID)
	if err != nil {
		return nil, err
	}
	return t.gathered(ctx, rows)
}

// MessagesAbout gives the messages that tell about any of the orders, but for those of
// some kinds.
func (t *Tx) MessagesAbout(ctx context.Context, orders []int64, but ...night.MessageKind) ([]night.Message, error) {
	if len(orders) == 0 {
		return nil, nil
	}
	about, after := `SELECT message_id FROM message_orders WHERE kitchen_id = ? AND order_id %s`, []any(nil)
	for _, kind := range but {
		about, after = about+` AND kind <> ?`, append(after, kind)
	}
	rows, err := listGiven[messageRow](ctx, t, "messages", covered+` WHERE +m.kitchen_id = ? AND m.id IN (`+about+`) `+inTurn,
		these(orders), []any{t.kitchen, t.kitchen}, after)
	if err != nil {
		return nil, err
	}
	// One may be about orders of two parts of a long list.
	slices.SortStableFunc(rows, func(a, b messageRow) int {
		return cmp.Or(cmp.Compare(a.DueAt, b.DueAt), cmp.Compare(a.ID, b.ID), cmp.Compare(a.Slot.Int64, b.Slot.Int64), cmp.Compare(a.OrderID.Int64, b.OrderID.Int64))
	})
	return t.gathered(ctx, slices.CompactFunc(rows, func(a, b messageRow) bool { return a.ID == b.ID && a.OrderID == b.OrderID }))
}

// Message gives one message.
func (t *Tx) Message(ctx context.Context, id int64) (night.Message, error) {
	var rows []messageRow
	if err := t.list(ctx, &rows, "message", covered+` WHERE m.kitchen_id = ? AND m.id = ? `+inTurn, t.kitchen, id); err != nil {
		return night.Message{}, err
	}
	found, err := t.gathered(ctx, rows)
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("message: %w", night.ErrNotFound)
	}
	if err != nil {
		return night.Message{}, err
	}
	return found[0], nil
}

const (
	covered = `
		SELECT m.*, o.next_at, o.attempt AS trying, o.adapter AS tried_by, o.turn AS try_turn, c.order_id AS cover_order, c.slot AS cover_slot
		FROM messages m
		LEFT JOIN outbox o ON o.message_id = m.id AND +o.kitchen_id = m.kitchen_id
		LEFT JOIN message_orders c ON c.message_id = m.id AND +c.kitchen_id = m.kitchen_id`
	inTurn = `ORDER BY m.due_at, m.id, c.slot, c.order_id`
	// idle says of a message that no try of it is under way.
	idle = `NOT EXISTS (SELECT 1 FROM outbox o WHERE o.message_id = messages.id AND +o.kitchen_id = messages.kitchen_id AND o.attempt > 0)`
)

// gathered gives the messages of rows, each of which stand together.
func (t *Tx) gathered(ctx context.Context, rows []messageRow) ([]night.Message, error) {
	var out []night.Message
	for i := range rows {
		r := &rows[i]
		if len(out) == 0 || out[len(out)-1].ID != r.ID {
			out = append(out, r.message())
		}
		m := &out[len(out)-1]
		m.Covers = r.cover(m.Covers)
	}
	return out, t.withEarlier(ctx, out)
}

// messagesBy gives messages by their ids, in their order.
func (t *Tx) messagesBy(ctx context.Context, ids []int64) ([]night.Message, error) {
	rows, err := listGiven[messageRow](ctx, t, "messages",
		covered+` WHERE +m.kitchen_id = ? AND m.id %s ORDER BY m.id, c.slot, c.order_id`, these(ids), []any{t.kitchen}, nil)
	if err != nil {
		return nil, err
	}
	return t.gathered(ctx, rows)
}

// AddMessage is AddMessages for one.
func (t *Tx) AddMessage(ctx context.Context, m night.Message) (id int64, added bool, err error) {
	ids, err := t.AddMessages(ctx, []night.Message{m})
	if err != nil {
		return 0, false, err
	}
	return ids[0], ids[0] != 0, nil
}

// AddMessages stores new messages and gives their ids. One that exists already,
// for any of the orders it covers or for the inbound that it answers, is not
// stored a second time: its id is 0 and that is no error.
func (t *Tx) AddMessages(ctx context.Context, all []night.Message) ([]int64, error) {
	ids, err := t.reserve(ctx, "messages", len(all))
	if err != nil {
		return nil, err
	}
	if t.answersNew(all) {
		for _, c := range []later{t.rowsOf(ids, all), t.coversOf(ids, all), t.waitsOf(ids, all)} {
			if err := t.putOff(ctx, c); err != nil {
				return nil, err
			}
		}
		return ids, nil
	}
	if err := t.put(ctx, ids, all); err != nil {
		return nil, err
	}
	_, err = t.writeNow(ctx, t.waitsOf(ids, all))
	return ids, err
}

// answersNew tells whether messages answer texts that came in the transaction, one
// each: then nobody has answered any of them before.
func (t *Tx) answersNew(all []night.Message) bool {
	var answered []int64
	for i := range all {
		to := all[i].InboundID
		if !slices.Contains(t.fresh, to) || slices.Contains(answered, to) {
			return false
		}
		answered = append(answered, to)
	}
	return true
}

// put stores new messages with their ids, and makes 0 the id of one that exists
// already.
func (t *Tx) put(ctx context.Context, ids []int64, all []night.Message) error {
	n, err := t.writeNow(ctx, t.rowsOf(ids, all))
	if err != nil {
		return err
	}
	if n < int64(len(all)) {
		if err := t.absent(ctx, ids); err != nil {
			return err
		}
	}
	whole, err := t.cover(ctx, ids, all)
	if err != nil || whole {
		return err
	}
	return t.takeBack(ctx, ids, all)
}

// rowsOf is the rows of new messages.
func (t *Tx) rowsOf(ids []int64, all []night.Message) later {
	g := given{columns: []string{"new", "night", "inbound", "kind", "revision", "place", "address", "words", "parts", "due_at", "expires_at", "adapter"}, rows: make([][]any, len(all))}
	known := ""
	for i := range all {
		m := &all[i]
		if m.InboundID != 0 { // it may be answered already; else only the orders tell whether there is one
			known = "ON CONFLICT DO NOTHING"
		}
		g.rows[i] = []any{ids[i], m.NightID, m.InboundID, string(m.Kind), m.Revision, m.Place, m.To, m.Text, m.Parts, ms(m.DueAt), ms(m.ExpiresAt), m.Adapter}
	}
	return later{table: "messages", all: true, rows: g, args: []any{t.kitchen, night.Due}, query: `
		INSERT INTO messages (id, kitchen_id, night_id, inbound_id, kind, revision, place, address, text, parts,
			due_at, expires_at, state, adapter)
		SELECT new, CAST(? AS BIGINT), night, nullif(inbound, 0), kind, revision, place, address, words, parts,
			due_at, expires_at, CAST(? AS TEXT), adapter FROM %s WHERE true
		` + known}
}

// coversOf is which orders messages are about; one whose id is 0 is passed over.
func (t *Tx) coversOf(ids []int64, all []night.Message) later {
	g := given{columns: []string{"message", "about", "what", "version", "at"}, rows: make([][]any, 0, len(all))}
	for i := range all {
		if ids[i] == 0 {
			continue
		}
		m := &all[i]
		for _, c := range m.Covers {
			g.rows = append(g.rows, []any{ids[i], c.OrderID, string(m.Kind), m.Revision, int(c.Slot)})
		}
	}
	return later{table: "message_orders", all: true, rows: g, args: []any{t.kitchen}, query: `
		INSERT INTO message_orders (kitchen_id, message_id, order_id, kind, revision, slot)
		SELECT CAST(? AS BIGINT), message, about, what, version, at FROM %s WHERE true
		ON CONFLICT DO NOTHING`}
}

// waitsOf is the places of new messages in the outbox; one whose id is 0 gets none.
func (t *Tx) waitsOf(ids []int64, all []night.Message) later {
	g := given{columns: []string{"message", "next"}, rows: make([][]any, 0, len(all))}
	for i := range all {
		if ids[i] != 0 {
			g.rows = append(g.rows, []any{ids[i], nextAt(&all[i])})
		}
	}
	return t.places(g)
}

// absent makes those of ids 0 that no message has.
func (t *Tx) absent(ctx context.Context, ids []int64) error {
	found, err := listGiven[int64](ctx, t, "messages",
		`SELECT id FROM messages WHERE id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	if err != nil {
		return err
	}
	known := make(map[int64]bool, len(found))
	for _, id := range found {
		known[id] = true
	}
	for i, id := range ids {
		if !known[id] {
			ids[i] = 0
		}
	}
	return nil
}

// takeBack takes back those of new messages of which another one has an order
// already, and makes their ids 0. Of several in the list the first is to have it:
// each is tried once more alone.
func (t *Tx) takeBack(ctx context.Context, ids []int64, all []night.Message) error {
	covered, err := listGiven[int64](ctx, t, "messages",
		`SELECT message_id FROM message_orders WHERE message_id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	if err != nil {
		return err
	}
	covers := make(map[int64]int, len(ids))
	for _, id := range covered {
		covers[id]++
	}
	var back []int64
	var again []int
	for i, id := range ids {
		if id != 0 && covers[id] < len(all[i].Covers) {
			back, again = append(back, id), append(again, i)
		}
	}
	_, err = t.changeGiven(ctx, "message", `DELETE FROM messages WHERE id %s AND +kitchen_id = ?`, these(back), nil, []any{t.kitchen})
	if err != nil {
		return err
	}
	if len(all) == 1 {
		ids[0] = 0
		return nil
	}
	for _, i := range again {
		if err := t.put(ctx, ids[i:i+1], all[i:i+1]); err != nil {
			return err
		}
	}
	return nil
}

// cover records which orders messages are about; one whose id is 0 is passed over.
// It tells whether each got all of its own, which nobody else had.
func (t *Tx) cover(ctx context.Context, ids []int64, all []night.Message) (whole bool, err error) {
	c := t.coversOf(ids, all)
	n, err := t.writeNow(ctx, c)
	return n == int64(len(c.rows.rows)), err
}

// Uncover forgets which orders messages are about. What was dropped is about
// none, so that the text can be planned anew; and before several messages trade
// orders among themselves, each lets go of its own.
func (t *Tx) Uncover(ctx context.Context, ids ...int64) error {
	_, err := t.changeGiven(ctx, "message",
		`DELETE FROM message_orders WHERE message_id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	return err
}

// Reword stores what a message that is still due now says, to whom and when.
// It tells whether the message was still due.
func (t *Tx) Reword(ctx context.Context, m night.Message) (bool, error) {
	const timed = `CASE WHEN (SELECT due_at FROM messages WHERE id = message_id) = ? THEN %s ELSE ? END`
	n, err := t.change(ctx, "message", `
		UPDATE outbox SET next_at = `+fmt.Sprintf(timed, "next_at")+`, waits_from = `+fmt.Sprintf(timed, "waits_from")+`
		WHERE kitchen_id = ? AND message_id = ? AND attempt = 0`,
		ms(m.DueAt), nextAt(&m), ms(m.DueAt), 0, t.kitchen, m.ID)
	if err != nil || n == 0 {
		return false, err
	}
	_, err = t.change(ctx, "message", `
		UPDATE messages SET revision = ?, place = ?, adapter = ?, address = ?, text = ?, parts = ?, expires_at = ?, due_at = ?
		WHERE kitchen_id = ? AND id = ?`,
		m.Revision, m.Place, m.Adapter, m.To, m.Text, m.Parts, ms(m.ExpiresAt), ms(m.DueAt), t.kitchen, m.ID)
	if err != nil {
		return false, err
	}
	if err := t.Uncover(ctx, m.ID); err != nil {
		return false, err
	}
	whole, err := t.cover(ctx, []int64{m.ID}, []night.Message{m})
	if err == nil && !whole {
		err = &night.StoreError{Doing: "change message", Err: fmt.Errorf("another is about an order of message %d", m.ID)}
	}
	return err == nil, err
}

// Withdraw is WithdrawAll for one.
func (t *Tx) Withdraw(ctx context.Context, id int64, to night.MessageState, why string, now time.Time) (bool, error) {
	gone, err := t.WithdrawAll(ctx, []night.Withdrawal{{MessageID: id, To: to, Why: why}}, now)
	return err == nil && gone[0], err
}

// WithdrawAll takes back messages that are still due, as Dropped or Missed, and
// tells which were due. One that was never tried and is Dropped is forgotten;
// one that was tried stays on record. If something left the house before, the
// message goes back to what its tries came to, and stays about its orders.
func (t *Tx) WithdrawAll(ctx context.Context, all []night.Withdrawal, now time.Time) ([]bool, error) {
	var drop []int64
	for _, w := range all {
		if w.To == night.Dropped {
			drop = append(drop, w.MessageID)
		}
	}
	forgotten, err := listGiven[int64](ctx, t, "message", `
		DELETE FROM messages WHERE id %s AND +kitchen_id = ? AND state = ? AND attempt = 0 AND `+idle+` RETURNING id`,
		these(drop), nil, []any{t.kitchen, night.Due})
	if err != nil {
		return nil, err
	}
	if err := t.unqueue(ctx, forgotten...); err != nil {
		return nil, err
	}
	gone := make([]bool, len(all))
	for i, w := range all {
		if gone[i] = slices.Contains(forgotten, w.MessageID); gone[i] {
			continue
		}
		if gone[i], err = t.SetMessageState(ctx, w.MessageID, []night.MessageState{night.Due}, w.To, w.Why, now); err != nil {
			return nil, err
		}
		if !gone[i] {
			continue
		}
		if _, err := t.stand(ctx, w.MessageID, w.To); err != nil {
			return nil, err
		}
	}
	return gone, nil
}

// Answered tells whether an address was sent an answer on a night, or is about
// to be.
func (t *Tx) Answered(ctx context.Context, nightID int64, address string) (bool, error) {
	var found []int64
	err := t.list(ctx, &found, "messages",
		`SELECT id FROM messages WHERE kitchen_id = ? AND night_id = ? AND kind = ? AND address = ? LIMIT 1`, t.kitchen, nightID, night.Reply, address)
	return len(found) > 0, err
}

// SendAgain makes a message that failed, was missed or is in doubt due again at
// once, by a person's word. It tells whether it was in one of these states.
func (t *Tx) SendAgain(ctx context.Context, id int64, expires time.Time) (bool, error) {
	n, err := t.change(ctx, "message", `
		UPDATE messages SET state = ?, reason = '', expires_at = ?, settled_at = 0 WHERE kitchen_id = ? AND id = ? AND state IN (?)`,
		night.Due, ms(expires), t.kitchen, id, []night.MessageState{night.Failed, night.Missed, night.InDoubt})
	if err != nil || n == 0 {
		return false, err
	}
	return true, t.queueAtOnce(ctx, id)
}

// SetMessageState settles by a person's word a message that is in one of the
// states from, and not Due afterwards. It tells whether it was. One that was never
// tried takes a turn, as what it says is what was true then.
func (t *Tx) SetMessageState(ctx context.Context, id int64, from []night.MessageState, to night.MessageState, why string, now time.Time) (bool, error) {
	n, err := t.change(ctx, "message", `
		UPDATE messages SET state = ?, reason = ?, settled_at = ?,
			turn = CASE WHEN turn > 0 THEN turn ELSE (SELECT k.turn + 1 FROM kitchens k WHERE k.id = messages.kitchen_id) END
		WHERE kitchen_id = ? AND id = ? AND state IN (?) AND `+idle,
		to, why, ms(now), t.kitchen, id, from)
	if err != nil || n == 0 {
		return false, err
	}
	if _, err := t.change(ctx, "kitchen", `UPDATE kitchens SET turn = turn + 1 WHERE id = ?`, t.kitchen); err != nil {
		return false, err
	}
	return true, t.unqueue(ctx, id)
}
