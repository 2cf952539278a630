package config_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/config"
)

const larkfield = "[kitchen]\nname = \"Larkfield Dumpling Kitchen\"\nregion = \"GB\"\nzone = \"Europe/London\"\n"

func TestWhatIsKeptAndWhoCloses(t *testing.T) {
	t.Parallel()
	c, err := config.Parse([]byte(larkfield))
	require.NoError(t, err)
	assert.Equal(t, 90, c.Kitchen.KeepDays)
	assert.False(t, c.Night.CloseByItself, "a person looks at the plan first")
	c, err = config.Parse([]byte(larkfield + "keep_days = 0\n[night]\nclose_by_itself = true\n"))
	require.NoError(t, err)
	assert.Zero(t, c.Kitchen.KeepDays)
	assert.True(t, c.Night.CloseByItself)
	_, err = config.Parse([]byte(larkfield + "keep_days = -1\n"))
	require.ErrorContains(t, err, "kitchen.keep_days")
}
