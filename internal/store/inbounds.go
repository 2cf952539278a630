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
// twice is one inbound: the id is 0 the second time, in the list too. Their rows are
// written once, with what was made of them in the same transaction.
func (t *Tx) AddInbounds(ctx context.Context, all []night.Inbound) ([]int64, error) {
	if len(all) == 0 {
		return nil, nil
	}
	if err := t.writeInbounds(ctx); err != nil {
		return nil, err
	}
	named := make([]inboundName, len(all))
	for i, in := range all {
		named[i] = nameOf(in)
	}
	known, err := t.known(ctx, named)
	if err != nil {
		return nil, err
	}
	ids := make([]int64, len(all))
	var fresh []int
	for i, name := range named {
		if !known[name] {
			known[name] = true
			fresh = append(fresh, i)
		}
	}
	if err := t.provide(ctx, len(fresh), "inbounds", "messages"); err != nil { // each may be answered
		return nil, err
	}
	reserved, err := t.reserve(ctx, "inbounds", len(fresh))
	if err != nil {
		return nil, err
	}
	t.fresh = append(t.fresh, reserved...)
	for k, i := range fresh {
		in := all[i]
		ids[i] = reserved[k]
		t.came = append(t.came, inboundRow{
			ID: ids[i], KitchenID: t.kitchen, Adapter: named[i].adapter, ProviderID: named[i].providerID, Sender: keepable(in.From),
			Recipient: keepable(in.To), Text: keepable(in.Text), At: ms(in.At), State: string(night.Fresh), Reading: "{}",
			Shared: in.Shared, Silent: bit(in.Silent),
		}.inbound())
	}
	return ids, nil
}

// inboundName is what a provider calls a text.
type inboundName struct{ adapter, providerID string }

func nameOf(in night.Inbound) inboundName {
	return inboundName{keepable(in.Adapter), keepable(indexable(in.ProviderID))}
}

// known gives names that texts of the kitchen have, all of the given ones that any
// has among them. It also reads which texts nobody has acted on: whoever stores texts
// asks for that next.
func (t *Tx) known(ctx context.Context, names []inboundName) (map[inboundName]bool, error) {
	var adapters, ids []string
	for _, n := range names {
		ids = append(ids, n.providerID)
		if !slices.Contains(adapters, n.adapter) {
			adapters = append(adapters, n.adapter)
		}
	}
	rows, err := listGiven[inboundRow](ctx, t, "texts", `
		SELECT * FROM inbounds WHERE kitchen_id = ? AND adapter IN (?) AND provider_id %s
		UNION `+allIn[night.Fresh], these(ids), []any{t.kitchen, adapters}, []any{t.kitchen})
	if err != nil {
		return nil, err
	}
	out := make(map[inboundName]bool, len(names))
	t.waiting = &[]night.Inbound{}
	for _, r := range rows {
		name := inboundName{r.Adapter, r.ProviderID}
		if r.State == string(night.Fresh) && !out[name] {
			*t.waiting = append(*t.waiting, r.inbound())
		}
		out[name] = true
	}
	return out, nil
}

// allIn asks for the texts of a kitchen that wait for something, in the words of their
// index.
var allIn = map[night.InboundState]string{
	night.Fresh: `SELECT * FROM inbounds WHERE kitchen_id = ? AND state = 'fresh'`,
	night.Open:  `SELECT * FROM inbounds WHERE kitchen_id = ? AND state = 'open'`,
}

// writeInbounds writes the texts that came in the transaction and of which nothing
// was made.
func (t *Tx) writeInbounds(ctx context.Context) error {
	all := t.came
	if len(all) == 0 {
		return nil
	}
	t.came, t.waiting = nil, nil
	return t.insertInbounds(ctx, all)
}

func (t *Tx) insertInbounds(ctx context.Context, all []night.Inbound) error {
	g := given{columns: []string{"new", "night", "line", "name", "came_from", "went_to", "words", "moment", "next", "read", "put_right", "because", "others", "quiet"}}
	for _, in := range all {
		g.rows = append(g.rows, []any{
			in.ID, in.NightID, in.Adapter, indexable(in.ProviderID), in.From, in.To, in.Text, ms(in.At),
			string(in.State), cmp.Or(string(in.Reading), "{}"), string(in.Corrected), in.Why, in.Shared, bit(in.Silent),
		})
	}
	return t.putOff(ctx, later{table: "inbounds", rows: g, args: []any{t.kitchen}, query: `
		INSERT INTO inbounds (id, kitchen_id, night_id, adapter, provider_id, sender, recipient, text, at, state, reading, corrected, why, shared, silent)
		SELECT new, CAST(? AS BIGINT), night, line, name, came_from, went_to, words, moment, next, read, put_right, because, others, quiet FROM %s`})
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
	var fresh, saved []night.Inbound
	g := given{columns: []string{"saved", "night", "next", "read", "put_right", "because"}}
	for _, in := range all {
		if i := slices.IndexFunc(t.came, func(c night.Inbound) bool { return c.ID == in.ID }); i >= 0 {
			if came := t.came[i]; slices.Contains(from, night.Fresh) {
				came.NightID, came.State, came.Reading, came.Corrected, came.Why, came.Orders = in.NightID, in.State, in.Reading, in.Corrected, in.Why, in.Orders
				fresh = append(fresh, came)
				t.came = slices.Delete(t.came, i, i+1)
			}
			continue
		}
		g.rows = append(g.rows, []any{in.ID, in.NightID, string(in.State), cmp.Or(string(in.Reading), "{}"), string(in.Corrected), in.Why})
	}
	if err := t.insertInbounds(ctx, fresh); err != nil {
		return 0, err
	}
	if len(g.rows) > 0 {
		t.waiting = nil
	}
	ids, err := listGiven[int64](ctx, t, "inbound", `
		UPDATE inbounds AS i SET night_id = given.night, state = given.next, reading = given.read, corrected = given.put_right, why = given.because
		FROM %s WHERE +i.kitchen_id = ? AND i.id = given.saved AND i.state IN (?) RETURNING id`, g, nil, []any{t.kitchen, from})
	if err != nil {
		return 0, err
	}
	if slices.ContainsFunc(from, func(s night.InboundState) bool { return s != night.Fresh }) { // a fresh one is about no order yet
		_, err := t.changeGiven(ctx, "inbound",
			`DELETE FROM inbound_orders WHERE inbound_id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
		if err != nil {
			return 0, err
		}
	}
	for _, in := range all {
		if slices.Contains(ids, in.ID) {
			saved = append(saved, in)
		}
	}
	saved = append(saved, fresh...)
	links := given{columns: []string{"inbound", "about", "place"}}
	for _, in := range saved {
		for place, order := range in.Orders {
			links.rows = append(links.rows, []any{in.ID, order, place})
		}
	}
	return len(saved), t.putOff(ctx, later{table: "inbound_orders", rows: links, args: []any{t.kitchen}, query: `
		INSERT INTO inbound_orders (kitchen_id, inbound_id, order_id, place)
		SELECT CAST(? AS BIGINT), inbound, about, place FROM %s`})
}

// Inbound gives one text from outside.
func (t *Tx) Inbound(ctx context.Context, id int64) (night.Inbound, error) {
	if err := t.writeInbounds(ctx); err != nil {
		return night.Inbound{}, err
	}
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
	if err := t.writeInbounds(ctx); err != nil {
		return night.Inbound{}, err
	}
	var id int64
	err := t.get(ctx, &id, "text", `SELECT id FROM inbounds WHERE kitchen_id = ? AND adapter = ? AND provider_id = ?`,
		t.kitchen, adapter, indexable(providerID))
	if err != nil {
		return night.Inbound{}, err
	}
	return t.Inbound(ctx, id)
}

// InboundsIn gives the texts that nobody has acted on, night.Fresh, or that a person
// has to look at, night.Open, the oldest first.
func (t *Tx) InboundsIn(ctx context.Context, state night.InboundState) ([]night.Inbound, error) {
	if state == night.Fresh && t.waiting != nil {
		return oldestFirst(slices.Concat(*t.waiting, t.came)), nil
	}
	if err := t.writeInbounds(ctx); err != nil {
		return nil, err
	}
	var rows []inboundRow
	if err := t.list(ctx, &rows, "texts", allIn[state], t.kitchen); err != nil {
		return nil, err
	}
	out, err := t.withOrders(ctx, rows)
	return oldestFirst(out), err
}

func oldestFirst(texts []night.Inbound) []night.Inbound {
	slices.SortFunc(texts, func(a, b night.Inbound) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.ID, b.ID)) })
	return texts
}

// Inbounds gives the texts of a night, the oldest first.
func (t *Tx) Inbounds(ctx context.Context, nightID int64) ([]night.Inbound, error) {
	if err := t.writeInbounds(ctx); err != nil {
		return nil, err
	}
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
	t.termsChange()
	n, err := t.change(ctx, "opt-out",
		`INSERT INTO optouts (kitchen_id, address, at) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, t.kitchen, address, ms(when))
	return n > 0, err
}

// OptIn forgets an opt-out. It tells whether there was one.
func (t *Tx) OptIn(ctx context.Context, address string) (bool, error) {
	t.termsChange()
	n, err := t.change(ctx, "opt-out", `DELETE FROM optouts WHERE kitchen_id = ? AND address = ?`, t.kitchen, address)
	return n > 0, err
}
