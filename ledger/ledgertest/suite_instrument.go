package ledgertest

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/ledger"
	"nilvolt/record"
)

// testNewest reads what instruments are judged by: of each record the newest version
// that has readings.
func testNewest(t *testing.T, p Place) {
	ctx := context.Background()
	l := p.Open(t)
	if last, err := l.LastReading(ctx, math.MaxInt64); last != 0 || err != nil {
		t.Errorf("of an empty ledger: %d, %v", last, err)
	}
	keep(t, l, deed{text: "one", records: []*record.Record{
		Record("R1", "Mill", "T-1", "VI-1", 0, "0.2"), Record("R2", "Dock", "T-2", "VI-2", 9, "0.3"),
		Record("R3", "Mill", "T-1", "vi-1", 2000, "0.3"),
	}, status: record.Compliant})
	keep(t, l, deed{text: "two", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.4")}, status: record.NonCompliant})
	alone := Record("R2", "Mill", "T-2", "VI-2", 9, "0.3")
	alone.Events = nil
	keep(t, l, deed{text: "three", records: []*record.Record{alone}, status: record.NonCompliant})
	list := func(until int64, ids ...string) []string {
		t.Helper()
		var got []string
		err := l.Newest(ctx, until, ids, func(k *ledger.KeptRecord) error {
			rec, err := k.Record()
			if err != nil {
				return err
			}
			got = append(got, fmt.Sprintf("%s@%d %s %s %s %s", k.ID(), k.Number, k.Site, k.Technician, k.Status, rec.Events[1].Volts.Text))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	all := []string{"R2@1 Dock T-2 compliant 0.3", "R3@1 Mill T-1 compliant 0.3", "R1@2 Mill T-1 non-compliant 0.4"}
	for _, c := range []struct {
		name string
		got  []string
		want []string
	}{
		{"all", list(math.MaxInt64), all},
		{"up to a time", list(Begin + 9*60), []string{all[0], all[2]}},
		{"of an indicator", list(math.MaxInt64, "VI-2"), all[:1]},
		{"of an indicator in two spellings", list(math.MaxInt64, "VI-1", "vi-1"), all[1:]},
		{"of a proving unit", list(math.MaxInt64, "PU-1"), all},
	} {
		if diff := cmp.Diff(c.want, c.got); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
	if n, err := l.CountProofs(ctx); n != 8 || err != nil {
		t.Errorf("%d proofs of four versions, %v", n, err)
	}
	if n, err := l.CountLater(ctx, Begin+9*60); n != 1 || err != nil {
		t.Errorf("%d began later, %v", n, err)
	}
	ids, err := l.Instruments(ctx)
	if err != nil || !slices.Equal(ids, []string{"PU-1", "VI-1", "VI-2", "vi-1"}) {
		t.Errorf("instruments %q, %v", ids, err)
	}
	for before, want := range map[int64]int64{math.MaxInt64: Begin + 2000*60 + 40, Begin + 60: Begin + 40, Begin: 0} {
		if last, err := l.LastReading(ctx, before); last != want || err != nil {
			t.Errorf("the last reading before %d: %d, %v; want %d", before, last, err, want)
		}
	}
}

// testMarks marks records whose instrument failed: the marks are kept once, grow worse and
// never better, and open what was closed.
func testMarks(t *testing.T, p Place) {
	ctx := context.Background()
	l := p.Open(t)
	good, _ := keep(t, l, deed{text: "good", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")}, status: record.Compliant})
	live, _ := keep(t, l, deed{text: "live", records: []*record.Record{Record("R2", "Mill", "T-1", "VI-1", 9, "231")}, status: record.LiveFound})
	r1, r2 := good[0].Version, live[0].Version
	mark := func(instrument string, doubts map[int64]string) (added int) {
		t.Helper()
		err := l.Update(ctx, func(tx *ledger.Tx) (err error) {
			added, err = tx.Mark(ledger.LookBack{Instrument: instrument, Reason: "failed a proof", Found: "2026-03-16T09:00:00Z"}, doubts)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return added
	}
	review := func(f ledger.Filter) (list []string) {
		t.Helper()
		items, err := l.Review(ctx, f)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range items {
			parts := []string{i.Record}
			for _, m := range i.Marks {
				parts = append(parts, m.Doubt+" for "+m.LookBack.Instrument)
			}
			list = append(list, strings.Join(parts, ", "))
		}
		return list
	}
	want := func(name string, got []string, list ...string) {
		t.Helper()
		if diff := cmp.Diff(list, got); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
	for _, by := range []string{"Ada", "Bo"} {
		if _, err := decide(l, r2, ledger.Accept, by, "seen on site"); err != nil {
			t.Fatal(err)
		}
	}
	want("before", review(ledger.Filter{}))
	if n := mark("VI-1", map[int64]string{r1: ledger.MarkInDoubt, r2: ledger.MarkCertain}); n != 2 {
		t.Errorf("%d marks were added", n)
	}
	leaves := wantClean(t, l).Leaves
	if n := mark("VI-1", map[int64]string{r1: ledger.MarkInDoubt, r2: ledger.MarkInDoubt}); n != 0 || wantClean(t, l).Leaves != leaves {
		t.Errorf("the same again: %d marks", n)
	}
	want("marked", review(ledger.Filter{}), "R2, certain for VI-1", "R1, in doubt for VI-1")
	// Two people accept a live record, and both know of the mark.
	if closed, err := decide(l, r2, ledger.Accept, "Ada", "known"); err != nil || closed {
		t.Errorf("closed %v, %v", closed, err)
	}
	if closed, err := decide(l, r2, ledger.Accept, "Bo", "known"); err != nil || !closed {
		t.Errorf("closed %v, %v", closed, err)
	}
	want("accepted", review(ledger.Filter{}), "R1, in doubt for VI-1")
	if closed, err := decide(l, r1, ledger.Repeat, "Ada", "doubtful"); err != nil || !closed {
		t.Errorf("closed %v, %v", closed, err)
	}
	want("decided", review(ledger.Filter{}))
	mark("PU-1", map[int64]string{r1: ledger.MarkCertain})
	want("marked for another instrument", review(ledger.Filter{Marked: true}), "R1, in doubt for VI-1, certain for PU-1")
	mark("VI-1", map[int64]string{r1: ledger.MarkCertain})
	want("marked worse", review(ledger.Filter{Marked: true}), "R1, certain for PU-1, certain for VI-1")
	want("with those decided on", review(ledger.Filter{Closed: true, Marked: true}), "R2, certain for VI-1", "R1, certain for PU-1, certain for VI-1")
	if list, err := l.LookBacks(ctx); err != nil || len(list) != 3 || list[1].Instrument != "PU-1" || list[0].Reason != "failed a proof" {
		t.Errorf("looks back %+v, %v", list, err)
	}
	if r := wantClean(t, l); r.Rows["mark"] != 4 || r.Rows["lookback"] != 3 {
		t.Errorf("audited %v", r.Rows)
	}
}

// testUpgrade takes a ledger back to the schema before marks, as an earlier program wrote
// it, and opens it.
func testUpgrade(t *testing.T, p Place) {
	l := p.Open(t)
	keep(t, l, deed{text: "one", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")}})
	db := p.raw(t)
	for _, statement := range []string{`DROP TABLE mark`, `DROP TABLE lookback`, `DELETE FROM schema_version WHERE version > 1`} {
		mustExec(t, db, statement)
	}
	wantClean(t, p.Open(t))
}
