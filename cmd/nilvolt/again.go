package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/verify"
)

// checkAgain refuses what does not go with judging a ledger anew.
func (o *verifyOptions) checkAgain(args []string) error {
	switch {
	case len(args) > 0:
		return hint("nilvolt ingest adds readings to a ledger", "--ledger judges what is kept and takes no readings")
	case o.stream || o.explain != "" || len(o.jobs) > 0 || o.jobsMap != "":
		return hint("leave the other flags away", "--ledger goes with --policy, --instruments, --map and --format only")
	}
	return nil
}

// An again judges all that a ledger keeps anew.
type again struct {
	in      *inputs
	o       *verifyOptions
	changes []ledger.Change
	newest  map[string]newestStatus
}

// A newestStatus is the status of the newest version of a record.
type newestStatus struct {
	version int64
	status  record.Status
}

// runAgain judges all records of a ledger and prints what changed.
func runAgain(ctx context.Context, o *verifyOptions, c *console) error {
	in, err := o.load()
	if err != nil {
		return errors.Join(err, errNothingJudged)
	}
	l, err := o.open(ctx, c, false)
	if err != nil {
		return err
	}
	defer l.Close()
	a := &again{in: in, o: o, newest: map[string]newestStatus{}}
	if err := l.Update(ctx, a.judge); err != nil {
		return errors.Join(ledgerError(err), errNothingJudged)
	}
	if err := a.print(c); err != nil {
		return err
	}
	if err := c.out.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	t := &tally{}
	for _, n := range a.newest {
		t.add(&verify.Judgement{Status: n.status})
	}
	fmt.Fprintf(c.err, "%s: %s compliant, %s not compliant, %s live; %s judged otherwise than before\n",
		plural(t.records(), "record"), number(t.compliant), number(t.notCompliant), number(t.live), number(len(a.changes)))
	if t.compliant != t.records() || t.records() == 0 {
		return errNotCompliant
	}
	return nil
}

// judge does it within one transaction.
func (a *again) judge(tx *ledger.Tx) error {
	all, err := tx.Versions()
	if err != nil {
		return err
	}
	contexts, err := tx.Contexts(all)
	if err != nil {
		return err
	}
	if contexts, err = a.given(tx, contexts); err != nil {
		return err
	}
	for _, c := range inOrder(contexts) {
		by, err := loadContext(tx, c)
		if err != nil {
			return err
		}
		bench := tx.Bench(ledger.Again, 0, c, verify.RulesVersion)
		changes, err := judgeVersions(tx, contexts[c], all, by, bench, func(version int64, j *verify.Judgement) {
			if version >= a.newest[j.Record].version {
				a.newest[j.Record] = newestStatus{version, j.Status}
			}
		})
		if err != nil {
			return err
		}
		a.changes = append(a.changes, changes...)
	}
	return nil
}

// given puts the policy and register of the command line in the place of those by
// which records were judged last.
func (a *again) given(tx *ledger.Tx, contexts map[ledger.Context][]int64) (map[ledger.Context][]int64, error) {
	rows := map[ledger.Role]int64{}
	for _, f := range a.in.files {
		row, err := tx.KeepFile(f.data)
		if err != nil {
			return nil, err
		}
		rows[f.role] = row
	}
	out := map[ledger.Context][]int64{}
	for _, c := range inOrder(contexts) {
		by := c
		if row, ok := rows[ledger.Policy]; ok {
			by.Policy = row
		}
		if row, ok := rows[ledger.Instruments]; ok {
			by.Register, by.Map = row, rows[ledger.Map]
		}
		out[by] = append(out[by], contexts[c]...)
	}
	return out, nil
}

// print prints what changed.
func (a *again) print(c *console) error {
	t := c.theme()
	switch a.o.format {
	case "json":
		for _, g := range a.changes {
			line, err := json.Marshal(struct {
				Record  string   `json:"record"`
				Version int      `json:"version"`
				Before  string   `json:"before"`
				After   string   `json:"after"`
				Failed  []string `json:"failed"`
			}{g.Record, g.Number, g.Before.Status, g.After.Status, append([]string{}, g.After.Failed...)})
			if err != nil {
				return err
			}
			fmt.Fprintf(c.out, "%s\n", line)
		}
	case "csv":
		out := []byte("record,version,before,after\r\n")
		for _, g := range a.changes {
			out = fmt.Appendf(appendCSVField(out, g.Record), ",%d,%s,%s\r\n", g.Number, g.Before.Status, g.After.Status)
		}
		c.out.Write(out)
	default:
		if len(a.changes) == 0 {
			fmt.Fprintln(c.out, "Every record is judged as before.")
		}
		for _, g := range a.changes {
			fmt.Fprintln(c.out, t.clean(changeText(g)))
		}
	}
	return nil
}
