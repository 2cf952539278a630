package rehearsal

import (
	"context"
	"errors"
	"fmt"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// Doing is a kind of thing that somebody in the kitchen does on the night.
type Doing string

// What is done in a kitchen.
const (
	Packed Doing = "packed"
	Here   Doing = "here"
	Out    Doing = "handed out"
	Undo   Doing = "undo"
	Cancel Doing = "cancel"
	Absent Doing = "not collected"
	Move   Doing = "move"
	Place  Doing = "place" // a text is about an order
	Read   Doing = "read"  // a text needs nothing more
	Told   Doing = "told"  // by a person, what a text should have said
)

// Task is one thing to be done, and by whom.
type Task struct {
	Do            Doing
	Who, Why      string
	Ref           string      // of the order, where it is about one
	Text, Message int64       // of Place and Read, of Told
	Slot          night.Clock // of Move
}

// Hands do a task. At the desk is how they do it without pages: a test that
// works the pass in a browser presses buttons instead, and leaves to the desk
// what it has no buttons for.
type Hands func(ctx context.Context, t Task, atTheDesk func(context.Context) error) error

// do has the kitchen's hands do a task.
func (r *Rehearsal) do(ctx context.Context, t Task) error {
	return r.hands(ctx, t, func(ctx context.Context) error { return r.atTheDesk(ctx, t) })
}

// atTheDesk does a task by a call. What somebody else has done already is passed
// over: on a live pass a visitor may be quicker.
func (r *Rehearsal) atTheDesk(ctx context.Context, t Task) error {
	a := desk.Act{Night: r.night.ID, Ref: t.Ref, Who: t.Who, Why: t.Why}
	var err error
	switch d := r.house.Desk; t.Do {
	case Packed:
		_, err = d.Packed(ctx, a, true)
		return err
	case Here:
		_, err = d.Here(ctx, a)
	case Out:
		_, err = d.Out(ctx, a)
	case Undo:
		_, err = d.Undo(ctx, a)
	case Cancel:
		_, err = d.Cancel(ctx, a)
	case Absent:
		_, err = d.Absent(ctx, a)
	case Move:
		_, err = d.Move(ctx, a, t.Slot)
		return err
	case Place:
		return r.house.Inbox.Place(ctx, t.Text, t.Ref, t.Who)
	case Read:
		return d.Settle(ctx, t.Text, t.Who)
	case Told:
		return d.ByHand(ctx, t.Message, t.Who)
	default:
		return fmt.Errorf("nobody knows how to do %q", t.Do)
	}
	var illegal *night.StepError
	if errors.As(err, &illegal) || errors.Is(err, desk.ErrNothingToUndo) {
		return nil
	}
	return err
}
