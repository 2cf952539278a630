package adapterstest

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters"
)

// patience bounds how long the suite waits for something that must come; a
// green run never uses it up.
const patience = 20 * time.Second

// Run puts an adapter through the suite. The names of the cases are those of
// the rules in package adapters that they check.
func Run(t *testing.T, rig Rig) {
	t.Helper()
	if rig.Number == nil {
		rig.Number = func(i int) string { return fmt.Sprintf("+447700900%03d", 100+i) }
	}
	cases := []struct {
		name string
		skip bool
		run  func(*bench)
	}{
		{name: "accepted text arrives whole", run: acceptedArrives},
		{name: "ids are given and differ", skip: rig.Lacks.IDs, run: idsDiffer},
		{name: "refused for now is temporary", skip: rig.Lacks.Temporary, run: refusedForNow},
		{name: "refused for good is permanent", run: refusedForGood},
		{name: "too fast is throttled", skip: rig.Lacks.Throttle, run: throttled},
		{name: "unreachable is temporary and nothing went out", run: unreachable},
		{name: "reachable again", run: reachableAgain},
		{name: "silence after taking is unknown and not retried", skip: rig.Lacks.Silence, run: silence},
		{name: "broken connection after taking is unknown and not retried", skip: rig.Lacks.Drop, run: dropped},
		{name: "cancelled before the call hands nothing over", run: cancelledBefore},
		{name: "sends at the same time", run: concurrent},
		{name: "inbound is acknowledged once stored", skip: rig.Lacks.Inbound, run: inboundStored},
		{name: "inbound that was not stored comes again", skip: rig.Lacks.Inbound, run: inboundRefused},
		{name: "inbound delivered twice keeps its id", skip: rig.Lacks.Inbound || rig.Lacks.Repeat, run: inboundTwice},
		{name: "different inbounds have different ids", skip: rig.Lacks.Inbound, run: inboundsDiffer},
		{name: "receipts are joined to ids", skip: rig.Lacks.Receipts || rig.Lacks.IDs, run: receipts},
		{name: "receipt before the answer", skip: rig.Lacks.Receipts || rig.Lacks.IDs || rig.Lacks.EarlyAnswer, run: receiptFirst},
		{name: "receipt that was not stored comes again", skip: rig.Lacks.Receipts || rig.Lacks.IDs, run: receiptRefused},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if c.skip {
				t.Skip("the protocol has no such thing")
			}
			t.Parallel()
			b := newBench(t, rig)
			c.run(b)
			b.noLeak()
		})
	}
}

// bench is one case at work.
type bench struct {
	*testing.T
	rig  Rig
	fx   Fixture
	peer Peer
	log  *buffer
	errs []error
	sent []adapters.Message
	in   []adapters.Inbound
}

func newBench(t *testing.T, rig Rig) *bench {
	t.Helper()
	b := &bench{T: t, rig: rig, log: &buffer{}}
	b.fx = rig.New(t, slog.New(slog.NewTextHandler(b.log, &slog.HandlerOptions{Level: slog.LevelInfo})))
	b.peer = b.fx.Peer
	return b
}

// message makes the i-th text of a case.
func (b *bench) message(i int) adapters.Message {
	m := adapters.Message{
		Key:  fmt.Sprintf("m%d-1", i),
		To:   b.rig.Number(i),
		Text: fmt.Sprintf("Larkfield Dumpling Kitchen: order K4%02d is ready at 17:%02d, park by the green gate.", i, i%60),
	}
	b.sent = append(b.sent, m)
	return m
}

// inbound makes the i-th text from outside.
func (b *bench) inbound(i int) adapters.Inbound {
	in := adapters.Inbound{
		ID: fmt.Sprintf("in-%d", i), From: b.rig.Number(50 + i),
		Text: fmt.Sprintf("I am here now in the grey golf number %d", i),
		At:   time.Date(2026, 3, 13, 17, i, 0, 0, time.UTC),
	}
	b.in = append(b.in, in)
	return in
}

// context ends with the case, or when patience does.
func (b *bench) context() context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	b.Cleanup(cancel)
	return ctx
}

// send hands one text over and keeps its error for noLeak.
func (b *bench) send(ctx context.Context, m adapters.Message) (adapters.Accepted, error) {
	acc, err := b.fx.Adapter.Send(ctx, m)
	b.keep(err)
	return acc, err
}

func (b *bench) keep(err error) {
	if err != nil {
		b.errs = append(b.errs, err)
	}
}

// refused checks that err is a *SendError of that outcome and fit for a cook.
func (b *bench) refused(err error, want adapters.Outcome) *adapters.SendError {
	b.Helper()
	require.Error(b, err)
	var se *adapters.SendError
	require.ErrorAs(b, err, &se, "Send returns no error but *SendError")
	require.Equal(b, want, se.Outcome, "outcome of: %v", err)
	require.NotEmpty(b, se.Reason, "a cook needs a reason")
	require.NotEmpty(b, se.Adapter, "the error must name its adapter")
	return se
}

// listen opens the way in and runs it until the case ends.
func (b *bench) listen(sink adapters.Sink) {
	b.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	if b.fx.Listen != nil {
		b.fx.Listen(ctx, sink)
		b.Cleanup(cancel)
		return
	}
	r, ok := b.fx.Adapter.(adapters.Receiver)
	if !ok {
		cancel()
		require.Fail(b, "the adapter is no Receiver and the fixture has no Listen")
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = r.Receive(ctx, sink) // it ends with ctx
	}()
	b.Cleanup(func() {
		cancel()
		<-done
	})
}

// until waits for something that must come.
func (b *bench) until(what string, ok func() bool) {
	b.Helper()
	require.Eventually(b, ok, patience, 2*time.Millisecond, what)
}

// taken checks that exactly these messages arrived, in any order.
func (b *bench) taken(want ...adapters.Message) {
	b.Helper()
	var exp []Taken
	for _, m := range want {
		exp = append(exp, Taken{To: m.To, Text: m.Text})
	}
	require.ElementsMatch(b, exp, b.peer.Taken(), "what arrived at the far side")
}

// noLeak checks that no error of the case, nor anything that it wraps, and no
// log line holds a secret, a customer's number or a customer's text.
func (b *bench) noLeak() {
	b.Helper()
	b.noLeakIn("log", b.log.String())
	for _, err := range b.errs {
		walk(err, func(e error) { b.noLeakIn("error", e.Error()) })
		walk(err, func(e error) { b.noLeakIn("error in full", fmt.Sprintf("%+v", e)) })
	}
}

func (b *bench) noLeakIn(where, s string) {
	b.Helper()
	for _, secret := range b.fx.Secrets {
		require.NotContains(b, s, secret, "%s gives a secret away", where)
	}
	hidden := func(number, text string) {
		local, _, _ := strings.Cut(number, "@")
		if digits := strings.TrimLeft(local, "+"); len(digits) > 6 {
			local = digits[len(digits)-7:]
		}
		require.NotContains(b, s, local, "%s gives a number or address away", where)
		for _, piece := range pieces(text) {
			require.NotContains(b, s, piece, "%s gives a text away", where)
		}
	}
	for _, m := range b.sent {
		hidden(m.To, m.Text)
	}
	for _, in := range b.in {
		hidden(in.From, in.Text)
	}
}

// pieces cuts a text into runs of four words: a text that leaks in part is a
// text that leaks.
func pieces(text string) []string {
	words := strings.Fields(text)
	var out []string
	for i := 0; i+4 <= len(words); i++ {
		out = append(out, strings.Join(words[i:i+4], " "))
	}
	return out
}

// walk visits an error and everything that it wraps.
func walk(err error, visit func(error)) {
	if err == nil {
		return
	}
	visit(err)
	switch u := err.(type) { //nolint:errorlint // the tree itself is walked
	case interface{ Unwrap() error }:
		walk(u.Unwrap(), visit)
	case interface{ Unwrap() []error }:
		for _, e := range u.Unwrap() {
			walk(e, visit)
		}
	}
}
