package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"passbell/internal/gateway"
	"passbell/internal/night"
	"passbell/internal/paper"
	"passbell/internal/phone"
	"passbell/internal/web"
)

func newSheetCmd(a *app) *cobra.Command {
	var labels, changes, sign bool
	var to, date, since, language string
	cmd := &cobra.Command{
		Use:   "sheet",
		Short: "Print the night: the order sheet, bag labels, what changed, the sign at the gate",
		Long: `Make a PDF to print: the order sheet by slot, or labels for the bags, or only
what changed since the last sheet was made (the time is in its header), or a
sign for the gate. Making one changes nothing.`,
		Example: "  passbell sheet -o sheet.pdf\n  passbell sheet --changes --since 16:20 -o changes.pdf",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if changes != (since != "") {
				return &usageError{errors.New("--changes and --since go together: --since is the time in the header of the last sheet")}
			}
			return a.onNight(cmd.Context(), date, func(h *gateway.House, n night.Night) error {
				if language == "" {
					language = h.Config.Kitchen.Language
				}
				in, err := web.PaperTongue(h.Kitchen.Region, language)
				if err != nil {
					return err
				}
				if sign {
					if h.Kitchen.Number == "" {
						return errors.New("the kitchen has no number that customers write to, so the sign would lead nowhere: set kitchen.number in passbell.toml")
					}
					return a.writePDF(to, func(w io.Writer) error {
						return paper.SignPDF(w, h.Kitchen.Name, h.Kitchen.Number, phone.National(h.Kitchen.Number), in)
					})
				}
				f := paper.Facts{Kitchen: h.Kitchen, Night: n, Now: time.Now(), Number: func(o night.Order) string { return numberOf(o, h.Kitchen.Region) }}
				if f.Orders, err = h.Desk.Orders(cmd.Context(), n.ID); err != nil {
					return err
				}
				if changes {
					if f.Since, err = paper.Since(since, f.Now, h.Kitchen.Zone); err != nil {
						return &usageError{fmt.Errorf("--since: %w", err)}
					}
					if f.Events, err = paper.AllEvents(cmd.Context(), h.Desk, n.ID); err != nil {
						return err
					}
				}
				draw := paper.PDF
				if labels {
					draw = paper.LabelsPDF
				}
				return a.writePDF(to, func(w io.Writer) error { return draw(w, paper.Make(f), in) })
			})
		},
	}
	nightFlag(cmd, &date)
	cmd.Flags().BoolVar(&labels, "labels", false, "a label for each bag")
	cmd.Flags().BoolVar(&changes, "changes", false, "only orders that changed, with --since")
	cmd.Flags().BoolVar(&sign, "sign", false, "a sign for the gate with a code that opens a text")
	cmd.Flags().StringVar(&since, "since", "", "the time in the header of the last sheet, such as 16:20 or \"2026-12-03 16:20\"")
	cmd.Flags().StringVar(&language, "language", "", "of the sheet, en or es (by default that of the texts to customers)")
	cmd.Flags().StringVarP(&to, "output", "o", "", "write this `file` (standard output by default)")
	cmd.MarkFlagsMutuallyExclusive("labels", "changes", "sign")
	return cmd
}

// numberOf is the customer's number as it is dialled, a landline too.
func numberOf(o night.Order, region string) string {
	if o.Phone != "" {
		return phone.National(o.Phone)
	}
	if n, err := phone.Parse(o.PhoneTyped, region); err == nil {
		return n.National
	}
	return o.PhoneTyped
}

func (a *app) writePDF(to string, draw func(io.Writer) error) error {
	var b bytes.Buffer // so that no half a file is left where it goes wrong
	if err := draw(&b); err != nil {
		return err
	}
	if to == "" || to == "-" {
		_, err := a.out.Write(b.Bytes())
		return err
	}
	if err := os.WriteFile(to, b.Bytes(), 0o600); err != nil {
		return fmt.Errorf("write the PDF: %w", err)
	}
	_, err := fmt.Fprintf(a.out, "%s: ready to print.\n", to)
	return err
}
