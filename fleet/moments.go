package fleet

import "math"

// Mean returns the arithmetic mean, NaN for no values. A second pass takes up the
// rounding of the first.
func Mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	mean := sum / float64(len(x))
	rest := 0.0
	for _, v := range x {
		rest += v - mean
	}
	return mean + rest/float64(len(x))
}

// Deviation returns the standard deviation with n-1, NaN for fewer than two values.
func Deviation(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	mean, sum := Mean(x), 0.0
	for _, v := range x {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / float64(len(x)-1))
}

// Autocorrelation returns the correlation of neighbours: the sum of the products of
// the deviations of neighbours over that of their squares. It is NaN where x does not
// vary.
func Autocorrelation(x []float64) float64 {
	mean, products, squares := Mean(x), 0.0, 0.0
	for i, v := range x {
		squares += (v - mean) * (v - mean)
		if i > 0 {
			products += (v - mean) * (x[i-1] - mean)
		}
	}
	return products / squares
}
