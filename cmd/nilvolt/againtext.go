package main

import (
	"encoding/json"
	"fmt"

	"nilvolt/record"
)

// conclude prints what changed and the counts, and returns the verdict over all.
func (a *again) conclude(c *console) error {
	if err := a.print(c); err != nil {
		return err
	}
	if err := c.out.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	of := func(s record.Status) int { return a.standing[s.String()] }
	all := 0
	for _, n := range a.standing {
		all += n
	}
	fmt.Fprintf(c.err, "%s: %s compliant, %s not compliant, %s live; %s judged otherwise than before\n", plural(all, "record"),
		number(of(record.Compliant)), number(of(record.NonCompliant)), number(of(record.LiveFound)), number(len(a.changes)))
	unkept := 0
	for _, o := range a.odd {
		if o.Reads == readsNew {
			unkept++
		}
	}
	if of(record.Compliant) != all || all == 0 || unkept > 0 {
		return errNotCompliant
	}
	return nil
}

// print prints what changed, and what reads otherwise than when it was kept.
func (a *again) print(c *console) error {
	switch a.o.format {
	case "json":
		return a.printJSON(c)
	case "csv":
		a.printCSV(c)
	default:
		a.printText(c)
	}
	return nil
}

// byVersion returns what the files of the changed and of the odd records give now, by
// record and version, the odd ones that have changed left out of the rest.
func (a *again) byVersion() (changed map[versionName]oddRecord, rest []oddRecord) {
	changed = map[versionName]oddRecord{}
	for _, g := range a.changes {
		changed[versionName{g.Record, g.Number}] = oddRecord{Reads: "same"}
	}
	for _, o := range a.odd {
		name := versionName{o.Record, o.Version}
		if _, ok := changed[name]; ok {
			changed[name] = o
		} else {
			rest = append(rest, o)
		}
	}
	return changed, rest
}

// A versionName is how people call a version.
type versionName struct {
	record string
	number int
}

func (a *again) printJSON(c *console) error {
	type line struct {
		Record  string   `json:"record"`
		Version int      `json:"version"`
		Before  string   `json:"before"`
		After   string   `json:"after"`
		Reads   readsNow `json:"reads"`
		Failed  []string `json:"failed"`
	}
	encoder := json.NewEncoder(c.out)
	encoder.SetEscapeHTML(false)
	changed, rest := a.byVersion()
	for _, g := range a.changes {
		o := changed[versionName{g.Record, g.Number}]
		err := encoder.Encode(line{g.Record, g.Number, g.Before.Status, g.After.Status, o.Reads, append([]string{}, g.After.Failed...)})
		if err != nil {
			return err
		}
	}
	for _, o := range rest {
		before := o.Status.String()
		if o.Version == 0 {
			before = ""
		}
		if err := encoder.Encode(line{o.Record, o.Version, before, o.Status.String(), o.Reads, []string{}}); err != nil {
			return err
		}
	}
	return nil
}

func (a *again) printCSV(c *console) {
	out := []byte("record,version,before,after,reads\r\n")
	changed, rest := a.byVersion()
	for _, g := range a.changes {
		o := changed[versionName{g.Record, g.Number}]
		out = fmt.Appendf(appendCSVField(out, g.Record), ",%d,%s,%s,%s\r\n", g.Number, g.Before.Status, g.After.Status, o.Reads)
	}
	for _, o := range rest {
		before := o.Status.String()
		if o.Version == 0 {
			before = ""
		}
		out = fmt.Appendf(appendCSVField(out, o.Record), ",%d,%s,%s,%s\r\n", o.Version, before, o.Status, o.Reads)
	}
	c.out.Write(out)
}

func (a *again) printText(c *console) {
	t := c.theme()
	switch {
	case len(a.changes) == 0 && len(a.odd) == 0:
		fmt.Fprintln(c.out, "Every record reads as when it was kept, and is judged as before.")
	case len(a.changes) == 0:
		fmt.Fprintln(c.out, "Every record is judged as before.")
	}
	for _, g := range a.changes {
		fmt.Fprintln(c.out, t.clean(changeText(g)))
	}
	if len(a.odd) == 0 {
		return
	}
	fmt.Fprintf(c.out, "\n%s otherwise now than when it was kept:\n", plural(len(a.odd), "record")+" "+verb(len(a.odd), "reads", "read"))
	for _, o := range a.odd {
		fmt.Fprintln(c.out, "  "+t.clean(o.text()))
	}
}

// text says what is odd, and which judgement stands.
func (o *oddRecord) text() string {
	name := fmt.Sprintf("%s (version %d, upload %d)", o.Record, o.Version, o.Upload)
	switch o.Reads {
	case readsNew:
		return fmt.Sprintf("%s (upload %d) is not in the ledger, and its files give it; it is %s. Hand them in again", o.Record, o.Upload, o.Status)
	case readsGone:
		return fmt.Sprintf("%s: its files give no such record any more; it is %s", name, o.Status)
	case readsUnreadable:
		return fmt.Sprintf("%s: its files cannot be read any more; it is %s", name, o.Status)
	case readsOtherwise:
	}
	return fmt.Sprintf("%s: its files give other rows; judged by both, the stricter judgement stands: %s", name, o.Status)
}
