package verify

import (
	"strings"

	"nilvolt/record"
)

// A lastInstrument is the instrument looked up last.
type lastInstrument struct {
	id         string
	instrument *record.Instrument
}

// instrument returns the register's entry of an instrument, nil where there is
// none. Case does not matter, but an entry in the very same case goes first.
func (j *Judge) instrument(id string) *record.Instrument {
	if j.register == nil || id == "" {
		return nil
	}
	return j.lookUp(id)
}

// lookUp is instrument where there is a register and an id.
func (j *Judge) lookUp(id string) *record.Instrument {
	for i := range j.last {
		if j.last[i].id == id {
			return j.last[i].instrument
		}
	}
	e := j.register[id]
	if e == nil {
		e = j.anyCase[strings.ToLower(id)]
	}
	// Two are kept, as an indicator and its source take turns.
	j.last[1] = j.last[0]
	if e != nil && e.ID == id {
		j.last[0] = lastInstrument{e.ID, e} // a string that outlives the record
	} else {
		j.last[0] = lastInstrument{strings.Clone(id), e}
	}
	return e
}

// inAnyCase returns the entries of a register by their ids in lower case: whoever
// writes vi-7 for VI-7 does not get round its withdrawal or its steps.
func inAnyCase(register record.Register) map[string]*record.Instrument {
	entries := make(map[string]*record.Instrument, len(register))
	for id, e := range register {
		id = strings.ToLower(id)
		if first := entries[id]; first == nil || e.Pos.Line < first.Pos.Line {
			entries[id] = e
		}
	}
	return entries
}

// instrumentRules judges whether the instruments were fit for the work, and by the
// register for use on the day.
func (j *Judge) instrumentRules() {
	for i := range j.rows {
		r := &j.rows[i]
		if r.Kind == record.Test {
			j.judgeRating(r)
		}
		if j.register == nil || !r.Kind.IsReading() {
			continue
		}
		j.judgeInstrument(r, r.Indicator, record.ProvingUnit)
		if r.Kind.IsProof() && r.Source != "" && !isLive(r.Source) {
			j.judgeInstrument(r, r.Source, record.Indicator)
		}
	}
}

// judgeInstrument judges one instrument of a reading; kind is what it cannot be.
func (j *Judge) judgeInstrument(r *row, id string, kind record.InstrumentKind) {
	e := j.instrument(id)
	if e == nil || kind == record.ProvingUnit && e.Kind == kind {
		j.addInstrument(record.InstrumentUnknownRule, record.Caution, id, r)
	}
	if e == nil {
		return
	}
	day := r.Time.Date()
	if e.Withdrawn.IsSet() && !e.Withdrawn.After(day) {
		j.addInstrument(record.InstrumentWithdrawn, record.Failure, id, r)
	}
	if due := e.Due(); due.IsSet() && day.After(due) {
		j.addInstrument(record.InstrumentOverdue, record.Failure, id, r)
	}
}

// The highest nominal voltages that voltage detectors for low voltage are made for.
// Source: IEC 61243-3, scope.
const (
	mostAC record.Volts = 1000
	mostDC record.Volts = 1500
)

// beyondDetectors reports whether no voltage detector for low voltage is made for a
// nominal voltage of the supply.
func (j *Judge) beyondDetectors(nominal record.Volts) bool {
	if j.job.Supply.IsDC() {
		return nominal > mostDC
	}
	return nominal > mostAC
}

// judgeRating judges whether an indicator may be used on the voltage of a dead
// test and in its measurement category (IEC 61010-031); the lower rating rules.
func (j *Judge) judgeRating(r *row) {
	nominal := j.nominalBetween(r.pair)
	low, weak := j.beyondDetectors(nominal), false
	if e := j.instrument(r.Indicator); e != nil {
		low = low || e.MaxVolts > 0 && e.MaxVolts < nominal
		weak = e.Category != record.CategoryUnknown && j.job.Category != record.CategoryUnknown && e.Category < j.job.Category
	}
	if low || weak {
		j.addInstrument(record.InstrumentUnderrated, record.Failure, r.Indicator, r)
	}
}

func (j *Judge) addInstrument(rule record.Rule, severity record.Severity, id string, r *row) {
	if j.judges(rule) {
		rest(j.add(rule, severity, id), r)
	}
}
