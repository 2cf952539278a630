package storetest

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

// ownTexts saves words, saves others over them and takes them back, beside
// another kitchen that has its own.
func ownTexts(t *testing.T, s *store.Store) {
	mine, other := kitchen(t, s, "Larkfield"), kitchen(t, s, "Another Kitchen")
	read := func(k *store.Kitchen) (out []night.OwnText) {
		t.Helper()
		require.NoError(t, k.Read(t.Context(), func(tx *store.Tx) (err error) {
			out, err = tx.OwnTexts(t.Context())
			return err
		}))
		return out
	}
	require.Empty(t, read(mine))
	first := night.OwnText{Name: "reminder", Words: "{{.First}}: “see you” at {{.Slot}}\n", At: now, By: "cook"}
	second := night.OwnText{Name: "reminder", Words: "come", At: now.Add(time.Minute), By: "Sam"}
	help := night.OwnText{Name: "help", Words: "ring us", At: now, By: "cook"}
	theirs := night.OwnText{Name: "reminder", Words: "theirs", At: now, By: "cook"}
	for _, step := range []struct {
		save night.OwnText
		in   *store.Kitchen
		want []night.OwnText
	}{
		{first, mine, []night.OwnText{first}},
		{help, mine, []night.OwnText{help, first}},
		{second, mine, []night.OwnText{help, second}},
		{theirs, other, []night.OwnText{theirs}},
	} {
		write(t, step.in, func(ctx context.Context, tx *store.Tx) { require.NoError(t, tx.SaveOwnText(ctx, step.save)) })
		assert.Equal(t, step.want, read(step.in))
	}
	for _, there := range []bool{true, false} {
		write(t, mine, func(ctx context.Context, tx *store.Tx) {
			dropped, err := tx.DropOwnText(ctx, "reminder")
			require.NoError(t, err)
			assert.Equal(t, there, dropped)
		})
	}
	assert.Equal(t, []night.OwnText{help}, read(mine))
	assert.Equal(t, []night.OwnText{theirs}, read(other), "another kitchen's words stay")
}
