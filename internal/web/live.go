package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"passbell/internal/fault"
	"passbell/internal/live"
	"passbell/internal/night"
)

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
	_, err := k.now(ctx, s, key)
	if away(ctx, err) {
		s.fail(w, r, err)
		return
	}
	out, failed := openStream(w)
	if failed != nil {
		s.fail(w, r, failed)
		return
	}
	if err != nil {
		s.notMade(err)
		return
	}
	line, _, err := out.rc.Hijack()
	if err != nil {
		s.notMade(err)
		return
	}
	hangUp := func() { _ = line.Close() } // whoever reads or writes there finds out
	defer hangUp()
	defer context.AfterFunc(ctx, hangUp)()
	p := &screen{site: s, page: k, line: line, have: have}
	turn := live.NewTurn(func() {
		var err error
		defer func() {
			if err = errors.Join(err, fault.Caught(recover(), s.Log)); err != nil {
				hangUp()
			}
		}()
		err = p.catchUp(ctx)
	})
	defer k.join(ctx, s, key, turn)()
	p.attend(turn)
}

// screen is an open page that shows what is true. Its stream has the connection
// to itself, and takes a goroutine besides the one that waits for its reader to
// go only while something is written.
type screen struct {
	site *site
	page *kept
	line net.Conn
	due  atomic.Bool // it is to hear a sign of life
	have string      // the mark of what it shows
}

// attend has signs of life sent until the reader has gone, who sends nothing else.
func (p *screen) attend(turn *live.Turn) {
	one := make([]byte, 1)
	for {
		p.due.Store(true)
		turn.Take()
		err := p.line.SetReadDeadline(time.Now().Add(p.site.Pace.Beat))
		for err == nil {
			_, err = p.line.Read(one)
		}
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			return
		}
	}
}

// catchUp sends what there is to send. After an error the stream ends, with
// net.ErrClosed where the page can't be made or is not for its reader any more:
// they come back and are told why.
func (p *screen) catchUp(ctx context.Context) error {
	if p.page.lost.Load() {
		return net.ErrClosed
	}
	if p.due.Swap(false) {
		if _, ok, err := p.site.helping(ctx); !ok || err != nil {
			return net.ErrClosed
		}
		if err := p.line.SetWriteDeadline(time.Now().Add(p.site.Pace.Stuck)); err != nil {
			return err
		}
		if err := p.site.beat(ctx, p.line); err != nil {
			return err
		}
	}
	f := p.page.last.Load()
	if contentOf(f.mark) == contentOf(p.have) {
		return nil
	}
	event := f.steps.from(p.have)
	p.have = f.mark
	_, err := p.line.Write(event)
	return err
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

func (s *site) beat(ctx context.Context, line io.Writer) error {
	now := s.Now()
	b, err := json.Marshal(beat{At: s.clock(now), Now: now.UnixMilli(), Version: s.version() + nightMark(ctx)})
	if err != nil {
		return err
	}
	_, err = line.Write(encode("beat", "", string(b)))
	return err
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
	h.Set("X-Accel-Buffering", "no")       // proxies would hold it back
	h.Set("Transfer-Encoding", "identity") // it ends with its connection, so nothing goes around its bytes
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
	b.Grow(len("event: \nid: \n\n\n") + len(name) + len(id) + len(data) + len("data: ")*(1+strings.Count(data, "\n")))
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
