package report

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"nilvolt/record"
)

// A Filed is a kept record as the weekly report counts it.
type Filed struct {
	Record     string
	Version    int       // 1 for the first
	Began      time.Time // the zone does not matter
	HandedIn   time.Time
	Readings   int
	Site       string // blank where it is not recorded, as the next
	Technician string
	Indicators []string // each once
	Units      []string // proving units, each once
	Status     record.Status
	Failed     []record.Rule
	// Counted says that this version stands for its record. Another one is only looked
	// at for what waits.
	Counted bool
	// Duplicate says that it was decided to be kept twice, under two ids.
	Duplicate bool
	Open      bool   // somebody has to decide
	Waiting   string // for what, in words; blank where it does not wait
	Decided   string // what was decided and by whom, in words; blank where nothing was
	Doubts    []Doubt
	Row       int64  // the caller's own number of the version
	Sheet     string // name of the file with its sheet, from the report's own; blank where none is written
}

// A Doubt is what makes a record doubtful: an instrument that it rests on failed later.
type Doubt struct {
	Instrument string
	Certain    bool   // it was bad then; else it may have been
	Reason     string // what is wrong with the instrument
}

// Name returns how the version is called on the command line: R7, or R7@2.
func (f *Filed) Name() string {
	if f.Version == 1 {
		return f.Record
	}
	return fmt.Sprintf("%s@%d", f.Record, f.Version)
}

// live reports whether a conductor was live.
func (f *Filed) live() bool { return f.Status == record.LiveFound }

// worse orders records for a reader: live ones first, then by how many rules failed,
// then the oldest.
func worse(a, b *Filed) int {
	return cmp.Or(first(a.live(), b.live()), cmp.Compare(len(b.Failed), len(a.Failed)), a.Began.Compare(b.Began), cmp.Compare(a.Name(), b.Name()))
}

// waitsLonger orders what waits: live ones first, then the oldest.
func waitsLonger(a, b *Filed) int {
	return cmp.Or(first(a.live(), b.live()), a.Began.Compare(b.Began), cmp.Compare(a.Name(), b.Name()))
}

// A Stand says which ledger a report was made from, and how far it had come.
type Stand struct {
	Origin string    // the ledger's name in its checkpoints
	Leaves int64     // of its log
	Root   string    // hash of the tree's head
	Made   time.Time // of the checkpoint
}

// A Week is the report on the records that began in one week. Tables of a group hold
// what was used or seen in the week, in the order in which they are read.
type Week struct {
	Week       ISOWeek
	Begin, End time.Time // in the zone of the report; End is the next week's beginning
	Stand      Stand
	AsOf       time.Time // the later of End and Stand.Made: ages run up to it
	Before     int       // how many weeks before it is compared with

	Total    Row     // its name is blank
	Readings int     // proofs and dead tests
	Bare     int     // records without any reading, that only a job sheet names
	Copies   int     // records decided to be kept twice, which are counted nowhere here
	History  []Point // the weeks before and this one, the oldest first
	Rules    Table   // the most frequent first
	Sites    Table   // by name, as those below
	// Technicians are never ordered by what they did: few records tell little of a
	// person.
	Technicians Table
	Indicators  Table
	Units       Table

	Bad     []*Filed // counted and not compliant, worst first
	Late    Count    // handed in within the week, begun before it
	LateBad []*Filed // those of them that do not comply, worst first
	Waiting []*Filed // begun before End, and open: live ones first, then the oldest
	Sample  Sample
	Doubts  []Doubted // those waiting because an instrument failed later: live ones first, then the certain, then the oldest

	Missing []Missing // jobs of the week of which nothing was handed in; the caller fills it in, as the next two
	Watch   []Watched // instruments to watch, worst first
	Service []Service // of the weeks to come
}

// A Point is the rate of one week.
type Point struct {
	Week ISOWeek
	Count
}

// A Row is one line of a table: a rule, a site, a technician or an instrument.
type Row struct {
	Name   string // blank where it was not recorded
	Now    Count
	Before Count // the weeks before, together
	Change Change
}

// A Table is the rows of one kind.
type Table []Row

// Weeks counts records for one or several weekly reports. The records may come in any
// order. Made by NewWeeks.
type Weeks struct {
	zone        *time.Location
	first, last ISOWeek
	before      int
	stand       Stand
	plan        func(lot int) SamplingPlan
	begins      []int64 // Unix seconds at which the weeks begin, those before included; one more at the end
	weeks       []weekCounts
	waiting     []*Filed
}

// A WeeksOptions says what reports are wanted.
type WeeksOptions struct {
	Zone        *time.Location
	First, Last ISOWeek
	Before      int // how many weeks before a week it is compared with
	Stand       Stand
	Plan        func(lot int) SamplingPlan // nil: PlanFor
}

// A weekCounts is what is counted of one week.
type weekCounts struct {
	total, late  Count
	readings     int
	bare, copies int
	rules        map[string]*Count
	sites        map[string]*Count
	technicians  map[string]*Count
	indicators   map[string]*Count
	units        map[string]*Count
	bad, lateBad []*Filed
	urn          urn
}

// NewWeeks begins to count.
func NewWeeks(o WeeksOptions) *Weeks {
	w := &Weeks{zone: o.Zone, first: o.First, last: o.Last, before: o.Before, stand: o.Stand, plan: o.Plan}
	if w.plan == nil {
		w.plan = PlanFor
	}
	for i := o.First.Add(-o.Before); ; i = i.Add(1) {
		w.begins = append(w.begins, i.Begin(o.Zone).Unix())
		if i == o.Last.Add(1) {
			break
		}
		w.weeks = append(w.weeks, weekCounts{
			rules: map[string]*Count{}, sites: map[string]*Count{}, technicians: map[string]*Count{},
			indicators: map[string]*Count{}, units: map[string]*Count{}, urn: urn{seed: seedOf(o.Stand.Origin, i)},
		})
	}
	return w
}

// Span returns between which times records have to be counted, all in Unix seconds:
// those that began from began up to end, and those handed in from handed up to end.
func (w *Weeks) Span() (began, handed, end int64) {
	return w.begins[0], w.begins[w.before], w.begins[len(w.begins)-1]
}

// weekAt returns which week holds t, -1 for none.
func (w *Weeks) weekAt(t time.Time) int {
	sec := t.Unix()
	i, found := slices.BinarySearch(w.begins, sec)
	if found {
		i++
	}
	if i == len(w.begins) {
		return -1
	}
	return i - 1
}

// Add counts a record, which the caller gives away.
func (w *Weeks) Add(f *Filed) {
	if f.Open && f.Began.Unix() < w.begins[len(w.begins)-1] {
		w.waiting = append(w.waiting, f)
	}
	if !f.Counted {
		return
	}
	one := Count{Records: 1}
	if f.Status != record.Compliant {
		one.Failing = 1
	}
	if f.live() {
		one.Live = 1
	}
	if i := w.weekAt(f.HandedIn); i >= w.before && f.Began.Unix() < w.begins[i] {
		w.weeks[i].addLate(f, one)
	}
	if i := w.weekAt(f.Began); i >= 0 {
		w.weeks[i].add(f, one, i >= w.before)
	}
}

func (c *weekCounts) addLate(f *Filed, one Count) {
	c.late.add(one)
	if one.Failing > 0 {
		c.lateBad = append(c.lateBad, f)
	}
}

// add counts a record of the week; whole says that the week has a report of its own.
func (c *weekCounts) add(f *Filed, one Count, whole bool) {
	if f.Duplicate && !f.live() {
		c.copies++
		return
	}
	c.total.add(one)
	c.readings += f.Readings
	if f.Readings == 0 {
		c.bare++
	}
	for _, r := range f.Failed {
		countIn(c.rules, r.String(), Count{Failing: 1, Live: one.Live})
	}
	countIn(c.sites, f.Site, one)
	countIn(c.technicians, f.Technician, one)
	for _, id := range f.Indicators {
		countIn(c.indicators, id, one)
	}
	for _, id := range f.Units {
		countIn(c.units, id, one)
	}
	switch {
	case !whole:
	case one.Failing > 0:
		c.bad = append(c.bad, f)
	case len(f.Doubts) > 0 && f.Open: // looked at in any case
	default:
		c.urn.add(f)
	}
}

func countIn(m map[string]*Count, name string, one Count) {
	c := m[name]
	if c == nil {
		c = &Count{}
		m[name] = c
	}
	c.add(one)
}

// Report returns the report on one of the weeks that were asked for.
func (w *Weeks) Report(week ISOWeek) *Week {
	begin := week.Begin(w.zone)
	at := w.weekAt(begin)
	now := &w.weeks[at]
	past := w.weeks[at-w.before : at]
	out := &Week{
		Week: week, Begin: begin, End: week.Add(1).Begin(w.zone), Stand: w.stand, Before: w.before,
		Readings: now.readings, Bare: now.bare, Copies: now.copies,
		Bad: slices.SortedFunc(slices.Values(now.bad), worse), Late: now.late,
		LateBad: slices.SortedFunc(slices.Values(now.lateBad), worse),
	}
	out.AsOf = out.End
	if w.stand.Made.After(out.AsOf) {
		out.AsOf = w.stand.Made.In(w.zone)
	}
	out.Total.Now = now.total
	for i := range past {
		out.Total.Before.add(past[i].total)
		out.History = append(out.History, Point{week.Add(i - w.before), past[i].total})
	}
	out.Total.Change = change(out.Total.Now, out.Total.Before, 1)
	out.History = append(out.History, Point{week, now.total})
	out.Rules = ruleTable(now, past, out.Total)
	out.Sites = tableOf(now, past, func(c *weekCounts) map[string]*Count { return c.sites })
	out.Technicians = tableOf(now, past, func(c *weekCounts) map[string]*Count { return c.technicians })
	out.Indicators = tableOf(now, past, func(c *weekCounts) map[string]*Count { return c.indicators })
	out.Units = tableOf(now, past, func(c *weekCounts) map[string]*Count { return c.units })
	for _, f := range w.waiting {
		if f.Began.Before(out.End) {
			out.Waiting = append(out.Waiting, f)
		}
	}
	slices.SortFunc(out.Waiting, waitsLonger)
	out.Doubts = doubted(out.Waiting)
	out.Sample = now.urn.sample(w.plan(now.urn.lot))
	return out
}

// tableOf returns the rows of one kind that were seen in the week, by name.
func tableOf(now *weekCounts, past []weekCounts, of func(*weekCounts) map[string]*Count) Table {
	var t Table
	for _, name := range slices.Sorted(maps.Keys(of(now))) {
		r := Row{Name: name, Now: *of(now)[name]}
		for i := range past {
			if c := of(&past[i])[name]; c != nil {
				r.Before.add(*c)
			}
		}
		t = append(t, r)
	}
	t.compare()
	return t
}

// ruleTable returns the rules that failed in the week, the most frequent first. Each
// was asked of every record.
func ruleTable(now *weekCounts, past []weekCounts, total Row) Table {
	t := tableOf(now, past, func(c *weekCounts) map[string]*Count { return c.rules })
	for i := range t {
		t[i].Now.Records, t[i].Before.Records = total.Now.Records, total.Before.Records
	}
	slices.SortStableFunc(t, func(a, b Row) int { return cmp.Compare(b.Now.Failing, a.Now.Failing) })
	t.compare()
	return t
}

// compare says of each row how it stands to the weeks before.
func (t Table) compare() {
	rows := 0
	for _, r := range t {
		if r.Before.Records > 0 {
			rows++
		}
	}
	for i := range t {
		t[i].Change = change(t[i].Now, t[i].Before, rows)
	}
}

// Quiet reports whether the week can be read in one line: every record that came is
// compliant, none is missing, nothing waits, nothing is in doubt, no instrument is to be watched.
func (w *Week) Quiet() bool {
	return w.Total.Now.Records > 0 && w.Total.Now.Failing == 0 && w.Late.Failing == 0 &&
		len(w.Waiting) == 0 && len(w.Missing) == 0 && len(w.Doubts) == 0 && len(w.Watch) == 0
}

// Listed returns the records that the report names, each once: those whose sheets are
// worth writing beside it.
func (w *Week) Listed() []*Filed {
	list := append(w.liveOpen(), upTo(atLeastLive(mostBad, w.Bad), w.Bad)...)
	list = append(list, upTo(atLeastLive(mostLate, w.LateBad), w.LateBad)...)
	rest := w.waitingRest()
	list = append(list, upTo(atLeastLive(mostWaiting, rest), rest)...)
	for _, g := range w.doubtGroups() {
		shown := map[bool]int{}
		for _, d := range g.doubts {
			if shown[d.Certain]++; shown[d.Certain] <= mostDoubts {
				list = append(list, d.Filed)
			}
		}
	}
	list = append(list, w.Sample.Records...)
	seen := map[*Filed]bool{}
	return slices.DeleteFunc(list, func(f *Filed) bool {
		was := seen[f]
		seen[f] = true
		return was
	})
}

// upTo returns the first n of a list.
func upTo[T any](n int, list []T) []T { return list[:min(n, len(list))] }
