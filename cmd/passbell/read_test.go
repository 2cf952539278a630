package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const (
	readNight  = `{"region":"GB","timezone":"Europe/London","date":"2026-12-04","first_slot":"16:30","last_slot":"19:30","slot_minutes":10}`
	readOrders = "order,name,phone,slot,items,note\nL101,Tess Hallow,07700 900101,18:10,2x Pork and chive,\nL102,Kofi Mensah,07700 900102,18:20,1x Lamb and cumin,\n"
	readTexts  = `{"id":"a","at":"2026-12-04T18:05:00Z","from":"+447700900101","text":"here in the grey golf lx19 kto","want":{"intent":"here","colour":"grey","make":"Volkswagen","model":"Golf","plate":"LX19KTO","orders":["L101"],"auto":true,"person":false}}

{"id":"b","at":"2026-12-04T18:06:00Z","from":"+447700900999","text":"collecting for Kofi, outside","want":{"intent":"here","orders":["L102"],"auto":false,"person":true}}
`
)

// readFiles writes the Larkfield night and gives the flags that name it.
func readFiles(t *testing.T) []string {
	t.Helper()
	dir := t.TempDir()
	n, b := filepath.Join(dir, "n.night.json"), filepath.Join(dir, "n.orders.csv")
	require.NoError(t, os.WriteFile(n, []byte(readNight), 0o600))
	require.NoError(t, os.WriteFile(b, []byte(readOrders), 0o600))
	return []string{"--night", n, "--book", b}
}

func execRead(t *testing.T, in string, args ...string) (string, error) {
	t.Helper()
	cmd := newReadCmd(nil)
	cmd.SilenceErrors, cmd.SilenceUsage = true, true
	var out bytes.Buffer
	cmd.SetIn(strings.NewReader(in))
	cmd.SetOut(&out)
	cmd.SetErr(&out)
	cmd.SetArgs(args)
	err := cmd.ExecuteContext(context.Background())
	return out.String(), err
}

func TestReadLines(t *testing.T) {
	t.Parallel()
	out, err := execRead(t, readTexts, readFiles(t)...)
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(out), "\n")
	require.Len(t, lines, 2)
	var a map[string]any
	require.NoError(t, json.Unmarshal([]byte(lines[0]), &a))
	require.NotEmpty(t, a["why"])
	delete(a, "why")
	require.Equal(t, map[string]any{
		"id": "a", "intent": "here", "colour": "grey", "make": "Volkswagen", "model": "Golf", "plate": "LX19KTO",
		"orders": []any{"L101"}, "auto": true, "person": false,
	}, a)
}

func TestReadScore(t *testing.T) {
	t.Parallel()
	out, err := execRead(t, readTexts, append(readFiles(t), "--score")...)
	require.NoError(t, err)
	require.Contains(t, out, "2 messages, intent right in 100.0 %")
	require.NotContains(t, out, "wrong rows")
	out, err = execRead(t, strings.ReplaceAll(readTexts, `"plate":"LX19KTO"`, `"plate":"LX19KTA"`), append(readFiles(t), "--score")...)
	require.NoError(t, err)
	require.Contains(t, out, "plate      wanted LX19KTA")
}

func TestReadOne(t *testing.T) {
	t.Parallel()
	out, err := execRead(t, "", append(readFiles(t), "--from", "07700 900101", "--at", "2026-12-04T18:05:00Z", "here in the grey golf lx19 kto")...)
	require.NoError(t, err)
	for _, want := range []string{"here (somebody is at the collection point)", "grey Volkswagen Golf", "LX19KTO", "L101", "without a person"} {
		require.Contains(t, out, want)
	}
}

func TestReadWrongUse(t *testing.T) {
	t.Parallel()
	files := readFiles(t)
	for name, args := range map[string][]string{
		"no night":       {},
		"no such file":   {"--night", "nowhere.json", "--book", files[3]},
		"a wrong time":   append(files[:4:4], "--at", "teatime", "here"),
		"a wrong number": append(files[:4:4], "--from", "12", "here"),
		"score of one":   append(files[:4:4], "--score", "here"),
	} {
		_, err := execRead(t, readTexts, args...)
		var wrong *usageError
		require.ErrorAs(t, err, &wrong, name)
	}
	_, err := execRead(t, "not json\n", files...)
	var wrong *usageError
	require.ErrorAs(t, err, &wrong)
}
