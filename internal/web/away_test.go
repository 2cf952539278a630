package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/store"
	"passbell/internal/store/pgtest"
	"passbell/internal/web"
)

// wire is the line to the database, which can be cut.
type wire struct{ cut atomic.Bool }

func (w *wire) err() error {
	if w.cut.Load() {
		return &night.StoreError{Doing: "read", Err: codedError{}}
	}
	return nil
}

type wiredDesk struct {
	*desk.Desk
	*wire
}

func (d wiredDesk) Current(ctx context.Context) (night.Night, error) {
	if err := d.err(); err != nil {
		return night.Night{}, err
	}
	return d.Desk.Current(ctx)
}

type wiredKeeper struct {
	web.Keeper
	*wire
}

func (k wiredKeeper) Helper(ctx context.Context, id int64) (night.Helper, error) {
	if err := k.err(); err != nil {
		return night.Helper{}, err
	}
	return k.Keeper.Helper(ctx, id)
}

type wiredSessions struct {
	scs.CtxStore
	*wire
}

func (s wiredSessions) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	if err := s.err(); err != nil {
		return nil, false, err
	}
	return s.CtxStore.FindCtx(ctx, token)
}

func (s wiredSessions) DeleteCtx(ctx context.Context, token string) error {
	if err := s.err(); err != nil {
		return err
	}
	return s.CtxStore.DeleteCtx(ctx, token)
}

const asOf = "As of 17:11: the database is away."

// TestTheDatabaseIsAway cuts the line to it while the cook and a helper have
// pages open.
func TestTheDatabaseIsAway(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	line := new(wire)
	server := httptest.NewServer(h.handler(func(c *web.Config) {
		withPassphrase("open sesame")(c)
		c.Desk, c.Keep, c.Sessions = wiredDesk{h.desk, line}, wiredKeeper{c.Keep, line}, wiredSessions{c.Sessions, line}
	}))
	t.Cleanup(server.Close)
	cook, other := newVisitor(t, server.URL), newVisitor(t, server.URL)
	for _, v := range []*visitor{cook, other} {
		v.post("/sign-in", url.Values{"passphrase": {"open sesame"}})
	}
	sam := newVisitor(t, server.URL)
	sam.post(helpLink(t, cook, "Sam"), nil)
	_, before := cook.get("/")
	sam.get("/runner")

	line.cut.Store(true)
	h.clock.set(evening("17:16"))
	code, p := cook.get("/")
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, p, asOf)
	require.Contains(t, p, `data-since="17:11"`)
	require.Equal(t, between(before, `<main`, `</main>`), between(p, `<main`, `</main>`), "what was last known")
	require.Contains(t, p, "Friday 4 December")
	code, p = cook.get("/report")
	require.Equal(t, http.StatusServiceUnavailable, code, "nobody looked at that before")
	require.Contains(t, p, "can’t reach its own records just now")
	require.NotContains(t, p, "SQLITE")
	code, _ = cook.get("/live?of=/")
	require.Equal(t, http.StatusServiceUnavailable, code, "nothing is live")
	code, _ = cook.post("/orders/K406/out", nil)
	require.Equal(t, http.StatusServiceUnavailable, code, "a device keeps the tap")

	code, p = sam.get("/runner")
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, p, asOf)
	code, p = sam.get("/")
	require.Equal(t, http.StatusServiceUnavailable, code, "the cook's view is not theirs")
	require.NotContains(t, p, "Hana")
	_, p = newVisitor(t, server.URL).get("/")
	require.Contains(t, p, "passphrase")
	require.NotContains(t, p, "Hana", "a stranger is asked to sign in")

	// Whoever signs out has signed out here, whatever the database knows.
	other.post("/sign-out", nil)
	code, p = other.get("/")
	require.Equal(t, http.StatusServiceUnavailable, code)
	require.NotContains(t, p, "Hana")

	h.clock.set(evening("17:27"))
	code, _ = cook.get("/")
	require.Equal(t, http.StatusServiceUnavailable, code, "a sign-in that was last seen a quarter of an hour ago is not taken on trust")

	line.cut.Store(false)
	code, p = cook.get("/")
	require.Equal(t, http.StatusOK, code)
	require.NotContains(t, p, "As of 17:")
	require.Equal(t, night.Arrived, h.order("K406").State)
}

// TestOpenStreamsEnd cuts the line to the database under open pages: they take
// themselves for live only as long as somebody can tell.
func TestOpenStreamsEnd(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.fill()
	line := new(wire)
	server := httptest.NewServer(h.handler(func(c *web.Config) { c.Desk = wiredDesk{h.desk, line} }))
	t.Cleanup(server.Close)
	streams := []*reader{follow(t, server.URL+"/live", ""), follow(t, server.URL+"/live", "")}
	for _, r := range streams {
		r.page()
	}

	line.cut.Store(true)
	h.clock.set(evening("17:16"))
	for _, r := range streams {
		for more := true; more; {
			_, more = r.next()
		}
	}

	line.cut.Store(false)
	follow(t, server.URL+"/live", "").page()
}

// TestTheServerIsAway stops and starts a real database server.
func TestTheServerIsAway(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t, "fsync=on")
	database, err := store.Open(t.Context(), server.Database(t))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, database.Close()) })
	h := newHouseOn(t, database)
	h.fill()
	pages := httptest.NewServer(h.handler(withPassphrase("open sesame")))
	t.Cleanup(pages.Close)
	cook := newVisitor(t, pages.URL)
	cook.post("/sign-in", url.Values{"passphrase": {"open sesame"}})
	cook.get("/")

	server.Kill(t)
	h.clock.set(evening("17:14"))
	code, p := cook.get("/")
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, p, asOf)
	require.Contains(t, p, "Hana Morikawa")
	code, _ = cook.post("/orders/K406/out", nil)
	require.Equal(t, http.StatusServiceUnavailable, code)

	server.Go(t)
	require.Eventually(t, func() bool {
		code, p = cook.get("/")
		return code == http.StatusOK && !strings.Contains(p, asOf)
	}, 30*time.Second, 50*time.Millisecond)
	code, p = cook.post("/orders/K406/out", url.Values{"back": {"/"}})
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, p, "K406 Hana Morikawa: handed out.")
}
