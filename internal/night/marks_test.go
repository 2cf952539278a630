package night_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

func TestKeepMarks(t *testing.T) {
	t.Parallel()
	bao := night.Item{Qty: 2, Name: "Pork bao", Kind: night.Hot, Ticked: true}
	tea := night.Item{Qty: 1, Name: "Iced tea", Kind: night.Cold, Short: 1, AtGate: true}
	oil := night.Item{Qty: 3, Name: "Chilli oil", Kind: night.Extra, Short: 3}
	plain := func(it night.Item, qty int) night.Item { return night.Item{Qty: qty, Name: it.Name, Kind: it.Kind} }
	tests := []struct {
		name              string
		before, now, want []night.Item
	}{
		{"the same lines", []night.Item{bao, tea}, []night.Item{plain(bao, 2), plain(tea, 1)}, []night.Item{bao, tea}},
		{"in another order", []night.Item{bao, tea}, []night.Item{plain(tea, 1), plain(bao, 2)}, []night.Item{tea, bao}},
		{"one has more pieces", []night.Item{bao, tea}, []night.Item{plain(bao, 3), plain(tea, 1)}, []night.Item{plain(bao, 3), tea}},
		{"fewer pieces than were missing", []night.Item{oil}, []night.Item{plain(oil, 2)}, []night.Item{{Qty: 2, Name: "Chilli oil", Kind: night.Extra, Short: 2}}},
		{"another bag", []night.Item{bao}, []night.Item{{Qty: 2, Name: "Pork bao", Kind: night.Cold}}, []night.Item{{Qty: 2, Name: "Pork bao", Kind: night.Cold}}},
		{"one of two alike is ticked", []night.Item{bao, plain(bao, 2)}, []night.Item{plain(bao, 2), plain(bao, 2)}, []night.Item{bao, plain(bao, 2)}},
		{"the one with other pieces comes first", []night.Item{bao, plain(bao, 5)}, []night.Item{plain(bao, 5), plain(bao, 2)}, []night.Item{plain(bao, 5), bao}},
		{"a line is gone, another new", []night.Item{bao, tea}, []night.Item{plain(oil, 3), plain(tea, 1)}, []night.Item{plain(oil, 3), tea}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, night.KeepMarks(tt.before, tt.now))
		})
	}
}

func TestFindItem(t *testing.T) {
	t.Parallel()
	items := []night.Item{{Qty: 1, Name: "Pork bao"}, {Qty: 1, Name: "Iced tea"}, {Qty: 2, Name: "Pork bao"}}
	tests := []struct {
		name  string
		place int
		line  string
		want  int
		ok    bool
	}{
		{"as seen", 1, "Iced tea", 1, true},
		{"the second of two alike", 2, "Pork bao", 2, true},
		{"it stands elsewhere now", 0, "Iced tea", 1, true},
		{"past the end and known", 7, "Iced tea", 1, true},
		{"gone", 1, "Chilli oil", 0, false},
		{"by place alone", 1, "", 1, true},
		{"no such place", 3, "", 0, false},
		{"before the first", -1, "", 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, ok := night.FindItem(items, tt.place, tt.line)
			require.Equal(t, tt.ok, ok)
			require.Equal(t, tt.want, got)
		})
	}
}

func TestWhatIsMissing(t *testing.T) {
	t.Parallel()
	items := []night.Item{{Qty: 3, Name: "Pork bao", Short: 1}, {Qty: 1, Name: "Iced tea"}, {Qty: 2, Name: "Chilli oil", Short: 2}}
	require.Equal(t, "1 x Pork bao, 2 x Chilli oil", night.MissingLine(items))
	require.Empty(t, night.MissingLine(items[1:2]))
	require.False(t, items[0].Settled(), "two are to be packed")
	require.True(t, items[2].Settled(), "there is nothing to pack")
}
