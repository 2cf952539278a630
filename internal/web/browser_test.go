package web_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// watched are the tests in a browser that the race detector watches as well: a
// night with everything that happens at once. It makes the others slow and sees
// nothing new in them.
var watched = []string{"TestANightOnThePass", "TestTapsWithoutALine"}

// browser opens a fresh headless Chromium. Without one the test is skipped, on
// a machine for checks it fails.
func browser(t *testing.T) context.Context {
	t.Helper()
	limit := 5 * time.Minute
	if os.Getenv("SHOTS") != "" { // pictures of all pages take longer
		limit = 20 * time.Minute
	}
	return browserFor(t, limit)
}

// browserFor is browser for a test that may take as long as limit.
func browserFor(t *testing.T, limit time.Duration) context.Context {
	t.Helper()
	if raced && !slices.Contains(watched, t.Name()) {
		t.Skip("tried in a browser without the race detector: see make unit")
	}
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("Chromium is not installed: apt-get install chromium")
		}
		t.Skip("Chromium is not installed, so the pages are not tried in a browser")
	}
	alloc, stop := chromedp.NewExecAllocator(t.Context(),
		chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-dev-shm-usage", true),
	)
	t.Cleanup(stop)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("about:blank")))
	// A page that never shows what is waited for fails the test.
	ctx, timeout := context.WithTimeout(ctx, limit)
	t.Cleanup(timeout)
	return ctx
}

// shoot keeps a picture of the page where SHOTS names a folder for them, to be
// looked at by a person.
func shoot(ctx context.Context, t *testing.T, name string) {
	t.Helper()
	dir := os.Getenv("SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600))
}
