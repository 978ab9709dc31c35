package verify_test

import (
	"math"
	"slices"
	"strings"

	"nilvolt/record"
)

// This file is sections 3 and 4 of docs/rules.md, for one row: what a dead test
// says, and whether a proof passes.

// A class is what a dead test says, the worse the higher.
type class int

const (
	classDead class = iota
	classCannotShow
	classUnreadable
	classResidual
	classLive
)

var usualSteps = []record.Volts{12, 24, 50, 120, 230, 400, 690}

// entry returns the register's entry of an instrument; case does not matter.
func (q *inquiry) entry(id string) *record.Instrument {
	if in := q.reg[id]; in != nil {
		return in
	}
	for other, in := range q.reg {
		if strings.EqualFold(other, id) {
			return in
		}
	}
	return nil
}

// stepsOf returns the steps of an indicator, ascending.
func (q *inquiry) stepsOf(indicator string) []record.Volts {
	if in := q.entry(indicator); in != nil && len(in.Stages) > 0 {
		return in.Stages
	}
	return usualSteps
}

// dcSupply says whether the supply is dc; where none is stated, the conductors
// tell it.
func (q *inquiry) dcSupply() bool {
	if q.job.Supply != record.SupplyUnknown {
		return q.job.Supply.IsDC()
	}
	return slices.ContainsFunc(q.job.Conductors, func(c record.Conductor) bool {
		return c == record.LPlus || c == record.LMinus || c == record.M
	})
}

// waveformOf returns the waveform of a row; a blank one takes what the register
// says that the indicator senses.
func (q *inquiry) waveformOf(e *record.Event) record.Waveform {
	if e.Waveform == record.WaveformUnknown {
		return q.sensesOf(e.Indicator)
	}
	return e.Waveform
}

func (q *inquiry) sensesOf(indicator string) record.Waveform {
	if in := q.entry(indicator); in != nil {
		return in.Senses
	}
	return record.WaveformUnknown
}

// classOf returns what a dead test says.
func (q *inquiry) classOf(e *record.Event) class {
	dead := q.set.deadLimit
	if e.Pair.Same(record.Pair{A: record.N, B: record.E}) {
		dead = max(dead, q.set.neutralEarthLimit)
	}
	live := 50.0
	if q.job.Supply.IsDC() && e.Waveform == record.DirectVoltage {
		live = 120
	}
	noVolts, noStage := e.Volts.State == record.Absent, e.Stage.State == record.StageAbsent
	switch {
	case noVolts && noStage:
		return classUnreadable
	case noStage:
		return classOfVolts(e.Volts, dead, live)
	case noVolts:
		return classOfStage(e.Stage, q.stepsOf(e.Indicator), dead, live)
	}
	return max(classOfVolts(e.Volts, dead, live), classOfStage(e.Stage, q.stepsOf(e.Indicator), dead, live))
}

func classOfVolts(r record.Reading, dead, live float64) class {
	v := math.Abs(float64(r.Volts))
	switch {
	case r.State == record.Overflow:
		return classLive
	case r.State != record.Shown:
		return classUnreadable
	case v <= dead:
		return classDead
	case v >= live:
		return classLive
	}
	return classResidual
}

func classOfStage(s record.Stage, steps []record.Volts, dead, live float64) class {
	if s.State == record.StageNone {
		if float64(steps[0]) <= dead {
			return classDead
		}
		return classCannotShow
	}
	at := slices.Index(steps, s.Volts)
	if s.State != record.StageLit || at < 0 {
		return classUnreadable
	}
	last := at == len(steps)-1
	if float64(s.Volts) >= live || last || float64(steps[at+1]) > live {
		return classLive
	}
	return classResidual
}

// wrongWaveform says whether a dead reading was taken on the waveform that the
// supply does not have. Around are the series nearest before and after it, nil
// where there is none.
func (q *inquiry) wrongWaveform(e *record.Event, around ...*series) bool {
	other := record.DirectVoltage
	if q.dcSupply() {
		other = record.AC
	}
	senses := q.sensesOf(e.Indicator)
	switch {
	case senses == other:
		return true
	case senses == record.BothWaveforms || e.Waveform == record.BothWaveforms:
		return false
	case q.waveformOf(e) != record.WaveformUnknown:
		return q.waveformOf(e) == other
	}
	for _, s := range around {
		if s != nil && slices.ContainsFunc(s.rows, func(p *row) bool { return p.Waveform == other }) {
			return true
		}
	}
	return false
}

// A proofResult is what one proof row shows.
type proofResult struct {
	pass        bool
	unspecified bool    // it passed without an expected voltage
	level       float64 // the voltage that it was proved at, for proof-below-nominal
}

// proof judges one proof row by section 3.
func (q *inquiry) proof(e *record.Event) proofResult {
	source := q.entry(e.Source)
	if strings.EqualFold(e.Source, e.Indicator) || source != nil && source.Kind == record.Indicator {
		return proofResult{}
	}
	var wanted []float64
	switch {
	case e.HasExpected:
		if source != nil && len(source.Outputs) > 0 && !slices.Contains(source.Outputs, e.Expected) {
			return proofResult{}
		}
		wanted = []float64{float64(e.Expected)}
	case source != nil && len(source.Outputs) == 1:
		wanted = []float64{float64(source.Outputs[0])}
	case e.Source == record.Live:
		wanted = q.nominalVoltages()
	}
	if len(wanted) == 0 {
		return q.unspecifiedProof(e)
	}
	best := proofResult{}
	for _, expected := range wanted {
		if q.meets(e, expected) {
			best = proofResult{pass: true, level: max(best.level, expected)}
		}
	}
	return best
}

// nominalVoltages returns the voltages that a live source of this supply has.
func (q *inquiry) nominalVoltages() []float64 {
	n := float64(q.job.Nominal)
	if n == 0 {
		return nil
	}
	switch q.job.Supply {
	case record.ThreePhase:
		return []float64{n, n / math.Sqrt(3)}
	case record.SplitPhase, record.DC3Wire:
		return []float64{n, n / 2}
	}
	return []float64{n}
}

// toleranceOf returns the tolerance of a proof in percent.
func (q *inquiry) toleranceOf(e *record.Event) float64 {
	percent := q.set.tolerance
	if e.Source == record.Live {
		percent = q.set.liveSourceTolerance
	}
	for _, id := range []string{e.Indicator, e.Source} {
		if in := q.entry(id); in != nil && in.Tolerance > 0 {
			percent = min(percent, in.Tolerance)
		}
	}
	return percent
}

// meets says whether what a proof shows agrees with an expected voltage.
func (q *inquiry) meets(e *record.Event, expected float64) bool {
	if expected <= 0 {
		return false
	}
	hasVolts, hasStage := e.Volts.State != record.Absent, e.Stage.State != record.StageAbsent
	if hasVolts {
		off := math.Abs(math.Abs(float64(e.Volts.Volts)) - expected)
		if e.Volts.State != record.Shown || off > q.toleranceOf(e)/100*expected+1e-9 {
			return false
		}
	}
	if hasStage && !stageMeets(e.Stage, q.stepsOf(e.Indicator), expected) {
		return false
	}
	return hasVolts || hasStage
}

func stageMeets(s record.Stage, steps []record.Volts, expected float64) bool {
	if s.State != record.StageLit || !slices.Contains(steps, s.Volts) {
		return false
	}
	lowest, highest := 0.0, math.Inf(1)
	for _, step := range steps {
		if v := float64(step); v <= expected {
			lowest = v
		} else {
			highest = v
			break
		}
	}
	return lowest > 0 && float64(s.Volts) >= lowest && float64(s.Volts) <= highest
}

// unspecifiedProof judges a proof whose source may put out anything.
func (q *inquiry) unspecifiedProof(e *record.Event) proofResult {
	level := 0.0
	if e.Volts.State != record.Absent {
		level = math.Abs(float64(e.Volts.Volts))
		if e.Volts.State != record.Shown || level < 50 {
			return proofResult{}
		}
	}
	if e.Stage.State != record.StageAbsent {
		lit := e.Stage.State == record.StageLit && slices.Contains(q.stepsOf(e.Indicator), e.Stage.Volts)
		if !lit || e.Stage.Volts < 50 {
			return proofResult{}
		}
		if level == 0 {
			level = float64(e.Stage.Volts)
		}
	}
	return proofResult{pass: level > 0, unspecified: true, level: level}
}

// A series is successive proofs by one indicator.
type series struct {
	owner *inquiry
	rows  []*row
}

func (s *series) first() *row { return s.rows[0] }
func (s *series) last() *row  { return s.rows[len(s.rows)-1] }

// passes says whether the series shows that the indicator works, as a series
// before a reading or as one after it.
func (s *series) passes(after bool) bool {
	type group struct {
		source      string
		hasExpected bool
		expected    record.Volts
	}
	members := map[group][]*row{}
	for _, r := range s.rows {
		g := group{source: r.Source, hasExpected: r.HasExpected}
		if r.HasExpected {
			g.expected = r.Expected
		}
		members[g] = append(members[g], r)
	}
	high := false
	for _, rows := range members {
		last := rows[len(rows)-1]
		if !s.owner.proof(&last.Event).pass {
			return false
		}
		if after && !s.owner.set.reproveRetry && !s.owner.proof(&rows[0].Event).pass {
			return false
		}
		high = high || isHigh(last)
	}
	return high
}

// isHigh says whether a proof was made on a voltage that is dangerous.
func isHigh(r *row) bool {
	return r.Volts.State == record.Shown && r.Volts.Volts.Abs() >= 45 ||
		r.Stage.State == record.StageLit && r.Stage.Volts >= 50
}

// lastHigh returns the last row of a passing series that passed on such a voltage.
func (s *series) lastHigh() *row {
	var last *row
	for _, r := range s.rows {
		if isHigh(r) && s.owner.proof(&r.Event).pass {
			last = r
		}
	}
	return last
}

// fails says whether the series makes records of other work doubtful.
func (s *series) fails() bool {
	if !s.passes(false) {
		return true
	}
	for _, r := range s.owner.rows {
		if r.Kind == record.Test && r.Indicator == s.first().Indicator && r.at < s.first().at {
			return !s.passes(true)
		}
	}
	return false
}
