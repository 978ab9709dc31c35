package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"nilvolt/ledger"
)

// decideOptions are the flags of review decide.
type decideOptions struct {
	ledgerFlags
	by, reason string
	from       string
}

func newReviewDecide(c *console) *cobra.Command {
	o := &decideOptions{}
	cmd := &cobra.Command{
		Use:   "decide RECORD DECISION --by NAME --reason TEXT --ledger WHERE",
		Short: "Decide on a record that does not comply, or on a list of them",
		Long: `Keep a decision on a record, or on a version of it, RECORD@VERSION, where it has
several, so that nobody decides on one that came in behind their back:

  repeat      the isolation is to be done and recorded again
  accept      it stands as it is, for the reason given
  coach       the technician is to be shown how it is done
  store       its indicators go to the tool store to be checked
  duplicate   it is kept twice, under two ids

Decisions are never changed; another may follow. A live record is accepted by two
people, one after the other.

With --from one decision is made on every record of a list, as nilvolt review list
--format csv prints it: on each its own, with the same reason, all or none. None is made
when one of them has changed since it was listed. Live records are left out and
named: each is looked at and decided on by itself.

Exit status: 0 when all was decided on, 1 when live records were left out, 2 when nothing
was decided.`,
		Example: `  nilvolt review decide R7 repeat --by "A. Reviewer" --reason "no reprove" --ledger site.db
  nilvolt review list --marked --instrument VI-10 --format csv --ledger site.db > vi-10.csv
  nilvolt review decide --from vi-10.csv repeat --by "A. Reviewer" --reason "VI-10 read low" --ledger site.db`,
		Args: func(_ *cobra.Command, args []string) error {
			want := 2
			if o.from != "" {
				want = 1
			}
			if len(args) == want && slices.Contains(ledger.DecisionKinds(), ledger.DecisionKind(args[want-1])) {
				return nil
			}
			words := make([]string, 0, len(ledger.DecisionKinds()))
			for _, k := range ledger.DecisionKinds() {
				words = append(words, string(k))
			}
			mend := "the decisions are " + strings.Join(words, ", ")
			if o.from != "" {
				return hint(mend, "a decision on a list wants one word and no record")
			}
			return hint(mend, "a decision wants a record and one word")
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			l, err := o.open(cmd.Context(), c, false)
			if err != nil {
				return err
			}
			defer l.Close()
			kind := ledger.DecisionKind(args[len(args)-1])
			if o.from != "" {
				return runDecideList(cmd.Context(), l, o, kind, c)
			}
			return runDecide(cmd.Context(), l, args[0], kind, o, c)
		},
	}
	f := cmd.Flags()
	o.register(f, true)
	f.StringVar(&o.by, "by", "", "the `name` of who decides")
	f.StringVar(&o.reason, "reason", "", "why, in a `sentence`")
	f.StringVar(&o.from, "from", "", "decide on the records of this `file`, the CSV of review list; - is standard input")
	return cmd
}

// runDecide keeps a decision, and sends the indicators to the store if it says so.
func runDecide(ctx context.Context, l *ledger.Ledger, name string, kind ledger.DecisionKind, o *decideOptions, c *console) error {
	item, err := findVersion(ctx, l, name)
	if err != nil {
		return err
	}
	if item.Record == name && item.Number > 1 {
		return hint(fmt.Sprintf("look at them with nilvolt review show, and name the one that is meant, as in %s@%d", name, item.Number),
			"%s has %d versions", name, item.Number)
	}
	var decision ledger.Decision
	closed := false
	err = l.Update(ctx, func(tx *ledger.Tx) error {
		if decision, closed, err = tx.Decide(item.Version, kind, o.by, o.reason); err != nil || kind != ledger.ToStore {
			return err
		}
		return tx.SendToStore(decision)
	})
	if err != nil {
		return decisionError(err)
	}
	text := "decided"
	if !closed {
		text = "accepted by one person; it stays open until a second one accepts it"
	}
	status := strings.TrimSuffix(item.Judgement.Status+": "+strings.Join(item.Judgement.Failed, " "), ": ")
	_, err = fmt.Fprintf(c.out, "%s, version %d (%s): %s\n", c.theme().clean(item.Record), item.Number, status, text)
	return err
}

// decisionError tells what to do about errors of a decision.
func decisionError(err error) error {
	_, mixed := errors.AsType[*ledger.NameError](err)
	switch {
	case mixed:
		return hint("write each word of the name in letters of one script", "%v", err)
	case errors.Is(err, ledger.ErrNobody):
		return hint("name who decides with --by", "%v", err)
	case errors.Is(err, ledger.ErrNoReason):
		return hint("say why with --reason", "%v", err)
	case errors.Is(err, ledger.ErrSamePerson):
		return hint("a second person has to look at it", "%v", err)
	}
	return ledgerError(err)
}
