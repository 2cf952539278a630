package paper

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	qrcode "github.com/skip2/go-qrcode"

	"passbell/internal/night"
)

// A4 in mm, and what is left of it inside the margins.
const (
	margin   = 10.0
	width    = 190.0
	top      = 24.0
	bottom   = 284.0
	font     = "paper"
	slotBand = 9.0
)

// sheet draws on one PDF. With dry it only measures.
type sheet struct {
	*fpdf.Fpdf
	in    Tongue
	dry   bool
	scale float64 // of the type, below 1 where a card would not fit on a page
}

func newSheet(in Tongue, title string) *sheet {
	f := fpdf.New("P", "mm", "A4", "")
	// DejaVu has the letters of every name that is written in Latin, Greek or
	// Cyrillic, Vietnamese ones too.
	f.AddUTF8FontFromBytes(font, "", dejavusanscondensed.TTF)
	f.AddUTF8FontFromBytes(font, "B", dejavusanscondensedbold.TTF)
	f.SetMargins(margin, margin, margin)
	f.SetAutoPageBreak(false, 0)
	f.SetTitle(title, true)
	f.SetCellMargin(0)
	f.SetFont(font, "", 10)
	return &sheet{Fpdf: f, in: in, scale: 1}
}

// text writes wrapped words from (x, y) and gives the height they take.
func (s *sheet) text(x, y, w float64, style string, points float64, words string) float64 {
	if words == "" {
		return 0
	}
	points *= s.scale
	s.SetFont(font, style, points)
	line := points * 0.42 // mm
	h := 0.0
	for part := range strings.SplitSeq(strings.ReplaceAll(words, "\r", ""), "\n") {
		lines := s.SplitText(part, w)
		if len(lines) == 0 {
			lines = []string{""}
		}
		for _, l := range lines {
			if !s.dry {
				s.SetXY(x, y+h)
				s.CellFormat(w, line, l, "", 0, "LM", false, 0, "")
			}
			h += line
		}
	}
	return h
}

func (s *sheet) box(x, y, w, h, thick float64) {
	if s.dry {
		return
	}
	s.SetLineWidth(thick)
	s.Rect(x, y, w, h, "D")
}

// big writes the largest that fits in a width: what is read from afar, or must
// stand on one line.
func (s *sheet) big(x, y, w, points float64, words string) float64 {
	s.SetFont(font, "B", points)
	for s.GetStringWidth(words) > w && points > 8 {
		points--
		s.SetFont(font, "B", points)
	}
	old := s.scale
	s.scale = 1
	h := s.text(x, y, w+1, "B", points, words)
	s.scale = old
	return h
}

// allergy writes the whole allergy in a heavy box.
func (s *sheet) allergy(x, y, w float64, words string) float64 {
	if words == "" {
		return 0
	}
	h := 4 + s.text(x+2.5, y+2, w-5, "B", 13, strings.ToUpper(s.in.T("Allergy"))+": "+words)
	s.box(x+0.5, y+0.3, w-1, h-0.6, 1.2)
	return h + 1
}

func (s *sheet) items(x, y, w float64, bags []Bag) float64 {
	h := 0.0
	for _, b := range bags {
		h += s.text(x, y+h, w, "B", 9, strings.ToUpper(s.in.Kind(b.Kind)))
		for _, it := range b.Items {
			s.box(x, y+h+0.7, 3.4, 3.4, 0.4)
			h += s.text(x+5.5, y+h, w-5.5, "", 11, s.item(it)) + 0.8
		}
		h += 0.8
	}
	return h
}

// columns sets the items of a card side by side: the hot, and what stays cold.
func (s *sheet) columns(x, y, w float64, bags []Bag) float64 {
	if len(bags) < 2 {
		return s.items(x, y, w, bags)
	}
	half := w/2 - 1
	return max(s.items(x, y, half, bags[:1]), s.items(x+half+2, y, half, bags[1:]))
}

func (s *sheet) item(it night.Item) string {
	words := fmt.Sprintf("%d × %s", it.Qty, it.Name)
	if it.Short > 0 {
		words += ", " + s.in.T("%d missing", it.Short)
	}
	return words
}

// about is what else there is to know of an order, line by line.
func (s *sheet) about(c Card) []string {
	var out []string
	for _, number := range []string{c.Phone, c.Email} {
		if number != "" {
			out = append(out, number)
		}
	}
	if c.Collector != "" {
		out = append(out, s.in.T("Collected by %s", c.Collector))
	}
	if car := s.in.Car(c.Vehicle); car != "" {
		out = append(out, s.in.T("Car: %s", car))
	}
	return out
}

// card draws an order from y and gives its height.
func (s *sheet) card(y float64, c Card) float64 {
	const x, mid, right = margin + 2, margin + 34, margin + 112
	h := y + 2.5
	left := h + s.big(x, h, 29, 44, c.Big) + 1
	left += s.text(x, left, 29, "B", 12, s.in.Slot(c.Slot))
	if c.Ref != c.Big {
		left += s.text(x, left, 29, "", 10, c.Ref)
	}
	if c.Packed {
		left += s.text(x, left, 29, "", 9, s.in.T("packed"))
	}
	h += s.allergy(mid, h, width-36, c.Allergy)
	m := h + s.text(mid, h, 75, "B", 15, c.Name)
	m += s.text(mid, m, 75, "B", 12, strings.ToUpper(s.in.State(c.State)))
	for _, ch := range c.Changes {
		m += s.text(mid, m, 75, "B", 10, s.in.Change(ch))
	}
	for _, l := range s.about(c) {
		m += s.text(mid, m, 75, "", 10, l) + 0.4
	}
	r := h + s.columns(right, h, width-104, c.Bags)
	h = max(m, r)
	if c.Note != "" {
		h += s.text(mid, h, width-36, "", 10, s.in.T("Note")+": "+c.Note)
	}
	h = max(left-4, h) + 2
	h += s.text(mid, h, 22, "", 9, s.in.T("Car / plate"))
	if !s.dry {
		s.SetLineWidth(0.3)
		s.Line(mid+22, h, right+34, h)
		s.text(right+43, h-4, 15, "", 9, s.in.T("here"))
		s.text(right+62, h-4, 18, "", 9, s.in.T("out"))
	}
	s.box(right+37, h-4, 4, 4, 0.4)
	s.box(right+57, h-4, 4, 4, 0.4)
	h += 2
	s.box(margin, y, width, h-y, 0.5)
	return h - y + 2
}

// fit measures a card, with smaller type where it would be higher than a page.
func (s *sheet) fit(c Card) (height, scale float64) {
	defer func() { s.dry, s.scale = false, 1 }()
	s.dry = true
	for scale = 1; ; scale *= 0.9 {
		s.scale = scale
		if height = s.card(0, c); height <= bottom-top-slotBand || scale < 0.3 {
			return height, scale
		}
	}
}

// placed is a card, or the first of its slot with the band above it.
type placed struct {
	Card
	band          string
	words         string // instead of a card
	height, scale float64
}

// paginate puts blocks on pages, none of them split.
func paginate[T any](blocks []T, height func(T) float64, room float64) [][]T {
	var pages [][]T
	used := 0.0
	for _, b := range blocks {
		h := height(b)
		if len(pages) == 0 || used+h > room {
			pages, used = append(pages, nil), 0
		}
		pages[len(pages)-1] = append(pages[len(pages)-1], b)
		used += h
	}
	return pages
}

func (s *sheet) header(d Doc, what string, page, of int) {
	s.AddPage()
	h := s.big(margin, margin, 145, 13, d.Kitchen+" · "+s.in.T("%s %s", s.in.Day(d.Date), strconv.Itoa(d.Date.Year)))
	s.text(margin, margin+max(6, h), 145, "", 10, what+" · "+s.in.T("made %s", d.MadeAt.Format("2006-01-02 15:04")))
	s.SetXY(margin, margin)
	s.SetFont(font, "B", 12)
	s.CellFormat(width, 5, s.in.T("page %d of %d", page, of), "", 0, "RM", false, 0, "")
	s.SetLineWidth(0.6)
	s.Line(margin, top-3, margin+width, top-3)
}

// PDF writes the order sheet, or the sheet of changes.
func PDF(w io.Writer, d Doc, in Tongue) error {
	what := in.T("Order sheet")
	if !d.Since.IsZero() {
		what = in.T("ONLY what changed since %s", d.Since.Format("2006-01-02 15:04"))
	}
	what += ", " + in.T("%d orders", d.Cards())
	s := newSheet(in, what)
	var blocks []placed
	for _, g := range d.Groups {
		for i, c := range g.Cards {
			p := placed{Card: c}
			p.height, p.scale = s.fit(c)
			if i == 0 {
				p.band = in.Slot(g.Slot) + "   " + in.T("%d orders", len(g.Cards))
				p.height += slotBand
			}
			blocks = append(blocks, p)
		}
	}
	if len(blocks) == 0 {
		blocks = append(blocks, placed{words: in.T("Nothing."), height: slotBand})
	}
	if len(d.Cancelled) > 0 {
		words := in.T("Cancelled, not on this sheet:") + " " + strings.Join(d.Cancelled, ", ")
		s.dry = true
		blocks = append(blocks, placed{words: words, height: s.text(0, 0, width, "B", 11, words) + 2})
		s.dry = false
	}
	pages := paginate(blocks, func(p placed) float64 { return p.height }, bottom-top)
	for i, page := range pages {
		s.header(d, what, i+1, len(pages))
		y := top
		for _, p := range page {
			if p.words != "" {
				y += s.text(margin, y+1, width, "B", 11, p.words)
				continue
			}
			at := y
			if p.band != "" {
				s.text(margin, at+1, width, "B", 16, p.band)
				at += slotBand
			}
			s.scale = p.scale
			s.card(at, p.Card)
			s.scale = 1
			y += p.height
		}
	}
	return s.out(w)
}

func (s *sheet) out(w io.Writer) error {
	if err := s.Output(w); err != nil {
		return fmt.Errorf("make the PDF: %w", err)
	}
	return nil
}

// labelWide is the width of a label: two stand side by side.
const labelWide = width/2 - 1

func (s *sheet) label(x, y float64, l Label) float64 {
	h := y + 2
	number := s.big(x+2, h, 44, 60, l.Big)
	n := h + s.text(x+50, h, labelWide-52, "B", 18, s.in.Slot(l.Slot))
	n += s.text(x+50, n, labelWide-52, "", 10, l.Ref)
	n += s.text(x+50, n, labelWide-52, "B", 11, s.in.T("bag %d of %d", l.Nth, l.Of))
	h = max(h+number, n) + 1
	h += s.text(x+2, h, labelWide-4, "B", 15, l.Name)
	h += s.allergy(x+2, h, labelWide-4, l.Allergy)
	h += s.items(x+2, h, labelWide-4, l.Bags)
	h += s.text(x+2, h, labelWide-4, "", 10, l.Note) + 2
	return h - y
}

// row is two labels side by side.
type row struct {
	labels        []Label
	height, scale float64
}

func (s *sheet) fitRow(labels []Label) row {
	defer func() { s.dry, s.scale = false, 1 }()
	s.dry = true
	for r := (row{labels: labels, scale: 1}); ; r.scale *= 0.9 {
		s.scale, r.height = r.scale, 0
		for _, l := range labels {
			r.height = max(r.height, s.label(0, 0, l)+3)
		}
		if r.height <= bottom-top || r.scale < 0.3 {
			return r
		}
	}
}

// LabelsPDF writes a label for each bag.
func LabelsPDF(w io.Writer, d Doc, in Tongue) error {
	labels := d.Labels()
	what := in.T("Bag labels") + ", " + in.T("%d bags", len(labels))
	s := newSheet(in, what)
	var rows []row
	for len(labels) > 0 {
		n := min(2, len(labels))
		rows = append(rows, s.fitRow(labels[:n]))
		labels = labels[n:]
	}
	pages := paginate(rows, func(r row) float64 { return r.height }, bottom-top)
	if len(pages) == 0 {
		pages = [][]row{nil}
	}
	for i, page := range pages {
		s.header(d, what, i+1, len(pages))
		y := top
		for _, r := range page {
			s.scale = r.scale
			for j, l := range r.labels {
				x := margin + float64(j)*(labelWide+2)
				s.label(x, y, l)
				s.box(x, y, labelWide, r.height-3, 0.4)
			}
			s.scale = 1
			y += r.height
		}
	}
	return s.out(w)
}

// Code gives the sign's code as rows of dark and light, its quiet zone
// included.
func Code(number string) ([][]bool, error) {
	q, err := qrcode.New(SMS(number, Arrived), qrcode.Medium)
	if err != nil {
		return nil, fmt.Errorf("make the code: %w", err)
	}
	return q.Bitmap(), nil
}

// SignPDF writes the sign for the gate. Shown is the number as people read it.
func SignPDF(w io.Writer, kitchen, number, shown string, in Tongue) error {
	code, err := Code(number)
	if err != nil {
		return err
	}
	s := newSheet(in, in.T("Gate sign"))
	s.AddPage()
	y := 22 + s.text(margin, 20, width, "B", 34, kitchen)
	y += s.text(margin, y+4, width, "B", 48, in.T("Here? Text us.")) + 8
	const side = 120.0
	cell := side / float64(len(code))
	s.SetFillColor(0, 0, 0)
	for r, line := range code {
		for c, dark := range line {
			if dark {
				s.Rect(margin+(width-side)/2+float64(c)*cell, y+float64(r)*cell, cell+0.01, cell+0.01, "F")
			}
		}
	}
	y += side + 6
	y += s.text(margin, y, width, "", 24, in.T("Scan, add your order number, send.")) + 4
	y += s.text(margin, y, width, "", 24, in.T("Or text this number:")) + 2
	s.big(margin, y, width, 60, shown)
	return s.out(w)
}
