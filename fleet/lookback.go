package fleet

import (
	"cmp"
	"slices"

	"nilvolt/record"
)

// A Doubt grades a record once an instrument that it rests on has failed.
type Doubt uint8

// The grades. The zero grade is in doubt, so that what was not graded is not cleared.
const (
	InDoubt Doubt = iota // the instrument may have been faulty
	Certain              // it was faulty
	Clear                // it was good
)

// String returns the grade in words.
func (d Doubt) String() string { return [...]string{"in doubt", "certain", "clear"}[d] }

// A Use is a record that rests on an instrument.
type Use struct {
	Record     string
	Site       string
	Technician string
	First      record.Instant // the first reading with the instrument
	Last       record.Instant // the last one
}

// A Failure is what is known of how an instrument went bad. A zero Instant is not
// known.
type Failure struct {
	// Found is when the failure was seen: the failed proof, or the search that found
	// the fault.
	Found record.Instant
	// Earliest and Latest enclose the beginning of a drift or step, as [Fault] has
	// them. Both are zero where only a failed proof is known.
	Earliest, Latest record.Instant
}

// A Graded is a use with its grade.
type Graded struct {
	Use
	Doubt Doubt
}

// LookBack grades the uses of an instrument that has failed: certain first, then in
// doubt, then clear, each by time. good are the times of the proofs that it passed.
//
// After a failed proof nobody knows when it failed, so that every record since the
// last good proof before it is in doubt. A record whose last reading is not later than
// that proof is clear; a proof of the very time counts. A drift or a step is known
// within an interval of its beginning, and a proof can pass in spite of it: records
// that ended before the interval are clear, those that began at its end or later are
// certain, the rest is in doubt. Readings at or after the time at which the failure
// was found are certain. A use without times is in doubt.
//
// Sources: ISO 9001:2015, 7.1.5.2 (validity of previous results); ISO/IEC 17025:2017,
// 7.10 (nonconforming work).
func LookBack(uses []Use, good []record.Instant, failure Failure) []Graded {
	var lastGood record.Instant
	for _, g := range good {
		if failure.Found.IsSet() && g.Before(failure.Found) && (!lastGood.IsSet() || lastGood.Before(g)) {
			lastGood = g
		}
	}
	graded := make([]Graded, 0, len(uses))
	for _, u := range uses {
		graded = append(graded, Graded{u, failure.grade(u, lastGood)})
	}
	rank := [...]int{Certain: 0, InDoubt: 1, Clear: 2}
	slices.SortStableFunc(graded, func(a, b Graded) int {
		return cmp.Or(cmp.Compare(rank[a.Doubt], rank[b.Doubt]), a.First.Compare(b.First), cmp.Compare(a.Record, b.Record))
	})
	return graded
}

func (f *Failure) grade(u Use, lastGood record.Instant) Doubt {
	switch {
	case !u.First.IsSet() || !u.Last.IsSet():
		return InDoubt
	case f.Found.IsSet() && !u.Last.Before(f.Found):
		return Certain
	case f.Earliest.IsSet() && f.Latest.IsSet():
		switch {
		case u.Last.Before(f.Earliest):
			return Clear
		case !u.First.Before(f.Latest):
			return Certain
		}
	case lastGood.IsSet() && !lastGood.Before(u.Last):
		return Clear
	}
	return InDoubt
}
