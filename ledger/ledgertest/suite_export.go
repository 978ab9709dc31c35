package ledgertest

import (
	"context"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/ledger"
	"nilvolt/record"
)

// shared returns what was added behind so many leaves, in words, and where it ends.
func shared(t *testing.T, l *ledger.Ledger, after int64) (words []string, upto int64) {
	t.Helper()
	s, err := l.Share(context.Background(), after)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	err = s.Versions(func(v *ledger.SharedVersion) error {
		words = append(words, fmt.Sprintf("%s@%d, %d rows", v.Record.ID, v.Number, len(v.Record.Events)))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	err = s.Judgements(func(j *ledger.SharedJudgement) error {
		words = append(words, fmt.Sprintf("%s@%d %s by %s at %s", j.Record, j.Number, j.Status, j.Technician, j.Site))
		if !j.Judged.Equal(Now()) || !j.Uploaded.Equal(Now()) || j.Readings == 0 || j.Ended < j.Started {
			t.Errorf("%+v", j)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return words, s.Upto
}

// What was added is shared once, in the order in which the records began, and nothing
// in between two shares is left out.
func testShare(t *testing.T, p Place) {
	l := p.Open(t)
	late, early := Record("R1", "Mill", "T-1", "VI-1", 9, "0.1"), Record("R2", "Weir", "T-2", "VI-2", 0, "0.2")
	keep(t, l, deed{text: "one", records: []*record.Record{late, early}, status: record.Compliant})
	words, upto := shared(t, l, 0)
	want := []string{
		fmt.Sprintf("R2@1, %d rows", len(early.Events)), fmt.Sprintf("R1@1, %d rows", len(late.Events)),
		"R2@1 compliant by T-2 at Weir", "R1@1 compliant by T-1 at Mill",
	}
	if diff := cmp.Diff(want, words); diff != "" {
		t.Error(diff)
	}
	if words, _ := shared(t, l, upto); words != nil {
		t.Errorf("shared twice: %q", words)
	}
	// The same content judged otherwise, and another version.
	keep(t, l, deed{text: "two", records: []*record.Record{early}, status: record.NonCompliant})
	keep(t, l, deed{text: "three", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 9, "231")}, status: record.LiveFound})
	words, _ = shared(t, l, upto)
	want = []string{fmt.Sprintf("R1@2, %d rows", len(late.Events)), "R2@1 non-compliant by T-2 at Weir", "R1@2 live by T-1 at Mill"}
	if diff := cmp.Diff(want, words); diff != "" {
		t.Error(diff)
	}
}
