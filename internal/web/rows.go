package web

import (
	"html/template"
	"strings"
	"sync"

	"passbell/internal/night"
)

// nextRow is all that the line of somebody who is to come is made of.
type nextRow struct {
	Origin
	ID                   int64
	Ref, Name            string
	Place, About         string // see Ticket
	Said, Slot, Expected string
	Bag                  int
	State                night.State
	Packed               bool
	Allergy              string
}

// rows keeps the HTML of lines: what happens on a night changes one or two of
// some hundred.
type rows struct {
	mu   sync.Mutex
	made map[nextRow]template.HTML
}

// rowsRoom is how many lines are kept.
const rowsRoom = 1000

// lines gives the lines of those who are to come.
func (s *site) lines(tickets []Ticket) ([]template.HTML, error) {
	page, err := s.pages.of("pass")
	if err != nil {
		return nil, err
	}
	s.nextRow.mu.Lock()
	defer s.nextRow.mu.Unlock()
	out := make([]template.HTML, len(tickets))
	for i, t := range tickets {
		r := nextRow{
			Origin: t.Origin, ID: t.ID, Ref: t.Ref, Name: t.Name, Place: t.Place(), About: t.About(), Said: t.Said, Slot: t.Slot,
			Expected: t.Expected, Bag: t.Bag, State: t.State, Packed: t.Packed, Allergy: t.Allergy,
		}
		if out[i], err = s.nextRow.of(page, r); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// of makes a line, if it is not kept from before. Its caller holds the lock.
func (k *rows) of(page *template.Template, r nextRow) (template.HTML, error) {
	if html, ok := k.made[r]; ok {
		return html, nil
	}
	var b strings.Builder
	if err := page.ExecuteTemplate(&b, "nextRow", r); err != nil {
		return "", err
	}
	if k.made == nil || len(k.made) >= rowsRoom {
		k.made = map[nextRow]template.HTML{}
	}
	html := template.HTML(strings.Clone(b.String())) //nolint:gosec // rendered by html/template; it is kept, its builder's spare room is not
	k.made[r] = html
	return html, nil
}
