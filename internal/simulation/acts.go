package simulation

import (
	"context"
	"errors"

	"passbell/internal/desk"
	"passbell/internal/night"
)

// act does one thing that the cook does besides her usual rounds.
func (s *sim) act(ctx context.Context, in *instance, a act) error {
	if len(s.sc.orders) == 0 {
		return nil
	}
	b, other := s.sc.orders[a.order%len(s.sc.orders)], s.sc.orders[a.other%len(s.sc.orders)]
	s.happened(a.what, true)
	by := s.named(b.ref)
	var err error
	switch a.what {
	case "move":
		_, err = in.desk.Move(ctx, by, a.slot)
	case "move back":
		_, err = in.desk.Move(ctx, by, a.slot)
		if err == nil {
			_, err = in.desk.Move(ctx, by, b.slot)
		}
	case "move all":
		err = in.desk.MoveAll(ctx, s.night.ID, []string{b.ref, other.ref}, a.slot, cook)
	case "cancel":
		_, err = in.desk.Cancel(ctx, by)
	case "cancel and undo":
		if _, err = in.desk.Cancel(ctx, by); err == nil {
			_, err = in.desk.Undo(ctx, by)
		}
	case "undo":
		_, err = in.desk.Undo(ctx, by)
	case "here":
		_, err = in.desk.Here(ctx, by)
	case "here and undo":
		if _, err = in.desk.Here(ctx, by); err == nil {
			_, err = in.desk.Undo(ctx, by)
		}
	case "out":
		_, err = in.desk.Out(ctx, by)
	case "absent":
		_, err = in.desk.Absent(ctx, by)
	case "told":
		_, err = in.desk.Told(ctx, by)
	default:
		err = s.actOnTexts(ctx, in, a, b, other)
	}
	return err
}

// actOnTexts does what changes who is told what.
func (s *sim) actOnTexts(ctx context.Context, in *instance, a act, b, other *booking) error {
	by := s.named(b.ref)
	var err error
	switch a.what {
	case "resend":
		_, err = in.desk.Resend(ctx, by, "")
	case "resend elsewhere":
		_, err = in.desk.Resend(ctx, by, number(s.k.Region, a.number))
	case "all again":
		_, err = in.desk.SendDoubtfulAgain(ctx, s.night.ID, cook)
	case "by hand":
		var messages []night.Message
		if messages, err = in.desk.Messages(ctx, s.night.ID); err == nil && len(messages) > 0 {
			err = in.desk.ByHand(ctx, messages[a.other%len(messages)].ID, cook)
		}
	case "behind":
		_, err = in.desk.RunBehind(ctx, s.night.ID, a.slot, a.last, a.minutes, cook)
	case "off":
		err = in.desk.CallOff(ctx, s.night.ID, cook, "the oven broke")
	case "off and on":
		if err = in.desk.CallOff(ctx, s.night.ID, cook, "the oven broke"); err == nil {
			err = in.desk.Resume(ctx, s.night.ID, cook, "mended")
		}
	case "place", "slots":
		err = s.changeNight(ctx, in, a)
	case "number":
		_, err = in.desk.SetNumber(ctx, by, number(s.k.Region, a.number))
	case "collector":
		_, err = in.desk.SetCollector(ctx, by, "Wren")
	case "book":
		err = s.load(ctx, in, a.minutes > 10, desk.OpenBook)
	case "whole book":
		err = s.load(ctx, in, a.minutes > 10, desk.WholeBook)
	case "close":
		if !s.clock().Before(s.sc.closeAt) {
			_, err = in.desk.Close(ctx, s.night.ID, cook)
		}
	case "plan":
		err = in.desk.Replan(ctx, s.night.ID)
	default:
		err = s.mark(ctx, in, a, b, other)
	}
	return err
}

// changeNight gives the night another place or other slots.
func (s *sim) changeNight(ctx context.Context, in *instance, a act) error {
	nights, err := in.desk.Nights(ctx)
	if err != nil || len(nights) == 0 {
		return err
	}
	n := nights[0]
	if a.what == "place" {
		n.Place = "The Old Dairy, Larkfield"
		if a.minutes > 15 {
			n.Place = s.sc.night.Place
		}
	} else {
		n.Last = n.Last.Add(n.Every)
		if n.Last < n.First || n.Validate(s.k.Zone) != nil {
			return errors.New("the night can't be longer")
		}
	}
	return in.desk.ChangeNight(ctx, n, cook)
}
