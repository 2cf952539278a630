package longtext_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"passbell/adapters/longtext"
)

func TestSplitGuards(t *testing.T) {
	t.Parallel()
	s := longtext.NewSplitter(254)
	for text, want := range map[string]error{
		"": longtext.ErrEmpty, "ready \xff": longtext.ErrNotUTF8, strings.Repeat("a", 255*153+1): longtext.ErrTooLong,
		strings.Repeat("a", 1<<20): longtext.ErrTooLong,
	} {
		_, err := s.Split(text, false)
		require.ErrorIs(t, err, want)
	}
	s = longtext.NewSplitter(254)
	var refs []int
	for range 3 {
		parts, err := s.Split(strings.Repeat("a", 200), false)
		require.NoError(t, err)
		require.Len(t, parts, 2)
		_, _, ref, ok := parts[1].ConcatInfo()
		require.True(t, ok)
		refs = append(refs, ref)
	}
	require.Equal(t, []int{255, 0, 1}, refs, "8 bits, one after the other")
	parts, err := s.Split("hello", true)
	require.NoError(t, err)
	require.Equal(t, "hello", longtext.DecodeUCS2(parts[0].UD))
}

// TestElement: numbers that cannot be make an element ignored (TS 23.040
// §9.2.3.24.1).
func TestElement(t *testing.T) {
	t.Parallel()
	for _, bad := range [][]byte{{7, 0, 0}, {7, 2, 0}, {7, 2, 3}, {7, 1, 1}, {7, 2}, {}} {
		var h longtext.Header
		h.Element(0x00, bad)
		require.Zero(t, h)
	}
	var h longtext.Header
	h.Element(0x08, []byte{1, 42, 3, 2})
	require.Equal(t, longtext.Header{Kind: longtext.Ref16, Ref: 0x012A, Total: 3, Seq: 2}, h)
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte("\x1be"), byte(0), byte(0))
	f.Add([]byte("\x1bg\x1b"), byte(1), byte(3))
	f.Fuzz(func(t *testing.T, b []byte, locking, shift byte) {
		var h longtext.Header
		h.Element(0x25, []byte{locking})
		h.Element(0x24, []byte{shift})
		require.True(t, utf8.ValidString(h.DecodeGSM7(b)))
		require.True(t, utf8.ValidString(longtext.DecodeUCS2(b)))
	})
}
