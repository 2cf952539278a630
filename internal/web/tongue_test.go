package web

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The plural forms of English and Spanish are CLDR's: one for 1, other for the
// rest, https://cldr.unicode.org/index/cldr-spec/plural-rules.
func TestWordsFollowTheNumber(t *testing.T) {
	t.Parallel()
	tongues := tonguesIn(t, "GB")
	for _, tt := range []struct {
		lang string
		n    int
		want string
	}{
		{"en", 0, "0 orders"}, {"en", 1, "1 order"}, {"en", 2, "2 orders"}, {"en", 21, "21 orders"},
		{"es", 0, "0 pedidos"}, {"es", 1, "1 pedido"}, {"es", 2, "2 pedidos"}, {"es", 101, "101 pedidos"},
	} {
		require.Equal(t, tt.want, tongues[tt.lang].t("%d orders", tt.n), tt.lang)
	}
	require.Equal(t, "Kept in no file, 3 Sam", tongues["es"].t("Kept in no file, %d %s", 3, "Sam"), "English stands in for what is missing")
}
