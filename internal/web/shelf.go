package web

import (
	"crypto/rand"
	"sync"
	"time"
)

// upload is an order book that somebody looks at before it is loaded.
type upload struct {
	name    string
	data    []byte
	mapping map[string]string
	at      time.Time
	done    *notice // what loading it said; set once it is loaded
}

// shelf keeps uploads for some minutes, each under a key that nobody guesses.
// It is small: a book is looked at and loaded, or forgotten.
type shelf struct {
	mu   sync.Mutex
	kept map[string]upload
}

const (
	// maxFile is the largest order book that the pages take. The shell takes
	// larger ones; no night has them.
	maxFile = 8 << 20
	// shelfRoom is how many uploads are kept, shelfTime for how long.
	shelfRoom = 6
	shelfTime = 20 * time.Minute
)

// put keeps an upload and gives its key. Where there is no room the oldest goes.
func (s *shelf) put(u upload) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sweep(u.at)
	if s.kept == nil {
		s.kept = map[string]upload{}
	}
	if len(s.kept) >= shelfRoom {
		oldest := ""
		for k, have := range s.kept {
			if oldest == "" || have.at.Before(s.kept[oldest].at) {
				oldest = k
			}
		}
		delete(s.kept, oldest)
	}
	key := rand.Text()
	s.kept[key] = u
	return key
}

// get gives an upload that is still kept.
func (s *shelf) get(key string, now time.Time) (upload, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sweep(now)
	u, ok := s.kept[key]
	return u, ok
}

// set replaces an upload that is still kept.
func (s *shelf) set(key string, u upload) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.kept[key]; ok {
		s.kept[key] = u
	}
}

func (s *shelf) sweep(now time.Time) {
	for k, u := range s.kept {
		if now.Sub(u.at) > shelfTime {
			delete(s.kept, k)
		}
	}
}
