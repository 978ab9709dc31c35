package verify

import (
	"math"
	"strings"
	"unicode/utf8"

	"nilvolt/record"
)

// A proofResult is what one proof says.
type proofResult struct {
	passes      bool
	unspecified bool         // it passed without anybody saying what the source puts out
	proved      record.Volts // what it was proved on: expected, else what was shown; 0 if it failed
}

// A proof without a known expected voltage, and every series, must show a
// dangerous voltage: the extra-low limit for the first, somewhat below it for the
// second, which allows for the tolerance of a 50 V source.
const (
	unspecifiedLimit record.Volts = 50
	strongVolts      record.Volts = 45
	strongStage      record.Volts = 50
)

// strong reports whether a proof showed a dangerous voltage.
func strong(e *record.Event) bool {
	return e.Volts.State == record.Shown && e.Volts.Volts.Abs() >= strongVolts ||
		e.Stage.State == record.StageLit && e.Stage.Volts >= strongStage
}

// isLive reports whether a source is the known live source, in any case: none of its
// letters has another length in one.
func isLive(source string) bool {
	return len(source) == len(record.Live) && source[0]|0x20 == record.Live[0] && strings.EqualFold(source, record.Live)
}

// sameID reports whether two ids are the same but for case. Most differ in their first
// letter.
func sameID(a, b string) bool {
	if a != "" && b != "" && a[0]|b[0] < utf8.RuneSelf && a[0]|0x20 != b[0]|0x20 {
		return false
	}
	return strings.EqualFold(a, b)
}

// proof judges one row: it passes when all that apply hold, and fails where none
// applies, or where the register knows that the source does not put out what the row
// says, or is no proving source.
func (j *Judge) proof(e *record.Event) proofResult {
	if e.Volts.State == record.Absent && e.Stage.State == record.StageAbsent ||
		e.Volts.State == record.Unreadable || e.Volts.State == record.Overflow ||
		e.Source != "" && sameID(e.Source, e.Indicator) {
		return proofResult{}
	}
	live := isLive(e.Source)
	var source *record.Instrument
	if !live {
		source = j.instrument(e.Source)
	}
	if source != nil && source.Kind == record.Indicator {
		return proofResult{}
	}
	tolerance := j.tolerance(e, source, live)
	if e.HasExpected {
		fits := source == nil || len(source.Outputs) == 0 || hasVolts(source.Outputs, e.Expected)
		if fits && j.shows(e, e.Expected, tolerance) {
			return proofResult{passes: true, proved: e.Expected}
		}
		return proofResult{}
	}
	expected := j.expect(source, live)
	for _, v := range expected.list[:expected.n] {
		if j.shows(e, v, tolerance) {
			return proofResult{passes: true, proved: v}
		}
	}
	if expected.n > 0 {
		return proofResult{}
	}
	return j.unspecifiedProof(e)
}

// unspecifiedProof judges a proof of which nobody says what the source puts out.
func (j *Judge) unspecifiedProof(e *record.Event) proofResult {
	shown := record.Volts(0)
	if e.Volts.State == record.Shown {
		shown = e.Volts.Volts.Abs()
		if shown < unspecifiedLimit {
			return proofResult{}
		}
	}
	if e.Stage.State != record.StageAbsent {
		if e.Stage.State != record.StageLit || !hasVolts(j.stepsOf(e.Indicator), e.Stage.Volts) || e.Stage.Volts < unspecifiedLimit {
			return proofResult{}
		}
		if e.Volts.State != record.Shown {
			shown = e.Stage.Volts
		}
	}
	return proofResult{passes: true, unspecified: true, proved: shown}
}

// An expectedVolts holds the voltages that a source may put out.
type expectedVolts struct {
	list [3]record.Volts
	n    int
}

func (x *expectedVolts) add(v record.Volts) {
	x.list[x.n] = v
	x.n++
}

// expect returns the voltages that the source of a proof may put out where the row does
// not say, none when nobody does.
func (j *Judge) expect(source *record.Instrument, live bool) (x expectedVolts) {
	switch {
	case source != nil && len(source.Outputs) == 1:
		x.add(source.Outputs[0])
	case live && j.job.Nominal > 0:
		x.add(j.job.Nominal)
		switch j.job.Supply {
		case record.ThreePhase:
			x.add(j.job.Nominal / sqrt3)
		case record.SplitPhase, record.DC3Wire:
			x.add(j.job.Nominal / 2)
		case record.SupplyUnknown, record.SinglePhase, record.ThreePhase3Wire, record.DC:
		}
	}
	return x
}

// tolerance returns the fraction of the expected voltage that a proof may be off:
// the smallest of policy and register.
func (j *Judge) tolerance(e *record.Event, source *record.Instrument, live bool) float64 {
	percent := j.policy.Tolerance
	if live {
		percent = j.policy.LiveSourceTolerance
	} else if source != nil && source.Tolerance > 0 {
		percent = min(percent, source.Tolerance)
	}
	if i := j.instrument(e.Indicator); i != nil && i.Tolerance > 0 {
		percent = min(percent, i.Tolerance)
	}
	return percent / 100
}

// shows reports whether all that a proof recorded fits the expected voltage.
func (j *Judge) shows(e *record.Event, expected record.Volts, tolerance float64) bool {
	if !(expected > 0) {
		return false
	}
	if e.Volts.State == record.Shown {
		off := math.Abs(float64(e.Volts.Volts.Abs() - expected))
		if !(off <= tolerance*float64(expected)+voltsEpsilon) {
			return false
		}
	}
	return e.Stage.State == record.StageAbsent || j.lights(e, expected)
}

// lights reports whether the highest lit step of a proof fits the expected voltage.
func (j *Judge) lights(e *record.Event, expected record.Volts) bool {
	steps := j.stepsOf(e.Indicator)
	if e.Stage.State != record.StageLit || !hasVolts(steps, e.Stage.Volts) {
		return false
	}
	low, ok := stepUpTo(steps, expected)
	if !ok || e.Stage.Volts < low-voltsEpsilon {
		return false
	}
	next, ok := stepAbove(steps, expected)
	return !ok || e.Stage.Volts <= next+voltsEpsilon
}
