package clocks_test

import (
	"math/rand/v2"
	"testing"

	"nilvolt/clocks"
)

// A year of a busy indicator: 20 jobs a day.
func BenchmarkAlign(b *testing.B) {
	w := world{days: 365, jobs: 20, jitter: 0.3, missed: 0.1, extra: 0.1}
	tr := w.simulate(rand.New(rand.NewPCG(1, 2)))
	for b.Loop() {
		if a := clocks.Align(tr.reference, tr.log); !a.Sure {
			b.Fatal(a.Doubt)
		}
	}
}
