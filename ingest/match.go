package ingest

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"time"

	"nilvolt/clocks"
	"nilvolt/formats"
	"nilvolt/record"
)

// A Clock tells how the clock of a log without record ids goes against another.
type Clock struct {
	File       string // the log
	Instrument string // whose log it is: an indicator, or a proving unit
	// Against says what it is compared with: the proofs of records, or another log.
	Against string
	clocks.Alignment
}

// A matcher puts the rows without a record id to the records that they fit.
type matcher struct {
	set     *Set
	rows    []loose
	logs    []*clockedLog
	byID    map[logID]*clockedLog
	windows map[string][]window // by indicator: of the job sheets and of the records' own rows
	sources map[string][]window // by proving unit
	proofs  []namedProof        // of records
	names   map[string]string   // of instruments, each once
	placed  *looseRows
}

// A logID names an instrument's log: all rows without a record id in one file that
// are of one instrument.
type logID struct {
	input      int
	instrument string
	unit       bool // of a proving unit
}

// A clockedLog is a log with what is known of its clock.
type clockedLog struct {
	logID
	rows []int // of matcher.rows
	// named are the windows of the job sheets, and of the records' own rows in other files.
	named  []window
	proofs []clocks.Proof
	tests  int
	clock  clocks.Alignment // not sure where the clock is taken as it is
	told   bool             // the clock was compared with another
	// beside is the clock of another log of the instrument, where its own is not known:
	// it may be the same one.
	beside *clocks.Alignment
	shared map[string]*record.Clock
}

// A namedProof is a proof in a record with an id.
type namedProof struct {
	indicator, source string
	at                record.Instant
}

// match matches the loose rows.
func (s *Set) match(ctx context.Context, rows []loose) error {
	m := &matcher{set: s, rows: rows, byID: make(map[logID]*clockedLog), names: make(map[string]string)}
	s.loose = &looseRows{} // while the records' own rows are gone over
	if len(rows) > 0 {
		m.sortIntoLogs()
		if err := m.lookAtRecords(ctx); err != nil {
			return err
		}
		m.alignIndicators()
		m.alignUnits()
		m.lookBeside()
	}
	m.place()
	s.loose = m.placed
	return nil
}

// sortIntoLogs divides the rows by log.
func (m *matcher) sortIntoLogs() {
	for i := range m.rows {
		row := &m.rows[i]
		id := logID{input: row.input, instrument: row.indicator}
		if row.kind == record.Output {
			id.instrument, id.unit = row.source, true
		}
		if row.bad || id.instrument == "" {
			continue
		}
		log := m.byID[id]
		if log == nil {
			log = &clockedLog{logID: id, shared: make(map[string]*record.Clock)}
			m.byID[id] = log
			m.logs = append(m.logs, log)
		}
		log.rows = append(log.rows, i)
		switch {
		case row.kind == record.Test:
			log.tests++
		case row.kind.IsProof():
			log.proofs = append(log.proofs, clocks.Proof{At: row.time, Key: row.source})
		case id.unit:
			log.proofs = append(log.proofs, clocks.Proof{At: row.time})
		}
	}
}

// lookAtRecords goes over the records with ids for what they say of the instruments of
// the logs: when each was used, and its proofs. Rows that cannot be read are left to
// [Set.Each], which reports them.
func (m *matcher) lookAtRecords(ctx context.Context) error {
	m.windows, m.sources = windowsOf(m.set.jobs), make(map[string][]window)
	ofLogs := make(map[string][]*clockedLog)
	for _, log := range m.logs {
		log.named = slices.Clone(m.windows[log.instrument])
		ofLogs[log.instrument] = append(ofLogs[log.instrument], log)
	}
	var mu sync.Mutex
	progress := m.set.options.Progress
	m.set.options.Progress = nil
	defer func() { m.set.options.Progress = progress }()
	err := m.set.Each(ctx, func() Visitor {
		return func(rec *record.Record, out []byte) []byte {
			mu.Lock()
			defer mu.Unlock()
			m.look(rec, ofLogs)
			return out
		}
	}, func([]byte) error { return nil })
	if _, bad := errors.AsType[*formats.BadRows](err); bad {
		err = nil
	}
	slices.SortFunc(m.proofs, func(a, b namedProof) int { // workers come in any order
		return cmp.Or(a.at.Compare(b.at), strings.Compare(a.indicator, b.indicator), strings.Compare(a.source, b.source))
	})
	for _, list := range m.windows {
		sortWindows(list)
	}
	for _, list := range m.sources {
		sortWindows(list)
	}
	for _, log := range m.logs {
		sortWindows(log.named)
	}
	return err
}

// look takes what one record says.
func (m *matcher) look(rec *record.Record, ofLogs map[string][]*clockedLog) {
	id := ""
	for i := range rec.Events {
		ev := &rec.Events[i]
		logs := ofLogs[ev.Indicator]
		if !ev.Kind.IsReading() || len(logs) == 0 && len(ofLogs[ev.Source]) == 0 {
			continue
		}
		if id == "" {
			id = strings.Clone(rec.ID)
		}
		if len(logs) > 0 {
			name := m.name(ev.Indicator)
			m.windows[name] = widened(m.windows[name], id, ev.Time, 0)
		}
		for _, log := range logs {
			if m.set.inputs[log.input].name != ev.Pos.File {
				log.named = widened(log.named, id, ev.Time, 0)
			}
		}
		if !ev.Kind.IsProof() {
			continue
		}
		source := m.name(ev.Source)
		if len(ofLogs[source]) > 0 {
			m.sources[source] = widened(m.sources[source], id, ev.Time, switchedOn)
		}
		m.proofs = append(m.proofs, namedProof{m.name(ev.Indicator), source, ev.Time})
	}
}

// name returns the name of an instrument, which a record holds only while it is
// visited, for good.
func (m *matcher) name(text string) string {
	name, known := m.names[text]
	if !known {
		name = strings.Clone(text)
		m.names[name] = name
	}
	return name
}

// switchedOn is how long before or after a proof the unit's output may be switched on.
const switchedOn = time.Minute

// widened returns windows of an instrument of which that of a record holds t, and as much
// on either side.
func widened(list []window, id string, t record.Instant, beside time.Duration) []window {
	w := window{start: t.Add(-beside), end: t.Add(beside), record: id, own: true}
	if n := len(list) - 1; n >= 0 && list[n].own && list[n].record == id {
		if list[n].start.Before(w.start) {
			w.start = list[n].start
		}
		if w.end.Before(list[n].end) {
			w.end = list[n].end
		}
		list[n] = w
		return list
	}
	return append(list, w)
}

// alignIndicators compares the clocks of the indicators' logs with those of the
// records, and those that no record's proof reaches with the largest log of the same
// indicator.
func (m *matcher) alignIndicators() {
	largest := make(map[string]*clockedLog)
	for _, log := range m.logs {
		if log.unit {
			continue
		}
		var own []clocks.Proof
		for i := range m.proofs {
			if p := &m.proofs[i]; p.indicator == log.instrument {
				own = append(own, clocks.Proof{At: p.at, Key: p.source})
			}
		}
		m.align(log, own, "the records")
		if l := largest[log.instrument]; l == nil || log.tests > l.tests {
			largest[log.instrument] = log
		}
	}
	for _, log := range m.logs {
		if main := largest[log.instrument]; !log.unit && main != log && !log.clock.Sure {
			m.align(log, main.settled(), m.set.inputs[main.input].name)
		}
	}
}

// alignUnits compares the clocks of the proving units' logs with those of the records
// and of the indicators' logs that show proofs on them.
func (m *matcher) alignUnits() {
	for _, unit := range m.logs {
		if !unit.unit {
			continue
		}
		var proofs []clocks.Proof
		for i := range m.proofs {
			if m.proofs[i].source == unit.instrument {
				proofs = append(proofs, clocks.Proof{At: m.proofs[i].at})
			}
		}
		named := len(proofs)
		var logs []*clockedLog
		for _, log := range m.logs {
			before := len(proofs)
			for _, p := range log.settled() {
				if !log.unit && p.Key == unit.instrument {
					proofs = append(proofs, clocks.Proof{At: p.At})
				}
			}
			if len(proofs) > before {
				logs = append(logs, log)
			}
		}
		against := "the records"
		if named == 0 && len(logs) > 0 {
			against = m.set.inputs[logs[0].input].name
		}
		m.align(unit, proofs, against)
		if named == 0 && len(logs) == 1 {
			m.preferUnit(unit, logs[0], proofs)
		}
	}
}

// preferUnit takes the clock of a unit for the right one, and not that of the
// indicator's log with which it was compared, where the job sheets leave no doubt: all
// readings of the log fit a window by the unit's clock, and not half of them by the
// log's own.
func (m *matcher) preferUnit(unit, log *clockedLog, proofs []clocks.Proof) {
	if !unit.clock.Sure || log.told {
		return
	}
	back := unit.clock.Against(proofs, unit.proofs)
	own, units := 0, 0
	for _, i := range log.rows {
		t := m.rows[i].time
		if len(fitting(m.windows[log.instrument], t, t)) > 0 {
			own++
		}
		ahead, ok := back.Ahead(t)
		if u := t.Add(-ahead); ok && len(fitting(m.windows[log.instrument], u, u)) > 0 {
			units++
		}
	}
	if units < len(log.rows) || 2*own >= len(log.rows) {
		return
	}
	log.clock, unit.clock = back, clocks.Alignment{}
	m.set.clocks = slices.DeleteFunc(m.set.clocks, func(c Clock) bool {
		return c.File == m.set.inputs[unit.input].name && c.Instrument == unit.instrument
	})
	m.tell(log, m.set.inputs[unit.input].name)
}

// lookBeside notes for logs whose clock is not known that of another log of the
// instrument.
func (m *matcher) lookBeside() {
	known := make(map[logID]*clocks.Alignment)
	for _, log := range m.logs {
		if id := (logID{instrument: log.instrument, unit: log.unit}); log.clock.Sure && known[id] == nil {
			known[id] = &log.clock
		}
	}
	for _, log := range m.logs {
		if !log.clock.Sure {
			log.beside = known[logID{instrument: log.instrument, unit: log.unit}]
		}
	}
}

// align compares a log with proofs by another clock.
func (m *matcher) align(log *clockedLog, proofs []clocks.Proof, against string) {
	if len(proofs) == 0 || len(log.proofs) == 0 {
		return
	}
	log.clock = clocks.Align(proofs, log.proofs)
	log.told = true
	m.tell(log, against)
}

// tell adds what is known of a log's clock to what [Set.Clocks] returns, in place of
// what it held of it.
func (m *matcher) tell(log *clockedLog, against string) {
	c := Clock{m.set.inputs[log.input].name, log.instrument, against, log.clock}
	for i := range m.set.clocks {
		if old := &m.set.clocks[i]; old.File == c.File && old.Instrument == c.Instrument {
			*old = c
			return
		}
	}
	m.set.clocks = append(m.set.clocks, c)
}

// settled returns the proofs of a log by the best that is known of its clock.
func (l *clockedLog) settled() []clocks.Proof {
	proofs := slices.Clone(l.proofs)
	for i := range proofs {
		if ahead, ok := l.clock.Ahead(proofs[i].At); ok {
			proofs[i].At = proofs[i].At.Add(-ahead)
		}
	}
	return proofs
}
