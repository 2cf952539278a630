package web

import (
	"crypto/rand"
	"sync"
	"time"
)

// once remembers the keys of acts that must not be done twice: a page carries a
// key, and whoever comes with it again is told what was done.
type once struct {
	mu   sync.Mutex
	said map[string]said
}

type said struct {
	notice notice
	at     time.Time
}

const (
	onceTime = 12 * time.Hour // longer than a device is without a line on a night
	onceRoom = 4096
)

// newKey gives a key that nobody guesses.
func newKey() string { return rand.Text() }

// do runs fn unless the key was used before; an act that failed may be tried
// again. No two acts with a key run at once.
func (o *once) do(key string, now time.Time, fn func() (notice, error)) (notice, error) {
	if key == "" {
		return fn()
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if before, ok := o.said[key]; ok {
		return before.notice, nil
	}
	n, err := fn()
	if err != nil {
		return n, err
	}
	for k, s := range o.said {
		if len(o.said) < onceRoom && now.Sub(s.at) < onceTime {
			continue
		}
		delete(o.said, k)
	}
	if o.said == nil {
		o.said = map[string]said{}
	}
	o.said[key] = said{n, now}
	return n, nil
}
