package fleet

import (
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Forecast says when the error of an instrument will leave its tolerance.
//
// The error follows a drift and wanders: its level is a Brownian motion with a drift,
// seen through noise. How much it wanders is learnt from the readings, and what
// they leave open about noise, wander, level and drift is carried into the date.
// Without wander the limits are those of Fieller's theorem.
type Forecast struct {
	// NotBefore and NotAfter enclose the time with the wanted chance, half of the rest
	// on either side; Likely has it half way. Each is +Inf where the readings do
	// not bound it within the horizon, Likely and NotAfter also where the sign of the drift
	// is not known. NotBefore is the time of the last reading where the level may be beyond
	// the tolerance already.
	NotBefore, Likely, NotAfter float64
	Level, LevelError           float64 // at the last reading, percent
	Drift, DriftError           float64 // percent a week
	Wander                      float64 // standard deviation of the wander, percent in a week
	Noise                       float64 // standard deviation of a reading, percent

	last      float64 // week of the last reading
	tolerance float64
	futures   []future
}

// OutBy returns the chance that the error has left its tolerance by a week. The zero
// Forecast gives 0.
func (f *Forecast) OutBy(week float64) float64 {
	sum := 0.0
	for i := range f.futures {
		sum += f.futures[i].leaves(f.tolerance, week-f.last)
	}
	return sum / max(1, float64(len(f.futures)))
}

// Constants of the forecast.
const (
	// horizon is how many weeks ahead a date is worth naming: ten years, beyond which
	// no interval goes (NISTIR 6969, GMP 11).
	horizon = 520
	// leastReadings is the number of readings below which there is no forecast.
	leastReadings = 6
	// draws is the number of points that stand for what the readings leave open.
	draws = 512
)

// Foresee returns the forecast for the readings of an instrument, with what the fleet
// says of wander, and a tolerance in percent on both sides. ok is false for fewer
// than six readings, or where they have all the same time or do not vary.
//
// How often intervals of 90 % hold the date stands in DEVELOPERS.md, with the command; see
// TestForecastCoverage. Where the sign of the drift is not known, Likely and NotAfter are
// +Inf: the error may as well never leave.
func Foresee(r Run, w Wander, tolerance, confidence float64) (f Forecast, ok bool) {
	return foresee(wanderStates(r), r, w, tolerance, confidence, (1-confidence)/2)
}

// foresee is Foresee with the states of the run, and with the chance with which the sign of
// the drift may be wrong where it counts as known.
func foresee(states []wanderState, r Run, w Wander, tolerance, confidence, wrong float64) (f Forecast, ok bool) {
	if states == nil || !(tolerance > 0) {
		return f, false
	}
	states = w.weigh(states)
	f.summarise(states)
	f.futures, f.tolerance = drawFutures(states, len(r.Weeks)-2), tolerance
	f.last = r.Weeks[len(r.Weeks)-1]
	most := f.OutBy(f.last + horizon)
	at := func(chance float64) float64 {
		if most < chance {
			return math.Inf(1)
		}
		const steps = 1 << 14
		reached := sort.Search(steps, func(i int) bool { return f.OutBy(f.last+horizon*float64(i)/steps) >= chance })
		return f.last + horizon*float64(reached)/steps
	}
	f.NotBefore, f.Likely, f.NotAfter = at((1-confidence)/2), math.Inf(1), math.Inf(1)
	if high := (1 + confidence) / 2; signDoubt(states, len(r.Weeks)-2) <= wrong || f.OutBy(f.last) >= high {
		f.Likely, f.NotAfter = at(0.5), at(high)
	}
	return f, true
}

// signDoubt returns the chance that the drift has not the sign that it seems to have, by
// the t distribution for each state. Where it is large, nothing bounds the time of leaving:
// with Fieller's theorem, the set of times is a ray.
func signDoubt(states []wanderState, df int) float64 {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(df)}
	down := 0.0
	for i := range states {
		if s := &states[i]; s.weight > 0 {
			down += s.weight * t.CDF(-s.drift/math.Sqrt(s.noise*s.dd))
		}
	}
	return min(down, 1-down)
}

// A wanderState is what the readings say if the variance of the wander in a week is
// ratio times that of the noise.
type wanderState struct {
	ratio        float64
	weight       float64 // its posterior probability
	level, drift float64
	ll, ld, dd   float64 // their covariance, in noise variances
	noise        float64 // variance, estimated with n-2 degrees of freedom
}

// A Wander is what is believed of how much instruments wander before an
// instrument's own readings are looked at: the chance of each of a range of ratios of
// the variance of the wander in a week to that of the noise. The zero Wander is the
// belief without a fleet.
type Wander struct {
	chances []float64
}

// wanderRatios are the ratios looked at: none, and 0.001 to 1 in even steps of the
// logarithm.
var wanderRatios = func() []float64 {
	const steps = 18
	ratios := []float64{0}
	for i := range steps + 1 {
		ratios = append(ratios, math.Pow(10, 3*float64(i)/steps-3))
	}
	return ratios
}()

// steadyChance is the chance of no wander at all without a fleet.
const steadyChance = 0.02

// believed returns the chances of wanderRatios. Without a fleet every size of the wander
// is as likely as any other, as a standard deviation: a prior that leans towards small
// ones would make intervals too short where all that is known is a quarter. Source:
// Gelman (2006), Bayesian Analysis 1, 515-534 (from memory); chosen among three by the
// coverage in TestForecastCoverage.
func (w Wander) believed() []float64 {
	if w.chances != nil {
		return w.chances
	}
	chances, sum := make([]float64, len(wanderRatios)), 0.0
	for k, ratio := range wanderRatios { // even steps of the logarithm
		chances[k] = math.Sqrt(ratio)
		sum += chances[k]
	}
	for k := range chances {
		chances[k] *= (1 - steadyChance) / sum
	}
	chances[0] = steadyChance
	return chances
}

// A Run is the readings of one instrument over time: its own part of the error.
type Run struct {
	Weeks, Percent []float64 // in order of time
}

// odd is the share of instruments that are taken to wander in their own way, whatever
// the rest of the fleet does.
const odd = 0.02

// LearnWander learns from the runs of a fleet how much its instruments wander, since
// a quarter's readings of one say little about it. Most instruments are taken to
// wander alike, so that the readings of all tell of one ratio; one in fifty may be an
// odd one, so that neither does it spoil the ratio of the rest nor the rest its own.
func LearnWander(runs []Run) Wander {
	states := make([][]wanderState, len(runs))
	for i, r := range runs {
		states[i] = wanderStates(r)
	}
	return learnWander(states)
}

// learnWander is LearnWander with the states of the runs, nil for those that tell nothing.
func learnWander(runs [][]wanderState) Wander {
	before := Wander{}.believed()
	logs := make([]float64, len(before)) // of the common ratio
	for k, chance := range before {
		logs[k] = math.Log(chance)
	}
	for _, states := range runs {
		for k, s := range states {
			// The weight over the chance before is the likelihood, and 1 on average.
			logs[k] += math.Log((1-odd)*s.weight/before[k] + odd)
		}
	}
	best, sum := slices.Max(logs), 0.0
	common := make([]float64, len(logs))
	for k := range logs {
		common[k] = math.Exp(logs[k] - best)
		sum += common[k]
	}
	for k := range common {
		common[k] = (1-odd)*common[k]/sum + odd*before[k]
	}
	return Wander{common}
}

// wanderStates fits the model for each ratio and weighs them by likelihood and what is
// believed without a fleet; nil for too few readings, or such as have one time or do not
// vary.
func wanderStates(r Run) []wanderState {
	n := len(r.Weeks)
	if n < leastReadings || r.Weeks[0] == r.Weeks[n-1] {
		return nil
	}
	states := make([]wanderState, len(wanderRatios))
	best := math.Inf(-1)
	for k, ratio := range wanderRatios {
		states[k], states[k].weight = wanderFit(r.Weeks, r.Percent, ratio)
		best = max(best, states[k].weight)
	}
	if math.IsNaN(best) || math.IsInf(best, 0) {
		return nil
	}
	for k := range states {
		states[k].weight = math.Exp(states[k].weight - best)
	}
	return share(states, Wander{}.believed())
}

// weigh returns the states weighed by w instead of by what is believed without a fleet.
func (w Wander) weigh(states []wanderState) []wanderState {
	if w.chances == nil {
		return states
	}
	factors := slices.Clone(w.chances)
	for k, before := range (Wander{}).believed() {
		factors[k] /= before
	}
	return share(slices.Clone(states), factors)
}

// share multiplies the weights by factors, makes their sum 1, and returns the states.
func share(states []wanderState, factors []float64) []wanderState {
	sum := 0.0
	for k := range states {
		states[k].weight *= factors[k]
		sum += states[k].weight
	}
	for k := range states {
		states[k].weight /= sum
	}
	return states
}

// wanderFit fits level and drift by generalised least squares for one ratio, the
// readings being made independent by a Kalman filter, and returns the logarithm of
// the restricted likelihood. Source: Durbin and Koopman, Time Series Analysis by
// State Space Methods, 2nd ed., 6.2.3 (regression in the filter), 7.2.
func wanderFit(weeks, percent []float64, ratio float64) (wanderState, float64) {
	last := weeks[len(weeks)-1]
	var level [3]float64 // filtered wander of the readings, of a constant and of the time
	var spread, logs float64
	var s11, s12, s22, s1y, s2y, syy float64
	for i := range weeks {
		if i > 0 {
			spread += ratio * (weeks[i] - weeks[i-1])
		}
		total := spread + 1
		logs += math.Log(total)
		row := [3]float64{percent[i], 1, weeks[i] - last}
		for k := range row {
			innovation := row[k] - level[k]
			level[k] += spread / total * innovation
			row[k] = innovation / math.Sqrt(total)
		}
		spread /= total
		s11, s12, s22 = s11+row[1]*row[1], s12+row[1]*row[2], s22+row[2]*row[2]
		s1y, s2y, syy = s1y+row[1]*row[0], s2y+row[2]*row[0], syy+row[0]*row[0]
	}
	det := s11*s22 - s12*s12
	a, b := (s22*s1y-s12*s2y)/det, (s11*s2y-s12*s1y)/det
	df := float64(len(weeks) - 2)
	rss := syy - a*s1y - b*s2y
	if !(rss > 0) || !(det > 0) {
		return wanderState{}, math.Inf(-1)
	}
	// The level is that of the line and the filtered wander about it.
	wa, wb := 1-level[1], -level[2]
	s := wanderState{
		ratio: ratio, level: level[0] + a*wa + b*wb, drift: b, noise: rss / df,
		ll: spread + (wa*wa*s22-2*wa*wb*s12+wb*wb*s11)/det,
		ld: (-wa*s12 + wb*s11) / det,
		dd: s11 / det,
	}
	return s, -logs/2 - math.Log(det)/2 - df/2*math.Log(rss)
}

// summarise fills in what is known of level, drift, wander and noise.
func (f *Forecast) summarise(states []wanderState) {
	var level2, drift2, wander, noise float64
	for _, s := range states {
		f.Level += s.weight * s.level
		f.Drift += s.weight * s.drift
		level2 += s.weight * (s.level*s.level + s.noise*s.ll)
		drift2 += s.weight * (s.drift*s.drift + s.noise*s.dd)
		wander += s.weight * s.noise * s.ratio
		noise += s.weight * s.noise
	}
	f.LevelError, f.DriftError = math.Sqrt(level2-f.Level*f.Level), math.Sqrt(drift2-f.Drift*f.Drift)
	f.Wander, f.Noise = math.Sqrt(wander), math.Sqrt(noise)
}

// A future is one possible truth at the last reading.
type future struct{ level, drift, wander float64 }

// drawFutures spreads points evenly over the posterior: the ratios by their weight,
// and noise, level and drift by Halton's sequence.
func drawFutures(states []wanderState, df int) []future {
	futures := make([]future, draws)
	chi := distuv.ChiSquared{K: float64(df)}
	k, below := 0, 0.0
	for i := range futures {
		share := (float64(i) + 0.5) / draws
		for k < len(states)-1 && below+states[k].weight < share {
			below += states[k].weight
			k++
		}
		s := &states[k]
		noise := math.Sqrt(s.noise * float64(df) / chi.Quantile(halton(i+1, 2)))
		u, v := distuv.UnitNormal.Quantile(halton(i+1, 3)), distuv.UnitNormal.Quantile(halton(i+1, 5))
		root := math.Sqrt(s.dd)
		futures[i] = future{
			drift:  s.drift + noise*root*u,
			level:  s.level + noise*(s.ld/root*u+math.Sqrt(max(0, s.ll-s.ld*s.ld/s.dd))*v),
			wander: noise * math.Sqrt(s.ratio),
		}
	}
	return futures
}

// halton returns the i-th number, from 1, of van der Corput's sequence to a prime
// base; sequences of different bases together are Halton's.
func halton(i, base int) float64 {
	x, scale := 0.0, 1.0
	for ; i > 0; i /= base {
		scale /= float64(base)
		x += scale * float64(i%base)
	}
	return x
}

// leaves returns the chance that the level has left the tolerance within so many
// weeks. That it leaves on one side and would have left on the other is counted
// twice, which matters only where both are near.
func (f future) leaves(tolerance, ahead float64) float64 {
	if math.Abs(f.level) >= tolerance {
		return 1
	}
	up := passes(tolerance-f.level, f.drift, f.wander, ahead)
	down := passes(tolerance+f.level, -f.drift, f.wander, ahead)
	return min(1, up+down)
}

// passes returns the chance that a Brownian motion with drift has reached distance
// within a time: the inverse Gaussian distribution. Source: Chhikara and Folks, The
// Inverse Gaussian Distribution (1989).
func passes(distance, drift, wander, time float64) float64 {
	if time <= 0 {
		return 0
	}
	width := wander * math.Sqrt(time)
	if width < 1e-9*distance {
		if drift*time >= distance {
			return 1
		}
		return 0
	}
	score := (drift*time - distance) / width
	if score < -9 { // a chance below 1e-18
		return 0
	}
	chance := normalCDF(score)
	mirror := -(drift*time + distance) / width
	if exponent := 2 * drift * distance / (wander * wander); exponent < 700 {
		chance += math.Exp(exponent) * normalCDF(mirror)
	} else { // Mills' ratio, since the factor overflows while the product does not
		chance += math.Exp(exponent-mirror*mirror/2) / (-mirror * math.Sqrt(2*math.Pi))
	}
	return min(1, chance)
}

func normalCDF(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
