package fleet

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"testing"
)

// largeFleet makes a quarter of a fleet in groups of 37 indicators and 13 units that are
// proved on each other, of which one instrument in 100 is faulty; outside is the share
// of proofs with a unit of any group.
func largeFleet(groups, proofs int, outside float64) []Point {
	const indicators, units = 37, 13
	rng := rand.New(rand.NewPCG(3, 3))
	names := make([]string, groups*(indicators+units))
	level := make([]float64, len(names))
	for i := range names {
		names[i], level[i] = fmt.Sprintf("X%04d", i), 0.4*rng.NormFloat64()
	}
	points := make([]Point, proofs)
	for n := range points {
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
		points[n] = Point{names[i], names[u], 230, week, e}
	}
	return points
}

// A search over 5,000 instruments and 5 million proofs, in groups and as one part. It
// grows with the proofs, with the links between instruments, and with the square to
// the cube of the units of each part: on two cores groups take 12 s and 1 GiB, one part
// of 1,300 units, nearly each of which shares an indicator with each other, more than
// three minutes.
//
//	go test ./fleet -run XXX -bench LargeFleet -benchtime 1x
func BenchmarkLargeFleet(b *testing.B) {
	for _, outside := range []float64{0, 0.05} {
		b.Run(fmt.Sprintf("outside=%v", outside), func(b *testing.B) {
			points := largeFleet(100, 5_000_000, outside)
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
