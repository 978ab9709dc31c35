package verify

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"hash"
	"hash/fnv"
	"math"
	"slices"
	"strings"

	"nilvolt/record"
)

// A Survey gathers from records what the rules across records need of them. It
// serves one goroutine; make one for each and put them together with NewAcross.
type Survey struct {
	judge  *Judge
	series map[string][]series
	keys   []keyOf

	key   copyKey // of the record added last
	keyed bool    // it has one
}

// A copyKey stands for the readings of a record, in order. Two records that
// differ in them and agree in a key are not to be expected in practice, and the
// key decides about a caution only.
type copyKey [16]byte

// A keyOf is the copyKey of a record.
type keyOf struct {
	key    copyKey
	record string
}

// A copyOf is the records that share a copyKey.
type copyOf struct {
	// The first two by id, whatever the order in which they came; second is blank
	// if there is one only.
	first, second string
}

// NewSurvey returns an empty survey. Policy and register are those of the judges
// that will use it.
func NewSurvey(policy *Policy, register record.Register) *Survey {
	return &Survey{
		judge:  NewJudge(policy, register, nil),
		series: map[string][]series{},
	}
}

// Add takes in one record. Nothing of rec is kept but copies. Of a record with several
// times, a series that fails by any of them does; none of them proves another record.
func (s *Survey) Add(rec *record.Record) {
	if !hasClock(rec) {
		s.add(rec, s.judge.policy.SharedProofs)
		return
	}
	for _, how := range timings(rec) {
		s.add(s.judge.timed(rec, how), false)
	}
}

// add takes in one record by the times of its rows, with those of its series that fail,
// or all of them.
func (s *Survey) add(rec *record.Record, all bool) {
	var w plainWalk // most records have no series that fails, which it knows at once
	if !all && w.takes(s.judge, rec) && w.provesWell() {
		s.key, s.keyed = w.copyKey()
	} else {
		s.judge.prepare(rec)
		s.addSeries(all)
		s.key, s.keyed = s.judge.copyKey()
	}
	if s.keyed {
		s.keys = append(s.keys, keyOf{s.key, strings.Clone(rec.ID)})
	}
}

// addSeries takes in the series of the record that fail, or all of them.
func (s *Survey) addSeries(all bool) {
	j := s.judge
	for i := range j.series {
		e := j.series[i]
		if !e.fails() && !all {
			continue
		}
		e.pos = j.rows[e.firstRow].Pos
		e.pos.File = strings.Clone(e.pos.File)
		e.firstRow, e.lastRow = -1, -1
		e.record = strings.Clone(j.rec.ID)
		e.indicator = strings.Clone(e.indicator)
		s.series[e.indicator] = append(s.series[e.indicator], e)
	}
}

// CopyKey returns what stands for the readings of the record added last, in order:
// records with one key repeat each other's readings. ok is false where too few
// readings are not zero to say so.
func (s *Survey) CopyKey() (key [16]byte, ok bool) { return s.key, s.keyed }

// add takes in one more record. Versions of one record are no copies of each
// other.
func (c *copyOf) add(id string) {
	switch {
	case c.first == "":
		c.first = id
	case id == c.first || id == c.second:
	case id < c.first:
		c.first, c.second = id, c.first
	case c.second == "" || id < c.second:
		c.second = id
	}
}

// copyKey returns the key of the record's readings in volts; ok is false where
// fewer than three of them are not zero.
func (j *Judge) copyKey() (key copyKey, ok bool) {
	j.copying.reset()
	for i := range j.rows {
		j.copying.add(j.rows[i].Event)
	}
	return j.copying.key()
}

// A copyHash makes a copyKey of the rows that are added to it.
type copyHash struct {
	hash     hash.Hash // made where it is needed
	readings []byte
	nonzero  int
}

func (h *copyHash) reset() { h.readings, h.nonzero = h.readings[:0], 0 }

func (h *copyHash) add(e *record.Event) {
	if !e.Kind.IsReading() || e.Volts.State == record.Absent {
		return
	}
	v := math.NaN()
	if e.Volts.State == record.Shown {
		v = float64(e.Volts.Volts)
		if v != 0 {
			h.nonzero++
		}
	}
	h.readings = binary.LittleEndian.AppendUint64(h.readings, math.Float64bits(v))
}

func (h *copyHash) key() (key copyKey, ok bool) {
	if h.nonzero < 3 {
		return key, false
	}
	if h.hash == nil {
		h.hash = fnv.New128a()
	}
	h.hash.Reset()
	h.hash.Write(h.readings)
	h.hash.Sum(key[:0])
	return key, true
}

// hasCopy reports whether several records have the readings that key stands for.
func (a *Across) hasCopy(key copyKey) bool {
	_, ok := a.copies[key]
	return ok
}

// An Across is what the rules across records know of all records of a call. It
// may be used by several judges at once.
type Across struct {
	series map[string]*timeline
	copies map[copyKey]copyOf
}

// A timeline is series of one indicator from many records.
type timeline struct {
	byFirst []series         // by the time of the first row
	latest  []record.Instant // the latest end among byFirst[:i+1]
	byLast  []int32          // places in byFirst, by the time of the last row
}

// NewAcross puts surveys together. They must not be used afterwards.
func NewAcross(surveys ...*Survey) *Across {
	a := &Across{series: map[string]*timeline{}}
	var keys []keyOf
	for _, s := range surveys {
		for id, list := range s.series {
			t := a.series[id]
			if t == nil {
				t = &timeline{}
				a.series[id] = t
			}
			t.byFirst = append(t.byFirst, list...)
		}
		keys = append(keys, s.keys...)
		s.keys = nil
	}
	for _, t := range a.series {
		t.sort()
	}
	a.copies = copiesAmong(keys)
	return a
}

// copiesAmong finds the keys that several records have; it sorts the keys.
func copiesAmong(keys []keyOf) map[copyKey]copyOf {
	slices.SortFunc(keys, func(a, b keyOf) int { return a.key.compare(&b.key) })
	copies := map[copyKey]copyOf{}
	for start := 0; start < len(keys); {
		var c copyOf
		end := start
		for ; end < len(keys) && keys[end].key == keys[start].key; end++ {
			c.add(keys[end].record)
		}
		if c.second != "" {
			copies[keys[start].key] = c
		}
		start = end
	}
	return copies
}

// compare brings keys in some order.
func (k *copyKey) compare(other *copyKey) int {
	a, b := binary.LittleEndian.Uint64(k[:8]), binary.LittleEndian.Uint64(other[:8])
	if a == b {
		return bytes.Compare(k[8:], other[8:])
	}
	return cmp.Compare(a, b)
}

func (t *timeline) sort() {
	slices.SortFunc(t.byFirst, func(a, b series) int {
		return cmp.Or(a.first.Compare(b.first), comparePos(a.pos, b.pos))
	})
	t.latest = make([]record.Instant, len(t.byFirst))
	t.byLast = make([]int32, len(t.byFirst))
	for i := range t.byFirst {
		t.latest[i] = t.byFirst[i].last
		if i > 0 && t.latest[i].Before(t.latest[i-1]) {
			t.latest[i] = t.latest[i-1]
		}
		t.byLast[i] = int32(i)
	}
	slices.SortStableFunc(t.byLast, func(a, b int32) int { return t.byFirst[a].last.Compare(t.byFirst[b].last) })
}

// failing returns a failing series of the indicator in another record that
// overlaps the time from one instant to another, nil if there is none.
func (a *Across) failing(indicator, own string, from, to record.Instant) *series {
	t := a.series[indicator]
	if t == nil {
		return nil
	}
	n := t.startedBy(to)
	for i := n - 1; i >= 0 && !t.latest[i].Before(from); i-- {
		if s := &t.byFirst[i]; s.fails() && s.record != own && !s.last.Before(from) {
			return s
		}
	}
	return nil
}

// startedBy returns how many series begin at or before an instant.
func (t *timeline) startedBy(at record.Instant) int {
	n, _ := slices.BinarySearchFunc(t.byFirst, at, func(s series, at record.Instant) int {
		if s.first.Compare(at) <= 0 {
			return -1
		}
		return 1
	})
	return n
}

// before returns the series nearest before a reading, of its own record (which
// may be nil) and of others.
func (a *Across) before(r *row, own string, nearest *series) *series {
	t := a.series[r.Indicator]
	if t == nil {
		return nearest
	}
	n, _ := slices.BinarySearchFunc(t.byLast, r.Time, func(i int32, at record.Instant) int {
		if t.byFirst[i].last.Before(at) {
			return -1
		}
		return 1
	})
	for n--; n >= 0; n-- {
		s := &t.byFirst[t.byLast[n]]
		if s.record == own {
			continue
		}
		if nearest == nil || nearest.last.Before(s.last) {
			return s
		}
		break
	}
	return nearest
}

// after returns the series nearest after a reading, of its own record (which may
// be nil) and of others.
func (a *Across) after(r *row, own string, nearest *series) *series {
	t := a.series[r.Indicator]
	if t == nil {
		return nearest
	}
	for n := t.startedBy(r.Time); n < len(t.byFirst); n++ {
		s := &t.byFirst[n]
		if s.record == own {
			continue
		}
		if nearest == nil || s.first.Before(nearest.first) {
			return s
		}
		break
	}
	return nearest
}

// acrossRules judges the cautions across records.
func (j *Judge) acrossRules() {
	if j.across == nil || len(j.across.copies) == 0 || !j.judges(record.CopiedReadings) {
		return
	}
	key, ok := j.copyKey()
	if !ok {
		return
	}
	c, ok := j.across.copies[key]
	if !ok {
		return
	}
	other := c.first
	if other == j.rec.ID {
		other = c.second
	}
	f := j.add(record.CopiedReadings, record.Caution, "")
	for i := range j.rows {
		if r := &j.rows[i]; r.Kind.IsReading() && r.Volts.State != record.Absent {
			rest(f, r)
		}
	}
	f.Message = copiedSentence(other)
}
