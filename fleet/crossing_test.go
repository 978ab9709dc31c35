package fleet

import (
	"math"
	"math/rand/v2"
	"testing"
)

func fit(t *testing.T, x, y []float64) Line {
	t.Helper()
	l, ok := FitLine(x, y)
	if !ok {
		t.Fatal("no line")
	}
	return l
}

// Source of the data: Massart and others (1997), Handbook of Chemometrics and
// Qualimetrics A, chapter 8, example 1; published 6.1 +- 4.9, 43.9 +- 4.9 and
// 43.9 +- 3.2 for five readings. Those are approximate intervals, so that the exact
// ones are held to them only where the slope is well known. The decimals were computed
// with scipy 1.10.1.
func TestInversePredictionOfMassart(t *testing.T) {
	l := fit(t, []float64{0, 10, 20, 30, 40, 50}, []float64{4, 21.2, 44.6, 61.8, 78, 105.2})
	if !near(l.Intercept, 2.923809524, 1e-9) || !near(l.Slope, 1.981714286, 1e-9) || !near(l.SE, 2.991161584, 1e-9) {
		t.Errorf("%+v", l)
	}
	for _, c := range []struct {
		reading  float64
		readings int
		at, half float64
	}{{15, 1, 6.093810, 4.906751}, {90, 1, 43.93983, 4.908053}, {90, 5, 43.93983, 3.168489}} {
		set := l.Crossing(c.reading, 0.95, c.readings)
		if set.Outside || !near(set.At, c.at, 1e-5) || !nearly((set.High-set.Low)/2, c.half, 0.01) {
			t.Errorf("%v of %d: %+v, want %v +- %v", c.reading, c.readings, set, c.at, c.half)
		}
	}
}

// A drift of a quarter and its crossing of 5 %, and one that cannot be told from none;
// computed with scipy 1.10.1.
func TestFieller(t *testing.T) {
	weeks := sequence(0, 12)
	l := fit(t, weeks, []float64{0.12, 0.31, 0.42, 0.88, 0.95, 1.31, 1.40, 1.88, 1.93, 2.35, 2.41, 2.79, 3.06})
	if !near(l.SE, 0.09213853965366765, 1e-15) || !near(l.SlopeSE, 0.0068297629556432924, 1e-15) {
		t.Errorf("%+v", l)
	}
	for _, c := range []struct{ confidence, low, high float64 }{
		{0.80, 19.547841398848114, 20.648021361863808},
		{0.90, 19.38740131726199, 20.838006142750412},
		{0.95, 19.240271591156855, 21.02022909525657},
	} {
		set := l.Crossing(5, c.confidence, 0)
		if set.Outside || !near(set.At, 20.077881619937695, 1e-10) || !near(set.Low, c.low, 1e-8) || !near(set.High, c.high, 1e-8) {
			t.Errorf("%v: %+v, want %v %v", c.confidence, set, c.low, c.high)
		}
	}
	y, se, readingSE := l.At(20)
	if !near(y, 4.980769230769231, 1e-12) || !near(se, 0.09897266807739524, 1e-13) || !near(readingSE, 0.13522240759529738, 1e-13) {
		t.Errorf("at 20: %v %v %v", y, se, readingSE)
	}
	weak := fit(t, weeks, []float64{0.10, -0.35, 0.42, 0.05, -0.22, 0.51, 0.33, -0.12, 0.47, 0.08, 0.61, -0.05, 0.44})
	if set := weak.Crossing(5, 0.95, 0); !set.Outside || !near(set.High, 68.3021704301501, 1e-7) || !near(set.Low, -225.037, 1e-3) {
		t.Errorf("weak drift: %+v, want not before 68.3", set)
	}
	if set := fit(t, weeks, []float64{1, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1}).Crossing(0.1, 0.95, 0); !math.IsNaN(set.Low) {
		t.Errorf("no drift, limit near: %+v, want any time", set)
	}
	if _, ok := FitLine([]float64{1, 1}, []float64{1, 2}); ok {
		t.Error("a line through one time")
	}
}

// Fieller's intervals hold the truth as often as they say, weak drifts included.
func TestFiellerCoverage(t *testing.T) {
	for _, c := range []struct {
		slope    float64
		weeks, n int
	}{{0.25, 8, 18}, {0.25, 13, 30}, {0.10, 8, 18}, {0.05, 8, 18}, {0.05, 13, 30}, {0.02, 8, 18}, {0.02, 26, 60}} {
		rng := rand.New(rand.NewPCG(1, uint64(c.n)))
		const runs = 2000
		holds := 0
		for range runs {
			r, crossing := wanderer{slope: c.slope, weeks: c.weeks, n: c.n}.run(rng)
			set := fit(t, r.Weeks, r.Percent).Crossing(wandererLimit, 0.9, 0)
			inside := set.Low <= crossing && crossing <= set.High
			if math.IsNaN(set.Low) || inside != set.Outside {
				holds++
			}
		}
		if share := float64(holds) / runs; !near(share, 0.9, 0.03) {
			t.Errorf("%+v: %v", c, share)
		}
	}
}
