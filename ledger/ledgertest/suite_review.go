package ledgertest

import (
	"context"
	"errors"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/ledger"
	"nilvolt/record"
)

// decide decides on a version.
func decide(l *ledger.Ledger, version int64, kind ledger.DecisionKind, by, reason string) (closed bool, err error) {
	err = l.Update(context.Background(), func(tx *ledger.Tx) error {
		_, closed, err = tx.Decide(version, kind, by, reason)
		return err
	})
	return closed, err
}

func testDecisions(t *testing.T, p Place) {
	l := p.Open(t)
	live, _ := keep(t, l, deed{text: "one", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "231")}, status: record.LiveFound})
	bad, _ := keep(t, l, deed{text: "two", records: []*record.Record{Record("R2", "Mill", "T-1", "VI-1", 9, "0.2")}, status: record.NonCompliant})
	r1, r2 := live[0].Version, bad[0].Version
	for _, c := range []struct {
		name       string
		version    int64
		kind       ledger.DecisionKind
		by, reason string
		closed     bool
		err        error
	}{
		{"by nobody", r2, ledger.Repeat, " ", "because", false, ledger.ErrNobody},
		{"without a reason", r2, ledger.Repeat, "Ada", " ", false, ledger.ErrNoReason},
		{"on nothing", 1 << 20, ledger.Repeat, "Ada", "because", false, ledger.ErrNoSuchVersion},
		{"a record that is not live takes one person", r2, ledger.Accept, "Ada", "seen on site", true, nil},
		{"a live one stays open", r1, ledger.Accept, "Ada", "seen on site", false, nil},
		{"the same person again", r1, ledger.Accept, " ada ", "seen again", false, ledger.ErrSamePerson},
		{"a second person", r1, ledger.Accept, "Bo", "seen as well", true, nil},
		{"another decision follows", r1, ledger.Repeat, "Cy", "better so", true, nil},
		{"and accepting begins anew", r1, ledger.Accept, "Bo", "after all", false, nil},
	} {
		closed, err := decide(l, c.version, c.kind, c.by, c.reason)
		if closed != c.closed || !errors.Is(err, c.err) {
			t.Errorf("%s: closed %v, %v", c.name, closed, err)
		}
	}
	items, err := l.Record(context.Background(), "R1")
	if err != nil || len(items[0].Decisions) != 4 || items[0].Decisions[0].Reason != "seen on site" {
		t.Errorf("%+v %v", items, err)
	}
	testItem(t, l)
	// A judgement that says something else opens the record again.
	again, _ := keep(t, l, deed{text: "three", records: []*record.Record{Record("R2", "Mill", "T-1", "VI-1", 9, "0.2")}, status: record.LiveFound})
	if items, err = l.Record(context.Background(), "R2"); err != nil || again[0].Outcome != ledger.Same || items[0].Closed() {
		t.Errorf("%+v %v", items, err)
	}
	wantClean(t, l)
}

// testItem looks at versions within a transaction: each decision is the newest leaf about
// its own.
func testItem(t *testing.T, l *ledger.Ledger) {
	t.Helper()
	err := l.Update(context.Background(), func(tx *ledger.Tx) error {
		if _, err := tx.Item("R1", 2); !errors.Is(err, ledger.ErrNoSuchVersion) {
			t.Errorf("a version that there is not: %v", err)
		}
		var made []ledger.Decision
		for _, id := range []string{"R1", "R2"} {
			before, err := tx.Item(id, 1)
			if err != nil {
				return err
			}
			d, _, err := tx.Decide(before.Version, ledger.ToStore, "Ada", "reads low")
			if err != nil {
				return err
			}
			made = append(made, d)
			if after, err := tx.Item(id, 1); err != nil || before.Newest() >= d.ID || after.Newest() != d.ID {
				t.Errorf("%s: the newest leaf was %d, is %d, and the decision %d: %v", id, before.Newest(), after.Newest(), d.ID, err)
			}
		}
		return tx.SendToStore(made...)
	})
	if err != nil {
		t.Fatal(err)
	}
}

func testReview(t *testing.T, p Place) {
	l := p.Open(t)
	keep(t, l, deed{text: "good", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")}, status: record.Compliant})
	keep(t, l, deed{text: "bad", records: []*record.Record{
		Record("R2", "Mill", "T-2", "VI-2", 20, "0.2"), Record("R3", "Dock", "T-1", "VI-1", 10, "0.2"),
	}, status: record.NonCompliant})
	live, _ := keep(t, l, deed{text: "live", records: []*record.Record{Record("R4", "Mill", "T-2", "VI-1", 30, "231")}, status: record.LiveFound})
	list := func(f ledger.Filter) []string {
		t.Helper()
		items, err := l.Review(context.Background(), f)
		if err != nil {
			t.Fatal(err)
		}
		var ids []string
		for _, i := range items {
			ids = append(ids, i.Record)
		}
		return ids
	}
	for _, c := range []struct {
		name string
		f    ledger.Filter
		want []string
	}{
		{"worst first, then oldest", ledger.Filter{}, []string{"R4", "R3", "R2"}},
		{"by rule", ledger.Filter{Rule: "live-found"}, []string{"R4"}},
		{"by part of a rule's name", ledger.Filter{Rule: "missing"}, nil},
		{"by site", ledger.Filter{Site: "Mill"}, []string{"R4", "R2"}},
		{"by technician", ledger.Filter{Technician: "T-1"}, []string{"R3"}},
		{"by indicator", ledger.Filter{Instrument: "VI-2"}, []string{"R2"}},
		{"by proving source", ledger.Filter{Instrument: "PU-1"}, []string{"R4", "R3", "R2"}},
		{"by age", ledger.Filter{From: Begin + 10*60, To: Begin + 20*60}, []string{"R3"}},
	} {
		if diff := cmp.Diff(c.want, list(c.f)); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
	if _, err := decide(l, live[0].Version, ledger.Coach, "Ada", "show the order of steps"); err != nil {
		t.Fatal(err)
	}
	if got := list(ledger.Filter{}); slices.Contains(got, "R4") {
		t.Errorf("decided on and still there: %q", got)
	}
	if got := list(ledger.Filter{Closed: true}); !slices.Contains(got, "R4") {
		t.Errorf("asked for what is closed, and not there: %q", got)
	}
}

func testNeighbours(t *testing.T, p Place) {
	l := p.Open(t)
	day := 24 * 60
	old, _ := keep(t, l, deed{text: "old", records: []*record.Record{
		Record("near", "Mill", "T-1", "VI-1", 0, "0.2"),
		Record("far", "Mill", "T-1", "VI-1", day, "0.2"),
		Record("other indicator", "Mill", "T-1", "VI-2", 0, "0.2"),
		Record("copied", "Mill", "T-1", "VI-3", 0, "0.2"),
	}, keys: map[string][16]byte{"copied": {7}, "far": {8}}})
	var got, around []int64
	err := l.Update(context.Background(), func(tx *ledger.Tx) error {
		u, err := tx.Upload(ledger.Manifest{Files: []ledger.File{File(ledger.Readings, "b.csv", "new")}})
		if err != nil {
			return err
		}
		var packer ledger.Packer
		kept, err := u.Add([]*ledger.Packed{packer.Pack(Record("new", "Mill", "T-1", "VI-1", 30, "0.2"), &[16]byte{7})})
		if err = errors.Join(err, u.Flush()); err != nil {
			return err
		}
		if !u.Earlier() {
			t.Error("no earlier versions")
		}
		if got, err = u.Neighbours(ledger.Margins{Before: 3600, After: 3600}); err != nil {
			return err
		}
		if around, err = tx.Around(got, ledger.Margins{Before: 3600, After: 3600}); err != nil {
			return err
		}
		return judge(tx, u, kept, record.Compliant)
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]int64{old[0].Version, old[3].Version}, got); diff != "" {
		t.Errorf("neighbours: %s", diff)
	}
	if len(around) != 3 || around[0] != got[0] || around[1] != got[1] || around[2] <= old[3].Version {
		t.Errorf("around the neighbours %d are %d", got, around)
	}
}

func testOverlaps(t *testing.T, p Place) {
	l := p.Open(t)
	keep(t, l, deed{text: "one", records: []*record.Record{
		Record("A1", "Mill", "T-1", "VI-1", 0, "0.2"),
		Record("A2", "Mill", "T-1", "VI-1", 0, "0.3"), // at the same site
		Record("A3", "Dock", "T-3", "VI-3", 0, "0.3"),
	}})
	keep(t, l, deed{text: "two", records: []*record.Record{
		Record("B1", "Dock", "T-1", "VI-2", 0, "0.2"), // the technician of A1 elsewhere
		Record("B2", "Dock", "T-2", "VI-1", 1, "0.2"), // the indicator of A1, but later
		Record("B3", "Mill", "T-2", "VI-3", 0, "0.2"), // the indicator of A3 elsewhere
	}})
	list, err := l.Overlaps(context.Background(), Begin, Begin+3600)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, o := range list {
		got = append(got, o.Who+": "+o.Record+" at "+o.Site+", "+o.Other+" at "+o.Elsewhere)
	}
	want := []string{"T-1: B1 at Dock, A1 at Mill", "VI-3: B3 at Mill, A3 at Dock"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
