package verify

import (
	"slices"

	"nilvolt/record"
)

// A RowState is a row of a record with what the judge took it for.
type RowState struct {
	Event *record.Event
	// State is what a dead test showed: Good only where it counts for a required pair
	// and is good. A dead reading that does not count is Unproved; Dead tells it apart.
	// Of other rows it is Missing.
	State  State
	Dead   bool // of a dead test: not above the dead limit
	Counts bool // of a dead test: it counts for a required pair
	Passes bool // of a proof
	Series int  // of a proof: its place in [Judgement.Series]; else -1
	// Aside says that the row was not judged: it stands behind a closing restore, or
	// may belong to another record and says nothing against this one.
	Aside bool
}

// Rows returns every row of the record by time.
func (g *Judgement) Rows() []RowState {
	j := g.weighed()
	if j == nil {
		return nil
	}
	out := make([]RowState, 0, len(j.rec.Events))
	judged := make(map[*record.Event]bool, len(j.rows))
	for i := range j.rows {
		out = append(out, j.rowState(&j.rows[i]))
		judged[j.rows[i].Event] = true
	}
	for i := range j.slots {
		if s := &j.slots[i]; s.row >= 0 {
			out[s.row].Counts = true
			if s.good && out[s.row].Dead {
				out[s.row].State = Good
			}
		}
	}
	for i := range j.rec.Events {
		if e := &j.rec.Events[i]; !judged[e] {
			out = append(out, RowState{Event: e, Series: -1, Aside: true})
		}
	}
	slices.SortStableFunc(out, func(a, b RowState) int { return a.Event.Time.Compare(b.Event.Time) })
	return out
}

func (j *Judge) rowState(r *row) RowState {
	s := RowState{Event: r.Event, Series: -1}
	switch {
	case r.Kind.IsProof():
		s.Passes, s.Series = r.proof.passes, int(r.series)
	case r.Kind == record.Test:
		s.State, s.Dead = stateOf(r.class), r.class == classDead
	}
	return s
}

// stateOf is what a dead test of a class shows that nothing proves.
func stateOf(c class) State {
	switch c {
	case classDead:
		return Unproved
	case classCannotShow:
		return CannotShow
	case classUnreadable:
		return Unread
	case classResidual:
		return Residual
	case classLive:
		return LiveRead
	case classNone: // no dead test
	}
	return Missing
}

// A SeriesState is a proof series of the record with how it was judged.
type SeriesState struct {
	Indicator   string
	First, Last record.Instant
	Passes      bool // as the proof before a reading
	PassesAfter bool // as the proof after a reading
}

// Series returns the proof series of the record, in the order of their first rows.
func (g *Judgement) Series() []SeriesState {
	j := g.weighed()
	if j == nil {
		return nil
	}
	out := make([]SeriesState, len(j.series))
	for i := range j.series {
		s := &j.series[i]
		out[i] = SeriesState{s.indicator, s.first, s.last, s.passes, s.passesAfter}
	}
	return out
}
