package web

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"passbell/internal/book"
	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// bookPage is where an order book comes in.
type bookPage struct {
	Origin
	Orders int
	Closed string
	Wrong  string // why the last one could not be read
	Pasted string // so that nobody has to paste twice
}

// readPage is an order book as it was read, before anything is stored.
type readPage struct {
	Origin
	follows
	Key      string
	Name     string
	Rows     int
	Orders   int
	LeftOut  []book.LeftOut
	Columns  []columnChoice
	Others   []columnChoice // fields that the file names nothing for
	DayOrder string
	Example  *Ticket
	Typed    string // the example's number as it stands in the file
	Unplaced []Ticket
	Slots    []slotChoice
	Held     []heldNumber
	Stops    []problemLine
	Looks    []problemLine
	Hidden   int // problems beyond what is shown
	Loaded   desk.Loaded
	Closed   bool
	All      []Ticket
}

// columnChoice is a field, the heading that it is read from, and what else it
// could be.
type columnChoice struct {
	Field    string
	Words    string
	From     string
	Headings []string
}

type problemLine struct {
	book.Problem
	Name string
}

// heldNumber is a number that is texted only if a person says yes.
type heldNumber struct {
	Ref, Name, Number, Why string
}

// shown bounds how long a list on the page gets.
const shown = 200

// columnWords says what each field holds. Those of everyday come first.
var columnWords = [...][2]string{
	{"order", phrase("order number")}, {"name", phrase("name")}, {"phone", phrase("phone")}, {"slot", phrase("slot")}, {"items", phrase("items, all in one cell")},
	{"product", phrase("item, one a row")}, {"qty", phrase("how many of it")}, {"note", phrase("note")}, {"allergy", phrase("allergy or diet")}, {"first name", phrase("first name")},
	{"last name", phrase("last name")}, {"email", phrase("e-mail")}, {"slot end", phrase("end of the slot")}, {"date", phrase("date")}, {"variant", phrase("kind or size")},
	{"status", phrase("status")}, {"refund", phrase("money back")}, {"total", phrase("total")}, {"cancelled", phrase("cancelled")}, {"test", phrase("test order")},
}

func (s *site) addBook(mux *http.ServeMux) {
	mux.HandleFunc("GET /book", func(w http.ResponseWriter, r *http.Request) { s.showBook(w, r, "", "") })
	mux.HandleFunc("POST /book", s.takeBook)
	mux.HandleFunc("GET /book/{key}", s.showRead)
	mux.HandleFunc("POST /book/{key}/columns", s.setColumns)
	mux.HandleFunc("POST /book/{key}/load", s.loadBook)
	mux.HandleFunc("POST /plan/close", s.onNightForm(func(ctx context.Context, nightID int64, who string, form url.Values) (notice, error) {
		return s.closeOrders(ctx, nightID, who, form.Get("plan"))
	}))
}

func (s *site) showBook(w http.ResponseWriter, r *http.Request, wrong, pasted string) {
	n, err := s.Desk.Current(r.Context())
	if errors.Is(err, desk.ErrNoNight) {
		s.show(w, r, "/book", nil)
		return
	}
	var orders []night.Order
	if err == nil {
		orders, err = s.Desk.Orders(r.Context(), n.ID)
	}
	p := bookPage{Origin: Origin{Back: "/book", Night: n.ID}, Orders: len(orders), Wrong: wrong, Pasted: pasted}
	if !n.ClosedAt.IsZero() {
		p.Closed = s.when(n, n.ClosedAt)
	}
	v := view{Template: "book", Title: s.t("Order book"), Tab: "more", Path: "/book", Data: p}
	if wrong != "" {
		v.Status = http.StatusUnprocessableEntity
	}
	s.present(w, r, v, s.popNotice(r.Context()), err)
}

// takeBook reads what was pasted or chosen and shows it.
func (s *site) takeBook(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseMultipartForm(maxFile); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		s.showBook(w, r, s.t("that is more than %d MB: export one night’s orders only, or load it with `passbell book load`", maxFile>>20), "")
		return
	}
	n, ok := s.nightHere(w, r)
	if !ok {
		return
	}
	pasted := r.PostFormValue("paste")
	u := upload{name: s.t("what you pasted"), data: []byte(pasted), at: s.Now()}
	if f, head, err := r.FormFile("file"); err == nil {
		data, err := io.ReadAll(f)
		if err = errors.Join(err, f.Close()); err != nil {
			s.fail(w, r, err)
			return
		}
		if len(data) > 0 || head.Filename != "" {
			u.name, u.data = head.Filename, data
		}
	}
	if len(bytes.TrimSpace(u.data)) == 0 {
		s.showBook(w, r, s.t("nothing was pasted and no file was chosen"), pasted)
		return
	}
	if _, err := s.readBook(r.Context(), n, u); err != nil {
		if technical(err) {
			s.fail(w, r, err)
			return
		}
		s.showBook(w, r, s.say(err.Error()), pasted)
		return
	}
	http.Redirect(w, r, "/book/"+s.shelf.put(u), http.StatusSeeOther)
}

// nightHere is nightOf for handlers that need the night itself.
func (s *site) nightHere(w http.ResponseWriter, r *http.Request) (night.Night, bool) {
	if _, ok := s.nightOf(w, r); !ok {
		return night.Night{}, false
	}
	n, err := s.Desk.Current(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return n, false
	}
	return n, true
}

func (s *site) readBook(ctx context.Context, n night.Night, u upload) (book.Book, error) {
	return s.Desk.ReadBook(ctx, bytes.NewReader(u.data), u.name, book.Options{
		Region: s.Kitchen.Region, Zone: s.Kitchen.Zone, Night: n, Fiction: s.Demo, Mapping: u.mapping,
	})
}

// kept gives the upload of the address; one that is gone is explained.
func (s *site) kept(w http.ResponseWriter, r *http.Request) (string, upload, bool) {
	key := r.PathValue("key")
	u, ok := s.shelf.get(key, s.Now())
	if !ok {
		s.showBook(w, r, s.t("that file was put away, as nobody loaded it for a while. Nothing was stored; choose it once more"), "")
	}
	return key, u, ok
}

func (s *site) showRead(w http.ResponseWriter, r *http.Request) {
	key, u, ok := s.kept(w, r)
	if !ok {
		return
	}
	n, err := s.Desk.Current(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	if u.done != nil {
		http.Redirect(w, r, "/plan", http.StatusSeeOther)
		return
	}
	v, err := s.readView(r.Context(), n, key, u)
	s.present(w, r, v, s.popNotice(r.Context()), err)
}

func (s *site) readView(ctx context.Context, n night.Night, key string, u upload) (view, error) {
	b, err := s.readBook(ctx, n, u)
	if err != nil {
		return view{}, err
	}
	orders, err := s.Desk.Orders(ctx, n.ID)
	if err != nil {
		return view{}, err
	}
	c := seen{Origin: Origin{Back: "/book/" + key, Night: n.ID}, night: n, at: s.Now()}
	p := readPage{
		Origin: c.Origin, Key: key, Name: u.name, Rows: b.Rows, Orders: len(b.Orders), LeftOut: slices.Clone(b.LeftOut),
		DayOrder: u.mapping["day order"], Closed: !n.ClosedAt.IsZero(),
	}
	for i := range p.LeftOut {
		p.LeftOut[i].Why = s.say(p.LeftOut[i].Why)
	}
	p.Columns, p.Others = s.columnsOf(b)
	p.Slots = s.slots(n, orders, night.Order{Slot: -1})
	names := map[string]string{}
	var placed []night.Order
	for _, o := range b.Orders {
		names[o.Ref] = o.Name
		o.State = night.Booked
		if b.Unplaced[o.Ref] {
			p.Unplaced = append(p.Unplaced, s.ticket(c, o))
		} else {
			placed = append(placed, o)
		}
		if len(p.All) < shown {
			p.All = append(p.All, s.ticket(c, o))
		}
		if h, ok := s.heldOf(b, o); ok {
			p.Held = append(p.Held, h)
		}
	}
	if o, ok := fullest(placed); ok {
		t := s.ticket(c, o)
		p.Example, p.Typed = &t, o.PhoneTyped
	}
	s.problems(&p, b, names)
	p.follows, err = s.foresee(ctx, c, orders, func(d *desk.Desk) (err error) {
		p.Loaded, err = d.LoadExtent(ctx, n.ID, placed, desk.OpenBook, cook)
		return err
	})
	return view{Template: "read", Title: s.t("Order book"), Tab: "more", Path: c.Back, Data: p}, err
}

// columnsOf lists what was read from which heading, and what could be.
func (w *tongue) columnsOf(b book.Book) (used, others []columnChoice) {
	for _, c := range columnWords {
		ch := columnChoice{Field: c[0], Words: w.t(c[1]), From: b.Columns[c[0]], Headings: slices.Clone(b.Headings)}
		if !slices.Contains(book.Fields(), ch.Field) {
			continue
		}
		if ch.From != "" && !slices.Contains(ch.Headings, ch.From) { // several columns together
			ch.Headings = append([]string{ch.From}, ch.Headings...)
		}
		if ch.From == "" {
			others = append(others, ch)
			continue
		}
		used = append(used, ch)
	}
	return used, others
}

func (w *tongue) problems(p *readPage, b book.Book, names map[string]string) {
	for _, x := range b.Problems {
		x.What, x.Fix = w.say(x.What), w.say(x.Fix)
		to := &p.Looks
		if x.Level == book.Stop {
			to = &p.Stops
		}
		if len(*to) >= shown {
			p.Hidden++
			continue
		}
		*to = append(*to, problemLine{x, names[x.Order]})
	}
}

// heldOf tells whether an order's number waits for a yes: one that takes no
// texts, or that nobody can have, is no question.
func (s *site) heldOf(b book.Book, o night.Order) (heldNumber, bool) {
	held := b.Held[o.Ref]
	if held == "" {
		return heldNumber{}, false
	}
	n, err := phone.Parse(held, s.Kitchen.Region)
	if err != nil || n.Fiction && !s.Demo || !n.Line.TakesTexts() {
		return heldNumber{}, false
	}
	return heldNumber{Ref: o.Ref, Name: o.Name, Number: held, Why: s.t("a number of %s", n.Region)}, true
}

// fullest gives the order that shows most of how the file was read.
func fullest(orders []night.Order) (night.Order, bool) {
	if len(orders) == 0 {
		return night.Order{}, false
	}
	size := func(o night.Order) int {
		n := len(o.Items)
		for _, f := range []string{o.Phone, o.Email, o.Note, o.Allergy, o.Allergy} {
			if f != "" {
				n += 2
			}
		}
		return n
	}
	return slices.MaxFunc(orders, func(a, b night.Order) int { return cmp.Compare(size(a), size(b)) }), true
}

// setColumns reads the file once more, as a person says.
func (s *site) setColumns(w http.ResponseWriter, r *http.Request) {
	n, ok := s.nightHere(w, r)
	if !ok {
		return
	}
	key, u, ok := s.kept(w, r)
	if !ok {
		return
	}
	b, err := s.readBook(r.Context(), n, u)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	changed := u
	changed.mapping = mappingOf(b, u.mapping, r.PostForm)
	say := notice{Text: s.t("Read once more, as you say.")}
	if _, err := s.readBook(r.Context(), n, changed); err != nil {
		if technical(err) {
			s.fail(w, r, err)
			return
		}
		say = notice{Bad: true, Text: s.t("It can’t be read that way, so it stays as it was: %s.", s.say(err.Error()))}
	} else {
		s.shelf.set(key, changed)
	}
	s.sessions.Put(r.Context(), keyNotice, say.Text)
	s.sessions.Put(r.Context(), keyBad, say.Bad)
	http.Redirect(w, r, "/book/"+key, http.StatusSeeOther)
}

// mappingOf adds to a mapping what a person chose otherwise than it was read.
func mappingOf(b book.Book, have map[string]string, form url.Values) map[string]string {
	out := maps.Clone(have)
	if out == nil {
		out = map[string]string{}
	}
	var ignore []string
	for _, f := range book.Fields() {
		chosen, given := form["col-"+f]
		if !given || chosen[0] == b.Columns[f] {
			continue
		}
		delete(out, f)
		if chosen[0] != "" {
			out[f] = chosen[0]
			continue
		}
		ignore = append(ignore, strings.Split(b.Columns[f], " + ")...)
	}
	for f, from := range out { // what is used again is not left alone
		ignore = slices.DeleteFunc(ignore, func(h string) bool { return f != "ignore" && slices.Contains(strings.Split(from, " + "), h) })
	}
	if len(ignore) > 0 {
		out["ignore"] = strings.Join(ignore, ",")
	}
	if days := form.Get("day order"); days != "" {
		out["day order"] = days
	}
	return out
}

// loadBook stores what was shown, all or nothing.
func (s *site) loadBook(w http.ResponseWriter, r *http.Request) {
	n, ok := s.nightHere(w, r)
	if !ok {
		return
	}
	s.acting.Lock()
	defer s.acting.Unlock()
	key, u, ok := s.kept(w, r)
	if !ok {
		return
	}
	next := "/plan"
	if !n.ClosedAt.IsZero() {
		next = "/"
	}
	say, err := s.load(r.Context(), n, key, u, r.PostForm)
	if err != nil {
		say, next = s.sorry(night.Order{}, s.t("load the order book"), err), "/book/"+key
	}
	s.sessions.Put(r.Context(), keyNotice, say.Text)
	s.sessions.Put(r.Context(), keyBad, say.Bad)
	http.Redirect(w, r, next, http.StatusSeeOther)
}

func (s *site) load(ctx context.Context, n night.Night, key string, u upload, form url.Values) (notice, error) {
	if u.done != nil {
		return notice{Text: u.done.Text + " " + s.t("Nothing was done twice.")}, nil
	}
	b, err := s.readBook(ctx, n, u)
	if err != nil {
		return notice{}, err
	}
	for i := range b.Orders {
		o := &b.Orders[i]
		if b.Unplaced[o.Ref] {
			slot, err := night.ParseClock(form.Get("slot-" + o.Ref))
			if err != nil {
				return notice{}, errors.New(s.t("order %s of %s has no slot yet: choose one, then load", o.Ref, o.Name))
			}
			o.Slot = slot
		}
		if held, ok := s.heldOf(b, *o); ok && slices.Contains(form["yes"], o.Ref) {
			o.Phone = held.Number
		}
	}
	extent := desk.OpenBook
	if form.Get("whole") == "yes" {
		extent = desk.WholeBook
	}
	who := s.who(ctx)
	loaded, err := s.Desk.LoadExtent(ctx, n.ID, b.Orders, extent, who)
	if err != nil {
		return notice{}, err
	}
	if len(u.mapping) > 0 {
		if err := s.Desk.RememberColumns(ctx, b.Shape, u.mapping); err != nil {
			return notice{}, err
		}
	}
	if form.Get("seen") == "yes" {
		if err := s.Desk.SeeProblems(ctx, n.ID, b.Problems); err != nil {
			return notice{}, err
		}
	}
	say := notice{Text: s.t("Loaded: %d new, %d changed, %d as before.", len(loaded.New), len(loaded.Changed), len(loaded.Unchanged))}
	if len(loaded.Cancelled) > 0 {
		say.Text += " " + s.t("Cancelled, as the file lacks them: %s.", strings.Join(loaded.Cancelled, ", "))
	}
	if len(loaded.Missing) > 0 {
		say.Text += " " + s.t("Not in the file and kept: %s.", strings.Join(loaded.Missing, ", "))
	}
	u.done, u.data = &say, nil
	s.shelf.set(key, u)
	return say, nil
}
