package web

import (
	"encoding/base64"
	"html/template"
	"net/http"
	"time"

	qrcode "github.com/skip2/go-qrcode"

	"passbell/internal/night"
	"passbell/internal/paper"
	"passbell/internal/phone"
)

// paperPage is a sheet for a browser to print.
type paperPage struct {
	paper.Doc
	Title  string
	Day    string
	Made   string // as /paper/changes asks for it
	From   string // "" for the whole sheet
	Groups []paperGroup
	Labels []paperLabel
}

type paperGroup struct {
	Slot  string
	Cards []paperCard
}

type paperCard struct {
	paper.Card
	Slot, Car, State string
	Bags             []paperBag
	Changes          []string
}

type paperBag struct {
	Kind  string
	Items []night.Item
}

type paperLabel struct {
	paperCard
	Nth, Of int
}

// paperIndex leads to the sheets.
type paperIndex struct{ Wrong string }

// signPage is the sign for the gate; Code is "" where the kitchen has no number.
type signPage struct {
	Title, Kitchen, Number string
	Code                   template.URL
}

// dated writes the time on a sheet; it is also how the next one asks for it.
const dated = "2006-01-02 15:04"

// addPaper mounts the pages to print. They are the cook's: a helper's link
// does not open them. To print changes nothing.
func (s *site) addPaper(mux *http.ServeMux) {
	mux.HandleFunc("GET /paper", func(w http.ResponseWriter, r *http.Request) { s.showPaper(w, r, paperIndex{}) })
	mux.HandleFunc("GET /paper/sheet", func(w http.ResponseWriter, r *http.Request) {
		s.printPage(w, r, "sheet", s.t("Order sheet"), time.Time{})
	})
	mux.HandleFunc("GET /paper/labels", func(w http.ResponseWriter, r *http.Request) {
		s.printPage(w, r, "labels", s.t("Bag labels"), time.Time{})
	})
	mux.HandleFunc("GET /paper/changes", func(w http.ResponseWriter, r *http.Request) {
		since, err := paper.Since(r.FormValue("since"), s.Now(), s.Kitchen.Zone)
		if err != nil {
			s.showPaper(w, r, paperIndex{Wrong: s.t("Write the time that stands on the last sheet, like 16:20 or 2026-12-03 16:20.")})
			return
		}
		s.printPage(w, r, "sheet", s.t("ONLY what changed since %s", since.In(s.Kitchen.Zone).Format(dated)), since)
	})
	mux.HandleFunc("GET /paper/sign", s.printSign)
}

func (s *site) showPaper(w http.ResponseWriter, r *http.Request, p paperIndex) {
	v := view{Template: "paper", Title: s.t("Paper"), Tab: "more", Path: "/paper", Data: p}
	if p.Wrong != "" {
		v.Status = http.StatusUnprocessableEntity
	}
	s.present(w, r, v, nil, nil)
}

func (s *site) printPage(w http.ResponseWriter, r *http.Request, name, title string, since time.Time) {
	ctx := r.Context()
	n, ok := s.nightHere(w, r)
	if !ok {
		return
	}
	f := paper.Facts{Kitchen: s.Kitchen, Night: n, Now: s.Now(), Since: since, Number: func(o night.Order) string {
		_, shown := s.tel(o)
		return shown
	}}
	var err error
	if f.Orders, err = s.Desk.Orders(ctx, n.ID); err == nil && !since.IsZero() {
		f.Events, err = paper.AllEvents(ctx, s.Desk, n.ID)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	d := paper.Make(f)
	p := paperPage{Doc: d, Title: title, Day: s.day(n.Date), Made: d.MadeAt.Format(dated)}
	if !since.IsZero() {
		p.From = d.Since.Format(dated)
	}
	for _, g := range d.Groups {
		group := paperGroup{Slot: s.slot(g.Slot)}
		for _, c := range g.Cards {
			group.Cards = append(group.Cards, s.paperCard(c))
		}
		p.Groups = append(p.Groups, group)
	}
	if name == "labels" {
		for _, l := range d.Labels() {
			p.Labels = append(p.Labels, paperLabel{s.paperCard(l.Card), l.Nth, l.Of})
		}
	}
	s.bare(w, r, http.StatusOK, name, p)
}

func (s *site) paperCard(c paper.Card) paperCard {
	in := onPaper{s.tongue}
	out := paperCard{Card: c, Slot: in.Slot(c.Slot), Car: in.Car(c.Vehicle), State: in.State(c.State)}
	for _, b := range c.Bags {
		out.Bags = append(out.Bags, paperBag{in.Kind(b.Kind), b.Items})
	}
	for _, ch := range c.Changes {
		out.Changes = append(out.Changes, in.Change(ch))
	}
	return out
}

// onPaper says what stands on a sheet, for a browser to print or as a PDF.
type onPaper struct{ *tongue }

// PaperTongue gives the words of the sheets in a language of the texts, for a
// kitchen in a region; English where the pages don't speak that language.
func PaperTongue(region, language string) (paper.Tongue, error) {
	words, err := loadTongue(region, pagesLanguage(language))
	if err != nil {
		return nil, err
	}
	return onPaper{words}, nil
}

// T says a sentence of the catalogue.
func (p onPaper) T(sentence string, args ...any) string { return p.t(sentence, args...) }

// Day writes a date in full.
func (p onPaper) Day(d night.Date) string { return p.day(d) }

// Slot writes a time of day.
func (p onPaper) Slot(c night.Clock) string { return p.slot(c) }

// Car writes a car in words.
func (p onPaper) Car(v night.Vehicle) string { return p.carWords(v) }

// Kind names what a bag holds.
func (p onPaper) Kind(k night.Kind) string {
	return map[night.Kind]string{night.Hot: p.t("hot"), night.Cold: p.t("cold"), night.Extra: p.t("extra")}[k]
}

// State names a state that changes what is to be done with a bag.
func (p onPaper) State(s night.State) string {
	switch s {
	case night.Arrived, night.HandedOut, night.Cancelled, night.NotCollected:
		return p.state(s)
	case night.Booked, night.Told, night.Reminded:
	}
	return ""
}

// Change writes what changed, and when.
func (p onPaper) Change(c paper.Change) string {
	words := p.say(c.Why)
	if words == "" || c.To != "" || c.What == night.ItemsShort {
		words = p.tell(night.Event{What: c.What, From: c.From, To: c.To, Why: c.Why})
	}
	return p.slot(night.ClockOf(c.At)) + " " + words
}

func (s *site) printSign(w http.ResponseWriter, r *http.Request) {
	p := signPage{Title: s.t("Gate sign"), Kitchen: s.Kitchen.Name}
	if s.Kitchen.Number != "" {
		png, err := qrcode.Encode(paper.SMS(s.Kitchen.Number, paper.Arrived), qrcode.Medium, 600)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		p.Number = phone.National(s.Kitchen.Number)
		p.Code = template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png)) //nolint:gosec // made here
	}
	s.bare(w, r, http.StatusOK, "sign", p)
}
