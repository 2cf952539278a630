package web

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/httprate"

	"passbell/internal/desk"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// An arrival link lets a customer say "I'm here" without a text. It names an
// order and is signed with a random key of the kitchen, so nobody guesses one.

const (
	hereSecret = "arrival links"
	hereTag    = 16 // bytes of the signature that a link carries
	hereTries  = 20 // taps and looks of one address in a minute
)

// HereKey gives the key that a kitchen's arrival links are signed with.
func HereKey(ctx context.Context, k Keeper) ([]byte, error) {
	fresh := make([]byte, 32)
	if _, err := rand.Read(fresh); err != nil {
		return nil, err
	}
	return k.Secret(ctx, hereSecret, fresh)
}

// HerePath gives the path of the page on which the customer of an order says
// that they are here.
func HerePath(key []byte, nightID, orderID int64) string {
	b := binary.AppendUvarint(nil, uint64(nightID))
	b = binary.AppendUvarint(b, uint64(orderID))
	return "/here/" + base64.RawURLEncoding.EncodeToString(append(b, signature(key, b)...))
}

func signature(key, b []byte) []byte {
	m := hmac.New(sha256.New, key)
	m.Write(b)
	return m.Sum(nil)[:hereTag]
}

// readHere gives what a link names; ok is false where it was not signed here.
func readHere(key []byte, token string) (nightID, orderID int64, ok bool) {
	b, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(b) <= hereTag {
		return 0, 0, false
	}
	b, tag := b[:len(b)-hereTag], b[len(b)-hereTag:]
	if !hmac.Equal(tag, signature(key, b)) {
		return 0, 0, false
	}
	first, n := binary.Uvarint(b)
	if n <= 0 {
		return 0, 0, false
	}
	second, m := binary.Uvarint(b[n:])
	return int64(first), int64(second), m > 0 && n+m == len(b)
}

// herePage is what a customer sees behind an arrival link.
type herePage struct {
	Kitchen string
	Token   string
	Ref     string
	Place   string
	Parking string
	Colours []string
	Vehicle night.Vehicle
	Seen    string // the car in words
	Colour  string
	Since   string // they are known to be here since then
	Spot    string // where they said that they stand
	Over    string // why there is nothing to tap
	Tel     template.URL
	Number  string
}

func (s *site) addHere(mux *http.ServeMux) {
	limit := httprate.LimitBy(hereTries, time.Minute, address, httprate.WithLimitHandler(s.tooMany))
	mux.Handle("GET /here/{token}", limit(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, o, ok := s.hereOrder(w, r); ok {
			s.showHere(w, r, o)
		}
	})))
	mux.Handle("POST /here/{token}", limit(http.HandlerFunc(s.arrive)))
}

// hereOrder gives the order of a link, and answers where there is none or the
// night is over.
func (s *site) hereOrder(w http.ResponseWriter, r *http.Request) (night.Night, night.Order, bool) {
	gone := func() (night.Night, night.Order, bool) {
		s.refuse(w, r, http.StatusGone, s.t("This link has ended"), s.t("It worked for one collection night. If you are here to collect, reply to our text or ring us."))
		return night.Night{}, night.Order{}, false
	}
	key, err := HereKey(r.Context(), s.Keep)
	if err != nil {
		s.fail(w, r, err)
		return night.Night{}, night.Order{}, false
	}
	nightID, orderID, ok := readHere(key, r.PathValue("token"))
	if !ok {
		return gone()
	}
	n, err := s.Desk.Current(r.Context())
	var orders []night.Order
	if err == nil {
		orders, err = s.Desk.Orders(r.Context(), n.ID)
	}
	if err != nil && !errors.Is(err, desk.ErrNoNight) {
		s.fail(w, r, err)
		return night.Night{}, night.Order{}, false
	}
	i := slices.IndexFunc(orders, func(o night.Order) bool { return o.ID == orderID })
	if i < 0 || n.ID != nightID || !s.Now().Before(n.HelpUntil(s.Kitchen.Zone)) {
		return gone()
	}
	return n, orders[i], true
}

func (s *site) showHere(w http.ResponseWriter, r *http.Request, o night.Order) {
	n, err := s.Desk.Current(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	p := herePage{
		Kitchen: s.Kitchen.Name, Token: r.PathValue("token"), Ref: o.Ref, Place: n.Place, Parking: n.Parking, Colours: swatches,
		Vehicle: o.Vehicle, Seen: s.carWords(o.Vehicle), Tel: telURL(s.Kitchen.Number), Number: phone.National(s.Kitchen.Number),
	}
	if len(o.Vehicle.Colours) > 0 {
		p.Colour = swatch(o.Vehicle.Colours[0])
	}
	switch {
	case !n.CalledOff.IsZero():
		p.Over = s.t("The night is called off. Please do not wait.")
	case o.State == night.Arrived:
		p.Since, p.Spot = s.clock(o.Arrival.At), o.Arrival.Spot
	case o.State == night.HandedOut:
		p.Over = s.t("Your bags are handed out. Enjoy your food.")
	case o.State == night.Cancelled:
		p.Over = s.t("This order is cancelled. If that is not right, please ring us.")
	}
	s.bare(w, r, http.StatusOK, "here", p)
}

// spotLong is how much a customer can say about where they stand, in
// characters: it is read from two metres.
const spotLong = 80

// arrive marks a customer as here, by their own tap, with the car that they
// name and where they stand. A second tap finds them here already, and may still
// say where.
func (s *site) arrive(w http.ResponseWriter, r *http.Request) {
	s.acting.Lock()
	defer s.acting.Unlock()
	n, o, ok := s.hereOrder(w, r)
	if !ok {
		return
	}
	ctx := r.Context()
	a := desk.Act{Night: n.ID, Ref: o.Ref, Who: "customer", Why: "by their link"}
	here := o.State == night.Arrived
	if _, err := o.State.After(night.Arrive); err == nil && n.CalledOff.IsZero() {
		here = true
		v := night.Vehicle{
			Make: tidy(r.PostFormValue("make")), Plate: strings.ToUpper(strings.ReplaceAll(tidy(r.PostFormValue("plate")), " ", "")),
		}
		if c := swatch(r.PostFormValue("colour")); c != "" {
			v.Colours = []string{c}
		}
		if !v.IsZero() {
			if _, err := s.Desk.CorrectVehicle(ctx, a, o.Vehicle.Merge(v), 0, nil); err != nil {
				s.fail(w, r, err)
				return
			}
		}
		if _, err := s.Desk.Here(ctx, a); err != nil {
			s.fail(w, r, err)
			return
		}
	}
	if spot := tidyTo(r.PostFormValue("spot"), spotLong); here && spot != "" {
		if _, err := s.Desk.Stand(ctx, a, spot); err != nil {
			s.fail(w, r, err)
			return
		}
	}
	http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
}
