package dispatch_test

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/storetest"
	"passbell/internal/wording"
	"passbell/templates"
)

type deskRows struct{ *store.Kitchen }

func (s deskRows) Write(ctx context.Context, fn func(desk.Tx) error) error {
	return s.Kitchen.Write(ctx, func(t *store.Tx) error { return fn(t) })
}

func (s deskRows) Read(ctx context.Context, fn func(desk.Tx) error) error {
	return s.Kitchen.Read(ctx, func(t *store.Tx) error { return fn(t) })
}

// opened is another process's desk on the same file.
func (r *rig) opened(path string) *desk.Desk {
	r.t.Helper()
	s := storetest.Opened(r.t, path)
	texts, err := wording.Load(templates.Texts, nil, "en")
	require.NoError(r.t, err)
	d, err := desk.New(desk.Config{Store: deskRows{s.Kitchen(r.config.Kitchen.ID)}, Kitchen: r.config.Kitchen, Texts: texts, Now: r.clock.Now})
	require.NoError(r.t, err)
	return d
}

// mattn/go-sqlite3 #1203, wagtail/wagtail #14361: "database is locked" at once,
// when a reader turned writer. Eight people tick, four of them in another
// process, while sixty texts go out and the network reports on each.
func TestEightPeopleTickWhileSixtyTextsGoOut(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "passbell.db")
	r := newRigAt(t, 60, path)
	desks := []*desk.Desk{r.opened(path), r.opened(path)}
	var wg sync.WaitGroup
	reported := make(chan adapters.Receipt, 60)
	r.carrier.answer = func(m adapters.Message) (adapters.Accepted, error) {
		id := "id-" + m.Key
		reported <- adapters.Receipt{ID: id, Status: adapters.Delivered, At: r.clock.Now()}
		return adapters.Accepted{IDs: []string{id}}, nil
	}
	wg.Go(func() {
		assert.NoError(t, r.Drain(t.Context()))
		close(reported)
	})
	wg.Go(func() {
		for rec := range reported {
			assert.NoError(t, r.Receipt(t.Context(), rec))
		}
	})
	for person := range 8 {
		wg.Go(func() {
			for i := person; i < 60; i += 8 { // each looks at the pass after every tick
				act := desk.Act{Night: r.night, Ref: fmt.Sprintf("K%d", 401+i), Who: fmt.Sprint("helper ", person)}
				d := desks[person%2]
				_, err := d.Packed(t.Context(), act, true)
				assert.NoError(t, err)
				_, err = d.Board(t.Context(), r.night)
				assert.NoError(t, err)
			}
		})
	}
	wg.Wait()
	assert.Equal(t, map[night.MessageState]int{night.Delivered: 60}, r.states())
	assert.Equal(t, 60, r.carrier.count())
	for i := range r.orders {
		o := r.order(i)
		assert.False(t, o.PackedAt.IsZero(), "%s: a tick is lost", o.Ref)
		assert.Equal(t, night.Told, o.State, o.Ref)
	}
}
