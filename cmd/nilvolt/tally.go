package main

import (
	"cmp"
	"fmt"
	"io"

	"nilvolt/record"
	"nilvolt/verify"
)

// A tally counts records by what was said of them.
type tally struct {
	compliant    int
	notCompliant int // without those that are live
	live         int
	bare         int // of those that are not compliant: without a row
	outranked    int // of the last two: by another version, which is worse than the one that was judged and waits for a decision
	cautioned    int // compliant ones on which a caution stands, but for the two below
	lacking      int // records of any status with not-recorded, but for the bare ones, which lack everything

	proofs, shared int // of records with another log: their proofs, and those that it shows too

	loosened string // the message of policy-loosened, the same on every record; blank without it

	// lacks counts the records by what they do not record, for the text report;
	// nil where nobody asks.
	lacks map[string]int
}

// add counts one judgement.
func (t *tally) add(j *verify.Judgement) {
	cautioned := false
	for i := range j.Findings {
		switch f := &j.Findings[i]; {
		case f.Rule == record.NotRecorded:
			if j.Bare() {
				continue
			}
			t.lacking++
			if t.lacks != nil {
				for _, item := range j.NotRecorded() {
					t.lacks[item]++
				}
			}
		case f.Rule == record.PolicyLoosened:
			t.loosened = f.Message
		case f.Severity == record.Caution:
			cautioned = true
		}
	}
	proofs, shared := j.SharedProofs()
	t.proofs, t.shared = t.proofs+proofs, t.shared+shared
	*t.of(j.Status)++
	switch j.Status {
	case record.Compliant:
		if cautioned {
			t.cautioned++
		}
	case record.NotJudged, record.NonCompliant:
		if j.Bare() {
			t.bare++
		}
	case record.LiveFound:
	}
}

// of returns the count of a status. One that it does not know is not compliant.
func (t *tally) of(s record.Status) *int {
	switch s {
	case record.Compliant:
		return &t.compliant
	case record.LiveFound:
		return &t.live
	case record.NotJudged, record.NonCompliant:
	}
	return &t.notCompliant
}

// outrank counts a record that was judged by a worse version of it instead.
func (t *tally) outrank(judged, worse record.Status) {
	*t.of(judged)--
	*t.of(worse)++
	t.outranked++
}

// merge adds the counts of another tally.
func (t *tally) merge(u *tally) {
	t.compliant += u.compliant
	t.notCompliant += u.notCompliant
	t.live += u.live
	t.bare += u.bare
	t.outranked += u.outranked
	t.cautioned += u.cautioned
	t.lacking += u.lacking
	t.proofs, t.shared = t.proofs+u.proofs, t.shared+u.shared
	t.loosened = cmp.Or(t.loosened, u.loosened)
	for item, n := range u.lacks {
		t.lacks[item] += n
	}
}

func (t *tally) records() int { return t.compliant + t.notCompliant + t.live }

// answer is the first thing a person reads: whether all is well, in one
// sentence. strays is how many rows belong to no single record.
func (t *tally) answer(strays int) string {
	all := t.records()
	bad := t.live + t.notCompliant
	var text string
	switch {
	case all == 0:
		text = "No record was found"
	case all == 1 && t.live == 1:
		text = "The record is LIVE"
	case all == 1 && bad == 1:
		text = "The record does not comply"
	case all == 1:
		text = "The record complies"
	case bad == 0:
		text = fmt.Sprintf("All %s records comply", number(all))
	case t.live == 0:
		text = fmt.Sprintf("%s of %s records %s not comply", number(bad), number(all), verb(bad, "does", "do"))
	default:
		text = fmt.Sprintf("%s of %s records %s LIVE", number(t.live), number(all), verb(t.live, "is", "are"))
		if t.notCompliant > 0 {
			text += fmt.Sprintf(", %s more %s not comply", number(t.notCompliant), verb(t.notCompliant, "does", "do"))
		}
	}
	switch {
	case t.bare == 0 || all == 1:
	case t.bare == bad:
		text += ", all for want of any row"
	default:
		text += fmt.Sprintf(", %s of them for want of any row", number(t.bare))
	}
	switch {
	case t.outranked == 0:
	case all == 1:
		text += ", by another version of it that waits for a decision"
	default:
		text += fmt.Sprintf(", %s of them by another version that waits for a decision", number(t.outranked))
	}
	if t.loosened != "" {
		text += ", under a policy looser than the default"
	}
	switch {
	case strays > 0 && bad == 0:
		text += fmt.Sprintf(", but %s %s to no single record", plural(strays, "row"), verb(strays, "belongs", "belong"))
	case strays > 0:
		text += fmt.Sprintf("; %s %s to no single record", plural(strays, "row"), verb(strays, "belongs", "belong"))
	case bad == 0 && t.cautioned > 0 && all == 1:
		text += ", with cautions"
	case bad == 0 && t.cautioned > 0:
		text += fmt.Sprintf(", %s of them with cautions", number(t.cautioned))
	}
	return text + "."
}

// verb returns the form of a verb that goes with n things.
func verb(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// counts writes the line of counts that ends every call, on standard error.
func (t *tally) counts(w io.Writer, rows int64, strays int) {
	fmt.Fprintf(w, "%s in %s: %s compliant, %s not compliant, %s live",
		plural(int(rows), "row"), plural(t.records(), "record"), number(t.compliant), number(t.notCompliant), number(t.live))
	if strays > 0 {
		fmt.Fprintf(w, "; %s of no single record", plural(strays, "row"))
	}
	fmt.Fprintln(w)
}
