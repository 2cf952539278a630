package smpp

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var friday = time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)

func aPart(ref uint16, total, seq int, text string) part {
	return part{
		key: partKey{lane: "447700900123", from: "+447700900123", kind: ref8, ref: ref, total: uint8(total)},
		seq: uint8(seq), text: text,
	}
}

func TestAssembleInAnyOrderWithRepeats(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		total := rapid.IntRange(2, 12).Draw(t, "total")
		var order []int
		want := ""
		for i := range total {
			want += fmt.Sprintf("<%d>", i+1)
			for range rapid.IntRange(1, 3).Draw(t, "copies") {
				order = append(order, i+1)
			}
		}
		order = rapid.Permutation(order).Draw(t, "order")
		a := newAssembler(time.Minute, time.Hour)
		whole := 0
		for _, seq := range order {
			v := a.add(friday, aPart(9, total, seq, fmt.Sprintf("<%d>", seq)))
			require.Nil(t, v.pushed)
			switch {
			case v.full != nil:
				whole++
				require.Equal(t, want, v.full.whole(gap))
				a.finish(friday, v.full)
			case v.again:
				require.Equal(t, 1, whole)
			default:
				require.NotNil(t, v.waiting)
			}
		}
		require.Equal(t, 1, whole, "handed on once")
		require.Empty(t, a.open)
		require.Zero(t, a.size)
	})
}

func TestAssembleKeepsTextsApart(t *testing.T) {
	t.Parallel()
	a := newAssembler(time.Minute, time.Hour)
	require.NotNil(t, a.add(friday, aPart(1, 2, 1, "a")).waiting)
	require.NotNil(t, a.add(friday, aPart(2, 2, 2, "b")).waiting, "another reference")
	require.NotNil(t, a.add(friday, aPart(1, 3, 2, "c")).waiting, "another total")
	p := aPart(1, 2, 2, "d")
	p.key.kind = ref16
	require.NotNil(t, a.add(friday, p).waiting, "another width of reference")
	p = aPart(1, 2, 2, "e")
	p.key.from, p.key.lane = "+447700900124", "447700900124"
	require.NotNil(t, a.add(friday, p).waiting, "another sender")
	require.Equal(t, "af", a.add(friday, aPart(1, 2, 2, "f")).full.whole(gap))
}

func TestAssembleStoredAgainAfterAFailure(t *testing.T) {
	t.Parallel()
	a := newAssembler(time.Minute, time.Hour)
	a.add(friday, aPart(1, 2, 1, "a"))
	require.NotNil(t, a.add(friday, aPart(1, 2, 2, "b")).full)
	// It could not be stored: finish is not called, and the centre delivers
	// one of the parts again.
	require.Equal(t, "ab", a.add(friday, aPart(1, 2, 1, "a")).full.whole(gap))
}

func TestAssembleReferenceWraps(t *testing.T) {
	t.Parallel()
	a := newAssembler(time.Minute, time.Hour)
	a.add(friday, aPart(1, 2, 1, "old"))
	v := a.add(friday, aPart(1, 2, 1, "new "))
	require.Equal(t, "old[part 2 of 2 did not arrive]", v.pushed.whole(gap))
	require.NotNil(t, v.waiting)
	a.finish(friday, v.pushed)
	require.Equal(t, "new text", a.add(friday, aPart(1, 2, 2, "text")).full.whole(gap))

	// The same reference after the text was stored: other words, another text.
	a = newAssembler(time.Minute, time.Hour)
	a.add(friday, aPart(1, 2, 1, "a"))
	a.finish(friday, a.add(friday, aPart(1, 2, 2, "b")).full)
	require.True(t, a.add(friday, aPart(1, 2, 2, "b")).again)
	require.NotNil(t, a.add(friday, aPart(1, 2, 2, "c")).waiting)
	require.True(t, a.add(friday, aPart(1, 2, 1, "a")).again, "a late copy of the first text")
	later := friday.Add(2 * time.Hour)
	require.NotNil(t, a.add(later, aPart(1, 2, 1, "a")), "what was stored long ago is not remembered")
}

func TestAssembleTimeLimit(t *testing.T) {
	t.Parallel()
	a := newAssembler(time.Minute, time.Hour)
	a.add(friday, aPart(1, 3, 1, "one "))
	a.add(friday.Add(time.Second), aPart(2, 2, 2, "two"))
	a.add(friday.Add(59*time.Second), aPart(1, 3, 3, " three"))
	require.Empty(t, a.due(friday.Add(59*time.Second)))
	due := a.due(friday.Add(61 * time.Second))
	require.Len(t, due, 2)
	require.Equal(t, "one [part 2 of 3 did not arrive] three", due[0].whole(gap))
	a.finish(friday.Add(61*time.Second), due[0])
	require.True(t, a.add(friday.Add(62*time.Second), aPart(1, 3, 3, " three")).again)
	require.NotNil(t, a.add(friday.Add(62*time.Second), aPart(1, 3, 2, "late")).waiting, "the late part is not swallowed")
}

func TestAssembleIsBounded(t *testing.T) {
	t.Parallel()
	a := newAssembler(time.Minute, time.Hour)
	for i := range maxOpen {
		require.NotNil(t, a.add(friday, aPart(uint16(i), 2, 1, "x")).waiting)
	}
	require.True(t, a.add(friday, aPart(maxOpen, 2, 1, "x")).noRoom)
	require.NotNil(t, a.add(friday, aPart(0, 2, 2, "y")).full, "what is open can still be completed")

	a = newAssembler(time.Minute, time.Hour)
	big := string(make([]byte, maxOctet/2))
	require.NotNil(t, a.add(friday, aPart(1, 3, 1, big)).waiting)
	require.NotNil(t, a.add(friday, aPart(1, 3, 2, big)).waiting)
	require.True(t, a.add(friday, aPart(1, 3, 3, "x")).noRoom)
	for i := range 2*maxDone + 2 {
		v := a.add(friday, aPart(uint16(i), 2, 1, ""))
		a.finish(friday, v.waiting)
	}
	require.LessOrEqual(t, len(a.done), maxDone)
	require.LessOrEqual(t, len(a.order), maxDone)
}

func FuzzAssembler(f *testing.F) {
	f.Add([]byte{1, 2, 1, 'a', 1, 2, 2, 'b', 1, 2, 2, 'b'})
	f.Add([]byte{1, 3, 3, 'a', 1, 3, 1, 'b', 1, 3, 1, 'c'})
	f.Fuzz(func(t *testing.T, b []byte) {
		b = b[:min(len(b), 1000)]
		a := newAssembler(5*time.Second, time.Minute)
		now := friday
		for ; len(b) >= 4; b = b[4:] {
			total, seq := int(b[1]%5)+2, 0
			seq = int(b[2])%total + 1
			now = now.Add(time.Duration(b[2]>>5) * time.Second)
			v := a.add(now, aPart(uint16(b[0]%8), total, seq, string(b[3:4])))
			ways := 0
			for _, yes := range []bool{v.again, v.full != nil, v.waiting != nil, v.noRoom} {
				if yes {
					ways++
				}
			}
			require.Equal(t, 1, ways, "a part has one fate")
			if v.full != nil {
				require.Zero(t, v.full.left)
				require.Len(t, v.full.whole(gap), total)
				if b[0]&0x80 == 0 { // else it could not be stored
					a.finish(now, v.full)
				}
			}
			for _, g := range a.due(now) {
				require.Positive(t, g.left)
				a.finish(now, g)
			}
			size := 0
			for _, g := range a.open {
				for _, text := range g.texts {
					size += len(text)
				}
			}
			require.Equal(t, size, a.size)
			require.Len(t, a.order, len(a.done))
		}
	})
}

func TestRepeats(t *testing.T) {
	t.Parallel()
	const window = 2 * time.Minute
	mark := fingerprint("447700900123", "447700900999", "HERE", "", "")
	tests := []struct {
		name  string
		acked time.Duration // after the first time; -1 for never
		lost  bool
		again time.Duration
		same  bool
	}{
		{name: "refused, again a moment later", acked: -1, again: time.Second, same: true},
		{name: "refused, again the next day", acked: -1, again: 24 * time.Hour, same: true},
		{name: "acknowledged, again at once", acked: time.Second, again: 2 * time.Second, same: true},
		{name: "acknowledged, written again ten minutes later", acked: time.Second, again: 10 * time.Minute},
		{name: "acknowledged just now, in the next slice of time", acked: 110 * time.Second, again: 130 * time.Second, same: true},
		{name: "the acknowledgement was lost with the connection", acked: time.Second, lost: true, again: time.Hour, same: true},
		{name: "next Friday", acked: time.Second, lost: true, again: 7 * 24 * time.Hour},
		{name: "refused for a week", acked: -1, again: 7 * 24 * time.Hour},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := newRepeats(window)
			first := r.id(friday, mark)
			if tt.acked >= 0 {
				r.acked(friday.Add(tt.acked), mark, func() bool { return tt.lost })
			}
			again := r.id(friday.Add(tt.again), mark)
			require.Equal(t, tt.same, first == again)
		})
	}
}

func TestRepeatsAfterARestart(t *testing.T) {
	t.Parallel()
	mark := fingerprint("447700900123", "447700900999", "HERE", "", "")
	require.Equal(t, newRepeats(2*time.Minute).id(friday, mark), newRepeats(2*time.Minute).id(friday.Add(time.Minute), mark),
		"within a slice of time the id needs no memory")
	other := fingerprint("447700900123", "447700900999HERE", "", "", "")
	require.NotEqual(t, mark, other, "fields do not run into each other")
}

func TestRepeatsInOneSliceOfTime(t *testing.T) {
	t.Parallel()
	r := newRepeats(2 * time.Minute)
	mark := fingerprint("a")
	first := r.id(friday, mark)
	r.acked(friday.Add(-3*time.Minute), mark, nil) // acknowledged long enough ago
	second := r.id(friday, mark)
	require.NotEqual(t, first, second)
	for i := range maxSeen + 10 {
		r.id(friday, fingerprint(fmt.Sprint(i)))
	}
	require.LessOrEqual(t, len(r.seen), maxSeen)
}
