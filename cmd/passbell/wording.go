package main

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"passbell/internal/desk"
	"passbell/internal/gateway"
	"passbell/internal/wording"
)

func newWordingCmd(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "wording",
		Short:   "List, show and change the texts that customers get",
		Example: "  passbell wording list\n  passbell wording set reminder reminder.txt --dry-run",
	}
	cmd.AddCommand(newWordingListCmd(a), newWordingShowCmd(a), newWordingSetCmd(a), newWordingResetCmd(a))
	return cmd
}

// wordsJSON is a text as --json prints it.
type wordsJSON struct {
	Name    string `json:"name"`
	From    string `json:"from"`
	Text    string `json:"text"`
	SavedAt string `json:"saved_at,omitempty"` // RFC 3339, UTC
	SavedBy string `json:"saved_by,omitempty"`
	Wrong   string `json:"wrong,omitempty"`
}

func newWordingListCmd(a *app) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List the texts and whose words they have",
		Example: "  passbell wording list --json",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.house(cmd.Context(), func(h *gateway.House) error {
				list, err := h.Desk.Words(cmd.Context())
				if err != nil {
					return err
				}
				if asJSON {
					out := make([]wordsJSON, len(list))
					for i, w := range list {
						out[i] = wordsJSON{Name: w.Name, From: string(w.From), Text: w.Text, SavedBy: w.By}
						if !w.At.IsZero() {
							out[i].SavedAt = w.At.UTC().Format("2006-01-02T15:04:05Z07:00")
						}
						if w.Wrong != nil {
							out[i].Wrong = w.Wrong.Error()
						}
					}
					return a.printJSON(out)
				}
				tab := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
				for _, w := range list {
					first, _, _ := strings.Cut(w.Text, "\n")
					fmt.Fprintf(tab, "%s\t%s\t%s\n", w.Name, wordsFrom(h, w), first)
				}
				return tab.Flush()
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func wordsFrom(h *gateway.House, w desk.Words) string {
	switch {
	case w.Wrong != nil:
		return "saved, but can't be used any more"
	case w.From == desk.Saved:
		return fmt.Sprintf("saved %s by %s", w.At.In(h.Kitchen.Zone).Format("Mon 2 Jan 15:04"), w.By)
	}
	return string(w.From)
}

func newWordingShowCmd(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "show NAME",
		Short:   "Print a text as it is written, ready to be changed and set",
		Example: "  passbell wording show reminder > reminder.txt",
		Args:    textName,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.house(cmd.Context(), func(h *gateway.House) error {
				list, err := h.Desk.Words(cmd.Context())
				if err != nil {
					return err
				}
				for _, w := range list {
					if w.Name != args[0] {
						continue
					}
					fmt.Fprintln(a.out, w.Text)
					if w.Wrong != nil {
						fmt.Fprintf(a.err, "these words can't be used any more, so customers get the ones below them: %v\n", w.Wrong)
					}
				}
				return nil
			})
		},
	}
}

func newWordingSetCmd(a *app) *cobra.Command {
	var dry bool
	cmd := &cobra.Command{
		Use:   "set NAME FILE",
		Short: "Give a text the words in a file (- for what is typed or piped in)",
		Long: `Give a text the words in a file; what stands in {{ }} is filled in for each
order. Every text planned from now on has them, in every passbell that runs on
this database; texts that wait and were not tried yet are written anew.`,
		Example: "  passbell wording set reminder reminder.txt --dry-run\n  passbell wording set help - < help.txt",
		Args:    textAnd(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			words, err := a.words(args[1])
			if err != nil {
				return err
			}
			return a.house(cmd.Context(), func(h *gateway.House) error {
				change := func(d *desk.Desk) error {
					count, err := d.SaveWords(cmd.Context(), args[0], words, "cook")
					if err == nil && !dry {
						fmt.Fprintf(a.out, "saved; %s\n", rewritten(count))
					}
					return err
				}
				for _, w := range wording.Warnings(words) {
					fmt.Fprintf(a.out, "MIND  %s\n", w.Say)
				}
				if dry {
					return a.foresee(cmd.Context(), h, change)
				}
				return change(h.Desk)
			})
		},
	}
	cmd.Flags().BoolVar(&dry, "dry-run", false, "save nothing; show the waiting texts that would change")
	return cmd
}

func newWordingResetCmd(a *app) *cobra.Command {
	var dry bool
	cmd := &cobra.Command{
		Use:     "reset NAME",
		Short:   "Take saved words back: those of passbell.toml or the built-in ones stand again",
		Example: "  passbell wording reset reminder",
		Args:    textName,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.house(cmd.Context(), func(h *gateway.House) error {
				change := func(d *desk.Desk) error {
					count, err := d.ResetWords(cmd.Context(), args[0], "cook")
					if err == nil && !dry {
						fmt.Fprintf(a.out, "taken back; %s\n", rewritten(count))
					}
					return err
				}
				if dry {
					return a.foresee(cmd.Context(), h, change)
				}
				return change(h.Desk)
			})
		},
	}
	cmd.Flags().BoolVar(&dry, "dry-run", false, "take nothing back; show the waiting texts that would change")
	return cmd
}

func rewritten(count int) string {
	switch count {
	case 0:
		return "no waiting text changed"
	case 1:
		return "1 waiting text was written anew"
	}
	return fmt.Sprintf("%d waiting texts were written anew", count)
}

// textName takes the name of a text and nothing else.
func textName(cmd *cobra.Command, args []string) error { return textAnd(0)(cmd, args) }

// textAnd takes the name of a text and so many arguments more.
func textAnd(more int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := cobra.ExactArgs(1+more)(cmd, args); err != nil {
			return err
		}
		if !slices.Contains(wording.Names(), args[0]) {
			return fmt.Errorf("there is no text %q; there are %s", args[0], strings.Join(wording.Names(), ", "))
		}
		return nil
	}
}

// words reads the words of a text from a file, or from what is piped in.
func (a *app) words(path string) (string, error) {
	b, err := []byte(nil), error(nil)
	if path == "-" {
		b, err = io.ReadAll(a.in)
	} else {
		b, err = os.ReadFile(path)
	}
	if err != nil {
		return "", fmt.Errorf("read the words: %w", err)
	}
	return string(b), nil
}
