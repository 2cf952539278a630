package rehearsal

import (
	"context"
	"strings"
	"sync"
	"time"

	"passbell/adapters"
	"passbell/adapters/practice"
	"passbell/internal/night"
)

func newPeople(c Cast) people {
	p := people{
		byRef: map[string]*row{}, byPhone: map[string]*party{}, said: map[string]said{}, mishaps: &mishaps{done: map[string]bool{}},
	}
	for _, o := range c.rows {
		p.byRef[o.ref] = o
	}
	for _, x := range c.parties {
		if x.phone != "" {
			p.byPhone[x.phone] = x
		}
	}
	return p
}

// mishaps is what the network side touches while a text is being sent, in a
// goroutine of its own.
type mishaps struct {
	mu    sync.Mutex
	done  map[string]bool // numbers that have had their scripted mishap
	heard []practice.Text // texts that reached phones and were not yet noticed
}

// fateOf gives the scripted fate of a text; where it says false the odds decide.
func (p *people) fateOf(m adapters.Message) (practice.Fate, bool) {
	who, ok := p.byPhone[m.To]
	if !ok || who.fate == asDrawn {
		return practice.Fate{}, false
	}
	if who.fate == neverTakes {
		return practice.Fate{Outcome: adapters.Permanent, Reason: "this number is not in service"}, true
	}
	p.mishaps.mu.Lock()
	defer p.mishaps.mu.Unlock()
	if p.mishaps.done[m.To] {
		return practice.Fate{}, false
	}
	p.mishaps.done[m.To] = true
	if who.fate == losesFirst {
		return practice.Fate{Outcome: adapters.Unknown, Taken: true, Reason: "the line broke before the answer came: it may have gone out"}, true
	}
	return practice.Fate{Receipts: []practice.Later{{After: 5 * time.Hour, Status: adapters.Delivered}}}, true
}

// hear keeps what reached a phone until somebody looks at it.
func (p *people) hear(t practice.Text) {
	p.mishaps.mu.Lock()
	defer p.mishaps.mu.Unlock()
	p.mishaps.heard = append(p.mishaps.heard, t)
}

func (p *people) takeHeard() []practice.Text {
	p.mishaps.mu.Lock()
	defer p.mishaps.mu.Unlock()
	out := p.mishaps.heard
	p.mishaps.heard = nil
	return out
}

// say sends a customer's text.
func (r *Rehearsal) say(p *party, from string, l line) {
	id := r.network.Say(from, l.text)
	r.people.said[id] = said{l, p}
	name := "a stranger"
	if p != nil {
		name = p.rows[0].name
		if from != p.phone {
			name = "somebody for " + name
		}
	}
	r.line(name, "writes: "+l.text)
}

// sayLater plans a customer's text.
func (r *Rehearsal) sayLater(at time.Time, p *party, from string, l line) {
	r.agenda.plan(at, func(context.Context) error {
		r.say(p, from, l)
		return nil
	})
}

// expect plans what a customer does on the night.
func (r *Rehearsal) expect(p *party, day func(int, night.Clock) time.Time) {
	if !p.comes {
		return
	}
	slot := day(0, p.rows[0].ends)
	there := slot.Add(p.arrival)
	if p.afterAll {
		there = r.givenUpAt().Add(4*time.Minute + 4*p.carry)
	}
	for _, l := range p.beforehand {
		if at := slot.Add(l.after); at.Before(there) {
			r.sayLater(at, p, p.from, l)
		}
	}
	for _, l := range p.onArrival {
		r.sayLater(there.Add(l.after), p, p.from, l)
	}
	r.agenda.plan(there, func(context.Context) error {
		p.present = true
		r.line(p.rows[0].name, "is at the gate")
		return nil
	})
	r.agenda.plan(there.Add(p.patience), func(context.Context) error {
		if p.served || p.beingServed {
			return nil
		}
		if len(p.onArrival) > 0 {
			r.watch.misread(p.rows[0].name, p.onArrival[0].text, "nobody came out, so they came to the door")
		}
		r.line(p.rows[0].name, "comes to the door")
		r.serve(p, time.Minute)
		return nil
	})
}

// notice lets customers react to the texts that reached them, and looks at each
// text with a critical eye.
func (r *Rehearsal) notice(ctx context.Context) error {
	heard := r.people.takeHeard()
	if len(heard) == 0 {
		return nil
	}
	messages, err := r.house.Desk.Messages(ctx, r.night.ID)
	if err != nil {
		return err
	}
	orders, err := r.house.Desk.Orders(ctx, r.night.ID)
	if err != nil {
		return err
	}
	byKey := make(map[string]night.Message, len(messages))
	for _, m := range messages {
		byKey[keyOf(m.ID)] = m
	}
	for _, t := range heard {
		key, _, _ := strings.Cut(t.Key, "-")
		m := byKey[key]
		r.watch.sent(t, m, orders, r.house.Kitchen, r.night)
		if p := r.people.byPhone[t.To]; p != nil {
			r.react(p, m.Kind)
		}
	}
	return nil
}

// react plans what a customer writes back.
func (r *Rehearsal) react(p *party, kind night.MessageKind) {
	now := r.clock.Now()
	switch {
	case kind == night.Instructions && !p.told:
		p.told = true
		if p.onTold != nil {
			r.sayLater(now.Add(p.onTold.after), p, p.phone, *p.onTold)
		}
	case kind == night.Reminder && !p.reminded:
		p.reminded = true
		if p.onRemind != nil {
			r.sayLater(now.Add(p.onRemind.after), p, p.phone, *p.onRemind)
		}
	}
}
