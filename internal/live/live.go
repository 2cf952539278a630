// Package live tells whoever shows the night that something has happened. It
// carries no content: each listener reads from the store what came after the
// last event that it showed, so that none can be skipped.
package live

import "sync"

// Hub wakes its listeners. The zero value is ready for use.
type Hub struct {
	mu   sync.Mutex
	wake chan struct{}
}

// Changed wakes everybody who waits.
func (h *Hub) Changed() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.wake != nil {
		close(h.wake)
		h.wake = nil
	}
}

// Wait gives a channel that closes at the next change. To miss nothing, take
// the channel first, then read, then wait.
func (h *Hub) Wait() <-chan struct{} {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.wake == nil {
		h.wake = make(chan struct{})
	}
	return h.wake
}
