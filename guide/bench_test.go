package guide_test

import (
	"fmt"
	"testing"

	"nilvolt/guide"
	"nilvolt/record"
	"nilvolt/verify"
)

// How long an instruction takes on a usual record, and on ones as large as they get.
func BenchmarkNext(b *testing.B) {
	forty := singlePhase
	forty.Supply, forty.Conductors = record.SupplyUnknown, nil
	for i := range 38 {
		forty.Conductors = append(forty.Conductors, must(record.ParseConductor(fmt.Sprintf("K%d", i))))
	}
	forty.Conductors = append(forty.Conductors, record.L, record.N, record.E)
	for _, bb := range []struct {
		name string
		job  record.Job
		rows int
	}{{"usual", singlePhase, 3}, {"41 conductors", forty, 3}, {"3000 rows", singlePhase, 3000}} {
		b.Run(bb.name, func(b *testing.B) {
			bench := newBench(bb.job).do(secured...).do("prove 230")
			for range bb.rows {
				bench.do("test L-N 0.1")
			}
			g := guide.New(verify.DefaultPolicy(), nil)
			for b.Loop() {
				g.Next(guide.Situation{Record: bench.rec, Now: bench.now})
			}
		})
	}
}
