package web

import (
	"encoding/json"
	"net/http"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// eventsAtOnce is how many events are read at a time.
const eventsAtOnce = 500

func (s *site) addEvents(api huma.API, mux *http.ServeMux) {
	op := operation(http.MethodGet, "/events", "Follow what happens (server-sent events)")
	op.Description = "Each event's id is that of the night's event, its data an event in JSON. Come back with Last-Event-ID, or ?after=, and none is missed. " +
		"The stream ends where the night that is worked on becomes another; come back with the same id."
	op.Parameters = []*huma.Param{
		{Name: "after", In: "query", Description: "Start behind this event id; 0 for all", Schema: &huma.Schema{Type: "integer"}},
		{Name: "Last-Event-ID", In: "header", Description: "As after, and goes before it", Schema: &huma.Schema{Type: "integer"}},
	}
	op.Responses = map[string]*huma.Response{"200": {
		Description: "A stream without an end",
		Content:     map[string]*huma.MediaType{"text/event-stream": {Schema: &huma.Schema{Type: "string"}}},
	}}
	api.OpenAPI().AddOperation(&op)
	mux.HandleFunc("GET "+op.Path, s.events)
}

func (s *site) events(w http.ResponseWriter, r *http.Request) {
	after, err := startAfter(r)
	if err != nil {
		problem(w, http.StatusBadRequest, "the event id to start behind is a whole number")
		return
	}
	ctx := r.Context()
	n, err := s.Desk.Current(ctx)
	if err != nil {
		problem(w, http.StatusNotFound, err.Error())
		return
	}
	out, err := openStream(w)
	if err != nil {
		problem(w, http.StatusInternalServerError, "this connection can't stream")
		return
	}
	beats := time.NewTicker(s.Pace.Beat)
	defer beats.Stop()
	for {
		// The channel first, then the reading: nothing falls in between.
		changed := s.Live.Wait()
		if after, err = s.sendEvents(r, out, n.ID, after); err != nil {
			return
		}
		if now, err := s.Desk.Current(ctx); err != nil || now.ID != n.ID {
			return
		}
		if !s.pause(ctx, s.Pace.Every) {
			return
		}
		for wait := true; wait; {
			select {
			case <-ctx.Done():
				return
			case <-beats.C:
				if err := out.comment("still here"); err != nil {
					return
				}
			case <-changed:
				wait = false
			}
		}
	}
}

func startAfter(r *http.Request) (int64, error) {
	from := r.Header.Get("Last-Event-ID")
	if from == "" {
		from = r.FormValue("after")
	}
	if from == "" {
		return 0, nil
	}
	return strconv.ParseInt(from, 10, 64)
}

// sendEvents sends all events behind after and gives the id of the last.
func (s *site) sendEvents(r *http.Request, out *stream, nightID, after int64) (int64, error) {
	for {
		events, err := s.Desk.Events(r.Context(), nightID, after, eventsAtOnce)
		if err != nil {
			return after, err
		}
		for _, e := range events {
			b, err := json.Marshal(toEvent(e))
			if err != nil {
				return after, err
			}
			if err := out.send("", strconv.FormatInt(e.ID, 10), string(b)); err != nil {
				return after, err
			}
			after = e.ID
		}
		if len(events) < eventsAtOnce {
			return after, nil
		}
	}
}
