package verify

import "nilvolt/record"

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
