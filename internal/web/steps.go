package web

import "sync"

// steps are the ways to a frame from those before it, as streams send them. Each
// is made once for all who take it, and when the first asks.
type steps struct {
	mu    sync.Mutex
	html  []byte
	mark  string
	parts []part
	known map[string]stood // the same, as the next frames need it
	whole []byte
	last  []step // those that a page may stand at, oldest first
}

// step is the way from an earlier frame.
type step struct {
	content string
	parts   map[string]stood
	event   []byte
}

// stepsKept is how many frames a page can be behind and still be sent only what
// has changed.
const stepsKept = 4

// partsEvent is the event that carries what has changed; its first line names the
// content that it changes.
const partsEvent = "parts"

// next gives the steps to the frame that follows; s is nil where it is the first.
func (s *steps) next(html []byte, mark string) *steps {
	n := &steps{html: html, mark: mark, parts: split(html)}
	n.known = remember(n.parts)
	if s == nil {
		return n
	}
	for _, before := range s.last {
		n.last = append(n.last, step{content: before.content, parts: before.parts})
	}
	if s.parts != nil && contentOf(s.mark) != contentOf(mark) {
		n.last = append(n.last, step{content: contentOf(s.mark), parts: s.known})
	}
	n.last = n.last[max(0, len(n.last)-stepsKept):]
	return n
}

// from gives the event that leads a page from the frame with a mark to this one:
// what has changed, or all of it.
func (s *steps) from(mark string) []byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	content := contentOf(mark)
	for i := range s.last {
		if one := &s.last[i]; one.content == content && s.parts != nil {
			if one.event == nil {
				one.event = encode(partsEvent, s.mark, content+"\n"+string(changes(s.html, s.parts, one.parts)))
			}
			return one.event
		}
	}
	if s.whole == nil {
		s.whole = encode("", s.mark, string(s.html))
	}
	return s.whole
}
