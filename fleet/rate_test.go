package fleet

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func TestProportionsOfTheHandbook(t *testing.T) {
	// Source: NIST/SEMATECH e-Handbook, 7.2.4.1: 26 of 200, one-sided 95 % limit with
	// z rounded to 1.645; 4 of 20, exact 90 % interval.
	if low, _ := Wilson(26, 200, 0.90); !near(low, 0.09577, 5e-6) {
		t.Errorf("Wilson %v", low)
	}
	if low, high := ClopperPearson(4, 20, 0.90); !near(low, 0.071354, 1e-5) || !near(high, 0.401029, 1e-5) {
		t.Errorf("exact %v %v", low, high)
	}
	if low, high := Wilson(0, 0, 0.95); low != 0 || high != 1 {
		t.Errorf("nothing was tried: %v %v", low, high)
	}
}

func TestProportions(t *testing.T) {
	for _, row := range readTable(t, "proportions.csv") {
		x, n := int(row["x"]), int(row["n"])
		low, high := Wilson(x, n, row["conf"])
		exactLow, exactHigh := ClopperPearson(x, n, row["conf"])
		for name, got := range map[string]float64{
			"wilson_lo": low, "wilson_hi": high, "cp_lo": exactLow, "cp_hi": exactHigh,
		} {
			if !near(got, row[name], 1e-8) {
				t.Errorf("%d of %d at %v, %s: %.9f, want %.9f", x, n, row["conf"], name, got, row[name])
			}
		}
	}
}

func TestExactIntervalIsTheTestTurnedRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "n")
		x := rapid.IntRange(0, n).Draw(t, "x")
		low, high := ClopperPearson(x, n, 0.9)
		atLeast, atMost := 0.0, 0.0 // of x, at the limits
		for k := range n + 1 {
			choose := math.Exp(lchoose(n, k))
			if k >= x {
				atLeast += choose * math.Pow(low, float64(k)) * math.Pow(1-low, float64(n-k))
			}
			if k <= x {
				atMost += choose * math.Pow(high, float64(k)) * math.Pow(1-high, float64(n-k))
			}
		}
		if x > 0 && !near(atLeast, 0.05, 1e-9) || x < n && !near(atMost, 0.05, 1e-9) {
			t.Fatalf("%d of %d: %v %v, tails %v %v", x, n, low, high, atLeast, atMost)
		}
	})
}

func lchoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// 18 batters, 45 at bats each. Source: Efron and Morris (1975), JASA 70; the fit and
// the shrunk means were computed with scipy 1.10.1.
func TestShrinkageOfEfronAndMorris(t *testing.T) {
	table := readTable(t, "efron_morris.csv")
	var hits, bats []int
	for _, row := range table {
		hits, bats = append(hits, int(row["hits"])), append(bats, int(row["ab"]))
	}
	r, ok := FitRates(hits, bats)
	if !ok || !nearly(r.Alpha, 210.55178, 1e-3) || !nearly(r.Beta, 582.68863, 1e-3) {
		t.Fatalf("%+v %v", r, ok)
	}
	for i, row := range table {
		mean, low, high := r.Of(hits[i], bats[i], 0.9)
		if !near(mean, row["betabin_mle_post_mean"], 2e-5) || !(low < mean && mean < high) {
			t.Errorf("%d of %d: %.5f (%v..%v), want %v", hits[i], bats[i], mean, low, high, row["betabin_mle_post_mean"])
		}
	}
}

// Source of the data: Tarone (1982), tumours in 71 groups of rats, as used by Gelman
// and others, Bayesian Data Analysis, table 5.1; from memory, sums checked (267 of
// 1739). The fit was computed with scipy 1.10.1.
func TestFitOfTheRatTumours(t *testing.T) {
	x := []int{
		0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2, 2, 2, 1, 5, 2, 5, 3, 2, 7, 7, 3,
		3, 2, 9, 10, 4, 4, 4, 4, 4, 4, 4, 10, 4, 4, 4, 5, 11, 12, 5, 5, 6, 5, 6, 6, 6, 6, 16, 15, 15, 9, 4,
	}
	n := []int{
		20, 20, 20, 20, 20, 20, 20, 19, 19, 19, 19, 18, 18, 17, 20, 20, 20, 20, 19, 19, 18, 18, 25, 24, 23, 20, 20, 20, 20, 20,
		20, 10, 49, 19, 46, 27, 17, 49, 47, 20, 20, 13, 48, 50, 20, 20, 20, 20, 20, 20, 20, 48, 19, 19, 19, 22, 46, 49, 20, 20,
		23, 19, 22, 20, 20, 20, 52, 46, 47, 24, 14,
	}
	sumX, sumN := 0, 0
	for i := range x {
		sumX, sumN = sumX+x[i], sumN+n[i]
	}
	if len(x) != 71 || len(n) != 71 || sumX != 267 || sumN != 1739 {
		t.Fatalf("%d groups, %d of %d", len(x), sumX, sumN)
	}
	if r, ok := FitRates(x, n); !ok || !nearly(r.Alpha, 2.3416145, 1e-5) || !nearly(r.Beta, 14.1148048, 1e-5) {
		t.Errorf("%+v %v", r, ok)
	}
}

func TestRatesThatDoNotDiffer(t *testing.T) {
	if _, ok := FitRates([]int{0, 0}, []int{9, 9}); ok {
		t.Error("rates without a failure")
	}
	if _, ok := FitRates(nil, nil); ok {
		t.Error("rates of nothing")
	}
	r, ok := FitRates([]int{5, 5, 5, 5}, []int{100, 100, 100, 100})
	if rate, _, _ := r.Of(0, 100, 0.9); !ok || !near(rate, 0.05, 1e-4) {
		t.Errorf("%+v %v: rate %v, want that of the fleet", r, ok, rate)
	}
}

func TestBernoulliCUSUM(t *testing.T) {
	for _, row := range readTable(t, "bernoulli_cusum.csv") {
		p0, p1 := row["p0"], row["p1"]
		c, ok := NewBernoulliCUSUM(p0, p1, row["ANOS0_target"])
		if !ok || c.M != int(row["m"]) || c.Decision != int(row["h_times_m"]) {
			t.Errorf("%v to %v: %+v %v, want %v/%v", p0, p1, c, ok, row["h_times_m"], row["m"])
			continue
		}
		for name, p := range map[string]float64{"ANOS_p0": p0, "ANOS_p1": p1, "ANOS_2p1": 2 * p1, "ANOS_4p1": 4 * p1, "ANOS_1": 1} {
			if want, got := row[name], c.ANOS(p); !math.IsNaN(want) && p <= 1 && !nearly(got, want, 6e-6) {
				t.Errorf("%v to %v, %s: %v, want %v", p0, p1, name, got, want)
			}
		}
	}
	for _, p := range [][2]float64{{0, 0.1}, {0.1, 0.1}, {0.2, 0.1}, {0.1, 1}} {
		if c, ok := NewBernoulliCUSUM(p[0], p[1], 100); ok {
			t.Errorf("%v: %+v", p, c)
		}
	}
}

// The chart run on seeded proofs signals when the Markov chain says so.
func TestBernoulliCUSUMSimulated(t *testing.T) {
	c, _ := NewBernoulliCUSUM(0.02, 0.08, 300)
	for _, p := range []float64{0.02, 0.08, 0.3} {
		rng := rand.New(rand.NewPCG(5, uint64(1000*p)))
		const runs = 4000
		sum, squares := 0.0, 0.0
		for range runs {
			n, state, signal := 0, 0, false
			for !signal {
				state, signal = c.Step(state, rng.Float64() < p)
				n++
			}
			sum += float64(n)
			squares += float64(n) * float64(n)
		}
		mean := sum / runs
		se := math.Sqrt((squares/runs - mean*mean) / runs)
		if want := c.ANOS(p); !near(mean, want, 4*se) {
			t.Errorf("rate %v: simulated %.2f +- %.2f, computed %.2f", p, mean, se, want)
		}
	}
}
