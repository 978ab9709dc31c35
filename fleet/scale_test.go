package fleet

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// near reports whether got is want within tolerance; a NaN is near nothing.
func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

func sequence(from, to int) []float64 {
	var x []float64
	for i := from; i <= to; i++ {
		x = append(x, float64(i))
	}
	return x
}

// Copper in flour, 24 determinations in parts per million.
// Source: Venables and Ripley, Modern Applied Statistics with S, 4th ed., 5.5.
var copper = []float64{
	2.2, 2.2, 2.4, 2.4, 2.5, 2.7, 2.8, 2.9, 3.03, 3.03, 3.1, 3.37, 3.4, 3.4, 3.4, 3.5, 3.6, 3.7, 3.7, 3.7, 3.7, 3.77,
	5.28, 28.95,
}

func TestScales(t *testing.T) {
	// MAD and Qn without the factor for small samples, computed with R 4.2.2,
	// robustbase 0.95-0: mad(x), Qn(x, finite.corr = FALSE).
	for _, c := range []struct {
		name        string
		x           []float64
		median      float64
		mad, qn     float64
		madTo, qnTo float64
	}{
		{"copper in flour", copper, 3.385, 0.526323, 0.73231, 1e-6, 1e-5},
		{"1 to 10", sequence(1, 10), 5.5, 3.7065, 4.43828, 1e-4, 1e-5},
		{"0 to 39", sequence(0, 39), 19.5, 10 * 1.482602218505602, 13.31484, 1e-9, 3e-5},
	} {
		if got := Median(c.x); got != c.median {
			t.Errorf("%s: median %v", c.name, got)
		}
		if got := MAD(c.x); !near(got, c.mad, c.madTo) {
			t.Errorf("%s: MAD %v, want %v", c.name, got, c.mad)
		}
		if got := Qn(c.x); !near(got, c.qn, c.qnTo) {
			t.Errorf("%s: Qn %v, want %v", c.name, got, c.qn)
		}
	}
	// Computed with mpmath 1.2.1 at 60 digits.
	if !near(madConstant, 1.482602218505602, 1e-14) || !near(qnConstant, 2.219144465985076, 1e-14) {
		t.Error("constants", madConstant, qnConstant)
	}
	if !math.IsNaN(Median(nil)) || !math.IsNaN(MAD(nil)) || !math.IsNaN(Qn([]float64{1})) {
		t.Error("a scale of nothing")
	}
}

func TestQnIsTheQuartileOfDistances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-50, 50), 2, 40).Draw(t, "x")
		var distances []float64
		for i := range x {
			for j := range i {
				distances = append(distances, math.Abs(x[i]-x[j]))
			}
		}
		slices.Sort(distances)
		h := len(x)/2 + 1
		if got, want := Qn(x), qnConstant*distances[h*(h-1)/2-1]; got != want {
			t.Fatalf("%v, want %v", got, want)
		}
	})
}
