package verify

import (
	"fmt"

	"nilvolt/record"
)

// ByRules is Judge for a record that is judged by the rules one by one, plain or not.
func (j *Judge) ByRules(rec *record.Record) *Judgement {
	j.rowless = false
	if hasClock(rec) {
		return j.judgeTimes(rec)
	}
	return j.judge(rec)
}

// WasPlain reports whether the record judged last was known as a plain one.
func (j *Judge) WasPlain() bool { return j.rowless }

// AddByRules is Add for a record without clocks whose rows are all looked at by the
// rules, plain or not.
func (s *Survey) AddByRules(rec *record.Record) {
	s.judge.prepare(rec)
	s.addSeries(s.judge.policy.SharedProofs)
	s.key, s.keyed = s.judge.copyKey()
	if s.keyed {
		s.keys = append(s.keys, keyOf{s.key, rec.ID})
	}
}

// Gathered tells all that the survey gathered.
func (s *Survey) Gathered() string {
	return fmt.Sprintf("%+v %v %v %v", s.series, s.keys, s.key, s.keyed)
}
