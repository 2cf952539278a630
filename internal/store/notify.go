package store

import (
	"context"
	"strconv"
	"time"

	"github.com/lib/pq"

	"passbell/internal/night"
)

// channel is the name under which instances tell each other of changes.
const channel = "passbell"

// Announce tells every instance that something in the kitchen has changed. The
// embedded database has one instance, and nobody to tell.
func (k *Kitchen) Announce(ctx context.Context) error {
	if k.store.dsn == "" {
		return nil
	}
	return k.store.tell(ctx, strconv.FormatInt(k.id, 10))
}

func (s *Store) tell(ctx context.Context, what string) error {
	if _, err := s.writer.ExecContext(ctx, `SELECT pg_notify($1, $2)`, channel, what); err != nil {
		return &night.StoreError{Doing: "tell the other instances", Err: err}
	}
	return nil
}

// murmur tells every instance nothing, again and again until ctx is done: who
// listens hears that the line stands.
func (s *Store) murmur(ctx context.Context) {
	again := time.NewTicker(s.silence)
	defer again.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-again.C:
			_ = s.tell(ctx, "") // whoever hears nothing finds out
		}
	}
}

// Listen calls changed with the id of each kitchen in which some instance
// changed something, and with 0 after it could not hear for a while: anything
// may have changed then. It returns when ctx is done. Nothing comes from the
// embedded database.
func (s *Store) Listen(ctx context.Context, changed func(kitchen int64)) {
	if s.dsn == "" {
		<-ctx.Done()
		return
	}
	// Nobody may have anything to tell for hours. So somebody tells nothing now and
	// then, and a line on which not even that is heard is dead: another is opened.
	l := pq.NewDialListener(newDialer(3*s.silence, func() {}), s.dsn, 500*time.Millisecond, 5*time.Second, nil)
	defer func() { _ = l.Close() }()      // only says that it is closed already
	go func() { _ = l.Listen(channel) }() // waits for a connection; ends with Close
	go s.murmur(ctx)
	for {
		select {
		case <-ctx.Done():
			return
		case n := <-l.Notify:
			if n == nil { // the connection was lost and is back
				changed(0)
				continue
			}
			if id, err := strconv.ParseInt(n.Extra, 10, 64); err == nil {
				changed(id)
			}
		}
	}
}
