package desk

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"passbell/internal/night"
)

// Report is a night in numbers, and what is left to follow up.
type Report struct {
	Date      night.Date                 `json:"date"`
	Orders    int                        `json:"orders"`
	States    map[night.State]int        `json:"states"`
	Messages  map[night.MessageState]int `json:"messages"`
	Parts     int                        `json:"parts"` // SMS parts of the texts that went out
	Texts     int                        `json:"texts"` // from customers
	Waits     int                        `json:"waits"` // customers whose wait is known
	MeanWait  time.Duration              `json:"mean_wait_ns"`
	LongWait  time.Duration              `json:"longest_wait_ns"`
	FollowUps []FollowUp                 `json:"follow_ups"`
	Wiped     *time.Time                 `json:"wiped,omitempty"` // since when names and numbers are gone
}

// FollowUp is one thing that a person should still see to.
type FollowUp struct {
	Ref  string `json:"ref,omitempty"`
	Name string `json:"name,omitempty"`
	What string `json:"what"`
}

// Report sums a night up.
func (d *Desk) Report(ctx context.Context, nightID int64) (Report, error) {
	var s Sight
	var events []night.Event
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		if s.Night, err = tx.Night(ctx, nightID); err != nil {
			return err
		}
		if s.Orders, err = tx.Orders(ctx, nightID); err != nil {
			return err
		}
		if s.Messages, err = tx.Messages(ctx, nightID); err != nil {
			return err
		}
		if s.Texts, err = tx.Inbounds(ctx, nightID); err != nil {
			return err
		}
		events, err = tx.Events(ctx, nightID, 0, allEvents)
		return err
	})
	if err != nil {
		return Report{}, err
	}
	return MakeReport(s, events), nil
}

// MakeReport sums a night up; s.Texts holds all texts of the night.
func MakeReport(s Sight, events []night.Event) Report {
	r := Report{
		Date: s.Night.Date, Orders: len(s.Orders), Texts: len(s.Texts),
		States: map[night.State]int{}, Messages: map[night.MessageState]int{},
	}
	for _, e := range events {
		if e.What == night.NightWiped {
			r.Wiped = &e.At
		}
	}
	byID := make(map[int64]night.Order, len(s.Orders))
	for _, o := range s.Orders {
		byID[o.ID] = o
		r.States[o.State]++
		if missing := night.MissingLine(o.Items); missing != "" && o.State != night.Cancelled {
			r.follow(o, "to refund or make good: "+missing)
		}
		switch o.State {
		case night.NotCollected:
			if r.Wiped != nil {
				r.follow(o, "not collected")
				break
			}
			r.follow(o, "not collected: "+cmp.Or(o.PhoneTyped, "no number"))
		case night.Booked, night.Told, night.Reminded:
			r.follow(o, "still waiting: nobody marked what became of it")
		case night.Arrived:
			r.follow(o, "came and was never marked as handed out")
		case night.HandedOut, night.Cancelled:
		}
	}
	for _, m := range s.Messages {
		r.Messages[m.State]++
		if m.State.WentOut() && m.State != night.ByHand {
			r.Parts += m.Parts
		}
		switch m.State {
		case night.Failed, night.InDoubt, night.Missed:
			r.follow(byID[lead(m)], strings.TrimSuffix(fmt.Sprintf("%s %s: %s", m.Kind, m.State, m.Reason), ": "))
		case night.Due, night.Sending, night.Sent, night.Delivered, night.ByHand, night.Dropped:
		}
	}
	for _, in := range s.Texts {
		if in.State == night.Open {
			r.follow(byID[only(in.Orders)], "a text was never settled")
		}
	}
	r.wait(events)
	return r
}

func (r *Report) follow(o night.Order, what string) {
	r.FollowUps = append(r.FollowUps, FollowUp{Ref: o.Ref, Name: o.Name, What: what})
}

// wait measures from each arrival to the hand-out that followed.
func (r *Report) wait(events []night.Event) {
	since := map[int64]time.Time{}
	waits := map[int64]time.Duration{}
	for _, e := range events {
		switch {
		case e.What == night.StepUndone:
			delete(waits, e.OrderID)
		case e.To == night.Arrived:
			since[e.OrderID] = e.At
		case e.To == night.HandedOut:
			waits[e.OrderID] = e.At.Sub(since[e.OrderID])
		}
	}
	var sum time.Duration
	for _, w := range waits {
		sum += w
		r.LongWait = max(r.LongWait, w)
	}
	if r.Waits = len(waits); r.Waits > 0 {
		r.MeanWait = (sum / time.Duration(r.Waits)).Round(time.Second)
	}
}

// Write prints the report for a person.
func (r Report) Write(w io.Writer) error {
	tab := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tab, "The night of %s\n", r.Date.Format("Monday 2 January 2006"))
	fmt.Fprintf(tab, "orders\t%d\t%s\n", r.Orders, counts(r.States))
	fmt.Fprintf(tab, "texts to customers\t%d\t%s; %d SMS parts\n", total(r.Messages), counts(r.Messages), r.Parts)
	fmt.Fprintf(tab, "texts from customers\t%d\n", r.Texts)
	fmt.Fprintf(tab, "wait at the gate\t%s\tmean of %d, longest %s\n", r.MeanWait, r.Waits, r.LongWait.Round(time.Second))
	if r.Wiped != nil {
		fmt.Fprintf(tab, "wiped\tnames, numbers and texts are gone since %s\n", r.Wiped.Format("2 January 2006"))
	}
	if len(r.FollowUps) == 0 {
		fmt.Fprintln(tab, "nothing to follow up")
	} else {
		fmt.Fprintf(tab, "to follow up\t%d\n", len(r.FollowUps))
	}
	for _, f := range r.FollowUps {
		fmt.Fprintf(tab, "  %s\t%s\t%s\n", cmp.Or(f.Ref, "–"), f.Name, f.What)
	}
	return tab.Flush()
}

func total[K comparable](m map[K]int) int {
	sum := 0
	for _, n := range m {
		sum += n
	}
	return sum
}

func counts[K ~string](m map[K]int) string {
	keys := make([]K, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	parts := make([]string, len(keys))
	for i, k := range keys {
		parts[i] = fmt.Sprintf("%d %s", m[k], k)
	}
	return strings.Join(parts, ", ")
}
