package verify

import "nilvolt/record"

// A Judgement is what the judge says of one record.
type Judgement struct {
	Record   string
	Status   record.Status // never NotJudged
	Supply   record.Supply // as the job sheet states it
	Findings []record.Finding

	judge *Judge // which made it, and knows the pairs until its next call
}

// A State is what the record shows of one required pair.
type State uint8

// The states of a required pair. Only Good is evidence of dead.
const (
	Missing    State = iota // no reading stands for it
	Good                    // dead, on the right waveform, proved before and after
	Unproved                // dead, and one of these is not so
	Residual                // above the dead limit, below live
	LiveRead                // live
	Unread                  // the reading could not be read
	CannotShow              // the indicator has no step low enough to show dead
)

// String returns the state in words.
func (s State) String() string {
	switch s {
	case Missing:
		return "missing"
	case Good:
		return "dead"
	case Unproved:
		return "unproved"
	case Residual:
		return "residual"
	case LiveRead:
		return "live"
	case Unread:
		return "unreadable"
	case CannotShow:
		return "cannot show dead"
	}
	return "not judged"
}

// A PairState is a required pair with the reading that counts for it.
type PairState struct {
	Tested    record.Tested
	State     State
	Printed   string         // what the instrument showed; blank where the pair is missing
	Indicator string         // blank where the pair is missing
	Time      record.Instant // of the reading
	Pos       record.Pos     // of the reading
}
