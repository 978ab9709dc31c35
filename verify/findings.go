package verify

import (
	"cmp"
	"slices"
	"strings"

	"nilvolt/record"
)

// A findingList gathers the findings of one record; its memory is used again for
// the next.
type findingList struct {
	list  []record.Finding
	mixed bool // not in the order of the rules
}

func (l *findingList) reset() { l.list, l.mixed = l.list[:0], false }

// add returns the finding of a rule about an indicator, a new one the first time.
// A finding that is a failure once is a failure.
func (j *Judge) add(r record.Rule, own record.Severity, indicator string) *record.Finding {
	l := &j.findings
	severity := j.policy.severity(r, own)
	for i := range l.list {
		if f := &l.list[i]; f.Rule == r && f.Indicator == indicator {
			f.Severity = max(f.Severity, severity)
			return f
		}
	}
	n := len(l.list)
	l.mixed = l.mixed || n > 0 && l.list[n-1].Rule > r
	if n < cap(l.list) {
		l.list = l.list[:n+1]
	} else {
		l.list = append(l.list, record.Finding{})
	}
	f := &l.list[n]
	f.Rule, f.Severity, f.Indicator, f.Message = r, severity, indicator, ""
	f.Tested, f.Lines = f.Tested[:0], f.Lines[:0]
	return f
}

// judges reports whether a further rule is judged under the policy.
func (j *Judge) judges(r record.Rule) bool { return !j.policy.off[r] }

// rest notes that a finding rests on rows.
func rest(f *record.Finding, rows ...*row) {
	for _, r := range rows {
		f.Lines = append(f.Lines, r.Pos)
	}
}

// about notes that a finding is about a required pair.
func about(f *record.Finding, t record.Tested) {
	f.Tested = append(f.Tested, t)
}

// finish brings the findings in the order of the rules, gives each its sentence,
// and takes out what stands in them twice.
func (l *findingList) finish(j *Judge) []record.Finding {
	if l.mixed {
		slices.SortStableFunc(l.list, func(a, b record.Finding) int { return cmp.Compare(a.Rule, b.Rule) })
	}
	for i := range l.list {
		f := &l.list[i]
		if len(f.Tested) > 1 {
			slices.SortFunc(f.Tested, compareTested)
			f.Tested = slices.Compact(f.Tested)
		}
		if len(f.Lines) > 1 {
			slices.SortFunc(f.Lines, comparePos)
			f.Lines = slices.Compact(f.Lines)
		}
		if f.Message == "" {
			f.Message = j.sentence(f)
		}
	}
	return l.list
}

// compareTested orders pairs by the names of their conductors.
func compareTested(a, b record.Tested) int {
	switch { // names are compared where they differ only
	case a.Pair.A != b.Pair.A:
		return strings.Compare(a.Pair.A.String(), b.Pair.A.String())
	case a.Pair.B != b.Pair.B:
		return strings.Compare(a.Pair.B.String(), b.Pair.B.String())
	case a.Switch != b.Switch:
		return cmp.Compare(a.Switch, b.Switch)
	}
	return strings.Compare(a.Point, b.Point)
}

func comparePos(a, b record.Pos) int {
	switch {
	case a.File != b.File:
		return strings.Compare(a.File, b.File)
	case a.Line != b.Line:
		return cmp.Compare(a.Line, b.Line)
	}
	return cmp.Compare(a.Column, b.Column)
}
