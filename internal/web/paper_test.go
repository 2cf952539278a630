package web_test

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"image/png"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/makiuchi-d/gozxing"
	zxqr "github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// openEighty loads a full night with long notes.
func (h *house) openEighty() {
	h.t.Helper()
	h.openEmpty()
	var orders []night.Order
	for i := range 80 {
		o := night.Order{
			Ref: fmt.Sprintf("P%03d", i), Name: fmt.Sprintf("Zoë Nguyễn N%03dq", i), Phone: fmt.Sprintf("+447700900%03d", 100+i),
			Slot:  night.Clock(16*60 + 30 + i/6*10),
			Items: []night.Item{{Qty: 2, Name: "Pork dumplings", Kind: night.Hot}, {Qty: 1, Name: "Slaw", Kind: night.Cold}},
			Note:  strings.Repeat("please leave the lid loose and ring twice because the dog barks ", 1+i%7) + fmt.Sprintf("E%03dq", i),
		}
		if i%3 == 0 {
			o.Allergy = fmt.Sprintf("severe sesame and peanut allergy of both children, A%03dq", i)
		}
		orders = append(orders, o)
	}
	_, err := h.desk.Load(h.t.Context(), h.night.ID, orders, "cook")
	require.NoError(h.t, err)
}

// printed gives the text of each page that the browser would print.
func printed(ctx context.Context, t *testing.T, address string) []string {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext is not installed: apt-get install poppler-utils")
		}
		t.Skip("pdftotext is not installed, so what the browser prints is not checked")
	}
	var pdf []byte
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(address), chromedp.WaitReady("#main"),
		chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			got, err := cdp.Call(ctx, target, cdppage.PrintToPDF, cdppage.PrintToPDFParams{PreferCSSPageSize: new(true), PrintBackground: new(true)})
			pdf = got.Data
			return err
		})))
	dir := t.TempDir()
	if shots := os.Getenv("SHOTS"); shots != "" {
		dir = shots
	}
	path := filepath.Join(dir, "printed-"+filepath.Base(address)+".pdf")
	require.NoError(t, os.WriteFile(path, pdf, 0o600))
	out, err := exec.CommandContext(t.Context(), "pdftotext", "-layout", path, "-").Output()
	require.NoError(t, err)
	pages := strings.Split(string(out), "\f")
	return pages[:len(pages)-1]
}

// Two public fault reports are behind this: WeasyPrint #1547 and wkhtmltopdf
// #2486, rows and headers that a page break tore apart.
func TestBrowserPrintsWholeCards(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	h := newHouse(t)
	h.openEighty()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	pages := printed(ctx, t, server.URL+"/paper/sheet")
	require.Greater(t, len(pages), 3)
	for i, p := range pages {
		assert.Contains(t, p, fmt.Sprintf("page %d of %d", i+1, len(pages)))
		assert.Contains(t, p, "Larkfield Dumpling Kitchen · ")
	}
	all := strings.Join(pages, "")
	for i := range 80 {
		words := []string{fmt.Sprintf("N%03dq", i), fmt.Sprintf("E%03dq", i), fmt.Sprintf("P%03d", i)}
		if i%3 == 0 {
			words = append(words, fmt.Sprintf("A%03dq", i))
		}
		var on string
		for _, p := range pages {
			if strings.Contains(p, words[0]) {
				on = p
			}
		}
		for _, w := range words {
			assert.Equal(t, 1, strings.Count(all, w), w)
			assert.Contains(t, on, w, "on the page of the name")
		}
	}
	labels := printed(ctx, t, server.URL+"/paper/labels")
	assert.Equal(t, 80, strings.Count(strings.Join(labels, ""), "bag 2 of 2"))
}

func TestPaperShowsChangesAndChangesNothing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.openEighty()
	server := httptest.NewServer(h.handler(withPassphrase("open sesame")))
	t.Cleanup(server.Close)
	cook := newVisitor(t, server.URL)
	cook.post("/sign-in", url.Values{"passphrase": {"open sesame"}})
	link := helpLink(t, cook, "Sam")
	h.clock.set(evening("16:20"))
	_, err := h.desk.Cancel(t.Context(), desk.Act{Night: h.night.ID, Ref: "P007", Who: "cook"})
	require.NoError(t, err)
	h.clock.set(evening("16:30"))
	before, err := h.desk.Events(t.Context(), h.night.ID, 0, 1000)
	require.NoError(t, err)

	code, p := cook.get("/paper/changes?since=16:20")
	require.Equal(t, http.StatusOK, code)
	says(t, p, "P007", "cancelled", "07700 900107")
	assert.NotContains(t, p, "P008")
	_, p = cook.get("/paper/changes?since=16:21")
	says(t, p, "Nothing.")
	code, p = cook.get("/paper/changes?since=soon")
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	says(t, p, "like 16:20")
	_, p = cook.get("/paper/sheet")
	says(t, p, "made 2026-12-04 16:30", "Cancelled, not on this sheet:", "P007")
	after, err := h.desk.Events(t.Context(), h.night.ID, 0, 1000)
	require.NoError(t, err)
	assert.Equal(t, before, after)

	sam := newVisitor(t, server.URL)
	sam.post(link, nil)
	for _, path := range []string{"/paper", "/paper/sheet", "/paper/labels", "/paper/changes?since=16:20", "/paper/sign"} {
		code, p = sam.get(path)
		assert.Equal(t, http.StatusForbidden, code, path)
		assert.NotContains(t, p, "07700 9001", path)
	}
}

// The code is read back by a decoder that is not of the library that made it.
func TestSignOnThePage(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open()
	server := httptest.NewServer(h.handler(nil))
	t.Cleanup(server.Close)
	_, p := newVisitor(t, server.URL).get("/paper/sign")
	raw, err := base64.StdEncoding.DecodeString(strings.ReplaceAll(between(p, `base64,`, `"`), "&#43;", "+"))
	require.NoError(t, err)
	picture, err := png.Decode(bytes.NewReader(raw))
	require.NoError(t, err)
	bits, err := gozxing.NewBinaryBitmapFromImage(picture)
	require.NoError(t, err)
	got, err := zxqr.NewQRCodeReader().Decode(bits, nil)
	require.NoError(t, err)
	// RFC 5724 §2.2 and RFC 3986 §2.1.
	assert.Equal(t, "sms:+447700900100?body=I%27m%20here%2C%20order%20", got.GetText())
}
