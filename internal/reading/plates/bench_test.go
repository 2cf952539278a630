package plates_test

import (
	"testing"

	"passbell/internal/reading/plates"
	"passbell/internal/reading/vehicles"
)

func BenchmarkFind(b *testing.B) {
	texts := map[string]string{
		"plate":    "hiya we're outside in a dark grey skoda octavia, LX19 KTO, by the bins",
		"no plate": "Hello, could you please tell me if there is any sesame in the cucumber salad? My son is allergic. Thank you",
		"times":    "can I move 5.40 to 6.20, order K417, ring me on 07700 900123",
		"spelled":  "reg is lima x-ray one nine kilo tango oscar",
	}
	for _, region := range [...]string{"GB", "US"} {
		for name, text := range texts {
			v := vehicles.Find(text, region)
			b.Run(region+"/"+name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					plates.FindWith(text, region, plates.Options{Vehicle: &v})
				}
			})
		}
	}
}
