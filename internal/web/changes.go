package web

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// follows is what a change means for the texts, shown before it is done.
type follows struct {
	Sends int // texts that go out because of it
	Texts []followed
	More  []followed // the rest of many
}

type followed struct {
	sentText
	Words string
	Gone  bool // it is taken back
}

// followsFew is how many texts are shown at once.
const followsFew = 6

// foresee tries a change and words what it would mean for texts.
func (s *site) foresee(ctx context.Context, c seen, orders []night.Order, change func(d *desk.Desk) error) (follows, error) {
	list, err := s.Desk.Foresee(ctx, change)
	if err != nil {
		return follows{}, err
	}
	names := namesByID(orders)
	var out follows
	for _, con := range list {
		f := followed{sentText: s.sentText(c, con.Message, names), Words: s.t("Taken back")}
		f.At = s.when(c.night, con.Message.DueAt)
		switch {
		case con.What == night.MessageWithdrawn:
			f.Gone = true
		case con.What == night.MessageChanged:
			f.Words = s.t("Now reads")
		case con.Message.DueAt.After(c.at):
			out.Sends++
			f.Words = s.t("Goes at its time")
		default:
			out.Sends++
			f.Words, f.At = s.t("Goes at once"), ""
		}
		out.Texts = append(out.Texts, f)
	}
	if len(out.Texts) > followsFew {
		out.Texts, out.More = out.Texts[:followsFew], out.Texts[followsFew:]
	}
	return out, nil
}

// lookPage shows a change of one order before it is done.
type lookPage struct {
	Ticket
	follows
	Title  string
	What   string // what will be true
	Do     string // the act that does it
	Label  string
	Fields [][2]string
	Danger bool
	Wrong  string // why it can't be done
	Ring   bool   // they know of the night and no text tells them of this
	Also   string // what else to know before it is done
}

// look shows what a change of an order would mean. It is asked by POST: a
// number that somebody typed belongs in no address.
func (s *site) look(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.nightOf(w, r); !ok {
		return
	}
	n, err := s.Desk.Current(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v, err := s.lookView(r.Context(), n, r.PathValue("ref"), r.PostForm)
	s.present(w, r, v, nil, err)
}

// present answers with a view that is made for one reader and kept by nobody.
func (s *site) present(w http.ResponseWriter, r *http.Request, v view, n *notice, err error) {
	var html []byte
	if err == nil {
		html, err = s.body(v, 0)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.write(w, r, frame{view: v, html: html}, n)
}

func (s *site) lookView(ctx context.Context, n night.Night, ref string, form url.Values) (view, error) {
	card, err := s.Desk.Card(ctx, n.ID, ref)
	if err != nil {
		return view{}, err
	}
	o := card.Order
	c, orders, err := s.sight(ctx, n, "/orders/"+escape(o.Ref))
	if err != nil {
		return view{}, err
	}
	p := lookPage{Ticket: s.ticket(c, o), Do: form.Get("do")}
	a := desk.Act{Night: n.ID, Ref: o.Ref, Who: cook}
	change, err := s.change(ctx, &p, a, o, orders, form)
	if err == nil {
		p.follows, err = s.foresee(ctx, c, orders, change)
	}
	p.Ring = p.Danger && p.Sends == 0 && told(card)
	if technical(err) || errors.Is(err, errNoPage) {
		return view{}, err
	}
	if err != nil {
		p.Wrong = strings.TrimPrefix(s.sorry(o, p.Title, err).Text, s.t("Not done:")+" ")
	}
	return view{Template: "look", Title: p.Title + ", " + o.Ref, Tab: "orders", Path: p.Place(), Data: p}, nil
}

// change gives the change that a form asks for, and fills in how it is put.
func (s *site) change(ctx context.Context, p *lookPage, a desk.Act, o night.Order, orders []night.Order, form url.Values) (func(d *desk.Desk) error, error) {
	switch p.Do {
	case "move":
		p.Title, p.Label = s.t("Another slot"), s.t("Move")
		slot, err := night.ParseClock(form.Get("slot"))
		if err != nil {
			return nil, err
		}
		if slot == o.Slot {
			return nil, errors.New(s.t("%s is at %s already", o.Ref, s.slot(slot)))
		}
		p.What, p.Label = s.t("%s instead of %s", s.slot(slot), s.slot(o.Slot)), s.t("Move to %s", s.slot(slot))
		p.Fields = [][2]string{{"slot", slot.String()}}
		return func(d *desk.Desk) error { _, err := d.Move(ctx, a, slot); return err }, nil
	case "number":
		p.Title, p.Label = s.t("Another number"), s.t("Use this number")
		typed := tidy(form.Get("to"))
		number, err := s.parsePhone(typed)
		if err != nil {
			return nil, err
		}
		p.What = s.t("%s instead of %s", phone.National(number), cmp.Or(p.Number, s.t("no number")))
		p.Fields = [][2]string{{"to", typed}}
		return func(d *desk.Desk) error { _, err := d.SetNumber(ctx, a, typed); return err }, nil
	case "collector":
		p.Title, p.Label = s.t("Somebody else collects"), s.t("Note it")
		name := tidy(form.Get("collector"))
		p.What = s.t("%s collects", cmp.Or(name, o.Name))
		p.Fields = [][2]string{{"collector", name}}
		return func(d *desk.Desk) error { _, err := d.SetCollector(ctx, a, name); return err }, nil
	case "cancel":
		p.Title, p.Label, p.Danger = s.t("Cancel"), s.t("Cancel the order"), true
		p.What = s.t("The order is off. You can take it back.")
		return func(d *desk.Desk) error { _, err := d.Cancel(ctx, a); return err }, nil
	}
	return s.changeShape(ctx, p, a, o, orders, form)
}

func (s *site) told(ctx context.Context, a desk.Act, before night.Order, _ url.Values) (notice, error) {
	if before.State != night.Booked {
		return done(before, s.t("is “%s” already", s.state(before.State))), nil
	}
	o, err := s.Desk.Told(ctx, a)
	return done(o, s.t("written down, %s told them", s.whoWords(a.Who))), err
}

func (s *site) number(ctx context.Context, a desk.Act, _ night.Order, form url.Values) (notice, error) {
	typed := tidy(form.Get("to"))
	number, err := s.parsePhone(typed)
	if err != nil {
		return notice{}, err
	}
	o, err := s.Desk.SetNumber(ctx, a, typed)
	return done(o, s.t("the number is %s now", phone.National(number))), err
}

func (s *site) collector(ctx context.Context, a desk.Act, before night.Order, form url.Values) (notice, error) {
	name := tidy(form.Get("collector"))
	o, err := s.Desk.SetCollector(ctx, a, name)
	return done(o, s.t("%s collects", cmp.Or(name, before.Name))), err
}

// grant gives the customer of a text the slot that they asked for, and the text
// is seen to.
func (s *site) grant(ctx context.Context, id int64, who string, form url.Values) (notice, error) {
	nightID, err := strconv.ParseInt(form.Get("night"), 10, 64)
	if err != nil {
		return notice{}, errors.New(s.t("the page did not say which night it showed: load it anew"))
	}
	a := desk.Act{Night: nightID, Ref: form.Get("ref"), Who: who, Why: "they asked for it"}
	slot, err := night.ParseClock(form.Get("slot"))
	if err != nil {
		return notice{}, err
	}
	o, err := s.Desk.Move(ctx, a, slot)
	if err != nil {
		return notice{}, err
	}
	return done(o, s.t("moved to %s; a text tells them", s.slot(slot))), s.Desk.Settle(ctx, id, who)
}
