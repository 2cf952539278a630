package longtext

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var friday = time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)

func aPart(ref uint16, total, seq int, text string) Part {
	return Part{
		Key: Key{Lane: "447700900123", From: "+447700900123", Kind: Ref8, Ref: ref, Total: uint8(total)},
		Seq: uint8(seq), Text: text,
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
		a := New(time.Minute, time.Hour)
		whole := 0
		for _, seq := range order {
			v := a.Add(friday, aPart(9, total, seq, fmt.Sprintf("<%d>", seq)))
			require.Nil(t, v.Pushed)
			switch {
			case v.Full != nil:
				whole++
				require.Equal(t, want, v.Full.Whole())
				a.Finish(friday, v.Full)
			case v.Again:
				require.Equal(t, 1, whole)
			default:
				require.NotNil(t, v.Waiting)
			}
		}
		require.Equal(t, 1, whole, "handed on once")
		require.Empty(t, a.open)
		require.Zero(t, a.size)
	})
}

func TestAssembleKeepsTextsApart(t *testing.T) {
	t.Parallel()
	a := New(time.Minute, time.Hour)
	require.NotNil(t, a.Add(friday, aPart(1, 2, 1, "a")).Waiting)
	require.NotNil(t, a.Add(friday, aPart(2, 2, 2, "b")).Waiting, "another reference")
	require.NotNil(t, a.Add(friday, aPart(1, 3, 2, "c")).Waiting, "another total")
	p := aPart(1, 2, 2, "d")
	p.Key.Kind = Ref16
	require.NotNil(t, a.Add(friday, p).Waiting, "another width of reference")
	p = aPart(1, 2, 2, "e")
	p.Key.From, p.Key.Lane = "+447700900124", "447700900124"
	require.NotNil(t, a.Add(friday, p).Waiting, "another sender")
	require.Equal(t, "af", a.Add(friday, aPart(1, 2, 2, "f")).Full.Whole())
}

func TestAssembleStoredAgainAfterAFailure(t *testing.T) {
	t.Parallel()
	a := New(time.Minute, time.Hour)
	a.Add(friday, aPart(1, 2, 1, "a"))
	require.NotNil(t, a.Add(friday, aPart(1, 2, 2, "b")).Full)
	// It could not be stored: finish is not called, and the centre delivers
	// one of the parts again.
	require.Equal(t, "ab", a.Add(friday, aPart(1, 2, 1, "a")).Full.Whole())
}

func TestAssembleReferenceWraps(t *testing.T) {
	t.Parallel()
	a := New(time.Minute, time.Hour)
	a.Add(friday, aPart(1, 2, 1, "old"))
	v := a.Add(friday, aPart(1, 2, 1, "new "))
	require.Equal(t, "old[part 2 of 2 did not arrive]", v.Pushed.Whole())
	require.NotNil(t, v.Waiting)
	a.Finish(friday, v.Pushed)
	require.Equal(t, "new text", a.Add(friday, aPart(1, 2, 2, "text")).Full.Whole())

	// The same reference after the text was stored: other words, another text.
	a = New(time.Minute, time.Hour)
	a.Add(friday, aPart(1, 2, 1, "a"))
	a.Finish(friday, a.Add(friday, aPart(1, 2, 2, "b")).Full)
	require.True(t, a.Add(friday, aPart(1, 2, 2, "b")).Again)
	require.NotNil(t, a.Add(friday, aPart(1, 2, 2, "c")).Waiting)
	require.True(t, a.Add(friday, aPart(1, 2, 1, "a")).Again, "a late copy of the first text")
	later := friday.Add(2 * time.Hour)
	require.NotNil(t, a.Add(later, aPart(1, 2, 1, "a")), "what was stored long ago is not remembered")
}

func TestAssembleTimeLimit(t *testing.T) {
	t.Parallel()
	a := New(time.Minute, time.Hour)
	a.Add(friday, aPart(1, 3, 1, "one "))
	a.Add(friday.Add(time.Second), aPart(2, 2, 2, "two"))
	a.Add(friday.Add(59*time.Second), aPart(1, 3, 3, " three"))
	require.Empty(t, a.Due(friday.Add(59*time.Second)))
	due := a.Due(friday.Add(61 * time.Second))
	require.Len(t, due, 2)
	require.Equal(t, "one [part 2 of 3 did not arrive] three", due[0].Whole())
	a.Finish(friday.Add(61*time.Second), due[0])
	require.True(t, a.Add(friday.Add(62*time.Second), aPart(1, 3, 3, " three")).Again)
	require.NotNil(t, a.Add(friday.Add(62*time.Second), aPart(1, 3, 2, "late")).Waiting, "the late part is not swallowed")
}

func TestAssembleIsBounded(t *testing.T) {
	t.Parallel()
	a := New(time.Minute, time.Hour)
	for i := range maxOpen {
		require.NotNil(t, a.Add(friday, aPart(uint16(i), 2, 1, "x")).Waiting)
	}
	require.True(t, a.Add(friday, aPart(maxOpen, 2, 1, "x")).NoRoom)
	require.NotNil(t, a.Add(friday, aPart(0, 2, 2, "y")).Full, "what is open can still be completed")

	a = New(time.Minute, time.Hour)
	big := string(make([]byte, maxOctet/2))
	require.NotNil(t, a.Add(friday, aPart(1, 3, 1, big)).Waiting)
	require.NotNil(t, a.Add(friday, aPart(1, 3, 2, big)).Waiting)
	require.True(t, a.Add(friday, aPart(1, 3, 3, "x")).NoRoom)
	for i := range 2*maxDone + 2 {
		v := a.Add(friday, aPart(uint16(i), 2, 1, ""))
		a.Finish(friday, v.Waiting)
	}
	require.LessOrEqual(t, len(a.done), maxDone)
	require.LessOrEqual(t, len(a.order), maxDone)
}

func FuzzAssembler(f *testing.F) {
	f.Add([]byte{1, 2, 1, 'a', 1, 2, 2, 'b', 1, 2, 2, 'b'})
	f.Add([]byte{1, 3, 3, 'a', 1, 3, 1, 'b', 1, 3, 1, 'c'})
	f.Fuzz(func(t *testing.T, b []byte) {
		b = b[:min(len(b), 1000)]
		a := New(5*time.Second, time.Minute)
		now := friday
		for ; len(b) >= 4; b = b[4:] {
			total, seq := int(b[1]%5)+2, 0
			seq = int(b[2])%total + 1
			now = now.Add(time.Duration(b[2]>>5) * time.Second)
			v := a.Add(now, aPart(uint16(b[0]%8), total, seq, string(b[3:4])))
			ways := 0
			for _, yes := range []bool{v.Again, v.Full != nil, v.Waiting != nil, v.NoRoom} {
				if yes {
					ways++
				}
			}
			require.Equal(t, 1, ways, "a part has one fate")
			if v.Full != nil {
				require.Zero(t, v.Full.left)
				require.Len(t, v.Full.Whole(), total)
				if b[0]&0x80 == 0 { // else it could not be stored
					a.Finish(now, v.Full)
				}
			}
			for _, g := range a.Due(now) {
				require.Positive(t, g.left)
				a.Finish(now, g)
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
