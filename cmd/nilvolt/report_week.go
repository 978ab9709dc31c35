package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"nilvolt/fleet"
	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/report"
)

// weekFlags are the flags of report --week.
type weekFlags struct {
	week   string
	before int
	sample string
}

func (f *weekFlags) register(flags *pflag.FlagSet) {
	flags.StringVar(&f.week, "week", "", "the `week` to report on, such as 2026-W12, or weeks: 2026-W12..2026-W24")
	flags.IntVar(&f.before, "before", 12, "with how many `weeks` before it a week is compared")
	flags.StringVar(&f.sample, "sample", "", "`size,accept` of the sample to be checked by hand, such as 20,0, in place of the plan of the standard")
}

// span returns the first and the last week that are asked for.
func (f *weekFlags) span() (first, last report.ISOWeek, err error) {
	from, to, several := strings.Cut(f.week, "..")
	if !several {
		to = from
	}
	for i, text := range []string{from, to} {
		w, err := parseWeek(text)
		if err != nil {
			return first, last, err
		}
		if i == 0 {
			first = w
		}
		last = w
	}
	if last.Begin(time.UTC).Before(first.Begin(time.UTC)) {
		return first, last, hint("name the earlier week first", "%v is before %v", last, first)
	}
	if f.before < 1 {
		return first, last, hint("name at least one week", "--before %d leaves nothing to compare with", f.before)
	}
	return first, last, nil
}

// plan returns the sampling plan that is asked for; nil for that of the standard.
func (f *weekFlags) plan() (func(int) report.SamplingPlan, error) {
	if f.sample == "" {
		return nil, nil
	}
	size, accept, found := strings.Cut(f.sample, ",")
	n, err1 := strconv.Atoi(size)
	c, err2 := strconv.Atoi(accept)
	if !found || err1 != nil || err2 != nil || n < 1 || n > report.LargestSample || c < 0 || c >= n {
		return nil, hint(fmt.Sprintf("write size and acceptance number as in 20,0; at most %d,%d", report.LargestSample, report.LargestSample-1),
			"%q is no sampling plan", f.sample)
	}
	plan := report.SamplingPlan{Size: n, Accept: c, Source: "as asked for with --sample"}
	return func(int) report.SamplingPlan { return plan }, nil
}

// checkWeek refuses what does not go with a weekly report.
func (o *reportOptions) checkWeek(args []string) error {
	files := o.inputFlags
	switch ending := strings.ToLower(filepath.Ext(o.out)); {
	case len(args) > 0 || len(files.jobs) > 0 || files.instruments+files.policy+files.readingsMap+files.jobsMap != "":
		return hint("nilvolt ingest takes files into a ledger; nilvolt verify --ledger judges by another policy",
			"a week is reported from a ledger, by what it was judged by there")
	case ending == ".pdf" || ending == ".html":
		return hint("name a folder", "--out %s: a weekly report is several files", o.out)
	case o.format != "both":
		return hint("leave --format away", "a weekly report is written as PDF, HTML and CSV")
	}
	return nil
}

// runReportWeek writes the weekly reports that are asked for.
func runReportWeek(ctx context.Context, o *reportOptions, args []string, c *console) error {
	if err := o.checkWeek(args); err != nil {
		return err
	}
	first, last, err := o.weeks.span()
	if err != nil {
		return err
	}
	plan, err := o.weeks.plan()
	if err != nil {
		return err
	}
	if err := (&zoneFlag{o.zone}).set(c); err != nil {
		return err
	}
	l, err := o.ledgerFlags.open(ctx, c, false)
	if err != nil {
		return err
	}
	defer l.Close()
	weeks, err := countWeeks(ctx, l, report.WeeksOptions{
		Zone: c.location(), First: first, Last: last, Before: o.weeks.before, Plan: plan,
	})
	if err != nil {
		return err
	}
	if w := weeks.Report(last); w.Begin.After(c.now()) && w.Readings+w.Bare == 0 {
		return hint("name a week that has begun", "%v begins on %s, and no record of it is in the ledger", last, w.Begin.Format(time.DateOnly))
	}
	if err := os.MkdirAll(o.out, 0o777); err != nil {
		return cannotWrite(err)
	}
	made := &weekMaker{weeks: weeks}
	if made.missing, err = missingJobs(ctx, l); err != nil {
		return err
	}
	if made.instruments, err = readWeekFleet(ctx, l, weeks.Report(last), c.now()); err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	sheets := sheetWriter{ctx: ctx, ledger: l, dir: o.out, done: map[string]bool{}}
	for w := range made.each(ctx, first, last) {
		if err := writeWeek(w, &sheets, c); err != nil {
			return err
		}
	}
	return made.err
}

// A weekMaker makes the reports of several weeks.
type weekMaker struct {
	weeks       *report.Weeks
	missing     []*missingJob
	instruments *weekFleet
	err         error // why the channel of each was closed early; to be read after that
}

// each makes reports in order, one ahead of who takes them.
func (m *weekMaker) each(ctx context.Context, first, last report.ISOWeek) <-chan *report.Week {
	ready := make(chan *report.Week)
	go func() {
		defer close(ready)
		for week := first; ; week = week.Add(1) {
			w := m.weeks.Report(week)
			w.Missing = missingIn(w, m.missing)
			if m.err = m.instruments.fill(ctx, w); m.err != nil {
				return
			}
			select {
			case ready <- w:
			case <-ctx.Done():
				return
			}
			if week == last {
				return
			}
		}
	}()
	return ready
}

// countWeeks counts the records of a ledger.
func countWeeks(ctx context.Context, l *ledger.Ledger, o report.WeeksOptions) (*report.Weeks, error) {
	f, err := l.Filings(ctx)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // it was only read
	o.Stand = standOf(f)
	weeks := report.NewWeeks(o)
	var span ledger.FilingSpan
	span.From, span.HandedFrom, span.To = weeks.Span()
	return weeks, f.Each(span, func(v *ledger.Filing) error {
		filed, err := filedOf(v)
		if err == nil {
			weeks.Add(filed)
		}
		return err
	})
}

// A weekFleet is what a ledger holds of the instruments up to the last of several
// weeks.
type weekFleet struct {
	ledger *ledger.Ledger
	all    *fleetRecord
}

// readWeekFleet reads the instruments up to the end of a week.
func readWeekFleet(ctx context.Context, l *ledger.Ledger, last *report.Week, now time.Time) (*weekFleet, error) {
	all, err := readFleet(ctx, l, lastDay(last), now)
	return &weekFleet{l, all}, err
}

// lastDay is the last day of a week, or that of the ledger's newest entry where the week
// goes on.
func lastDay(w *report.Week) record.Date {
	end := w.End.Add(-time.Second)
	if w.Stand.Made.Before(end) {
		end = w.Stand.Made
	}
	return record.DateOf(end)
}

// fill judges the instruments as they stood at the end of a week.
func (f *weekFleet) fill(ctx context.Context, w *report.Week) error {
	then := &fleetRecord{day: lastDay(w), policy: f.all.policy, names: f.all.names, numbers: f.all.numbers}
	then.asOf = endOf(then.day)
	if err := then.readRegister(ctx, f.ledger); err != nil {
		return err
	}
	n, _ := slices.BinarySearchFunc(f.all.proofs, then.asOf.Unix(), func(p packedProof, sec int64) int {
		if p.sec > sec {
			return 1
		}
		return -1
	})
	then.proofs = f.all.proofs[:n]
	w.SetInstruments(fleet.Assess(fleet.Evidence{
		Proofs: then.all, Register: then.register, Services: then.services, AsOf: then.asOf,
	}, fleet.Settings{Tolerance: then.policy.Tolerance}), then.all, then.services)
	return nil
}

// missingIn returns the jobs of a week of which nothing was handed in.
func missingIn(w *report.Week, list []*missingJob) (out []report.Missing) {
	for _, m := range list {
		began := time.Unix(m.begin(), 0)
		if m.begin() != 0 && !began.Before(w.Begin) && began.Before(w.End) {
			out = append(out, report.Missing{Record: m.Record, Began: began, Site: m.Site, Technician: m.Technician})
		}
	}
	return out
}

// standOf says how far a ledger had come.
func standOf(f *ledger.Filings) report.Stand {
	return report.Stand{
		Origin: f.Checkpoint.Origin, Leaves: f.Checkpoint.Leaves, Root: fmt.Sprintf("%x", f.Checkpoint.Root[:]), Made: f.Made,
	}
}

// filedOf is a version as the weekly report counts it.
func filedOf(v *ledger.Filing) (*report.Filed, error) {
	handed, err := time.Parse(time.RFC3339Nano, v.UploadMade)
	if err != nil {
		return nil, err
	}
	f := &report.Filed{
		Record: v.Record, Version: v.Number, Row: v.Version, Began: time.Unix(v.Started, 0), HandedIn: handed, Readings: v.Readings,
		Site: v.Site, Technician: v.Technician, Indicators: v.Indicators, Units: v.Sources, Status: parseStatus(v.Judgement.Status),
		Counted: v.Stands, Open: !v.Closed(),
	}
	if f.Open {
		f.Waiting = waiting(&v.Item)
	} else {
		f.Decided = waiting(&v.Item)
	}
	if n := len(v.Decisions); n > 0 {
		f.Duplicate = v.Decisions[n-1].Kind == ledger.Duplicate
	}
	for _, name := range v.Judgement.Failed {
		rule, err := record.ParseRule(name)
		if err != nil {
			return nil, fmt.Errorf("record %s: rule %q: %w", v.Record, name, err)
		}
		f.Failed = append(f.Failed, rule)
	}
	for _, m := range v.Marks {
		f.Doubts = append(f.Doubts, report.Doubt{
			Instrument: m.LookBack.Instrument, Certain: m.Doubt != ledger.MarkInDoubt, Reason: m.LookBack.Reason,
		})
	}
	return f, nil
}

// writeWeek writes the files of a weekly report and the sheets of the records that it
// names, and prints its first line.
func writeWeek(w *report.Week, sheets *sheetWriter, c *console) error {
	for _, f := range w.Listed() {
		if err := sheets.write(f); err != nil {
			return err
		}
		defer func() { f.Sheet = "" }() // another week may not name it
	}
	name := filepath.Join(sheets.dir, "week-"+w.Week.String())
	d := w.Document()
	pdf, err := d.PDF()
	if err != nil {
		return err
	}
	for _, file := range []struct {
		name string
		data []byte
	}{
		{name + ".html", d.HTML()}, {name + ".pdf", pdf}, {name + ".csv", w.CSV()}, {name + "-records.csv", w.RecordsCSV()},
	} {
		if err := replaceFile(file.name, file.data); err != nil {
			return err
		}
		fmt.Fprintln(c.out, file.name)
	}
	fmt.Fprintf(c.out, "    %s\n", c.theme().clean(w.Headline()))
	return nil
}

// A sheetWriter writes the sheets of records, each once.
type sheetWriter struct {
	ctx    context.Context
	ledger *ledger.Ledger
	dir    string
	done   map[string]bool
}

// write writes the sheet of a record and notes its name.
func (s *sheetWriter) write(f *report.Filed) error {
	name := sheetName(f.Record, f.Version) + ".html"
	f.Sheet = name
	if s.done[name] {
		return nil
	}
	s.done[name] = true
	versions, err := s.ledger.Record(s.ctx, f.Record)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(versions, func(v *ledger.Item) bool { return v.Version == f.Row })
	if i < 0 {
		return ledger.ErrNoSuchVersion
	}
	d, err := keptSheet(s.ctx, s.ledger, versions[i])
	if err != nil {
		return err
	}
	return replaceFile(filepath.Join(s.dir, name), d.HTML())
}
