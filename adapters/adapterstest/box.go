package adapterstest

import (
	"bytes"
	"sync"

	"passbell/adapters"
)

// box is what a Sink has seen.
type box struct {
	mu       sync.Mutex
	inbound  []adapters.Inbound
	receipts []adapters.Receipt
}

// buffer collects a log from several goroutines.
type buffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}
