package paper_test

import (
	"bytes"
	"fmt"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	zxqr "github.com/makiuchi-d/gozxing/qrcode"
	qrcode "github.com/skip2/go-qrcode"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/night"
	"passbell/internal/paper"
	"passbell/internal/web"
)

var made = time.Date(2026, time.December, 4, 16, 20, 0, 0, time.UTC)

func words(t *testing.T, language string) paper.Tongue {
	t.Helper()
	in, err := web.PaperTongue("GB", language)
	require.NoError(t, err)
	return in
}

// eighty is a full night with long notes.
func eighty() paper.Facts {
	f := paper.Facts{
		Kitchen: night.Kitchen{Name: "Larkfield Dumpling Kitchen", Zone: time.UTC, Region: "GB"},
		Night:   night.Night{Date: night.Date{Year: 2026, Month: time.December, Day: 4}}, Now: made,
	}
	names := []string{"Łukasz", "Zoë", "Nguyễn", "Ωμέγα", "Жанна"}
	for i := range 80 {
		o := night.Order{
			ID: int64(i + 1), Ref: fmt.Sprintf("K%03d", 401+i), Bag: i + 1, Name: fmt.Sprintf("%s N%03dq", names[i%len(names)], i),
			Phone: fmt.Sprintf("+447700900%03d", 100+i), Slot: night.Clock(16*60 + 30 + i/4*10),
			Items: []night.Item{{Qty: 2, Name: "Pork dumplings", Kind: night.Hot}, {Qty: 1, Name: "Slaw", Kind: night.Cold}, {Qty: 3, Name: "Chilli oil", Kind: night.Extra}},
			Note:  strings.Repeat("please leave the lid loose and ring the bell twice because the dog barks ", 1+i%7) + fmt.Sprintf("E%03dq", i),
		}
		if i%3 == 0 {
			o.Allergy = fmt.Sprintf("severe sesame and peanut allergy of both children, A%03dq", i)
		}
		f.Orders = append(f.Orders, o)
	}
	return f
}

func TestChangesOnly(t *testing.T) {
	t.Parallel()
	f := eighty()
	f.Orders[2].State = night.Cancelled
	f.Since = made
	f.Events = []night.Event{
		{OrderID: 1, At: made.Add(-time.Minute), What: night.OrderChanged},
		{OrderID: 2, At: made, What: night.OrderChanged, Why: "slot 16:30 to 17:00"},
		{OrderID: 3, At: made.Add(time.Minute), What: night.StepTaken, From: night.Told, To: night.Cancelled},
		{OrderID: 4, At: made.Add(time.Minute), What: night.StepTaken, From: night.Told, To: night.Reminded},
		{OrderID: 5, At: made.Add(time.Minute), What: night.MessageSettled},
	}
	d := paper.Make(f)
	require.Equal(t, 2, d.Cards())
	assert.Equal(t, "K402", d.Groups[0].Cards[0].Ref, "a change in the minute of the sheet counts")
	assert.Equal(t, night.Cancelled, d.Groups[0].Cards[1].State)
	f.Since = time.Time{}
	d = paper.Make(f)
	assert.Equal(t, 79, d.Cards())
	assert.Equal(t, []string{"K403 Nguyễn N002q"}, d.Cancelled)
}

// What is missing since the last sheet was made stands on the sheet of changes,
// and on the line of the card.
func TestChangesShowWhatIsMissing(t *testing.T) {
	t.Parallel()
	f := eighty()
	f.Orders[1].Items[0].Short = 1
	f.Since = made
	f.Events = []night.Event{
		{OrderID: 1, At: made.Add(-time.Minute), What: night.ItemsShort, Why: "Slaw"},
		{OrderID: 2, At: made.Add(3 * time.Minute), What: night.ItemsShort, Why: "1 x Pork dumplings; to be said at the gate"},
	}
	d := paper.Make(f)
	require.Equal(t, 1, d.Cards())
	for language, want := range map[string][]string{
		"en": {"ONLY what changed since 2026-12-04 16:20, 1 order", "16:23 missing", "said at the gate", "1 missing", "page 1 of 1"},
		"es": {"SOLO lo que cambió desde 2026-12-04 16:20, 1 pedido", "16:23 falta", "falta 1", "página 1 de 1", "viernes 4 de diciembre de 2026", "Auto / placa", "CALIENTE"},
	} {
		var b bytes.Buffer
		require.NoError(t, paper.PDF(&b, d, words(t, language)))
		page := pdfText(t, b.Bytes())[0]
		for _, w := range want {
			assert.Contains(t, page, w, language)
		}
	}
}

// Nothing English is left on a Spanish sheet, label or sign.
func TestSpanishSheets(t *testing.T) {
	t.Parallel()
	f := eighty()
	f.Orders = f.Orders[:4]
	f.Orders[0].Vehicle = night.Vehicle{Colours: []string{"red"}, Make: "Ford"}
	f.Orders[0].Collector, f.Kitchen.Name = "Vera", "Larkfield Dumpling Kitchen and Weekend Supper Club"
	f.Orders[1].State, f.Orders[2].State = night.Arrived, night.Cancelled
	f.Orders[1].PackedAt = made
	in := words(t, "es")
	var sheet, labels, sign bytes.Buffer
	require.NoError(t, paper.PDF(&sheet, paper.Make(f), in))
	require.NoError(t, paper.LabelsPDF(&labels, paper.Make(f), in))
	require.NoError(t, paper.SignPDF(&sign, "Larkfield Dumpling Kitchen", "+447700900100", "07700 900100", in))
	all := strings.Join(pdfText(t, sheet.Bytes()), "") + strings.Join(pdfText(t, labels.Bytes()), "") + strings.Join(pdfText(t, sign.Bytes()), "")
	for _, w := range []string{"Larkfield Dumpling Kitchen and Weekend Supper Club · viernes 4 de diciembre de 2026", "Hoja de pedidos, 3 pedidos · hecha", "ALERGIA", "Nota:", "Lo recoge Vera", "Auto: rojo Ford", "AQUÍ", "empacado", "FRÍO", "bolsa 1 de 2", "Etiquetas de bolsas, 6 bolsas", "Cancelados"} {
		assert.Contains(t, all, w)
	}
	for _, w := range []string{"ALLERGY", "Note", "Order sheet", "packed", "Car", "page", "made", "HOT", "bag ", "Friday", "Scan", "text", "orders"} {
		assert.NotContains(t, all, w)
	}
}

func TestSince(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ typed, want string }{
		"today": {"16:20", "2026-12-04 16:20"}, "yesterday": {"18:00", "2026-12-03 18:00"}, "dated": {"2026-12-01 09:00", "2026-12-01 09:00"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			at, err := paper.Since(c.typed, made, time.UTC)
			require.NoError(t, err)
			assert.Equal(t, c.want, at.Format("2006-01-02 15:04"))
		})
	}
	_, err := paper.Since("later", made, time.UTC)
	assert.ErrorContains(t, err, "16:20")
}

// pdfText gives the text of each page as poppler reads it.
func pdfText(t *testing.T, pdf []byte) []string {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext is not installed: apt-get install poppler-utils")
		}
		t.Skip("pdftotext is not installed, so what stands in the PDF is not checked")
	}
	path := filepath.Join(t.TempDir(), "a.pdf")
	require.NoError(t, os.WriteFile(path, pdf, 0o600))
	if keep := os.Getenv("SHOTS"); keep != "" {
		require.NoError(t, os.WriteFile(filepath.Join(keep, strings.ReplaceAll(t.Name(), "/", "-")+".pdf"), pdf, 0o600))
	}
	out, err := exec.CommandContext(t.Context(), "pdftotext", "-layout", path, "-").Output()
	require.NoError(t, err)
	pages := strings.Split(string(out), "\f")
	return pages[:len(pages)-1]
}

// Two public fault reports are behind this: WeasyPrint #1547 and wkhtmltopdf
// #2486, rows and headers that a page break tore apart.
func TestSheetOfEightySplitsNoCard(t *testing.T) {
	t.Parallel()
	f := eighty()
	var b bytes.Buffer
	require.NoError(t, paper.PDF(&b, paper.Make(f), words(t, "en")))
	pages := pdfText(t, b.Bytes())
	require.Greater(t, len(pages), 3)
	all := strings.Join(pages, "")
	for i, p := range pages {
		assert.Contains(t, p, fmt.Sprintf("page %d of %d", i+1, len(pages)))
		assert.Contains(t, p, "Larkfield Dumpling Kitchen · Friday 4 December 2026")
		assert.Contains(t, p, "made 2026-12-04 16:20")
	}
	for i, o := range f.Orders {
		on := -1
		for n, p := range pages {
			if strings.Contains(p, o.Name) {
				on = n
			}
		}
		require.GreaterOrEqual(t, on, 0, o.Name)
		for _, word := range []string{o.Name, o.Ref, fmt.Sprintf("E%03dq", i)} {
			assert.Equal(t, 1, strings.Count(all, word), word)
			assert.Contains(t, pages[on], word, "on the page of the name")
		}
		if o.Allergy != "" {
			assert.Equal(t, 1, strings.Count(all, fmt.Sprintf("A%03dq", i)), o.Allergy)
			assert.Contains(t, pages[on], fmt.Sprintf("A%03dq", i))
		}
	}
	assert.Equal(t, 80, strings.Count(all, "Car / plate"))
}

func TestCardFitsOnAPageHoweverLong(t *testing.T) {
	t.Parallel()
	f := eighty()
	f.Orders = f.Orders[:1]
	f.Orders[0].Note = strings.Repeat("word ", 2500) + "ENDq"
	var b bytes.Buffer
	require.NoError(t, paper.PDF(&b, paper.Make(f), words(t, "en")))
	pages := pdfText(t, b.Bytes())
	require.Len(t, pages, 1)
	assert.Contains(t, pages[0], "ENDq")
}

func TestLabels(t *testing.T) {
	t.Parallel()
	f := eighty()
	var b bytes.Buffer
	require.NoError(t, paper.LabelsPDF(&b, paper.Make(f), words(t, "en")))
	all := strings.Join(pdfText(t, b.Bytes()), "")
	assert.Equal(t, 80, strings.Count(all, "bag 1 of 2"))
	assert.Equal(t, 80, strings.Count(all, "bag 2 of 2"))
	for i, o := range f.Orders {
		assert.Equal(t, 2, strings.Count(all, o.Name), "once a bag")
		if o.Allergy != "" {
			assert.Equal(t, 2, strings.Count(all, fmt.Sprintf("A%03dq", i)), "on every bag")
		}
	}
}

// The code is read back by a decoder that is not of the library that made it.
func TestSignOpensAText(t *testing.T) {
	t.Parallel()
	q, err := qrcode.New(paper.SMS("+447700900100", paper.Arrived), qrcode.Medium)
	require.NoError(t, err)
	var picture image.Image = q.Image(480)
	bits, err := gozxing.NewBinaryBitmapFromImage(picture)
	require.NoError(t, err)
	got, err := zxqr.NewQRCodeReader().Decode(bits, nil)
	require.NoError(t, err)
	// By RFC 5724 §2.2 (the form of the body field) and RFC 3986 §2.1.
	assert.Equal(t, "sms:+447700900100?body=I%27m%20here%2C%20order%20", got.GetText())
	var b bytes.Buffer
	require.NoError(t, paper.SignPDF(&b, "Larkfield Dumpling Kitchen", "+447700900100", "07700 900100", words(t, "en")))
	assert.Contains(t, strings.Join(pdfText(t, b.Bytes()), ""), "07700 900100")
}
