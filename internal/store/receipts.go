package store

import (
	"context"
	"time"

	"passbell/adapters"
	"passbell/internal/night"
)

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
