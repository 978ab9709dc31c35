package fleet

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// Constants of the chart of individual values with moving ranges of two, as they are
// printed. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
const (
	printedD2 = 1.128 // mean range of two in standard deviations
	printedD4 = 3.267 // upper limit of the range in mean ranges
)

// A ChartPoint is one value of a chart with its limits.
type ChartPoint struct {
	Value, Low, High float64
	Out              bool // beyond a limit
}

func chartPoint(value, low, high float64) ChartPoint {
	return ChartPoint{value, low, high, value < low || value > high}
}

// Individuals returns the Shewhart charts of individual values and of the moving
// ranges between neighbours, one range fewer than values, with limits of three
// standard deviations estimated from the mean range. Fewer than two values give
// neither. Source: NIST/SEMATECH e-Handbook, 6.3.2.2.
func Individuals(x []float64) (values, ranges []ChartPoint) {
	if len(x) < 2 {
		return nil, nil
	}
	mean, meanRange := x[0]/float64(len(x)), 0.0
	for i := 1; i < len(x); i++ {
		mean += x[i] / float64(len(x))
		meanRange += math.Abs(x[i]-x[i-1]) / float64(len(x)-1)
	}
	width := 3 * meanRange / printedD2
	for i, v := range x {
		values = append(values, chartPoint(v, mean-width, mean+width))
		if i > 0 {
			ranges = append(ranges, chartPoint(math.Abs(v-x[i-1]), 0, printedD4*meanRange))
		}
	}
	return values, ranges
}

// An EWMA is an exponentially weighted moving average chart.
type EWMA struct {
	Target float64
	Sigma  float64 // standard deviation of one value
	Lambda float64 // weight of the newest value, above 0 and up to 1
	Width  float64 // limits in standard deviations of the average
}

// Chart returns the averages of x with their limits, which widen from the first
// value on. Source: NIST/SEMATECH e-Handbook, 6.3.2.4; for the limits of the first
// values Lucas and Saccucci (1990), Technometrics 32.
func (e EWMA) Chart(x []float64) []ChartPoint {
	points := make([]ChartPoint, len(x))
	z := e.Target
	for i, v := range x {
		z = e.Lambda*v + (1-e.Lambda)*z
		width := e.Width * e.Sigma * e.spread(i+1)
		points[i] = chartPoint(z, e.Target-width, e.Target+width)
	}
	return points
}

// Limits returns the limits that those of the chart run to.
func (e EWMA) Limits() (low, high float64) {
	width := e.Width * e.Sigma * math.Sqrt(e.Lambda/(2-e.Lambda))
	return e.Target - width, e.Target + width
}

// spread returns the standard deviation of the n-th average in those of a value.
func (e EWMA) spread(n int) float64 {
	return math.Sqrt(e.Lambda / (2 - e.Lambda) * -math.Expm1(2*float64(n)*math.Log1p(-e.Lambda)))
}

// A CUSUM is a two-sided cumulative sum chart.
type CUSUM struct {
	Target    float64
	Sigma     float64 // standard deviation of one value
	Reference float64 // k: half the shift to be found, in standard deviations
	Decision  float64 // h: the sum that signals, in standard deviations
	HeadStart float64 // where the sums begin, in standard deviations
}

// A CUSUMPoint is the state after one value, in the unit of the values.
type CUSUMPoint struct {
	High, Low float64 // sums of what is above and below the target, not below 0
	Out       bool    // one of them is above the decision interval
}

// Chart returns the sums over x. Source: NIST/SEMATECH e-Handbook, 6.3.2.3; for the
// head start Lucas and Crosier (1982), Technometrics 24.
func (c CUSUM) Chart(x []float64) []CUSUMPoint {
	points := make([]CUSUMPoint, len(x))
	k, h := c.Reference*c.Sigma, c.Decision*c.Sigma
	high, low := c.HeadStart*c.Sigma, c.HeadStart*c.Sigma
	for i, v := range x {
		high = max(0, high+v-c.Target-k)
		low = max(0, low+c.Target-v-k)
		points[i] = CUSUMPoint{high, low, high > h || low > h}
	}
	return points
}

// ChartConstants are the constants of charts of means, ranges and standard
// deviations of samples of one size from a normal distribution.
type ChartConstants struct {
	D2, D3Spread float64 // mean and standard deviation of the range
	C4           float64 // mean of the standard deviation
	A2           float64 // limits of the mean in mean ranges
	D3, D4       float64 // limits of the range in mean ranges
}

// ConstantsOf returns the constants for samples of n, at least 2, by numerical
// integration of the distribution of the range.
func ConstantsOf(n int) ChartConstants {
	const (
		reach = 9 // standard deviations; what lies beyond is below 1e-18
		nodes = 120
	)
	power := func(p float64) float64 { return math.Pow(p, float64(n)) }
	cdf := distuv.UnitNormal.CDF
	mean := quad.Fixed(func(x float64) float64 { return 1 - power(cdf(x)) - power(cdf(-x)) }, -reach, reach, nodes, nil, 0)
	square := quad.Fixed(func(y float64) float64 {
		return quad.Fixed(func(x float64) float64 {
			return 1 - power(cdf(y)) - power(cdf(-x)) + power(max(0, cdf(y)-cdf(x)))
		}, -reach, y, nodes, nil, 0)
	}, -reach, reach, nodes, nil, 0)
	c := ChartConstants{D2: mean, D3Spread: math.Sqrt(2*square - mean*mean)}
	upper, _ := math.Lgamma(float64(n) / 2)
	lower, _ := math.Lgamma(float64(n-1) / 2)
	c.C4 = math.Sqrt(2/float64(n-1)) * math.Exp(upper-lower)
	c.A2 = 3 / (c.D2 * math.Sqrt(float64(n)))
	c.D3, c.D4 = max(0, 1-3*c.D3Spread/c.D2), 1+3*c.D3Spread/c.D2
	return c
}
