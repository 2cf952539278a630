package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// addActs mounts the buttons. Every one is a form that also works without a
// script; every one may be pressed twice.
func (s *site) addActs(mux *http.ServeMux) {
	for path, fn := range map[string]orderAct{
		"here":      {s.t("here"), s.here},
		"packed":    {s.t("packed"), s.packed},
		"unpacked":  {s.t("not packed"), s.unpacked},
		"out":       {s.t("handed out"), s.out},
		"undo":      {s.t("undo"), s.undo},
		"cancel":    {s.t("cancel"), s.cancel},
		"absent":    {s.t("not collected"), s.absent},
		"move":      {s.t("another slot"), s.move},
		"resend":    {s.t("send again"), s.resend},
		"vehicle":   {s.t("the car"), s.vehicle},
		"told":      {s.t("told"), s.told},
		"number":    {s.t("another number"), s.number},
		"collector": {s.t("who collects"), s.collector},
		"short":     {s.t("something is missing"), s.short},
		"split":     {s.t("split"), s.split},
		"join":      {s.t("join"), s.join},
		"slot":      {s.t("another slot"), s.moveSlot},
	} {
		mux.HandleFunc("POST /orders/{ref}/"+path, s.onOrder(fn))
	}
	mux.HandleFunc("POST /orders/{ref}/items/{item}/tick", s.onOrder(orderAct{s.t("tick"), s.tick(true)}))
	mux.HandleFunc("POST /orders/{ref}/items/{item}/untick", s.onOrder(orderAct{s.t("tick"), s.tick(false)}))
	mux.HandleFunc("POST /messages/again", s.onNight(s.doubtfulAgain))
	mux.HandleFunc("POST /messages/{id}/again", s.onID(s.again))
	mux.HandleFunc("POST /messages/{id}/told", s.onID(s.byHand))
	mux.HandleFunc("POST /texts/{id}/place", s.onID(s.place))
	mux.HandleFunc("POST /texts/{id}/read", s.onID(s.read))
	mux.HandleFunc("POST /texts/{id}/move", s.onID(s.grant))
	mux.HandleFunc("POST /orders/{ref}/look", s.look)
	mux.HandleFunc("POST /who", func(w http.ResponseWriter, r *http.Request) {
		s.putWho(r)
		s.answer(w, r, notice{Text: s.t("What you do is written down under “%s”.", s.whoWords(s.who(r.Context())))})
	})
}

// orderAct is something done to one order: what it is called, and how.
type orderAct struct {
	name string
	do   func(ctx context.Context, a desk.Act, o night.Order, form url.Values) (notice, error)
}

// onOrder runs an act on the order of the address. The order is looked at and
// acted on as one thing, so of two taps the second is told what the first did.
func (s *site) onOrder(act orderAct) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		nightID, ok := s.nightOf(w, r)
		if !ok {
			return
		}
		a := desk.Act{Night: nightID, Ref: r.PathValue("ref"), Who: s.who(r.Context())}
		if item := r.PathValue("item"); item != "" {
			r.PostForm.Set("item", item)
		}
		key := r.PostFormValue("once")
		if key != "" {
			key += " " + r.URL.Path
		}
		// A device that lost the line sends what it kept with the key of the tap:
		// the tap may have come through, only its answer not.
		n, _ := s.once.do(key, s.Now(), func() (notice, error) {
			n := s.act(r.Context(), act, a, r.PostForm)
			if n.Bad {
				return n, errNotDone // to be tried again
			}
			return n, nil
		})
		s.answer(w, r, n)
	}
}

// errNotDone says that an act has words for the visitor and nothing to remember.
var errNotDone = errors.New("not done")

func (s *site) act(ctx context.Context, act orderAct, a desk.Act, form url.Values) notice {
	s.acting.Lock()
	defer s.acting.Unlock()
	card, err := s.Desk.Card(ctx, a.Night, a.Ref)
	if err != nil {
		return s.sorry(card.Order, act.name, err)
	}
	var n notice
	// Somebody else's change of the same order at the same moment is no reason
	// to bother anybody: what is legal is judged anew.
	for range 3 {
		if n, err = act.do(ctx, a, card.Order, form); !errors.Is(err, night.ErrChanged) {
			break
		}
	}
	if err != nil {
		if again, readErr := s.Desk.Card(ctx, a.Night, a.Ref); readErr == nil {
			card = again
		}
		return s.sorry(card.Order, act.name, err)
	}
	return n
}

// sorry words an error and keeps what is no fault of the visitor in the log.
func (s *site) sorry(o night.Order, act string, err error) notice {
	var step *night.StepError
	switch {
	case errors.Is(err, night.ErrNoRoom): // she can make some
		s.Log.Error("an act was not done", "act", act, "order", o.Ref, "error", err)
		return notice{Bad: true, Text: s.t("Not done:") + " " + s.say(night.ErrNoRoom.Error()) + "."}
	case technical(err):
		s.Log.Error("an act was not done", "act", act, "order", o.Ref, "error", err)
		return notice{Bad: true, Text: s.t("Not done:") + " " + s.t("passbell can’t reach its own records just now, so nothing was changed. Tap once more; if it stays, work from the paper sheet and look at the log.")}
	case !errors.As(err, &step) && !errors.Is(err, night.ErrNotFound):
		s.Log.Info("an act was not done", "act", act, "order", o.Ref, "error", err)
	}
	return s.sorryWords(o, act, err)
}

// nightOf is the night that a button was drawn for. A page left open since an
// earlier night is told so.
func (s *site) nightOf(w http.ResponseWriter, r *http.Request) (int64, bool) {
	n, err := s.Desk.Current(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return 0, false
	}
	if err := r.ParseForm(); err != nil {
		s.refuse(w, r, http.StatusBadRequest, s.t("That form can’t be read"), s.t("Load the page anew and tap once more."))
		return 0, false
	}
	if drawn := r.PostFormValue("night"); drawn != "" && drawn != strconv.FormatInt(n.ID, 10) {
		s.answer(w, r, notice{Bad: true, Text: s.t("That page showed another night, so nothing was changed. This is the night of %s.", s.day(n.Date))})
		return 0, false
	}
	return n.ID, true
}

// answer shows what follows an act: the content of the page that the button
// stood on, or without a script that page itself.
func (s *site) answer(w http.ResponseWriter, r *http.Request, n notice) {
	back := safeBack(r.PostFormValue("back"))
	if isHTMX(r) {
		s.show(w, r, back, &n)
		return
	}
	s.sessions.Put(r.Context(), keyNotice, n.Text)
	s.sessions.Put(r.Context(), keyBad, n.Bad)
	http.Redirect(w, r, back, http.StatusSeeOther)
}

func (s *site) popNotice(ctx context.Context) *notice {
	text := s.sessions.PopString(ctx, keyNotice)
	if text == "" {
		return nil
	}
	return &notice{Text: text, Bad: s.sessions.PopBool(ctx, keyBad)}
}

func (s *site) here(ctx context.Context, a desk.Act, _ night.Order, _ url.Values) (notice, error) {
	o, err := s.Desk.Here(ctx, a)
	return done(o, s.t("is here")), err
}

func (s *site) out(ctx context.Context, a desk.Act, _ night.Order, _ url.Values) (notice, error) {
	o, err := s.Desk.Out(ctx, a)
	return done(o, s.t("handed out")), err
}

func (s *site) packed(ctx context.Context, a desk.Act, before night.Order, _ url.Values) (notice, error) {
	o, err := s.Desk.Packed(ctx, a, true)
	if err == nil && !before.PackedAt.IsZero() {
		return done(o, s.t("was packed already, at %s", s.clock(o.PackedAt))), nil
	}
	return done(o, s.t("packed")), err
}

func (s *site) unpacked(ctx context.Context, a desk.Act, _ night.Order, _ url.Values) (notice, error) {
	o, err := s.Desk.Packed(ctx, a, false)
	return done(o, s.t("is not packed")), err
}

func (s *site) cancel(ctx context.Context, a desk.Act, _ night.Order, _ url.Values) (notice, error) {
	o, err := s.Desk.Cancel(ctx, a)
	return done(o, s.t("cancelled")), err
}

func (s *site) absent(ctx context.Context, a desk.Act, _ night.Order, _ url.Values) (notice, error) {
	o, err := s.Desk.Absent(ctx, a)
	return done(o, s.t("not collected")), err
}

// undo takes a step back only if the order still is as the button's page showed
// it: the second tap must not take back a second step.
func (s *site) undo(ctx context.Context, a desk.Act, before night.Order, form url.Values) (notice, error) {
	if from := night.State(form.Get("from")); from != "" && from != before.State {
		return done(before, s.t("is “%s” by now, so nothing more was taken back", s.state(before.State))), nil
	}
	o, err := s.Desk.Undo(ctx, a)
	return done(o, s.t("taken back, now %s", s.state(o.State))), err
}

func (s *site) move(ctx context.Context, a desk.Act, before night.Order, form url.Values) (notice, error) {
	slot, err := night.ParseClock(form.Get("slot"))
	if err != nil {
		return notice{}, err
	}
	if before.Slot == slot {
		return done(before, s.t("is at %s already", s.slot(slot))), nil
	}
	o, err := s.Desk.Move(ctx, a, slot)
	return done(o, s.t("moved to %s", s.slot(slot))), err
}

func (s *site) resend(ctx context.Context, a desk.Act, before night.Order, form url.Values) (notice, error) {
	to := ""
	if typed := strings.TrimSpace(form.Get("to")); typed != "" {
		var err error
		if to, err = s.parsePhone(typed); err != nil {
			return notice{}, err
		}
	}
	if to == "" && before.Phone == "" {
		return notice{}, errors.New(s.t("there is no number for this order that can take texts; ring them, or type another number"))
	}
	m, err := s.Desk.Resend(ctx, a, to)
	if err != nil {
		return notice{}, err
	}
	return done(before, s.t("the instructions go again, to %s", phone.National(m.To))), nil
}

// parsePhone reads a number as somebody types it. Numbers that are reserved for
// fiction belong to nobody and are taken in a demo only.
func (s *site) parsePhone(typed string) (string, error) {
	n, err := phone.Parse(typed, s.Kitchen.Region)
	var wrong *phone.Error
	switch {
	case errors.As(err, &wrong):
		return "", errors.New(s.say(wrong.What) + ": " + s.say(wrong.Fix))
	case err != nil:
		return "", err
	case n.Fiction && !s.Demo:
		return "", errors.New(s.t("that number is reserved for films and examples, nobody has it: type the customer’s own"))
	case !n.Line.TakesTexts():
		return "", errors.New(s.t("that number is a %s, which takes no texts: ring it instead", s.say(string(n.Line))))
	}
	return n.E164, nil
}

func (s *site) vehicle(ctx context.Context, a desk.Act, _ night.Order, form url.Values) (notice, error) {
	v := night.Vehicle{
		Make: tidy(form.Get("make")), Model: tidy(form.Get("model")), Body: tidy(form.Get("body")),
		Plate: strings.ToUpper(strings.ReplaceAll(tidy(form.Get("plate")), " ", "")),
	}
	for c := range strings.SplitSeq(form.Get("colour"), ",") {
		if c = s.colour(strings.ToLower(tidy(c))); c != "" {
			v.Colours = append(v.Colours, c)
		}
	}
	text, _ := strconv.ParseInt(form.Get("text"), 10, 64) // 0: no text to keep it beside
	corrected, err := json.Marshal(struct {
		Vehicle night.Vehicle `json:"vehicle"`
	}{v})
	if err != nil {
		return notice{}, err
	}
	o, err := s.Desk.CorrectVehicle(ctx, a, v, text, corrected)
	car := s.carWords(v)
	if car == "" {
		car = s.t("no car known")
	}
	return done(o, car), err
}

// tidy takes the spaces and the excess out of a short answer.
func tidy(s string) string { return tidyTo(s, 60) }

// tidyLong is tidy for a sentence.
func tidyLong(s string) string { return tidyTo(s, 200) }

func tidyTo(s string, most int) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		s = string(r[:most])
	}
	return s
}

func (s *site) onNight(fn func(ctx context.Context, nightID int64, who string) (notice, error)) http.HandlerFunc {
	return s.onNightForm(func(ctx context.Context, nightID int64, who string, _ url.Values) (notice, error) {
		return fn(ctx, nightID, who)
	})
}

// onNightForm is onNight for an act that also needs what was filled in.
func (s *site) onNightForm(fn func(ctx context.Context, nightID int64, who string, form url.Values) (notice, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		nightID, ok := s.nightOf(w, r)
		if !ok {
			return
		}
		n, err := fn(r.Context(), nightID, s.who(r.Context()), r.PostForm)
		if err != nil {
			n = s.sorry(night.Order{}, r.URL.Path, err)
		}
		s.answer(w, r, n)
	}
}

// onID runs an act on the message or text of the address.
func (s *site) onID(fn func(ctx context.Context, id int64, who string, form url.Values) (notice, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if _, ok := s.nightOf(w, r); !ok {
			return
		}
		id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
		if err != nil {
			s.fail(w, r, errNoPage)
			return
		}
		n, err := fn(r.Context(), id, s.who(r.Context()), r.PostForm)
		if err != nil {
			n = s.sorry(night.Order{}, r.URL.Path, err)
		}
		s.answer(w, r, n)
	}
}

func (s *site) doubtfulAgain(ctx context.Context, nightID int64, who string) (notice, error) {
	sent, err := s.Desk.SendDoubtfulAgain(ctx, nightID, who)
	if sent == 0 {
		return notice{Text: s.t("There is no doubtful text left to send again.")}, err
	}
	return notice{Text: s.t("%d doubtful texts go out again now.", sent)}, err
}

func (s *site) again(ctx context.Context, id int64, who string, _ url.Values) (notice, error) {
	goes, err := s.Desk.SendAgain(ctx, id, who)
	if !goes.IsZero() {
		return notice{Text: s.t("That text goes out again at %s, as its time has moved.", s.clock(goes))}, err
	}
	return notice{Text: s.t("That text goes out again now.")}, err
}

func (s *site) byHand(ctx context.Context, id int64, who string, _ url.Values) (notice, error) {
	return notice{Text: s.t("Written down: %s told them.", s.whoWords(who))}, s.Desk.ByHand(ctx, id, who)
}

func (s *site) place(ctx context.Context, id int64, who string, form url.Values) (notice, error) {
	ref := form.Get("ref")
	if err := s.Inbox.Place(ctx, id, ref, who); err != nil {
		return notice{}, err
	}
	return notice{Text: s.t("That text was about %s.", ref)}, nil
}

func (s *site) read(ctx context.Context, id int64, who string, _ url.Values) (notice, error) {
	return notice{Text: s.t("Read. It stays in the list under Messages.")}, s.Desk.Settle(ctx, id, who)
}
