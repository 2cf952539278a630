package simulation_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/dispatch"
	"passbell/internal/inbox"
	"passbell/internal/night"
	"passbell/internal/simulation"
)

// Checks that never object prove nothing: each of these faults, put in on
// purpose, must be found within a number of nights.
func TestFaultsAreFound(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("it takes too many nights for the race detector")
	}
	onTx := func(edit func(dispatch.Tx) dispatch.Tx) func(dispatch.Store) dispatch.Store {
		return func(s dispatch.Store) dispatch.Store { return outbox{Store: s, edit: edit} }
	}
	onDesk := func(edit func(desk.Tx) desk.Tx) func(desk.Store) desk.Store {
		return func(s desk.Store) desk.Store { return front{s, edit} }
	}
	onInbox := func(edit func(inbox.Tx) inbox.Tx) func(inbox.Store) inbox.Store {
		return func(s inbox.Store) inbox.Store { return hatch{s, edit} }
	}
	tests := []struct {
		name  string
		fault simulation.Break
		want  string // one of the words that it is found by
	}{
		{"a late finisher overwrites a newer attempt", simulation.Break{Dispatch: onTx(func(tx dispatch.Tx) dispatch.Tx { return anyAttempt{tx} })}, ""},
		{"what is in doubt is sent again by itself", simulation.Break{Dispatch: onTx(func(tx dispatch.Tx) dispatch.Tx { return resends{tx} })}, "may have gone out already"},
		{"nobody looks who opted out", simulation.Break{Dispatch: onTx(func(tx dispatch.Tx) dispatch.Tx { return deaf{tx} }), Desk: onDesk(func(tx desk.Tx) desk.Tx { return deafDesk{tx} })}, "wants no texts"},
		{"nobody looks whether a text is still true", simulation.Break{Dispatch: func(s dispatch.Store) dispatch.Store { return &stale{Store: s} }}, ""},
		{"a message is forgotten when it can't go", simulation.Break{Dispatch: onTx(func(tx dispatch.Tx) dispatch.Tx { return unplanned{tx} })}, "without an event"},
		{"a step leaves no event", simulation.Break{
			Desk: onDesk(func(tx desk.Tx) desk.Tx { return silent{tx} }), Inbox: onInbox(func(tx inbox.Tx) inbox.Tx { return silentInbox{tx} }),
		}, "by its events"},
		{"an update gets lost", simulation.Break{Desk: onDesk(func(tx desk.Tx) desk.Tx { return forgets{tx, night.Update} })}, "is missing"},
		{"the instructions get lost", simulation.Break{Desk: onDesk(func(tx desk.Tx) desk.Tx { return forgets{tx, night.Instructions} })}, "nobody was told"},
		{"what goes at once is given a time", simulation.Break{Desk: onDesk(func(tx desk.Tx) desk.Tx { return dated{tx} })}, "waits for a clock"},
		{"a repeated text is stored again", simulation.Break{Inbox: onInbox(func(tx inbox.Tx) inbox.Tx { return twice{tx, new(int)} })}, ""},
		{"a text is acknowledged and not stored", simulation.Break{Inbox: func(s inbox.Store) inbox.Store { return loses{s, new(int)} }}, ""},
		{"a text that needs a person is taken as settled", simulation.Break{Inbox: onInbox(func(tx inbox.Tx) inbox.Tx { return unread{tx} })}, "no person sees it"},
	}
	const most = 400 // as a rule a few are enough
	db := embedded(t)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(most) {
				out := play(t, db, simulation.Options{Seed: seed, Most: 8, Break: tt.fault})
				if out.OK() {
					continue
				}
				require.Contains(t, out.Broken[0], tt.want, "seed %d", seed)
				t.Logf("seed %d: %s", seed, out.Broken[0])
				return
			}
			require.Fail(t, "nothing was found")
		})
	}
}

// outbox edits what dispatch sees of the database.
type outbox struct {
	dispatch.Store
	edit func(dispatch.Tx) dispatch.Tx
}

func (o outbox) Write(ctx context.Context, fn func(dispatch.Tx) error) error {
	return o.Store.Write(ctx, func(tx dispatch.Tx) error { return fn(o.edit(tx)) })
}

func (o outbox) Read(ctx context.Context, fn func(dispatch.Tx) error) error {
	return o.Store.Read(ctx, func(tx dispatch.Tx) error { return fn(o.edit(tx)) })
}

// front edits what the desk sees of the database.
type front struct {
	desk.Store
	edit func(desk.Tx) desk.Tx
}

func (f front) Write(ctx context.Context, fn func(desk.Tx) error) error {
	return f.Store.Write(ctx, func(tx desk.Tx) error { return fn(f.edit(tx)) })
}

func (f front) Read(ctx context.Context, fn func(desk.Tx) error) error {
	return f.Store.Read(ctx, func(tx desk.Tx) error { return fn(f.edit(tx)) })
}

// anyAttempt settles whatever attempt is the latest, in whatever state.
type anyAttempt struct{ dispatch.Tx }

func (t anyAttempt) Settle(ctx context.Context, all []night.Settlement) ([]night.MessageState, error) {
	all = slices.Clone(all)
	for i, s := range all {
		m, err := t.Message(ctx, s.MessageID)
		if err != nil {
			return nil, err
		}
		all[i].Attempt = m.Attempt
	}
	return t.Tx.Settle(ctx, all)
}

// resends makes due again what is in doubt.
type resends struct{ dispatch.Tx }

func (t resends) Settle(ctx context.Context, all []night.Settlement) ([]night.MessageState, error) {
	all = slices.Clone(all)
	for i, s := range all {
		if s.State == night.InDoubt {
			all[i].State, all[i].RetryAt = night.Due, s.At.Add(time.Second)
		}
	}
	return t.Tx.Settle(ctx, all)
}

type deaf struct{ dispatch.Tx }

func (deaf) OptedOut(context.Context) (map[string]bool, error) { return map[string]bool{}, nil }

type deafDesk struct{ desk.Tx }

func (deafDesk) OptedOut(context.Context) (map[string]bool, error) { return map[string]bool{}, nil }

// stale lets nothing change between the claim of a text and its sending, as far
// as dispatch can see.
type stale struct {
	dispatch.Store
	claimed []night.Message
}

func (s *stale) Claim(ctx context.Context, adapter string, now, lease time.Time, limit int) ([]night.Message, error) {
	var err error
	s.claimed, err = s.Store.Claim(ctx, adapter, now, lease, limit)
	return s.claimed, err
}

func (s *stale) Read(ctx context.Context, fn func(dispatch.Tx) error) error {
	return s.Store.Read(ctx, func(tx dispatch.Tx) error { return fn(staleTx{tx, s}) })
}

type staleTx struct {
	dispatch.Tx
	s *stale
}

func (t staleTx) Stages(ctx context.Context, ids []int64) ([]night.Stage, error) {
	stages, err := t.Tx.Stages(ctx, ids)
	for i := range stages {
		o := &stages[i]
		o.State = night.Told
		for _, m := range t.s.claimed {
			for _, c := range m.Covers {
				if c.OrderID == o.OrderID {
					o.Slot = c.Slot
				}
			}
		}
	}
	return stages, err
}

// unplanned settles without a word.
type unplanned struct{ dispatch.Tx }

func (t unplanned) Log(ctx context.Context, events ...night.Event) error {
	return t.Tx.Log(ctx, slices.DeleteFunc(slices.Clone(events), func(e night.Event) bool { return e.What == night.MessageSettled })...)
}

// silent forgets that an order moved.
type silent struct{ desk.Tx }

func (t silent) Log(ctx context.Context, events ...night.Event) error {
	return t.Tx.Log(ctx, withoutArrivals(events)...)
}

type silentInbox struct{ inbox.Tx }

func (t silentInbox) Log(ctx context.Context, events ...night.Event) error {
	return t.Tx.Log(ctx, withoutArrivals(events)...)
}

func withoutArrivals(events []night.Event) []night.Event {
	return slices.DeleteFunc(slices.Clone(events), func(e night.Event) bool { return e.What == night.StepTaken && e.To == night.Arrived })
}

// dated gives a time to what goes at once.
type dated struct{ desk.Tx }

func (t dated) AddMessages(ctx context.Context, all []night.Message) ([]int64, error) {
	all = slices.Clone(all)
	for i := range all {
		all[i].AtOnce = false
	}
	return t.Tx.AddMessages(ctx, all)
}

func (t dated) AddMessage(ctx context.Context, m night.Message) (int64, bool, error) {
	m.AtOnce = false
	return t.Tx.AddMessage(ctx, m)
}

// forgets stores no message of a kind.
type forgets struct {
	desk.Tx
	kind night.MessageKind
}

func (t forgets) AddMessages(ctx context.Context, all []night.Message) ([]int64, error) {
	ids := make([]int64, len(all))
	for i, m := range all {
		if m.Kind == t.kind {
			continue
		}
		id, err := t.Tx.AddMessages(ctx, []night.Message{m})
		if err != nil {
			return nil, err
		}
		ids[i] = id[0]
	}
	return ids, nil
}

// hatch edits what the inbox sees of the database.
type hatch struct {
	inbox.Store
	edit func(inbox.Tx) inbox.Tx
}

func (h hatch) Write(ctx context.Context, fn func(inbox.Tx) error) error {
	return h.Store.Write(ctx, func(tx inbox.Tx) error { return fn(h.edit(tx)) })
}

// unread takes every text for settled.
type unread struct{ inbox.Tx }

func (t unread) SaveInbounds(ctx context.Context, all []night.Inbound, from ...night.InboundState) (int, error) {
	for i := range all {
		if all[i].State == night.Open && slices.Contains(from, night.Fresh) {
			all[i].State = night.Applied
		}
	}
	return t.Tx.SaveInbounds(ctx, all, from...)
}

// twice takes every delivery of a text for a new one.
type twice struct {
	inbox.Tx
	count *int
}

func (t twice) AddInbounds(ctx context.Context, all []night.Inbound) ([]int64, error) {
	ids, err := t.Tx.AddInbounds(ctx, all)
	for i := range ids {
		if err == nil && ids[i] == 0 {
			*t.count++
			in := all[i]
			in.Adapter += string(rune('a' + *t.count%26))
			var again []int64
			if again, err = t.Tx.AddInbounds(ctx, []night.Inbound{in}); err == nil {
				ids[i] = again[0]
			}
		}
	}
	return ids, err
}

// loses says that it stored a text and did not, now and then.
type loses struct {
	inbox.Store
	count *int
}

func (s loses) Write(ctx context.Context, fn func(inbox.Tx) error) error {
	const often = 3
	if *s.count++; *s.count%often == 0 {
		return nil
	}
	return s.Store.Write(ctx, fn)
}
