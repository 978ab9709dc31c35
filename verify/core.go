package verify

import (
	"nilvolt/record"
)

// coreRules judges the rules that no policy turns off.
func (j *Judge) coreRules() {
	if !j.work.known {
		j.add(record.SupplyUnknownRule, record.Failure, "")
	} else if len(j.slots) == 0 {
		// A policy without neutrals can leave nothing to test.
		j.add(record.SupplyUnknownRule, record.Failure, "").Message = nothingRequired
	}
	for i := range j.slots {
		s := &j.slots[i]
		if s.row < 0 {
			j.missingPair(s)
			continue
		}
		r := &j.rows[s.row]
		switch r.class {
		case classDead:
			j.deadRules(s, r)
		case classResidual:
			j.addReading(record.ResidualVoltage, s, r)
		case classUnreadable:
			j.addReading(record.ReadingUnreadable, s, r)
		case classCannotShow:
			j.addReading(record.CannotShowDead, s, r)
		case classLive, classNone:
			// A live reading is a reset, so it never stands behind one.
		}
	}
	j.liveRule()
}

// missingPair notes a required pair without a reading.
func (j *Judge) missingPair(s *slot) {
	rule := record.PairMissing
	if s.Switch != record.SwitchUnknown {
		for i := int(j.reset); i < len(j.rows); i++ {
			r := &j.rows[i]
			if r.Kind == record.Test && r.Side != record.SupplySide && r.pair.Same(s.Pair) && r.Switch != s.Switch {
				rule = record.SwitchPositionMissing
				rest(j.add(rule, record.Failure, ""), r)
			}
		}
	}
	about(j.add(rule, record.Failure, ""), s.Tested)
}

// addReading notes that the reading that counts for a pair is not dead.
func (j *Judge) addReading(rule record.Rule, s *slot, r *row) *record.Finding {
	f := j.add(rule, record.Failure, r.Indicator)
	about(f, s.Tested)
	rest(f, r)
	return f
}

// deadRules notes what the dead reading that counts for a pair lacks.
func (j *Judge) deadRules(s *slot, r *row) {
	l := r.lacks
	if l == 0 {
		return
	}
	b := r.near
	for _, rule := range [...]struct {
		lacks  lacks
		rule   record.Rule
		series *series
	}{
		{lacksWaveform, record.WrongWaveform, nil},
		{lacksProve, record.ProveMissing, nil},
		{proveFails, record.ProveFailed, b.before},
		{proveOld, record.ProveStale, b.before},
		{lacksReprove, record.ReproveMissing, nil},
		{reproveFails, record.ReproveFailed, b.after},
		{reproveLate, record.ReproveLate, b.after},
	} {
		if l&rule.lacks != 0 {
			j.restOnSeries(j.addReading(rule.rule, s, r), rule.series)
		}
	}
	if l&failsElsewhere != 0 {
		f := j.addReading(record.ProofFailedElsewhere, s, r)
		e := j.across.failing(r.Indicator, j.rec.ID, b.before.last, b.after.first)
		f.Lines = append(f.Lines, e.pos)
		f.Message = elsewhereSentence(f, e.record)
	}
}

// restOnSeries notes that a finding rests on the rows of a series.
func (j *Judge) restOnSeries(f *record.Finding, s *series) {
	switch {
	case s == nil:
	case s.firstRow < 0:
		f.Lines = append(f.Lines, s.pos)
	default:
		for i := s.firstRow; i <= s.lastRow; i++ {
			if r := &j.rows[i]; r.Kind.IsProof() && r.Indicator == s.indicator {
				rest(f, r)
			}
		}
	}
}

// liveRule notes live readings after which not every pair was shown dead.
func (j *Judge) liveRule() {
	if j.worst < classLive || j.allGood() {
		return
	}
	for i := range j.rows {
		if r := &j.rows[i]; r.class == classLive && !r.liveParts {
			f := j.add(record.LiveFoundRule, record.Failure, r.Indicator)
			about(f, record.Tested{Pair: j.orient(r.pair), Switch: r.Switch})
			rest(f, r)
		}
	}
}
