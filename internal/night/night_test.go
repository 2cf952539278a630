package night_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

func friday() night.Night {
	return night.Night{
		Date: night.Date{Year: 2026, Month: time.December, Day: 4}, First: 990, Last: 1170, Every: 10,
		RemindBefore: 5 * time.Hour, RemindFrom: 540,
	}
}

func TestQuietHolds(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name     string
		quiet    night.Quiet
		in, outs []night.Clock
	}{
		{"over midnight", night.Quiet{From: 1260, To: 480}, []night.Clock{1260, 1439, 0, 479}, []night.Clock{480, 1259, 720}},
		{"within a day", night.Quiet{From: 720, To: 840}, []night.Clock{720, 839}, []night.Clock{719, 840, 0, 1439}},
		{"none", night.Quiet{}, nil, []night.Clock{0, 720, 1439}},
		{"none, not at midnight", night.Quiet{From: 600, To: 600}, nil, []night.Clock{0, 600, 1439}},
		{"up to midnight", night.Quiet{From: 1260, To: 0}, []night.Clock{1260, 1439}, []night.Clock{0, 1259}},
		{"all but a minute", night.Quiet{From: 0, To: 1439}, []night.Clock{0, 1438}, []night.Clock{1439}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for _, c := range tt.in {
				require.True(t, tt.quiet.Holds(c), c)
			}
			for _, c := range tt.outs {
				require.False(t, tt.quiet.Holds(c), c)
			}
		})
	}
}

// For every pair of ends, walking round the clock from one to the other.
func TestQuietHoldsAllRoundTheClock(t *testing.T) {
	t.Parallel()
	for from := night.Clock(0); from < 1440; from += 97 {
		for to := night.Clock(0); to < 1440; to += 89 {
			quiet := map[night.Clock]bool{}
			for c := from; c != to; c = c.Add(1) {
				quiet[c] = true
			}
			for c := range night.Clock(1440) {
				require.Equal(t, quiet[c], night.Quiet{From: from, To: to}.Holds(c), "%s to %s at %s", from, to, c)
			}
		}
	}
}

func TestSlots(t *testing.T) {
	t.Parallel()
	n := friday()
	slots := n.Slots()
	require.Len(t, slots, 19)
	require.Equal(t, "16:30", slots[0].String())
	require.Equal(t, "19:30", slots[18].String())
	for c := range night.Clock(1440) {
		in := false
		for _, s := range slots {
			in = in || s == c
		}
		require.Equal(t, in, n.HasSlot(c), c)
	}
	n.Every = 0
	require.Empty(t, n.Slots())
	require.False(t, n.HasSlot(990))
	n = friday()
	require.Equal(t, time.Date(2026, time.December, 4, 22, 0, 0, 0, time.UTC), n.SlotAt(1020, load(t, "America/New_York")))
}

func TestValidate(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, zone string
		change     func(n *night.Night)
		says       string // "" for a night that is well
	}{
		{"a usual Friday", "Europe/London", func(*night.Night) {}, ""},
		{"one slot", "Europe/London", func(n *night.Night) { n.Last = n.First }, ""},
		{"no reminders", "Europe/London", func(n *night.Night) { n.RemindBefore = 0 }, ""},
		{"up to the end of the day", "Europe/London", func(n *night.Night) { n.Last = 1430 }, ""},
		{"no date", "Europe/London", func(n *night.Night) { n.Date = night.Date{} }, "a night needs its date"},
		{"no slot length", "Europe/London", func(n *night.Night) { n.Every = 0 }, "slots of 0 minutes"},
		{"slots too long", "Europe/London", func(n *night.Night) { n.Every = 181 }, "slots of 181 minutes"},
		{"ends before it begins", "Europe/London", func(n *night.Night) { n.Last = 960 }, "the last slot 16:00 is before the first 16:30"},
		{"last slot off the grid", "Europe/London", func(n *night.Night) { n.Last = 1175 }, "the last slot 19:35 is not one of the slots that go from 16:30 every 10 minutes"},
		{"first slot before the day", "Europe/London", func(n *night.Night) { n.First = -10 }, "time of day"},
		{"last slot after the day", "Europe/London", func(n *night.Night) { n.Last = 1440 }, "time of day"},
		{"negative capacity", "Europe/London", func(n *night.Night) { n.Capacity = -1 }, "a capacity of -1"},
		{"reminder after the slot", "Europe/London", func(n *night.Night) { n.RemindBefore = -time.Minute }, "before the slot"},
		{
			"a slot that London skips", "Europe/London",
			func(n *night.Night) {
				n.Date, n.First, n.Last = night.Date{Year: 2026, Month: time.March, Day: 29}, 0, 120
			},
			"slot 01:00 does not exist on 2026-03-29: the clocks go forward",
		},
		{
			"a slot that London has twice", "Europe/London",
			func(n *night.Night) {
				n.Date, n.First, n.Last = night.Date{Year: 2026, Month: time.October, Day: 25}, 0, 120
			},
			"slot 01:00 comes twice on 2026-10-25: the clocks go back",
		},
		{
			"a slot that New York skips", "America/New_York",
			func(n *night.Night) {
				n.Date, n.First, n.Last = night.Date{Year: 2026, Month: time.March, Day: 8}, 120, 120
			},
			"slot 02:00 does not exist",
		},
		{
			"the evening of a change", "Australia/Sydney",
			func(n *night.Night) { n.Date = night.Date{Year: 2026, Month: time.October, Day: 4} },
			"",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			n := friday()
			tt.change(&n)
			err := n.Validate(load(t, tt.zone))
			if tt.says == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, tt.says)
		})
	}
}

func TestCurrent(t *testing.T) {
	t.Parallel()
	zone := load(t, "America/Los_Angeles")
	first, second, third := friday(), friday(), friday()
	second.Date, third.Date = second.Date.AddDays(7), third.Date.AddDays(14)
	nights := []night.Night{third, first, second}
	at := func(d night.Date, c night.Clock) time.Time {
		moment, _ := night.Instant(d, c, zone)
		return moment
	}
	tests := []struct {
		name string
		now  time.Time
		want night.Date
	}{
		{"before all", at(first.Date.AddDays(-30), 720), first.Date},
		{"during the first", at(first.Date, 1100), first.Date},
		{"after its last slot", at(first.Date.AddDays(1), 60), first.Date},
		{"the day after", at(first.Date.AddDays(1), 720), second.Date},
		{"during the last", at(third.Date, 1100), third.Date},
		{"long after all", at(third.Date.AddDays(90), 720), third.Date},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, ok := night.Current(nights, tt.now, zone)
			require.True(t, ok)
			require.Equal(t, tt.want, got.Date)
		})
	}
	_, ok := night.Current(nil, time.Time{}, zone)
	require.False(t, ok)
}

// TestEarliest compares Earliest with Over for nights around every hour of the
// days on which the clocks change, and a plain one.
func TestEarliest(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"Europe/London", "America/Chicago", "Asia/Kolkata", "Pacific/Apia"} {
		zone, err := time.LoadLocation(name)
		require.NoError(t, err)
		for _, day := range []time.Time{
			time.Date(2026, 3, 29, 0, 0, 0, 0, time.UTC), time.Date(2026, 10, 25, 0, 0, 0, 0, time.UTC),
			time.Date(2026, 3, 8, 0, 0, 0, 0, time.UTC), time.Date(2026, 12, 4, 0, 0, 0, 0, time.UTC),
		} {
			for step := range 96 {
				now := day.Add(time.Duration(step) * 30 * time.Minute)
				for _, now := range []time.Time{now, now.Add(time.Second), now.Add(-time.Millisecond)} {
					date, slot := night.Earliest(now, zone)
					for back := range 4 {
						for last := night.Clock(3 * 60); last < 24*60; last += 30 {
							n := night.Night{Date: night.DateOf(now.In(zone)).AddDays(-back), Last: last}
							later := date.Before(n.Date) || date == n.Date && n.Last >= slot
							require.Equal(t, !n.Over(now, zone), later, "%s: night of %s until %s at %s", name, n.Date, n.Last, now)
						}
					}
				}
			}
		}
	}
}
