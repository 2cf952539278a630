package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"passbell/internal/night"
)

type nightRow struct {
	ID           int64  `db:"id"`
	KitchenID    int64  `db:"kitchen_id"`
	Date         string `db:"date"`
	First        int    `db:"first_slot"`
	Last         int    `db:"last_slot"`
	Every        int    `db:"every"`
	Capacity     int    `db:"capacity"`
	Place        string `db:"place"`
	Parking      string `db:"parking"`
	ClosesAt     int64  `db:"closes_at"`
	InstructAt   int64  `db:"instruct_at"`
	RemindBefore int64  `db:"remind_before"`
	RemindFrom   int    `db:"remind_from"`
	ClosedAt     int64  `db:"closed_at"`
	CalledOffAt  int64  `db:"called_off_at"`
}

func (r nightRow) night() (night.Night, error) {
	date, err := night.ParseDate(r.Date)
	if err != nil {
		return night.Night{}, fmt.Errorf("night %d: %w", r.ID, err)
	}
	return night.Night{
		ID: r.ID, KitchenID: r.KitchenID, Date: date,
		First: night.Clock(r.First), Last: night.Clock(r.Last), Every: r.Every, Capacity: r.Capacity,
		Place: r.Place, Parking: r.Parking,
		ClosesAt: at(r.ClosesAt), InstructAt: at(r.InstructAt),
		RemindBefore: time.Duration(r.RemindBefore) * time.Millisecond, RemindFrom: night.Clock(r.RemindFrom),
		ClosedAt: at(r.ClosedAt), CalledOff: at(r.CalledOffAt),
	}, nil
}

// AddNight stores a new night and gives its id. A second night on the same date
// is refused with a *night.TakenError.
func (t *Tx) AddNight(ctx context.Context, n night.Night) (int64, error) {
	t.termsChange()
	id, added, err := t.add(ctx, "night", `
		INSERT INTO nights (kitchen_id, date, first_slot, last_slot, every, capacity, place, parking,
			closes_at, instruct_at, remind_before, remind_from)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING RETURNING id`,
		t.kitchen, n.Date.String(), n.First, n.Last, n.Every, n.Capacity, n.Place, n.Parking,
		ms(n.ClosesAt), ms(n.InstructAt), n.RemindBefore.Milliseconds(), n.RemindFrom)
	if err == nil && !added {
		err = &night.TakenError{What: "a night on " + n.Date.String()}
	}
	return id, err
}

// SaveNight stores every field of a night that exists.
func (t *Tx) SaveNight(ctx context.Context, n night.Night) error {
	t.termsChange()
	_, err := t.change(ctx, "night", `
		UPDATE nights SET first_slot = ?, last_slot = ?, every = ?, capacity = ?, place = ?, parking = ?,
			closes_at = ?, instruct_at = ?, remind_before = ?, remind_from = ?, closed_at = ?, called_off_at = ?
		WHERE kitchen_id = ? AND id = ?`,
		n.First, n.Last, n.Every, n.Capacity, n.Place, n.Parking,
		ms(n.ClosesAt), ms(n.InstructAt), n.RemindBefore.Milliseconds(), n.RemindFrom, ms(n.ClosedAt), ms(n.CalledOff),
		t.kitchen, n.ID)
	return err
}

// Night gives the night with the given id.
func (t *Tx) Night(ctx context.Context, id int64) (night.Night, error) {
	all, err := t.Nights(ctx)
	if err != nil {
		return night.Night{}, err
	}
	for _, n := range all {
		if n.ID == id {
			return n, nil
		}
	}
	return night.Night{}, fmt.Errorf("night: %w", night.ErrNotFound)
}

type orderRow struct {
	ID         int64  `db:"id"`
	KitchenID  int64  `db:"kitchen_id"`
	NightID    int64  `db:"night_id"`
	Ref        string `db:"ref"`
	Bag        int    `db:"bag"`
	Name       string `db:"name"`
	Phone      string `db:"phone"`
	PhoneTyped string `db:"phone_typed"`
	Email      string `db:"email"`
	Collector  string `db:"collector"`
	Slot       int    `db:"slot"`
	Items      string `db:"items"`
	Note       string `db:"note"`
	Allergy    string `db:"allergy"`
	State      string `db:"state"`
	PackedAt   int64  `db:"packed_at"`
	ExpectedAt int64  `db:"expected_at"`
	Behind     int    `db:"behind"`
	Vehicle    string `db:"vehicle"`
	ArrivedAt  int64  `db:"arrived_at"`
	Spot       string `db:"spot"`
	Revision   int    `db:"revision"`
	Booked     string `db:"booked"`
}

func (r orderRow) order() (night.Order, error) {
	o := night.Order{
		ID: r.ID, KitchenID: r.KitchenID, NightID: r.NightID, Ref: r.Ref, Bag: r.Bag,
		Name: r.Name, Phone: r.Phone, PhoneTyped: r.PhoneTyped, Email: r.Email, Collector: r.Collector, Slot: night.Clock(r.Slot),
		Note: r.Note, Allergy: r.Allergy, State: night.State(r.State),
		PackedAt: at(r.PackedAt), ExpectedAt: at(r.ExpectedAt), Behind: r.Behind,
		Arrival: night.Arrival{At: at(r.ArrivedAt), Spot: r.Spot}, Revision: r.Revision,
	}
	if err := json.Unmarshal([]byte(r.Items), &o.Items); err != nil {
		return o, fmt.Errorf("items of order %d: %w", r.ID, err)
	}
	if err := json.Unmarshal([]byte(r.Vehicle), &o.Vehicle); err != nil {
		return o, fmt.Errorf("vehicle of order %d: %w", r.ID, err)
	}
	return o, nil
}

// Orders gives a night's orders by slot, then reference.
func (t *Tx) Orders(ctx context.Context, nightID int64) ([]night.Order, error) {
	var rows []orderRow
	err := t.list(ctx, &rows, "orders",
		`SELECT * FROM orders WHERE kitchen_id = ? AND night_id = ? ORDER BY slot, ref`, t.kitchen, nightID)
	if err != nil {
		return nil, err
	}
	return each(rows, orderRow.order)
}

// Order gives the order with the given id.
func (t *Tx) Order(ctx context.Context, id int64) (night.Order, error) {
	all, err := t.OrdersByID(ctx, []int64{id})
	if err == nil && len(all) == 0 {
		err = fmt.Errorf("order: %w", night.ErrNotFound)
	}
	if err != nil {
		return night.Order{}, err
	}
	return all[0], nil
}

// OrdersByID gives those of the orders that exist, in no particular order.
func (t *Tx) OrdersByID(ctx context.Context, ids []int64) ([]night.Order, error) {
	rows, err := listGiven[orderRow](ctx, t, "order",
		`SELECT * FROM orders WHERE id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	if err != nil {
		return nil, err
	}
	return each(rows, orderRow.order)
}

// Stages gives how far those of the orders are that exist, in no particular
// order.
func (t *Tx) Stages(ctx context.Context, ids []int64) ([]night.Stage, error) {
	type row struct {
		ID       int64  `db:"id"`
		NightID  int64  `db:"night_id"`
		Ref      string `db:"ref"`
		Slot     int64  `db:"slot"`
		State    string `db:"state"`
		Revision int64  `db:"revision"`
	}
	rows, err := listGiven[row](ctx, t, "order",
		`SELECT id, night_id, ref, slot, state, revision FROM orders WHERE id %s AND +kitchen_id = ?`, these(ids), nil, []any{t.kitchen})
	if err != nil {
		return nil, err
	}
	return each(rows, func(r row) (night.Stage, error) {
		return night.Stage{OrderID: r.ID, NightID: r.NightID, Ref: r.Ref, Slot: night.Clock(r.Slot), State: night.State(r.State), Revision: int(r.Revision)}, nil
	})
}

// MoveOrders stores how far orders now are, each as SaveOrders stores an order.
func (t *Tx) MoveOrders(ctx context.Context, to []night.Stage) error {
	g := given{columns: []string{"moved", "next", "was"}}
	for _, s := range to {
		g.rows = append(g.rows, []any{s.OrderID, string(s.State), s.Revision})
	}
	t.ordersChange()
	return t.putOff(ctx, later{table: "orders", rows: g, after: []any{t.kitchen}, all: true, query: `
		UPDATE orders SET state = given.next, revision = revision + 1 FROM %s
		WHERE id = given.moved AND +kitchen_id = ? AND revision = given.was`})
}

// SetBags stores the numbers of the orders' bags, each as SaveOrders stores an
// order.
func (t *Tx) SetBags(ctx context.Context, orders []night.Order) error {
	g := given{columns: []string{"numbered", "number", "was"}}
	for _, o := range orders {
		g.rows = append(g.rows, []any{o.ID, o.Bag, o.Revision})
	}
	t.ordersChange()
	return t.putOff(ctx, later{table: "orders", rows: g, after: []any{t.kitchen}, all: true, query: `
		UPDATE orders SET bag = given.number, revision = revision + 1 FROM %s
		WHERE id = given.numbered AND +kitchen_id = ? AND revision = given.was`})
}

// OrderByRef gives a night's order by its reference, in any case.
func (t *Tx) OrderByRef(ctx context.Context, nightID int64, ref string) (night.Order, error) {
	var r orderRow
	err := t.get(ctx, &r, "order "+ref,
		`SELECT * FROM orders WHERE kitchen_id = ? AND night_id = ? AND lower(ref) = lower(?)`, t.kitchen, nightID, ref)
	if err != nil {
		return night.Order{}, err
	}
	return r.order()
}

// Household gives the open and closed orders of the night that share a number
// with any of the orders ids, those included: what one of them changes may
// change the texts of the others.
func (t *Tx) Household(ctx context.Context, nightID int64, ids []int64) ([]night.Order, error) {
	var rows []orderRow
	err := t.list(ctx, &rows, "orders", `
		SELECT * FROM orders WHERE kitchen_id = ? AND night_id = ? AND (id IN (?) OR phone <> '' AND phone IN (
			SELECT phone FROM orders WHERE kitchen_id = ? AND id IN (?)))
		ORDER BY slot, ref`, t.kitchen, nightID, ids, t.kitchen, ids)
	if err != nil {
		return nil, err
	}
	return each(rows, orderRow.order)
}

// Booked gives the orders of the night as the order book last gave them, by
// order id.
func (t *Tx) Booked(ctx context.Context, nightID int64) (map[int64]night.Order, error) {
	var rows []struct {
		ID     int64  `db:"id"`
		Booked string `db:"booked"`
	}
	err := t.list(ctx, &rows, "order book",
		`SELECT id, booked FROM orders WHERE kitchen_id = ? AND night_id = ?`, t.kitchen, nightID)
	if err != nil {
		return nil, err
	}
	out := make(map[int64]night.Order, len(rows))
	for _, r := range rows {
		var o night.Order
		if err := json.Unmarshal([]byte(r.Booked), &o); err != nil {
			return nil, fmt.Errorf("order book row of order %d: %w", r.ID, err)
		}
		out[r.ID] = o
	}
	return out, nil
}

// AddOrder stores a new order as the order book gives it and gives its id. A
// second order of the same reference is refused with a *night.TakenError.
func (t *Tx) AddOrder(ctx context.Context, o night.Order) (int64, error) {
	items, vehicle, err := columnsOf(o)
	if err != nil {
		return 0, err
	}
	booked, err := bookRow(o)
	if err != nil {
		return 0, err
	}
	t.ordersChange()
	id, added, err := t.add(ctx, "order", `
		INSERT INTO orders (kitchen_id, night_id, ref, bag, name, phone, phone_typed, email, collector, slot, items, note, allergy,
			state, packed_at, expected_at, behind, vehicle, arrived_at, spot, revision, booked)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING RETURNING id`,
		t.kitchen, o.NightID, o.Ref, o.Bag, o.Name, o.Phone, o.PhoneTyped, o.Email, o.Collector, o.Slot, items, o.Note, o.Allergy,
		o.State, ms(o.PackedAt), ms(o.ExpectedAt), o.Behind, vehicle, ms(o.Arrival.At), o.Arrival.Spot, o.Revision, booked)
	if err == nil && !added {
		err = &night.TakenError{What: "order " + o.Ref}
	}
	return id, err
}

// SaveOrder is SaveOrders for one.
func (t *Tx) SaveOrder(ctx context.Context, o night.Order) error {
	err := t.SaveOrders(ctx, []night.Order{o})
	if err == nil {
		err = t.catchUp(ctx)
	}
	if err != nil {
		return fmt.Errorf("order %s: %w", o.Ref, err)
	}
	return nil
}

// SaveOrders stores every field of orders that exist, if each still has the
// revision that it was read with, and counts the revisions up by one. Where
// somebody else changed one meanwhile night.ErrChanged comes from it, or from
// whatever the transaction does next, its end too.
func (t *Tx) SaveOrders(ctx context.Context, all []night.Order) error {
	if len(all) == 0 {
		return nil
	}
	g := given{columns: []string{
		"saved", "was", "n_bag", "n_name", "n_phone", "n_typed", "n_email", "n_collector", "n_slot", "n_items", "n_note", "n_allergy",
		"n_state", "n_packed", "n_expected", "n_behind", "n_vehicle", "n_arrived", "n_spot",
	}}
	for _, o := range all {
		items, vehicle, err := columnsOf(o)
		if err != nil {
			return err
		}
		g.rows = append(g.rows, []any{
			o.ID, o.Revision, o.Bag, o.Name, o.Phone, o.PhoneTyped, o.Email, o.Collector, int(o.Slot), items, o.Note, o.Allergy,
			string(o.State), ms(o.PackedAt), ms(o.ExpectedAt), o.Behind, vehicle, ms(o.Arrival.At), o.Arrival.Spot,
		})
	}
	t.ordersChange()
	return t.putOff(ctx, later{table: "orders", rows: g, after: []any{t.kitchen}, all: true, query: `
		UPDATE orders SET bag = n_bag, name = n_name, phone = n_phone, phone_typed = n_typed, email = n_email, collector = n_collector,
			slot = n_slot, items = n_items, note = n_note, allergy = n_allergy, state = n_state, packed_at = n_packed,
			expected_at = n_expected, behind = n_behind, vehicle = n_vehicle, arrived_at = n_arrived, spot = n_spot, revision = revision + 1
		FROM %s WHERE id = given.saved AND +kitchen_id = ? AND revision = given.was`})
}

// SetBooked records what the order book now gives for an order.
func (t *Tx) SetBooked(ctx context.Context, id int64, o night.Order) error {
	booked, err := bookRow(o)
	if err != nil {
		return err
	}
	t.ordersChange()
	_, err = t.change(ctx, "order book row",
		`UPDATE orders SET booked = ? WHERE kitchen_id = ? AND id = ?`, booked, t.kitchen, id)
	return err
}

// columnsOf gives the columns of an order that hold more than one value.
func columnsOf(o night.Order) (items, vehicle string, err error) {
	if o.Items == nil {
		o.Items = []night.Item{}
	}
	if items, err = asColumn(o, o.Items); err == nil {
		vehicle, err = asColumn(o, o.Vehicle)
	}
	return items, vehicle, err
}

// bookRow gives an order as the column that keeps what the order book said of it.
func bookRow(o night.Order) (string, error) {
	if o.Items == nil {
		o.Items = []night.Item{}
	}
	return asColumn(o, o)
}

// asColumn gives a part of an order as a column keeps it.
func asColumn(o night.Order, part any) (string, error) {
	b, err := json.Marshal(part)
	if err != nil {
		return "", fmt.Errorf("order %s: %w", o.Ref, err)
	}
	return string(b), nil
}

// each turns rows into values and stops at the first that can't be turned.
func each[R, V any](rows []R, turn func(R) (V, error)) ([]V, error) {
	out := make([]V, 0, len(rows))
	for _, r := range rows {
		v, err := turn(r)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}
