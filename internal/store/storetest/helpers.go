package storetest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/store"
)

// helpers makes a link, finds it by its hash, ends it, and tries it from
// another kitchen.
func helpers(t *testing.T, s *store.Store) {
	set := set(t, s, 0)
	other := kitchen(t, s, "Another Kitchen")
	ctx := t.Context()
	want := night.Helper{NightID: set.night, Name: "Sam", MadeAt: now, Expires: now.Add(time.Hour)}
	var err error
	want.ID, err = set.k.AddHelper(ctx, want, "hash", "cook")
	require.NoError(t, err)
	got, err := set.k.HelperBy(ctx, "hash")
	require.NoError(t, err)
	assert.Equal(t, want, got)
	assert.True(t, got.Works(now))
	assert.False(t, got.Works(now.Add(time.Hour)), "it ends with its time")
	_, err = set.k.HelperBy(ctx, "guess")
	require.ErrorIs(t, err, night.ErrNotFound)
	_, err = other.HelperBy(ctx, "hash")
	require.ErrorIs(t, err, night.ErrNotFound)
	_, err = other.Helper(ctx, want.ID)
	require.ErrorIs(t, err, night.ErrNotFound)

	require.NoError(t, other.EndHelper(ctx, want.ID, "cook", now))
	got, err = set.k.Helper(ctx, want.ID)
	require.NoError(t, err)
	require.True(t, got.Works(now), "another kitchen can't end it")
	for range 2 {
		require.NoError(t, set.k.EndHelper(ctx, want.ID, "cook", now.Add(time.Minute)))
	}
	list, err := set.k.Helpers(ctx, set.night)
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, now.Add(time.Minute), list[0].Ended)
	list, err = other.Helpers(ctx, set.night)
	require.NoError(t, err)
	assert.Empty(t, list)
}

// secret keeps the first key of a name, and one for each kitchen.
func secret(t *testing.T, s *store.Store) {
	mine, other := kitchen(t, s, "Larkfield"), kitchen(t, s, "Another Kitchen")
	for _, fresh := range []string{"first", "second"} {
		got, err := mine.Secret(t.Context(), "links", []byte(fresh))
		require.NoError(t, err)
		assert.Equal(t, "first", string(got))
	}
	got, err := other.Secret(t.Context(), "links", []byte("theirs"))
	require.NoError(t, err)
	assert.Equal(t, "theirs", string(got))
}

func sessions(t *testing.T, s *store.Store) {
	clock := now
	mine, other := kitchen(t, s, "Larkfield"), kitchen(t, s, "Another Kitchen")
	sess := mine.Sessions(func() time.Time { return clock })
	require.NoError(t, sess.CommitCtx(t.Context(), "token", []byte("who"), now.Add(time.Hour)))
	data, found, err := sess.FindCtx(t.Context(), "token")
	require.NoError(t, err)
	assert.True(t, found)
	assert.Equal(t, []byte("who"), data)
	_, found, err = other.Sessions(func() time.Time { return clock }).FindCtx(t.Context(), "token")
	require.NoError(t, err)
	assert.False(t, found, "a sign-in of one kitchen is none of another")
	clock = now.Add(time.Hour)
	_, found, err = sess.FindCtx(t.Context(), "token")
	require.NoError(t, err)
	assert.False(t, found)
}
