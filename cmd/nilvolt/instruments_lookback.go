package main

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"nilvolt/fleet"
	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/report"
)

// lookBackOptions are the flags of instruments lookback.
type lookBackOptions struct {
	fleetFlags
	found  string
	by     string
	dryRun bool
	all    bool
	format string
}

func newInstrumentsLookBack(c *console) *cobra.Command {
	o := &lookBackOptions{}
	cmd := &cobra.Command{
		Use:   "lookback ID --ledger WHERE",
		Short: "Find the records that an instrument which failed makes doubtful, and mark them for QA",
		Long: `List the records that rest on an instrument, graded by what is known of its failures:

  certain    it was faulty when the record was made
  in doubt   it may have been
  clear      it was good before and behind

After a failed proof nobody knows when the instrument failed, so that all since its last
good proof is in doubt, up to its next good one. A drift or a step is known within an
interval of its beginning; what passes in spite of it clears nothing. --found DAY is for
one that was found unfit on the bench: all since its service before that day is in
doubt.

What is certain or in doubt is marked in the ledger: it waits for QA in nilvolt review
list, decided on or not. --dry-run only lists. Marks grow worse and never better.

Sources: ISO 9001:2015, 7.1.5.2; ISO/IEC 17025:2017, 7.10.

Exit status: 0 when no record is in doubt, 1 when one is, 2 when the ledger could not be
read or written.`,
		Example: `  nilvolt instruments lookback VI-10 --ledger site.db --by "A. Keeper"
  nilvolt instruments lookback VI-12 --found 2026-05-20 --ledger site.db --dry-run --format csv`,
		Args: exactArgs(1, "name the instrument"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(o.format); err != nil {
				return err
			}
			return runLookBack(cmd.Context(), o, args[0], c)
		},
	}
	f := cmd.Flags()
	o.register(f, true)
	f.StringVar(&o.found, "found", "", "the `day` on which it was found unfit on the bench")
	f.StringVar(&o.by, "by", "", "the `name` of who looks back")
	f.BoolVar(&o.dryRun, "dry-run", false, "mark nothing")
	f.BoolVar(&o.all, "all", false, "in text, list the records that are clear as well")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json or csv")
	completeFlags(cmd)
	return cmd
}

// runLookBack looks back, prints what it finds, and marks it.
func runLookBack(ctx context.Context, o *lookBackOptions, id string, c *console) error {
	a, err := o.load(ctx, c)
	if err != nil {
		return err
	}
	defer a.ledger.Close()
	one, err := a.find(id)
	if err != nil {
		return err
	}
	b := &lookBack{assessed: a, one: one}
	if err := b.read(ctx); err != nil {
		return err
	}
	if err := b.findCauses(o.found); err != nil {
		return err
	}
	list := b.grade()
	marked := 0
	if !o.dryRun {
		if marked, err = b.mark(ctx, list, o.by); err != nil {
			return hint("--dry-run lists them without marking", "%v; nothing was marked", ledgerError(err))
		}
	}
	switch o.format {
	case "json":
		err = printLines(c, b.lines(list))
	case "csv":
		printDoubtsCSV(c, b.lines(list))
	default:
		c.out.WriteString(c.theme().lookBack(b, list, o, marked))
	}
	if err == nil && slices.ContainsFunc(list, func(d *doubted) bool { return d.doubt != fleet.Clear }) {
		err = errNotCompliant
	}
	return err
}

// A lookBack is a look back at one instrument under way.
type lookBack struct {
	*assessed
	one     *fleet.Assessment
	records []*doubted
	proofs  []triedProof // of the instrument, by time
	causes  []*doubtCause
}

// A doubted is a record that rests on the instrument.
type doubted struct {
	version    int64
	record     string
	number     int
	site       string
	technician string
	status     string
	rests      []record.Instant // when it does: at dead tests with an indicator, at proofs on a unit
	first      record.Instant
	last       record.Instant
	doubt      fleet.Doubt
	cause      *doubtCause // why; nil where it is clear
}

// A triedProof is a proof of the instrument.
type triedProof struct {
	at     record.Instant
	passes bool
	blank  bool // it gave no value: nobody knows whether the instrument or a cable failed
}

// A doubtCause is a failure, or several of one kind, with what is to be kept of it.
type doubtCause struct {
	failures []spannedFailure
	keep     ledger.LookBack
}

// A spannedFailure is a failure that throws doubt on what lies between two times; the
// first may be not set.
type spannedFailure struct {
	fleet.Failure
	good, next record.Instant // the good proofs around it, not set where they do not matter
	blank      bool           // of proofs without a value only
}

// read reads the records that rest on the instrument, and its proofs.
func (b *lookBack) read(ctx context.Context) error {
	judges := &keptJudges{files: keptFiles{ctx, b.ledger}, by: map[ledger.Context]judgeBy{}}
	r := proofReader{judges: judges}
	spelled := b.spellings(b.one.Instrument)
	if len(spelled) == 0 {
		return nil
	}
	unit := b.one.Kind == record.ProvingUnit
	return b.ledger.Newest(ctx, b.asOf.Unix(), spelled, func(k *ledger.KeptRecord) error {
		rec, err := k.Record()
		if err != nil {
			return fmt.Errorf("record %s: %w", k.ID(), err)
		}
		judge, err := r.judge(k.Context)
		if err != nil {
			return err
		}
		d := &doubted{version: k.Version, record: k.ID(), number: k.Number, site: k.Site, technician: k.Technician, status: k.Status}
		for _, p := range judge.Proofs(nil, rec) {
			name := p.Indicator
			if unit {
				name = p.Source
			}
			if !slices.Contains(spelled, name) || b.asOf.Before(p.Time) {
				continue
			}
			b.proofs = append(b.proofs, triedProof{p.Time, p.Passes, !p.Passes && p.Event.Volts.State == record.Unreadable})
			if unit {
				d.rest(p.Time)
			}
		}
		for i := range rec.Events {
			if e := &rec.Events[i]; !unit && e.Kind == record.Test && slices.Contains(spelled, e.Indicator) && !b.asOf.Before(e.Time) {
				d.rest(e.Time)
			}
		}
		if d.rests != nil {
			b.records = append(b.records, d)
		}
		return nil
	})
}

// rest notes that the record rests on the instrument at a time.
func (d *doubted) rest(at record.Instant) {
	if d.rests == nil || at.Before(d.first) {
		d.first = at
	}
	if d.rests == nil || d.last.Before(at) {
		d.last = at
	}
	d.rests = append(d.rests, at)
}

// findCauses gathers what is known against the instrument: what was found on the bench,
// what the search of the fleet found, and the proofs that failed.
func (b *lookBack) findCauses(found string) error {
	slices.SortStableFunc(b.proofs, func(x, y triedProof) int { return x.at.Compare(y.at) })
	if found != "" {
		day, err := record.ParseDate(found)
		if err != nil {
			return hint("write the day as in 2026-05-20", "--found %q is no day", found)
		}
		b.bench(day)
	}
	for i := range b.one.Faults {
		if d := &b.one.Faults[i]; d.Confirmed {
			earliest := d.BeganEarliest
			if d.Older { // the proofs begin with it, and the records may be older
				earliest, _ = b.serviceBefore(b.day.AddDays(1))
			}
			reason := report.FaultWords(b.Fleet, d) + "; " + errorText(b.assessed, b.one)
			b.add(reason, spannedFailure{Failure: fleet.Failure{Found: b.asOf, Earliest: earliest, Latest: d.BeganLatest}})
		}
	}
	if r := &b.one.Rate; r.TooOften {
		// It fails now and then, and nobody knows on which records that came to bear.
		reason := fmt.Sprintf("fails proofs too often since %s, %d of %d times", dayOf(r.Began), r.Failed, r.Tried)
		b.add(reason, spannedFailure{Failure: fleet.Failure{Found: b.asOf, Earliest: b.goodBefore(r.Began), Latest: b.asOf}})
	}
	if b.one.Kind != record.ProvingUnit { // a failed proof on a unit is the indicator's until more is known
		b.failedProofs()
	}
	return nil
}

// suspicions says what speaks against the instrument without being confirmed, so that it
// grades no record.
func (b *lookBack) suspicions() []string {
	var texts []string
	for i := range b.one.Faults {
		if d := &b.one.Faults[i]; !d.Confirmed {
			texts = append(texts, report.FaultWords(b.Fleet, d)+"; "+report.FaultStanding(b.one, d))
		}
	}
	if len(b.one.Rivals) > 0 {
		texts = append(texts, "or "+strings.Join(b.one.Rivals, " or ")+" is at fault: "+report.CrossProveWords(b.one.CrossProve))
	}
	return texts
}

// add adds a cause.
func (b *lookBack) add(reason string, failures ...spannedFailure) {
	first, last := failures[0], failures[len(failures)-1]
	b.causes = append(b.causes, &doubtCause{failures, ledger.LookBack{
		Instrument: b.one.Instrument, Reason: reason, Good: first.good.String(), Earliest: first.Earliest.String(),
		Latest: last.Latest.String(), Found: last.Found.String(),
	}})
}

// bench adds what was found on the bench: it may have been so since the service before.
func (b *lookBack) bench(day record.Date) {
	since, service := b.serviceBefore(day)
	reason := "found unfit on the bench on " + day.String()
	switch {
	case service.IsSet():
		reason += "; serviced last on " + service.String()
	case since.IsSet():
		reason += ", no service before it is known"
	}
	found := endOf(day)
	b.add(reason, spannedFailure{Failure: fleet.Failure{Found: found, Earliest: since, Latest: found}})
}

// serviceBefore returns the last service before a day and the time from which records rest
// on the instrument as it was since; without a service the time is that of its first proof
// or record.
func (b *lookBack) serviceBefore(day record.Date) (since record.Instant, service record.Date) {
	for _, s := range b.services[b.one.Instrument] {
		if day.After(s) {
			since, service = endOf(s), s
		}
	}
	if service.IsSet() {
		return since, service
	}
	earlier := func(t record.Instant) {
		if !since.IsSet() || t.Before(since) {
			since = t
		}
	}
	for _, p := range b.proofs {
		earlier(p.at)
	}
	for _, d := range b.records {
		earlier(d.first)
	}
	return since, service
}

// goodBefore returns the last good proof before a time; not set where there is none.
func (b *lookBack) goodBefore(t record.Instant) (good record.Instant) {
	for _, p := range b.proofs {
		if p.passes && p.at.Before(t) {
			good = p.at
		}
	}
	return good
}

// failedProofs adds the proofs that failed, those without a good one between them as one.
func (b *lookBack) failedProofs() {
	var failures []spannedFailure
	var good record.Instant
	open := false
	for _, p := range b.proofs {
		switch {
		case p.passes:
			if open && good.Before(p.at) {
				failures[len(failures)-1].next = p.at
			}
			good, open = p.at, false
		case !open:
			failures = append(failures, spannedFailure{Failure: fleet.Failure{Found: p.at}, good: good, blank: p.blank})
			open = true
		case !p.blank:
			failures[len(failures)-1].blank = false
		}
	}
	if len(failures) == 0 {
		return
	}
	last := failures[len(failures)-1]
	reason := "failed a proof on " + last.Found.String()
	if last.blank {
		reason = "gave no value in a proof on " + last.Found.String()
	}
	if len(failures) > 1 {
		reason = fmt.Sprintf("failed proofs on %d occasions, the last on %s", len(failures), last.Found)
	}
	b.add(reason, failures...)
}

// grade grades the records by all causes, certain ones first; the worst grade counts.
func (b *lookBack) grade() []*doubted {
	byKey := map[string]*doubted{}
	for _, d := range b.records {
		d.doubt = fleet.Clear
		byKey[d.key()] = d
	}
	for _, cause := range b.causes {
		for i := range cause.failures {
			f := &cause.failures[i]
			for _, g := range fleet.LookBack(b.uses(f), []record.Instant{f.good}, f.Failure) {
				if f.blank && g.Doubt == fleet.Certain {
					g.Doubt = fleet.InDoubt
				}
				if d := byKey[g.Record]; worseDoubt(g.Doubt, d.doubt) {
					d.doubt, d.cause = g.Doubt, cause
				}
			}
		}
	}
	slices.SortStableFunc(b.records, func(x, y *doubted) int {
		return cmp.Or(cmp.Compare(doubtRank(x.doubt), doubtRank(y.doubt)), x.first.Compare(y.first), cmp.Compare(x.record, y.record))
	})
	return b.records
}

// key tells the versions of records apart.
func (d *doubted) key() string { return fmt.Sprint(d.version) }

// uses returns what rests on the instrument up to the next good proof after a failure:
// each reading by itself, since a record may reach over that proof.
func (b *lookBack) uses(f *spannedFailure) []fleet.Use {
	var uses []fleet.Use
	for _, d := range b.records {
		if f.good.IsSet() && d.last.Before(f.good) || f.next.IsSet() && !d.first.Before(f.next) {
			continue
		}
		for _, at := range d.rests {
			if !f.next.IsSet() || at.Before(f.next) {
				uses = append(uses, fleet.Use{Record: d.key(), First: at, Last: at})
			}
		}
	}
	return uses
}

func doubtRank(d fleet.Doubt) int {
	return map[fleet.Doubt]int{fleet.Certain: 0, fleet.InDoubt: 1, fleet.Clear: 2}[d]
}

func worseDoubt(a, b fleet.Doubt) bool { return doubtRank(a) < doubtRank(b) }

// mark keeps what was found in the ledger, and returns how many marks are new.
func (b *lookBack) mark(ctx context.Context, list []*doubted, by string) (marked int, err error) {
	words := map[fleet.Doubt]string{fleet.Certain: ledger.MarkCertain, fleet.InDoubt: ledger.MarkInDoubt}
	of := map[*doubtCause]map[int64]string{}
	for _, d := range list {
		if d.cause == nil {
			continue
		}
		if of[d.cause] == nil {
			of[d.cause] = map[int64]string{}
		}
		of[d.cause][d.version] = words[d.doubt]
	}
	if len(of) == 0 {
		return 0, nil
	}
	return marked, b.ledger.Update(ctx, func(tx *ledger.Tx) error {
		for _, cause := range b.causes {
			keep := cause.keep
			keep.By = strings.TrimSpace(by)
			added, err := tx.Mark(keep, of[cause])
			marked += added
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// A doubtJSON is a record that rests on the instrument, as JSON has it.
type doubtJSON struct {
	Instrument string `json:"instrument"`
	Record     string `json:"record"`
	Version    int    `json:"version"`
	Doubt      string `json:"doubt"`
	First      string `json:"first"`
	Last       string `json:"last"`
	Site       string `json:"site"`
	Technician string `json:"technician"`
	Status     string `json:"status"`
	Reason     string `json:"reason"`
}

func (b *lookBack) lines(list []*doubted) []doubtJSON {
	out := make([]doubtJSON, 0, len(list))
	for _, d := range list {
		j := doubtJSON{b.one.Instrument, d.record, d.number, d.doubt.String(), d.first.String(), d.last.String(), d.site, d.technician, d.status, ""}
		if d.cause != nil {
			j.Reason = d.cause.keep.Reason
		}
		out = append(out, j)
	}
	return out
}

func printDoubtsCSV(c *console, list []doubtJSON) {
	out := []byte("instrument,record,version,doubt,first,last,site,technician,status,reason\r\n")
	for _, d := range list {
		out = appendCSVRow(out, []string{d.Instrument, d.Record, fmt.Sprint(d.Version), d.Doubt, d.First, d.Last, d.Site, d.Technician, d.Status, d.Reason})
	}
	c.out.Write(out)
}

// lookBack writes what a look back found: why, how many, whom to call, and the records.
func (t theme) lookBack(b *lookBack, list []*doubted, o *lookBackOptions, marked int) string {
	var out strings.Builder
	count := map[fleet.Doubt]int{}
	for _, d := range list {
		count[d.doubt]++
	}
	fmt.Fprintf(&out, "%s\n", t.paint(titleInk, fmt.Sprintf("%s, as of %s: of %s that rest on it %d are certain, %d in doubt, %d clear.",
		t.clean(b.one.Instrument), b.day, plural(len(list), "record"), count[fleet.Certain], count[fleet.InDoubt], count[fleet.Clear])))
	suspicions := b.suspicions()
	switch {
	case len(b.causes) > 0:
	case len(suspicions) > 0:
		t.hang(&out, "", "Nothing is confirmed against it, and no record is graded by what is suspected. If it was found unfit on the bench, say when with --found.", plainInk)
	default:
		t.hang(&out, "", "Nothing is known against it: no fault, and no proof that failed. If it was found unfit on the bench, say when with --found.", plainInk)
	}
	for _, cause := range b.causes {
		t.hang(&out, " -  ", t.clean(b.one.Instrument+" "+cause.keep.Reason+causeSpan(cause)), plainInk)
	}
	for _, text := range suspicions {
		t.hang(&out, " ?  ", t.clean(b.one.Instrument+" "+text), plainInk)
	}
	if call := callWords(list); call != "" {
		out.WriteString("\n")
		t.hang(&out, "call  ", t.clean(call), plainInk)
	}
	if n := count[fleet.Certain] + count[fleet.InDoubt]; n > 0 {
		out.WriteString("\n")
	}
	for _, d := range list {
		word, ink := strings.ToUpper(d.doubt.String()), wrongInk
		if d.doubt == fleet.Clear {
			if !o.all {
				continue
			}
			word, ink = "clear", quietInk
		}
		lead := t.paint(ink, pad(word, len("IN DOUBT"))) + "  "
		t.hangBehind(&out, lead, len("IN DOUBT")+2, t.clean(fmt.Sprintf("%s, %s to %s, %s, %s, %s", d.record, d.first, d.last.Clock(),
			orUnknown(d.site, "site"), orUnknown(d.technician, "technician"), d.status)))
	}
	if n := count[fleet.Certain] + count[fleet.InDoubt]; n > 0 {
		out.WriteString("\n")
		switch {
		case o.dryRun:
			t.hang(&out, "", "Nothing was marked (--dry-run).", quietInk)
		case marked == 0:
			t.hang(&out, "", "All of them were marked before; nilvolt review list --marked shows them.", quietInk)
		default:
			t.hang(&out, "", plural(marked, "record")+" marked for QA; nilvolt review list --marked shows them.", quietInk)
		}
	}
	return out.String()
}

// causeSpan says in what time a cause may have begun.
func causeSpan(c *doubtCause) string {
	switch k := &c.keep; {
	case k.Earliest != "" && k.Latest != "":
		return fmt.Sprintf(" (begun between %s and %s)", k.Earliest, k.Latest)
	case len(c.failures) == 1 && k.Good != "":
		return fmt.Sprintf(" (the last good proof before it: %s)", k.Good)
	}
	return ""
}

// callWords says at which sites who is to be called, the site with most records first.
func callWords(list []*doubted) string {
	count := map[string]int{}
	who := map[string]map[string]bool{}
	for _, d := range list {
		if d.doubt == fleet.Clear {
			continue
		}
		site := orUnknown(d.site, "site")
		count[site]++
		if who[site] == nil {
			who[site] = map[string]bool{}
		}
		who[site][orUnknown(d.technician, "technician")] = true
	}
	sites := slices.SortedFunc(maps.Keys(count), func(a, b string) int { return cmp.Or(cmp.Compare(count[b], count[a]), strings.Compare(a, b)) })
	var parts []string
	for _, s := range sites {
		parts = append(parts, fmt.Sprintf("%s (%s: %s)", s, plural(count[s], "record"), strings.Join(slices.Sorted(maps.Keys(who[s])), ", ")))
	}
	return strings.Join(parts, "; ")
}
