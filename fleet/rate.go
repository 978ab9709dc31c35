package fleet

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// Wilson returns the two-sided interval of a rate of which x of n were seen, by
// Wilson's score. confidence lies between 0 and 1. Without proofs it is 0 to 1.
// Source: NIST/SEMATECH e-Handbook, 7.2.4.1.
func Wilson(x, n int, confidence float64) (low, high float64) {
	if n <= 0 {
		return 0, 1
	}
	z := distuv.UnitNormal.Quantile((1 + confidence) / 2)
	count, rate := float64(n), float64(x)/float64(n)
	middle := rate + z*z/(2*count)
	half := z * math.Sqrt(rate*(1-rate)/count+z*z/(4*count*count))
	scale := 1 + z*z/count
	low, high = max(0, (middle-half)/scale), min(1, (middle+half)/scale)
	if x == 0 {
		low = 0
	}
	if x == n {
		high = 1
	}
	return low, high
}

// ClopperPearson returns the exact two-sided interval of a rate of which x of n were
// seen: it holds the rate at least as often as confidence says. Source:
// NIST/SEMATECH e-Handbook, 7.2.4.1.
func ClopperPearson(x, n int, confidence float64) (low, high float64) {
	tail := (1 - confidence) / 2
	low, high = 0, 1
	if x > 0 {
		low = mathext.InvRegIncBeta(float64(x), float64(n-x+1), tail)
	}
	if x < n {
		high = mathext.InvRegIncBeta(float64(x+1), float64(n-x), 1-tail)
	}
	return low, high
}

// A Rates is how the rates of failing differ from instrument to instrument: a beta
// distribution. Where the counts do not differ more than chance makes them, Alpha
// and Beta are very large and every instrument has the rate of the fleet.
type Rates struct {
	Alpha, Beta float64
}

// alike is the sum Alpha + Beta from which the instruments count as alike.
const alike = 1e7

// FitRates fits the beta-binomial distribution by maximum likelihood to failed of
// tried proofs of each instrument. ok is false where nothing was tried, or none or
// all of it failed, so that there is no spread to learn. Source of the method:
// Gelman and others, Bayesian Data Analysis, 5.3.
func FitRates(failed, tried []int) (r Rates, ok bool) {
	x, n := 0, 0
	for i := range tried {
		x, n = x+failed[i], n+tried[i]
	}
	if x == 0 || x == n {
		return Rates{}, false
	}
	rate := float64(x) / float64(n)
	problem := optimize.Problem{
		Func: func(p []float64) float64 { return -ratesOf(p).logLikelihood(failed, tried) },
		Grad: func(grad, p []float64) { ratesGradient(grad, p, failed, tried) },
	}
	start := []float64{math.Log(rate / (1 - rate)), math.Log(10)}
	// Where the counts differ too little, the search runs off to ever larger sums and
	// ends with an error; the sum reached says so.
	found, err := optimize.Minimize(problem, start, &optimize.Settings{GradientThreshold: 1e-7}, &optimize.BFGS{})
	if found == nil {
		return Rates{}, false
	}
	r = ratesOf(found.X)
	common := Rates{rate * alike, (1 - rate) * alike}
	if sum := r.Alpha + r.Beta; err != nil && sum > alike/10 || !(sum < alike) ||
		!(r.logLikelihood(failed, tried) > common.logLikelihood(failed, tried)) {
		return common, true
	}
	return r, true
}

// ratesOf takes the logit of the mean and the logarithm of the sum of Alpha and Beta.
func ratesOf(p []float64) Rates {
	mean, sum := 1/(1+math.Exp(-p[0])), math.Exp(min(p[1], 60))
	return Rates{mean * sum, (1 - mean) * sum}
}

func (r Rates) logLikelihood(failed, tried []int) float64 {
	whole := mathext.Lbeta(r.Alpha, r.Beta)
	sum := 0.0
	for i, n := range tried {
		sum += mathext.Lbeta(r.Alpha+float64(failed[i]), r.Beta+float64(n-failed[i])) - whole
	}
	return sum
}

func ratesGradient(grad, p []float64, failed, tried []int) {
	r := ratesOf(p)
	byAlpha, byBeta := 0.0, 0.0
	for i, n := range tried {
		x := float64(failed[i])
		both := mathext.Digamma(r.Alpha+r.Beta) - mathext.Digamma(r.Alpha+r.Beta+float64(n))
		byAlpha += mathext.Digamma(r.Alpha+x) - mathext.Digamma(r.Alpha) + both
		byBeta += mathext.Digamma(r.Beta+float64(n)-x) - mathext.Digamma(r.Beta) + both
	}
	sum := r.Alpha + r.Beta
	mean := r.Alpha / sum
	grad[0] = -(byAlpha - byBeta) * sum * mean * (1 - mean)
	grad[1] = -(byAlpha*r.Alpha + byBeta*r.Beta)
}

// Of returns the rate of an instrument of which x of n proofs failed, drawn towards
// the fleet, with its interval of the given credibility.
func (r Rates) Of(x, n int, credible float64) (rate, low, high float64) {
	a, b := r.Alpha+float64(x), r.Beta+float64(n-x)
	tail := (1 - credible) / 2
	return a / (a + b), mathext.InvRegIncBeta(a, b, tail), mathext.InvRegIncBeta(a, b, 1-tail)
}

// A BernoulliCUSUM looks for a rise of the rate of failing, proof by proof. Its sum
// is counted in units of 1/M of a failure, so that it is a whole number: a failure
// adds M-1, a pass takes 1 away, and it never falls below 0. Source: Reynolds and
// Stoumbos (1999), Journal of Quality Technology 31.
type BernoulliCUSUM struct {
	M        int // proofs a failure stands for
	Decision int // the sum that signals
}

// maxDecision bounds the states of a chart that NewBernoulliCUSUM looks at.
const maxDecision = 2000

// NewBernoulliCUSUM returns the chart for a rise of the rate from usual to raised,
// both between 0 and 1, that signals falsely once in at least between proofs on
// average. ok is false where raised is not above usual, or no chart of a reasonable
// size does it.
func NewBernoulliCUSUM(usual, raised, between float64) (c BernoulliCUSUM, ok bool) {
	if !(usual > 0 && raised > usual && raised < 1) {
		return c, false
	}
	r1 := -math.Log((1 - raised) / (1 - usual))
	r2 := math.Log(raised * (1 - usual) / (usual * (1 - raised)))
	c.M = max(2, int(math.Round(r2/r1)))
	enough := func(h int) bool { return BernoulliCUSUM{c.M, h}.ANOS(usual) >= between }
	// From small to large, since the equations of charts that signal once in an age are
	// near singular.
	low, high := 0, 1
	for !enough(high) {
		if high > maxDecision {
			return c, false
		}
		low, high = high, 2*high
	}
	c.Decision = low + 1 + sort.Search(high-low-1, func(i int) bool { return enough(low + 1 + i) })
	return c, true
}

// Step returns the sum after one more proof, and whether it signals.
func (c BernoulliCUSUM) Step(sum int, failed bool) (next int, signal bool) {
	if failed {
		next = sum + c.M - 1
	} else {
		next = max(0, sum-1)
	}
	return next, next >= c.Decision
}

// ANOS returns the average number of proofs to a signal when a proof fails with the
// given chance, by solving the Markov chain of the sum.
func (c BernoulliCUSUM) ANOS(chance float64) float64 {
	n := c.Decision
	a := mat.NewDense(n, n, nil)
	ones := mat.NewVecDense(n, nil)
	for s := range n {
		ones.SetVec(s, 1)
		a.Set(s, s, 1)
		for _, failed := range []bool{false, true} {
			p := 1 - chance
			if failed {
				p = chance
			}
			if next, signal := c.Step(s, failed); !signal {
				a.Set(s, next, a.At(s, next)-p)
			}
		}
	}
	var l mat.VecDense
	// Near singular only where the mean is beyond all use.
	_ = l.SolveVec(a, ones)
	return l.AtVec(0)
}
