package main

import (
	"errors"
	"fmt"
	"os"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"passbell/internal/config"
	"passbell/internal/gateway"
	"passbell/internal/store"
)

func newMoveDataCmd(a *app) *cobra.Command {
	var to string
	cmd := &cobra.Command{
		Use:   "move-data --to DATABASE",
		Short: "Copy everything to another database, a file or a PostgreSQL server",
		Long: `Copy every night, order, text and sign-in from the configured database to
another one: from the embedded file to a PostgreSQL server, or back. Each table
is read back and compared by count and digest before it is kept, and nothing in
the old database is changed. Stop "passbell serve" first, and start it on the new
database afterwards. After an interruption run it again: what is there whole is
left alone.

A URL with a password is best given as PASSBELL_MOVE_TO in the environment.`,
		Example: "  PASSBELL_MOVE_TO=postgres://passbell:…@db.example/passbell passbell move-data\n  passbell move-data --to back.db",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if to == "" {
				to = os.Getenv("PASSBELL_MOVE_TO")
			}
			if to == "" {
				return &usageError{errors.New("say where to: --to DATABASE, or PASSBELL_MOVE_TO in the environment")}
			}
			c, err := config.Load(a.configPath)
			if err != nil {
				return err
			}
			tab := tabwriter.NewWriter(a.out, 0, 4, 2, ' ', tabwriter.AlignRight)
			fmt.Fprintf(tab, "rows\t digest\t  table\n")
			rows := 0
			err = gateway.Move(cmd.Context(), c.Database, to, func(m store.Moved) {
				rows += m.Rows
				fmt.Fprintf(tab, "%d\t %.12s\t  %s\n", m.Rows, m.Digest, m.Table)
			})
			if err != nil {
				return err
			}
			if err := tab.Flush(); err != nil {
				return err
			}
			fmt.Fprintf(a.out, "%d rows are there, the same as here. Now name the new database in passbell.toml or PASSBELL_DATABASE.\n", rows)
			return nil
		},
	}
	cmd.Flags().StringVar(&to, "to", "", "the database to copy to")
	return cmd
}
