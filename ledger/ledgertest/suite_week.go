package ledgertest

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"nilvolt/ledger"
	"nilvolt/record"
)

// filings returns the versions of a span in words, in the order given.
func filings(t *testing.T, l *ledger.Ledger, s ledger.FilingSpan) []string {
	t.Helper()
	f, err := l.Filings(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if f.Checkpoint.Origin != l.Origin() || f.Checkpoint.Leaves == 0 || f.Made.IsZero() {
		t.Errorf("%+v made %v", f.Checkpoint, f.Made)
	}
	var words []string
	err = f.Each(s, func(v *ledger.Filing) error {
		text := fmt.Sprintf("%s@%d %s with %s on %s", v.Record, v.Number, v.Judgement.Status,
			strings.Join(v.Indicators, "+"), strings.Join(v.Sources, "+"))
		if !v.Stands {
			text += ", does not stand"
		}
		if v.Closed() {
			text += ", closed"
		}
		if len(v.Marks) > 0 {
			text += ", " + v.Marks[0].Doubt
		}
		if v.Version != v.Judgement.Version || v.Ended < v.Started || v.UploadMade == "" || v.Site != "Mill" {
			t.Errorf("%+v", v)
		}
		words = append(words, text)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return words
}

func testFilings(t *testing.T, p Place) {
	now := Now()
	l := p.OpenAt(t, func() time.Time { return now })
	rec := func(id, indicator string, minute int, volts string) *record.Record {
		return Record(id, "Mill", "T-1", indicator, minute, volts)
	}
	const hour, week = 60, 7 * 24 * 60
	two := rec("R2", "VI-2", 2*hour, "0.2")
	two.Events[2].Indicator = "VI-1"
	keep(t, l, deed{text: "good", records: []*record.Record{rec("R1", "VI-1", 0, "0.2"), two}, status: record.Compliant})
	bare := rec("R3", "VI-1", hour, "0.2")
	bare.Events = bare.Events[:1]
	bare.Events[0].Kind = record.Inspect
	keep(t, l, deed{text: "job", records: []*record.Record{bare}, status: record.NonCompliant})
	keep(t, l, deed{text: "live", records: []*record.Record{rec("R3", "VI-1", hour, "231")}, status: record.LiveFound})
	old, _ := keep(t, l, deed{text: "old", records: []*record.Record{rec("R4", "VI-1", -week, "0.2"), rec("R5", "VI-1", -week, "0.3")}, status: record.Compliant})
	bad, _ := keep(t, l, deed{text: "older", records: []*record.Record{rec("R6", "VI-1", -9*week, "0.2")}, status: record.NonCompliant})
	now = now.Add(week * time.Minute)
	keep(t, l, deed{text: "late", records: []*record.Record{rec("R7", "VI-1", -2*week, "0.2")}, status: record.Compliant})
	keep(t, l, deed{text: "mended", records: []*record.Record{rec("R3", "VI-1", hour, "0.2")}, status: record.Compliant})
	keep(t, l, deed{text: "again", records: []*record.Record{rec("R3", "VI-1", hour, "0.4")}, status: record.Compliant})
	keep(t, l, deed{text: "after", records: []*record.Record{rec("R8", "VI-1", week, "231")}, status: record.LiveFound})
	if _, err := decide(l, bad[0].Version, ledger.Coach, "Ada", "the order of steps"); err != nil {
		t.Fatal(err)
	}
	err := l.Update(context.Background(), func(tx *ledger.Tx) error {
		_, err := tx.Mark(ledger.LookBack{Instrument: "VI-1"}, map[int64]string{old[1].Version: ledger.MarkInDoubt})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	begin := int64(Begin)
	week1 := begin + week*60
	for _, c := range []struct {
		name string
		span ledger.FilingSpan
		want []string
	}{
		{"the week", ledger.FilingSpan{From: begin, HandedFrom: week1, To: week1}, []string{
			"R6@1 non-compliant with VI-1 on PU-1, closed",
			"R5@1 compliant with VI-1 on PU-1, in doubt",
			"R1@1 compliant with VI-1 on PU-1, closed",
			"R3@2 live with VI-1 on PU-1",
			"R3@3 compliant with VI-1 on PU-1, does not stand, closed",
			"R3@4 compliant with VI-1 on PU-1, does not stand, closed",
			"R2@1 compliant with VI-1+VI-2 on PU-1, closed",
		}},
		{"what was handed in as well", ledger.FilingSpan{From: week1, HandedFrom: now.Unix(), To: week1 + 1}, []string{
			"R6@1 non-compliant with VI-1 on PU-1, closed",
			"R7@1 compliant with VI-1 on PU-1, closed",
			"R5@1 compliant with VI-1 on PU-1, in doubt",
			"R3@2 live with VI-1 on PU-1",
			"R3@3 compliant with VI-1 on PU-1, does not stand, closed",
			"R3@4 compliant with VI-1 on PU-1, does not stand, closed",
			"R8@1 live with VI-1 on PU-1",
		}},
	} {
		if diff := cmp.Diff(c.want, filings(t, l, c.span)); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
}
