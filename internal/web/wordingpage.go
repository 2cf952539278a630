package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/wording"
	"passbell/templates"
)

// WordActs reads and changes what the texts to customers say.
type WordActs interface {
	Words(ctx context.Context) ([]desk.Words, error)
	Waiting(ctx context.Context, name string) (fresh, tried int, err error)
	SaveWords(ctx context.Context, name, text, who string) (int, error)
	ResetWords(ctx context.Context, name, who string) (int, error)
}

// wordingsPage lists the texts that customers get.
type wordingsPage struct {
	Texts []wordingLine
}

type wordingLine struct {
	Name, Words string
	From        string // whose words they are
	Own         bool
	verdict
}

// wordingPage is one text to be changed.
type wordingPage struct {
	Name, Words, Typed, From string
	Seen                     string // names the words that the page was opened with
	Former                   string // to whose words the saved ones can be taken back
	Fields                   []string
	Broken                   string // why the words that stand there can't be used
	verdict
	Differs      bool // from what customers now get
	Fresh, Tried int  // texts that wait
}

// verdict is what a text costs, how it reads and what to look at.
type verdict struct {
	Reads    string // filled in for one order
	GSM      bool   // in the alphabet of text messages
	Units    int
	Parts    int
	Cost     string // for every order of the night
	Warnings []string
	Curly    bool   // straight signs would make it cheaper
	Wrong    string // why it can't be used
}

// wordingName says what each text is for.
func wordingName(name string) phrase {
	switch name {
	case wording.Instructions:
		return phrase("instructions, after orders close")
	case wording.Reminder:
		return phrase("reminder before the slot")
	case wording.Update:
		return phrase("something changed")
	case wording.Cancellation:
		return phrase("the order or the night is off")
	case wording.Nudge:
		return phrase("the slot has passed")
	case wording.Delay:
		return phrase("the kitchen runs late")
	case wording.Resend:
		return phrase("instructions again")
	case wording.Short:
		return phrase("something is missing")
	case wording.ReplyHere:
		return phrase("answer: seen at the gate")
	case wording.ReplyHereCar:
		return phrase("answer: seen, but which car")
	case wording.ReplyComing:
		return phrase("answer: on their way")
	case wording.ReplyUnsure:
		return phrase("answer: whose order is it")
	case wording.StopConfirmed:
		return phrase("answer: no more texts")
	case wording.StartConfirmed:
		return phrase("answer: texts again")
	case wording.Help:
		return phrase("answer: help")
	}
	return name
}

func (s *site) addWording(mux *http.ServeMux) {
	mux.HandleFunc("GET /wording", s.listWording)
	one := func(w http.ResponseWriter, r *http.Request) {
		if err := r.ParseForm(); err != nil {
			s.refuse(w, r, http.StatusBadRequest, s.t("That form can’t be read"), s.t("Load the page anew and tap once more."))
			return
		}
		s.oneWording(w, r, r.PostForm)
	}
	mux.HandleFunc("GET /wording/{name}", one)
	mux.HandleFunc("POST /wording/{name}", one)
}

func (s *site) listWording(w http.ResponseWriter, r *http.Request) {
	var p wordingsPage
	ex, err := s.example(r.Context())
	var list []desk.Words
	if err == nil {
		list, err = s.Desk.Words(r.Context())
	}
	for _, word := range list {
		p.Texts = append(p.Texts, wordingLine{
			word.Name, capital(s.say(wordingName(word.Name))), s.wordsFrom(ex.night, word), word.From != desk.BuiltIn, s.judge(ex, word.Name, word.Text),
		})
	}
	s.present(w, r, view{Template: "wordings", Title: s.t("Wording"), Tab: "more", Path: "/wording", Data: p}, s.popNotice(r.Context()), err)
}

// wordsFrom says whose words a text has.
func (s *site) wordsFrom(n night.Night, w desk.Words) string {
	switch w.From {
	case desk.Saved:
		return s.t("yours, saved %s by %s", s.when(n, w.At), s.whoWords(w.By))
	case desk.Configured:
		return s.t("yours, from passbell.toml")
	case desk.BuiltIn:
	}
	return s.t("built in")
}

// oneWording shows one text, tries what was typed for it, and saves it.
func (s *site) oneWording(w http.ResponseWriter, r *http.Request, form url.Values) {
	ctx, name, who := r.Context(), r.PathValue("name"), s.who(r.Context())
	word, err := s.wordsNamed(ctx, name)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	typed := word.Text
	if text, ok := form["text"]; ok {
		typed = strings.ReplaceAll(text[0], "\r\n", "\n")
	}
	var said *notice
	seen := form.Get("seen")
	switch form.Get("do") {
	case "straighten":
		typed = wording.Straighten(typed)
	case "save", "reset":
		if seen != "" && seen != wordsMark(word) {
			said = &notice{Bad: true, Text: s.t("Somebody saved other words for this text meanwhile, so yours were not saved yet. They stand below: look, and save them if they are still right.")}
			seen = ""
			break
		}
		if said, err = s.putWords(ctx, name, typed, form.Get("do"), who); err == nil {
			s.sessions.Put(ctx, keyNotice, said.Text)
			http.Redirect(w, r, "/wording", http.StatusSeeOther)
			return
		}
		if technical(err) {
			n := s.sorry(night.Order{}, r.URL.Path, err)
			said = &n
		}
	}
	if seen == "" {
		seen = wordsMark(word)
	}
	p, err := s.wordingPage(ctx, word, typed)
	p.Seen = seen
	s.present(w, r, view{Template: "wording", Title: s.t("Wording"), Tab: "more", Path: "/wording/" + name, Data: p}, said, err)
}

// putWords saves typed words, or takes saved ones back.
func (s *site) putWords(ctx context.Context, name, typed, do, who string) (*notice, error) {
	save := func() (int, error) { return s.Desk.SaveWords(ctx, name, typed, who) }
	said := s.t("Saved. Every text from now on has these words.")
	if do == "reset" {
		save = func() (int, error) { return s.Desk.ResetWords(ctx, name, who) }
		said = s.t("Taken back. Every text from now on has the former words.")
	}
	count, err := save()
	if count > 0 {
		said += " " + s.t("%d texts that waited now read so.", count)
	}
	return &notice{Text: said}, err
}

func (s *site) wordsNamed(ctx context.Context, name string) (desk.Words, error) {
	list, err := s.Desk.Words(ctx)
	if err != nil {
		return desk.Words{}, err
	}
	for _, w := range list {
		if w.Name == name {
			return w, nil
		}
	}
	return desk.Words{}, errNoPage
}

// wordsMark names the words of a text, so that nobody saves over words that they
// have not seen.
func wordsMark(w desk.Words) string {
	sum := sha256.Sum256([]byte(w.Text))
	return hex.EncodeToString(sum[:8])
}

func (s *site) wordingPage(ctx context.Context, word desk.Words, typed string) (wordingPage, error) {
	ex, err := s.example(ctx)
	if err != nil {
		return wordingPage{}, err
	}
	p := wordingPage{
		Name: word.Name, Words: capital(s.say(wordingName(word.Name))), Typed: typed,
		From: s.wordsFrom(ex.night, word), verdict: s.judge(ex, word.Name, typed),
		Differs: strings.TrimSpace(typed) != strings.TrimSpace(word.Text),
	}
	for _, f := range wording.FieldNames() {
		p.Fields = append(p.Fields, "{{."+f+"}}")
	}
	if word.From == desk.Saved {
		p.Former = s.t("Back to the built-in words")
		if word.Below == desk.Configured {
			p.Former = s.t("Back to the words in passbell.toml")
		}
	}
	if word.Wrong != nil {
		p.Broken = s.say(word.Wrong.Error())
	}
	p.Fresh, p.Tried, err = s.Desk.Waiting(ctx, word.Name)
	return p, err
}

// example is a night and what a text would name for one of its orders.
type example struct {
	night  night.Night
	facts  wording.Facts
	orders int
}

// example gives the facts of a real order, or of a made-up one, and how many
// orders the night has.
func (s *site) example(ctx context.Context) (example, error) {
	n, err := s.Desk.Current(ctx)
	if errors.Is(err, desk.ErrNoNight) {
		n, err = night.Night{Date: night.DateOf(s.Now().In(s.Kitchen.Zone)), Place: s.t("your place")}, nil
	}
	if err != nil {
		return example{}, err
	}
	var orders []night.Order
	if n.ID != 0 {
		if orders, err = s.Desk.Orders(ctx, n.ID); err != nil {
			return example{}, err
		}
	}
	o := night.Order{Ref: "K420", Name: "Bethan Cadwgan", Slot: 17*60 + 10, Bag: 7}
	if len(orders) > 0 {
		o = orders[0]
	}
	if o.Items = slices.Clone(o.Items); len(o.Items) == 0 {
		o.Items = []night.Item{{Qty: 2, Name: s.t("Pork dumplings")}}
	}
	o.Items[0].Short = max(o.Items[0].Qty, 1) // for the text that says what is missing
	const late = 15
	return example{n, wording.FactsFor(s.Kitchen, n, []night.Order{o}, s.Language).Delayed(late), len(orders)}, nil
}

// judge tries a text on an example.
func (s *site) judge(ex example, name, text string) verdict {
	base, err := wording.Load(templates.Texts, nil, s.Language)
	if err != nil {
		return verdict{Wrong: err.Error()}
	}
	set, err := base.With(map[string]string{name: text})
	if err != nil {
		return verdict{Wrong: capital(s.say(err.Error()))}
	}
	var v verdict
	if v.Reads, err = set.Render(name, ex.facts); err != nil {
		return verdict{Wrong: capital(s.say(err.Error()))}
	}
	size := wording.Measure(v.Reads)
	v.GSM, v.Units, v.Parts = size.Encoding == wording.GSM7, size.Units, size.Parts
	for _, w := range wording.Warnings(v.Reads) {
		v.Warnings = append(v.Warnings, s.say(w.Say))
	}
	v.Curly = wording.Straighten(text) != text
	if s.Price.PerPart > 0 && ex.orders > 0 {
		v.Cost = wording.Money(s.Price.Cost(size.Parts*ex.orders), s.Price.Currency)
	}
	return v
}
