package vehicles_test

import (
	"testing"

	"passbell/internal/reading/vehicles"
)

func BenchmarkFind(b *testing.B) {
	texts := map[string]string{
		"car":    "hiya we're outside in a dark grey skoda octavia estate, by the bins",
		"no car": "Hello, could you please tell me if there is any sesame in the cucumber salad? My son is allergic. Thank you",
		"slips":  "outsied now in the sliver nisan quashqia, sory im laet",
		"short":  "on my way x",
	}
	for name, text := range texts {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				vehicles.Find(text, "GB")
			}
		})
	}
}
