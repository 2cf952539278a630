package web

import (
	"context"
	"errors"
	"io/fs"
	"maps"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/wording"
	"passbell/templates"
)

// wordingsPage lists the texts that customers get.
type wordingsPage struct {
	Texts []wordingLine
}

type wordingLine struct {
	Name, Words string
	verdict
}

// wordingPage is one text to be tried.
type wordingPage struct {
	Name, Words, Typed string
	verdict
	Keep string // what goes into the configuration; "" where nothing is different
}

// verdict is what a text costs, how it reads and what to look at.
type verdict struct {
	Reads    string // filled in for one order
	Encoding wording.Encoding
	Units    int
	Parts    int
	Cost     string // for every order of the night
	Warnings []wording.Warning
	Curly    bool   // straight signs would make it cheaper
	Wrong    string // why it can't be used
}

// wordingNames says what each text is for.
var wordingNames = map[string]string{
	wording.Instructions: "instructions, after orders close", wording.Reminder: "reminder before the slot", wording.Update: "something changed",
	wording.Cancellation: "the order or the night is off", wording.Nudge: "the slot has passed", wording.Delay: "the kitchen runs late",
	wording.Resend: "instructions again", wording.ReplyHere: "answer: seen at the gate", wording.ReplyHereCar: "answer: seen, but which car",
	wording.ReplyComing: "answer: on their way", wording.ReplyUnsure: "answer: whose order is it", wording.StopConfirmed: "answer: no more texts",
	wording.StartConfirmed: "answer: texts again", wording.Help: "answer: help",
}

func (s *site) addWording(mux *http.ServeMux) {
	mux.HandleFunc("GET /wording", func(w http.ResponseWriter, r *http.Request) {
		var p wordingsPage
		facts, orders, err := s.example(r.Context())
		for _, name := range wording.Names() {
			p.Texts = append(p.Texts, wordingLine{name, capital(wordingNames[name]), s.judge(name, s.source(name), facts, orders)})
		}
		s.present(w, r, view{Template: "wordings", Title: "Wording", Tab: "more", Path: "/wording", Data: p}, nil, err)
	})
	try := func(w http.ResponseWriter, r *http.Request) {
		name := r.PathValue("name")
		if !slices.Contains(wording.Names(), name) {
			s.fail(w, r, errNoPage)
			return
		}
		if err := r.ParseForm(); err != nil {
			s.refuse(w, r, http.StatusBadRequest, "That form can't be read", "Load the page anew and try once more.")
			return
		}
		s.tryWording(w, r, name, r.PostForm)
	}
	mux.HandleFunc("GET /wording/{name}", try)
	mux.HandleFunc("POST /wording/{name}", try)
}

// tryWording shows what a text would be. Nothing is stored: the kitchen's own
// words are kept in its configuration.
func (s *site) tryWording(w http.ResponseWriter, r *http.Request, name string, form url.Values) {
	p := wordingPage{Name: name, Words: capital(wordingNames[name]), Typed: s.source(name)}
	if typed, ok := form["text"]; ok {
		p.Typed = strings.ReplaceAll(typed[0], "\r\n", "\n")
	}
	if form.Get("do") == "straighten" {
		p.Typed = wording.Straighten(p.Typed)
	}
	facts, orders, err := s.example(r.Context())
	p.verdict = s.judge(name, p.Typed, facts, orders)
	if p.Typed != s.source(name) && p.Wrong == "" {
		p.Keep = "[texts]\n" + name + " = '''\n" + p.Typed + "'''"
	}
	s.present(w, r, view{Template: "wording", Title: "Wording", Tab: "more", Path: "/wording", Data: p}, nil, err)
}

// source is a text as the kitchen has it, its fields not filled in.
func (s *site) source(name string) string {
	if own, ok := s.Texts[name]; ok {
		return own
	}
	b, err := fs.ReadFile(templates.Texts, path.Join("texts", s.Language, name+".tmpl"))
	if err != nil {
		return ""
	}
	return strings.TrimRight(string(b), "\n")
}

// example gives the facts of a real order, or of a made-up one, and how many
// orders the night has.
func (s *site) example(ctx context.Context) (wording.Facts, int, error) {
	n, err := s.Desk.Current(ctx)
	if errors.Is(err, desk.ErrNoNight) {
		n, err = night.Night{Date: night.DateOf(s.Now().In(s.Kitchen.Zone)), Place: "your place"}, nil
	}
	if err != nil {
		return wording.Facts{}, 0, err
	}
	var orders []night.Order
	if n.ID != 0 {
		if orders, err = s.Desk.Orders(ctx, n.ID); err != nil {
			return wording.Facts{}, 0, err
		}
	}
	o := night.Order{Ref: "K420", Name: "Bethan Cadwgan", Slot: 17*60 + 10, Bag: 7}
	if len(orders) > 0 {
		o = orders[0]
	}
	const late = 15
	return wording.FactsFor(s.Kitchen, n, []night.Order{o}, s.Language).Delayed(late), len(orders), nil
}

// judge tries a text on facts.
func (s *site) judge(name, text string, facts wording.Facts, orders int) verdict {
	own := maps.Clone(s.Texts)
	if own == nil {
		own = map[string]string{}
	}
	own[name] = text
	if err := wording.Check(name, text, s.Language); err != nil {
		return verdict{Wrong: err.Error()}
	}
	set, err := wording.Load(templates.Texts, own, s.Language)
	if err != nil {
		return verdict{Wrong: err.Error()}
	}
	var v verdict
	if v.Reads, err = set.Render(name, facts); err != nil {
		return verdict{Wrong: err.Error()}
	}
	size := wording.Measure(v.Reads)
	v.Encoding, v.Units, v.Parts, v.Warnings = size.Encoding, size.Units, size.Parts, wording.Warnings(v.Reads)
	v.Curly = wording.Straighten(text) != text
	if s.Price.PerPart > 0 && orders > 0 {
		v.Cost = wording.Money(s.Price.Cost(size.Parts*orders), s.Price.Currency)
	}
	return v
}
