package smpp_test

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

const peerFolder = "testdata/peer"

var installPeer = sync.OnceValue(func() string {
	for _, tool := range []string{"node", "npm"} {
		if _, err := exec.LookPath(tool); err != nil {
			return tool + " is not installed"
		}
	}
	if _, err := os.Stat(filepath.Join(peerFolder, "node_modules", "smpp", "package.json")); err == nil {
		return ""
	}
	cmd := exec.Command("npm", "ci", "--no-audit", "--no-fund", "--ignore-scripts")
	cmd.Dir = peerFolder
	if out, err := cmd.CombinedOutput(); err != nil {
		return "the npm package smpp cannot be had: " + err.Error() + "\n" + string(out)
	}
	return ""
})

// needPeer skips the test where the npm peer cannot be had, but not in CI.
func needPeer(t testing.TB) {
	t.Helper()
	why := installPeer()
	if why != "" && os.Getenv("CI") == "true" {
		t.Fatal(why)
	}
	if why != "" {
		t.Skip(why)
	}
}

// peerEvent is a line that the npm centre writes.
type peerEvent struct {
	Ev   string `json:"ev"`
	Port int    `json:"port"`
	ID   string `json:"id"`
	To   string `json:"to"`
	Text string `json:"text"`
	UDH  string `json:"udh"`
	Mode string `json:"mode"`
}

// peerCommand is a line that it reads.
type peerCommand struct {
	Cmd   string   `json:"cmd"`
	ID    string   `json:"id"`
	From  string   `json:"from,omitempty"`
	To    string   `json:"to"`
	Text  string   `json:"text,omitempty"`
	Parts []string `json:"parts,omitempty"`
	Ref   int      `json:"ref,omitempty"`
}

// npmCentre is a running centre made with the npm package.
type npmCentre struct {
	cmd   *exec.Cmd
	stdin io.WriteCloser
	port  int
	done  chan struct{} // closed when its output has ended
}

// startCentre starts the npm centre and hands each event but the first to on,
// one after the other.
func startCentre(t testing.TB, port, firstID int, quiet bool, on func(peerEvent)) *npmCentre {
	t.Helper()
	args := []string{"server.js", strconv.Itoa(port), strconv.Itoa(firstID)}
	if quiet {
		args = append(args, "quiet")
	}
	cmd := exec.Command("node", args...)
	cmd.Dir = peerFolder
	cmd.Stderr = os.Stderr
	stdin, err := cmd.StdinPipe()
	require.NoError(t, err)
	stdout, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	c := &npmCentre{cmd: cmd, stdin: stdin, done: make(chan struct{})}
	lines := bufio.NewScanner(stdout)
	require.True(t, lines.Scan(), "the centre does not start")
	var first peerEvent
	require.NoError(t, json.Unmarshal(lines.Bytes(), &first))
	require.Equal(t, "listening", first.Ev)
	c.port = first.Port
	go func() {
		defer close(c.done)
		for lines.Scan() {
			var e peerEvent
			if json.Unmarshal(lines.Bytes(), &e) == nil {
				on(e)
			}
		}
	}()
	return c
}

// tell hands a command over; a centre that was killed does not get it.
func (c *npmCentre) tell(cmd peerCommand) {
	b, err := json.Marshal(cmd)
	if err != nil {
		panic(err) // of strings and numbers only
	}
	_, _ = c.stdin.Write(append(b, '\n'))
}

// kill ends the centre without a word to its peer, and returns once everything
// that it had said was read.
func (c *npmCentre) kill() {
	_ = c.cmd.Process.Kill()
	<-c.done
	_ = c.cmd.Wait()
}

// peerRun is what the npm client says of itself.
type peerRun struct {
	Count int     `json:"count"`
	MS    float64 `json:"ms"`
	RSS   int64   `json:"rss"`
}

func runPeerClient(ctx context.Context, t testing.TB, port, count, window int) peerRun {
	t.Helper()
	cmd := exec.CommandContext(ctx, "node", "client.js", strconv.Itoa(port), strconv.Itoa(count), strconv.Itoa(window))
	cmd.Dir = peerFolder
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err)
	var run peerRun
	require.NoError(t, json.Unmarshal(out, &run))
	return run
}
