package fleet

import (
	"math"
	"slices"

	"nilvolt/record"
)

// A Form says what a proof shows.
type Form uint8

// The forms. The zero Form is a proof without a value, which is never good.
const (
	NoValue Form = iota // absent, unreadable or beyond the range
	Numeric             // a number of volts
	Stepped             // the highest lit step
)

// A Proof is one reading of an indicator on a proving source.
type Proof struct {
	Indicator string
	Source    string // id of the proving unit, record.Live, or blank
	Record    string // id of the record that it stands in
	Time      record.Instant
	Expected  float64 // volts that the source puts out; 0 where it is not known
	Volts     float64 // meaningful only for Numeric; without its sign
	Lit       float64 // Stepped: highest lit step in volts, 0 where none was lit
	Next      float64 // Stepped: the step above Lit, +Inf where there is none
	Form      Form
	Passed    bool // the judge's word on this row
	Retried   bool // the row failed and a later one of its series passed
}

// ProofOf returns the proof that a row holds. Whether it passed, and whether it
// was retried, is the judge's word. The steps are those of a stepped indicator,
// ascending; where they are not known the interval above the lit step is open.
// ok is false for a row that is no proof.
func ProofOf(id string, ev *record.Event, steps []record.Volts, passed, retried bool) (p Proof, ok bool) {
	if !ev.Kind.IsProof() {
		return Proof{}, false
	}
	p = Proof{
		Indicator: ev.Indicator, Source: ev.Source, Record: id, Time: ev.Time,
		Passed: passed, Retried: retried,
	}
	if ev.HasExpected {
		p.Expected = float64(ev.Expected)
	}
	switch {
	case ev.Volts.State == record.Shown:
		p.Form, p.Volts = Numeric, math.Abs(float64(ev.Volts.Volts))
	case ev.Volts.State != record.Absent: // unreadable beside a lit step stays unreadable
	case ev.Stage.State == record.StageLit:
		p.Form, p.Lit, p.Next = Stepped, float64(ev.Stage.Volts), math.Inf(1)
		if i := slices.IndexFunc(steps, func(s record.Volts) bool { return s > ev.Stage.Volts }); i >= 0 {
			p.Next = float64(steps[i])
		}
	case ev.Stage.State == record.StageNone && len(steps) > 0:
		p.Form, p.Next = Stepped, float64(steps[0])
	}
	return p, true
}

// Error returns the relative error of a numeric proof in percent,
// 100 (volts - expected) / expected. ok is false where it has none.
func (p *Proof) Error() (percent float64, ok bool) {
	if p.Form != Numeric || !(p.Expected > 0) {
		return 0, false
	}
	percent = 100 * (p.Volts - p.Expected) / p.Expected
	return percent, !math.IsInf(percent, 0) && !math.IsNaN(percent)
}

// ErrorInterval returns the interval in percent that a stepped proof leaves for
// the relative error: at least low and less than high, which is +Inf above the
// last step. ok is false where there is none.
func (p *Proof) ErrorInterval() (low, high float64, ok bool) {
	if p.Form != Stepped || !(p.Expected > 0) {
		return 0, 0, false
	}
	return 100 * (p.Lit - p.Expected) / p.Expected, 100 * (p.Next - p.Expected) / p.Expected, true
}
