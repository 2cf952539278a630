package gateway

import (
	"context"
	"errors"
	"slices"

	"passbell/internal/night"
	"passbell/internal/store"
)

// placer acts on a text by a person's word that it is about an order of the
// kitchen. Where others have the text too, because nobody knew for which of them
// it is, they need not look any more.
type placer struct{ *kitchen }

// Place acts on the text here and takes it off the others' passes. What can't be
// told them leaves it standing there, where a person reads it.
func (p placer) Place(ctx context.Context, inboundID int64, ref, who string) error {
	if err := p.house.Inbox.Place(ctx, inboundID, ref, who); err != nil {
		return err
	}
	if err := p.tellOthers(context.WithoutCancel(ctx), inboundID); err != nil {
		p.house.log.Warn("a text that was placed here still stands in the other kitchens that have it", "error", err)
	}
	return nil
}

func (p placer) tellOthers(ctx context.Context, inboundID int64) error {
	var in night.Inbound
	err := p.house.rows.Read(ctx, func(tx *store.Tx) (err error) {
		in, err = tx.Inbound(ctx, inboundID)
		return err
	})
	at := slices.IndexFunc(p.wires, func(w *Wire) bool { return w.Name == in.Adapter })
	if err != nil || in.Shared == 0 || at < 0 {
		return err
	}
	may := p.wires[at].mayBeFor(in.To)
	holders, err := p.wires[at].host.store.Holders(ctx, kitchensOf(may), in.Adapter, in.ProviderID)
	for _, w := range may {
		if w.house == p.house || !slices.Contains(holders, w.house.Kitchen.ID) {
			continue
		}
		// What is not read there yet would come to stand on the pass later.
		failed := w.house.Inbox.CatchUp(ctx)
		if failed == nil {
			failed = w.house.Desk.PlacedElsewhere(ctx, in.Adapter, in.ProviderID)
		}
		err = errors.Join(err, failed)
	}
	return err
}
