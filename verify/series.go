package verify

import (
	"nilvolt/record"
)

// A series is proofs of one indicator that belong together.
type series struct {
	indicator   string
	first, last record.Instant
	lastStrong  record.Instant // of the last row that passed on a dangerous voltage
	firstRow    int32          // among the rows of the record; -1 for a series of another record
	lastRow     int32
	firstGroup  int32        // its groups are among those from here on
	afterTest   bool         // a dead test of the indicator stands before it in its record
	passes      bool         // as a series before a reading
	passesAfter bool         // as a series after a reading
	strong      bool         // a last row of a group showed a dangerous voltage
	retried     bool         // a row of it failed
	unspecified bool         // a row of it passed without a known expected voltage
	noSource    bool         // a row of it names no source
	waves       waveSet      // waveforms that its rows name
	proved      record.Volts // the highest voltage that a row passed on
	record      string       // the record it stands in, where that is another
	pos         record.Pos   // of its first row, where that stands in another record
}

// A groupKey is what the proofs of a group have in common.
type groupKey struct {
	series      int32
	source      string // Live for the known live source, whatever its case
	expected    record.Volts
	hasExpected bool
}

// A group is the proofs of a series on one source and expected voltage.
type group struct {
	groupKey
	firstPasses bool
	lastPasses  bool
	lastStrong  bool
}

// An indicatorState follows one indicator through the rows.
type indicatorState struct {
	id     string
	open   int32 // its series that may still grow, -1 if none
	latest int32 // the series of its that was passed last, -1 if none
	tested bool  // it has made a dead test
}

// A waveSet holds waveforms.
type waveSet uint8

const (
	waveAC waveSet = 1 << iota
	waveDC
)

func wavesOf(w record.Waveform) waveSet {
	switch w {
	case record.AC:
		return waveAC
	case record.DirectVoltage:
		return waveDC
	case record.WaveformUnknown, record.BothWaveforms:
	}
	return 0
}

// manyIndicators is from how many indicators on a record's are looked up by hash.
const manyIndicators = 16

// state returns the state of an indicator, a new one at its first row.
func (j *Judge) state(id string) *indicatorState {
	if j.current < len(j.indicators) && j.indicators[j.current].id == id {
		return &j.indicators[j.current]
	}
	j.current = j.findState(id)
	return &j.indicators[j.current]
}

// findState returns the place of the state of an indicator.
func (j *Judge) findState(id string) int {
	if len(j.indicators) >= manyIndicators {
		if i, ok := j.byID[id]; ok {
			return i
		}
	} else {
		for i := range j.indicators {
			if j.indicators[i].id == id {
				return i
			}
		}
	}
	j.indicators = append(j.indicators, indicatorState{id: id, open: -1, latest: -1})
	switch n := len(j.indicators); {
	case n == manyIndicators:
		j.byID = map[string]int{}
		for i := range j.indicators {
			j.byID[j.indicators[i].id] = i
		}
	case n > manyIndicators:
		j.byID[id] = n - 1
	}
	return len(j.indicators) - 1
}

// findSeries divides the proofs into series, judges these, and notes for each
// dead test the nearest series of its indicator before and after it.
func (j *Judge) findSeries() {
	j.series, j.groups, j.indicators = j.series[:0], j.groups[:0], j.indicators[:0]
	for i := range j.rows {
		r := &j.rows[i]
		switch {
		case r.Kind == record.Test:
			s := j.state(r.Indicator)
			r.series, s.open, s.tested = s.latest, -1, true
		case r.Kind.IsProof():
			j.addProof(r, int32(i))
		}
	}
	j.judgeSeries()
	j.findNearest()
}

// findNearest notes for each dead test the nearest series of its indicator on
// both sides.
func (j *Judge) findNearest() {
	for i := range j.indicators {
		j.indicators[i].latest = -1
	}
	for i := len(j.rows) - 1; i >= 0; i-- {
		r := &j.rows[i]
		switch {
		case r.Kind == record.Test:
			if r.series >= 0 {
				r.near.before = &j.series[r.series]
			}
			if k := j.state(r.Indicator).latest; k >= 0 {
				r.near.after = &j.series[k]
			}
		case r.Kind.IsProof():
			j.state(r.Indicator).latest = r.series
		}
	}
}

// addProof puts a proof into the open series of its indicator, or opens one.
func (j *Judge) addProof(r *row, index int32) {
	state := j.state(r.Indicator)
	if state.open >= 0 && r.Time.Sub(j.series[state.open].last) > j.policy.SeriesGap {
		state.open = -1
	}
	if state.open < 0 {
		j.series = append(j.series, series{
			indicator: r.Indicator, first: r.Time, firstRow: index,
			firstGroup: int32(len(j.groups)), afterTest: state.tested,
		})
		state.open = int32(len(j.series) - 1)
		state.latest = state.open
	}
	r.series = state.open
	s := &j.series[state.open]
	s.last, s.lastRow = r.Time, index
	s.retried = s.retried || !r.proof.passes
	s.unspecified = s.unspecified || r.proof.unspecified
	s.noSource = s.noSource || r.Source == ""
	s.waves |= wavesOf(r.Waveform)
	s.proved = max(s.proved, r.proof.proved)
	g := j.group(state.open, r)
	g.lastPasses = r.proof.passes
	g.lastStrong = strong(r.Event)
	if g.lastPasses && g.lastStrong {
		s.lastStrong = r.Time
	}
}

// group returns the group of a proof within a series, a new one at its first row.
func (j *Judge) group(in int32, r *row) *group {
	key := groupKey{series: in, source: r.Source, hasExpected: r.HasExpected}
	if isLive(key.source) {
		key.source = record.Live
	}
	if r.HasExpected {
		key.expected = r.Expected
	}
	at := j.findGroup(&key)
	if at < 0 {
		at = len(j.groups)
		j.groups = append(j.groups, group{groupKey: key, firstPasses: r.proof.passes})
		if at == manyGroups {
			j.byKey = map[groupKey]int{}
		}
		if at >= manyGroups {
			j.byKey[key] = at
		}
	}
	return &j.groups[at]
}

// manyGroups is from how many groups on a record's are looked up by hash.
const manyGroups = 32

// findGroup returns the place of a group, -1 if there is none yet.
func (j *Judge) findGroup(key *groupKey) int {
	for i := min(len(j.groups), manyGroups) - 1; i >= int(j.series[key.series].firstGroup); i-- {
		if j.groups[i].groupKey == *key {
			return i
		}
	}
	if len(j.groups) <= manyGroups {
		return -1
	}
	if i, ok := j.byKey[*key]; ok {
		return i
	}
	return -1
}

func sameSource(a, b string) bool {
	return a == b || isLive(a) && isLive(b)
}

// judgeSeries judges all series: the last row of each group passes, one of these
// showed a dangerous voltage, and, for a series after a reading, the first row of
// each group passes too.
func (j *Judge) judgeSeries() {
	for i := range j.series {
		j.series[i].passes, j.series[i].passesAfter = true, true
	}
	for i := range j.groups {
		g := &j.groups[i]
		s := &j.series[g.series]
		s.passes = s.passes && g.lastPasses
		s.passesAfter = s.passesAfter && g.firstPasses
		s.strong = s.strong || g.lastPasses && g.lastStrong
	}
	for i := range j.series {
		s := &j.series[i]
		s.passes = s.passes && s.strong
		s.passesAfter = s.passes && (s.passesAfter || j.policy.ReproveRetry)
	}
}

// fails reports whether a series speaks against readings of other records that
// lie around it.
func (s *series) fails() bool {
	return !s.passes || s.afterTest && !s.passesAfter
}

// sharesTime reports whether a series of this record holds a proof of another
// file at the time of a reading: nobody knows which came first.
func (j *Judge) sharesTime(s *series, r *row) bool {
	if !j.files || s.firstRow < 0 || s.first.Compare(r.Time) != 0 && s.last.Compare(r.Time) != 0 {
		return false
	}
	for i := s.firstRow; i <= s.lastRow; i++ {
		p := &j.rows[i]
		if p.Kind.IsProof() && p.Indicator == r.Indicator && p.Time.Compare(r.Time) == 0 && p.Pos.File != r.Pos.File {
			return true
		}
	}
	return false
}
