package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/report"
)

func newReview(c *console) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "review",
		Short: "Look at records that do not comply, and decide on them",
		Long: `QA's queue: the kept records that are not compliant and wait for a decision, the
evidence of each, and the decisions.`,
	}
	cmd.AddCommand(newReviewList(c), newReviewShow(c), newReviewDecide(c))
	return cmd
}

// reviewListOptions are the flags of review list.
type reviewListOptions struct {
	ledgerFlags
	zone    zoneFlag
	filter  ledger.Filter
	week    string
	all     bool
	minAge  int
	missing bool
	format  string
}

func newReviewList(c *console) *cobra.Command {
	o := &reviewListOptions{}
	cmd := &cobra.Command{
		Use:   "list --ledger WHERE",
		Short: "List the records that wait for a decision, worst first",
		Long: `List the kept records that are not compliant, or marked by a look back at an
instrument that failed (nilvolt instruments lookback), and that nobody has decided on
since: live ones first, then by how many rules failed, then the oldest. All that wait are
listed, whenever they began; --week lists those of one week only. Weeks are those of
ISO 8601, by when the record began; they begin at midnight of the zone in which times
are shown.

--missing lists the records that a kept job sheet names and of which no row was ever
handed in: planned, not done, or done and still to be handed in. Such a record proves
nothing. The week is that in which the job sheet has it start.

Exit status: 0 when none that was asked for waits, 1 when one does, 2 when the ledger could not be read.`,
		Example: `  nilvolt review list --ledger site.db
  nilvolt review list --ledger site.db --missing --older 7
  nilvolt review list --ledger site.db --week 2026-W12 --rule reprove-missing --format json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := checkFormat(o.format); err != nil {
				return err
			}
			return runReviewList(cmd.Context(), o, c)
		},
	}
	f := cmd.Flags()
	o.register(f, false)
	o.zone.register(f)
	f.StringVar(&o.week, "week", "", "the `week` that records began in, such as 2026-W12; all weeks if not given")
	f.BoolVar(&o.all, "all", false, "records of all time, as without --week")
	_ = f.MarkHidden("all") // from when this week was listed if no other was named
	f.BoolVar(&o.filter.Closed, "decided", false, "those that were decided on as well")
	f.BoolVar(&o.filter.Marked, "marked", false, "only those that a look back at an instrument marks")
	f.StringVar(&o.filter.Rule, "rule", "", "only where this `rule` failed")
	f.StringVar(&o.filter.Site, "site", "", "only of this `site`")
	f.StringVar(&o.filter.Technician, "technician", "", "only by this `technician`")
	f.StringVar(&o.filter.Instrument, "instrument", "", "only with this `instrument`, indicator or proving source")
	f.IntVar(&o.minAge, "older", 0, "only records that began more than so many `days` ago")
	f.BoolVar(&o.missing, "missing", false, "the records of job sheets of which no row was ever handed in")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json or csv")
	completeFlags(cmd)
	return cmd
}

// runReviewList prints the queue.
func runReviewList(ctx context.Context, o *reviewListOptions, c *console) error {
	if o.filter.Rule != "" {
		if _, err := record.ParseRule(o.filter.Rule); err != nil {
			return hint("nilvolt verify --explain all lists the rules", "no rule is called %q", o.filter.Rule)
		}
	}
	if err := o.zone.set(c); err != nil {
		return err
	}
	if err := o.setTimes(c.now().In(c.location())); err != nil {
		return err
	}
	l, err := o.open(ctx, c, false)
	if err != nil {
		return err
	}
	defer l.Close()
	if o.missing {
		return runMissing(ctx, l, o, c)
	}
	list, err := l.Review(ctx, o.filter)
	if err != nil {
		return err
	}
	switch o.format {
	case "json":
		err = printItemsJSON(c, list)
	case "csv":
		printItemsCSV(c, list)
	default:
		printItems(c, list, o.span(c.now().In(c.location())))
	}
	if err != nil {
		return err
	}
	if err := c.out.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	if err := tellOthers(ctx, l, o.filter, list, c); err != nil {
		return err
	}
	overlaps, err := l.Overlaps(ctx, o.filter.From, o.untilOverlaps(c.now()))
	if err != nil {
		return err
	}
	listOverlaps(c, overlaps)
	if slices.ContainsFunc(list, func(i *ledger.Item) bool { return !i.Closed() }) {
		return errNotCompliant
	}
	return nil
}

// span says what a list is of, with a blank before it; "" where it is of all records.
func (o *reviewListOptions) span(now time.Time) string {
	var text string
	if f := &o.filter; f.Rule != "" || f.Site != "" || f.Technician != "" || f.Instrument != "" || f.Marked {
		text = " of those asked for"
	}
	if o.filter.From != 0 {
		year, week := time.Unix(o.filter.From, 0).In(now.Location()).ISOWeek()
		text = fmt.Sprintf(" of %04d-W%02d", year, week)
	}
	if o.minAge > 0 {
		text += " that began more than " + plural(o.minAge, "day") + " ago"
	}
	return text
}

// tellOthers says on standard error how many records wait that began at another time
// than what was listed: an empty list of a week must not read as an empty queue.
func tellOthers(ctx context.Context, l *ledger.Ledger, f ledger.Filter, listed []*ledger.Item, c *console) error {
	if f.From == 0 && f.To == 0 {
		return nil
	}
	f.From, f.To, f.Closed = 0, 0, false
	all, err := l.Review(ctx, f)
	if err != nil {
		return err
	}
	seen := map[int64]bool{}
	for _, i := range listed {
		seen[i.Version] = true
	}
	others, live := 0, 0
	for _, i := range all {
		if !seen[i.Version] {
			others++
			if i.Judgement.Status == record.LiveFound.String() {
				live++
			}
		}
	}
	if others == 0 {
		return nil
	}
	text := plural(others, "record") + " of another time " + verb(others, "waits", "wait") + " for a decision"
	if live > 0 {
		text += ", " + number(live) + " of them LIVE"
	}
	_, err = fmt.Fprintln(c.err, text+"; without --week and --older every one is listed")
	return err
}

// untilOverlaps is up to when overlaps are looked for.
func (o *reviewListOptions) untilOverlaps(now time.Time) int64 {
	if o.filter.To != 0 {
		return o.filter.To - 1
	}
	return now.AddDate(100, 0, 0).Unix() // clocks of instruments may be fast
}

// setTimes turns the flags of time into the filter.
func (o *reviewListOptions) setTimes(now time.Time) error {
	switch {
	case o.all && o.week != "":
		return hint("give one of them", "--all and --week say different things")
	case o.minAge < 0:
		return hint("count the days from today on", "--older %d is no age", o.minAge)
	case o.minAge > 0:
		o.filter.To = now.AddDate(0, 0, -o.minAge).Unix()
	}
	if o.week == "" {
		return nil
	}
	week, err := parseWeek(o.week)
	if err != nil {
		return err
	}
	o.filter.From = week.Begin(now.Location()).Unix()
	until := week.Add(1).Begin(now.Location()).Unix()
	if o.filter.To == 0 || until < o.filter.To {
		o.filter.To = until
	}
	return nil
}

// parseWeek reads a week such as 2026-W12.
func parseWeek(text string) (report.ISOWeek, error) {
	w, err := report.ParseISOWeek(text)
	if err != nil {
		return w, hint("write the year and the week as in 2026-W12", "%q is no week", text)
	}
	return w, nil
}
