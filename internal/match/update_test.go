package match_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/match"
	"passbell/internal/night"
)

// An index that was updated is as one that was made anew.
func TestUpdate(t *testing.T) {
	t.Parallel()
	golf := night.Vehicle{Make: "Volkswagen", Model: "Golf", Plate: "LX19KTO"}
	orders := []match.Order{
		{ID: 1, Ref: "K401", Name: "Bethan Cadwgan", Phone: "+447700900101", State: night.Booked},
		{ID: 2, Ref: "K402", Name: "Sarah Bell", Phone: "+447700900102", State: night.Booked, Vehicles: []night.Vehicle{golf}},
		{ID: 3, Ref: "K403", Name: "Sarah Price", Phone: "+447700900103", State: night.Booked},
	}
	x := match.New(orders)
	for _, change := range []func() int{
		func() int { orders[0].State = night.Arrived; return 0 },
		func() int { orders[0].Vehicles = []night.Vehicle{golf}; return 0 },
		func() int { orders[1].Vehicles = nil; return 1 },
		func() int { orders[0].Vehicles = []night.Vehicle{{Plate: "AB12CDE"}}; return 0 },
		func() int { orders[2].Vehicles, orders[2].Slot = []night.Vehicle{golf}, 17*60; return 2 },
		func() int { orders[1].Vehicles, orders[1].Note = []night.Vehicle{golf}, "for the club"; return 1 },
	} {
		i := change()
		require.True(t, x.Update(i, orders[i]))
		assert.Equal(t, match.New(orders), x)
	}
	for _, other := range []match.Order{
		{ID: 4, Ref: "K401", Name: "Bethan Cadwgan", Phone: "+447700900101"}, {ID: 1, Ref: "K499", Name: "Bethan Cadwgan", Phone: "+447700900101"},
		{ID: 1, Ref: "K401", Name: "Bethan Price", Phone: "+447700900101"}, {ID: 1, Ref: "K401", Name: "Bethan Cadwgan", Phone: ""},
	} {
		assert.False(t, x.Update(0, other))
	}
	assert.Equal(t, match.New(orders), x)
}
