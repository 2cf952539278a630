package web

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

func TestFind(t *testing.T) {
	t.Parallel()
	orders := []night.Order{
		{Ref: "K401", Bag: 7, Name: "Bethan Cadwgan", Phone: "+447700900888", PhoneTyped: "07700 900888"},
		{Ref: "K402", Bag: 12, Name: "Zsófia Kertész", Phone: "+447700900012", Vehicle: night.Vehicle{Plate: "LX19KTO"}},
		{Ref: "K407", Bag: 401, Name: "Beth O'Dowd", Phone: "+447700900777", Vehicle: night.Vehicle{PlatePart: "KTO"}},
		{Ref: "A-12", Bag: 3, Name: "Mary-Jane Bell", PhoneTyped: "0113 496 0123"},
	}
	tests := []struct {
		typed string
		want  []string
	}{
		{"", []string{"K401", "K402", "K407", "A-12"}},
		{"beth", []string{"K401", "K407"}},
		{"BETHAN cad", []string{"K401"}},
		{"zsofia", []string{"K402"}},
		{"kertész", []string{"K402"}},
		{"odowd", []string{"K407"}},
		{"o’dowd", []string{"K407"}},
		{"k401", []string{"K401"}},
		{"401", []string{"K407", "K401"}}, // the bag before what only holds the digits
		{"#12", []string{"K402", "A-12"}},
		{"888", []string{"K401"}},
		{"07700900888", []string{"K401"}},
		{"123", []string{"A-12"}},
		{"lx19kto", []string{"K402"}},
		{"lx19 kto", []string{"K402"}},
		{"kto", []string{"K407", "K402"}}, // the whole of what is known before a part
		{"a-12", []string{"A-12"}},
		{"nobody", []string{}},
		{"beth 12", []string{}},
	}
	for _, tt := range tests {
		t.Run(tt.typed, func(t *testing.T) {
			t.Parallel()
			got := []string{}
			for _, o := range find(orders, tt.typed) {
				got = append(got, o.Ref)
			}
			require.Equal(t, tt.want, got)
		})
	}
}

func TestSpan(t *testing.T) {
	t.Parallel()
	tongues := tonguesIn(t, "GB")
	for d, want := range map[time.Duration]string{
		0: "under 1 min", 59 * time.Second: "under 1 min", time.Minute: "1 min", 59*time.Minute + 59*time.Second: "59 min",
		61 * time.Minute: "1 h 01 min", 24 * time.Hour: "1 day", 50 * time.Hour: "2 days",
	} {
		require.Equal(t, want, tongues["en"].span(d), d)
	}
}

func TestTimesAreWrittenAsInTheRegion(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 12, 4, 17, 5, 0, 0, time.UTC)
	for region, want := range map[string]string{"GB": "17:05", "IE": "17:05", "US": "5:05 pm", "AU": "5:05 pm"} {
		s := &site{Config: Config{Kitchen: night.Kitchen{Region: region, Zone: time.UTC}}, tongue: &tongue{lang: "en", region: region}}
		require.Equal(t, want, s.clock(at), region)
	}
}

func TestSwatch(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{"Dark blue": "blue", "gray": "grey", "metallic silver": "silver", "champagne": ""} {
		require.Equal(t, want, swatch(name), name)
	}
}

func TestLoopback(t *testing.T) {
	t.Parallel()
	for host, want := range map[string]bool{
		"127.0.0.1:80": true, "127.9.9.9": true, "[::1]:80": true, "::1": true, "LOCALHOST": true,
		"": false, "larkfield.LOCALHOST:8737": true, "evillocalhost": false, "localhost.evil.example": false, "127.0.0.1.evil.example:80": false, "0.0.0.0:80": false, "192.168.1.5": false,
	} {
		require.Equal(t, want, loopback(host), host)
	}
}

func TestTakesGzip(t *testing.T) {
	t.Parallel()
	for header, want := range map[string]bool{"gzip": true, "br, gzip;q=0.8": true, "": false, "br": false, "gzip;q=0": false, "xgzip": false} {
		require.Equal(t, want, takesGzip(&http.Request{Header: http.Header{"Accept-Encoding": {header}}}), header)
	}
}
