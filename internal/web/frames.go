package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"passbell/internal/fault"
	"passbell/internal/live"
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
	// All streams look at these at once, so no lock is before them.
	last atomic.Pointer[frame] // nil before the first rendering
	lost atomic.Bool           // it could not be made when they were told last

	mu      sync.Mutex
	changed <-chan struct{}         // closes when something happens since the last rendering
	making  chan struct{}           // closes when the rendering that is under way has ended; nil where none is
	turn    int                     // counts the contents that it had
	streams map[*live.Turn]struct{} // those who show it
	leave   func()                  // ends the following when nobody shows it any more
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
	f.kept[key] = &kept{streams: map[*live.Turn]struct{}{}}
	return f.kept[key]
}

// lookAt gives the page at an address and who looks at it, which is the same for
// as long as a request lasts.
func (s *site) lookAt(ctx context.Context, to string) frameKey {
	return frameKey{to, s.limited(ctx), chosenNight(ctx)}
}

// frame gives a page as it now is.
func (s *site) frame(ctx context.Context, key frameKey) (frame, error) {
	f, err := s.frames.of(key).now(ctx, s, key)
	if err != nil {
		return frame{}, err
	}
	return *f, nil
}

// lastFrame gives a page as it last was known, with the time of that; ok is
// false where nobody looked at it in the last hours.
func (s *site) lastFrame(key frameKey) (f frame, ok bool) {
	last := s.frames.of(key).last.Load()
	if last == nil || s.Now().Sub(last.at) >= lastFor {
		return frame{}, false
	}
	return *last, true
}

// now gives the rendering if it still holds, and makes it anew if not. Whoever
// comes while it is made waits for that; where it failed, the next one tries.
func (k *kept) now(ctx context.Context, s *site, key frameKey) (*frame, error) {
	for {
		k.mu.Lock()
		last, making := k.last.Load(), k.making
		holds := last != nil && !closed(k.changed) && s.Now().Sub(last.at).Abs() < keepFor
		if !holds && making == nil {
			k.making = make(chan struct{})
		}
		k.mu.Unlock()
		switch {
		case holds:
			return last, nil
		case making == nil:
			return k.anew(ctx, s, key, last)
		}
		select {
		case <-making:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// anew makes the rendering that follows the last one, and wakes at once all who
// wait for it. Only whoever has set making calls it.
func (k *kept) anew(ctx context.Context, s *site, key frameKey, last *frame) (f *frame, err error) {
	// The channel first, then the reading: what happens in between makes the
	// frame out of date at once.
	changed := s.Live.Wait()
	defer func() {
		err = errors.Join(err, fault.Caught(recover(), s.Log))
		k.mu.Lock()
		defer k.mu.Unlock()
		if f != nil {
			if last == nil || contentOf(f.mark) != contentOf(last.mark) {
				k.turn++
			}
			k.last.Store(f)
			k.changed = changed
		}
		close(k.making)
		k.making = nil
	}()
	var before *steps
	room := 0
	if last != nil { // it can stand in for what is not there in time
		var done context.CancelFunc
		ctx, done = context.WithTimeout(ctx, patience)
		defer done()
		before, room = last.steps, len(last.html)
	}
	now := s.Now()
	v, err := s.view(ctx, key.to, key.limited)
	if err != nil {
		return nil, err
	}
	html, err := s.body(v, room)
	if err != nil {
		return nil, err
	}
	v.Data = nil // what it was made of is in the HTML, and the frame is kept
	sum := sha256.Sum256(html)
	mark := fmt.Sprintf("%d.%s", v.Event, hex.EncodeToString(sum[:6]))
	return &frame{view: v, html: html, mark: mark, at: now, steps: before.next(html, mark)}, nil
}

// shown tells whether a stream shows the page.
func (k *kept) shown() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return len(k.streams) > 0
}

// join has a stream show the page, until it calls what it gets. One goroutine
// looks for all of them: each would otherwise wake for every change, and for the
// clock, to find who makes the page.
func (k *kept) join(ctx context.Context, s *site, key frameKey, stream *live.Turn) (leave func()) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.streams) == 0 {
		// It outlives the stream that came first where others have come since.
		ctx, stop := context.WithCancel(context.WithoutCancel(ctx))
		k.leave = stop
		k.lost.Store(false)
		go k.follow(ctx, s, key)
	}
	k.streams[stream] = struct{}{}
	return func() {
		k.mu.Lock()
		defer k.mu.Unlock()
		delete(k.streams, stream)
		if len(k.streams) == 0 {
			k.leave()
		}
	}
}

// follow makes the page anew whenever something has happened or the clock may have
// changed it, and tells the streams where that gave another content, or where it
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
		news := k.tell(&told, err)
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

// tell has the streams catch up where the page has another content than they were
// told of, or could not be made; news says whether it did.
func (k *kept) tell(told *int, err error) (news bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if err == nil && k.turn == *told {
		return false
	}
	*told = k.turn
	k.lost.Store(err != nil)
	live.All(slices.Collect(maps.Keys(k.streams)))
	return true
}

func closed(ch <-chan struct{}) bool {
	select {
	case <-ch:
		return true
	default:
		return false
	}
}
