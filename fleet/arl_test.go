package fleet

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// nearly compares to a share of the wanted value.
func nearly(got, want, share float64) bool { return near(got, want, share*math.Abs(want)) }

func TestRunLengthsOfShewhartAndCUSUM(t *testing.T) {
	for _, row := range readTable(t, "arl_cusum.csv") {
		shift := row["shift"]
		for name, got := range map[string]float64{
			"shewhart3":           ShewhartARL(3, shift),
			"cusum_k.5_h4_one":    CUSUM{Reference: 0.5, Decision: 4}.OneSidedARL(shift),
			"cusum_h4_two":        CUSUM{Reference: 0.5, Decision: 4}.ARL(shift),
			"cusum_h5_one":        CUSUM{Reference: 0.5, Decision: 5}.OneSidedARL(shift),
			"cusum_h5_two":        CUSUM{Reference: 0.5, Decision: 5}.ARL(shift),
			"cusum_h4_two_FIR2":   CUSUM{Reference: 0.5, Decision: 4, HeadStart: 2}.ARL(shift),
			"cusum_h5_two_FIR2.5": CUSUM{Reference: 0.5, Decision: 5, HeadStart: 2.5}.ARL(shift),
			"cusum_h4.774_two":    CUSUM{Reference: 0.5, Decision: 4.774}.ARL(shift),
		} {
			if !nearly(got, row[name], 1e-8) {
				t.Errorf("shift %v, %s: %.10f, want %.10f", shift, name, got, row[name])
			}
		}
	}
	// Examples of a published statistics manual. Its two-sided value for the same chart
	// is smaller by 1e-6, so its last two digits are not to be relied on.
	c := CUSUM{Reference: 0.25, Decision: 8}
	if got := c.OneSidedARL(2.5); !nearly(got, 4.1500836225, 5e-8) {
		t.Errorf("one-sided %.10f", got)
	}
	c.HeadStart = 0.1
	if got := c.OneSidedARL(2.5); !nearly(got, 4.1061588131, 5e-8) {
		t.Errorf("head start %.10f", got)
	}
}

// Source: Lucas and Crosier (1982), Technometrics 24, table 1, k 0.5, h 4 two-sided,
// without and with a head start of 2; three digits are printed.
func TestRunLengthsOfLucasAndCrosier(t *testing.T) {
	shifts := []float64{0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4}
	plain := []float64{168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71}
	ahead := []float64{149, 62.7, 20.1, 8.97, 5.29, 2.86, 2.01, 1.59, 1.32, 1.07}
	for i, shift := range shifts {
		if got := (CUSUM{Reference: 0.5, Decision: 4}).ARL(shift); !nearly(got, plain[i], 0.003) {
			t.Errorf("shift %v: %.3f, want %v", shift, got, plain[i])
		}
		if got := (CUSUM{Reference: 0.5, Decision: 4, HeadStart: 2}).ARL(shift); !nearly(got, ahead[i], 0.005) {
			t.Errorf("shift %v, head start: %.3f, want %v", shift, got, ahead[i])
		}
	}
}

func TestRunLengthsOfEWMA(t *testing.T) {
	for _, row := range readTable(t, "arl_ewma.csv") {
		for _, c := range []struct{ lambda, width float64 }{
			{0.4, 3.054}, {0.25, 2.998}, {0.2, 2.962}, {0.1, 2.814}, {0.05, 2.615},
		} {
			e := EWMA{Sigma: 1, Lambda: c.lambda, Width: c.width}
			for kind, widening := range map[string]bool{"fix": false, "vacl": true} {
				want := row[fmt.Sprintf("%s_l%v_L%v", kind, c.lambda, c.width)]
				if got := e.ARL(row["shift"], widening); !nearly(got, want, 2e-6) {
					t.Errorf("shift %v, %s %v: %.8f, want %.8f", row["shift"], kind, c, got, want)
				}
			}
		}
	}
	if got := (EWMA{Lambda: 0.25, Width: 3}).ARL(1, false); !near(got, 11.154267016, 1e-8) {
		t.Errorf("anchor of a published manual: %.9f", got)
	}
}

// The printed row of Lucas and Saccucci (1990) is held to its last digit.
func TestRunLengthsOfLucasAndSaccucci(t *testing.T) {
	for _, row := range readTable(t, "arl_lucas_saccucci.csv") {
		for name, e := range map[string]EWMA{
			"l0.5_L3.071": {Lambda: 0.5, Width: 3.071}, "l0.03_L2.437": {Lambda: 0.03, Width: 2.437},
		} {
			got := e.ARL(row["shift"], false)
			if computed := row["spc_"+strings.Split(name, "_")[0]]; !nearly(got, computed, 1e-6) {
				t.Errorf("shift %v, %s: %.6f, want %.6f", row["shift"], name, got, computed)
			}
			if printed := row["ls1990_"+name]; !nearly(got, printed, 0.004) {
				t.Errorf("shift %v, %s: %.3f, printed %v", row["shift"], name, got, printed)
			}
		}
	}
}

// simulateARL returns the mean run length of many runs, with its standard error.
func simulateARL(seed uint64, shift float64, signals func(next func() float64) int) (mean, se float64) {
	rng := rand.New(rand.NewPCG(seed, 3))
	const runs = 4000
	sum, squares := 0.0, 0.0
	for range runs {
		n := float64(signals(func() float64 { return shift + rng.NormFloat64() }))
		sum += n
		squares += n * n
	}
	mean = sum / runs
	return mean, math.Sqrt((squares/runs - mean*mean) / runs)
}

// firstOut returns the number of the first value at which chart says that it is out,
// asking it for more and more values.
func firstOut(next func() float64, chart func(x []float64) []bool) int {
	var x []float64
	for n := 64; ; n *= 2 {
		for len(x) < n {
			x = append(x, next())
		}
		for i, out := range chart(x) {
			if out {
				return i + 1
			}
		}
	}
}

// The charts themselves, run on seeded random values, signal when theory says so,
// within four standard errors of the simulation.
func TestChartsSignalAsComputed(t *testing.T) {
	cusum := CUSUM{Sigma: 1, Reference: 0.5, Decision: 4, HeadStart: 2}
	ewma := EWMA{Sigma: 1, Lambda: 0.2, Width: 2.962}
	for _, shift := range []float64{0, 0.5, 1, 2} {
		mean, se := simulateARL(1, shift, func(next func() float64) int {
			return firstOut(next, func(x []float64) (out []bool) {
				for _, p := range cusum.Chart(x) {
					out = append(out, p.Out)
				}
				return out
			})
		})
		if want := cusum.ARL(shift); !near(mean, want, 4*se) {
			t.Errorf("CUSUM, shift %v: simulated %.2f +- %.2f, computed %.2f", shift, mean, se, want)
		}
		mean, se = simulateARL(2, shift, func(next func() float64) int {
			return firstOut(next, func(x []float64) (out []bool) {
				for _, p := range ewma.Chart(x) {
					out = append(out, p.Out)
				}
				return out
			})
		})
		if want := ewma.ARL(shift, true); !near(mean, want, 4*se) {
			t.Errorf("EWMA, shift %v: simulated %.2f +- %.2f, computed %.2f", shift, mean, se, want)
		}
		mean, se = simulateARL(3, shift, func(next func() float64) int {
			n := 1
			for math.Abs(next()) <= 3 {
				n++
			}
			return n
		})
		if want := ShewhartARL(3, shift); !near(mean, want, 4*se) {
			t.Errorf("Shewhart, shift %v: simulated %.2f +- %.2f, computed %.2f", shift, mean, se, want)
		}
	}
}
