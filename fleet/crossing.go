package fleet

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Line is a least-squares line.
type Line struct {
	N                 int
	Intercept, Slope  float64
	SE                float64 // standard deviation of the residuals; NaN for fewer than three points
	InterceptSE       float64
	SlopeSE           float64
	R2                float64
	mean, sumOfSquare float64 // of the abscissae
}

// FitLine fits a line to the points (t, y). ok is false for fewer than two different
// t. The sums are taken about the means, so that large values lose no digits.
func FitLine(t, y []float64) (l Line, ok bool) {
	n := float64(len(t))
	meanT, meanY := Mean(t), Mean(y)
	var tt, ty, yy float64
	for i := range t {
		dt, dy := t[i]-meanT, y[i]-meanY
		tt, ty, yy = tt+dt*dt, ty+dt*dy, yy+dy*dy
	}
	if !(tt > 0) {
		return Line{}, false
	}
	l = Line{N: len(t), Slope: ty / tt, mean: meanT, sumOfSquare: tt}
	l.Intercept = meanY - l.Slope*meanT
	rss := 0.0
	for i := range t {
		r := y[i] - meanY - l.Slope*(t[i]-meanT)
		rss += r * r
	}
	l.SE = math.NaN()
	if l.N > 2 {
		l.SE = math.Sqrt(rss / (n - 2))
	}
	l.SlopeSE = l.SE / math.Sqrt(tt)
	l.InterceptSE = l.SE * math.Sqrt(1/n+meanT*meanT/tt)
	l.R2 = 1 - rss/yy
	return l, true
}

// At returns the line at t with the standard errors of its height and of one more
// reading there.
func (l Line) At(t float64) (y, se, readingSE float64) {
	d := t - l.mean
	v := 1/float64(l.N) + d*d/l.sumOfSquare
	return l.Intercept + l.Slope*t, l.SE * math.Sqrt(v), l.SE * math.Sqrt(1+v)
}

// A CrossingSet is all times at which a line may reach a limit.
type CrossingSet struct {
	At        float64 // the best estimate; infinite for a level line
	Low, High float64
	// Outside says that the set is what lies outside of Low and High: up to Low or
	// from High on, because the line cannot be told from a level one. Where even that
	// says nothing Low and High are NaN: any time is possible.
	Outside bool
}

// Crossing returns the interval of the time at which the line reaches limit, by
// Fieller's theorem; readings is 0, or the number of further readings whose mean is
// to show the limit. Source: Draper and Smith, Applied Regression Analysis, 3rd ed.,
// 3.2 (inverse regression).
func (l Line) Crossing(limit, confidence float64, readings int) CrossingSet {
	q := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(l.N - 2)}.Quantile((1 + confidence) / 2)
	bound := q * q * l.SE * l.SE
	more := 0.0
	if readings > 0 {
		more = 1 / float64(readings)
	}
	// (height + slope u)^2 = bound (1/n + more + u^2/Sxx), u = t - mean
	height := l.Intercept + l.Slope*l.mean - limit
	a := l.Slope*l.Slope - bound/l.sumOfSquare
	b := l.Slope * height
	c := height*height - bound*(1/float64(l.N)+more)
	set := CrossingSet{At: l.mean - height/l.Slope, Outside: a < 0}
	root := math.Sqrt(b*b - a*c) // not a number where all of the line is possible
	low, high := l.mean+(-b-root)/a, l.mean+(-b+root)/a
	set.Low, set.High = min(low, high), max(low, high)
	return set
}
