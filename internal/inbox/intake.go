package inbox

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"passbell/internal/night"
	"passbell/internal/together"
)

// Intake takes in the texts that come over one line, for the kitchens that share
// it. Texts of a kitchen that come at once share a round: one transaction, in which
// they are stored and acted on. Where they can't be acted on they are stored all the
// same, and acted on by themselves.
type Intake struct {
	write   WriteEach
	breath  time.Duration
	inboxes map[int64]*Inbox                   // by kitchen
	rounds  map[int64]*together.Work[*arrival] // of each kitchen; at nobody, of texts that may be for several
}

// nobody stands for several kitchens of which nobody knows which one is meant.
const nobody = 0

// WriteEach runs fn in each of the kitchens, in the order given and all in one
// transaction, which has all of them to itself.
type WriteEach func(ctx context.Context, kitchens []int64, fn func(kitchen int64, tx Tx) error) error

// NewIntake makes the intake of a line that no kitchen uses yet. After a round the
// next one waits for breath, so that texts which come thick and fast share rounds.
func NewIntake(write WriteEach, breath time.Duration) *Intake {
	t := &Intake{write: write, breath: breath, inboxes: map[int64]*Inbox{}, rounds: map[int64]*together.Work[*arrival]{}}
	t.rounds[nobody] = &together.Work[*arrival]{Breath: breath}
	return t
}

// Add has a kitchen use the line. It must not be called while texts come in.
func (t *Intake) Add(b *Inbox) {
	t.inboxes[b.c.Kitchen.ID] = b
	t.rounds[b.c.Kitchen.ID] = &together.Work[*arrival]{Breath: t.breath}
}

// arrival is one text on its way into the database.
type arrival struct {
	now    time.Time
	may    []int64         // kitchens that it may be for: one of them may have had it before
	copies []night.Inbound // one for each kitchen that it is for
	asked  bool            // whether it was held is known
	held   bool            // it came before, for whichever kitchen
	err    error
}

// Take stores a text for good in the kitchens that its copies name, in all of
// them or in none, and once however often it is delivered to any of those that it
// may be for; then it is acted on.
// A nil error means that it is stored: only that is acknowledged. What can't be
// acted on now is acted on by the next CatchUp.
func (t *Intake) Take(ctx context.Context, now time.Time, may []int64, copies ...night.Inbound) error {
	mine := &arrival{now: now, may: may, copies: copies}
	in := int64(nobody)
	if len(may) < 2 && len(copies) == 1 {
		in = copies[0].KitchenID // others have no part in it, and need not wait
	}
	err := t.rounds[in].Do(mine, func(all []*arrival) error {
		t.take(context.WithoutCancel(ctx), all) // others wait for it too
		return nil
	})
	if err = errors.Join(err, mine.err); err != nil {
		return fmt.Errorf("store a text: %w", err)
	}
	return nil
}

func (t *Intake) take(ctx context.Context, all []*arrival) {
	left, err := t.round(ctx, all, true)
	if err != nil && !errors.Is(err, night.ErrAway) {
		left = t.store(ctx, all)
	} else {
		for _, a := range all {
			a.err = err
		}
	}
	slices.Sort(left)
	for _, kitchen := range slices.Compact(left) {
		t.inboxes[kitchen].readNow(ctx)
	}
}

// store stores texts without acting on them, and gives the kitchens that have
// texts to be acted on. One that can't be stored does not keep out the others.
func (t *Intake) store(ctx context.Context, all []*arrival) (left []int64) {
	left, err := t.round(ctx, all, false)
	if err == nil || len(all) == 1 {
		for _, a := range all {
			a.err = err
		}
		return left
	}
	for _, a := range all {
		left = append(left, t.store(ctx, []*arrival{a})...)
	}
	return left
}

// round stores texts in one transaction, and acts on them where told to. It gives
// the kitchens that have texts which were not acted on.
func (t *Intake) round(ctx context.Context, all []*arrival, act bool) (left []int64, err error) {
	var kitchens []int64
	for _, a := range all {
		a.asked, a.held, a.err = false, false, nil
		for _, c := range a.copies {
			if !slices.Contains(kitchens, c.KitchenID) {
				kitchens = append(kitchens, c.KitchenID)
			}
		}
	}
	var kept []func()
	err = t.write(ctx, kitchens, func(kitchen int64, tx Tx) error {
		texts, err := t.fresh(ctx, tx, kitchen, all)
		if err != nil {
			return err
		}
		added, err := put(ctx, tx, texts, all[0].now)
		if err != nil || added == 0 {
			return err
		}
		done := false
		if act {
			var keep func()
			if done, keep, err = t.inboxes[kitchen].actOnNew(ctx, tx, added); err != nil {
				return err
			}
			kept = append(kept, keep)
		}
		if !done {
			left = append(left, kitchen)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, keep := range kept {
		keep()
	}
	return left, nil
}

// fresh gives the texts of a round for one kitchen that did not come before. A
// text that several kitchens may share may have been for others when it came.
func (t *Intake) fresh(ctx context.Context, tx Tx, kitchen int64, all []*arrival) ([]night.Inbound, error) {
	var out []night.Inbound
	for i, a := range all {
		at := slices.IndexFunc(a.copies, func(c night.Inbound) bool { return c.KitchenID == kitchen })
		if at < 0 {
			continue
		}
		if !a.asked && len(a.may) > 1 {
			a.asked = true
			a.held = slices.ContainsFunc(all[:i], func(b *arrival) bool { return sameText(a.copies[0], b.copies[0]) })
			if !a.held {
				var err error
				if a.held, err = tx.Held(ctx, a.may, a.copies[0].Adapter, a.copies[0].ProviderID); err != nil {
					return nil, err
				}
			}
		}
		if !a.held {
			out = append(out, a.copies[at])
		}
	}
	return out, nil
}

func sameText(a, b night.Inbound) bool { return a.Adapter == b.Adapter && a.ProviderID == b.ProviderID }

// put stores texts in a kitchen, and tells how many of them were new there.
func put(ctx context.Context, tx Tx, texts []night.Inbound, now time.Time) (int, error) {
	ids, err := tx.AddInbounds(ctx, texts)
	if err != nil {
		return 0, err
	}
	var came []night.Event
	for i, id := range ids {
		if id != 0 {
			came = append(came, night.Event{InboundID: id, At: now, Who: "customer", What: night.TextCame, Why: "by " + texts[i].Adapter})
		}
	}
	return len(came), tx.Log(ctx, came...)
}
