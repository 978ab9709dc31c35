package verify_test

import (
	"slices"

	"nilvolt/record"
)

// This file is section 2 of docs/rules.md, and the closing of section 6: which
// rows a record has, and in what order.

// A row is an event of a record as it is judged.
type row struct {
	record.Event
	at    int         // place in the order of the record
	pair  record.Pair // of a dead test, after N or E became PEN
	class class       // of a dead test
}

// An inquiry is one record under judgement.
type inquiry struct {
	src *record.Record
	set setting
	reg record.Register

	job      record.Job   // the values that go first, column by column
	jobs     []record.Job // each row, its blanks filled from job
	conflict bool

	rows       []*row
	series     []*series
	inUse      []record.Conductor
	switched   []record.Conductor
	known      bool // the conductors are known
	reduced    bool
	required   []slot
	supplySeen bool // a row says side supply
	reset      int  // place of the last reset, -1 when there is none

	counts []counting
	found  []found
}

// open reads a record up to what is required of it.
func open(rec *record.Record, set setting, reg record.Register) *inquiry {
	q := &inquiry{src: rec, set: set, reg: reg, reset: -1}
	q.mergeJobs()
	q.takeRows()
	q.orderRows()
	q.closeRecord()
	q.findConductors()
	q.findSeries()
	for _, r := range q.rows {
		q.supplySeen = q.supplySeen || r.Side == record.SupplySide
		if r.Kind == record.Isolate || r.Kind == record.Restore || r.Kind == record.Test && q.livens(r) {
			q.reset = r.at
		}
	}
	q.findRequired()
	return q
}

// takeRows leaves out what is good evidence in no record. That identical rows of
// different files are one is seen to where files are read, by package ingest.
func (q *inquiry) takeRows() {
	for i := range q.src.Events {
		e := &q.src.Events[i]
		if e.Ambiguous && q.isGood(e) {
			continue
		}
		r := &row{Event: *e, pair: e.Pair}
		if e.Kind == record.Test {
			r.class = q.classOf(e)
		}
		q.rows = append(q.rows, r)
	}
}

// isGood says whether a row would speak for a record.
func (q *inquiry) isGood(e *record.Event) bool {
	switch {
	case e.Kind == record.Test:
		return q.classOf(e) == classDead
	case e.Kind.IsProof():
		return q.proof(e).pass
	}
	return e.Kind != record.Isolate && e.Kind != record.Restore
}

// orderRows puts the rows in the order of their times. Where several files have
// rows of one time, dead tests that are not dead stand last among them.
func (q *inquiry) orderRows() {
	standsLast := func(r *row) bool {
		if r.Kind != record.Test || r.class == classDead {
			return false
		}
		return slices.ContainsFunc(q.rows, func(other *row) bool {
			return other.Pos.File != r.Pos.File && other.Time.Compare(r.Time) == 0
		})
	}
	last := map[*row]bool{}
	for _, r := range q.rows {
		last[r] = standsLast(r)
	}
	slices.SortStableFunc(q.rows, func(a, b *row) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		switch {
		case last[a] == last[b]:
			return 0
		case last[b]:
			return -1
		}
		return 1
	})
	for i, r := range q.rows {
		r.at = i
	}
}

// closeRecord leaves out the restore that ends the work and all behind it. A
// restore that may belong to another record resets, and closes nothing; nor does
// one at whose time another file has a dead test that is not dead.
func (q *inquiry) closeRecord() {
	for i, r := range q.rows {
		contradicts := func(s *row) bool {
			return s.Kind == record.Test && s.class != classDead && s.Time.Compare(r.Time) == 0 && s.Pos.File != r.Pos.File
		}
		if r.Kind == record.Restore && !r.Ambiguous && !slices.ContainsFunc(q.rows[i+1:], worksOn) && !slices.ContainsFunc(q.rows, contradicts) {
			q.rows = q.rows[:i]
			return
		}
	}
}

// worksOn says whether a row behind a restore shows that the work went on.
func worksOn(r *row) bool {
	switch r.Kind {
	case record.Isolate, record.Lock, record.Begin:
		return true
	case record.Test:
		return r.class == classDead && (!returns(r.Pair.A) || !returns(r.Pair.B))
	}
	return false
}

// returns says whether c is N, E, PEN or M, which a restored supply leaves near
// earth.
func returns(c record.Conductor) bool {
	return c == record.N || c == record.E || c == record.PEN || c == record.M
}

// findSeries cuts the proofs of each indicator into series.
func (q *inquiry) findSeries() {
	for _, r := range q.rows {
		if !r.Kind.IsProof() {
			continue
		}
		if s := q.openSeries(r); s != nil {
			s.rows = append(s.rows, r)
		} else {
			q.series = append(q.series, &series{owner: q, rows: []*row{r}})
		}
	}
}

// openSeries returns the series that a proof carries on, nil when it begins one.
func (q *inquiry) openSeries(r *row) *series {
	var s *series
	for _, t := range q.series {
		if t.first().Indicator == r.Indicator {
			s = t
		}
	}
	if s == nil || r.Time.Sub(s.last().Time) > q.set.seriesGap {
		return nil
	}
	for _, between := range q.rows[s.last().at:r.at] {
		if between.Kind == record.Test && between.Indicator == r.Indicator {
			return nil
		}
	}
	return s
}

// mergeJobs takes the first value of each column, and notes conflicts.
func (q *inquiry) mergeJobs() {
	for _, j := range q.src.Jobs {
		take(q, &q.job.Site, j.Site)
		take(q, &q.job.Circuit, j.Circuit)
		take(q, &q.job.Technician, j.Technician)
		take(q, &q.job.Supply, j.Supply)
		take(q, &q.job.Nominal, j.Nominal)
		take(q, &q.job.Earthing, j.Earthing)
		takeList(q, &q.job.Conductors, j.Conductors)
		takeList(q, &q.job.Switched, j.Switched)
		take(q, &q.job.Device, j.Device)
		take(q, &q.job.Poles, j.Poles)
		take(q, &q.job.OnLoad, j.OnLoad)
		take(q, &q.job.Category, j.Category)
		take(q, &q.job.SupplySideLive, j.SupplySideLive)
		take(q, &q.job.Indicator, j.Indicator)
		takeTime(q, &q.job.Start, j.Start)
		takeTime(q, &q.job.End, j.End)
	}
	for _, j := range q.src.Jobs {
		if j.Supply == record.SupplyUnknown {
			j.Supply = q.job.Supply
		}
		if j.Earthing == record.EarthingUnknown {
			j.Earthing = q.job.Earthing
		}
		if len(j.Conductors) == 0 {
			j.Conductors = q.job.Conductors
		}
		if len(j.Switched) == 0 {
			j.Switched = q.job.Switched
		}
		q.jobs = append(q.jobs, j)
	}
}

func take[T comparable](q *inquiry, to *T, v T) {
	var blank T
	switch {
	case v == blank || v == *to:
	case *to == blank:
		*to = v
	default:
		q.conflict = true
	}
}

func takeList(q *inquiry, to *[]record.Conductor, v []record.Conductor) {
	switch {
	case len(v) == 0 || slices.Equal(v, *to):
	case len(*to) == 0:
		*to = v
	default:
		q.conflict = true
	}
}

func takeTime(q *inquiry, to *record.Instant, v record.Instant) {
	switch {
	case !v.IsSet() || to.IsSet() && v.Compare(*to) == 0:
	case !to.IsSet():
		*to = v
	default:
		q.conflict = true
	}
}
