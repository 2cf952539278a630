package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"passbell/internal/desk"
	"passbell/internal/night"
)

const apiVersion = "1.0.0"

// byAPI is who acts when a caller of the API does not say.
const byAPI = "api"

// api gives the handler of /api/v1. It is made when the first call comes: what
// it knows of its types is large, and many kitchens are never called.
func (s *site) api() http.Handler {
	made := sync.OnceValue(func() http.Handler {
		mux := http.NewServeMux()
		s.addAPI(mux)
		return mux
	})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { made().ServeHTTP(w, r) })
}

// addAPI mounts /api/v1. Errors are RFC 9457 problems; the description is at
// /api/v1/openapi.json.
func (s *site) addAPI(mux *http.ServeMux) {
	c := huma.DefaultConfig("passbell", apiVersion)
	c.Info.Description = "A collection night: its orders, its texts and what happens. " +
		"With a token set, every call carries it as Authorization: Bearer; without one, only the machine itself may call. " +
		"Every act may be sent twice: what is done already is answered with the order as it is. An Idempotency-Key is accepted and not needed."
	// The pages of these paths load from outside, and the links would change
	// what a caller reads.
	c.DocsPath, c.SchemasPath, c.CreateHooks = "", "", nil
	c.OpenAPIPath = "/api/v1/openapi"
	c.Components.SecuritySchemes = map[string]*huma.SecurityScheme{"token": {Type: "http", Scheme: "bearer"}}
	c.Security = []map[string][]string{{"token": {}}, {}}
	api := humago.New(mux, c)

	get(api, "/night", "The night that is being worked on", s.apiNight)
	get(api, "/orders", "Its orders, by slot", s.apiOrders)
	get(api, "/orders/{ref}", "One order with its history", s.apiOrder)
	get(api, "/messages", "Texts to customers", s.apiMessages)
	op := operation(http.MethodPut, "/orders/{ref}", "Add an order, or bring it up to date")
	op.Description = "The same order may be put again and again. What a person changed since stays, unless the order itself changes in that field. " +
		"Customers are told as the night's plan says."
	huma.Register(api, op, s.apiPut)
	for _, a := range []struct {
		name, summary string
		do            apiAct
	}{
		{"here", "The customer is at the collection point", s.apiStep(s.Desk.Here, night.Arrived)},
		{"out", "The bags are handed out", s.apiStep(s.Desk.Out, night.HandedOut)},
		{"cancel", "The order is off", s.apiStep(s.Desk.Cancel, night.Cancelled)},
		{"absent", "The order was not collected", s.apiStep(s.Desk.Absent, night.NotCollected)},
		{"packed", "The bags are packed, or with \"packed\": false not after all", s.apiPacked},
		{"undo", "Take the last step back; with \"from\", only from that state", s.apiUndo},
		{"move", "Give the order another slot", s.apiMove},
		{"resend", "Send the instructions again, now", s.apiResend},
		{"tick", "Lines of it are in the bag, or with \"ticked\": false not after all", s.apiTick},
		{"short", "Pieces of it are missing; with \"text\" the customer is told all that is missing, once", s.apiShort},
	} {
		huma.Register(api, operation(http.MethodPost, "/orders/{ref}/"+a.name, a.summary), s.apiDo(a.do))
	}
	s.addEvents(api, mux)
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		problem(w, http.StatusNotFound, "there is nothing at this address; see /api/v1/openapi.json")
	})
}

func operation(method, path, summary string) huma.Operation {
	words := strings.Fields(strings.NewReplacer("/", " ", "{ref}", "order").Replace(path))
	return huma.Operation{
		OperationID: strings.ToLower(method) + "-" + strings.Join(words, "-"), Method: method, Path: "/api/v1" + path, Summary: summary,
	}
}

func get[I, O any](api huma.API, path, summary string, fn func(context.Context, *I) (*O, error)) {
	huma.Register(api, operation(http.MethodGet, path, summary), fn)
}

// problem writes an RFC 9457 problem from outside the API's own library.
func problem(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(huma.ErrorModel{Title: http.StatusText(status), Status: status, Detail: detail})
}

// apiError gives an error its status and keeps from the caller what is none of
// their business.
func (s *site) apiError(err error) error {
	var step *night.StepError
	var slot *desk.SlotError
	var own huma.StatusError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &own):
		return err
	case errors.Is(err, night.ErrNotFound), errors.Is(err, desk.ErrNoNight):
		return huma.Error404NotFound(err.Error())
	case errors.As(err, &step), errors.Is(err, desk.ErrNothingToUndo), errors.Is(err, night.ErrChanged):
		return huma.Error409Conflict(err.Error())
	case errors.As(err, &slot):
		return huma.Error422UnprocessableEntity(err.Error())
	}
	s.Log.Error("an API call failed", "error", err)
	return huma.Error500InternalServerError("it could not be done; the log says why")
}

type none struct{}

type nightOut struct{ Body apiNight }

func (s *site) apiNight(ctx context.Context, _ *none) (*nightOut, error) {
	n, err := s.Desk.Current(ctx)
	if err != nil {
		return nil, s.apiError(err)
	}
	b, err := s.Desk.Board(ctx, n.ID)
	if err != nil {
		return nil, s.apiError(err)
	}
	return &nightOut{s.toNight(b)}, nil
}

type ordersIn struct {
	Find string `query:"find" doc:"Part of a name, a reference, a bag number, last digits or a plate"`
}

type ordersOut struct {
	Body struct {
		Orders []apiOrder `json:"orders"`
	}
}

func (s *site) apiOrders(ctx context.Context, in *ordersIn) (*ordersOut, error) {
	n, err := s.Desk.Current(ctx)
	if err != nil {
		return nil, s.apiError(err)
	}
	orders, err := s.Desk.Orders(ctx, n.ID)
	if err != nil {
		return nil, s.apiError(err)
	}
	out := &ordersOut{}
	out.Body.Orders = []apiOrder{}
	for _, o := range find(orders, in.Find) {
		out.Body.Orders = append(out.Body.Orders, toOrder(o))
	}
	return out, nil
}

type refIn struct {
	Ref string `path:"ref" doc:"The order's reference, in any case" example:"K401"`
}

type cardOut struct{ Body apiCard }

func (s *site) apiOrder(ctx context.Context, in *refIn) (*cardOut, error) {
	n, err := s.Desk.Current(ctx)
	if err != nil {
		return nil, s.apiError(err)
	}
	card, err := s.Desk.Card(ctx, n.ID, in.Ref)
	if err != nil {
		return nil, s.apiError(err)
	}
	out := &cardOut{apiCard{Order: toOrder(card.Order), Events: []apiEvent{}, Messages: []apiMessage{}}}
	for _, e := range card.Events {
		out.Body.Events = append(out.Body.Events, toEvent(e))
	}
	refs := map[int64]string{card.Order.ID: card.Order.Ref}
	for _, m := range card.Messages {
		out.Body.Messages = append(out.Body.Messages, toMessage(m, refs))
	}
	return out, nil
}

type messagesOut struct {
	Body struct {
		Messages []apiMessage `json:"messages"`
	}
}

func (s *site) apiMessages(ctx context.Context, _ *none) (*messagesOut, error) {
	n, err := s.Desk.Current(ctx)
	if err != nil {
		return nil, s.apiError(err)
	}
	messages, err := s.Desk.Messages(ctx, n.ID)
	if err != nil {
		return nil, s.apiError(err)
	}
	orders, err := s.Desk.Orders(ctx, n.ID)
	if err != nil {
		return nil, s.apiError(err)
	}
	refs := refsByID(orders)
	out := &messagesOut{}
	out.Body.Messages = []apiMessage{}
	for _, m := range messages {
		out.Body.Messages = append(out.Body.Messages, toMessage(m, refs))
	}
	return out, nil
}

// actIn is a call that does something to an order.
type actIn struct {
	Ref  string `path:"ref" doc:"The order's reference, in any case" example:"K401"`
	Key  string `header:"Idempotency-Key" doc:"Accepted and not needed: an act that is done already is not done twice"`
	Body actBody
}

type actBody struct {
	_      struct{}     `additionalProperties:"false"`
	Who    string       `json:"who,omitempty" maxLength:"40" doc:"Who does it, for the history; \"api\" where left out"`
	Why    string       `json:"why,omitempty" maxLength:"500"`
	Packed *bool        `json:"packed,omitempty" doc:"For packed: false takes the mark back"`
	From   night.State  `json:"from,omitempty" doc:"For undo: the state that the step to take back led to; anything else is left as it is"`
	Slot   *night.Clock `json:"slot,omitempty" doc:"For move" example:"17:10"`
	To     string       `json:"to,omitempty" doc:"For resend: another number"`
	Items  []apiPart    `json:"items,omitempty" maxItems:"200" doc:"For tick and short: which lines"`
	Ticked *bool        `json:"ticked,omitempty" doc:"For tick: false takes the marks back"`
	Text   bool         `json:"text,omitempty" doc:"For short: tell the customer; left out, it is to be said at the gate"`
}

type orderOut struct{ Body apiOrder }

type apiAct func(ctx context.Context, a desk.Act, before night.Order, in actBody) (night.Order, error)

// apiDo runs an act as the pages do: the look and the act are one thing.
func (s *site) apiDo(do apiAct) func(context.Context, *actIn) (*orderOut, error) {
	return func(ctx context.Context, in *actIn) (*orderOut, error) {
		n, err := s.Desk.Current(ctx)
		if err != nil {
			return nil, s.apiError(err)
		}
		s.acting.Lock()
		defer s.acting.Unlock()
		card, err := s.Desk.Card(ctx, n.ID, in.Ref)
		if err != nil {
			return nil, s.apiError(err)
		}
		a := desk.Act{Night: n.ID, Ref: in.Ref, Who: in.Body.Who, Why: in.Body.Why}
		if a.Who == "" {
			a.Who = byAPI
		}
		o, err := do(ctx, a, card.Order, in.Body)
		if err != nil {
			return nil, s.apiError(err)
		}
		return &orderOut{toOrder(o)}, nil
	}
}

// apiStep takes a step that leads to a state. An order that is in it already is
// answered as it is.
func (s *site) apiStep(do func(context.Context, desk.Act) (night.Order, error), to night.State) apiAct {
	return func(ctx context.Context, a desk.Act, before night.Order, _ actBody) (night.Order, error) {
		if before.State == to {
			return before, nil
		}
		return do(ctx, a)
	}
}

func (s *site) apiPacked(ctx context.Context, a desk.Act, _ night.Order, in actBody) (night.Order, error) {
	return s.Desk.Packed(ctx, a, in.Packed == nil || *in.Packed)
}

func (s *site) apiUndo(ctx context.Context, a desk.Act, before night.Order, in actBody) (night.Order, error) {
	if in.From != "" && in.From != before.State {
		return before, nil
	}
	return s.Desk.Undo(ctx, a)
}

func (s *site) apiMove(ctx context.Context, a desk.Act, _ night.Order, in actBody) (night.Order, error) {
	if in.Slot == nil {
		return night.Order{}, huma.Error422UnprocessableEntity("say which slot: {\"slot\": \"17:10\"}")
	}
	return s.Desk.Move(ctx, a, *in.Slot)
}

func (s *site) apiResend(ctx context.Context, a desk.Act, before night.Order, in actBody) (night.Order, error) {
	to := ""
	if in.To != "" {
		var err error
		if to, err = s.parsePhone(in.To); err != nil {
			return night.Order{}, huma.Error422UnprocessableEntity(err.Error())
		}
	}
	switch {
	case to == "" && before.Phone == "":
		return night.Order{}, huma.Error422UnprocessableEntity("the order has no number that can take texts: give one with \"to\"")
	case !before.State.Open():
		return night.Order{}, huma.Error409Conflict(fmt.Sprintf("the order is %s, so nothing is sent about it", before.State))
	}
	if _, err := s.Desk.Resend(ctx, a, to); err != nil {
		return night.Order{}, huma.Error409Conflict(err.Error())
	}
	return before, nil
}
