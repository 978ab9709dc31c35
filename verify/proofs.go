package verify

import (
	"slices"

	"nilvolt/record"
)

// A Proof is a proof of a record with the judge's word on it.
type Proof struct {
	*record.Event
	// Expected is what the source puts out: as the row says, or else its only output
	// in the register; 0 where neither tells.
	Expected record.Volts
	// Steps are those of the indicator, ascending: of the register, or the common ones.
	Steps   []record.Volts
	Passes  bool // the row by itself
	Retried bool // it does not pass, and a later one of its series on the same voltage does
}

// Proofs appends the proofs of rec to out, in the order of its rows, those behind a
// closing restore and those that may belong to another record among them: they say
// something of the instruments all the same. They are valid as long as rec is.
func (j *Judge) Proofs(out []Proof, rec *record.Record) []Proof {
	j.rec = rec
	j.mergeJobs()
	var byTime []*record.Event // made where it is needed, which is seldom
	for i := range rec.Events {
		e := &rec.Events[i]
		if !e.Kind.IsProof() {
			continue
		}
		p := Proof{Event: e, Expected: j.putOut(e), Steps: j.stepsOf(e.Indicator), Passes: j.proof(e).passes}
		if !p.Passes {
			if byTime == nil {
				byTime = eventsByTime(rec)
			}
			p.Retried = j.retried(e, byTime)
		}
		out = append(out, p)
	}
	return out
}

// putOut returns what the source of a proof puts out, 0 where nobody says.
func (j *Judge) putOut(e *record.Event) record.Volts {
	if e.HasExpected {
		return e.Expected
	}
	if i := j.instrument(e.Source); i != nil && !isLive(e.Source) && len(i.Outputs) == 1 {
		return i.Outputs[0]
	}
	return 0
}

// retried reports whether a later proof of the series of e, on the same source and
// expected voltage, passes.
func (j *Judge) retried(e *record.Event, byTime []*record.Event) bool {
	last := e.Time
	for _, next := range byTime[slices.Index(byTime, e)+1:] {
		switch {
		case next.Indicator != e.Indicator:
		case next.Kind == record.Test || next.Kind.IsProof() && next.Time.Sub(last) > j.policy.SeriesGap:
			return false
		case next.Kind.IsProof():
			last = next.Time
			if sameSource(next.Source, e.Source) && sameVolts(j.putOut(next), j.putOut(e)) && j.proof(next).passes {
				return true
			}
		}
	}
	return false
}

func eventsByTime(rec *record.Record) []*record.Event {
	list := make([]*record.Event, len(rec.Events))
	for i := range rec.Events {
		list[i] = &rec.Events[i]
	}
	slices.SortStableFunc(list, func(a, b *record.Event) int { return a.Time.Compare(b.Time) })
	return list
}
