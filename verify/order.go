package verify

import (
	"slices"

	"nilvolt/record"
)

// orderRows makes j.rows: the events of the record by time, each with its class,
// without those that a closing restore has set aside.
func (j *Judge) orderRows() {
	j.rows, j.outputs = j.rows[:0], j.outputs[:0]
	j.files = false
	j.forget()
	sorted := true
	events := j.rec.Events
	for i := range events {
		e := &events[i]
		if e.Kind == record.Output { // no indicator showed anything
			if !e.Ambiguous {
				j.outputs = append(j.outputs, e)
			}
			continue
		}
		r := j.nextRow()
		*r = row{Event: e, pair: e.Pair, series: -1, slot: -1}
		switch {
		case e.Kind == record.Test:
			r.class = j.classify(e)
		case e.Kind.IsProof():
			r.proof = j.proof(e)
		}
		if e.Ambiguous && r.benign() {
			continue
		}
		if n := len(j.rows); n > 0 {
			sorted = sorted && !e.Time.Before(j.rows[n-1].Time)
			j.files = j.files || e.Pos.File != j.rows[n-1].Pos.File
		}
		j.rows = j.rows[:len(j.rows)+1]
		j.note(r)
	}
	if !sorted {
		slices.SortStableFunc(j.rows, func(a, b row) int { return a.Time.Compare(b.Time) })
	}
	if j.files {
		j.orderWithinTimes()
	}
	if n := len(j.rows); j.steps[record.Restore] > 0 {
		if j.closeRecord(); len(j.rows) < n {
			j.forget()
			for i := range j.rows {
				j.note(&j.rows[i])
			}
		}
	}
}

// forget empties what note gathers.
func (j *Judge) forget() {
	j.steps = [record.Restore + 1]int32{}
	j.sides, j.worst, j.doubtful, j.counters, j.pointed = false, classNone, false, false, false
}

// note gathers what kinds of rows there are, so that rules without any are soon
// done.
func (j *Judge) note(r *row) {
	j.steps[r.Kind]++
	j.worst = max(j.worst, r.class)
	j.sides = j.sides || r.Side == record.SupplySide
	j.doubtful = j.doubtful || r.class == classResidual || r.class == classUnreadable
	j.counters = j.counters || r.HasSeq
	j.pointed = j.pointed || r.Point != ""
}

// nextRow returns the row behind the last one, without taking it in.
func (j *Judge) nextRow() *row {
	n := len(j.rows)
	if n == cap(j.rows) {
		j.rows = append(j.rows, row{})[:n]
	}
	return &j.rows[:n+1][n]
}

// benign reports whether a row that may belong to another record says nothing
// against this one: it is then no evidence here.
func (r *row) benign() bool {
	switch {
	case r.Kind == record.Test:
		return r.class == classDead
	case r.Kind.IsProof():
		return r.proof.passes
	}
	return r.Kind != record.Isolate && r.Kind != record.Restore
}

// orderWithinTimes puts the dead tests that are not dead last among rows of one
// time, where these come from several files: nobody knows which came first.
func (j *Judge) orderWithinTimes() {
	for start := 0; start < len(j.rows); {
		end, several := start+1, false
		for end < len(j.rows) && j.rows[end].Time.Compare(j.rows[start].Time) == 0 {
			several = several || j.rows[end].Pos.File != j.rows[start].Pos.File
			end++
		}
		if several {
			slices.SortStableFunc(j.rows[start:end], func(a, b row) int { return a.rank() - b.rank() })
		}
		start = end
	}
}

// rank is 1 for a dead test that is not dead, else 0.
func (r *row) rank() int {
	if r.Kind == record.Test && r.class != classDead {
		return 1
	}
	return 0
}

// closeRecord cuts the rows at the first restore after which nothing is
// isolated, locked or begun and no line conductor is shown dead: the job is over
// and the power is back.
func (j *Judge) closeRecord() {
	cut := len(j.rows)
	for i := len(j.rows) - 1; i >= 0; i-- {
		r := &j.rows[i]
		switch r.Kind {
		case record.Isolate, record.Lock, record.Begin:
			j.rows = j.rows[:cut]
			return
		case record.Test:
			if r.class == classDead && (mayBeLine(r.Pair.A) || mayBeLine(r.Pair.B)) {
				j.rows = j.rows[:cut]
				return
			}
		case record.Restore:
			if !r.Ambiguous && !j.disputed(i) { // an ambiguous one may have closed another record
				cut = i
			}
		default:
		}
	}
	j.rows = j.rows[:cut]
}

// disputed reports whether another file has a dead test that is not dead at the
// time of row i: nobody knows which came first. Such a row stands behind it.
func (j *Judge) disputed(i int) bool {
	at := &j.rows[i]
	for k := i + 1; k < len(j.rows) && j.rows[k].Time.Compare(at.Time) == 0; k++ {
		if r := &j.rows[k]; r.rank() > 0 && r.Pos.File != at.Pos.File {
			return true
		}
	}
	return false
}

// mayBeLine reports whether c can be a line conductor: all but N, E, PEN and M.
func mayBeLine(c record.Conductor) bool {
	return c != record.N && c != record.M && !c.IsEarth()
}
