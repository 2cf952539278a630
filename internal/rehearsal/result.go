package rehearsal

import (
	"context"
	"fmt"
	"io"
	"slices"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// Result is how a rehearsal ended.
type Result struct {
	Seed       uint64
	Report     desk.Report
	Mismatches []Mismatch // orders that did not end as their script says
	Violations []string   // what must always hold and did not
	Misreads   []Misread  // texts that passbell took for something else
}

// Mismatch is an order that did not end as its script says.
type Mismatch struct {
	Ref   string
	Name  string
	Want  string
	Got   string
	Texts []string // the last that its customer wrote
}

// OK tells whether the night went as it must.
func (r Result) OK() bool { return len(r.Mismatches) == 0 && len(r.Violations) == 0 }

// Report sums up the night so far.
func (r *Rehearsal) Report(ctx context.Context) (desk.Report, error) {
	return r.house.Desk.Report(ctx, r.night.ID)
}

// Invariants gives what must always hold and did not, up to now.
func (r *Rehearsal) Invariants() []string { return slices.Clone(r.watch.broken) }

// Result holds the end of the night against the script.
func (r *Rehearsal) Result(ctx context.Context) (Result, error) {
	out := Result{Seed: r.cast.seed, Violations: r.Invariants(), Misreads: r.watch.misreads}
	var err error
	if out.Report, err = r.Report(ctx); err != nil {
		return out, err
	}
	orders, err := r.house.Desk.Orders(ctx, r.night.ID)
	if err != nil {
		return out, err
	}
	inbounds, err := r.house.Desk.Inbounds(ctx, r.night.ID)
	if err != nil {
		return out, err
	}
	out.Violations = append(out.Violations, r.endOfTexts(inbounds)...)
	if len(orders) != len(r.cast.rows) {
		out.Violations = append(out.Violations, fmt.Sprintf("%d orders were booked, the night has %d", len(r.cast.rows), len(orders)))
	}
	for _, o := range orders {
		if have := r.watch.states[o.ID]; have != o.State {
			out.Violations = append(out.Violations, fmt.Sprintf("%s is %s, by its events it is %s", r.watch.who(o.ID), o.State, have))
		}
		mine, ok := r.people.byRef[o.Ref]
		if !ok || mine.want == o.State && mine.ends == o.Slot {
			continue
		}
		out.Mismatches = append(out.Mismatches, Mismatch{
			Ref: o.Ref, Name: o.Name, Want: ended(mine.want, mine.ends), Got: ended(o.State, o.Slot),
			Texts: r.textsOf(mine.party, inbounds),
		})
	}
	return out, nil
}

func ended(s night.State, slot night.Clock) string { return fmt.Sprintf("%s, slot %s", s, slot) }

// endOfTexts checks that each text was taken in once and settled.
func (r *Rehearsal) endOfTexts(inbounds []night.Inbound) []string {
	var out []string
	count := map[string]int{}
	for _, in := range inbounds {
		if _, ours := r.people.said[in.ProviderID]; !ours {
			continue
		}
		count[in.ProviderID]++
		if in.State == night.Fresh || in.State == night.Open {
			out = append(out, fmt.Sprintf("a text is still %s: %q", in.State, in.Text))
		}
	}
	for id, s := range r.people.said {
		if count[id] != 1 {
			out = append(out, fmt.Sprintf("a text was stored %d times: %q", count[id], s.text))
		}
		if r.watch.stops[id] {
			out = append(out, fmt.Sprintf("%q did not stop the texts", s.text))
		}
	}
	slices.Sort(out)
	return out
}

// textsOf gives the last texts of a customer.
func (r *Rehearsal) textsOf(p *party, inbounds []night.Inbound) []string {
	var out []string
	for _, in := range inbounds {
		if s, ours := r.people.said[in.ProviderID]; ours && s.party == p {
			out = append(out, in.Text)
		}
	}
	return out[max(0, len(out)-3):]
}

// Write prints the report and how the night went by its script.
func (r Result) Write(w io.Writer) error {
	if err := r.Report.Write(w); err != nil {
		return err
	}
	for _, m := range r.Mismatches {
		if _, err := fmt.Fprintf(w, "%s %s should have ended as %s and is %s; last texts: %q\n", m.Ref, m.Name, m.Want, m.Got, m.Texts); err != nil {
			return err
		}
	}
	for _, v := range r.Violations {
		if _, err := fmt.Fprintf(w, "this must never be: %s\n", v); err != nil {
			return err
		}
	}
	if n := len(r.Misreads); n > 0 {
		if _, err := fmt.Fprintf(w, "%d times passbell took a text for something else, and people put it right\n", n); err != nil {
			return err
		}
	}
	words := "every order ended as its script says"
	if !r.OK() {
		words = fmt.Sprintf("%d orders did not end as their script says, %d rules were broken", len(r.Mismatches), len(r.Violations))
	}
	_, err := fmt.Fprintf(w, "seed %d: %s\n", r.Seed, words)
	return err
}
