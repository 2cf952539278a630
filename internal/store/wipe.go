package store

import (
	"context"
	"strings"
	"time"

	"passbell/internal/night"
)

// anonymous are the parts that act without being anybody.
var anonymous = []string{"", "cook", "customer", "clock"}

// numeric are the kinds of event whose words are figures and dates: the only
// words that outlive a wipe.
var numeric = []night.What{night.NightAdded, night.BookLoaded, night.OrdersClosed, night.TextCame, night.NightWiped}

// personal says where somebody's data stand that are to be wiped. A wiped row is
// left with its number, reference, state and times, so that what is counted of
// it stays.
var personal = []struct {
	count func(*night.Personal) *int
	from  string // table and rows: of a kitchen, a night, before a moment
	wipe  string // the columns as they then are
}{
	{
		func(p *night.Personal) *int { return &p.Orders },
		`orders WHERE kitchen_id = ? AND night_id = ? AND
			(booked <> '{}' OR items <> '[]' OR vehicle <> '{}' OR name || phone || phone_typed || email || collector || note || allergy || spot <> '')`,
		`name = '', phone = '', phone_typed = '', email = '', collector = '', note = '', allergy = '', spot = '', items = '[]', vehicle = '{}', booked = '{}', revision = revision + 1`,
	},
	{ // what is being sent is settled first
		func(p *night.Personal) *int { return &p.Messages },
		`messages WHERE kitchen_id = ? AND night_id = ? AND due_at < ? AND (state = 'due' OR address || text || reason <> '') AND ` + idle,
		`address = '', text = '', reason = '', state = CASE WHEN state = 'due' THEN 'missed' ELSE state END`,
	},
	{ // what is not read yet is read first
		func(p *night.Personal) *int { return &p.Texts },
		`inbounds WHERE kitchen_id = ? AND night_id = ? AND at < ? AND state <> 'fresh' AND
			(state = 'open' OR reading <> '{}' OR sender || recipient || text || corrected || why <> '')`,
		`sender = '', recipient = '', text = '', reading = '{}', corrected = '', why = '', state = 'settled'`,
	},
	{
		func(p *night.Personal) *int { return &p.Events },
		`events WHERE kitchen_id = ? AND night_id = ? AND at < ? AND (who NOT IN (?) OR why <> '' AND what NOT IN (?))`,
		`who = CASE WHEN who IN (?) THEN who ELSE '' END, why = CASE WHEN what IN (?) THEN why ELSE '' END`,
	},
}

// Personal counts what of a night names anybody: all orders, and the texts and
// events from before the moment. Texts from customers that came near no night
// are those of night 0.
func (t *Tx) Personal(ctx context.Context, nightID int64, before time.Time) (night.Personal, error) {
	var out night.Personal
	if err := t.write(ctx); err != nil {
		return out, err
	}
	for _, p := range personal {
		if err := t.get(ctx, p.count(&out), "what is kept", `SELECT count(*) FROM `+p.from, t.personalArgs(p.from, nightID, before)...); err != nil {
			return out, err
		}
	}
	err := t.get(ctx, &out.Helpers, "what is kept", `SELECT count(*) FROM helpers WHERE kitchen_id = ? AND night_id = ?`, t.kitchen, nightID)
	return out, err
}

// Wipe empties what Personal counts and gives the numbers. Numbers that asked for
// no more texts stay: the law wants that to outlive the night. Wiping twice
// changes nothing.
func (t *Tx) Wipe(ctx context.Context, nightID int64, before time.Time) (night.Personal, error) {
	var out night.Personal
	if err := t.write(ctx); err != nil {
		return out, err
	}
	t.ordersChange()
	for _, p := range personal {
		table, rows, _ := strings.Cut(p.from, " ")
		args := t.personalArgs(p.from, nightID, before)
		if strings.Contains(p.wipe, "?") {
			args = append([]any{anonymous, numeric}, args...)
		}
		n, err := t.change(ctx, "what is kept", `UPDATE `+table+` SET `+p.wipe+` `+rows, args...)
		if err != nil {
			return out, err
		}
		*p.count(&out) = int(n)
	}
	for _, q := range []string{
		`DELETE FROM outbox WHERE kitchen_id = ? AND message_id IN (SELECT id FROM messages WHERE kitchen_id = ? AND night_id = ? AND state <> 'due')`,
		`DELETE FROM attempts WHERE kitchen_id = ? AND message_id IN (SELECT id FROM messages WHERE kitchen_id = ? AND night_id = ? AND address = '')`,
		`DELETE FROM parts WHERE kitchen_id = ? AND message_id IN (SELECT id FROM messages WHERE kitchen_id = ? AND night_id = ? AND address = '')`,
	} {
		if _, err := t.change(ctx, "what is kept", q, t.kitchen, t.kitchen, nightID); err != nil {
			return out, err
		}
	}
	if _, err := t.change(ctx, "what is kept", `DELETE FROM seen_problems WHERE kitchen_id = ? AND night_id = ?`, t.kitchen, nightID); err != nil {
		return out, err
	}
	n, err := t.change(ctx, "what is kept", `DELETE FROM helpers WHERE kitchen_id = ? AND night_id = ?`, t.kitchen, nightID)
	out.Helpers = int(n)
	return out, err
}

// personalArgs gives what the places in a row of personal stand for.
func (t *Tx) personalArgs(from string, nightID int64, before time.Time) []any {
	all := []any{t.kitchen, nightID, ms(before), anonymous, numeric}
	return all[:strings.Count(from, "?")]
}

const (
	// endedFor is for how long a link that ended is still shown as such.
	endedFor = 24 * time.Hour
	// receiptFor is how long a receipt may be there before the record of what
	// it reports on: networks give a text up after some days (common practice,
	// no source: a week is ample).
	receiptFor = 7 * 24 * time.Hour
)

// CleanUp forgets sign-ins and helpers' links that ended and receipts that
// reported on nothing, and has the embedded database's file keep nothing of what
// was deleted. A server does that in its own time.
func (k *Kitchen) CleanUp(ctx context.Context, now time.Time) error {
	err := k.Write(ctx, func(t *Tx) error {
		for _, c := range []struct {
			query string
			args  []any
		}{
			{`DELETE FROM sessions WHERE kitchen_id = ? AND expires <= ?`, []any{t.kitchen, ms(now)}},
			{`DELETE FROM helpers WHERE kitchen_id = ? AND (expires_at <= ? OR ended_at > 0 AND ended_at <= ?)`, []any{t.kitchen, ms(now.Add(-endedFor)), ms(now.Add(-endedFor))}},
			// One without a time of its own counts from the first look on.
			{`UPDATE early_receipts SET at = ? WHERE kitchen_id = ? AND at <= 0`, []any{ms(now), t.kitchen}},
			{`DELETE FROM early_receipts WHERE kitchen_id = ? AND at <= ?`, []any{t.kitchen, ms(now.Add(-receiptFor))}},
		} {
			if _, err := t.change(ctx, "what ended", c.query, c.args...); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil || k.store.dsn != "" {
		return err
	}
	if _, err := k.store.writer.ExecContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		return &night.StoreError{Doing: "tidy the database", Err: err}
	}
	return nil
}
