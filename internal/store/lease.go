package store

import (
	"context"
	"fmt"
	"time"
)

// Grant gives the kitchen's lease on what must run once to the holder for ttl,
// if nobody else has it: package leader's Lease. The database's clock counts. A
// clock that was set back makes no lease longer than it was.
func (k *Kitchen) Grant(ctx context.Context, holder string, ttl time.Duration) (term int64, ok bool, err error) {
	err = k.Write(ctx, func(t *Tx) error {
		now := t.dialect.clock
		_, err := t.change(ctx, "lease",
			fmt.Sprintf(`UPDATE leases SET expires_at = %[1]s + ? WHERE kitchen_id = ? AND expires_at > %[1]s + ?`, now),
			ttl.Milliseconds(), t.kitchen, ttl.Milliseconds())
		if err != nil {
			return err
		}
		term, ok, err = t.add(ctx, "lease", fmt.Sprintf(`
			INSERT INTO leases (kitchen_id, holder, term, expires_at) VALUES (?, ?, 1, %[1]s + ?)
			ON CONFLICT (kitchen_id) DO UPDATE SET holder = excluded.holder, expires_at = excluded.expires_at,
				term = leases.term + CASE WHEN leases.holder = excluded.holder AND leases.expires_at > %[1]s THEN 0 ELSE 1 END
			WHERE leases.holder = excluded.holder OR leases.expires_at <= %[1]s
			RETURNING term`, now),
			t.kitchen, holder, ttl.Milliseconds())
		return err
	})
	return term, ok && err == nil, err
}

// Release ends the kitchen's lease if the holder has it.
func (k *Kitchen) Release(ctx context.Context, holder string) error {
	return k.Write(ctx, func(t *Tx) error {
		_, err := t.change(ctx, "lease", `UPDATE leases SET expires_at = 0 WHERE kitchen_id = ? AND holder = ?`, t.kitchen, holder)
		return err
	})
}
