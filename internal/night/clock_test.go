package night_test

import (
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

func TestParseClock(t *testing.T) {
	t.Parallel()
	good := map[string]night.Clock{
		"00:00": 0, "0:00": 0, "9:05": 545, "09:05": 545, "16:30": 990, "23:59": 1439,
	}
	for in, want := range good {
		got, err := night.ParseClock(in)
		require.NoError(t, err, in)
		require.Equal(t, want, got, in)
	}
	for _, in := range []string{
		"", "16", "16:", ":30", "24:00", "12:60", "16:3", "16:300", "016:30", "-1:00", "+9:05", "9:+5", "16:-5",
		" 16:30", "16:30 ", "16 :30", "16.30", "4:30pm", "16:30:00", "１６:30", "1６:30", "16:30\x00", "ab:cd",
	} {
		_, err := night.ParseClock(in)
		require.ErrorContains(t, err, "is not a time of day: write it as 16:30", "%q", in)
	}
}

func TestClock(t *testing.T) {
	t.Parallel()
	require.Equal(t, "09:05", night.Clock(545).String())
	require.Equal(t, night.Clock(5), night.Clock(1435).Add(10))
	require.Equal(t, night.Clock(1435), night.Clock(5).Add(-10))
	require.Equal(t, night.Clock(5), night.Clock(5).Add(-48*60))
	b, err := night.Clock(990).MarshalText()
	require.NoError(t, err)
	require.Equal(t, "16:30", string(b))
	var c night.Clock
	require.NoError(t, c.UnmarshalText([]byte("17:10")))
	require.Equal(t, night.Clock(1030), c)
	require.Error(t, c.UnmarshalText([]byte("25:10")))
	require.Equal(t, night.Clock(1030), c, "left as it was")
	require.Equal(t, night.Clock(61), night.ClockOf(time.Date(2026, time.December, 4, 1, 1, 59, 0, time.UTC)))
}

func TestDate(t *testing.T) {
	t.Parallel()
	d, err := night.ParseDate("2026-12-04")
	require.NoError(t, err)
	require.Equal(t, night.Date{Year: 2026, Month: time.December, Day: 4}, d)
	require.Equal(t, "2026-12-04", d.String())
	require.Equal(t, time.Friday, d.Weekday())
	require.Equal(t, "Fri 4 Dec", d.Format("Mon 2 Jan"))
	require.Equal(t, "2027-01-01", d.AddDays(28).String())
	require.Equal(t, "2026-10-25", d.AddDays(-40).String())
	require.Equal(t, "2028-02-29", night.Date{Year: 2028, Month: time.February, Day: 28}.AddDays(1).String())
	require.True(t, d.Before(d.AddDays(1)))
	require.False(t, d.Before(d))
	require.False(t, d.AddDays(1).Before(d))
	require.False(t, d.IsZero())
	require.True(t, night.Date{}.IsZero())

	for _, in := range []string{"", "2026-02-30", "2027-02-29", "2026-13-01", "2026-1-2", "04/12/2026", "2026-12-04T00:00:00Z", "26-12-04"} {
		_, err := night.ParseDate(in)
		require.ErrorContains(t, err, "is not a date: write it as 2026-12-04", "%q", in)
	}
	b, err := d.MarshalText()
	require.NoError(t, err)
	var back night.Date
	require.NoError(t, back.UnmarshalText(b))
	require.Equal(t, d, back)
	require.Error(t, back.UnmarshalText([]byte("soon")))
	require.Equal(t, d, back, "left as it was")
}

// Row 18 of the fault reports: the night's date is a plain date wherever the
// server stands.
func TestDateIsTheSameWhereverItIsRead(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"UTC", "America/Los_Angeles", "Pacific/Auckland"} {
		zone := load(t, name)
		d := night.Date{Year: 2026, Month: time.December, Day: 4}
		for _, c := range []night.Clock{0, 720, 1439} {
			at, fit := night.Instant(d, c, zone)
			require.Equal(t, night.Once, fit)
			require.Equal(t, d, night.DateOf(at.In(zone)))
			require.Equal(t, c, night.ClockOf(at.In(zone)))
		}
	}
}

func load(t *testing.T, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	return zone
}

// The published rule and its examples: RFC 5545 §3.3.5 for New York in 2007, the
// rest from the table of gaps and overlaps in standards.md §10 (IANA 2025b).
func TestInstant(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, zone, date, clock, want string
		fit                           night.Fit
	}{
		{"RFC 5545, twice", "America/New_York", "2007-11-04", "01:30", "2007-11-04T01:30:00-04:00", night.Twice},
		{"RFC 5545, skipped", "America/New_York", "2007-03-11", "02:30", "2007-03-11T03:30:00-04:00", night.Skipped},
		{"London, skipped", "Europe/London", "2026-03-29", "01:30", "2026-03-29T02:30:00+01:00", night.Skipped},
		{"London, twice", "Europe/London", "2026-10-25", "01:30", "2026-10-25T01:30:00+01:00", night.Twice},
		{"Dublin, skipped", "Europe/Dublin", "2027-03-28", "01:00", "2027-03-28T02:00:00+01:00", night.Skipped},
		{"Dublin, twice", "Europe/Dublin", "2027-10-31", "01:59", "2027-10-31T01:59:00+01:00", night.Twice},
		{"Paris, skipped", "Europe/Paris", "2026-03-29", "02:30", "2026-03-29T03:30:00+02:00", night.Skipped},
		{"Paris, twice", "Europe/Paris", "2026-10-25", "02:30", "2026-10-25T02:30:00+02:00", night.Twice},
		{"New York, skipped", "America/New_York", "2026-03-08", "02:30", "2026-03-08T03:30:00-04:00", night.Skipped},
		{"New York, twice", "America/New_York", "2026-11-01", "01:30", "2026-11-01T01:30:00-04:00", night.Twice},
		{"Chicago, skipped", "America/Chicago", "2027-03-14", "02:00", "2027-03-14T03:00:00-05:00", night.Skipped},
		{"Los Angeles, twice", "America/Los_Angeles", "2027-11-07", "01:00", "2027-11-07T01:00:00-07:00", night.Twice},
		{"Sydney, skipped", "Australia/Sydney", "2026-10-04", "02:30", "2026-10-04T03:30:00+11:00", night.Skipped},
		{"Sydney, twice", "Australia/Sydney", "2026-04-05", "02:30", "2026-04-05T02:30:00+11:00", night.Twice},
		{"Adelaide, skipped", "Australia/Adelaide", "2026-10-04", "02:30", "2026-10-04T03:30:00+10:30", night.Skipped},
		{"Adelaide, twice", "Australia/Adelaide", "2026-04-05", "02:30", "2026-04-05T02:30:00+10:30", night.Twice},
		{"Lord Howe, half an hour skipped", "Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-04T02:45:00+11:00", night.Skipped},
		{"Lord Howe, half an hour twice", "Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-05T01:45:00+11:00", night.Twice},
		{"Auckland, skipped", "Pacific/Auckland", "2026-09-27", "02:30", "2026-09-27T03:30:00+13:00", night.Skipped},
		{"Auckland, twice", "Pacific/Auckland", "2026-04-05", "02:30", "2026-04-05T02:30:00+13:00", night.Twice},
		{"Brisbane never changes", "Australia/Brisbane", "2026-10-04", "02:30", "2026-10-04T02:30:00+10:00", night.Once},
		{"Kolkata never changes", "Asia/Kolkata", "2026-03-29", "01:30", "2026-03-29T01:30:00+05:30", night.Once},
		{"London, minute before the gap", "Europe/London", "2026-03-29", "00:59", "2026-03-29T00:59:00Z", night.Once},
		{"London, minute after the gap", "Europe/London", "2026-03-29", "02:00", "2026-03-29T02:00:00+01:00", night.Once},
		{"London, minute before the overlap", "Europe/London", "2026-10-25", "00:59", "2026-10-25T00:59:00+01:00", night.Once},
		{"London, minute after the overlap", "Europe/London", "2026-10-25", "02:00", "2026-10-25T02:00:00Z", night.Once},
		{"Apia, a whole day skipped", "Pacific/Apia", "2011-12-30", "12:00", "2011-12-31T12:00:00+14:00", night.Skipped}, // IANA, from memory
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d, err := night.ParseDate(tt.date)
			require.NoError(t, err)
			c, err := night.ParseClock(tt.clock)
			require.NoError(t, err)
			want, err := time.Parse(time.RFC3339, tt.want)
			require.NoError(t, err)
			got, fit := night.Instant(d, c, load(t, tt.zone))
			require.Equal(t, want.UTC(), got)
			require.Equal(t, tt.fit, fit)
		})
	}
}

// Every minute of the days around each change, against a search through all
// instants: what the clock on the wall shows decides.
func TestInstantAgainstEveryMinute(t *testing.T) {
	t.Parallel()
	changes := map[string][]string{
		"Europe/London":       {"2026-03-29", "2026-10-25", "2027-03-28", "2027-10-31"},
		"Europe/Dublin":       {"2026-03-29", "2026-10-25"},
		"Europe/Paris":        {"2026-03-29", "2026-10-25"},
		"America/New_York":    {"2026-03-08", "2026-11-01", "2027-03-14", "2027-11-07"},
		"America/Anchorage":   {"2026-03-08", "2026-11-01"},
		"Australia/Sydney":    {"2026-10-04", "2026-04-05", "2027-10-03", "2027-04-04"},
		"Australia/Lord_Howe": {"2026-10-04", "2026-04-05"},
		"Pacific/Auckland":    {"2026-09-27", "2026-04-05"},
		"America/Phoenix":     {"2026-03-08"},
	}
	for name, dates := range changes {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			zone := load(t, name)
			for _, s := range dates {
				change, err := night.ParseDate(s)
				require.NoError(t, err)
				for _, d := range []night.Date{change.AddDays(-1), change, change.AddDays(1)} {
					checkDay(t, d, zone)
				}
			}
		})
	}
}

func checkDay(t *testing.T, d night.Date, zone *time.Location) {
	t.Helper()
	shown := map[night.Clock][]time.Time{}
	at := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Add(-24 * time.Hour)
	var forward time.Time // the first minute after the clocks went forward
	for end := at.Add(72 * time.Hour); at.Before(end); at = at.Add(time.Minute) {
		local := at.In(zone)
		if night.DateOf(local) == d {
			shown[night.ClockOf(local)] = append(shown[night.ClockOf(local)], at)
			_, was := at.Add(-time.Minute).In(zone).Zone()
			if _, is := local.Zone(); is > was {
				forward = at
			}
		}
	}
	for c := range night.Clock(24 * 60) {
		got, fit := night.Instant(d, c, zone)
		switch moments := shown[c]; len(moments) {
		case 0:
			_, was := forward.Add(-time.Minute).In(zone).Zone()
			old := time.Date(d.Year, d.Month, d.Day, int(c)/60, int(c)%60, 0, 0, time.FixedZone("before", was))
			require.Equal(t, night.Skipped, fit, "%s %s", d, c)
			require.True(t, old.Equal(got), "%s %s: %s", d, c, got)
			require.False(t, got.Before(forward), "it lands after the gap")
		case 1:
			require.Equal(t, night.Once, fit, "%s %s", d, c)
			require.True(t, moments[0].Equal(got), "%s %s: %s", d, c, got)
		default:
			require.Equal(t, night.Twice, fit, "%s %s", d, c)
			require.True(t, moments[0].Equal(got), "%s %s: %s", d, c, got)
		}
	}
}

func FuzzParseClock(f *testing.F) {
	for _, s := range []string{"16:30", "9:05", "24:00", "", "1:2:3", "+1:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := night.ParseClock(s)
		if err != nil {
			return
		}
		require.True(t, c >= 0 && c < 24*60)
		require.Contains(t, []string{s, "0" + s}, c.String())
	})
}
