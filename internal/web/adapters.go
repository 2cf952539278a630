package web

import (
	"context"
	"errors"
	"net/http"
	"net/mail"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"passbell/adapters"
	"passbell/internal/desk"
	"passbell/internal/fault"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// Ways is what the pages need of the adapters.
type Ways interface {
	Ways() []Way
	// Probe asks an adapter what it can tell of itself; no text goes out.
	Probe(ctx context.Context, name string) ([]adapters.Finding, error)
	// Try sends a test text, and calls tell each time that more is known of it
	// until ctx is done or all is known.
	Try(ctx context.Context, name, to, text string, tell func(Trial)) error
}

// Way is one adapter as the configuration has it.
type Way struct {
	Name, Kind string
	Mail       bool // carries mail and no texts
	Practice   bool // reaches no real phone
	Receives   bool
	Probes     bool
	PerSecond  float64
	Gap        time.Duration // between two texts to one number
	Countries  []string      // of the numbers that go by it; empty for all
	Lines      []phone.Line
	Kinds      []night.MessageKind
}

// Trial is what is known of a test text.
type Trial struct {
	Sent     bool
	Wrong    string // why it was not sent, for the cook
	Receipt  bool
	Arrived  bool   // as the receipt says
	Reason   string // of the receipt
	Answered bool
}

// adaptersPage shows how the ways out are.
type adaptersPage struct {
	Ways  []wayLine
	Trial *trialLine
}

type wayLine struct {
	Name, Kind, Pace, Takes    string
	Can                        []string
	Waiting, Sent, Arrived     int
	Failed, Doubt, Again       int
	Takings                    string // how long what waits takes to send; "" where nothing waits
	LastSent, LastWrong, Wrong string
	AgainWhy                   string
	Mail, Practice, Probes     bool
	Probed                     bool
	Findings                   []adapters.Finding
	Typed, TypedWrong          string
}

type trialLine struct {
	Way, To, At string
	Trial
	Over bool
	For  string // how long it is waited for
}

// trials lets one test text be under way at a time, and not many in a row.
type trials struct {
	mu    sync.Mutex
	last  *trialState
	begun []time.Time
	probe sync.Mutex
}

type trialState struct {
	way, to string // to is masked
	at      time.Time
	trial   Trial
	over    bool
}

const (
	// trialFor is how long a receipt and an answer to a test text are waited for.
	trialFor  = 3 * time.Minute
	probeFor  = 20 * time.Second
	trialMost = 6 // in trialTime
	trialTime = 15 * time.Minute
)

// begin starts a trial; ok is false while one is under way or too many were.
func (t *trials) begin(way, to string, now time.Time) (running, often bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	kept := t.begun[:0]
	for _, at := range t.begun {
		if now.Sub(at) < trialTime {
			kept = append(kept, at)
		}
	}
	t.begun = kept
	switch {
	case t.last != nil && !t.last.over:
		return true, false
	case len(t.begun) >= trialMost:
		return false, true
	}
	t.begun = append(t.begun, now)
	t.last = &trialState{way: way, to: to, at: now}
	return false, false
}

func (t *trials) tell(is Trial) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.last.trial = is
}

// end closes a trial; wrong says why it did not take place.
func (t *trials) end(wrong string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.last.over = true
	if wrong != "" {
		t.last.trial = Trial{Wrong: wrong}
	}
}

func (t *trials) state() (trialState, bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.last == nil {
		return trialState{}, false
	}
	return *t.last, true
}

func (s *site) addAdapters(mux *http.ServeMux) {
	if s.Ways == nil {
		return
	}
	mux.HandleFunc("GET /adapters", func(w http.ResponseWriter, r *http.Request) {
		s.showAdapters(w, r, nil, s.popNotice(r.Context()))
	})
	mux.HandleFunc("POST /adapters/{name}/probe", s.probeWay)
	mux.HandleFunc("POST /adapters/{name}/test", s.tryWay)
}

// showAdapters shows the page; fill adds to the line of an adapter.
func (s *site) showAdapters(w http.ResponseWriter, r *http.Request, fill func(*wayLine), said *notice) {
	p, err := s.adaptersPage(r.Context())
	for i := range p.Ways {
		if fill != nil {
			fill(&p.Ways[i])
		}
	}
	s.present(w, r, view{Template: "adapters", Title: s.t("Ways out"), Tab: "more", Path: "/adapters", Data: p}, said, err)
}

func (s *site) adaptersPage(ctx context.Context) (adaptersPage, error) {
	var p adaptersPage
	n, err := s.Desk.Current(ctx)
	var messages []night.Message
	switch {
	case err == nil:
		if messages, err = s.Desk.Messages(ctx, n.ID); err != nil {
			return p, err
		}
	case !errors.Is(err, desk.ErrNoNight):
		return p, err
	}
	for i, way := range s.Ways.Ways() {
		p.Ways = append(p.Ways, s.wayLine(n, way, messages, i == 0))
	}
	if st, ok := s.trials.state(); ok {
		p.Trial = &trialLine{Way: st.way, To: st.to, At: s.when(n, st.at), Trial: st.trial, Over: st.over, For: s.span(trialFor)}
		p.Trial.Wrong, p.Trial.Reason = s.unnumbered(st.trial.Wrong), s.unnumbered(st.trial.Reason)
	}
	return p, nil
}

// wayLine sums up what an adapter did on a night; what names none goes by the
// first.
func (s *site) wayLine(n night.Night, way Way, messages []night.Message, first bool) wayLine {
	l := wayLine{
		Name: way.Name, Kind: s.say(wayKind(way.Kind)), Can: s.wayCan(way), Takes: s.wayTakes(way), Mail: way.Mail, Practice: way.Practice, Probes: way.Probes,
		Pace: s.t("%s a second at most", strconv.FormatFloat(way.PerSecond, 'f', -1, 64)),
	}
	if way.PerSecond > 0 && way.PerSecond < 1 {
		l.Pace = s.t("one every %s s at most", strconv.FormatFloat(1/way.PerSecond, 'f', -1, 64))
	}
	if way.Gap > 0 {
		l.Pace += ", " + s.t("%d s between two to one number", int(way.Gap.Seconds()))
	}
	var sent, wrong time.Time
	for _, m := range messages {
		if m.Adapter != way.Name && (m.Adapter != "" || !first) {
			continue
		}
		switch m.State {
		case night.Due, night.Sending:
			l.Waiting++
			if m.Attempt > 0 && m.Reason != "" {
				l.Again++
				l.AgainWhy = s.unnumbered(m.Reason)
			}
		case night.Sent, night.Delivered:
			l.Sent++
			if m.State == night.Delivered {
				l.Arrived++
			}
			if m.SettledAt.After(sent) {
				sent = m.SettledAt
			}
		case night.Failed, night.InDoubt:
			if m.State == night.Failed {
				l.Failed++
			} else {
				l.Doubt++
			}
			if !m.SettledAt.Before(wrong) {
				wrong, l.Wrong = m.SettledAt, s.unnumbered(m.Reason)
			}
		case night.ByHand, night.Missed, night.Dropped:
		}
	}
	l.LastSent, l.LastWrong = s.when(n, sent), s.when(n, wrong)
	if l.Waiting > 0 && way.PerSecond > 0 {
		l.Takings = s.span(time.Duration(float64(l.Waiting) / way.PerSecond * float64(time.Second)))
	}
	return l
}

func wayKind(kind string) phrase {
	switch kind {
	case "practice":
		return phrase("practice: reaches no real phone")
	case "webapi":
		return phrase("a provider’s web interface")
	case "smpp":
		return phrase("a message centre, by SMPP")
	case "modem":
		return phrase("a modem with a SIM")
	case "email":
		return phrase("mail")
	}
	return kind
}

func (s *site) wayCan(way Way) []string {
	out := []string{s.t("sends texts")}
	if way.Mail {
		out = []string{s.t("sends mail")}
	}
	if way.Receives {
		out = append(out, s.t("takes answers in"))
	} else {
		out = append(out, s.t("takes no answers in"))
	}
	return out
}

// wayTakes says what goes by an adapter; "" for everything.
func (s *site) wayTakes(way Way) string {
	var out []string
	out = append(out, way.Countries...)
	for _, l := range way.Lines {
		out = append(out, s.say(string(l)))
	}
	for _, k := range way.Kinds {
		out = append(out, s.kind(k))
	}
	return strings.Join(out, ", ")
}

// longNumber finds numbers of people in what networks say.
var longNumber = regexp.MustCompile(`\+?\d[\d ()-]{5,}\d`)

// unnumbered gives a network's words in the page's language and without a full
// number.
func (s *site) unnumbered(words string) string {
	return longNumber.ReplaceAllStringFunc(s.say(words), phone.Mask)
}

// probeWay asks an adapter what it can tell of itself.
func (s *site) probeWay(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	if !s.trials.probe.TryLock() {
		s.showAdapters(w, r, nil, &notice{Bad: true, Text: s.t("Somebody asks at this moment. Wait a little and tap once more.")})
		return
	}
	defer s.trials.probe.Unlock()
	ctx, cancel := context.WithTimeout(r.Context(), probeFor)
	defer cancel()
	findings, err := s.Ways.Probe(ctx, name)
	if err != nil {
		s.fail(w, r, errNoPage)
		return
	}
	for i := range findings {
		findings[i].What, findings[i].Note = s.say(findings[i].What), s.unnumbered(findings[i].Note)
	}
	s.showAdapters(w, r, func(l *wayLine) {
		if l.Name == name {
			l.Probed, l.Findings = true, findings
		}
	}, nil)
}

// tryWay sends a test text to the cook's own phone. What becomes of it is on the
// page as it gets known.
func (s *site) tryWay(w http.ResponseWriter, r *http.Request) {
	name, typed := r.PathValue("name"), tidy(r.PostFormValue("to"))
	var way Way
	for _, one := range s.Ways.Ways() {
		if one.Name == name {
			way = one
		}
	}
	if way.Name == "" {
		s.fail(w, r, errNoPage)
		return
	}
	to, err := s.testAddress(way, typed)
	if err != nil {
		s.showAdapters(w, r, func(l *wayLine) {
			if l.Name == name {
				l.Typed, l.TypedWrong = typed, capital(s.say(err.Error()))
			}
		}, nil)
		return
	}
	running, often := s.trials.begin(name, masked(to), s.Now())
	switch {
	case running:
		s.showAdapters(w, r, nil, &notice{Bad: true, Text: s.t("A test text is under way. Wait until it is done.")})
		return
	case often:
		s.showAdapters(w, r, nil, &notice{Bad: true, Text: s.t("Many test texts went out in a row. Wait a quarter of an hour.")})
		return
	}
	text := s.t("%s: a test by passbell. Please answer with any word.", s.Kitchen.Name)
	ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), trialFor)
	go func() {
		defer cancel()
		wrong := ""
		if err := s.try(ctx, name, to, text); err != nil {
			wrong = err.Error()
			if technical(err) {
				s.Log.Error("a test text was not sent", "adapter", name, "error", err)
				wrong = phrase("passbell can’t reach its own records just now")
			}
		}
		s.trials.end(wrong)
	}()
	http.Redirect(w, r, "/adapters", http.StatusSeeOther)
}

// try sends a test text. A fault on the way ends it and nothing else.
func (s *site) try(ctx context.Context, name, to, text string) (err error) {
	defer func() { err = errors.Join(err, fault.Caught(recover(), s.Log)) }()
	return s.Ways.Try(ctx, name, to, text, s.trials.tell)
}

// testAddress reads where a test text goes.
func (s *site) testAddress(way Way, typed string) (string, error) {
	if !way.Mail {
		var wrong *phone.Error
		if _, err := phone.Parse(typed, s.Kitchen.Region); errors.As(err, &wrong) {
			return "", errors.New(s.say(wrong.What)) // what to do about it is said to whoever asks a customer
		}
		return s.parsePhone(typed)
	}
	a, err := mail.ParseAddress(typed)
	if err != nil {
		return "", errors.New(s.t("“%s” is no mail address", typed))
	}
	return a.Address, nil
}

// masked hides most of an address.
func masked(to string) string {
	if name, host, ok := strings.Cut(to, "@"); ok {
		return name[:min(1, len(name))] + "…@" + host
	}
	return phone.Mask(to)
}
