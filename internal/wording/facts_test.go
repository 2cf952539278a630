package wording_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/wording"
)

func kitchen(region string) night.Kitchen {
	return night.Kitchen{Name: "Larkfield Dumpling Kitchen", Region: region, Zone: time.UTC, Number: "+447700900100"}
}

func fridayNight() night.Night {
	return night.Night{
		Date: night.Date{Year: 2026, Month: time.December, Day: 4}, Every: 10,
		Place: "14 Mill Lane, Larkfield", Parking: "by the green gate",
	}
}

func order(ref, name string, slot night.Clock) night.Order {
	return night.Order{Ref: ref, Name: name, Slot: slot, Bag: 7}
}

const (
	ten17  = night.Clock(17*60 + 10)
	half17 = night.Clock(17*60 + 30)
)

// Days and times as CLDR 48 has them for the region (Node's Intl, en-XX and
// es-XX), but for commas, the blank before pm and the accent of sábado: "p.m."
// and á cost more than they say.
func TestTheMannerOfTheRegion(t *testing.T) {
	t.Parallel()
	tests := []struct {
		region, lang        string
		slot, day, date     string
		orderTimes, carSays string
	}{
		{"GB", "en", "17:10", "Friday 4 December", "Fri 4 Dec", "order K420 at 17:10", "car, colour and plate"},
		{"IE", "en", "17:10", "Friday 4 December", "Fri 4 Dec", "order K420 at 17:10", "car, colour and plate"},
		{"AU", "en", "5:10 pm", "Friday 4 December", "Fri 4 Dec", "order K420 at 5:10 pm", "car, colour and plate"},
		{"US", "en", "5:10 pm", "Friday, December 4", "Fri Dec 4", "order K420 at 5:10 pm", "car, color and plate"},
		{"CA", "en", "5:10 pm", "Friday, December 4", "Fri Dec 4", "order K420 at 5:10 pm", "car, colour and plate"},
		{"us", "en", "5:10 pm", "Friday, December 4", "Fri Dec 4", "order K420 at 5:10 pm", "car, color and plate"},
		{"", "en", "17:10", "Friday 4 December", "Fri 4 Dec", "order K420 at 17:10", "car, colour and plate"},
		{"US", "es", "5:10 pm", "viernes 4 de diciembre", "vie 4 dic", "el pedido K420 a las 5:10 pm", "auto, color y placa"},
		{"ES", "es", "17:10", "viernes 4 de diciembre", "vie 4 dic", "el pedido K420 a las 17:10", "auto, color y placa"},
	}
	for _, tt := range tests {
		t.Run(tt.region+" "+tt.lang, func(t *testing.T) {
			t.Parallel()
			f := wording.FactsFor(kitchen(tt.region), fridayNight(), []night.Order{order("K420", "Bethan Cadwgan", ten17)}, tt.lang)
			require.Equal(t, tt.slot, f.Slot)
			require.Equal(t, tt.day, f.Day)
			require.Equal(t, tt.date, f.Date)
			require.Equal(t, tt.orderTimes, f.OrderTimes)
			require.Equal(t, tt.carSays, f.CarWords)
		})
	}
}

func TestClockWords(t *testing.T) {
	t.Parallel()
	tests := []struct {
		slot     night.Clock
		gb, us   string
		spanish  string
		spanish2 string
	}{
		{0, "00:00", "12:00 am", "a las 00:00", "a las 12:00 am"},
		{5, "00:05", "12:05 am", "a las 00:05", "a las 12:05 am"},
		{9*60 + 5, "09:05", "9:05 am", "a las 09:05", "a las 9:05 am"},
		{12 * 60, "12:00", "12:00 pm", "a las 12:00", "a las 12:00 pm"},
		{13 * 60, "13:00", "1:00 pm", "a las 13:00", "a la 1:00 pm"},
		{60 + 30, "01:30", "1:30 am", "a la 01:30", "a la 1:30 am"},
		{23*60 + 59, "23:59", "11:59 pm", "a las 23:59", "a las 11:59 pm"},
	}
	for _, tt := range tests {
		t.Run(tt.gb, func(t *testing.T) {
			t.Parallel()
			o := []night.Order{order("K1", "", tt.slot)}
			require.Equal(t, "order K1 at "+tt.gb, wording.FactsFor(kitchen("GB"), fridayNight(), o, "en").OrderTimes)
			require.Equal(t, "order K1 at "+tt.us, wording.FactsFor(kitchen("US"), fridayNight(), o, "en").OrderTimes)
			require.Equal(t, "el pedido K1 "+tt.spanish, wording.FactsFor(kitchen("ES"), fridayNight(), o, "es").OrderTimes)
			require.Equal(t, "el pedido K1 "+tt.spanish2, wording.FactsFor(kitchen("US"), fridayNight(), o, "es").OrderTimes)
		})
	}
}

func TestSeveralOrdersAreAllNamed(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name        string
		orders      []night.Order
		refs, times string
		spanish     string
		first, slot string
	}{
		{
			"none", nil, "", "", "", "", "",
		},
		{
			"two slots", []night.Order{order("K443", "Bethan Cadwgan", half17), order("K420", "Bethan Cadwgan", ten17)},
			"orders K420 and K443", "orders K420 at 17:10 and K443 at 17:30", "los pedidos K420 a las 17:10 y K443 a las 17:30", "Bethan", "17:10",
		},
		{
			"one slot", []night.Order{order("K443", "Bethan Cadwgan", ten17), order("K420", "Bethan Cadwgan", ten17)},
			"orders K420 and K443", "orders K420 and K443 at 17:10", "los pedidos K420 y K443 a las 17:10", "Bethan", "17:10",
		},
		{
			"three", []night.Order{order("K1", "Nimmi Perera", ten17), order("K2", "Dilan Perera", ten17), order("K3", "Nimmi Perera", half17)},
			"orders K1, K2 and K3", "orders K1 at 17:10, K2 at 17:10 and K3 at 17:30", "los pedidos K1 a las 17:10, K2 a las 17:10 y K3 a las 17:30", "Nimmi and Dilan", "17:10",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f := wording.FactsFor(kitchen("GB"), fridayNight(), tt.orders, "en")
			require.Equal(t, tt.refs, f.OrderRefs)
			require.Equal(t, tt.times, f.OrderTimes)
			require.Equal(t, tt.first, f.First)
			require.Equal(t, tt.slot, f.Slot)
			require.Len(t, f.Orders, len(tt.orders))
			es := wording.FactsFor(kitchen("GB"), fridayNight(), tt.orders, "es")
			require.Equal(t, tt.spanish, es.OrderTimes)
		})
	}
}

func TestGreeting(t *testing.T) {
	t.Parallel()
	tests := []struct{ name, want string }{
		{"Bethan Cadwgan", "Bethan"},
		{"BETHAN CADWGAN", "Bethan"},
		{"Cadwgan, Bethan", "Bethan"},
		{"CADWGAN, BETHAN", "Bethan"},
		{"Cadwgan,", "Cadwgan,"},
		{"Mrs Bell", "Mrs Bell"},
		{"Dr. Solanki", "Dr. Solanki"},
		{"JJ Brown", "JJ"},
		{"Zoë", "Zoë"},
		{"ÉLODIE MARTIN", "Élodie"},
		{"Siân O’Brien", "Siân"},
		{"O’Brien", "O'Brien"},
		{"  Priya \t Solanki ", "Priya"},
		{"", ""},
		{" ", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f := wording.FactsFor(kitchen("GB"), fridayNight(), []night.Order{order("K1", tt.name, ten17)}, "en")
			require.Equal(t, tt.want, f.First)
		})
	}
}

func TestWhatABookBringsInIsTidied(t *testing.T) {
	t.Parallel()
	k, n := kitchen("GB"), fridayNight()
	k.Name = "Larkfield’s\nKitchen "
	n.Place = "the yard –\u00a0behind “14 Mill Lane”. "
	n.Parking = "by the gate;"
	f := wording.FactsFor(k, n, []night.Order{order("K\t1", "Zoë\u00a0 O’Brien", ten17)}, "en")
	require.Equal(t, "Larkfield's Kitchen", f.Kitchen)
	require.Equal(t, `the yard - behind "14 Mill Lane"`, f.Place)
	require.Equal(t, "by the gate", f.Parking)
	require.Equal(t, "Zoë O'Brien", f.Name)
	require.Equal(t, "K 1", f.Orders[0].Ref)
}

func TestOneSpaceBetweenWords(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"": "", " ": "", "a": "a", " a": "a", "a ": "a", "a b": "a b", "a  b": "a b", "a\tb": "a b", "a\x7fb": "a b", "a\r\nb": "a b", "~ !": "~ !", "ñ  b": "ñ b",
	} {
		require.Equal(t, want, wording.FactsFor(night.Kitchen{Name: in}, night.Night{}, nil, "en").Kitchen, "%q", in)
	}
}

func TestDelayed(t *testing.T) {
	t.Parallel()
	f := wording.FactsFor(kitchen("US"), fridayNight(), []night.Order{order("K443", "", half17), order("K420", "", ten17)}, "en")
	require.Equal(t, f.Slot, f.Later)
	late := f.Delayed(25)
	require.Equal(t, 25, late.Minutes)
	require.Equal(t, "5:35 pm", late.Later)
	require.Equal(t, "orders K420 at 5:35 pm and K443 at 5:55 pm", late.LaterTimes)
	require.Equal(t, "5:55 pm", late.Orders[1].Later)
	require.Equal(t, "5:30 pm", f.Orders[1].Later, "the facts it came from stay as they were")
	require.Equal(t, "5:50 pm", late.Delayed(40).Later, "counted from the slot")
	require.Empty(t, wording.FactsFor(kitchen("US"), fridayNight(), nil, "en").Delayed(10).Later)
}

func TestSeenAndExpecting(t *testing.T) {
	t.Parallel()
	f := wording.FactsFor(kitchen("US"), fridayNight(), nil, "en")
	require.Empty(t, f.Vehicle)
	require.Equal(t, "silver Ford Fiesta AB12CDE", f.Seen(night.Vehicle{
		Colours: []string{"silver", "blue"}, Make: "Ford", Model: "Fiesta", Plate: "AB12CDE", PlatePart: "CDE",
	}).Vehicle)
	require.Equal(t, "white van KTD", f.Seen(night.Vehicle{Colours: []string{"white"}, Body: "van", PlatePart: "KTD"}).Vehicle)
	require.Equal(t, "6:40 pm", f.Expecting(18*60+40).Expected)

	one, two := order("K420", "", ten17), order("K443", "", half17)
	two.Vehicle = night.Vehicle{Body: "van"}
	two.ExpectedAt = time.Date(2026, time.December, 4, 17, 45, 0, 0, time.UTC)
	f = wording.FactsFor(kitchen("US"), fridayNight(), []night.Order{two, one}, "en")
	require.Equal(t, "van", f.Vehicle)
	require.Equal(t, "5:45 pm", f.Expected)
}

func TestANightWithoutADate(t *testing.T) {
	t.Parallel()
	for _, lang := range []string{"en", "es"} {
		f := wording.FactsFor(kitchen("US"), night.Night{}, nil, lang)
		require.Empty(t, f.Day+f.Date+f.OrderRefs+f.OrderTimes)
	}
}
