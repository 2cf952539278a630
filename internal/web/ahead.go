package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// aheadPage shows a change for everybody before it is made.
type aheadPage struct {
	Origin
	follows
	Title  string
	What   string
	Do     string // the address that does it
	Label  string
	Once   string // its key: two taps do it once
	Fields [][2]string
	Ring   []Ticket // whom no text can tell
	Danger bool
	Wrong  string
}

// latePage asks how late the kitchen runs.
type latePage struct {
	Origin
	Slots   []slotChoice
	Waiting int // orders still to come
	Said    []count
}

// nightPage is the night's own settings.
type nightPage struct {
	Origin
	Day, Place, Parking     string
	First, Last, RemindFrom string
	Instruct                string // local, as a browser's field wants it
	Every, Capacity, Before int
	Off                     string // since when; "" while it stands
	Ahead, Past             []nightLine
}

// localField is how a browser's field for a date and a time holds one.
const localField = "2006-01-02T15:04"

func (s *site) addNight(mux *http.ServeMux) {
	mux.HandleFunc("POST /late/look", s.ahead("/late", s.lateAhead))
	mux.HandleFunc("POST /night/look", s.ahead("/night", s.nightAhead))
	mux.HandleFunc("POST /late", s.onNightOnce(s.runBehind))
	mux.HandleFunc("POST /night/change", s.onNightOnce(s.changeNight))
	mux.HandleFunc("POST /night/off", s.onNightOnce(s.callOff))
	mux.HandleFunc("POST /night/on", s.onNightOnce(s.resume))
}

// onNightOnce is onNightForm for what must not be done twice.
func (s *site) onNightOnce(fn func(ctx context.Context, n night.Night, who string, form url.Values) (notice, error)) http.HandlerFunc {
	return s.onNightForm(func(ctx context.Context, _ int64, who string, form url.Values) (notice, error) {
		n, err := s.Desk.Current(ctx)
		if err != nil {
			return notice{}, err
		}
		return s.once.do(form.Get("once"), s.Now(), func() (notice, error) { return fn(ctx, n, who, form) })
	})
}

// ahead shows what fn fills in.
func (s *site) ahead(back string, fn func(ctx context.Context, n night.Night, form url.Values, p *aheadPage) (func(d *desk.Desk) error, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		n, ok := s.nightHere(w, r)
		if !ok {
			return
		}
		ctx := r.Context()
		c, orders, err := s.sight(ctx, n, back)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		p := aheadPage{Origin: c.Origin, Once: newKey()}
		change, err := fn(ctx, n, r.PostForm, &p)
		if err == nil {
			p.follows, err = s.foresee(ctx, c, orders, change)
		}
		if technical(err) || errors.Is(err, errNoPage) {
			s.fail(w, r, err)
			return
		}
		if err != nil {
			p.Wrong = capital(s.say(err.Error())) + "."
		}
		s.present(w, r, view{Template: "ahead", Title: p.Title, Tab: "more", Path: back, Data: p}, nil, nil)
	}
}

func (s *site) lateView(ctx context.Context, n night.Night) (view, error) {
	c, orders, err := s.sight(ctx, n, "/late")
	if err != nil {
		return view{}, err
	}
	p := latePage{Origin: c.Origin}
	waiting := map[night.Clock]int{}
	behind := map[int]int{}
	total := 0
	for _, o := range orders {
		if o.State.Open() && o.State != night.Arrived {
			waiting[o.Slot]++
			total++
		}
		if o.Behind > 0 && o.State.Open() {
			behind[o.Behind]++
		}
	}
	p.Waiting = total
	picked := false
	for _, slot := range n.Slots() {
		ch := slotChoice{Value: slot.String(), Words: s.slot(slot) + " · " + s.t("%d to come", waiting[slot])}
		if !picked && waiting[slot] > 0 && !n.SlotAt(slot, s.Kitchen.Zone).Before(c.at.Add(-10*time.Minute)) {
			ch.Now, picked = true, true
		}
		p.Slots = append(p.Slots, ch)
	}
	for m := 1; m <= 24*60; m++ {
		if behind[m] > 0 {
			p.Said = append(p.Said, count{s.t("expected %d min after their slot", m), behind[m]})
		}
	}
	return view{Template: "late", Title: s.t("Running behind"), Tab: "more", Data: p}, nil
}

// behindFrom reads the form of a kitchen that runs late.
func (s *site) behindFrom(n night.Night, form url.Values) (first, last night.Clock, minutes int, err error) {
	if minutes, err = strconv.Atoi(form.Get("minutes")); err != nil || minutes < 1 || minutes > 180 {
		return 0, 0, 0, errors.New(s.t("give the minutes as a number from 1 to 180"))
	}
	if first, err = night.ParseClock(form.Get("from")); err != nil {
		return 0, 0, 0, err
	}
	last = n.Last
	if form.Get("to") != "" {
		if last, err = night.ParseClock(form.Get("to")); err != nil {
			return 0, 0, 0, err
		}
	}
	if last < first {
		return 0, 0, 0, errors.New(s.t("the last slot %s is before the first, %s", s.slot(last), s.slot(first)))
	}
	return first, last, minutes, nil
}

func (s *site) lateAhead(ctx context.Context, n night.Night, form url.Values, p *aheadPage) (func(d *desk.Desk) error, error) {
	p.Title, p.Do, p.Label = s.t("Running behind"), "/late", s.t("Tell them")
	first, last, minutes, err := s.behindFrom(n, form)
	if err != nil {
		return nil, err
	}
	p.What = s.t("%d minutes later, slots %s to %s", minutes, s.slot(first), s.slot(last))
	if first == last {
		p.What = s.t("%d minutes later, slot %s", minutes, s.slot(first))
	}
	p.Fields = [][2]string{{"minutes", strconv.Itoa(minutes)}, {"from", first.String()}, {"to", last.String()}}
	return func(d *desk.Desk) error {
		told, err := d.RunBehind(ctx, n.ID, first, last, minutes, cook)
		for _, o := range told.Ring {
			p.Ring = append(p.Ring, s.ticket(seen{Origin: p.Origin, night: n, at: s.Now()}, o))
		}
		if err == nil && len(told.Messages) == 0 && len(told.Ring) == 0 {
			return errors.New(s.t("nobody in these slots is still to come, so there is nobody to tell"))
		}
		return err
	}, nil
}

func (s *site) runBehind(ctx context.Context, n night.Night, who string, form url.Values) (notice, error) {
	first, last, minutes, err := s.behindFrom(n, form)
	if err != nil {
		return notice{}, err
	}
	told, err := s.Desk.RunBehind(ctx, n.ID, first, last, minutes, who)
	if err != nil {
		return notice{}, err
	}
	text := s.t("%d texts go out: %d minutes later.", len(told.Messages), minutes)
	if len(told.Ring) > 0 {
		text += " " + s.t("Ring %s: no text can tell them.", refList(told.Ring))
	}
	return notice{Text: text}, nil
}

func refList(orders []night.Order) string {
	out := ""
	for i, o := range orders {
		if i > 0 {
			out += ", "
		}
		out += o.Ref + " " + o.Name
	}
	return out
}

func (s *site) nightView(ctx context.Context, n night.Night) (view, error) {
	p := nightPage{
		Origin: Origin{Back: "/night", Night: n.ID}, Day: s.day(n.Date), Place: n.Place, Parking: n.Parking,
		First: n.First.String(), Last: n.Last.String(), Every: n.Every, Capacity: n.Capacity,
		Instruct: n.InstructAt.In(s.Kitchen.Zone).Format(localField), Before: int(n.RemindBefore.Minutes()), RemindFrom: n.RemindFrom.String(),
	}
	if !n.CalledOff.IsZero() {
		p.Off = s.when(n, n.CalledOff)
	}
	var err error
	p.Ahead, p.Past, err = s.nightLines(ctx, n)
	return view{Template: "night", Title: s.t("The night"), Tab: "more", Data: p}, err
}

// nightFields are what the form of the night holds.
var nightFields = [...]string{"place", "parking", "first", "last", "every", "capacity", "instruct", "before", "remind"}

// nightFrom reads the form of the night over the night as it is.
func (s *site) nightFrom(n night.Night, form url.Values) (night.Night, error) {
	n.Place, n.Parking = tidyLong(form.Get("place")), tidyLong(form.Get("parking"))
	if n.Place == "" {
		return n, errors.New(s.t("customers have to be told a place"))
	}
	var err error
	clock := func(field string, to *night.Clock) {
		c, e := night.ParseClock(form.Get(field))
		if *to = c; e != nil {
			err = errors.Join(err, e)
		}
	}
	whole := func(field string) int {
		v, e := strconv.Atoi(form.Get(field))
		if e != nil {
			err = errors.Join(err, errors.New(s.t("“%s” is no whole number", form.Get(field))))
		}
		return v
	}
	clock("first", &n.First)
	clock("last", &n.Last)
	clock("remind", &n.RemindFrom)
	n.Every, n.Capacity, n.RemindBefore = whole("every"), whole("capacity"), time.Duration(whole("before"))*time.Minute
	at, e := time.Parse(localField, form.Get("instruct"))
	if e != nil {
		return n, errors.Join(err, errors.New(s.t("“%s” is no date and time", form.Get("instruct"))))
	}
	n.InstructAt, _ = night.Instant(night.DateOf(at), night.ClockOf(at), s.Kitchen.Zone)
	if err != nil {
		return n, err
	}
	return n, n.Validate(s.Kitchen.Zone)
}

func (s *site) nightAhead(ctx context.Context, n night.Night, form url.Values, p *aheadPage) (func(d *desk.Desk) error, error) {
	why := tidyLong(form.Get("why"))
	switch form.Get("do") {
	case "change":
		p.Title, p.Do, p.Label = s.t("Change the night"), "/night/change", s.t("Change it")
		changed, err := s.nightFrom(n, form)
		if err != nil {
			return nil, err
		}
		p.What = s.changedWords(n, changed)
		for _, f := range nightFields {
			p.Fields = append(p.Fields, [2]string{f, form.Get(f)})
		}
		return func(d *desk.Desk) error { return d.ChangeNight(ctx, changed, cook) }, nil
	case "off":
		p.Title, p.Do, p.Label, p.Danger = s.t("Call the night off"), "/night/off", s.t("Call it off"), true
		p.What, p.Fields = s.t("Nobody is to come. You can take it back."), [][2]string{{"why", why}}
		return func(d *desk.Desk) error { return d.CallOff(ctx, n.ID, cook, why) }, nil
	case "on":
		p.Title, p.Do, p.Label = s.t("Back on"), "/night/on", s.t("It is on")
		p.What, p.Fields = s.t("The night is on again."), [][2]string{{"why", why}}
		return func(d *desk.Desk) error { return d.Resume(ctx, n.ID, cook, why) }, nil
	}
	return nil, errNoPage
}

// changedWords says what is different about a night.
func (s *site) changedWords(was, is night.Night) string {
	out := ""
	say := func(differs bool, words string) {
		if differs {
			out += words + ". "
		}
	}
	say(is.Place != was.Place, s.t("Place: %s", is.Place))
	say(is.Parking != was.Parking, s.t("Parking: %s", is.Parking))
	say(is.First != was.First || is.Last != was.Last || is.Every != was.Every, s.t("Slots from %s to %s, every %d minutes", s.slot(is.First), s.slot(is.Last), is.Every))
	say(is.Capacity != was.Capacity, s.t("%d orders a slot", is.Capacity))
	say(!is.InstructAt.Truncate(time.Minute).Equal(was.InstructAt.Truncate(time.Minute)), s.t("Instructions go out %s", s.when(is, is.InstructAt)))
	say(is.RemindBefore != was.RemindBefore || is.RemindFrom != was.RemindFrom, s.t("Reminder %s before the slot, not before %s", s.span(is.RemindBefore), s.slot(is.RemindFrom)))
	if out == "" {
		return s.t("Nothing is different.")
	}
	return out
}

func (s *site) changeNight(ctx context.Context, n night.Night, who string, form url.Values) (notice, error) {
	changed, err := s.nightFrom(n, form)
	if err != nil {
		return notice{}, err
	}
	return notice{Text: s.t("Changed:") + " " + s.changedWords(n, changed)}, s.Desk.ChangeNight(ctx, changed, who)
}

func (s *site) callOff(ctx context.Context, n night.Night, who string, form url.Values) (notice, error) {
	return notice{Text: s.t("The night is called off. Everybody who can be texted is told once.")}, s.Desk.CallOff(ctx, n.ID, who, tidyLong(form.Get("why")))
}

func (s *site) resume(ctx context.Context, n night.Night, who string, form url.Values) (notice, error) {
	return notice{Text: s.t("The night is on again.")}, s.Desk.Resume(ctx, n.ID, who, tidyLong(form.Get("why")))
}
