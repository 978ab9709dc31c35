package verify

import (
	"fmt"
	"testing"
	"time"

	"nilvolt/record"
)

// manySources is plainRecord with a prove series on n sources: each fails, and then
// each passes, but for the one called but.
func manySources(n, but int) *record.Record {
	rec := plainRecord()
	prove := rec.Events[0]
	events := rec.Events[1:]
	rec.Events = nil
	for pass := range 2 {
		for i := range n {
			e := prove
			e.Time = prove.Time.Add(time.Duration(pass*n+i-2*n) * time.Millisecond)
			e.Source = fmt.Sprint("PU-", i)
			if pass == 0 || i == but {
				e.Volts.Volts = 100
			}
			rec.Events = append(rec.Events, e)
		}
	}
	rec.Events = append(rec.Events, events...)
	return rec
}

// Every source of a series counts by its last row (docs/rules.md, section 3), however
// many there are.
func TestManySources(t *testing.T) {
	j := NewJudge(DefaultPolicy(), nil, nil)
	for _, n := range []int{1, manyGroups - 1, manyGroups, manyGroups + 1, 3 * manyGroups} {
		for _, but := range []int{-1, 0, n / 2, n - 1} {
			want := record.Compliant
			if but >= 0 {
				want = record.NonCompliant
			}
			g := j.Judge(manySources(n, but))
			if g.Status != want || len(j.groups) != n+1 {
				t.Errorf("%d sources, of which %d fails: %v, %d groups", n, but, g.Status, len(j.groups))
			}
		}
	}
}

// Twenty thousand sources in one series are no reason to wait: looked up one by one
// they took seconds.
func BenchmarkManySources(b *testing.B) {
	j := NewJudge(DefaultPolicy(), nil, nil)
	rec := manySources(20_000, -1)
	for b.Loop() {
		j.Judge(rec)
	}
}
