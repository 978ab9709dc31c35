package report

import (
	"testing"
	"time"
	_ "time/tzdata" // the same clocks everywhere
)

func zoneNamed(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// Source of the dates: ISO 8601-1:2019, 5.2.4 gives 2008-12-29 = 2009-W01-1 and
// 2010-01-03 = 2009-W53-7 (from memory, both agree with Python's date.isocalendar, as
// all rows here do). Source of the clock changes: the zone database of IANA: London
// springs forward on 2026-03-29 and falls back on 2026-10-25; Tehran sprang forward at
// midnight of Monday 2021-03-22, Lord Howe by half an hour on 2026-10-04.
func TestWeekBeginsAndEnds(t *testing.T) {
	for _, c := range []struct {
		name, week, zone, begin string
		hours                   float64
	}{
		{"an ordinary one", "2026-W12", "UTC", "2026-03-16T00:00:00Z", 168},
		{"begins in the year before", "2009-W01", "UTC", "2008-12-29T00:00:00Z", 168},
		{"ends in the year after", "2009-W53", "UTC", "2009-12-28T00:00:00Z", 168},
		{"the 53rd, from 2026 into 2027", "2026-W53", "Europe/London", "2026-12-28T00:00:00Z", 168},
		{"with a leap day", "2028-W09", "Asia/Tokyo", "2028-02-28T00:00:00+09:00", 168},
		{"clocks go forward", "2026-W13", "Europe/London", "2026-03-23T00:00:00Z", 167},
		{"clocks go back", "2026-W43", "Europe/London", "2026-10-19T00:00:00+01:00", 169},
		{"half an hour forward", "2026-W40", "Australia/Lord_Howe", "2026-09-28T00:00:00+10:30", 167.5},
		{"Monday has no midnight", "2021-W12", "Asia/Tehran", "2021-03-22T01:00:00+04:30", 167},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, err := ParseISOWeek(c.week)
			if err != nil {
				t.Fatal(err)
			}
			z := zoneNamed(t, c.zone)
			begin := w.Begin(z)
			if got := begin.Format(time.RFC3339); got != c.begin {
				t.Errorf("begins %s, want %s", got, c.begin)
			}
			if ISOWeekOf(begin) != w || ISOWeekOf(begin.Add(-time.Nanosecond)) != w.Add(-1) {
				t.Errorf("%v holds the moment before it, or not its first", w)
			}
			if got := w.Add(1).Begin(z).Sub(begin).Hours(); got != c.hours {
				t.Errorf("lasts %v hours, want %v", got, c.hours)
			}
		})
	}
}

func TestWeekText(t *testing.T) {
	for _, text := range []string{"2026-W01", "2026-W53", "2025-W52", "2020-W53"} {
		if w, err := ParseISOWeek(text); err != nil || w.String() != text {
			t.Errorf("%s: %v, %v", text, w, err)
		}
	}
	for _, text := range []string{"", "2026-W00", "2025-W53", "2026-W54", "2026-12", "2026-W1", "26-W12", "2026-W+1", "+026-W01", "2026-w12", "2026-W12 "} {
		if w, err := ParseISOWeek(text); err == nil {
			t.Errorf("%q is taken for %v", text, w)
		}
	}
	if got := (ISOWeek{2026, 53}).Add(1); got != (ISOWeek{2027, 1}) {
		t.Error(got)
	}
	if got := (ISOWeek{2026, 1}).Add(-1); got != (ISOWeek{2025, 52}) {
		t.Error(got)
	}
}
