package verify

import (
	"slices"

	"nilvolt/record"
)

// nominalMargin allows for the rounding of nominal voltages: 230 V is meant where
// 400 V / sqrt 3 is 230.9 V. Source: IEC 60038 (230/400, 277/480, 347/600).
const nominalMargin = 0.01

// proofRules judges the proofs beside whether they pass.
func (j *Judge) proofRules() {
	if j.remarkable() {
		j.bracketsRules()
	}
	if j.steps[record.Isolate] > 0 && j.judges(record.ProofOnWork) {
		j.proofOnWork()
	}
}

// remarkable reports whether there is anything that bracketRules could remark.
func (j *Judge) remarkable() bool {
	if j.job.Nominal > 0 || j.policy.SharedProofs {
		return true
	}
	for i := range j.series {
		if s := &j.series[i]; s.retried || s.unspecified || s.waves != 0 {
			return true
		}
	}
	return false
}

// bracketsRules judges the passing series around the dead readings that count.
func (j *Judge) bracketsRules() {
	for i := range j.slots {
		s := &j.slots[i]
		if s.row < 0 || j.rows[s.row].class != classDead {
			continue
		}
		r := &j.rows[s.row]
		b := r.near
		if b.before != nil && b.before.passes {
			j.bracketRules(s, r, b.before)
		}
		if b.after != nil && b.after.passesAfter {
			j.bracketRules(s, r, b.after)
		}
	}
}

// bracketRules judges one passing series around a reading that counts.
func (j *Judge) bracketRules(s *slot, r *row, around *series) {
	if around.retried {
		j.bracketCaution(record.ProofRetried, s, r, around)
	}
	if around.unspecified {
		j.bracketCaution(record.ProofUnspecified, s, r, around)
	}
	own, senses := wavesOf(r.Waveform), record.WaveformUnknown
	if i := j.instrument(r.Indicator); i != nil {
		senses = i.Senses
	}
	if r.Waveform == record.WaveformUnknown {
		own = wavesOf(senses)
	}
	if other := (waveAC | waveDC) &^ own; own != 0 && around.waves&other != 0 && senses != record.BothWaveforms {
		j.bracketCaution(record.ProofWaveform, s, r, around)
	}
	if isBelow(around.proved, j.nominalBetween(r.pair)) {
		j.bracketCaution(record.ProofBelowNominal, s, r, around)
	}
}

// isBelow reports whether a voltage is below a nominal one.
func isBelow(v, nominal record.Volts) bool {
	return float64(v) < float64(nominal)*(1-nominalMargin)
}

func (j *Judge) bracketCaution(rule record.Rule, s *slot, r *row, around *series) {
	if !j.judges(rule) {
		return
	}
	f := j.add(rule, record.Caution, r.Indicator)
	about(f, s.Tested)
	j.restOnSeries(f, around)
}

// nominalBetween returns the nominal voltage between two conductors, 0 where it is
// not known or none.
func (j *Judge) nominalBetween(p record.Pair) record.Volts {
	nominal := j.job.Nominal
	lines := 0
	for _, c := range []record.Conductor{p.A, p.B} {
		if c.IsLine() || j.isSwitched(c) {
			lines++
		}
	}
	if lines == 0 {
		return 0
	}
	switch j.job.Supply {
	case record.SinglePhase, record.ThreePhase3Wire, record.DC:
		return nominal
	case record.ThreePhase:
		if lines == 1 {
			return nominal / sqrt3
		}
		return nominal
	case record.SplitPhase, record.DC3Wire:
		if lines == 1 {
			return nominal / 2
		}
		return nominal
	case record.SupplyUnknown:
	}
	return 0
}

func (j *Judge) isSwitched(c record.Conductor) bool {
	return slices.Contains(j.work.switched, c)
}

// proofOnWork looks for proofs made on the conductors that are to be dead, after
// they were isolated.
func (j *Judge) proofOnWork() {
	isolated := false
	for i := range j.rows {
		r := &j.rows[i]
		switch {
		case r.Kind == record.Isolate:
			isolated = true
		case !isolated || !r.Kind.IsProof() || !r.pair.IsSet():
		case r.Side == record.SupplySide && j.job.SupplySideLive == record.Yes:
		case j.isWorkName(r.pair.A) && j.isWorkName(r.pair.B):
			f := j.add(record.ProofOnWork, record.Failure, r.Indicator)
			about(f, record.Tested{Pair: j.orient(r.pair)})
			rest(f, r)
		}
	}
}

// isWorkName is isWork for the name that a proof gives, where N and E may mean
// PEN.
func (j *Judge) isWorkName(c record.Conductor) bool {
	return j.isWork(c) || j.work.pen && (c == record.N || c == record.E)
}
