package inbox

import (
	"context"

	"passbell/adapters"
	"passbell/internal/night"
)

// TakeRound takes texts that come at once, in one round, and gives what became of
// each.
func (b *Inbox) TakeRound(ctx context.Context, adapter string, texts ...adapters.Inbound) []error {
	now := b.c.Now().UTC()
	all := make([]*arrival, len(texts))
	for i, in := range texts {
		text := Text(adapter, in, now)
		text.KitchenID = b.c.Kitchen.ID
		all[i] = &arrival{now: now, copies: []night.Inbound{text}}
	}
	b.intake.take(ctx, all)
	out := make([]error, len(all))
	for i, a := range all {
		out[i] = a.err
	}
	return out
}

// InMemory tells whether a night's orders are kept in memory.
func (b *Inbox) InMemory() bool { return b.known.Load() != nil }
