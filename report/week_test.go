package report

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"nilvolt/record"
)

// at reads a time.
func at(t *testing.T, text string) time.Time {
	t.Helper()
	when, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return when
}

// countWeek counts records for one week with three before it.
func countWeek(week ISOWeek, z *time.Location, list ...*Filed) *Week {
	w := NewWeeks(WeeksOptions{Zone: z, First: week, Last: week, Before: 3, Stand: Stand{Origin: "site"}})
	for _, f := range list {
		w.Add(f)
	}
	return w.Report(week)
}

func ids(list []*Filed) (out []string) {
	for _, f := range list {
		out = append(out, f.Name())
	}
	return out
}

// filed is a record of the day it began on, handed in an hour later.
func filed(t *testing.T, id, began string, s record.Status, rules ...record.Rule) *Filed {
	t.Helper()
	f := &Filed{
		Record: id, Version: 1, Began: at(t, began), Readings: 5, Site: "Mill", Technician: "T-1",
		Indicators: []string{"VI-1"}, Units: []string{"PU-1"}, Status: s, Failed: rules, Counted: true,
		Open: s != record.Compliant,
	}
	f.HandedIn = f.Began.Add(time.Hour)
	return f
}

func TestWeekCounts(t *testing.T) {
	other := filed(t, "R6", "2026-03-21T09:00:00Z", record.NonCompliant, record.ProveMissing, record.ReproveMissing)
	other.Technician, other.Site, other.Indicators = "T-2", "", []string{"VI-1", "VI-2"}
	again := filed(t, "R3", "2026-03-18T09:00:00Z", record.NonCompliant, record.ProveMissing)
	again.Version, again.Counted = 2, false // the live version stands for the record
	twice := filed(t, "R8", "2026-03-18T09:00:00Z", record.NonCompliant, record.ProveMissing)
	twice.Duplicate, twice.Open = true, false
	liveTwice := filed(t, "R9", "2026-03-20T09:00:00Z", record.LiveFound, record.LiveFoundRule)
	liveTwice.Duplicate, liveTwice.Open = true, false
	bare := filed(t, "R10", "2026-03-19T09:00:00Z", record.NonCompliant, record.PairMissing)
	bare.Readings = 0
	late := filed(t, "R11", "2026-01-05T09:00:00Z", record.NonCompliant, record.ProveMissing)
	late.HandedIn = at(t, "2026-03-20T09:00:00Z")
	list := []*Filed{
		filed(t, "R1", "2026-03-16T00:00:00Z", record.Compliant),
		filed(t, "R2", "2026-03-22T23:59:59Z", record.Compliant),
		filed(t, "R3", "2026-03-18T09:00:00Z", record.LiveFound, record.LiveFoundRule),
		again,
		filed(t, "R4", "2026-03-15T23:59:59Z", record.NonCompliant, record.ProveMissing), // the week before
		filed(t, "R5", "2026-03-23T00:00:00Z", record.LiveFound, record.LiveFoundRule),   // the week after
		other,
		filed(t, "R7", "2026-02-23T00:00:00Z", record.Compliant), // three weeks before
		twice, liveTwice, bare, late,
	}
	got := countWeek(ISOWeek{2026, 12}, time.UTC, list...)
	if want := (Row{Now: Count{6, 4, 2}, Before: Count{2, 1, 0}}); got.Total != want {
		t.Errorf("total %+v, want %+v", got.Total, want)
	}
	if got.Copies != 1 || got.Bare != 1 || got.Readings != 25 {
		t.Errorf("copies %d, bare %d, readings %d", got.Copies, got.Bare, got.Readings)
	}
	wantTables := map[string]Table{
		"rules": {
			{Name: "live-found", Now: Count{6, 2, 2}, Before: Count{Records: 2}},
			{Name: "pair-missing", Now: Count{6, 1, 0}, Before: Count{Records: 2}},
			{Name: "prove-missing", Now: Count{6, 1, 0}, Before: Count{2, 1, 0}},
			{Name: "reprove-missing", Now: Count{6, 1, 0}, Before: Count{Records: 2}},
		},
		"sites":       {{Name: "", Now: Count{1, 1, 0}}, {Name: "Mill", Now: Count{5, 3, 2}, Before: Count{2, 1, 0}}},
		"technicians": {{Name: "T-1", Now: Count{5, 3, 2}, Before: Count{2, 1, 0}}, {Name: "T-2", Now: Count{1, 1, 0}}},
		"indicators":  {{Name: "VI-1", Now: Count{6, 4, 2}, Before: Count{2, 1, 0}}, {Name: "VI-2", Now: Count{1, 1, 0}}},
		"units":       {{Name: "PU-1", Now: Count{6, 4, 2}, Before: Count{2, 1, 0}}},
	}
	tables := map[string]Table{
		"rules": got.Rules, "sites": got.Sites, "technicians": got.Technicians, "indicators": got.Indicators, "units": got.Units,
	}
	if diff := cmp.Diff(wantTables, tables); diff != "" {
		t.Error(diff)
	}
	for _, c := range []struct {
		name      string
		got, want []string
	}{
		{"bad, live first", ids(got.Bad), []string{"R3", "R9", "R6", "R10"}},
		{"late, R4 by an hour", ids(got.LateBad), []string{"R11", "R4"}},
		{"waiting", ids(got.Waiting), []string{"R3", "R11", "R4", "R3@2", "R10", "R6"}},
		{"sample", slices.Sorted(slices.Values(ids(got.Sample.Records))), []string{"R1", "R2"}},
	} {
		if !slices.Equal(c.got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, c.got, c.want)
		}
	}
	if got.Late != (Count{2, 2, 0}) || got.Quiet() {
		t.Errorf("late %+v, quiet %v", got.Late, got.Quiet())
	}
	if bars := got.Pareto(); len(bars) != 4 || bars[0] != (Bar{"live-found", 2, 0.4}) || bars[3].UpTo != 1 {
		t.Errorf("%+v", bars)
	}
	// The order in which records come changes nothing.
	slices.Reverse(list)
	if diff := cmp.Diff(got, countWeek(ISOWeek{2026, 12}, time.UTC, list...)); diff != "" {
		t.Error(diff)
	}
}

// The zone decides which week a record belongs to; a week in which the clocks change
// loses none and has none twice.
func TestWeeksMeet(t *testing.T) {
	for _, name := range []string{"Europe/London", "Asia/Tehran", "Pacific/Apia", "America/St_Johns"} {
		z := zoneNamed(t, name)
		first, last := ISOWeek{2025, 50}, ISOWeek{2027, 3}
		w := NewWeeks(WeeksOptions{Zone: z, First: first, Last: last, Before: 2})
		n := 0
		began, _, end := w.Span()
		for sec := began; sec < end; sec += 1800 {
			w.Add(&Filed{Record: fmt.Sprint(n), Version: 1, Began: time.Unix(sec, 0), Status: record.Compliant, Counted: true})
			n++
		}
		total := 0
		for i := first.Add(-2); i != last.Add(1); i = i.Add(1) {
			hours := i.Add(1).Begin(z).Sub(i.Begin(z)).Hours()
			if c := w.weeks[w.weekAt(i.Begin(z))].total; c.Records != int(2*hours) {
				t.Errorf("%s %v: %d half hours in %v hours", name, i, c.Records, hours)
			} else {
				total += c.Records
			}
		}
		if total != n {
			t.Errorf("%s: %d of %d counted", name, total, n)
		}
	}
}

func TestEmptyWeek(t *testing.T) {
	got := countWeek(ISOWeek{2026, 53}, time.UTC)
	if got.Total.Now.Records != 0 || got.Quiet() || len(got.Rules) != 0 || len(got.Pareto()) != 0 || len(got.Sample.Records) != 0 {
		t.Errorf("%+v", got)
	}
	if low, high := got.Total.Now.Interval(); low != 0 || high != 1 {
		t.Errorf("interval of nothing: %v to %v", low, high)
	}
	if len(got.History) != 4 || got.History[0].Week != (ISOWeek{2026, 50}) || got.History[3].Week != (ISOWeek{2026, 53}) {
		t.Errorf("history %+v", got.History)
	}
}

func TestQuietWeek(t *testing.T) {
	good := filed(t, "R1", "2026-03-16T00:00:00Z", record.Compliant)
	if got := countWeek(ISOWeek{2026, 12}, time.UTC, good); !got.Quiet() {
		t.Errorf("%+v", got)
	}
	old := filed(t, "R0", "2025-03-16T00:00:00Z", record.NonCompliant, record.ProveMissing)
	if got := countWeek(ISOWeek{2026, 12}, time.UTC, good, old); got.Quiet() {
		t.Error("an old record waits, and the week is quiet")
	}
}
