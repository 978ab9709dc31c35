package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"nilvolt/ledger"
)

func newBackup(c *console) *cobra.Command {
	var flags ledgerFlags
	cmd := &cobra.Command{
		Use:   "backup FILE --ledger WHERE",
		Short: "Copy a ledger, which may be in use, to a new file",
		Long: `Copy the ledger, as it is at one moment, to a new file, and audit the copy. Others
may go on working meanwhile. The file is a ledger itself: it can be audited, looked
at, and brought back with nilvolt restore.

The private key is not copied. Keep a copy of it apart from the backups: without it
nothing can be added to a ledger that was brought back.`,
		Example: "  nilvolt backup site-2026-03-16.db --ledger site.db",
		Args:    exactArgs(1, "name the new file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if ledger.IsURL(args[0]) {
				return hint("name a file; nilvolt restore brings it to a database", "a backup is a file")
			}
			l, err := flags.open(cmd.Context(), c, false)
			if err != nil {
				return err
			}
			defer l.Close()
			return copyLedger(cmd.Context(), l, args[0], c)
		},
	}
	flags.register(cmd.Flags(), false)
	return cmd
}

func newRestore(c *console) *cobra.Command {
	var flags ledgerFlags
	cmd := &cobra.Command{
		Use:   "restore FILE --ledger WHERE",
		Short: "Bring a backup back as a new ledger",
		Long: `Copy a backup to where there is no ledger yet, a path or a postgres:// URL, and audit
the copy. What was kept after the backup was made is not in it; hand those files in
again. To go on adding, put the ledger's key file in its place.`,
		Example: "  nilvolt restore site-2026-03-16.db --ledger postgres://db.example/nilvolt",
		Args:    exactArgs(1, "name the backup"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if flags.where == "" {
				return hint("name it with --ledger, a path or a postgres:// URL", "no ledger is named")
			}
			from := ledgerFlags{where: args[0]}
			l, err := from.open(cmd.Context(), c, false)
			if err != nil {
				return err
			}
			defer l.Close()
			return copyLedger(cmd.Context(), l, flags.where, c)
		},
	}
	flags.register(cmd.Flags(), false)
	return cmd
}

// copyLedger copies a ledger and audits the copy.
func copyLedger(ctx context.Context, l *ledger.Ledger, where string, c *console) error {
	err := l.Copy(ctx, where)
	if errors.Is(err, ledger.ErrExists) {
		return hint("name a place where there is nothing yet", "%v", err)
	}
	if err != nil {
		return err
	}
	made, err := ledger.Open(ctx, where, ledger.Options{Now: c.now, Random: rand.Reader})
	if err != nil {
		return err
	}
	defer made.Close()
	r, err := made.Audit(ctx, ledger.AuditOptions{VerifierKey: l.VerifierKey()})
	if err != nil {
		return err
	}
	if !r.Clean() {
		for _, text := range r.Complaints {
			fmt.Fprintln(c.err, c.theme().clean(text))
		}
		fmt.Fprintln(c.out, "The copy was made, and is NOT AS IT WAS WRITTEN; see whether the ledger is (nilvolt audit).")
		return errAltered
	}
	_, err = fmt.Fprintf(c.out, "%s and %s copied, nothing altered or lost.\n",
		plural(int(r.Rows["upload"]), "upload"), plural(int(r.Rows["version"]), "version"))
	return err
}
