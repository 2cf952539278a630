package live

import "sync/atomic"

// Turn has something done by one goroutine at a time.
type Turn struct {
	do    func()
	asked atomic.Int64 // since it was last found that all was done
}

// NewTurn makes a turn that calls do.
func NewTurn(do func()) *Turn { return &Turn{do: do} }

// Take calls do, but where another goroutine is in it, has that one call it once
// more instead of waiting for it.
func (t *Turn) Take() {
	if t.asked.Add(1) > 1 {
		return
	}
	for {
		asked := t.asked.Load()
		t.do()
		if t.asked.CompareAndSwap(asked, 0) {
			return
		}
	}
}

// All has each of the turns taken, soon. As many go through them as there are
// processors, and another one as soon as one is held up, so that who is slow
// holds up nobody. It doesn't wait for any of them.
func All(turns []*Turn) {
	var next atomic.Int64
	var ready atomic.Bool // another goroutine stands by
	var through func()
	through = func() {
		ready.Store(false)
		for {
			i := int(next.Add(1)) - 1
			if i >= len(turns) {
				return
			}
			if ready.CompareAndSwap(false, true) {
				go through()
			}
			turns[i].Take()
		}
	}
	go through()
}
