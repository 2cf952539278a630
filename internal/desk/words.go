package desk

import (
	"context"
	"fmt"
	"maps"
	"strings"
	"sync"
	"time"

	"passbell/internal/night"
	"passbell/internal/wording"
)

// TextTx keeps the kitchen's own words.
type TextTx interface {
	OwnTexts(ctx context.Context) ([]night.OwnText, error)
	SaveOwnText(ctx context.Context, o night.OwnText) error
	DropOwnText(ctx context.Context, name string) (bool, error)
}

// Words is one of the texts to customers as it now stands.
type Words struct {
	Name string
	Text string // as it is written, its fields not filled in
	From Source
	// Under is what stands there once the saved words are taken back, and Below
	// where that is from. Both are as Text and From where nothing is saved.
	Under string
	Below Source
	At    time.Time // when it was saved; zero where it is not
	By    string
	// Wrong says why saved words can't be used any more: those below stand in.
	Wrong error
}

// Source says where words come from.
type Source string

// The sources of words: those below lie under those above.
const (
	Saved      Source = "saved"
	Configured Source = "in passbell.toml"
	BuiltIn    Source = "built in"
)

// said remembers the set of texts that the saved words last gave, so that none is
// read twice. What counts is what the database says: the words are read in each
// transaction.
type said struct {
	mu  sync.Mutex
	own map[string]string
	set *wording.Set
}

// texts gives the texts as they stand in this transaction. Saved words that can't
// be used any more, say after a change of passbell, are passed over: a customer
// gets the text that lies under them.
func (d *Desk) texts(ctx context.Context, tx TextTx) (*wording.Set, error) {
	list, err := tx.OwnTexts(ctx)
	if err != nil || len(list) == 0 {
		return d.base, err
	}
	own := make(map[string]string, len(list))
	for _, o := range list {
		own[o.Name] = o.Words
	}
	d.said.mu.Lock()
	defer d.said.mu.Unlock()
	if d.said.set == nil || !maps.Equal(d.said.own, own) {
		d.said.set, _ = d.base.With(own) // Words shows what is wrong with which
		d.said.own = own
	}
	return d.said.set, nil
}

// Words lists the texts to customers as they now stand.
func (d *Desk) Words(ctx context.Context) ([]Words, error) {
	var own []night.OwnText
	err := d.store.Read(ctx, func(tx Tx) (err error) {
		own, err = tx.OwnTexts(ctx)
		return err
	})
	if err != nil {
		return nil, err
	}
	byName := make(map[string]night.OwnText, len(own))
	for _, o := range own {
		byName[o.Name] = o
	}
	var out []Words
	for _, name := range wording.Names() {
		w := Words{Name: name, Under: d.base.Source(name), Below: BuiltIn}
		if d.base.Own(name) {
			w.Below = Configured
		}
		w.Text, w.From = w.Under, w.Below
		if o, ok := byName[name]; ok {
			w.Text, w.From, w.At, w.By = o.Words, Saved, o.At, o.By
			w.Wrong = wording.Check(name, o.Words, d.base.Lang())
		}
		out = append(out, w)
	}
	return out, nil
}

// SaveWords puts a kitchen's own words in the place of a text, for every text
// that is planned from now on. Texts that wait and were not tried yet are written
// anew; one that was tried stays as it is. It gives how many were. Words that are
// those which lie under the saved ones take these back.
func (d *Desk) SaveWords(ctx context.Context, name, text, who string) (int, error) {
	text = strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n"))
	if err := wording.Check(name, text, d.base.Lang()); err != nil {
		return 0, err
	}
	if text == strings.TrimSpace(d.base.Source(name)) {
		return d.ResetWords(ctx, name, who)
	}
	return d.reword(ctx, name, who, "the text “%s” has other words", func(tx Tx, now time.Time) (bool, error) {
		own, err := tx.OwnTexts(ctx)
		if err != nil {
			return false, err
		}
		for _, o := range own {
			if o.Name == name && o.Words == text {
				return false, nil
			}
		}
		return true, tx.SaveOwnText(ctx, night.OwnText{Name: name, Words: text, At: now, By: who})
	})
}

// ResetWords takes saved words back. What waits is written anew, as SaveWords
// does.
func (d *Desk) ResetWords(ctx context.Context, name, who string) (int, error) {
	if d.base.Source(name) == "" {
		return 0, wording.Check(name, "", d.base.Lang())
	}
	return d.reword(ctx, name, who, "the text “%s” has its former words back", func(tx Tx, _ time.Time) (bool, error) {
		return tx.DropOwnText(ctx, name)
	})
}

// reword changes the words of a text, says so in the history, and writes what
// waits anew.
func (d *Desk) reword(ctx context.Context, name, who, format string, change func(tx Tx, now time.Time) (bool, error)) (int, error) {
	waiting := 0
	err := d.write(ctx, func(tx Tx, now time.Time) error {
		waiting = 0
		changed, err := change(tx, now)
		if err != nil || !changed {
			return err
		}
		nights, err := tx.Nights(ctx)
		if err != nil {
			return err
		}
		for _, n := range nights {
			count, err := d.rewordNight(ctx, tx, n, name, now)
			if err != nil {
				return err
			}
			waiting += count
		}
		current, _ := night.Current(nights, now, d.kitchen.Zone) // none is no reason not to say it
		why := fmt.Sprintf(format, name)
		if waiting > 0 {
			why += fmt.Sprintf(", %d that wait too", waiting)
		}
		return tx.Log(ctx, night.Event{NightID: current.ID, At: now, Who: who, What: night.WordsChanged, Why: why})
	})
	return waiting, err
}

// Waiting counts the texts of a name that other words would rewrite, and those
// that were tried already and would stay as they are.
func (d *Desk) Waiting(ctx context.Context, name string) (fresh, tried int, err error) {
	err = d.store.Read(ctx, func(tx Tx) error {
		fresh, tried = 0, 0
		nights, err := tx.Nights(ctx)
		if err != nil {
			return err
		}
		now := d.now().UTC()
		for _, n := range nights {
			waiting, again, err := d.waiting(ctx, tx, n, name, now)
			if err != nil {
				return err
			}
			fresh, tried = fresh+len(waiting), tried+again
		}
		return nil
	})
	return fresh, tried, err
}

// waiting gives the texts of a name that wait and were not tried yet, and counts
// those that were. An answer to a customer and a delay are not among them: they
// go at once.
func (d *Desk) waiting(ctx context.Context, tx Tx, n night.Night, name string, now time.Time) (fresh []night.Message, tried int, err error) {
	if n.ClosedAt.IsZero() || n.SlotAt(n.Last, d.kitchen.Zone).Add(graceAfterNight).Before(now) {
		return nil, 0, nil
	}
	all, err := tx.Messages(ctx, n.ID)
	for _, m := range all {
		switch {
		case m.State != night.Due || m.Kind == night.Delay || wording.NameFor(m.Kind) != name:
		case m.Attempt > 0:
			tried++
		default:
			fresh = append(fresh, m)
		}
	}
	return fresh, tried, err
}

// rewordNight writes the waiting texts of a name anew. Nothing else about them
// changes, so nobody gets one who would not have.
func (d *Desk) rewordNight(ctx context.Context, tx Tx, n night.Night, name string, now time.Time) (int, error) {
	waiting, _, err := d.waiting(ctx, tx, n, name, now)
	if err != nil || len(waiting) == 0 {
		return 0, err
	}
	orders, err := tx.Orders(ctx, n.ID)
	if err != nil {
		return 0, err
	}
	write, err := d.writer(ctx, tx, n, orders)
	if err != nil {
		return 0, err
	}
	count := 0
	for _, m := range waiting {
		before := m.Text
		if err := write(&m); err != nil {
			return 0, err
		}
		if m.Text == before {
			continue
		}
		due, err := tx.Reword(ctx, m)
		if err != nil {
			return 0, err
		}
		if due {
			count++
			d.foretell(night.MessageChanged, m)
		}
	}
	return count, nil
}
