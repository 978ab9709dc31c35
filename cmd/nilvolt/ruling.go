package main

import (
	"fmt"
	"slices"

	"nilvolt/record"
	"nilvolt/verify"
)

// A ruling is what a judge says of a record.
type ruling struct {
	status   record.Status
	findings []record.Finding
}

func rulingOf(j *verify.Judgement) ruling { return ruling{j.Status, j.Findings} }

// stricter returns the worse of two rulings, the first of two equal ones, with those
// failures of the other whose rule it does not name.
func stricter(a, b ruling) ruling {
	if b.status > a.status {
		a, b = b, a
	}
	out := ruling{a.status, slices.Clone(a.findings)}
	for _, f := range b.findings {
		named := func(g record.Finding) bool { return g.Rule == f.Rule && g.Severity == record.Failure }
		if f.Severity == record.Failure && !slices.ContainsFunc(a.findings, named) {
			out.findings = append(out.findings, f)
		}
	}
	return out
}

// unprovenRuling is what is said of a record whose evidence does not come out of its
// files any more: it is unreadable, whatever the ledger holds of it.
func unprovenRuling(o oddRecord, bad *unreadableError) ruling {
	f := record.Finding{Rule: record.ReadingUnreadable, Severity: record.Failure}
	if bad != nil {
		f.Lines = []record.Pos{bad.place()}
		f.Message = fmt.Sprintf("the files of upload %d cannot be read any more: %v; mend the column map and hand them in again", o.Upload, bad)
	} else {
		f.Message = fmt.Sprintf("the files of upload %d give no such record any more; look at them, and hand them in again with the right column map", o.Upload)
	}
	return ruling{record.NonCompliant, []record.Finding{f}}
}
