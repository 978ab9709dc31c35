package fleet

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// A wanderer is a made-up instrument: a drift and a random walk about it, read with
// noise of 0.6 % at random times.
type wanderer struct {
	slope, wander float64 // percent a week, percent in a week
	weeks, n      int
}

const wandererLimit = 5 // percent

// run returns readings, and the week in which the level reaches 5 % on either side
// for the first time after them (for a mere line, in which it does).
func (w wanderer) run(rng *rand.Rand) (Run, float64) {
	var r Run
	for range w.n {
		r.Weeks = append(r.Weeks, rng.Float64()*float64(w.weeks))
	}
	slices.Sort(r.Weeks)
	walk, at := 0.0, 0.0
	for _, week := range r.Weeks {
		walk += w.wander * math.Sqrt(week-at) * rng.NormFloat64()
		at = week
		r.Percent = append(r.Percent, w.slope*week+walk+0.6*rng.NormFloat64())
	}
	if w.wander == 0 {
		return r, wandererLimit / w.slope
	}
	const step = 0.05
	for level := w.slope*at + walk; math.Abs(level) < wandererLimit && at < horizon; at += step {
		level += w.slope*step + w.wander*math.Sqrt(step)*rng.NormFloat64()
	}
	return r, at
}

// Intervals of 90 % hold the date as often as [Foresee] says, the wander being learnt
// from a fleet of 30. The full figures are those of
//
//	go test ./fleet -run TestForecastCoverage -v -fleet.runs 400
func TestForecastCoverage(t *testing.T) {
	fleets := max(2, *runs/10)
	for _, c := range []struct {
		wanderer
		least, most float64
	}{
		{wanderer{0.05, 0.1, 26, 60}, 0.87, 0.93},
		{wanderer{0.10, 0.2, 26, 60}, 0.87, 0.93},
		{wanderer{0.25, 0, 8, 18}, 0.87, 0.96},
		{wanderer{0.25, 0, 13, 30}, 0.87, 0.96},
		{wanderer{0.25, 0.05, 13, 30}, 0.87, 0.96},
		{wanderer{0.25, 0.1, 13, 30}, 0.87, 0.93},
		{wanderer{0.25, 0.2, 13, 30}, 0.87, 0.93},
		{wanderer{0.05, 0, 13, 30}, 0.87, 1}, // may go either way: both limits count
		{wanderer{0.02, 0, 13, 30}, 0.87, 1},
		{wanderer{0, 0.1, 13, 30}, 0.87, 1}, // never told: not before a date
		{wanderer{0, 0.2, 26, 60}, 0.87, 1},
	} {
		rng := rand.New(rand.NewPCG(9, 9))
		early, late, all := 0, 0, 0
		for range fleets {
			var fleet []Run
			var crossings []float64
			for range 30 {
				r, crossing := c.run(rng)
				fleet, crossings = append(fleet, r), append(crossings, crossing)
			}
			learnt := LearnWander(fleet)
			for i, r := range fleet {
				f, ok := Foresee(r, learnt, wandererLimit, 0.9)
				if !ok {
					t.Fatal("no forecast")
				}
				all++
				switch now := r.Weeks[len(r.Weeks)-1]; {
				case crossings[i] < f.NotBefore && f.NotBefore > now:
					early++
				case crossings[i] > f.NotAfter:
					late++
				}
			}
		}
		share := 1 - float64(early+late)/float64(all)
		t.Logf("%+v: %.3f hold it, before %.3f, after %.3f", c.wanderer, share,
			float64(early)/float64(all), float64(late)/float64(all))
		// Three standard errors, since there are so few runs.
		slack := 3 * math.Sqrt(0.9*0.1/float64(all))
		if share < c.least-slack || share > c.most+slack {
			t.Errorf("%+v: %.3f hold it", c.wanderer, share)
		}
	}
}

// Without wander the forecast is Fieller's interval.
func TestForecastOfALineIsFiellers(t *testing.T) {
	weeks := sequence(0, 12)
	percent := []float64{0.12, 0.31, 0.42, 0.88, 0.95, 1.31, 1.40, 1.88, 1.93, 2.35, 2.41, 2.79, 3.06}
	none := make([]float64, len(wanderRatios))
	none[0] = 1
	f, ok := Foresee(Run{weeks, percent}, Wander{none}, 5, 0.9)
	if !ok || !near(f.NotBefore, 19.3874, 0.05) || !near(f.Likely, 20.0779, 0.05) || !near(f.NotAfter, 20.8380, 0.05) {
		t.Errorf("%+v", f)
	}
	if !near(f.Drift, 0.2469231, 1e-6) || !near(f.DriftError, 0.0068298, 1e-6) || !near(f.Noise, 0.0921385, 1e-6) || f.Wander != 0 {
		t.Errorf("%+v", f)
	}
	weak := []float64{0.10, -0.35, 0.42, 0.05, -0.22, 0.51, 0.33, -0.12, 0.47, 0.08, 0.61, -0.05, 0.44}
	if f, _ := Foresee(Run{weeks, weak}, Wander{none}, 5, 0.95); !near(f.NotBefore, 68.3, 3) || !math.IsInf(f.NotAfter, 1) {
		t.Errorf("weak drift: %+v, want not before 68", f)
	}
}

func TestNoForecast(t *testing.T) {
	for name, r := range map[string]Run{
		"nothing":       {},
		"five readings": {sequence(1, 5), []float64{1, 2, 1, 2, 1}},
		"one time":      {[]float64{3, 3, 3, 3, 3, 3}, sequence(1, 6)},
		"no variation":  {sequence(1, 7), make([]float64, 7)},
	} {
		if f, ok := Foresee(r, Wander{}, 5, 0.9); ok {
			t.Errorf("%s: %+v", name, f)
		}
	}
	out := Run{sequence(1, 7), []float64{8, 8.1, 7.9, 8, 8.2, 7.8, 8}}
	if f, ok := Foresee(out, Wander{}, 5, 0.9); !ok || f.NotBefore != 7 || !near(f.NotAfter, 7, 0.1) {
		t.Errorf("out already: %+v %v", f, ok)
	}
}

// The inverse Gaussian distribution: its limit without wander, its mean, and Brownian
// motion without drift (reflection principle) from theory.
func TestFirstPassage(t *testing.T) {
	if passes(5, 0.25, 0, 19.9) != 0 || passes(5, 0.25, 0, 20.1) != 1 || passes(5, -0.25, 0, 1000) != 0 {
		t.Error("without wander")
	}
	mean, step := 0.0, 0.01
	for at := step / 2; at < 400; at += step {
		mean += step * (1 - passes(5, 0.25, 0.4, at))
	}
	if !near(mean, 20, 1e-3) {
		t.Errorf("mean %v, want distance / drift", mean)
	}
	if got, want := passes(2, 0, 1, 9), 2*distuv.UnitNormal.CDF(-2./3); !near(got, want, 1e-12) {
		t.Errorf("without drift %v, want %v", got, want)
	}
	for _, wander := range []float64{1e-3, 0.03, 0.0379, 0.038} { // exponents about 700 and far above
		before, after := passes(5, 0.1, wander, 49), passes(5, 0.1, wander, 51)
		if !(before >= 0 && before < 0.5 && after > 0.5 && after <= 1) {
			t.Errorf("wander %v: %v %v", wander, before, after)
		}
	}
}
