package store

import (
	"context"
	"crypto/sha256"
	"fmt"
	"slices"
	"time"

	"passbell/internal/night"
)

type inboundRow struct {
	ID         int64  `db:"id"`
	KitchenID  int64  `db:"kitchen_id"`
	NightID    int64  `db:"night_id"`
	Adapter    string `db:"adapter"`
	ProviderID string `db:"provider_id"`
	Sender     string `db:"sender"`
	Recipient  string `db:"recipient"`
	Text       string `db:"text"`
	At         int64  `db:"at"`
	State      string `db:"state"`
	Reading    string `db:"reading"`
	Corrected  string `db:"corrected"`
	Why        string `db:"why"`
	Shared     int    `db:"shared"`
	Silent     int    `db:"silent"`
}

func (r inboundRow) inbound() night.Inbound {
	return night.Inbound{
		ID: r.ID, KitchenID: r.KitchenID, NightID: r.NightID, Adapter: r.Adapter, ProviderID: r.ProviderID,
		From: r.Sender, To: r.Recipient, Text: r.Text, At: at(r.At),
		State: night.InboundState(r.State), Reading: []byte(r.Reading), Corrected: []byte(r.Corrected), Why: r.Why,
		Shared: r.Shared, Silent: r.Silent != 0,
	}
}

// AddInbound stores a text from outside. The same provider id twice is one
// inbound: added is false the second time.
func (t *Tx) AddInbound(ctx context.Context, in night.Inbound) (id int64, added bool, err error) {
	return t.add(ctx, "inbound", `
		INSERT INTO inbounds (kitchen_id, night_id, adapter, provider_id, sender, recipient, text, at, state, reading, corrected, why, shared, silent)
		VALUES (?, 0, ?, ?, ?, ?, ?, ?, ?, '{}', '', '', ?, ?) ON CONFLICT DO NOTHING RETURNING id`,
		t.kitchen, in.Adapter, indexable(in.ProviderID), in.From, in.To, in.Text, ms(in.At), night.Fresh, in.Shared, bit(in.Silent))
}

// bit is a yes or no as the database keeps it.
func bit(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// indexable shortens a provider's name for a text that is too long for an index
// to its hash, which is as good to tell one from another.
func indexable(id string) string {
	if len(id) <= 512 {
		return id
	}
	return fmt.Sprintf("sha256:%x", sha256.Sum256([]byte(id)))
}

// SaveInbound stores what was understood of an inbound and how far it has come,
// if it is still in the state from. It tells whether it was.
func (t *Tx) SaveInbound(ctx context.Context, in night.Inbound, from ...night.InboundState) (bool, error) {
	reading := string(in.Reading)
	if reading == "" {
		reading = "{}"
	}
	n, err := t.change(ctx, "inbound", `
		UPDATE inbounds SET night_id = ?, state = ?, reading = ?, corrected = ?, why = ? WHERE kitchen_id = ? AND id = ? AND state IN (?)`,
		in.NightID, in.State, reading, string(in.Corrected), in.Why, t.kitchen, in.ID, from)
	if err != nil || n == 0 {
		return false, err
	}
	if _, err := t.change(ctx, "inbound", `DELETE FROM inbound_orders WHERE kitchen_id = ? AND inbound_id = ?`, t.kitchen, in.ID); err != nil {
		return false, err
	}
	g := given{columns: []string{"about", "place"}}
	for place, order := range in.Orders {
		g.rows = append(g.rows, []any{order, place})
	}
	_, err = t.changeGiven(ctx, "inbound", `
		INSERT INTO inbound_orders (kitchen_id, inbound_id, order_id, place)
		SELECT CAST(? AS BIGINT), CAST(? AS BIGINT), about, place FROM %s`, g, []any{t.kitchen, in.ID}, nil)
	return err == nil, err
}

// Inbound gives one text from outside.
func (t *Tx) Inbound(ctx context.Context, id int64) (night.Inbound, error) {
	var r inboundRow
	if err := t.get(ctx, &r, "text", `SELECT * FROM inbounds WHERE kitchen_id = ? AND id = ?`, t.kitchen, id); err != nil {
		return night.Inbound{}, err
	}
	out, err := t.withOrders(ctx, []inboundRow{r})
	if err != nil {
		return night.Inbound{}, err
	}
	return out[0], nil
}

// InboundOf gives the text that a provider calls by an id.
func (t *Tx) InboundOf(ctx context.Context, adapter, providerID string) (night.Inbound, error) {
	var id int64
	err := t.get(ctx, &id, "text", `SELECT id FROM inbounds WHERE kitchen_id = ? AND adapter = ? AND provider_id = ?`,
		t.kitchen, adapter, indexable(providerID))
	if err != nil {
		return night.Inbound{}, err
	}
	return t.Inbound(ctx, id)
}

// InboundsIn gives the texts that are in a state, the oldest first.
func (t *Tx) InboundsIn(ctx context.Context, state night.InboundState) ([]night.Inbound, error) {
	var rows []inboundRow
	err := t.list(ctx, &rows, "texts", `SELECT * FROM inbounds WHERE kitchen_id = ? AND state = ? ORDER BY at, id`, t.kitchen, state)
	if err != nil {
		return nil, err
	}
	return t.withOrders(ctx, rows)
}

// Inbounds gives the texts of a night, the oldest first.
func (t *Tx) Inbounds(ctx context.Context, nightID int64) ([]night.Inbound, error) {
	var rows []inboundRow
	err := t.list(ctx, &rows, "texts", `SELECT * FROM inbounds WHERE kitchen_id = ? AND night_id = ? ORDER BY at, id`, t.kitchen, nightID)
	if err != nil {
		return nil, err
	}
	return t.withOrders(ctx, rows)
}

func (t *Tx) withOrders(ctx context.Context, rows []inboundRow) ([]night.Inbound, error) {
	if len(rows) == 0 {
		return nil, nil
	}
	out := make([]night.Inbound, len(rows))
	where := make(map[int64]int, len(rows))
	ids := make([]int64, len(rows))
	for i, r := range rows {
		out[i], ids[i], where[r.ID] = r.inbound(), r.ID, i
	}
	for some := range slices.Chunk(ids, batch) {
		var links []struct {
			InboundID int64 `db:"inbound_id"`
			OrderID   int64 `db:"order_id"`
		}
		err := t.list(ctx, &links, "texts",
			`SELECT inbound_id, order_id FROM inbound_orders WHERE kitchen_id = ? AND inbound_id IN (?) ORDER BY inbound_id, place`, t.kitchen, some)
		if err != nil {
			return nil, err
		}
		for _, l := range links {
			in := &out[where[l.InboundID]]
			in.Orders = append(in.Orders, l.OrderID)
		}
	}
	return out, nil
}

// OptOut records that an address wants no more texts. It tells whether that was
// new.
func (t *Tx) OptOut(ctx context.Context, address string, when time.Time) (bool, error) {
	t.opted = nil
	n, err := t.change(ctx, "opt-out",
		`INSERT INTO optouts (kitchen_id, address, at) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, t.kitchen, address, ms(when))
	return n > 0, err
}

// OptIn forgets an opt-out. It tells whether there was one.
func (t *Tx) OptIn(ctx context.Context, address string) (bool, error) {
	t.opted = nil
	n, err := t.change(ctx, "opt-out", `DELETE FROM optouts WHERE kitchen_id = ? AND address = ?`, t.kitchen, address)
	return n > 0, err
}

// OptedOut gives the addresses that want no texts.
func (t *Tx) OptedOut(ctx context.Context) (map[string]bool, error) {
	if t.opted != nil {
		return t.opted, nil
	}
	var rows []string
	if err := t.list(ctx, &rows, "opt-outs", `SELECT address FROM optouts WHERE kitchen_id = ?`, t.kitchen); err != nil {
		return nil, err
	}
	out := make(map[string]bool, len(rows))
	for _, a := range rows {
		out[a] = true
	}
	t.opted = out
	return out, nil
}
