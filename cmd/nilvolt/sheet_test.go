package main

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/record"
	"nilvolt/verify"
)

// faulty is a judgement with a bit of everything.
func faulty() *verify.Judgement {
	return &verify.Judgement{
		Record: "R2", Status: record.NonCompliant, Supply: record.SinglePhase,
		Findings: []record.Finding{
			{
				Rule: record.PairMissing, Severity: record.Failure, Tested: []record.Tested{{Pair: record.Pair{A: record.L, B: record.E}}},
				Message: "no reading that counts for L-E; test there and prove the indicator again",
			},
			{
				Rule: record.ReproveMissing, Severity: record.Failure, Indicator: "VI-3",
				Lines:   []record.Pos{{File: "a.csv", Line: 4}, {File: "a.csv", Line: 5}, {File: "b.csv", Line: 2}},
				Message: "VI-3 was not proved after L-N, so nobody knows that it still worked; prove it, test again and prove it again",
			},
			{Rule: record.TooQuick, Severity: record.Caution, Lines: []record.Pos{{File: "a.csv", Line: 4}}, Message: "too fast; ask"},
			{Rule: record.NotRecorded, Severity: record.Caution, Message: "not recorded: label; record it"},
		},
	}
}

// jobOf is a record with a job sheet that says who and where.
func jobOf() *record.Record {
	return &record.Record{ID: "R2", Jobs: []record.Job{{Site: "Pump house", Circuit: "board 3 way 7", Technician: "A. Quill"}}}
}

const faultyText = `R2  NOT COMPLIANT  single-phase, 1 of 3 pairs dead and proved
Pump house, board 3 way 7, A. Quill

       N         E
    L  UNPROVED  MISSING
    N            dead

 1  no reading that counts for L-E
    now: test there and prove the indicator again
    pair-missing
 2  VI-3 was not proved after L-N, so nobody knows that it still worked
    now: prove it, test again and prove it again
    reprove-missing, VI-3, a.csv:4, 5, b.csv:2
 -  caution: too fast; ask (too-quick, a.csv:4)
`

func TestSheetSaysWhatIsWrongAndWhatToDo(t *testing.T) {
	th := theme{width: 80}
	s := th.sheet(jobOf(), faulty(), statesOf(t, "L-N UNPROVED, L-E MISSING, N-E dead"))
	if diff := cmp.Diff(faultyText, th.title(s)+"\n"+s.detail); diff != "" {
		t.Error(diff)
	}
	if want := [...]string{"R2", "NOT COMPLIANT", "single-phase", "1 of 3", "pair-missing, reprove-missing"}; s.cells() != want {
		t.Errorf("the table says %q, want %q", s.cells(), want)
	}
}

// TestLiveComesFirst holds the report of a live record to the order in which it
// must be read, and its picture to the live pair, which the rules call missing
// because the reading wiped the slate.
func TestLiveComesFirst(t *testing.T) {
	j := faulty()
	j.Status = record.LiveFound
	j.Findings = append(j.Findings, record.Finding{
		Rule: record.LiveFoundRule, Severity: record.Failure, Indicator: "VI-3",
		Tested:  []record.Tested{{Pair: record.Pair{A: record.E, B: record.L}}},
		Message: "L-E read live; do not touch",
	})
	s := theme{width: 80}.sheet(&record.Record{}, j, statesOf(t, "L-N MISSING, L-E MISSING, N-E MISSING"))
	if want := "live-found, pair-missing, reprove-missing"; s.findings != want {
		t.Errorf("the table says %q, want %q", s.findings, want)
	}
	const want = `
       N        E
    L  MISSING  LIVE
    N           MISSING

 1  L-E read live
    now: do not touch
    live-found, VI-3
 2  no reading that counts for L-E
    pair-missing
`
	if !strings.HasPrefix(s.detail, want) {
		t.Error(cmp.Diff(want, s.detail))
	}
}

// TestSheetSaysWhatWasShown tells the voltage where it is the trouble.
func TestSheetSaysWhatWasShown(t *testing.T) {
	pairs := statesOf(t, "L-N dead, L-E RESIDUAL left, N-E UNREADABLE")
	at, err := record.ParseInstant("2026-03-02T10:15:07+01:00")
	if err != nil {
		t.Fatal(err)
	}
	for i := range pairs {
		pairs[i].Printed, pairs[i].Time = []string{"0.2", "18.4", "-\x1b-"}[i], at
	}
	var b strings.Builder
	theme{width: 80}.showings(&b, pairs)
	const want = "    L-E at left showed 18.4 at 10:15:07\n    N-E showed -\\x1b- at 10:15:07\n"
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Error(diff)
	}
}

// TestColourOnlyRepeats takes the colour out again: nothing may be lost.
func TestColourOnlyRepeats(t *testing.T) {
	th := theme{width: 80, colour: true}
	s := th.sheet(jobOf(), faulty(), statesOf(t, "L-N UNPROVED, L-E MISSING, N-E dead"))
	coloured := th.title(s) + "\n" + s.detail
	if !strings.Contains(coloured, "\x1b[1;31mNOT COMPLIANT\x1b[0m") {
		t.Errorf("no colour in %q", coloured)
	}
	var plain strings.Builder
	for i, part := range strings.Split(coloured, "\x1b[") {
		if i > 0 {
			_, part, _ = strings.Cut(part, "m")
		}
		plain.WriteString(part)
	}
	if diff := cmp.Diff(faultyText, plain.String()); diff != "" {
		t.Error(diff)
	}
}

// TestSheetsSurviveTheWay takes any judgement from a worker to the report.
func TestSheetsSurviveTheWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		th := theme{width: 80, colour: rapid.Bool().Draw(t, "colour"), unicode: rapid.Bool().Draw(t, "unicode")}
		var want []sheet
		var text []byte
		for range rapid.IntRange(0, 3).Draw(t, "records") {
			s := th.sheet(&record.Record{}, drawJudgement(t), nil)
			want = append(want, *s)
			text = s.append(text)
		}
		got, err := parseSheets(string(text))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got, cmp.AllowUnexported(sheet{})); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestBasisListsTheFirstRowsOfMany(t *testing.T) {
	f := record.Finding{Rule: record.TooQuick}
	for line := range 12 {
		f.Lines = append(f.Lines, record.Pos{File: "a.csv", Line: line + 1})
	}
	const want = "too-quick, a.csv:1, 2, 3, 4, 5, 6, 7, 8 and 4 more rows"
	if got := (theme{width: 80}).basis(&f); got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
