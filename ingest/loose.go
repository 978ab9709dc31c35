package ingest

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"nilvolt/clocks"
	"nilvolt/record"
)

// looseRows are the rows without a record id, matched to records.
type looseRows struct {
	strays []Stray
	// matched holds the rows of each record, in the order of the input.
	matched map[string][]match
	// spoiled holds the records that a bad row may belong to.
	spoiled map[string]bool
}

// A match is a loose row of a record.
type match struct {
	loose
	ambiguous bool          // it may belong to other records as well
	clock     *record.Clock // nil where its time is taken as it was logged
}

// A window is the time in which a record has an instrument: its job sheet says so, or
// its own rows name the instrument.
type window struct {
	start, end record.Instant
	record     string
	own        bool           // from the record's rows
	latest     record.Instant // the latest end of this window and those before it
}

// windowsOf returns the windows of the job sheet by indicator.
func windowsOf(jobs *jobSheet) map[string][]window {
	windows := make(map[string][]window)
	for i := range jobs.rows {
		j := &jobs.rows[i]
		if j.Indicator != "" && j.Start.IsSet() && j.End.IsSet() {
			windows[j.Indicator] = append(windows[j.Indicator], window{start: j.Start, end: j.End, record: j.Record})
		}
	}
	return windows
}

// sortWindows brings windows in order of their start.
func sortWindows(list []window) {
	slices.SortStableFunc(list, func(a, b window) int {
		return cmp.Or(a.start.Compare(b.start), cmp.Compare(rank(a.own), rank(b.own)), strings.Compare(a.record, b.record))
	})
	for i := range list {
		list[i].latest = list[i].end
		if i > 0 && list[i].latest.Before(list[i-1].latest) {
			list[i].latest = list[i-1].latest
		}
	}
}

func rank(own bool) int {
	if own {
		return 1
	}
	return 0
}

// fitting returns the records with a window in which some of the time between two
// instants lies, the limits included, each once, by their start.
func fitting(list []window, from, to record.Instant) []string {
	n, _ := slices.BinarySearchFunc(list, to, func(w window, t record.Instant) int {
		if w.start.Compare(t) > 0 {
			return 1
		}
		return -1
	})
	var records []string
	for i := n - 1; i >= 0 && !list[i].latest.Before(from); i-- {
		if !list[i].end.Before(from) && !slices.Contains(records, list[i].record) {
			records = append(records, list[i].record)
		}
	}
	slices.Reverse(records)
	return records
}

// place gives the loose rows to the records that they fit: readings first, since the
// proofs among them tell where a proving unit was. Steps without a record id fit none.
func (m *matcher) place() {
	l := &looseRows{matched: make(map[string][]match), spoiled: make(map[string]bool)}
	m.placed = l
	fits := make([]fit, len(m.rows))
	for i := range m.rows {
		row := &m.rows[i]
		switch log := m.byID[logID{input: row.input, instrument: row.indicator}]; {
		case row.bad:
			m.spoil(log, row)
		case row.kind.IsReading():
			fits[i] = log.fit(m.windows[row.indicator], row.time)
			if fits[i].one && !log.fit(log.named, row.time).one {
				fits[i].one, fits[i].own = false, true
			}
			if row.kind.IsProof() && fits[i].one {
				at := row.time.Add(-fits[i].ahead)
				m.sources[row.source] = widened(m.sources[row.source], fits[i].records[0], at, switchedOn)
			}
		}
	}
	for _, list := range m.sources {
		sortWindows(list)
	}
	for i := range m.rows {
		row := &m.rows[i]
		if row.kind == record.Output && !row.bad {
			log := m.byID[logID{row.input, row.source, true}]
			fits[i] = log.fit(m.sources[row.source], row.time)
		}
		if !row.bad {
			l.add(m.set.inputs[row.input].name, row, &fits[i])
		}
	}
}

// A fit is the records that a row fits.
type fit struct {
	records   []string
	one       bool          // it belongs to the first of them; to the others it may belong
	own       bool          // it would, but that only rows of its own file say so
	corrected int           // how many of them, from the first on, it fits by its corrected time
	clock     *record.Clock // in these
	ahead     time.Duration
}

// fit finds the records that a row at t fits. Where the clock of the log is known the
// row belongs where its corrected time lies, give or take the uncertainty; what speaks
// against a record counts where its logged time lies, too. A clock that is little off,
// of which no caution will stand on the record, and one that is known only before or
// behind t, or of another log of the instrument, must have both times in one record.
// Where clocks were compared and the answer is not sure, no alignment that explains much
// may put the row into another record than its logged time does.
func (l *clockedLog) fit(windows []window, t record.Instant) fit {
	logged := fitting(windows, t, t)
	clock := &l.clock
	if !clock.Sure {
		if clock = l.beside; clock == nil {
			return l.fitInDoubt(windows, t, logged)
		}
	}
	ahead, known := l.clock.Ahead(t)
	if !known {
		ahead = clock.Offset
	}
	within := clock.Within + late
	u := t.Add(-ahead)
	corrected := fitting(windows, u.Add(-within), u.Add(within))
	f := fit{records: union(corrected, logged), corrected: len(corrected), ahead: ahead}
	if len(corrected) == 0 {
		return f
	}
	f.clock = l.sharedClock(corrected[0], ahead, within)
	f.one = same(corrected, logged)
	if f.clock.Off() {
		f.one = known && len(corrected) == 1
	}
	return f
}

// fitInDoubt finds the records that a row at t fits where clocks were compared and
// none of the alignments is sure. Outputs are no evidence, and need none.
func (l *clockedLog) fitInDoubt(windows []window, t record.Instant, logged []string) fit {
	f := fit{records: logged}
	for _, ahead := range l.clock.MayBeAhead(t) {
		if u := t.Add(-ahead); !l.unit {
			f.records = union(f.records, fitting(windows, u.Add(-late), u.Add(late)))
		}
	}
	f.one = same(f.records, logged)
	return f
}

// late is how much later than a proof a log may stamp it.
const late = time.Second

// same reports whether two lists hold one record, and the same.
func same(a, b []string) bool { return len(a) == 1 && len(b) == 1 && a[0] == b[0] }

// union returns a list with what of another is not in it.
func union(list, more []string) []string {
	list = slices.Clone(list)
	for _, id := range more {
		if !slices.Contains(list, id) {
			list = append(list, id)
		}
	}
	return list
}

// sharedClock returns the clock of all rows of the log in a record: one for all, so
// that the times between them stay as they were logged.
func (l *clockedLog) sharedClock(id string, ahead, within time.Duration) *record.Clock {
	c := l.shared[id]
	if c == nil {
		c = &record.Clock{Ahead: ahead}
		l.shared[id] = c
	}
	c.Within = max(c.Within, within+(ahead-c.Ahead).Abs())
	return c
}

// add hands a row to its records, and lists it if it does not belong to one.
func (l *looseRows) add(file string, row *loose, f *fit) {
	if !f.one {
		stray := Stray{
			Pos: record.Pos{File: file, Line: int(row.line)}, Indicator: row.indicator, Time: row.time, Kind: row.kind,
			Records: f.records, Own: f.own,
		}
		if row.kind == record.Output {
			stray.Source = row.source
		}
		l.strays = append(l.strays, stray)
	}
	for i, id := range f.records {
		m := match{loose: *row, ambiguous: !f.one || i > 0}
		if i < f.corrected {
			m.clock = f.clock
		}
		l.matched[id] = append(l.matched[id], m)
	}
}

// spoil notes the records that a bad row may belong to: those whose windows it
// fits as far as it can be read, by either time.
func (m *matcher) spoil(log *clockedLog, row *loose) {
	if row.indicator != "" {
		m.spoilAt(m.windows[row.indicator], row.time)
		for _, clock := range m.clocksOf(log) {
			if row.time.IsSet() {
				m.spoilAt(m.windows[row.indicator], row.time.Add(-clock.Offset))
			}
		}
		return
	}
	for _, list := range m.windows {
		m.spoilAt(list, row.time)
	}
}

// clocksOf returns the clocks by which rows of a log, which may be nil, are corrected.
func (m *matcher) clocksOf(log *clockedLog) (list []*clocks.Alignment) {
	switch {
	case log == nil:
	case log.clock.Sure:
		list = append(list, &log.clock)
	case log.beside != nil:
		list = append(list, log.beside)
	}
	return list
}

func (m *matcher) spoilAt(list []window, t record.Instant) {
	if t.IsSet() {
		for _, r := range fitting(list, t, t) {
			m.placed.spoiled[r] = true
		}
		return
	}
	for _, w := range list {
		m.placed.spoiled[w.record] = true
	}
}
