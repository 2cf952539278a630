package gateway

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Numbers reserved for fiction: Ofcom 07700 900000 to 900999, NANPA 555-0100 to
// 555-0199.
const (
	larkNumber = "+447700900100"
	millNumber = "+447700900200"
	usNumber   = "+12025550143"
)

func TestAddressed(t *testing.T) {
	t.Parallel()
	all := []sharer{
		{ID: 1, Region: "GB", Number: larkNumber}, {ID: 2, Region: "GB", Number: millNumber},
		{ID: 3, Region: "GB", Number: millNumber}, {ID: 4, Region: "GB"}, {ID: 5, Region: "US", Number: usNumber},
	}
	for name, tt := range map[string]struct {
		to   string
		want []int64
	}{
		"as networks write it":            {larkNumber, []int64{1}},
		"without the plus":                {"447700900100", []int64{1}},
		"with the prefix of other lands":  {"00447700900100", []int64{1}},
		"as its country writes it":        {"07700 900100", []int64{1}},
		"as another country writes it":    {"(202) 555-0143", []int64{5}},
		"a number of two":                 {millNumber, []int64{2, 3}},
		"a number that nobody has":        {"+447700900999", []int64{1, 2, 3, 4, 5}},
		"none: a modem does not tell":     {"", []int64{1, 2, 3, 4, 5}},
		"a short code":                    {"60777", []int64{1, 2, 3, 4, 5}},
		"an address":                      {"orders@larkfield.example", []int64{1, 2, 3, 4, 5}},
		"one of several numbers in a row": {larkNumber + " " + millNumber, []int64{1, 2, 3, 4, 5}},
	} {
		var got []int64
		for _, k := range addressed(tt.to, all) {
			got = append(got, k.ID)
		}
		assert.Equal(t, tt.want, got, name)
	}
}

func TestRoute(t *testing.T) {
	t.Parallel()
	kitchens := func(expect ...bool) (out []sharer) {
		for i, e := range expect {
			out = append(out, sharer{ID: int64(i + 1), Expects: e})
		}
		return out
	}
	for name, tt := range map[string]struct {
		kitchens []sharer
		stop     bool
		want     []copyFor
	}{
		"one kitchen, a customer":          {kitchens(true), false, []copyFor{{1, 0, false}}},
		"one kitchen, a stranger":          {kitchens(false), false, []copyFor{{1, 0, false}}},
		"one kitchen, stop":                {kitchens(false), true, []copyFor{{1, 0, false}}},
		"two, a customer of the second":    {kitchens(false, true), false, []copyFor{{2, 0, false}}},
		"two, a customer of both":          {kitchens(true, true), false, []copyFor{{1, 1, false}, {2, 1, true}}},
		"two, a stranger":                  {kitchens(false, false), false, []copyFor{{1, 1, false}, {2, 1, true}}},
		"three, a customer of two":         {kitchens(true, false, true), false, []copyFor{{1, 2, false}, {2, 2, true}, {3, 2, true}}},
		"three, a customer of all":         {kitchens(true, true, true), false, []copyFor{{1, 2, false}, {2, 2, true}, {3, 2, true}}},
		"stop by a customer of the second": {kitchens(false, true, false), true, []copyFor{{1, 2, true}, {2, 0, false}, {3, 2, true}}},
		"stop by a customer of two":        {kitchens(false, true, true), true, []copyFor{{1, 2, false}, {2, 2, true}, {3, 2, true}}},
		"stop by a stranger":               {kitchens(false, false), true, []copyFor{{1, 1, false}, {2, 1, true}}},
	} {
		got := route(tt.stop, tt.kitchens)
		assert.Equal(t, tt.want, got, name)
		answers := 0
		for _, c := range got {
			if !c.Silent {
				answers++
			}
		}
		assert.Equal(t, 1, answers, "one of them answers: %s", name)
	}
}
