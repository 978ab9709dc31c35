package main

import (
	"bufio"
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/record"
	"nilvolt/verify"
)

// written prints judgements as the text report would, all from one worker.
func written(t *testing.T, r *textReport, judgements ...*verify.Judgement) string {
	t.Helper()
	var out bytes.Buffer
	r.out = &out
	write, count := r.appender(), r.tally()
	var chunk []byte
	for _, j := range judgements {
		count.add(j)
		chunk = write(chunk, &record.Record{}, j)
	}
	if err := r.emit(chunk); err != nil {
		t.Fatal(err)
	}
	if err := r.finish(count, 0); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func compliant(id string) *verify.Judgement {
	return &verify.Judgement{Record: id, Status: record.Compliant, Supply: record.DC}
}

func TestReportAnswersFirst(t *testing.T) {
	careful := compliant("R3")
	careful.Findings = []record.Finding{{Rule: record.ProbeOrder, Severity: record.Caution, Message: "L-E taken with the wrong probe first; place the probe on earth first"}}
	got := written(t, &textReport{theme: theme{width: 72}}, compliant("R1"), faulty(), careful)
	want := `1 of 3 records does not comply.

record  status         supply        dead pairs  findings
------  -------------  ------------  ----------  -----------------------
R1      compliant      dc            none known
R2      NOT COMPLIANT  single-phase  none known  pair-missing + 1
R3      compliant      dc            none known  caution: probe-order

------------------------------------------------------------------------
R2  NOT COMPLIANT  single-phase, required pairs not known
`
	if !strings.HasPrefix(got, want) {
		t.Error(cmp.Diff(want, got))
	}
	if !strings.Contains(got, "Cautions on compliant records\n\nR3\n -  caution: L-E taken") {
		t.Errorf("the caution of a compliant record is not listed:\n%s", got)
	}
	if !strings.HasSuffix(got, "\nThis judges evidence, not conductors. It is no permission to touch:\nfollow your local rules, and test before you touch.\n") {
		t.Errorf("the end says otherwise:\n%s", got)
	}
}

func TestReportOfManyListsWhatIsNotCompliant(t *testing.T) {
	var many []*verify.Judgement
	for i := range 5 * mostDetails {
		j := faulty()
		if i%2 == 0 {
			j = compliant("")
		}
		j.Record = fmt.Sprintf("R%d", i)
		many = append(many, j)
	}
	many[len(many)-1].Status = record.LiveFound // the last one, far beyond what is explained
	short := written(t, &textReport{theme: theme{width: 80}}, many...)
	if got, want := strings.Count(short, "\nR"), 5*mostDetails/2+mostDetails+1; got != want {
		t.Errorf("%d lines begin with a record, want %d: each bad one in the table, %d explained and the live one", got, want, mostDetails)
	}
	if want := "299 more records that do not comply are listed above but not explained"; !strings.Contains(short, want) {
		t.Errorf("the report does not say that %s", want)
	}
	first := fmt.Sprintf("\nR%d ", len(many)-1)
	table, explained, _ := strings.Cut(short, "\n\n---")
	for name, part := range map[string]string{"table": table, "explanation": explained} {
		if i := strings.Index(part, first); i < 0 || i > strings.Index(part, "\nR1 ") {
			t.Errorf("in the %s the live record does not come first", name)
		}
	}
	long := written(t, &textReport{theme: theme{width: 80}, all: true}, many...)
	if got, want := strings.Count(long, "\nR"), 5*mostDetails+5*mostDetails/2; got != want {
		t.Errorf("with all, %d lines begin with a record, want %d", got, want)
	}
}

func TestTheTableFitsTheWidth(t *testing.T) {
	j := faulty()
	for r := record.PairMissing; r < record.LoadNotShed; r++ {
		j.Findings = append(j.Findings, record.Finding{Rule: r, Severity: record.Failure})
	}
	for _, width := range []int{72, 80, 110} {
		got := written(t, &textReport{theme: theme{width: width}}, j)
		for line := range strings.Lines(got) {
			if columnsOf(strings.TrimRight(line, "\n")) > width {
				t.Errorf("a line of %d columns, want at most %d: %s", columnsOf(line)-1, width, line)
			}
		}
	}
}

func TestFitWords(t *testing.T) {
	tests := []struct {
		text string
		n    int
		want string
	}{
		{"pair-missing", 12, "pair-missing"},
		{"pair-missing", 3, "pair-missing"},
		{"pair-missing, prove-missing", 20, "pair-missing + 1"},
		{"pair-missing, prove-missing, too-quick", 31, "pair-missing, prove-missing + 1"},
		{"", 10, ""},
	}
	for _, tt := range tests {
		if got := fitWords(tt.text, tt.n); got != tt.want {
			t.Errorf("fitWords(%q, %d) = %q, want %q", tt.text, tt.n, got, tt.want)
		}
	}
}

// TestStreamShowsEveryRecord writes what is known at once, and the answer last.
func TestStreamShowsEveryRecord(t *testing.T) {
	var out bytes.Buffer
	w := bufio.NewWriter(&out)
	r := &textStream{lineOutput{out: w, flush: true}, theme{width: 60}}
	write, count := r.appender(), r.tally()
	for i, j := range []*verify.Judgement{compliant("R1"), faulty()} {
		count.add(j)
		if err := r.emit(write(nil, &record.Record{}, j)); err != nil {
			t.Fatal(err)
		}
		if want := []string{"R1  compliant  dc, required pairs not known\n", "R2  NOT COMPLIANT"}[i]; !strings.Contains(out.String(), want) {
			t.Errorf("after record %d %q is not yet to be seen in %q", i+1, want, out.String())
		}
	}
	if err := r.finish(count, 0); err != nil {
		t.Fatal(err)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if want := "\n1 of 2 records does not comply.\n"; !strings.Contains(out.String(), want) {
		t.Errorf("no answer in %q", out.String())
	}
}
