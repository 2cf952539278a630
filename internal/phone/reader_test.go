package phone_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/phone"
)

// The short way of a Reader says what Parse says, wherever it says anything.
func TestReader(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		region, code, trunk string
		lead                []string
		size                int
	}{
		{"GB", "44", "0", []string{"71", "73", "74", "75", "76", "77", "78", "79", "7624", "7700900", "77009", "7781", "7911", "70", "76"}, 10},
		{"IE", "353", "0", []string{"82", "83", "85", "86", "87", "88", "89"}, 9},
		{"AU", "61", "0", []string{"40", "41", "42", "43", "44", "45", "46", "47", "48", "49", "49157"}, 9},
		{"US", "1", "1", []string{"201", "212", "416", "5", "900", "800", "8", "2", "3", "4", "6", "7", "9", "20255501", "876"}, 10},
		{"CA", "1", "1", []string{"416", "604", "2", "5", "600", "6", "9"}, 10},
	} {
		t.Run(tt.region, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(11, 3))
			r := phone.NewReader(tt.region)
			taken := 0
			for i := range 1500 {
				national := tt.lead[i%len(tt.lead)]
				for len(national) < tt.size {
					national += fmt.Sprint(rng.IntN(10))
				}
				typed := []string{tt.trunk + national, "+" + tt.code + national, national, tt.trunk + national[:4] + " " + national[4:]}[rng.IntN(4)]
				short, ok := r.Short(typed)
				if !ok {
					continue
				}
				taken++
				n, err := phone.Parse(typed, tt.region)
				require.NoError(t, err, typed)
				n.National = ""
				require.Equal(t, n, short, typed)
			}
			require.Greater(t, taken, 300)
		})
	}
}
