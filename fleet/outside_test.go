package fleet

import (
	"math"
	"testing"
)

// accumulate returns the data sets NumAcc1 to 4, which are made by formula: NumAcc1 is
// three values, the others a mean and then 500 pairs of the mean less and more a tenth.
func accumulate(mean float64) []float64 {
	x := []float64{mean}
	for range 500 {
		x = append(x, mean-0.1, mean+0.1)
	}
	return x
}

// Michelson's 100 measurements of the speed of light in air, 1879, in thousands of
// km/s less 299. They also stand in R as morley.
var michelson = []float64{
	850, 740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000, 1000, 960, 960,
	960, 940, 960, 940, 880, 800, 850, 880, 900, 840, 830, 790, 810, 880, 880, 830, 800, 790, 760, 800,
	880, 880, 880, 860, 720, 720, 620, 860, 970, 950, 880, 910, 850, 870, 840, 840, 850, 840, 840, 840,
	890, 810, 810, 820, 800, 770, 760, 740, 750, 760, 910, 920, 890, 860, 880, 720, 840, 850, 850, 780,
	890, 840, 780, 810, 760, 810, 790, 810, 820, 850, 870, 870, 810, 740, 810, 940, 950, 800, 810, 870,
}

// digits returns how many decimal digits of want got has.
func digits(got, want float64) float64 {
	if got == want {
		return 15
	}
	return min(15, -math.Log10(math.Abs(got-want)/math.Abs(want)))
}

// Certified values of the NIST Statistical Reference Datasets, univariate. float64
// cannot hold the tenths of NumAcc3 and 4 beside their means, which costs the digits
// that are not asked for here (NIST calls these sets of average and higher difficulty).
func TestReferenceDatasets(t *testing.T) {
	light := make([]float64, len(michelson))
	for i, v := range michelson {
		light[i] = 299 + v/1000
	}
	for _, c := range []struct {
		name                    string
		x                       []float64
		mean, deviation, lag1   float64
		forMean, forDev, forLag float64 // digits
	}{
		{"Michelso", light, 299.8524, 0.0790105478190518, 0.535199668621283, 15, 13, 13},
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, -0.5, 15, 15, 15},
		{"NumAcc2", accumulate(1.2), 1.2, 0.1, -0.999, 14, 14, 14},
		{"NumAcc3", accumulate(1000000.2), 1000000.2, 0.1, -0.999, 14.9, 9.4, 11.8},
		{"NumAcc4", accumulate(10000000.2), 10000000.2, 0.1, -0.999, 14.9, 8.2, 10.6},
	} {
		for _, v := range []struct {
			what            string
			got, want, need float64
		}{
			{"mean", Mean(c.x), c.mean, c.forMean},
			{"deviation", Deviation(c.x), c.deviation, c.forDev},
			{"autocorrelation", Autocorrelation(c.x), c.lag1, c.forLag},
		} {
			if d := digits(v.got, v.want); d < v.need {
				t.Errorf("%s, %s: %.17g, want %.15g: %.1f digits", c.name, v.what, v.got, v.want, d)
			}
		}
	}
	if !math.IsNaN(Deviation([]float64{1})) || !math.IsNaN(Mean(nil)) {
		t.Error("moments of nothing")
	}
}

// Certified values of the NIST Statistical Reference Dataset Norris: calibration of
// ozone monitors.
func TestNorris(t *testing.T) {
	y := []float64{
		0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8,
		557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
	}
	x := []float64{
		0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6,
		556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
	}
	l := fit(t, x, y)
	for name, v := range map[string][2]float64{
		"intercept":          {l.Intercept, -0.262323073774029},
		"slope":              {l.Slope, 1.00211681802045},
		"error of intercept": {l.InterceptSE, 0.232818234301152},
		"error of slope":     {l.SlopeSE, 0.429796848199937e-3},
		"residual deviation": {l.SE, 0.884796396144373},
		"R squared":          {l.R2, 0.999993745883712},
	} {
		if d := digits(v[0], v[1]); d < 12 {
			t.Errorf("%s: %.16g, want %.15g: %.1f digits", name, v[0], v[1], d)
		}
	}
}

func TestMannKendall(t *testing.T) {
	for _, c := range []struct {
		name        string
		y           []float64
		s           int
		variance, z float64
		p           float64
		exact       bool
	}{
		// Source: Hollander and Wolfe, Nonparametric Statistical Methods, example 9.1.
		{"cloud seeding", []float64{1.26, 1.27, 1.12, 1.16, 1.03}, -6, 50. / 3, -1.224745, 0.233333, true},
		// Source: EPA QA/G-9S (2006), page 109.
		{"with ties", []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}, 22, 155.3333, 1.684950, 0.091998, false},
		// Data as in Helsel and Hirsch, Statistical Methods in Water Resources, chapter
		// 10, from memory; computed with scipy 1.10.1.
		{"outlier", []float64{1, 2, 3, 4, 5, 16, 7}, 19, 133. / 3, 18 / math.Sqrt(133./3), 0.002778, true},
		{"one value", []float64{1}, 0, 0, 0, 1, true},
		{"all the same", []float64{2, 2, 2}, 0, 0, 0, 1, false},
	} {
		got := MannKendall(c.y)
		if got.S != c.s || !near(got.Variance, c.variance, 1e-4) || !near(got.Z, c.z, 1e-6) || !near(got.P, c.p, 1e-6) ||
			got.Exact != c.exact {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
	rows := readTable(t, "kendall_exact.csv")
	for _, row := range rows {
		if got := kendallTail(int(row["n"]), int(row["S"])); !near(got, row["P(S>=s)"], 1e-8) {
			t.Errorf("n %v, S %v: %.9f, want %v", row["n"], row["S"], got, row["P(S>=s)"])
		}
	}
	if len(rows) < 600 {
		t.Errorf("%d rows", len(rows))
	}
}

func TestTheilSen(t *testing.T) {
	for _, c := range []struct {
		name                        string
		x, y                        []float64
		slope, low, high, intercept float64
	}{
		// Source: Hollander and Wolfe, example 9.1; interval from ranks 1 and 10 with
		// scipy 1.10.1, theilslopes at 0.95.
		{"cloud seeding", sequence(1, 5), []float64{1.26, 1.27, 1.12, 1.16, 1.03}, -0.05625, -0.15, 0.04, 1.31625},
		// EPA QA/G-9S (2006), page 109; interval with scipy 1.10.1.
		{"with ties", sequence(0, 10), []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}, 1, 0, 2, 9},
		// Source: R package statpsych, ci.theil: 0.5, 0.3243243 to 0.75. Pairs with the same
		// x are left out.
		{
			"ties in x",
			[]float64{67, 28, 30, 28, 52, 40, 25, 37, 44, 10, 14, 20, 28, 40, 51},
			[]float64{21, 4, 9, 12, 35, 18, 10, 22, 24, 1, 6, 8, 13, 16, 19},
			0.5, 0.3243243, 0.75, -2,
		},
		{"outlier", sequence(1, 7), []float64{1, 2, 3, 4, 5, 16, 7}, 1, 1, 3.5, 0},
	} {
		l, ok := TheilSen(c.x, c.y, 0.95)
		if !ok || !near(l.Slope, c.slope, 1e-12) || !near(l.Low, c.low, 1e-7) || !near(l.High, c.high, 1e-7) ||
			!near(l.Intercept, c.intercept, 1e-9) {
			t.Errorf("%s: %+v", c.name, l)
		}
	}
	if l, ok := TheilSen([]float64{2, 2}, []float64{1, 5}, 0.95); ok {
		t.Errorf("one time: %+v", l)
	}
}
