package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"nilvolt/ledger"
	"nilvolt/record"
)

// A missingJob is a record that a kept job sheet names and of which the ledger has
// nothing else.
type missingJob struct {
	record.Job
	upload int // in which the sheet stands, 1 for the first
}

// runMissing prints the records of which no row was ever handed in.
func runMissing(ctx context.Context, l *ledger.Ledger, o *reviewListOptions, c *console) error {
	if o.filter.Rule != "" || o.filter.Closed {
		return hint("leave --rule and --decided away", "what was never handed in was never judged")
	}
	list, err := missingJobs(ctx, l)
	if err != nil {
		return err
	}
	whole := len(list)
	list = slices.DeleteFunc(list, func(m *missingJob) bool { return !o.wants(m) })
	others := whole - len(list)
	now := c.now().Unix()
	planned := 0
	for _, m := range list {
		if m.ahead(now) {
			planned++
		}
	}
	switch o.format {
	case "json":
		err = printMissingJSON(c, list)
	case "csv":
		printMissingCSV(c, list)
	default:
		printMissing(c, list, planned, others)
	}
	if err != nil {
		return err
	}
	if err := c.out.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	if others > 0 {
		fmt.Fprintf(c.err, "%s without a row %s not asked for; --missing alone lists every one\n", plural(others, "more record"), verb(others, "was", "were"))
	}
	if len(list) > planned {
		return errNotCompliant
	}
	return nil
}

// missingJobs reads all kept job sheets. Of several that name a record the last one
// counts. The list is in the order of the time, those without one first.
func missingJobs(ctx context.Context, l *ledger.Ledger) ([]*missingJob, error) {
	uploads, err := l.Uploads(ctx)
	if err != nil {
		return nil, err
	}
	byRecord := map[string]*missingJob{}
	done := map[string]bool{} // sheets, with the maps by which they are read
	for i := range uploads {
		u := &uploads[i]
		name := sheetsOf(u)
		if done[name] {
			continue
		}
		done[name] = true
		in, err := keptInputs(keptFiles{ctx, l}, u)
		if err != nil {
			return nil, fmt.Errorf("the job sheets of upload %d: %w", u.Number, err)
		}
		for _, job := range in.jobs {
			if m := byRecord[job.Record]; m == nil || m.upload != u.Number { // its first row goes before others
				byRecord[job.Record] = &missingJob{job, u.Number}
			}
		}
	}
	ids := make([]string, 0, len(byRecord))
	for id := range byRecord {
		ids = append(ids, id)
	}
	known, err := l.Known(ctx, ids)
	if err != nil {
		return nil, err
	}
	var list []*missingJob
	for id, m := range byRecord {
		if !known[id] {
			list = append(list, m)
		}
	}
	slices.SortFunc(list, func(a, b *missingJob) int {
		return cmp.Or(cmp.Compare(a.begin(), b.begin()), strings.Compare(a.Record, b.Record))
	})
	return list, nil
}

// sheetsOf names the job sheets of an upload and all by which they are read.
func sheetsOf(u *ledger.KeptUpload) string {
	var b strings.Builder
	b.WriteString(u.Zone)
	for _, f := range u.Files {
		if f.Role == ledger.Jobs || f.Role == ledger.Map || f.Role == ledger.JobsMap {
			fmt.Fprintf(&b, "\n%s %d %s", f.Role, f.Content, f.Name)
		}
	}
	return b.String()
}

// begin is when the job was to begin, Unix seconds; 0 if the sheet does not say.
func (m *missingJob) begin() int64 {
	for _, t := range []record.Instant{m.Start, m.End} {
		if t.IsSet() {
			return t.Unix()
		}
	}
	return 0
}

// ahead reports whether the job was still to come.
func (m *missingJob) ahead(now int64) bool { return m.begin() > now }

// wants reports whether the flags ask for a job. One without a time is of every week.
func (o *reviewListOptions) wants(m *missingJob) bool {
	f, at := &o.filter, m.begin()
	if at != 0 && (at < f.From || f.To != 0 && at >= f.To) {
		return false
	}
	for _, pair := range [][2]string{{f.Site, m.Site}, {f.Technician, m.Technician}, {f.Instrument, m.Indicator}} {
		if pair[0] != "" && pair[0] != pair[1] {
			return false
		}
	}
	return true
}

func printMissing(c *console, list []*missingJob, planned, others int) {
	t := c.theme()
	if len(list) == 0 && others > 0 {
		fmt.Fprintln(c.out, "No record that was asked for is without a row.")
		return
	}
	if len(list) == 0 {
		fmt.Fprintln(c.out, "Of every record of the job sheets something was handed in.")
		return
	}
	var b strings.Builder
	text := plural(len(list), "record") + " of job sheets without a row: not done, or done and never handed in."
	if planned > 0 {
		text += fmt.Sprintf(" Of these %s still to come.", number(planned)+" "+verb(planned, "is", "are"))
	}
	t.hang(&b, "", text, titleInk)
	for _, m := range list {
		pos := m.Pos
		pos.Column = 0
		when := "no time"
		if m.begin() != 0 {
			when = t.moment(m.begin())
		}
		t.hang(&b, "  ", t.clean(fmt.Sprintf("%s  %s, %s, %s (%s, upload %d)", m.Record, when, orUnknown(m.Site, "site"),
			orUnknown(m.Technician, "technician"), pos, m.upload)), plainInk)
	}
	c.out.WriteString(b.String())
}

// A missingJSON is a missing record as JSON; times that the sheet does not say are
// blank.
type missingJSON struct {
	Record     string `json:"record"`
	Site       string `json:"site"`
	Technician string `json:"technician"`
	Indicator  string `json:"indicator"`
	Start      string `json:"start"`
	End        string `json:"end"`
	Upload     int    `json:"upload"`
	Line       string `json:"line"`
}

func jsonOfMissing(m *missingJob) missingJSON {
	at := func(i record.Instant) string {
		if !i.IsSet() {
			return ""
		}
		return time.Unix(i.Unix(), 0).UTC().Format(time.RFC3339)
	}
	pos := m.Pos
	pos.Column = 0
	return missingJSON{m.Record, m.Site, m.Technician, m.Indicator, at(m.Start), at(m.End), m.upload, pos.String()}
}

func printMissingJSON(c *console, list []*missingJob) error {
	encoder := json.NewEncoder(c.out)
	encoder.SetEscapeHTML(false)
	for _, m := range list {
		if err := encoder.Encode(jsonOfMissing(m)); err != nil {
			return err
		}
	}
	return nil
}

func printMissingCSV(c *console, list []*missingJob) {
	out := []byte("record,site,technician,indicator,start,end,upload,line\r\n")
	for _, m := range list {
		j := jsonOfMissing(m)
		for _, text := range []string{j.Record, j.Site, j.Technician, j.Indicator, j.Start, j.End} {
			out = append(appendCSVField(out, text), ',')
		}
		out = append(appendCSVField(fmt.Appendf(out, "%d,", j.Upload), j.Line), "\r\n"...)
	}
	c.out.Write(out)
}
