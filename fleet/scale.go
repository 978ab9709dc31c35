package fleet

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Constants that make the robust scales estimate the standard deviation of a
// normal sample. Source: Rousseeuw and Croux (1993), Alternatives to the median
// absolute deviation, JASA 88.
var (
	madConstant = 1 / distuv.UnitNormal.Quantile(0.75)
	qnConstant  = 1 / (math.Sqrt2 * distuv.UnitNormal.Quantile(5./8))
)

// Median returns the middle value, the mean of the two middle ones where their
// number is even, and NaN for none. It does not change x.
func Median(x []float64) float64 {
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	return medianSorted(sorted)
}

func medianSorted(x []float64) float64 {
	n := len(x)
	switch {
	case n == 0:
		return math.NaN()
	case n%2 == 1:
		return x[n/2]
	}
	return x[n/2-1]/2 + x[n/2]/2
}

// MAD returns the median absolute deviation from the median, scaled to estimate
// the standard deviation of a normal sample. Half of the values may be gross
// without ruining it. NaN for no values.
func MAD(x []float64) float64 {
	deviations := slices.Clone(x)
	m := Median(x)
	for i, v := range deviations {
		deviations[i] = math.Abs(v - m)
	}
	slices.Sort(deviations)
	return madConstant * medianSorted(deviations)
}

// Qn returns the scale Qn of Rousseeuw and Croux (1993), scaled to estimate the
// standard deviation of a large normal sample: a quartile of the distances
// between pairs of values. It needs no centre, stands half of the values being
// gross, and wastes less than MAD. No factor for small samples is applied. NaN
// for fewer than two values. It takes of the order of n log n x 50 steps and no
// memory but a copy of x.
func Qn(x []float64) float64 {
	n := len(x)
	if n < 2 {
		return math.NaN()
	}
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	h := n/2 + 1
	return qnConstant * kthDistance(sorted, h*(h-1)/2)
}

// kthDistance returns the k-th smallest distance between two values of sorted,
// k from 1. It halves an interval of float64s until one distance is left, so the
// result is a distance that occurs, to the last digit.
func kthDistance(sorted []float64, k int) float64 {
	low, high := uint64(0), math.Float64bits(sorted[len(sorted)-1]-sorted[0])
	for low < high { // the bits of non-negative floats have the order of the floats
		middle := low + (high-low)/2
		if distancesUpTo(sorted, math.Float64frombits(middle)) >= k {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return math.Float64frombits(low)
}

// distancesUpTo returns how many pairs of sorted lie at most limit apart.
func distancesUpTo(sorted []float64, limit float64) int {
	count, first := 0, 0
	for i, v := range sorted {
		for v-sorted[first] > limit {
			first++
		}
		count += i - first
	}
	return count
}
