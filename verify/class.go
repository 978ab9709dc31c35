package verify

import (
	"math"

	"nilvolt/record"
)

// A class is what one dead test says; a higher class is worse.
type class uint8

const (
	classNone class = iota // no dead test
	classDead
	classCannotShow
	classUnreadable
	classResidual
	classLive
)

// Limits of extra-low voltage: 50 V ac rms and 120 V ripple-free dc.
// Source: IEC 61140; IEC 60364-4-41, clause 414.
const (
	elvAC record.Volts = 50
	elvDC record.Volts = 120
)

// defaultSteps are the steps of a stepped indicator that the register does not
// know, in volts. Common practice.
var defaultSteps = []record.Volts{12, 24, 50, 120, 230, 400, 690}

// classify tells what a dead test says. With a display and steps the worse
// counts; a blank one says nothing unless both are blank.
func (j *Judge) classify(e *record.Event) class {
	live := elvAC
	if e.Waveform == record.DirectVoltage && j.job.Supply.IsDC() {
		live = elvDC
	}
	dead := j.policy.DeadLimit
	if j.policy.NeutralEarthLimit > dead && e.Pair.Same(record.Pair{A: record.N, B: record.E}) {
		dead = j.policy.NeutralEarthLimit
	}
	c := classUnreadable
	switch e.Volts.State {
	case record.Overflow:
		c = classLive
	case record.Shown:
		switch v := e.Volts.Volts.Abs(); {
		case v <= dead:
			c = classDead
		case v >= live:
			c = classLive
		default:
			c = classResidual
		}
	case record.Unreadable:
	case record.Absent:
		if e.Stage.State != record.StageAbsent {
			c = classNone
		}
	}
	if e.Stage.State != record.StageAbsent {
		c = max(c, classOfStage(e.Stage, j.stepsOf(e.Indicator), dead, live))
	}
	return c
}

// classOfStage tells what the highest lit step says.
func classOfStage(s record.Stage, steps []record.Volts, dead, live record.Volts) class {
	switch s.State {
	case record.StageNone:
		if lowest(steps) <= dead {
			return classDead
		}
		return classCannotShow
	case record.StageLit:
		if !hasVolts(steps, s.Volts) {
			return classUnreadable
		}
		if next, ok := stepAbove(steps, s.Volts); s.Volts >= live || !ok || next > live {
			return classLive
		}
		return classResidual
	case record.StageAbsent, record.StageUnreadable:
	}
	return classUnreadable
}

// stepsOf returns the steps of a stepped indicator, those of the register if it
// knows them.
func (j *Judge) stepsOf(indicator string) []record.Volts {
	if i := j.instrument(indicator); i != nil && len(i.Stages) > 0 {
		return i.Stages
	}
	return defaultSteps
}

// voltsEpsilon is what two voltages that mean the same may differ by, so that
// decimal fractions do not decide.
const voltsEpsilon = 1e-9

func sameVolts(a, b record.Volts) bool {
	return math.Abs(float64(a-b)) <= voltsEpsilon
}

func hasVolts(list []record.Volts, v record.Volts) bool {
	for _, w := range list {
		if sameVolts(v, w) {
			return true
		}
	}
	return false
}

func lowest(steps []record.Volts) record.Volts {
	low := steps[0]
	for _, s := range steps {
		low = min(low, s)
	}
	return low
}

// stepAbove returns the lowest step above v.
func stepAbove(steps []record.Volts, v record.Volts) (next record.Volts, ok bool) {
	for _, s := range steps {
		if s > v+voltsEpsilon && (!ok || s < next) {
			next, ok = s, true
		}
	}
	return next, ok
}

// stepUpTo returns the highest step that is not above v.
func stepUpTo(steps []record.Volts, v record.Volts) (step record.Volts, ok bool) {
	for _, s := range steps {
		if s <= v+voltsEpsilon && (!ok || s > step) {
			step, ok = s, true
		}
	}
	return step, ok
}

// sqrt3 is the ratio of the voltage between two lines to that between a line and
// the neutral of a three-phase supply.
const sqrt3 = 1.7320508075688772
