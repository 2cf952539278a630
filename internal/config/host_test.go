package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const phrase = "passphrase = '$2a$10$abcdefghijklmnopqrstuuNHGYTmW4aRnvcoUmbP9LQqp2AGIvVSa'\n"

// kitchenFile is the file of one of several kitchens.
func kitchenFile(host, name, more string) string {
	return "host = \"" + host + "\"\n" + phrase + more + `
[kitchen]
name = "` + name + `"
region = "GB"
zone = "Europe/London"
number = "07700 900100"
[[adapter]]
name = "own"
kind = "practice"
`
}

const hostOfTwo = `
database = "all.db"
listen = "127.0.0.1:8737"
kitchens = "kitchens"
[[adapter]]
name = "texts"
kind = "practice"
from = "{number}"
`

// files writes a configuration and gives the path of its passbell.toml.
func files(t *testing.T, in map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range in {
		path := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return filepath.Join(dir, "passbell.toml")
}

func twoKitchens() map[string]string {
	return map[string]string{
		"passbell.toml":           hostOfTwo,
		"kitchens/larkfield.toml": kitchenFile("Larkfield.Example.", "Larkfield Dumpling Kitchen", "watch = \"books\"\n"),
		"kitchens/millbank.toml":  kitchenFile("millbank.example", "Millbank Pie Kitchen", ""),
		"kitchens/README":         "not a kitchen",
		"kitchens/.old.toml":      "not a kitchen",
	}
}

func TestLoadSeveralKitchens(t *testing.T) {
	path := files(t, twoKitchens())
	dir := filepath.Dir(path)
	h, err := Load(path)
	require.NoError(t, err)
	require.Len(t, h.Kitchens, 2)
	assert.Equal(t, filepath.Join(dir, "all.db"), h.Database)
	lark := h.Kitchens[0]
	assert.Equal(t, "larkfield.example", lark.Host)
	assert.Equal(t, "larkfield", lark.File)
	assert.Equal(t, filepath.Join(dir, "kitchens", "books"), lark.Watch, "from the folder of its file")
	require.Len(t, lark.Adapter, 2)
	assert.Equal(t, "own", lark.Adapter[0].Name, "a kitchen's own adapters come first")
	assert.False(t, lark.Adapter[0].Shared)
	assert.True(t, lark.Adapter[1].Shared)
	assert.Equal(t, 4, lark.Adapter[1].Window, "with what can have a default")

	one, err := h.Only("millbank")
	require.NoError(t, err)
	require.Len(t, one.Kitchens, 1)
	assert.Equal(t, "Millbank Pie Kitchen", one.Kitchens[0].Kitchen.Name)
	for name, says := range map[string]string{"": "--kitchen: larkfield, millbank", "third": "no kitchen \"third\""} {
		_, err = h.Only(name)
		require.ErrorContains(t, err, says)
	}

	t.Setenv("PASSBELL_DATABASE", "postgres://db.example/passbell")
	h, err = Load(path)
	require.NoError(t, err)
	assert.Equal(t, "postgres://db.example/passbell", h.Database)
	t.Setenv("PASSBELL_DATABASE", "mysql://db.example/passbell")
	_, err = Load(path)
	require.ErrorContains(t, err, "PASSBELL_DATABASE")
}

func TestLoadOneKitchen(t *testing.T) {
	t.Parallel()
	alone := strings.Replace(kitchenFile("x", "Larkfield Dumpling Kitchen", "watch = \"books\"\n"), "host = \"x\"\n", "", 1)
	path := files(t, map[string]string{"passbell.toml": alone})
	h, err := Load(path)
	require.NoError(t, err)
	require.Len(t, h.Kitchens, 1)
	assert.Empty(t, h.Kitchens[0].Host, "it is served under every name")
	assert.Equal(t, filepath.Join(filepath.Dir(path), "passbell.db"), h.Database)
	assert.Equal(t, "127.0.0.1:8737", h.Listen)
	one, err := h.Only("")
	require.NoError(t, err)
	assert.Equal(t, h, one)
	_, err = h.Only("larkfield")
	require.ErrorContains(t, err, "leave --kitchen out")
}

func TestLoadRefuses(t *testing.T) {
	t.Parallel()
	const lark, mill, host = "kitchens/larkfield.toml", "kitchens/millbank.toml", "passbell.toml"
	tests := map[string]struct {
		change func(f map[string]string)
		says   []string
	}{
		"the same host": {func(f map[string]string) { f[mill] = kitchenFile("LARKFIELD.example", "Millbank", "") },
			[]string{"millbank.toml", "host", "larkfield.toml"}},
		"the same name": {func(f map[string]string) { f[mill] = kitchenFile("millbank.example", "larkfield dumpling kitchen", "") },
			[]string{"millbank.toml", "kitchen.name", "larkfield.toml"}},
		"the same folder of order books": {func(f map[string]string) {
			f[mill] = kitchenFile("millbank.example", "Millbank", "watch = \"books\"\n")
		},
			[]string{"millbank.toml", "watch", "larkfield.toml"}},
		"a database of its own": {func(f map[string]string) {
			f[mill] = kitchenFile("millbank.example", "Millbank", "database = \"mine.db\"\n")
		},
			[]string{"millbank.toml", "database", "take the line out"}},
		"an address of its own": {func(f map[string]string) {
			f[mill] = kitchenFile("millbank.example", "Millbank", "listen = \"127.0.0.1:1\"\n")
		},
			[]string{"millbank.toml", "listen", "take the line out"}},
		"no host": {func(f map[string]string) { f[mill] = strings.Replace(f[mill], "host =", "# host =", 1) },
			[]string{"millbank.toml", "host", "larkfield.example"}},
		"a host that is a link": {func(f map[string]string) { f[mill] = kitchenFile("https://millbank.example/", "Millbank", "") },
			[]string{"millbank.toml", "host", "without https://"}},
		"a key that is not known": {func(f map[string]string) { f[mill] = kitchenFile("millbank.example", "Millbank", "lisen = 1\n") },
			[]string{"millbank.toml", "lisen"}},
		"a kitchen in the host's file": {func(f map[string]string) { f[host] += "[kitchen]\nname = \"x\"\n" },
			[]string{"kitchen", "its own file"}},
		"something wrong in one of them": {func(f map[string]string) { f[mill] = strings.Replace(f[mill], "Europe/London", "London", 1) },
			[]string{"millbank.toml", "kitchen.zone"}},
		"no kitchen": {func(f map[string]string) { delete(f, lark); delete(f, mill) },
			[]string{"there is no kitchen in"}},
		"no folder": {func(f map[string]string) { f[host] = strings.Replace(f[host], "\"kitchens\"", "\"nowhere\"", 1) },
			[]string{"kitchens: name the folder"}},
		"a list": {func(f map[string]string) { f[host] = strings.Replace(f[host], "\"kitchens\"", "[\"a.toml\"]", 1) },
			[]string{"passbell.toml", "kitchens"}},
		"a shared adapter's name again": {func(f map[string]string) { f[mill] = strings.Replace(f[mill], "\"own\"", "\"texts\"", 1) },
			[]string{"millbank.toml", "adapter texts: two adapters"}},
		"two shared adapters of one name": {func(f map[string]string) { f[host] += "[[adapter]]\nname = \"texts\"\nkind = \"practice\"\n" },
			[]string{"adapter texts: two adapters"}},
		"no number to send from": {func(f map[string]string) { f[mill] = strings.Replace(f[mill], "07700 900100", "", 1) },
			[]string{"millbank.toml", "kitchen.number"}},
		"open to others, without a passphrase": {func(f map[string]string) {
			f[host] = strings.Replace(f[host], "127.0.0.1", "0.0.0.0", 1)
			f[mill] = strings.Replace(f[mill], phrase, "", 1)
		}, []string{"millbank.toml", "listen", "no passphrase"}},
		"open to nobody": {func(f map[string]string) { f[mill] = strings.Replace(f[mill], phrase, "", 1) },
			[]string{"millbank.toml", "host", "millbank.example is not its name"}},
		"no address": {func(f map[string]string) { f[host] = strings.Replace(f[host], "127.0.0.1:8737", "here", 1) },
			[]string{"listen", "here"}},
		"another kind of database": {func(f map[string]string) { f[host] = strings.Replace(f[host], "all.db", "mysql://x", 1) },
			[]string{"database"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := twoKitchens()
			tt.change(f)
			_, err := Load(files(t, f))
			require.Error(t, err)
			for _, word := range tt.says {
				assert.ErrorContains(t, err, word)
			}
		})
	}
	t.Run("the file of one of several, as if it were alone", func(t *testing.T) {
		t.Parallel()
		_, err := Load(filepath.Join(filepath.Dir(files(t, twoKitchens())), "kitchens", "millbank.toml"))
		require.ErrorContains(t, err, "--kitchen", "its orders would go to a database of their own")
	})
	t.Run("this machine's own names need no passphrase", func(t *testing.T) {
		t.Parallel()
		f := twoKitchens()
		f[mill] = strings.Replace(kitchenFile("millbank.localhost", "Millbank", ""), phrase, "", 1)
		_, err := Load(files(t, f))
		require.NoError(t, err)
	})
}

func TestHostName(t *testing.T) {
	t.Parallel()
	for host, want := range map[string]string{
		"larkfield.example": "larkfield.example", "Larkfield.EXAMPLE:8737": "larkfield.example", "larkfield.example.": "larkfield.example",
		"larkfield.example.:80": "larkfield.example", "[::1]:8737": "::1", "[::1]": "::1", "::1": "::1", "[2001:DB8:0:0::1]": "2001:db8::1",
		"127.0.0.1:80": "127.0.0.1", "127.0.0.1": "127.0.0.1", "": "", ":80": "", "a:b:c": "a:b:c",
	} {
		assert.Equal(t, want, HostName(host), host)
	}
}
