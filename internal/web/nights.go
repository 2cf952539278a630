package web

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"passbell/internal/night"
)

// nightly is the desk as one device sees it: the night that the device has
// chosen stands in the place of the one in hand. The choice travels in the
// request's context, as the visitor does.
type nightly struct{ Desk }

type nightKey struct{}

// Current gives the night that the visitor's device has chosen, else the one in
// hand.
func (d nightly) Current(ctx context.Context) (night.Night, error) {
	id := chosenNight(ctx)
	if id == 0 {
		return d.Desk.Current(ctx)
	}
	nights, err := d.Desk.Nights(ctx)
	if err != nil {
		return night.Night{}, err
	}
	for _, n := range nights {
		if n.ID == id {
			return n, nil
		}
	}
	return d.Desk.Current(ctx)
}

// inHand gives the night that a device shows which has chosen none.
func (d nightly) inHand(ctx context.Context) (night.Night, error) { return d.Desk.Current(ctx) }

func chosenNight(ctx context.Context) int64 {
	id, _ := ctx.Value(nightKey{}).(int64)
	return id
}

// nightMark names a device's choice in the version of a page, so that a page that
// is open when the choice ends loads itself anew.
func nightMark(ctx context.Context) string {
	if id := chosenNight(ctx); id != 0 {
		return "-" + strconv.FormatInt(id, 10)
	}
	return ""
}

const (
	nightCookie = "passbell-night"
	// nightFor is how long a choice lasts: next week's night, looked at once,
	// must not be what the pass shows on the evening.
	nightFor = 3 * time.Hour
)

// onChosenNight serves a request with the night that the device has chosen. A
// helper sees the night in hand.
func (s *site) onChosenNight(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, err := r.Cookie(nightCookie); err == nil && !s.limited(r.Context()) {
			if id, err := strconv.ParseInt(c.Value, 10, 64); err == nil && id > 0 {
				r = r.WithContext(context.WithValue(r.Context(), nightKey{}, id))
			}
		}
		next.ServeHTTP(w, r)
	})
}

// another names the night in hand where a device shows another one.
func (s *site) another(ctx context.Context, shown night.Night) string {
	if chosenNight(ctx) == 0 {
		return ""
	}
	n, err := s.Desk.inHand(ctx)
	if err != nil || n.ID == shown.ID {
		return ""
	}
	return s.day(n.Date)
}

// nightLine is one night in the list.
type nightLine struct {
	ID    int64
	Day   string
	What  string
	Shown bool // on this device
}

// newNightPage is a night to be added.
type newNightPage struct {
	Date, First, Last, Place, Parking string
	Every, Capacity, Days, Before     string
	At, Remind                        string
	Once                              string
	Wrong                             string
}

func (s *site) addNights(mux *http.ServeMux) {
	mux.HandleFunc("POST /night/show", s.showNight)
	mux.HandleFunc("GET /night/new", func(w http.ResponseWriter, r *http.Request) {
		p, err := s.freshNight(r.Context())
		s.presentNew(w, r, p, err)
	})
	mux.HandleFunc("POST /night/new", s.putNight)
}

func (s *site) presentNew(w http.ResponseWriter, r *http.Request, p newNightPage, err error) {
	s.present(w, r, view{Template: "night-new", Title: s.t("Add a night"), Tab: "more", Path: "/night/new", Data: p}, nil, err)
}

// showNight has this device show a night.
func (s *site) showNight(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	nights, err := s.Desk.Nights(ctx)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	hand, err := s.Desk.inHand(ctx)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	shown := hand
	for _, n := range nights {
		if strconv.FormatInt(n.ID, 10) == r.PostFormValue("show") {
			shown = n
		}
	}
	c := &http.Cookie{
		Name: nightCookie, Value: strconv.FormatInt(shown.ID, 10), Path: "/", MaxAge: int(nightFor.Seconds()), HttpOnly: true, SameSite: http.SameSiteLaxMode,
	}
	said := s.t("This device shows the night of %s for the next hours. Others see the night in hand.", s.day(shown.Date))
	if shown.ID == hand.ID {
		c.Value, c.MaxAge = "", -1
		said = s.t("This device shows the night of %s, as all do.", s.day(shown.Date))
	}
	http.SetCookie(w, c)
	s.sessions.Put(ctx, keyNotice, said)
	s.sessions.Put(ctx, keyBad, false)
	http.Redirect(w, r, "/night", http.StatusSeeOther)
}

// nightLines lists the nights: those ahead in their order, then those that are
// over, the latest first.
func (s *site) nightLines(ctx context.Context, shown night.Night) (ahead, past []nightLine, err error) {
	nights, err := s.Desk.Nights(ctx)
	if err != nil {
		return nil, nil, err
	}
	hand, err := s.Desk.inHand(ctx)
	if err != nil {
		return nil, nil, err
	}
	slices.SortFunc(nights, func(a, b night.Night) int { return cmp.Compare(a.Date.String(), b.Date.String()) })
	for _, n := range nights {
		l := nightLine{ID: n.ID, Day: s.day(n.Date), What: s.standing(n), Shown: n.ID == shown.ID}
		if n.ID == hand.ID {
			l.What = s.t("in hand") + ", " + l.What
		}
		if n.ID != hand.ID && n.Over(s.Now(), s.Kitchen.Zone) {
			past = append(past, l)
			continue
		}
		ahead = append(ahead, l)
	}
	slices.Reverse(past)
	return ahead, past, nil
}

// standing says how far a night has come.
func (s *site) standing(n night.Night) string {
	switch {
	case !n.CalledOff.IsZero():
		return s.t("is called off")
	case n.Over(s.Now(), s.Kitchen.Zone):
		return s.t("past")
	case !n.ClosedAt.IsZero():
		return s.t("orders closed")
	}
	return s.t("orders open")
}

// freshNight is a night as the configuration and the latest one would have it.
func (s *site) freshNight(ctx context.Context) (newNightPage, error) {
	nights, err := s.Desk.Nights(ctx)
	if err != nil {
		return newNightPage{}, err
	}
	today := night.DateOf(s.Now().In(s.Kitchen.Zone))
	n := s.NewNight(today)
	p := newNightPage{Once: newKey()}
	if len(nights) > 0 {
		latest := slices.MaxFunc(nights, func(a, b night.Night) int { return cmp.Compare(a.Date.String(), b.Date.String()) })
		n.First, n.Last = latest.First, latest.Last
		n.Place, n.Parking = cmp.Or(n.Place, latest.Place), cmp.Or(n.Parking, latest.Parking)
		next := latest.Date.AddDays(7) // a fixed night comes every week
		for next.Before(today) {
			next = next.AddDays(7)
		}
		p.Date = next.String()
	}
	local := n.InstructAt.In(s.Kitchen.Zone)
	days := 0
	for d := night.DateOf(local); d.Before(today); d = d.AddDays(1) {
		days++
	}
	p.First, p.Last, p.Place, p.Parking = n.First.String(), n.Last.String(), n.Place, n.Parking
	p.Every, p.Capacity, p.Days, p.At = strconv.Itoa(n.Every), strconv.Itoa(n.Capacity), strconv.Itoa(days), night.ClockOf(local).String()
	p.Before, p.Remind = strconv.Itoa(int(n.RemindBefore.Minutes())), n.RemindFrom.String()
	return p, nil
}

// putNight adds the night that was filled in.
func (s *site) putNight(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		s.refuse(w, r, http.StatusBadRequest, s.t("That form can’t be read"), s.t("Load the page anew and tap once more."))
		return
	}
	form := r.PostForm
	said, err := s.once.do(form.Get("once"), s.Now(), func() (notice, error) {
		n, err := s.newNight(form)
		if err != nil {
			return notice{}, err
		}
		n, err = s.Desk.AddNight(r.Context(), n, s.who(r.Context()))
		return notice{Text: s.t("Added: the night of %s. The instructions go out %s, once its orders are closed.", s.day(n.Date), s.when(n, n.InstructAt))}, err
	})
	if technical(err) {
		s.fail(w, r, err)
		return
	}
	if err != nil {
		s.presentNew(w, r, newNightPage{
			Date: form.Get("date"), First: form.Get("first"), Last: form.Get("last"), Place: form.Get("place"), Parking: form.Get("parking"),
			Every: form.Get("every"), Capacity: form.Get("capacity"), Days: form.Get("days"), At: form.Get("at"), Before: form.Get("before"),
			Remind: form.Get("remind"), Once: newKey(), Wrong: capital(s.say(err.Error())) + ".",
		}, nil)
		return
	}
	s.sessions.Put(r.Context(), keyNotice, said.Text)
	s.sessions.Put(r.Context(), keyBad, false)
	http.Redirect(w, r, "/night", http.StatusSeeOther)
}

// newNight reads the form of a new night.
func (s *site) newNight(form url.Values) (night.Night, error) {
	date, err := night.ParseDate(form.Get("date"))
	if err != nil {
		return night.Night{}, err
	}
	n := s.NewNight(date)
	days, err := strconv.Atoi(form.Get("days"))
	if err != nil || days < 0 || days > 60 {
		return n, errors.New(s.t("give the days before the night as a number from 0 to 60"))
	}
	at, err := night.ParseClock(form.Get("at"))
	if err != nil {
		return n, err
	}
	instruct, fit := night.Instant(date.AddDays(-days), at, s.Kitchen.Zone)
	if fit == night.Skipped {
		return n, errors.New(s.t("%s does not exist on %s: the clocks go forward over it", s.slot(at), s.day(date.AddDays(-days))))
	}
	filled := url.Values{"instruct": {instruct.In(s.Kitchen.Zone).Format(localField)}}
	for _, f := range nightFields {
		if f != "instruct" {
			filled.Set(f, form.Get(f))
		}
	}
	n, err = s.nightFrom(n, filled)
	n.InstructAt, n.ClosesAt = instruct, instruct // orders close by then at the latest
	return n, err
}
