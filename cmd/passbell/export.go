package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"passbell/internal/corpus"
	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/inbox"
	"passbell/internal/match"
	"passbell/internal/night"
)

// withExport adds to `passbell read` the way to take a night's texts out, so
// that what was read wrong can become a test.
func (a *app) withExport(cmd *cobra.Command) *cobra.Command {
	var dir, date string
	cmd.Flags().StringVar(&dir, "export", "", "write a night's texts into this `folder` as a labelled night, numbers and names masked; labelled are those that a person put right")
	cmd.Flags().StringVar(&date, "date", "", "the date of the night to export (the current one by default)")
	cmd.Example += "\n  passbell read --export corrections"
	inner := cmd.RunE
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if dir == "" {
			return inner(cmd, args)
		}
		return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
			return a.export(cmd.Context(), h, n, dir)
		})
	}
	return cmd
}

func (a *app) export(ctx context.Context, h *gateway.House, n night.Night, dir string) error {
	orders, err := h.Desk.Orders(ctx, n.ID)
	if err != nil {
		return err
	}
	texts, err := h.Desk.Inbounds(ctx, n.ID)
	if err != nil {
		return err
	}
	set := corpus.Set{
		Name: strings.ToLower(h.Kitchen.Region) + "-" + n.Date.String(),
		Night: corpus.Night{
			Region: h.Kitchen.Region, Timezone: h.Kitchen.Zone.String(), Date: n.Date,
			FirstSlot: n.First, LastSlot: n.Last, Minutes: n.Every,
		},
	}
	refs := make(map[int64]string, len(orders))
	for _, o := range orders {
		refs[o.ID] = o.Ref
		set.Orders = append(set.Orders, corpus.Order{Ref: o.Ref, Name: o.Name, Phone: o.Phone, Slot: o.Slot, Note: o.Note})
	}
	labelled := 0
	for i, in := range texts {
		m := corpus.Message{ID: fmt.Sprintf("m%03d", i+1), At: in.At.In(h.Kitchen.Zone), From: in.From, Text: in.Text}
		if m.Want, err = label(in, refs); err != nil {
			return err
		}
		if m.Want != nil {
			labelled++
		}
		set.Messages = append(set.Messages, m)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	if err := corpus.Save(dir, corpus.Mask(set)); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s: %d texts, %d of them put right by a person. Numbers and names are masked; read the texts once more before you hand them on.\n",
		dir, len(set.Messages), labelled)
	return nil
}

// label gives what a person made of a text; nil where nobody put it right.
func label(in night.Inbound, refs map[int64]string) (*corpus.Want, error) {
	placed := in.State == night.Settled && strings.HasPrefix(in.Why, desk.PlacedBy)
	if len(in.Corrected) == 0 && !placed {
		return nil, nil
	}
	var u inbox.Understood
	if err := json.Unmarshal(in.Reading, &u); err != nil {
		return nil, fmt.Errorf("what was read of text %d: %w", in.ID, err)
	}
	if len(in.Corrected) > 0 {
		u.Vehicle = night.Vehicle{} // the whole of it was put right
		if err := json.Unmarshal(in.Corrected, &u); err != nil {
			return nil, fmt.Errorf("what was put right of text %d: %w", in.ID, err)
		}
	}
	v := u.Vehicle
	w := corpus.Want{
		Intent: string(u.Intent), Colour: v.Colours, Make: v.Make, Model: v.Model, Body: v.Body, Plate: v.Plate, PlatePart: v.PlatePart,
		Allergy: u.Allergy, Orders: []string{},
		Auto: slices.Contains([]match.Ground{match.ByNumber, match.ByRef, match.ByPlate, match.ByName, match.ByNothing}, u.Ground),
	}
	w.Person = in.State != night.Applied
	if u.Due != nil {
		w.Due = u.Due.String()
	}
	if u.To != nil {
		w.To = u.To.String()
	}
	for _, id := range in.Orders {
		w.Orders = append(w.Orders, refs[id])
	}
	slices.Sort(w.Orders)
	return &w, nil
}
