package fleet

import (
	"fmt"
	"iter"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
)

// largeFleetPoints makes a quarter of a fleet in groups of 37 indicators and 13 units that
// are proved on each other, of which one instrument in 100 is faulty; outside is the share
// of proofs with a unit of any group.
func largeFleetPoints(groups, proofs int, outside float64) iter.Seq[Point] {
	const indicators, units = 37, 13
	return func(yield func(Point) bool) {
		rng := rand.New(rand.NewPCG(3, 3))
		names := make([]string, groups*(indicators+units))
		level := make([]float64, len(names))
		for i := range names {
			names[i], level[i] = fmt.Sprintf("X%04d", i), 0.4*rng.NormFloat64()
		}
		for n := range proofs {
			g := rng.IntN(groups)
			i := g*indicators + rng.IntN(indicators)
			if rng.Float64() < outside {
				g = rng.IntN(groups)
			}
			u := groups*indicators + g*units + rng.IntN(units)
			week := float64(n) * sceneWeeks / float64(proofs)
			e := level[i] + level[u] + 0.6*rng.NormFloat64()
			if i%100 == 0 {
				e += 0.1 * week
			}
			if u%100 == 0 && week > 6 {
				e++
			}
			if !yield(Point{names[i], names[u], 230, week, e}) {
				return
			}
		}
	}
}

func largeFleet(groups, proofs int, outside float64) []Point {
	return slices.Collect(largeFleetPoints(groups, proofs, outside))
}

// Watching fleets of 500 to 5,000 instruments that proofs link to one graph, with 1,000
// proofs an instrument, and 5,000 in groups. See DEVELOPERS.md for the figures.
//
//	go test ./fleet -run '^$' -bench LargeFleet -benchtime 1x
func BenchmarkLargeFleet(b *testing.B) {
	for _, c := range []struct {
		groups  int
		outside float64
	}{{10, 0.05}, {20, 0.05}, {40, 0.05}, {100, 0.05}, {100, 0}} {
		b.Run(fmt.Sprintf("instruments=%04d/outside=%v", 50*c.groups, c.outside), func(b *testing.B) {
			points := largeFleet(c.groups, 50_000*c.groups, c.outside)
			var f *Findings
			for b.Loop() {
				f = Watch(points, SearchOptions{Until: sceneWeeks})
			}
			var memory runtime.MemStats
			runtime.ReadMemStats(&memory)
			b.ReportMetric(float64(memory.Sys)/(1<<20), "MiB-in-all")
			b.ReportMetric(float64(len(f.Faults)), "faults")
			b.ReportMetric(float64(len(f.Parts)), "parts")
		})
	}
}

// Assessing the same fleets, from proofs that are made one by one.
//
//	go test ./fleet -run '^$' -bench AssessLarge -benchtime 1x
func BenchmarkAssessLargeFleet(b *testing.B) {
	for _, groups := range []int{10, 20, 40, 100} {
		b.Run(fmt.Sprintf("instruments=%04d", 50*groups), func(b *testing.B) {
			proofs := func(yield func(Proof) bool) {
				for point := range largeFleetPoints(groups, 50_000*groups, 0.05) {
					if !yield(proofOf(point)) {
						return
					}
				}
			}
			var f *Fleet
			for b.Loop() {
				f = Assess(Evidence{Proofs: proofs, AsOf: atWeek(sceneWeeks)}, Settings{})
			}
			var memory runtime.MemStats
			runtime.ReadMemStats(&memory)
			b.ReportMetric(float64(memory.Sys)/(1<<20), "MiB-in-all")
			faulty := 0
			for i := range f.Instruments {
				if f.Instruments[i].Confirmed() {
					faulty++
				}
			}
			b.ReportMetric(float64(faulty), "blamed")
		})
	}
}
