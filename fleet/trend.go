package fleet

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Trend is Mann and Kendall's test of a trend, which asks only whether later
// values tend to be larger or smaller, so that no gross reading can feign one.
// Source: Mann (1945), Econometrica 13; Kendall, Rank Correlation Methods.
type Trend struct {
	S        int     // pairs that rise less pairs that fall
	Variance float64 // of S without a trend, ties allowed for
	Z        float64 // S in standard deviations, moved by 1 towards 0
	P        float64 // chance of so large an S on either side without a trend
	Exact    bool    // P was counted; else it is of the normal distribution
}

// exactTrend is the number of values up to which P is counted where there are no
// ties; above, the normal distribution is right to 0.001.
const exactTrend = 20

// MannKendall tests y, in order of time, for a trend. Fewer than two values have P 1.
func MannKendall(y []float64) Trend {
	n := len(y)
	var r Trend
	for i := range y {
		for j := range i {
			switch {
			case y[i] > y[j]:
				r.S++
			case y[i] < y[j]:
				r.S--
			}
		}
	}
	ties := 0.0
	sorted := slices.Sorted(slices.Values(y))
	for low := 0; low < n; {
		high := low
		for high < n && sorted[high] == sorted[low] {
			high++
		}
		t := float64(high - low)
		ties += t * (t - 1) * (2*t + 5)
		low = high
	}
	count := float64(n)
	r.Variance = (count*(count-1)*(2*count+5) - ties) / 18
	moved := max(0, math.Abs(float64(r.S))-1)
	if r.Variance > 0 {
		r.Z = math.Copysign(moved/math.Sqrt(r.Variance), float64(r.S))
	}
	r.P = min(1, 2*distuv.UnitNormal.CDF(-math.Abs(r.Z)))
	if ties == 0 && n <= exactTrend {
		r.P, r.Exact = min(1, 2*kendallTail(n, max(r.S, -r.S))), true
	}
	return r
}

// kendallTail returns the chance that S is at least s, for n values without ties, all
// orders being alike: the number of inversions has a distribution that is built up
// value by value.
func kendallTail(n, s int) float64 {
	chances := []float64{1} // of 0, 1, ... inversions
	for k := 2; k <= n; k++ {
		next := make([]float64, len(chances)+k-1)
		for i, p := range chances {
			for j := range k {
				next[i+j] += p / float64(k)
			}
		}
		chances = next
	}
	pairs := n * (n - 1) / 2
	tail := 0.0
	for inversions, p := range chances {
		if pairs-2*inversions >= s {
			tail += p
		}
	}
	return tail
}

// A RobustLine is Theil and Sen's line: the median of the slopes between all pairs of
// points, of which 29 % may be gross. Source: Theil (1950); Sen (1968), JASA 63.
type RobustLine struct {
	Slope     float64
	Low, High float64 // limits of the slope, from Kendall's distribution
	Intercept float64 // median of what the slope leaves
}

// TheilSen fits a line to the points (t, y), with an interval of the slope for the
// confidence. ok is false for fewer than two different t. It takes time and memory for
// every pair of points.
func TheilSen(t, y []float64, confidence float64) (l RobustLine, ok bool) {
	var slopes []float64
	for i := range t {
		for j := range i {
			if t[i] != t[j] {
				slopes = append(slopes, (y[i]-y[j])/(t[i]-t[j]))
			}
		}
	}
	if len(slopes) == 0 {
		return l, false
	}
	slices.Sort(slopes)
	l.Slope = medianSorted(slopes)
	rest := make([]float64, len(t))
	for i := range t {
		rest[i] = y[i] - l.Slope*t[i]
	}
	l.Intercept = Median(rest)
	// Sen's ranks: half of the pairs, more or less the quantile of S.
	width := distuv.UnitNormal.Quantile((1+confidence)/2) * math.Sqrt(senVariance(t, y))
	count := float64(len(slopes))
	low := max(0, int(math.RoundToEven((count-width)/2))-1)
	high := min(len(slopes)-1, int(math.RoundToEven((count+width)/2)))
	l.Low, l.High = slopes[low], slopes[high]
	return l, true
}

// senVariance returns the variance of S where t and y have ties. Source: Sen (1968).
func senVariance(t, y []float64) float64 {
	n := float64(len(t))
	v := n * (n - 1) * (2*n + 5)
	for _, values := range [][]float64{t, y} {
		sorted := slices.Sorted(slices.Values(values))
		for low := 0; low < len(sorted); {
			high := low
			for high < len(sorted) && sorted[high] == sorted[low] {
				high++
			}
			k := float64(high - low)
			v -= k * (k - 1) * (2*k + 5)
			low = high
		}
	}
	return v / 18
}
