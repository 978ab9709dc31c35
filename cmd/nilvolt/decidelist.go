package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"nilvolt/formats"
	"nilvolt/ledger"
	"nilvolt/record"
)

// A listed is a record in a row of what review list prints as CSV.
type listed struct {
	pos     record.Pos
	record  string
	version int
	leaf    int64 // the newest of the log about it, when it was listed
}

// mendList says what to do about a list that cannot be decided on.
const mendList = "list the records anew with nilvolt review list --format csv, and look at what has changed"

// wrong returns an error about the row.
func (r *listed) wrong(mend, format string, args ...any) *formats.RowError {
	return &formats.RowError{Pos: r.pos, Text: r.record, Message: fmt.Sprintf(format, args...), Mend: mend}
}

// readList reads such a list. Its columns may stand in any order, and others beside them.
func readList(name string, c *console) ([]listed, error) {
	var data []byte
	var err error
	if name == "-" {
		data, err = io.ReadAll(c.in)
	} else {
		data, err = readFile(name)
	}
	if err != nil {
		return nil, err
	}
	rows := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	header, err := rows.Read()
	at := [3]int{slices.Index(header, "record"), slices.Index(header, "version"), slices.Index(header, "leaf")}
	if err != nil || slices.Contains(at[:], -1) {
		return nil, hint("hand in what nilvolt review list --format csv prints", "%s: no list of records: it needs the columns record, version and leaf", name)
	}
	var list []listed
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return list, nil
		}
		if err != nil {
			return nil, hint(mendList, "%s: %v", name, err)
		}
		line, _ := rows.FieldPos(0)
		r := listed{pos: record.Pos{File: name, Line: line}, record: row[at[0]]}
		version, err1 := strconv.Atoi(row[at[1]])
		leaf, err2 := strconv.ParseInt(row[at[2]], 10, 64)
		if errors.Join(err1, err2) != nil {
			return nil, r.wrong(mendList, "its version %q or its leaf %q is no number", row[at[1]], row[at[2]])
		}
		r.version, r.leaf = version, leaf
		list = append(list, r)
	}
}

// A listDecision makes one decision on a list of records.
type listDecision struct {
	*decideOptions
	kind ledger.DecisionKind
	seen map[int64]int // by version, the line that names it
	bad  formats.BadRows
	made []ledger.Decision
	live []string // that were left out
}

// runDecideList decides on all records of a list but the live ones, or on none.
func runDecideList(ctx context.Context, l *ledger.Ledger, o *decideOptions, kind ledger.DecisionKind, c *console) error {
	list, err := readList(o.from, c)
	if err != nil {
		return errors.Join(err, errNothingDecided)
	}
	d := &listDecision{decideOptions: o, kind: kind, seen: map[int64]int{}}
	err = l.Update(ctx, func(tx *ledger.Tx) error {
		for i := range list {
			if err := d.decide(tx, &list[i]); err != nil {
				return decisionError(err)
			}
		}
		switch {
		case d.bad.Total > 0:
			return d.bad.Err()
		case len(d.made) == 0 && len(d.live) > 0:
			return hint("look at each with nilvolt review show, and decide on it by its name", "%s: live records only, which are not decided on in a list: %s",
				o.from, strings.Join(d.live, ", "))
		case len(d.made) == 0:
			return hint("hand in what nilvolt review list --format csv prints", "%s: no record in the list", o.from)
		case kind == ledger.ToStore:
			return tx.SendToStore(d.made...)
		}
		return nil
	})
	if err != nil {
		return errors.Join(ledgerError(err), errNothingDecided)
	}
	if _, err := fmt.Fprintf(c.out, "%s decided on: %s\n", plural(len(d.made), "record"), kind); err != nil {
		return err
	}
	if len(d.live) == 0 {
		return nil
	}
	t := theme{unicode: c.theme().unicode}
	fmt.Fprintf(c.err, "note: %s %s live and left out: %s; look at each, and decide on it by its name\n",
		plural(len(d.live), "record"), verb(len(d.live), "is", "are"), t.clean(strings.Join(d.live, ", ")))
	return errNotCompliant
}

// errNothingDecided is said beside the reason when a list could not be decided on.
var errNothingDecided = errors.New("nothing was decided")

// decide decides on one record of the list. What keeps it from being decided on is
// noted, so that all of it is told at once.
func (d *listDecision) decide(tx *ledger.Tx, r *listed) error {
	item, err := tx.Item(r.record, r.version)
	if errors.Is(err, ledger.ErrNoSuchVersion) {
		d.bad.Add(r.wrong("hand in the list of this ledger", "there is no version %d of such a record", r.version))
		return nil
	}
	if err != nil {
		return err
	}
	first, twice := d.seen[item.Version]
	d.seen[item.Version] = r.pos.Line
	switch {
	case twice:
		d.bad.Add(r.wrong("name each record once", "it stands on line %d already", first))
	case item.Newest() != r.leaf:
		d.bad.Add(r.wrong(mendList, "it was judged, marked or decided on since it was listed"))
	case item.Closed():
		d.bad.Add(r.wrong("take it out of the list, or decide on it by its name", "nothing waits for a decision on it"))
	case item.Judgement.Status == record.LiveFound.String():
		d.live = append(d.live, nameOf(item))
	case d.bad.Total == 0:
		made, _, err := tx.Decide(item.Version, d.kind, d.by, d.reason)
		d.made = append(d.made, made)
		return err
	}
	return nil
}
