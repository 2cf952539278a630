package store

import (
	"context"
	"time"
)

// Sessions keeps the sign-ins of a kitchen's web pages, so that a restart on the
// night asks nobody for a passphrase again. A sign-in of one kitchen is none of
// another.
type Sessions struct {
	kitchen *Kitchen
	now     func() time.Time
}

// Sessions gives the store of sign-ins.
func (k *Kitchen) Sessions(now func() time.Time) *Sessions { return &Sessions{kitchen: k, now: now} }

// FindCtx gives the data of a session that has not expired.
func (s *Sessions) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	var data [][]byte
	err := s.kitchen.Read(ctx, func(t *Tx) error {
		return t.list(ctx, &data, "sign-in",
			`SELECT data FROM sessions WHERE kitchen_id = ? AND token = ? AND expires > ?`, t.kitchen, token, ms(s.now()))
	})
	if err != nil || len(data) == 0 {
		return nil, false, err
	}
	return data[0], true, nil
}

// CommitCtx stores a session.
func (s *Sessions) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	return s.kitchen.Write(ctx, func(t *Tx) error {
		_, err := t.change(ctx, "sign-in", `
			INSERT INTO sessions (kitchen_id, token, data, expires) VALUES (?, ?, ?, ?)
			ON CONFLICT (kitchen_id, token) DO UPDATE SET data = excluded.data, expires = excluded.expires`,
			t.kitchen, token, data, ms(expiry))
		return err
	})
}

// DeleteCtx forgets a session, and those that have expired.
func (s *Sessions) DeleteCtx(ctx context.Context, token string) error {
	return s.kitchen.Write(ctx, func(t *Tx) error {
		_, err := t.change(ctx, "sign-in",
			`DELETE FROM sessions WHERE kitchen_id = ? AND (token = ? OR expires <= ?)`, t.kitchen, token, ms(s.now()))
		return err
	})
}

// Find is FindCtx without a context.
func (s *Sessions) Find(token string) ([]byte, bool, error) {
	return s.FindCtx(context.Background(), token)
}

// Commit is CommitCtx without a context.
func (s *Sessions) Commit(token string, data []byte, expiry time.Time) error {
	return s.CommitCtx(context.Background(), token, data, expiry)
}

// Delete is DeleteCtx without a context.
func (s *Sessions) Delete(token string) error { return s.DeleteCtx(context.Background(), token) }
