package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"

	"passbell/internal/live"
	"passbell/internal/night"
)

// frames keeps the latest rendering of each page that somebody looks at: for as
// long as nothing has changed, and to be read while the database is away.
type frames struct {
	mu   sync.Mutex
	kept map[frameKey]*kept
}

// frameKey is a page and who looks at it.
type frameKey struct {
	to      string
	limited bool
	night   int64 // that the device has chosen
}

type kept struct {
	mu sync.Mutex
	frame
	changed <-chan struct{} // closes when something happens; nil before the first rendering
	making  chan struct{}   // closes when the rendering that is under way has ended; nil where none is
	turn    int             // counts the contents that it had
	streams live.Hub        // wakes those who show it when it has another content
	failed  error           // why it could not be made when they were woken last
	open    int             // how many show it
	leave   func()          // ends the following when nobody shows it any more
}

const (
	// keepFor is how long a rendering serves when nothing happens: the clock alone
	// moves orders from one band to the next.
	keepFor = time.Second
	// framesRoom is how many renderings are kept. Searches make many addresses.
	framesRoom = 64
)

// of gives the place of a page's rendering.
func (f *frames) of(key frameKey) *kept {
	f.mu.Lock()
	defer f.mu.Unlock()
	if k, ok := f.kept[key]; ok {
		return k
	}
	if f.kept == nil {
		f.kept = map[frameKey]*kept{}
	}
	if len(f.kept) >= framesRoom {
		for key, k := range f.kept {
			if (len(f.kept) < framesRoom || strings.Contains(key.to, "?")) && !k.shown() {
				delete(f.kept, key)
			}
		}
	}
	f.kept[key] = &kept{}
	return f.kept[key]
}

// lookAt gives the page at an address and who looks at it, which is the same for
// as long as a request lasts.
func (s *site) lookAt(ctx context.Context, to string) frameKey {
	return frameKey{to, s.limited(ctx), chosenNight(ctx)}
}

// frame gives a page as it now is.
func (s *site) frame(ctx context.Context, key frameKey) (frame, error) {
	return s.frames.of(key).now(ctx, s, key)
}

// lastFrame gives a page as it last was known, with the time of that; ok is
// false where nobody looked at it in the last hours.
func (s *site) lastFrame(key frameKey) (f frame, ok bool) {
	k := s.frames.of(key)
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.frame, k.changed != nil && s.Now().Sub(k.at) < lastFor
}

// now gives the rendering if it still holds, and makes it anew if not. Whoever
// comes while it is made waits for that; where it failed, the next one tries.
func (k *kept) now(ctx context.Context, s *site, key frameKey) (frame, error) {
	for {
		k.mu.Lock()
		last, changed, making := k.frame, k.changed, k.making
		holds := changed != nil && !closed(changed) && s.Now().Sub(last.at).Abs() < keepFor
		if !holds && making == nil {
			k.making = make(chan struct{})
		}
		k.mu.Unlock()
		switch {
		case holds:
			return last, nil
		case making == nil:
			return k.anew(ctx, s, key, last, changed != nil)
		}
		select {
		case <-making:
		case <-ctx.Done():
			return frame{}, ctx.Err()
		}
	}
}

// anew makes the rendering that follows the last one, and wakes at once all who
// wait for it. Only whoever has set making calls it.
func (k *kept) anew(ctx context.Context, s *site, key frameKey, last frame, known bool) (f frame, err error) {
	// The channel first, then the reading: what happens in between makes the
	// frame out of date at once.
	changed := s.Live.Wait()
	made := false
	defer func() {
		k.mu.Lock()
		defer k.mu.Unlock()
		if made {
			if contentOf(f.mark) != contentOf(last.mark) {
				k.turn++
			}
			k.frame, k.changed = f, changed
		}
		close(k.making)
		k.making = nil
	}()
	if known { // it can stand in for what is not there in time
		var done context.CancelFunc
		ctx, done = context.WithTimeout(ctx, patience)
		defer done()
	}
	now := s.Now()
	v, err := s.view(ctx, key.to, key.limited)
	if err != nil {
		return frame{}, err
	}
	html, err := s.body(v)
	if err != nil {
		return frame{}, err
	}
	sum := sha256.Sum256(html)
	mark := fmt.Sprintf("%d.%s", v.Event, hex.EncodeToString(sum[:6]))
	made = true
	return frame{view: v, html: html, mark: mark, at: now, steps: last.steps.next(html, mark)}, nil
}

// shown tells whether a stream shows the page.
func (k *kept) shown() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.open > 0
}

// lost tells whether whoever follows the page could not make it any more.
func (k *kept) lost() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.failed != nil
}

// join has a stream show the page, until it calls what it gets. One goroutine
// looks for all of them: each would otherwise wake for every change, and for the
// clock, to find who makes the page.
func (k *kept) join(ctx context.Context, s *site, key frameKey) (leave func()) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.open++; k.open == 1 {
		// It outlives the stream that came first where others have come since.
		ctx, stop := context.WithCancel(context.WithoutCancel(ctx))
		k.leave = stop
		go k.follow(ctx, s, key)
	}
	return func() {
		k.mu.Lock()
		defer k.mu.Unlock()
		if k.open--; k.open == 0 {
			k.leave()
		}
	}
}

// follow makes the page anew whenever something has happened or the clock may have
// changed it, and wakes the streams where that gave another content, or where it
// failed: they end, so that their pages keep what they show and say how old it is.
func (k *kept) follow(ctx context.Context, s *site, key frameKey) {
	looks := time.NewTicker(s.Pace.Look)
	defer looks.Stop()
	told := 0
	for happened := true; ; {
		changed := s.Live.Wait()
		_, err := k.now(ctx, s, key)
		if ctx.Err() != nil {
			return // another may follow it by now
		}
		if err != nil {
			s.notMade(err)
		}
		k.mu.Lock()
		news := err != nil || k.turn != told
		told, k.failed = k.turn, err
		k.mu.Unlock()
		if news {
			k.streams.Changed()
		}
		// A burst of changes is one to look at. A look at the clock that found
		// nothing new holds up no change.
		if (happened || news) && !s.pause(ctx, s.Pace.Every) {
			return
		}
		select {
		case <-ctx.Done():
			return
		case <-looks.C:
			happened = false
		case <-changed:
			happened = true
		}
	}
}

func closed(ch <-chan struct{}) bool {
	select {
	case <-ch:
		return true
	default:
		return false
	}
}

// beat is the sign of life that an open page hears.
type beat struct {
	At      string `json:"at"` // the kitchen's clock
	Now     int64  `json:"now"`
	Version string `json:"version"` // of the pages: a page of an older one loads itself anew
}

// live streams a page as it changes (server-sent events, WHATWG HTML §9.2). The
// id of each event names the last event of the night in it and its content:
// whoever comes back with it gets what is true now if that is not the same, so
// no change can be missed however long the line was down.
func (s *site) live(w http.ResponseWriter, r *http.Request) {
	have := r.Header.Get("Last-Event-ID")
	if have == "" {
		have = r.FormValue("after")
	}
	ctx := r.Context()
	// A stream that opens says that what it shows is true now.
	key := s.lookAt(ctx, safeBack(r.FormValue("of")))
	k := s.frames.of(key)
	if _, err := k.now(ctx, s, key); away(ctx, err) {
		s.fail(w, r, err)
		return
	}
	out, err := openStream(w)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	beats := time.NewTicker(s.Pace.Beat)
	defer beats.Stop()
	if err := s.beat(ctx, out); err != nil {
		return
	}
	defer k.join(ctx, s, key)()
	for {
		another := k.streams.Wait()
		if have, err = s.sendFrame(ctx, out, k, key, have); err != nil {
			return
		}
		for wait := true; wait; {
			select {
			case <-ctx.Done():
				return
			case <-beats.C:
				if _, ok, err := s.helping(ctx); !ok || err != nil {
					return // whoever comes back is told
				}
				if err := s.beat(ctx, out); err != nil {
					return
				}
			case <-another:
				if k.lost() {
					return
				}
				wait = false
			}
		}
	}
}

// pause waits and tells whether the stream is to go on.
func (s *site) pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

func (s *site) sendFrame(ctx context.Context, out *stream, k *kept, key frameKey, have string) (string, error) {
	f, err := k.now(ctx, s, key)
	switch {
	case err != nil:
		s.notMade(err)
		return have, err
	case contentOf(f.mark) == contentOf(have):
		return have, nil
	}
	return f.mark, out.write(f.steps.from(have))
}

// notMade records why a live page could not be made.
func (s *site) notMade(err error) {
	if !errors.Is(err, night.ErrNotFound) {
		s.Log.Error("the live page could not be made", "error", err)
	}
}

// contentOf is the part of a frame's mark that names its content; a bare event
// id names none, so whoever comes with one gets the page.
func contentOf(mark string) string {
	_, content, ok := strings.Cut(mark, ".")
	if !ok {
		return "none of " + mark
	}
	return content
}

func (s *site) beat(ctx context.Context, out *stream) error {
	now := s.Now()
	b, err := json.Marshal(beat{At: s.clock(now), Now: now.UnixMilli(), Version: s.version() + nightMark(ctx)})
	if err != nil {
		return err
	}
	return out.send("beat", "", string(b))
}

// stream writes server-sent events.
type stream struct {
	w  io.Writer
	rc *http.ResponseController
}

// retryMs is how soon a reader should come back after the line broke.
const retryMs = 1000

func openStream(w http.ResponseWriter) (*stream, error) {
	out := &stream{w: w, rc: http.NewResponseController(w)}
	// A stream has no end, so the server's limit for an answer is not for it.
	if err := out.rc.SetWriteDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return nil, err
	}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no") // proxies would hold it back
	w.WriteHeader(http.StatusOK)
	if _, err := fmt.Fprintf(w, "retry: %d\n\n", retryMs); err != nil {
		return nil, err
	}
	return out, out.rc.Flush()
}

// send writes one event, as encode makes it.
func (o *stream) send(name, id, data string) error { return o.write(encode(name, id, data)) }

func (o *stream) write(event []byte) error {
	if _, err := o.w.Write(event); err != nil {
		return err
	}
	return o.rc.Flush()
}

// encode gives one event as it goes over the line; an empty name is the unnamed
// kind, an empty id leaves the reader's as it was.
func encode(name, id, data string) []byte {
	var b bytes.Buffer
	if name != "" {
		fmt.Fprintf(&b, "event: %s\n", name)
	}
	if id != "" {
		fmt.Fprintf(&b, "id: %s\n", id)
	}
	for line := range strings.SplitSeq(strings.ReplaceAll(data, "\r", ""), "\n") {
		b.WriteString("data: ")
		b.WriteString(line)
		b.WriteByte('\n')
	}
	b.WriteByte('\n')
	return b.Bytes()
}

// comment writes a line that readers pass over; it keeps the line open.
func (o *stream) comment(words string) error {
	if _, err := fmt.Fprintf(o.w, ": %s\n\n", words); err != nil {
		return err
	}
	return o.rc.Flush()
}
