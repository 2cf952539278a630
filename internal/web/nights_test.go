package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/web"
)

// usualNight is what a configuration might hold.
func usualNight(c *web.Config) {
	c.NewNight = func(d night.Date) night.Night {
		instruct, _ := night.Instant(d.AddDays(-3), 18*60, london)
		return night.Night{
			Date: d, First: 16*60 + 30, Last: 19*60 + 30, Every: 10, Place: "the yard", ClosesAt: instruct, InstructAt: instruct,
			RemindBefore: 5 * time.Hour, RemindFrom: 9 * 60,
		}
	}
}

func TestTheFirstNightIsAddedFromThePages(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	server := httptest.NewServer(h.handler(usualNight))
	t.Cleanup(server.Close)
	v := newVisitor(t, server.URL)
	_, p := v.get("/more")
	says(t, p, "There is no night yet", "Add a night")
	_, p = v.get("/night/new")
	says(t, p, `value="16:30"`, `name="days" type="number" inputmode="numeric" min="0" max="60" value="3"`, `name="at" type="time" value="18:00"`)
	fields := url.Values{
		"date": {"2026-12-04"}, "first": {"17:00"}, "last": {"18:30"}, "place": {"5 Mill Lane"}, "parking": {"the yard"}, "every": {"15"}, "capacity": {"4"},
		"days": {"2"}, "at": {"12:00"}, "before": {"120"}, "remind": {"10:00"}, "once": {"a key"},
	}
	for range 2 { // two taps
		_, p = v.post("/night/new", fields)
		says(t, p, "Added: the night of Friday 4 December.", "Wed 2 Dec, 12:00", "in hand, orders open")
	}
	nights, err := h.desk.Nights(t.Context())
	require.NoError(t, err)
	require.Len(t, nights, 1)
	n := nights[0]
	noon := time.Date(2026, 12, 2, 12, 0, 0, 0, time.UTC) // London keeps UTC in December
	require.Equal(t, night.Night{
		ID: n.ID, KitchenID: n.KitchenID, Date: night.Date{Year: 2026, Month: 12, Day: 4}, First: 17 * 60, Last: 18*60 + 30, Every: 15, Capacity: 4,
		Place: "5 Mill Lane", Parking: "the yard", InstructAt: noon, ClosesAt: noon, RemindBefore: 2 * time.Hour, RemindFrom: 10 * 60,
	}, n)

	_, p = v.get("/night/new")
	says(t, p, `value="2026-12-11"`, `value="17:00"`)
	for name, tt := range map[string]struct{ field, value, says string }{
		"a second night on a date":      {"date", "2026-12-04", "exists already"},
		"no date":                       {"date", "friday", "is not a date"},
		"the last slot is none":         {"last", "18:40", "is not one of the slots"},
		"no place":                      {"place", " ", "told a place"},
		"a slot that the clocks skip":   {"date", "2027-03-28", "clocks go forward"},
		"days that are none":            {"days", "soon", "from 0 to 60"},
		"slots further than is usual":   {"every", "0", "10 is usual"},
		"instructions that are skipped": {"at", "", "time of day"},
	} {
		bad := url.Values{}
		for k, values := range fields {
			bad[k] = values
		}
		bad.Del("once")
		bad.Set("date", "2026-12-11")
		bad.Set(tt.field, tt.value)
		if tt.value == "2027-03-28" { // the clocks go forward at 01:00 (tz database, Europe/London)
			bad.Set("first", "01:00")
			bad.Set("last", "01:30")
		}
		_, p = v.post("/night/new", bad)
		require.Contains(t, p, tt.says, name)
		require.Contains(t, p, `name="parking" value="the yard"`, "%s: what was typed stays", name)
	}
	nights, err = h.desk.Nights(t.Context())
	require.NoError(t, err)
	require.Len(t, nights, 1)
}

func TestADeviceShowsAnotherNight(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	next := h.night
	next.ID, next.Date = 0, next.Date.AddDays(7)
	next, err := h.desk.AddNight(t.Context(), next, "cook")
	require.NoError(t, err)
	off := next
	off.ID, off.Date = 0, next.Date.AddDays(7)
	off, err = h.desk.AddNight(t.Context(), off, "cook")
	require.NoError(t, err)
	require.NoError(t, h.desk.CallOff(t.Context(), off.ID, "cook", ""))
	past := next
	past.ID, past.Date = 0, h.night.Date.AddDays(-14)
	_, err = h.desk.AddNight(t.Context(), past, "cook")
	require.NoError(t, err)
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	mine, other := newVisitor(t, server.URL), newVisitor(t, server.URL)

	_, p := mine.get("/night")
	says(t, p, "in hand, orders open", "Friday 11 December", "is called off", "1 night that is past", "Friday 20 November")
	_, before := mine.get("/orders/K401")
	require.Contains(t, before, "Bethan")
	_, p = mine.post("/night/show", url.Values{"show": {itoa(next.ID)}})
	says(t, p, "This device shows the night of Friday 11 December", "This device shows another night than the one in hand, Friday 4 December", "The night of Friday 11 December")
	code, _ := mine.get("/orders/K401")
	require.Equal(t, http.StatusNotFound, code, "the next night has no orders yet")
	_, p = other.get("/orders/K401")
	require.Contains(t, p, "Bethan", "the other device shows the night in hand")
	require.NotContains(t, p, "another night than")

	_, p = mine.post("/orders/K401/here", url.Values{"night": {itoa(h.night.ID)}, "back": {"/"}})
	says(t, p, "another night, so nothing was changed")
	require.Equal(t, night.Booked, h.order("K401").State)

	helper := newVisitor(t, server.URL)
	helper.post(helpLink(t, other, "Sam"), nil)
	code, _ = helper.post("/night/show", url.Values{"show": {itoa(next.ID)}})
	require.Equal(t, http.StatusForbidden, code)

	_, p = mine.post("/night/show", url.Values{"show": {""}})
	says(t, p, "as all do", "The night of Friday 4 December")
	_, p = mine.get("/orders/K401")
	require.Contains(t, p, "Bethan")
}
