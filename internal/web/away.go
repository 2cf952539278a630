package web

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"

	"passbell/internal/night"
)

// While the database is away the pages of the night stay readable: a GET is
// answered with what was last true of that page, and says so. Nothing is done
// meanwhile: acts and streams are refused until the database is back. What is
// needed for that is remembered in this process only:
//
//   - pages as they were last made, by address, by what their reader may see, and
//     by the night that the device has chosen; for lastFor;
//   - sign-ins and helpers' links that were found good, for trustFor. A sign-in
//     that was not seen by this process within that time has to wait. One that
//     ended on another instance meanwhile, in the last trustFor before the
//     database went away, can still read here what it could read before.
const (
	trustFor = 15 * time.Minute
	lastFor  = 6 * time.Hour
	// patience is how long the database is waited for where something can stand
	// in: a server that fell silent is noticed much later.
	patience = 4 * time.Second
	// lastRoom is how many values are remembered, the oldest of them forgotten.
	lastRoom = 256
)

// memory keeps what was found lately under a key.
type memory[K comparable, V any] struct {
	mu   sync.Mutex
	seen map[K]remembered[V]
}

type remembered[V any] struct {
	value V
	at    time.Time
}

// look finds a value; while the database can't be reached, one that was found
// lately stands in.
func (m *memory[K, V]) look(ctx context.Context, key K, now time.Time, find func(context.Context) (V, bool, error)) (V, bool, error) {
	last, known := m.last(key, now)
	asked, done := ctx, func() {}
	if known {
		asked, done = context.WithTimeout(ctx, patience)
	}
	defer done()
	v, found, err := find(asked)
	switch {
	case err != nil && known && away(ctx, err):
		return last, true, nil
	case err != nil:
		return v, false, err
	case found:
		m.keep(key, v, now)
	default:
		m.forget(key)
	}
	return v, found, nil
}

func (m *memory[K, V]) keep(key K, value V, now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.seen == nil {
		m.seen = map[K]remembered[V]{}
	}
	m.seen[key] = remembered[V]{value, now}
	oldest := key
	for k, have := range m.seen {
		if now.Sub(have.at) > trustFor {
			delete(m.seen, k)
		} else if have.at.Before(m.seen[oldest].at) {
			oldest = k
		}
	}
	if len(m.seen) > lastRoom {
		delete(m.seen, oldest)
	}
}

func (m *memory[K, V]) forget(key K) {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.seen, key)
}

func (m *memory[K, V]) last(key K, now time.Time) (v V, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	have, ok := m.seen[key]
	if !ok || now.Sub(have.at) > trustFor {
		return v, false
	}
	return have.value, true
}

// away tells a database that can't be reached from a reader who has gone, and
// from what the desk worded for the cook.
func away(ctx context.Context, err error) bool {
	var broken *night.StoreError
	return errors.As(err, &broken) && ctx.Err() == nil
}

// lately are the sign-ins, those that were seen lately also without the
// database.
type lately struct {
	scs.CtxStore
	now  func() time.Time
	seen memory[string, []byte]
}

// FindCtx gives the data of a session.
func (l *lately) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	return l.seen.look(ctx, token, l.now(), func(ctx context.Context) ([]byte, bool, error) { return l.CtxStore.FindCtx(ctx, token) })
}

// CommitCtx stores a session.
func (l *lately) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	err := l.CtxStore.CommitCtx(ctx, token, data, expiry)
	if err == nil {
		l.seen.keep(token, data, l.now())
	}
	return err
}

// DeleteCtx ends a session. Where the database does not know yet, it has ended
// here all the same.
func (l *lately) DeleteCtx(ctx context.Context, token string) error {
	l.seen.forget(token)
	return l.CtxStore.DeleteCtx(ctx, token)
}

// helper finds a helper, one who was seen lately also without the database.
func (s *site) helper(ctx context.Context, id int64) (night.Helper, error) {
	h, _, err := s.helpers.look(ctx, id, s.Now(), func(ctx context.Context) (night.Helper, bool, error) {
		h, err := s.Keep.Helper(ctx, id)
		return h, true, err
	})
	return h, err
}
