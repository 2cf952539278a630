package adapters_test

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/adapters"
)

func TestSecret(t *testing.T) {
	t.Parallel()
	env := func(name string) string { return map[string]string{"SET": "from env"}[name] }
	file := func(path string) ([]byte, error) {
		if path == "/secret" {
			return []byte("from file\r\n"), nil
		}
		return []byte(map[string]string{"/empty": " \n", "/two": "sesame\ntwo\n"}[path]), map[bool]error{true: errors.New("no such file")}[path == "/none"]
	}
	tests := map[string]struct {
		secret adapters.Secret
		want   string
		fails  bool
	}{
		"as it is":        {secret: "pa ss", want: "pa ss"},
		"none":            {secret: ""},
		"by name":         {secret: "env:SET", want: "from env"},
		"name not set":    {secret: "env:UNSET", fails: true},
		"by file":         {secret: "file:/secret", want: "from file"},
		"no file":         {secret: "file:/none", fails: true},
		"empty file":      {secret: "file:/empty", fails: true},
		"two lines":       {secret: "file:/two", fails: true},
		"two lines typed": {secret: "sesame\ntwo", fails: true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, found, err := tt.secret.Find(env, file)
			if tt.fails {
				require.Error(t, err)
				assert.NotContains(t, err.Error(), "sesame")
				return
			}
			require.NoError(t, err)
			assert.True(t, found)
			assert.Equal(t, tt.want, got)
		})
	}
	_, found, err := adapters.Secret("env:SET").Find(nil, nil)
	require.NoError(t, err)
	assert.False(t, found, "a check alone does not look")
}

func TestSecretNeverPrints(t *testing.T) {
	t.Parallel()
	s := adapters.Secret("horse")
	var log strings.Builder
	slog.New(slog.NewTextHandler(&log, nil)).Info("x", "secret", s)
	for _, said := range []string{fmt.Sprint(s), fmt.Sprintf("%s %v %+v %#v %q", s, s, s, s, s), log.String()} {
		assert.NotContains(t, said, "horse")
	}
}
