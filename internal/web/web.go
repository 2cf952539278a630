// Package web is what the kitchen looks at on the night: the pass and its
// pages, the sign-in, the hooks of the adapters and the API.
package web

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/go-chi/httprate"

	"passbell/internal/book"
	"passbell/internal/desk"
	"passbell/internal/live"
	"passbell/internal/night"
	"passbell/internal/wording"
)

// Desk is what the pages and the API need of the desk.
type Desk interface {
	Reader
	OrderActs
	MessageActs
	TextActs
	ChangeActs
	ItemActs
	ShapeActs
	BookActs
	NightActs
	WordActs
}

// Reader gives what there is to show.
type Reader interface {
	Current(ctx context.Context) (night.Night, error)
	Board(ctx context.Context, nightID int64) (desk.Board, error)
	Orders(ctx context.Context, nightID int64) ([]night.Order, error)
	Card(ctx context.Context, nightID int64, ref string) (desk.Card, error)
	Messages(ctx context.Context, nightID int64) ([]night.Message, error)
	Inbounds(ctx context.Context, nightID int64) ([]night.Inbound, error)
	Events(ctx context.Context, nightID, after int64, limit int) ([]night.Event, error)
	Preview(ctx context.Context, nightID int64) (desk.Preview, error)
	Report(ctx context.Context, nightID int64) (desk.Report, error)
}

// OrderActs is what a person does with an order.
type OrderActs interface {
	Here(ctx context.Context, a desk.Act) (night.Order, error)
	Out(ctx context.Context, a desk.Act) (night.Order, error)
	Cancel(ctx context.Context, a desk.Act) (night.Order, error)
	Absent(ctx context.Context, a desk.Act) (night.Order, error)
	Undo(ctx context.Context, a desk.Act) (night.Order, error)
	Packed(ctx context.Context, a desk.Act, packed bool) (night.Order, error)
	Move(ctx context.Context, a desk.Act, slot night.Clock) (night.Order, error)
	CorrectVehicle(ctx context.Context, a desk.Act, v night.Vehicle, inboundID int64, corrected []byte) (night.Order, error)
	Told(ctx context.Context, a desk.Act) (night.Order, error)
}

// NightActs changes the night for everybody.
type NightActs interface {
	Nights(ctx context.Context) ([]night.Night, error)
	AddNight(ctx context.Context, n night.Night, who string) (night.Night, error)
	RunBehind(ctx context.Context, nightID int64, first, last night.Clock, minutes int, who string) (desk.Behind, error)
	ChangeNight(ctx context.Context, n night.Night, who string) error
	CallOff(ctx context.Context, nightID int64, who, why string) error
	Resume(ctx context.Context, nightID int64, who, why string) error
}

// BookActs reads and loads order books, and closes orders.
type BookActs interface {
	ReadBook(ctx context.Context, r io.ReadSeeker, name string, opt book.Options) (book.Book, error)
	LoadExtent(ctx context.Context, nightID int64, book []night.Order, extent desk.Extent, who string) (desk.Loaded, error)
	RememberColumns(ctx context.Context, shape string, mapping map[string]string) error
	SeeProblems(ctx context.Context, nightID int64, problems []book.Problem) error
	Close(ctx context.Context, nightID int64, who string) (desk.Preview, error)
}

// ChangeActs is what changes an order after its customer was told, and what
// such a change would mean.
type ChangeActs interface {
	SetNumber(ctx context.Context, a desk.Act, typed string) (night.Order, error)
	SetCollector(ctx context.Context, a desk.Act, name string) (night.Order, error)
	Foresee(ctx context.Context, change func(d *desk.Desk) error) ([]desk.Consequence, error)
}

// ItemActs mark the lines of an order, and where its customer stands.
type ItemActs interface {
	Tick(ctx context.Context, a desk.Act, line desk.Line, ticked bool) (night.Order, error)
	Short(ctx context.Context, a desk.Act, lacks []desk.Lack, tell bool) (night.Order, error)
	Stand(ctx context.Context, a desk.Act, spot string) (night.Order, error)
}

// ShapeActs make two orders of one or one of two, and move a whole slot.
type ShapeActs interface {
	Split(ctx context.Context, a desk.Act, ref string, items []int) (night.Order, error)
	Join(ctx context.Context, a desk.Act, other string) (night.Order, error)
	MoveAll(ctx context.Context, nightID int64, refs []string, slot night.Clock, who string) error
}

// MessageActs is what a person does with a text to a customer.
type MessageActs interface {
	Resend(ctx context.Context, a desk.Act, to string) (night.Message, error)
	SendAgain(ctx context.Context, messageID int64, who string) (goes time.Time, err error)
	SendDoubtfulAgain(ctx context.Context, nightID int64, who string) (int, error)
	ByHand(ctx context.Context, messageID int64, who string) error
}

// TextActs is what a person does with a text from a customer.
type TextActs interface {
	Settle(ctx context.Context, inboundID int64, who string) error
}

// Inbox acts on a text by a person's word.
type Inbox interface {
	Place(ctx context.Context, inboundID int64, ref, who string) error
}

// Config is what the pages need. Desk, Inbox, Live, Kitchen, Keep,
// Sessions, Now and Log are required.
type Config struct {
	Desk    Desk
	Inbox   Inbox
	Live    *live.Hub
	Keep    Keeper
	Kitchen night.Kitchen
	// Hooks are mounted at /hook/NAME/. They verify every call themselves, so
	// neither sign-in nor the cross-Origin check stands before them.
	Hooks map[string]http.Handler
	// Passphrase is a bcrypt hash. Without it the pages answer this machine
	// only; with it everybody signs in, this machine too.
	Passphrase string
	// Token is the SHA-256 of the API's token in hex. Without it the API
	// answers this machine only; with it every call carries the token.
	Token    string
	Sessions scs.CtxStore
	Now      func() time.Time
	Log      *slog.Logger
	// Demo says that the clock runs fast and that no text leaves the machine;
	// numbers that are reserved for fiction are taken as real.
	Demo bool
	// Language is that of the texts to customers, "en" by default, and of the
	// pages where a device has chosen none.
	Language string
	// Ways are the adapters; without them there is no page about them.
	Ways Ways
	// NewNight gives a new night on a date with the configured defaults; nil for
	// slots every ten minutes and nothing else.
	NewNight func(night.Date) night.Night
	// ClosesItself says that orders close at their time without a person.
	ClosesItself bool
	// KeepDays is for how many days after a night its names, numbers and texts
	// are kept; 0 for until they are wiped by hand.
	KeepDays int
	// Price is what a part of a text costs; zero where that is not known.
	Price wording.Price
	// Looks is what the pages of several kitchens share; nil for its own.
	Looks *Looks
	// Pace is how often open pages hear from the server; zero fields get their
	// defaults.
	Pace Pace
}

// Pace is how often an open page hears from the server.
type Pace struct {
	Beat  time.Duration // sign of life; 5 s
	Look  time.Duration // how often to see whether the clock changed the page; 5 s, in a demo 1 s
	Every time.Duration // the shortest time between two changes; 100 ms
	Stuck time.Duration // how long a page may take in nothing of what is written to it; 1 min
}

func (p Pace) filled(demo bool) Pace {
	if p.Beat == 0 {
		p.Beat = 5 * time.Second
	}
	if p.Look == 0 {
		p.Look = 5 * time.Second
		if demo {
			p.Look = time.Second
		}
	}
	if p.Every == 0 {
		p.Every = 100 * time.Millisecond
	}
	if p.Stuck == 0 {
		p.Stuck = time.Minute
	}
	return p
}

// site is the pages of one kitchen in one language. Each language has a site of
// its own, so that whatever words a page or an act says come from the tongue at
// hand; all of them share the rest.
type site struct {
	Config
	Desk nightly // in the place of Config's
	*shared
	*tongue
	pages   *pages
	frames  frames
	nextRow rows
	handler http.Handler
}

// shared is what the pages have in common in every language.
type shared struct {
	static   static
	packer   packer
	sessions *scs.SessionManager
	shelf    shelf
	once     once
	helpers  memory[int64, night.Helper]
	trials   trials
	// acting makes a look at an order and the act that follows one thing, so
	// that of two taps the second sees what the first did.
	acting sync.Mutex
	// tried and opened count passphrases and helpers' links by address: another
	// language is no fresh start.
	tried, opened httprate.LimitCounter
}

// New makes the handler of everything that is served over HTTP. The server
// should set ReadHeaderTimeout; it may set WriteTimeout, which the open streams
// lift for themselves. Streams end with the request's context: cancel the base
// context before Shutdown, or it waits for them.
func New(c Config) (http.Handler, error) {
	switch {
	case c.Desk == nil, c.Inbox == nil, c.Live == nil, c.Sessions == nil, c.Keep == nil:
		return nil, errors.New("web: the desk, the inbox, the live hub or the store of sign-ins and links is missing")
	case c.Now == nil, c.Log == nil, c.Kitchen.Zone == nil:
		return nil, errors.New("web: the clock, the log or the kitchen's zone is missing")
	}
	c.Pace = c.Pace.filled(c.Demo)
	if c.Language == "" {
		c.Language = "en"
	}
	if c.NewNight == nil {
		c.NewNight = func(d night.Date) night.Night { return night.Night{Date: d, First: 17 * 60, Last: 19 * 60, Every: 10} }
	}
	house := &shared{
		sessions: newSessions(&lately{CtxStore: c.Sessions, now: c.Now}),
		tried:    httprate.NewLocalLimitCounter(time.Minute), opened: httprate.NewLocalLimitCounter(time.Minute),
	}
	if c.Looks == nil {
		c.Looks = new(Looks)
	}
	all := speaking{by: map[string]func() *site{}, kitchen: pagesLanguage(c.Language)}
	files, _, err := c.Looks.in(spokenIn{all.kitchen, c.Kitchen.Region})
	if err != nil {
		return nil, err
	}
	house.static = files
	for _, l := range languages {
		all.by[l.Code] = sync.OnceValue(func() *site {
			_, look, err := c.Looks.in(spokenIn{l.Code, c.Kitchen.Region})
			if err != nil {
				panic(err) // they are part of the program, and a test makes them all
			}
			s := &site{Config: c, Desk: nightly{c.Desk}, shared: house, tongue: look.tongue, pages: look.pages}
			s.handler = s.routes()
			return s
		})
	}
	all.by[all.kitchen]() // whoever comes first need not wait for it
	house.sessions.ErrorFunc = func(w http.ResponseWriter, r *http.Request, err error) { all.site(r).fail(w, r, err) }
	return headers(withHooks(all, c.Hooks)), nil
}

// withHooks mounts the hooks beside the pages.
func withHooks(pages http.Handler, hooks map[string]http.Handler) http.Handler {
	all := http.NewServeMux()
	all.Handle("/", pages)
	for name, h := range hooks {
		prefix := "/hook/" + name
		all.Handle(prefix+"/", http.StripPrefix(prefix, limitBody(h)))
		all.Handle(prefix, http.StripPrefix(prefix, limitBody(h)))
	}
	return all
}

// routes puts the parts behind their guards.
func (s *site) routes() http.Handler {
	pages := http.NewServeMux()
	s.addPages(pages)
	s.addActs(pages)
	s.addBook(pages)
	s.addNight(pages)
	s.addHelpers(pages)
	s.addWording(pages)
	s.addNights(pages)
	s.addPaper(pages)
	s.addAdapters(pages)
	s.addKitchen(pages)

	open := http.NewServeMux() // without sign-in
	s.addSignIn(open)
	s.addHelp(open)
	s.addHere(open)
	open.HandleFunc("POST /language", s.setLanguage)
	open.Handle("GET /static/", s.static)
	open.Handle("GET /favicon.ico", http.RedirectHandler(s.static.url("icon.svg"), http.StatusFound))
	open.Handle("/api/", s.guardAPI(s.api()))
	open.Handle("/", s.guardPages(s.onChosenNight(pages)))

	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(s.denyCrossOrigin))
	return cross.Handler(s.guardHost(open))
}
