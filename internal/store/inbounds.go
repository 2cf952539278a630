package store

import (
	"cmp"
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

// AddInbound is AddInbounds for one.
func (t *Tx) AddInbound(ctx context.Context, in night.Inbound) (id int64, added bool, err error) {
	ids, err := t.AddInbounds(ctx, []night.Inbound{in})
	if err != nil {
		return 0, false, err
	}
	return ids[0], ids[0] != 0, nil
}

// AddInbounds stores texts from outside and gives their ids. The same provider id
// twice is one inbound: the id is 0 the second time, in the list too.
func (t *Tx) AddInbounds(ctx context.Context, all []night.Inbound) ([]int64, error) {
	type named struct {
		Adapter    string `db:"adapter"`
		ProviderID string `db:"provider_id"`
	}
	g := given{columns: []string{"line", "name", "came_from", "went_to", "words", "moment", "others", "quiet"}}
	for _, in := range all {
		g.rows = append(g.rows, []any{
			in.Adapter, indexable(in.ProviderID), in.From, in.To, in.Text, ms(in.At), in.Shared, bit(in.Silent),
		})
	}
	type row struct {
		ID int64 `db:"id"`
		named
	}
	found, err := listGiven[row](ctx, t, "inbound", `
		INSERT INTO inbounds (kitchen_id, night_id, adapter, provider_id, sender, recipient, text, at, state, reading, corrected, why, shared, silent)
		SELECT CAST(? AS BIGINT), 0, line, name, came_from, went_to, words, moment, CAST(? AS TEXT), '{}', '', '', others, quiet FROM %s WHERE true
		ON CONFLICT DO NOTHING RETURNING id, adapter, provider_id`, g, []any{t.kitchen, night.Fresh}, nil)
	if err != nil {
		return nil, err
	}
	fresh := make(map[named]int64, len(found))
	for _, r := range found {
		fresh[r.named] = r.ID
	}
	ids := make([]int64, len(all))
	for i, in := range all {
		name := named{keepable(in.Adapter), keepable(indexable(in.ProviderID))}
		ids[i] = fresh[name]
		delete(fresh, name)
	}
	return ids, nil
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

// SaveInbound is SaveInbounds for one.
func (t *Tx) SaveInbound(ctx context.Context, in night.Inbound, from ...night.InboundState) (bool, error) {
	n, err := t.SaveInbounds(ctx, []night.Inbound{in}, from...)
	return n > 0, err
}

// SaveInbounds stores what was understood of inbounds and how far they have come,
// of each that is still in one of the states from. It tells how many were.
func (t *Tx) SaveInbounds(ctx context.Context, all []night.Inbound, from ...night.InboundState) (int, error) {
	g := given{columns: []string{"saved", "night", "next", "read", "put_right", "because"}}
	for _, in := range all {
		g.rows = append(g.rows, []any{in.ID, in.NightID, string(in.State), cmp.Or(string(in.Reading), "{}"), string(in.Corrected), in.Why})
	}
	saved, err := listGiven[int64](ctx, t, "inbound", `
		UPDATE inbounds AS i SET night_id = given.night, state = given.next, reading = given.read, corrected = given.put_right, why = given.because
		FROM %s WHERE +i.kitchen_id = ? AND i.id = given.saved AND i.state IN (?) RETURNING id`, g, nil, []any{t.kitchen, from})
	if err != nil {
		return 0, err
	}
	if slices.ContainsFunc(from, func(s night.InboundState) bool { return s != night.Fresh }) { // a fresh one is about no order yet
		_, err := t.changeGiven(ctx, "inbound",
			`DELETE FROM inbound_orders WHERE inbound_id %s AND +kitchen_id = ?`, these(saved), nil, []any{t.kitchen})
		if err != nil {
			return 0, err
		}
	}
	links := given{columns: []string{"inbound", "about", "place"}}
	for _, in := range all {
		if !slices.Contains(saved, in.ID) {
			continue
		}
		for place, order := range in.Orders {
			links.rows = append(links.rows, []any{in.ID, order, place})
		}
	}
	_, err = t.changeGiven(ctx, "inbound", `
		INSERT INTO inbound_orders (kitchen_id, inbound_id, order_id, place)
		SELECT CAST(? AS BIGINT), inbound, about, place FROM %s`, links, []any{t.kitchen}, nil)
	return len(saved), err
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
	var ids []int64
	for i, r := range rows {
		out[i], where[r.ID] = r.inbound(), i
		if out[i].State != night.Fresh { // a fresh one is about no order yet
			ids = append(ids, r.ID)
		}
	}
	type link struct {
		InboundID int64 `db:"inbound_id"`
		OrderID   int64 `db:"order_id"`
	}
	links, err := listGiven[link](ctx, t, "texts", `
		SELECT inbound_id, order_id FROM inbound_orders WHERE inbound_id %s AND +kitchen_id = ?
		ORDER BY inbound_id, place`, these(ids), nil, []any{t.kitchen})
	if err != nil {
		return nil, err
	}
	for _, l := range links {
		in := &out[where[l.InboundID]]
		in.Orders = append(in.Orders, l.OrderID)
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
