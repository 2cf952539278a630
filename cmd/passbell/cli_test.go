package main

import (
	"encoding/json"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/config"
	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/night"
)

func TestANightFromTheShell(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05", "--place", "5 Mill Lane", "--capacity", "4")
	assert.Contains(t, s.run("night", "list"), "2031-12-05")
	assert.Contains(t, s.run("night", "show"), "Friday 5 December 2031")
	book := s.file("orders.csv", smallBook)
	assert.Contains(t, s.run("book", "check", book), "nut allergy")
	assert.NotContains(t, s.run("book", "show"), "K401", "checking changes nothing")
	s.run("book", "load", book)

	var again desk.Loaded
	require.NoError(t, json.Unmarshal([]byte(s.run("book", "load", book, "--json")), &again))
	assert.Equal(t, []string{"K401", "K402"}, again.Unchanged)
	assert.Contains(t, s.run("book", "show"), "ALLERGY: nut allergy")

	plan := s.run("close", "--dry-run")
	assert.Contains(t, plan, "K401 at 17:00")
	code, out := s.try("n\n", "close")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, out, "nothing was closed")
	code, _ = s.try("y\n", "close")
	assert.Equal(t, exitDone, code)
	assert.Contains(t, s.run("close", "--yes"), "closed already")

	assert.Contains(t, s.run("order", "move", "k401", "17:30"), "slot 17:30")
	s.run("order", "here", "K401")
	assert.Contains(t, s.run("arrivals", "--once"), "Bethan Cadwgan")
	s.run("order", "packed", "K401")
	s.run("order", "out", "K401")
	s.run("order", "undo", "K401")
	assert.Contains(t, s.run("order", "show", "K401"), "ALLERGY: nut allergy")
	s.run("order", "absent", "K402")
	assert.Contains(t, s.run("report"), "not collected")
	code, out = s.try("", "resend", "K402")
	assert.Equal(t, exitFailed, code, "it was given up")
	assert.Contains(t, out, "not collected")
}

func TestExitCodes(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05")
	tests := map[string]struct {
		args []string
		want int
		says string
	}{
		"a flag that does not exist":        {[]string{"close", "--now"}, exitUsage, "--help"},
		"a command that does not exist":     {[]string{"dance"}, exitUsage, "dance"},
		"a part of a command":               {[]string{"order"}, exitUsage, "show"},
		"too few arguments":                 {[]string{"order", "here"}, exitUsage, ""},
		"no date":                           {[]string{"night", "add", "friday"}, exitUsage, "2026-12-04"},
		"no slot":                           {[]string{"order", "move", "K401", "noon"}, exitUsage, "16:30"},
		"an order that does not exist":      {[]string{"order", "here", "K999"}, exitFailed, "K999"},
		"a night that does not exist":       {[]string{"report", "--night", "2030-01-01"}, exitFailed, "night list"},
		"a second night on a date":          {[]string{"night", "add", "2031-12-05"}, exitFailed, "exists already"},
		"a book that does not exist":        {[]string{"book", "load", "nothing.csv"}, exitFailed, "nothing.csv"},
		"closing a night without orders":    {[]string{"close", "--yes"}, exitFailed, "book load"},
		"setting up what is set up":         {[]string{"init", "--no-input"}, exitFailed, "left as it is"},
		"a slot that the clocks skip":       {[]string{"night", "add", "2031-03-30", "--first", "01:00", "--last", "01:30"}, exitFailed, "does not exist"},
		"a moment that the clocks skip":     {[]string{"night", "add", "2031-04-01", "--instruct", "2031-03-30 01:30"}, exitUsage, "clocks go forward"},
		"a secret that there is none of":    {[]string{"init", "--secret", "key"}, exitUsage, "passphrase"},
		"help is no failure":                {[]string{"close", "--help"}, exitDone, "passbell close --yes"},
		"the shell's completion comes free": {[]string{"completion", "bash"}, exitDone, "bash"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			code, out := s.try("", tt.args...)
			assert.Equal(t, tt.want, code, out)
			assert.Contains(t, out, tt.says)
		})
	}
}

func TestEveryCommandHasAnExample(t *testing.T) {
	t.Parallel()
	root := newRootCmd(std{})
	for _, cmd := range root.Commands() {
		if cmd.Name() == "help" || cmd.Name() == "completion" {
			continue
		}
		for _, c := range append(cmd.Commands(), cmd) {
			assert.NotEmpty(t, c.Example, c.CommandPath())
			assert.NotEmpty(t, c.Short, c.CommandPath())
		}
	}
}

func TestInitAsks(t *testing.T) {
	t.Parallel()
	s := &shell{t: t, dir: t.TempDir()}
	code, out := s.try("Larkfield Dumpling Kitchen\nIE\nEurope/Dublin\n\n\nThe old mill\n\n\n", "init")
	require.Equal(t, exitDone, code, out)
	b, err := os.ReadFile(filepath.Join(s.dir, "passbell.toml"))
	require.NoError(t, err)
	assert.Contains(t, string(b), "'Europe/Dublin'")
	assert.Contains(t, string(b), "'The old mill'")
	assert.FileExists(t, filepath.Join(s.dir, "passbell.db"))
	info, err := os.Stat(filepath.Join(s.dir, "passbell.toml"))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}

func TestInitWithoutAnswersLeavesNothing(t *testing.T) {
	t.Parallel()
	s := &shell{t: t, dir: t.TempDir()}
	code, _ := s.try("", "init")
	assert.Equal(t, exitUsage, code)
	code, _ = s.try("Larkfield\nGB\nMiddle/Earth\n\n\n\n\n\n", "init")
	assert.Equal(t, exitUsage, code)
	files, err := os.ReadDir(s.dir)
	require.NoError(t, err)
	assert.Empty(t, files)
}

func TestSecrets(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	code, out := s.try("correct horse battery\n", "init", "--secret", "passphrase")
	require.Equal(t, exitDone, code, out)
	assert.NotContains(t, out, "correct horse")
	line := out[strings.Index(out, "passphrase = "):]
	b, err := os.ReadFile(filepath.Join(s.dir, "passbell.toml"))
	require.NoError(t, err)
	open := strings.Replace(string(b), "'127.0.0.1:8737'", "'0.0.0.0:8737'", 1)
	s.file("passbell.toml", open)
	code, out = s.try("", "night", "list")
	assert.Equal(t, exitFailed, code, "open to others without a passphrase")
	assert.Contains(t, out, "passphrase")
	s.file("passbell.toml", line+"\n"+open)
	s.run("night", "list")
	code, _ = s.try("short\n", "init", "--secret", "passphrase")
	assert.Equal(t, exitUsage, code)
}

func TestAMisspeltKeyIsRefused(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	b, err := os.ReadFile(filepath.Join(s.dir, "passbell.toml"))
	require.NoError(t, err)
	s.file("passbell.toml", strings.Replace(string(b), "remind_before", "remind_befor", 1))
	code, out := s.try("", "night", "list")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, out, "remind_befor")
	s.file("passbell.toml", string(b)+"\n[texts]\nreminder = 'Come {{.Soon}}'\n")
	code, out = s.try("", "night", "list")
	assert.Equal(t, exitFailed, code, "a text with a field that does not exist is refused at once, not at 18:00")
	assert.Contains(t, out, "Soon")
}

func TestChangesSayBeforehandWhatTheyMean(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05")
	s.run("book", "load", s.file("orders.csv", smallBook))
	s.run("close", "--yes")
	before := s.run("book", "show")
	out := s.run("order", "move", "K401", "18:00", "--dry-run")
	assert.Contains(t, out, "reword  instructions to …101")
	assert.Contains(t, out, "18:00")
	assert.NotContains(t, out, "07700900101")
	out = s.run("order", "cancel", "K402", "--dry-run")
	assert.Contains(t, out, "stop    instructions to …102")
	assert.Contains(t, s.run("night", "change", "--place", "The church hall", "--dry-run"), "The church hall")
	assert.Contains(t, s.run("night", "call-off", "--dry-run"), "send    cancellation")
	assert.Contains(t, s.run("night", "late", "15", "--dry-run"), "15 minutes")
	assert.Equal(t, before, s.run("book", "show"))
	assert.NotContains(t, s.run("night", "show"), "church")

	s.run("order", "split", "K401", "K401-2", "2")
	assert.Contains(t, s.run("order", "show", "K401-2"), "Slaw")
	s.run("order", "join", "K401", "K401-2")
	s.run("order", "collector", "K401", "Ron next door")
	s.run("order", "number", "K401", "07700 900555")
	assert.Contains(t, s.run("order", "show", "K401"), "…555")
	assert.Contains(t, s.run("night", "call-off"), "called off")
	assert.Contains(t, s.run("night", "resume"), "orders closed")
}

func TestABookThatNamesItsColumnsItsOwnWay(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05")
	odd := "nr,wer,handy,zeit,dinge\nK401,Bethan Cadwgan,07700900101,17:00,2x Pork bao\nK402,Sarah Bell,07700900101,17:10,1x Slaw\n"
	mapping := []string{"--map", "order=nr", "--map", "name=wer", "--map", "phone=handy", "--map", "slot=zeit", "--map", "items=dinge"}
	path := s.file("odd.csv", odd)
	out := s.run(append([]string{"book", "load", path, "--seen"}, mapping...)...)
	assert.Contains(t, out, "2 orders")
	assert.Contains(t, out, "look", "one number under two names is shown")
	out = s.run("book", "load", path)
	assert.Contains(t, out, "2 unchanged", "the columns are remembered")
	assert.NotContains(t, out, "look", "and what was looked at is not shown again")

	shorter := s.file("whole.csv", strings.Join(strings.SplitAfter(odd, "\n")[:2], ""))
	assert.Contains(t, s.run("book", "load", shorter), "kept all the same: K402")
	assert.Contains(t, s.run("book", "load", shorter, "--whole"), "cancelled: K402")
	assert.Contains(t, s.run("order", "show", "K402"), "cancelled")
}

func TestAFolderThatIsWatched(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	b, err := os.ReadFile(filepath.Join(s.dir, "passbell.toml"))
	require.NoError(t, err)
	s.file("passbell.toml", "watch = 'books'\n"+string(b))
	s.run("night", "add", "2031-12-05")
	folder := filepath.Join(s.dir, "books")
	require.NoError(t, os.Mkdir(folder, 0o700))
	old := time.Now().Add(-time.Minute)
	for name, content := range map[string]string{
		"good.csv": smallBook, "bad.csv": "order,name,phone,slot,items\nK9,Ann Other,07700900109,whenever,1x Slaw\n", "picture.csv": "\x89PNG\r\n\x1a\n\x00\x00",
	} {
		path := filepath.Join(folder, name)
		require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
		require.NoError(t, os.Chtimes(path, old, old))
	}
	require.NoError(t, os.WriteFile(filepath.Join(folder, "being-written.csv"), []byte(smallBook[:40]), 0o600))
	s.house(func(h *gateway.House, _ night.Night) { require.NoError(t, h.Watch(t.Context())) })
	assert.Contains(t, s.run("book", "show"), "2 orders")
	assert.FileExists(t, filepath.Join(folder, "loaded", "good.csv"))
	for _, name := range []string{"bad.csv", "picture.csv"} {
		assert.FileExists(t, filepath.Join(folder, "refused", name))
		assert.FileExists(t, filepath.Join(folder, "refused", name+".why.txt"))
	}
	assert.FileExists(t, filepath.Join(folder, "being-written.csv"), "whoever writes it may not be done")
}

// What leaves opens in any spreadsheet, starts no formula, and reads back as it
// was (hhurz/tableExport.jquery.plugin #230).
func TestExportReadsBackUnchanged(t *testing.T) {
	t.Parallel()
	s := newShell(t)
	s.run("night", "add", "2031-12-05")
	s.run("book", "load", s.file("orders.csv", smallBook+"007,=Ann Other,07700900103,17:20,1x Slaw,+1 chair please\n"))
	path := filepath.Join(s.dir, "export.csv")
	s.run("book", "export", path)
	code, _ := s.try("", "book", "export", path)
	assert.Equal(t, exitFailed, code, "an existing file is left alone")
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.NotContains(t, string(b), ",=Ann")
	assert.NotContains(t, string(b), ",+1 chair")
	var again desk.Loaded
	require.NoError(t, json.Unmarshal([]byte(s.run("book", "load", path, "--json")), &again))
	assert.ElementsMatch(t, []string{"K401", "K402", "007"}, again.Unchanged, "%+v", again)
	assert.Equal(t, string(b), s.run("book", "export"))
}

// The configurations in the README are ones that passbell takes.
func TestTheReadmesConfigurations(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	t.Setenv("PASSBELL_SECRET", "secret")
	t.Setenv("MAIL_SECRET", "secret")
	blocks := strings.Split(string(readme), "```toml\n")[1:]
	require.NotEmpty(t, blocks)
	for i, block := range blocks {
		block, _, _ = strings.Cut(block, "```")
		pin := filepath.Join(t.TempDir(), "pin")
		require.NoError(t, os.WriteFile(pin, []byte("1234\n"), 0o600))
		block = strings.ReplaceAll(block, "/etc/passbell/pin", pin)
		s := &shell{t: t, dir: t.TempDir()}
		if _, several := strings.CutPrefix(block, "# passbell.toml\n"); several {
			require.NoError(t, os.Mkdir(filepath.Join(s.dir, "kitchens"), 0o700))
			host, kitchen, _ := strings.Cut(block, "# kitchens/larkfield.toml\n")
			s.file("passbell.toml", host)
			s.file("kitchens/larkfield.toml", kitchen)
		} else {
			s.file("passbell.toml", "[kitchen]\nname = 'Larkfield'\nregion = 'GB'\nzone = 'Europe/London'\n"+block)
		}
		s.run("night", "add", "2031-12-05")
		c, err := config.Load(filepath.Join(s.dir, "passbell.toml"))
		require.NoError(t, err)
		h, err := gateway.Open(t.Context(), c, gateway.Deps{Clock: clock(), Log: slog.New(slog.DiscardHandler)})
		require.NoError(t, err)
		_, err = h.NewCheck() // wires every adapter
		require.NoError(t, err, "block %d:\n%s", i+1, block)
		require.NoError(t, h.Close())
	}
}
