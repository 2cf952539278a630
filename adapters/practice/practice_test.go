package practice_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
	"passbell/adapters/adapterstest"
	"passbell/adapters/practice"
)

func open(t *testing.T, cfg practice.Config, deps practice.Deps) *practice.Network {
	t.Helper()
	if deps.Clock == nil {
		deps.Clock = newClock()
	}
	n, err := practice.New(cfg, deps)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, n.Close()) })
	return n
}

func text(i int) adapters.Message {
	return adapters.Message{
		Key: fmt.Sprintf("m%d-1", i), To: fmt.Sprintf("+447700900%03d", i%1000),
		Text: fmt.Sprintf("Order K%d is ready", i),
	}
}

// luck has some of everything.
var luck = practice.Odds{
	Unreachable: 0.05, Refuse: 0.1, Throttle: 0.1, Reject: 0.1, LoseAnswer: 0.1, LoseText: 0.05,
	Fail: 0.1, NoReceipt: 0.1, RepeatReceipt: 0.2, LateProgress: 0.2,
}

// fates sends n texts, on so many goroutines, and tells what became of each.
func fates(t *testing.T, seed uint64, n, workers int) map[string]string {
	t.Helper()
	net := open(t, practice.Config{Seed: seed, Odds: luck}, practice.Deps{})
	var (
		mu  sync.Mutex
		wg  sync.WaitGroup
		out = map[string]string{}
	)
	jobs := make(chan adapters.Message)
	for range workers {
		wg.Go(func() {
			for m := range jobs {
				acc, err := net.Send(t.Context(), m)
				mu.Lock()
				out[m.Key] = fmt.Sprint(acc.IDs, err)
				mu.Unlock()
			}
		})
	}
	for i := range n {
		jobs <- text(i)
	}
	close(jobs)
	wg.Wait()
	return out
}

func TestSameSeedSameEvening(t *testing.T) {
	t.Parallel()
	one := fates(t, 7, 300, 1)
	require.Equal(t, one, fates(t, 7, 300, 8), "whatever the order of sending")
	require.NotEqual(t, one, fates(t, 8, 300, 1))
}

func TestOddsAreKept(t *testing.T) {
	t.Parallel()
	const n = 4000
	net := open(t, practice.Config{Seed: 1, Odds: luck}, practice.Deps{})
	got := map[adapters.Outcome]float64{}
	for i := range n {
		_, err := net.Send(t.Context(), text(i))
		if err == nil {
			got["taken"]++
			continue
		}
		got[adapters.OutcomeOf(err)]++
	}
	want := map[adapters.Outcome]float64{
		"taken": 0.5, adapters.Temporary: 0.15, adapters.Throttled: 0.1, adapters.Permanent: 0.1, adapters.Unknown: 0.15,
	}
	for o, p := range want {
		// Five standard deviations of a binomial count.
		require.InDelta(t, p*n, got[o], 5*math.Sqrt(n*p*(1-p)), "%s", o)
	}
}

func TestReceiptsInEveryOrder(t *testing.T) {
	t.Parallel()
	clock := newClock()
	start := clock.Now()
	net := open(t, practice.Config{}, practice.Deps{Clock: clock})
	net.Next(
		practice.Fate{Receipts: []practice.Later{
			{After: 5 * time.Second, Status: adapters.OnTheWay}, // late
			{After: 3 * time.Second, Status: adapters.Delivered},
			{After: 3 * time.Second, Status: adapters.Delivered}, // twice
		}},
		practice.Fate{Receipts: []practice.Later{{After: 4 * time.Second, Status: adapters.Failed, Reason: "switched off"}}},
	)
	var ids []string
	for i := range 2 {
		acc, err := net.Send(t.Context(), text(i))
		require.NoError(t, err)
		ids = append(ids, acc.IDs...)
	}
	sink := &adapterstest.Sink{}
	require.NoError(t, net.Pump(t.Context(), sink))
	require.Empty(t, sink.Receipts(), "nothing before its time")
	for {
		due, ok := net.NextDue()
		if !ok {
			break
		}
		<-clock.After(due.Sub(clock.Now()))
		require.NoError(t, net.Pump(t.Context(), sink))
	}
	at := func(s int) time.Time { return start.Add(time.Duration(s) * time.Second) }
	require.Equal(t, []adapters.Receipt{
		{ID: ids[0], Status: adapters.Delivered, At: at(3)},
		{ID: ids[0], Status: adapters.Delivered, At: at(3)},
		{ID: ids[1], Status: adapters.Failed, Reason: "switched off", At: at(4)},
		{ID: ids[0], Status: adapters.OnTheWay, At: at(5)},
	}, sink.Receipts())
}

func TestPhones(t *testing.T) {
	t.Parallel()
	var told []practice.Text
	net := open(t, practice.Config{}, practice.Deps{OnText: func(x practice.Text) { told = append(told, x) }})
	for _, s := range []string{"first", "second"} {
		_, err := net.Send(t.Context(), adapters.Message{Key: s, To: "+447700900101", From: "LARKFIELD", Text: s})
		require.NoError(t, err)
	}
	got := net.Texts("+447700900101")
	require.Len(t, got, 2)
	require.Equal(t, "first", got[0].Text)
	require.Equal(t, "LARKFIELD", got[1].From)
	require.Equal(t, told, got)
	require.Empty(t, net.Texts("+447700900102"))
	require.Equal(t, []string{"+447700900101"}, net.Phones())
}

func TestCustomersAnswer(t *testing.T) {
	t.Parallel()
	clock := newClock()
	net := open(t, practice.Config{Odds: practice.Odds{RepeatInbound: 1}}, practice.Deps{Clock: clock})
	id := net.Say("+447700900101", "here, grey golf")
	later := net.SayAfter(time.Minute, "+447700900102", "on my way")
	require.NotEqual(t, id, later)
	ctx, cancel := context.WithCancel(t.Context())
	sink := &adapterstest.Sink{}
	sink.OnInbound = func(adapters.Inbound) error {
		if n := len(sink.Inbounds()); n == 1 {
			return errors.New("the disk is full")
		} else if n == 5 {
			cancel()
		}
		return nil
	}
	require.ErrorIs(t, net.Receive(ctx, sink), context.Canceled)
	count := map[string]int{}
	for _, in := range sink.Inbounds() {
		count[in.ID]++
	}
	require.Equal(t, map[string]int{id: 3, later: 2}, count, "each comes twice, and the refused one once more")
}

func TestJournalCountsWhatWentOut(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "out.jsonl")
	// Two processes' worth: the second goes on where the first was killed.
	for run := range 2 {
		net := open(t, practice.Config{Journal: file}, practice.Deps{})
		net.Next(practice.Fate{Outcome: adapters.Temporary}, practice.Fate{Outcome: adapters.Unknown, Taken: true})
		var wg sync.WaitGroup
		for i := range 20 {
			wg.Go(func() {
				m := text(i + 20*run)
				m.Text = "Zoë\n\"" + m.Text
				_, _ = net.Send(t.Context(), m) // two go wrong on purpose
			})
		}
		wg.Wait()
	}
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	seen := map[string]int{}
	for lines := bufio.NewScanner(bytes.NewReader(raw)); lines.Scan(); {
		var l practice.Line
		require.NoError(t, json.Unmarshal(lines.Bytes(), &l))
		require.True(t, strings.HasPrefix(l.Text, "Zoë\n\"Order K"))
		require.NotEmpty(t, l.To)
		require.NotEmpty(t, l.ID)
		require.False(t, l.At.IsZero())
		seen[l.Key]++
	}
	require.Len(t, seen, 38, "all but the two that were refused; the one with the lost answer went out")
	for key, n := range seen {
		require.Equal(t, 1, n, key)
	}
	info, err := os.Stat(file)
	require.NoError(t, err)
	require.Zero(t, info.Mode().Perm()&0o077, "numbers and texts are for nobody else")
}

func TestJournalThatCannotBeWritten(t *testing.T) {
	t.Parallel()
	_, err := practice.New(practice.Config{Journal: filepath.Join(t.TempDir(), "no", "such", "folder")}, practice.Deps{Clock: newClock()})
	require.ErrorContains(t, err, "the journal cannot be opened")
}

func TestStopWhileWaiting(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name       string
		fate, want adapters.Outcome
		reached    int
	}{
		{name: "taken over", fate: "", want: adapters.Unknown, reached: 1},
		{name: "answer lost", fate: adapters.Unknown, want: adapters.Unknown},
		{name: "about to be refused", fate: adapters.Permanent, want: adapters.Temporary},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			ctx, cancel := context.WithCancel(t.Context())
			net := open(t, practice.Config{}, practice.Deps{Fate: func(adapters.Message) (practice.Fate, bool) {
				cancel() // the call is under way by now
				return practice.Fate{Outcome: tt.fate, Delay: 48 * time.Hour}, true
			}})
			_, err := net.Send(ctx, text(1))
			require.ErrorIs(t, err, context.Canceled)
			require.Equal(t, tt.want, adapters.OutcomeOf(err))
			require.Len(t, net.Texts(text(1).To), tt.reached)
		})
	}
}

func TestConfigThatCannotBe(t *testing.T) {
	t.Parallel()
	for want, cfg := range map[string]practice.Config{
		"odds.refuse is 2":    {Odds: practice.Odds{Refuse: 2}},
		"odds.fail is NaN":    {Odds: practice.Odds{Fail: math.NaN()}},
		"odds.throttle is -1": {Odds: practice.Odds{Throttle: -1}},
		"add up to":           {Odds: practice.Odds{Refuse: 0.6, Reject: 0.6}},
	} {
		require.ErrorContains(t, cfg.Validate(), want)
		_, err := practice.New(cfg, practice.Deps{Clock: newClock()})
		require.ErrorContains(t, err, want)
	}
	_, err := practice.New(practice.Config{}, practice.Deps{})
	require.ErrorContains(t, err, "a clock is needed")
}

func TestHook(t *testing.T) {
	t.Parallel()
	net := open(t, practice.Config{}, practice.Deps{})
	full := errors.New("the disk is full")
	tests := []struct {
		name, method, kind, body, from, header string
		stored                                 error
		want                                   int
		inbound                                *adapters.Inbound
		receipt                                *adapters.Receipt
	}{
		{
			name: "a text", body: `{"id":"g001","at":"2026-03-11T18:31:09+00:00","from":"+447700900433","text":"sound cheers","want":{}}`, want: 204,
			inbound: &adapters.Inbound{ID: "g001", From: "+447700900433", Text: "sound cheers", At: time.Date(2026, 3, 11, 18, 31, 9, 0, time.UTC)},
		},
		{
			name: "a form", kind: "application/x-www-form-urlencoded", body: "id=a&from=%2B447700900433&text=here&at=2026-03-13T17:00:00Z", want: 204,
			inbound: &adapters.Inbound{ID: "a", From: "+447700900433", Text: "here", At: time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)},
		},
		{
			name: "a receipt", body: `{"id":"x","status":"failed","reason":"off","at":"2026-03-13T17:00:00Z"}`, want: 204,
			receipt: &adapters.Receipt{ID: "x", Status: adapters.Failed, Reason: "off", At: time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)},
		},
		{name: "not stored", body: `{"from":"+447700900433","text":"here"}`, stored: full, want: 503},
		{name: "no sender", body: `{"text":"here"}`, want: 400},
		{name: "no JSON", body: `here`, want: 400},
		{name: "a receipt of nothing", body: `{"status":"delivered"}`, want: 400},
		{name: "an unknown status", body: `{"id":"x","status":"eaten"}`, want: 400},
		{name: "a time that is none", kind: "application/x-www-form-urlencoded", body: "from=x&at=tea", want: 400},
		{name: "GET", method: http.MethodGet, want: 405},
		{name: "from elsewhere", from: "192.0.2.7:99", body: `{"from":"x"}`, want: 403},
		{name: "by a proxy", header: "X-Forwarded-For", body: `{"from":"x"}`, want: 403},
		{name: "by a strange page", header: "Origin", body: `{"from":"x"}`, want: 403},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			method := tt.method
			if method == "" {
				method = http.MethodPost
			}
			r := httptest.NewRequest(method, "/hooks/practice", strings.NewReader(tt.body))
			r.RemoteAddr = "127.0.0.1:4711"
			if tt.from != "" {
				r.RemoteAddr = tt.from
			}
			if tt.kind != "" {
				r.Header.Set("Content-Type", tt.kind)
			}
			if tt.header != "" {
				r.Header.Set(tt.header, "https://elsewhere.example")
			}
			sink := &adapterstest.Sink{OnInbound: func(adapters.Inbound) error { return tt.stored }}
			w := httptest.NewRecorder()
			net.Hook(sink).ServeHTTP(w, r)
			require.Equal(t, tt.want, w.Code, w.Body.String())
			if tt.inbound != nil {
				require.Len(t, sink.Inbounds(), 1)
				got := sink.Inbounds()[0]
				require.True(t, tt.inbound.At.Equal(got.At))
				got.At = tt.inbound.At
				require.Equal(t, *tt.inbound, got)
			}
			if tt.receipt != nil {
				require.Equal(t, []adapters.Receipt{*tt.receipt}, sink.Receipts())
			}
		})
	}
	t.Run("without an id each call is a text of its own", func(t *testing.T) {
		t.Parallel()
		sink := &adapterstest.Sink{}
		for range 2 {
			r := httptest.NewRequest(http.MethodPost, "/", strings.NewReader(`{"from":"+447700900433","text":"here"}`))
			r.RemoteAddr = "127.0.0.1:4711"
			net.Hook(sink).ServeHTTP(httptest.NewRecorder(), r)
		}
		require.NotEqual(t, sink.Inbounds()[0].ID, sink.Inbounds()[1].ID)
	})
}

func TestProbeSaysThatNothingIsReal(t *testing.T) {
	t.Parallel()
	got, err := open(t, practice.Config{}, practice.Deps{}).Probe(t.Context())
	require.NoError(t, err)
	require.Contains(t, got[0].Note, "no text can reach a real phone")
}
