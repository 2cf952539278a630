package store

import (
	"cmp"
	"context"
	"slices"

	"passbell/adapters"
	"passbell/internal/night"
)

// try is one attempt that was settled and what is known of it.
type try struct {
	MessageID int64  `db:"message_id"`
	Attempt   int    `db:"attempt"`
	Adapter   string `db:"adapter"`
	Address   string `db:"address"`
	Outcome   string `db:"outcome"`
	Reason    string `db:"reason"`
	SettledAt int64  `db:"settled_at"`
	Turn      int64  `db:"turn"`
	Parts     int    `db:"parts"`

	fates []night.Fate
	lost  string // why the network lost a part
}

// state gives what the try came to: Delivered, Sent, InDoubt, or Failed where
// the network lost it; "" where nothing left the house.
func (a try) state() night.MessageState {
	switch a.Outcome {
	case night.Accepted:
		if said, ok := night.PartsState(a.fates); ok {
			return said
		}
		return night.Sent
	case string(adapters.Unknown):
		said, ok := night.PartsState(a.fates)
		if ok && (said == night.Failed || len(a.fates) >= a.Parts) {
			return said
		}
		return night.InDoubt
	}
	return ""
}

// standing ranks what tries came to: the best that is known of any holds.
var standing = []night.MessageState{"", night.Failed, night.InDoubt, night.Sent, night.Delivered}

// best gives, for each message, the try by which it stands: of those that came
// to the best, the latest. Messages of which nothing left the house are left
// out, and the try under way is not on record yet.
func (t *Tx) best(ctx context.Context, messages []int64) (map[int64]try, error) {
	out := map[int64]try{}
	for some := range slices.Chunk(messages, batch) {
		var tries []try
		err := t.list(ctx, &tries, "attempts", `
			SELECT a.message_id, a.attempt, a.adapter, a.address, a.outcome, a.reason, a.settled_at, a.turn, m.parts
			FROM attempts a JOIN messages m ON m.kitchen_id = a.kitchen_id AND m.id = a.message_id
			WHERE +a.kitchen_id = ? AND a.message_id IN (?)
			ORDER BY a.message_id, a.attempt`, t.kitchen, some)
		if err != nil {
			return nil, err
		}
		if err := t.fates(ctx, some, tries); err != nil {
			return nil, err
		}
		for _, a := range tries {
			rank := slices.Index(standing, a.state())
			if before, ok := out[a.MessageID]; rank > 0 && (!ok || rank >= slices.Index(standing, before.state())) {
				out[a.MessageID] = a
			}
		}
	}
	return out, nil
}

// fates fills in what the network said of the parts of tries.
func (t *Tx) fates(ctx context.Context, messages []int64, tries []try) error {
	var parts []partRow
	err := t.list(ctx, &parts, "parts",
		`SELECT provider_id, message_id, attempt, status, reason FROM parts WHERE +kitchen_id = ? AND message_id IN (?)`, t.kitchen, messages)
	if err != nil {
		return err
	}
	for _, p := range parts {
		for i := range tries {
			if a := &tries[i]; a.MessageID == p.MessageID && a.Attempt == p.Attempt {
				a.fates = append(a.fates, night.Fate(p.Status))
				if night.Fate(p.Status) == night.PartFailed {
					a.lost = p.Reason
				}
			}
		}
	}
	return nil
}

// withEarlier fills in what the tries so far of messages came to that are to be
// tried again, or are being tried.
func (t *Tx) withEarlier(ctx context.Context, messages []night.Message) error {
	var again []int64
	for _, m := range messages {
		if m.State == night.Due && m.Attempt > 0 || m.State == night.Sending && m.Attempt > 1 {
			again = append(again, m.ID)
		}
	}
	if len(again) == 0 {
		return nil
	}
	best, err := t.best(ctx, again)
	if err != nil {
		return err
	}
	for i := range messages {
		if a, ok := best[messages[i].ID]; ok {
			messages[i].Earlier = night.Standing{State: a.state(), At: at(a.SettledAt), Turn: a.Turn}
		}
	}
	return nil
}

// Standing gives what a message's tries came to: the best that is known of any;
// "" where nothing left the house.
func (t *Tx) Standing(ctx context.Context, messageID int64) (night.MessageState, error) {
	best, err := t.best(ctx, []int64{messageID})
	return best[messageID].state(), err
}

// stand sees to a message whose last try, made or called off, ended in a state,
// and gives the state that it is in then. What left the house before is not undone
// by that: the message stands by the best of its tries, and one that waits to be
// tried again waits no more if it arrived. One that was dropped and never left the
// house is about no order any more, so that the text can be planned anew.
func (t *Tx) stand(ctx context.Context, id int64, state night.MessageState) (night.MessageState, error) {
	best, err := t.best(ctx, []int64{id})
	if err != nil {
		return "", err
	}
	if a, ok := best[id]; ok && (state != night.Due || a.state() == night.Delivered) {
		_, err := t.change(ctx, "message", `
			UPDATE messages SET state = ?, reason = ?, adapter = ?, address = CASE WHEN ? = '' THEN address ELSE ? END, settled_at = ?, turn = ?
			WHERE kitchen_id = ? AND id = ?`,
			a.state(), cmp.Or(a.lost, a.Reason), a.Adapter, a.Address, a.Address, a.SettledAt, a.Turn, t.kitchen, id)
		if err != nil {
			return "", err
		}
		return a.state(), t.unqueue(ctx, id)
	}
	if state == night.Dropped {
		return state, t.Uncover(ctx, id)
	}
	return state, nil
}
