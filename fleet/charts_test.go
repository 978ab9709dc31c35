package fleet

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// readTable reads a file of testdata by the names of its columns; NA is NaN.
func readTable(t *testing.T, name string) []map[string]float64 {
	t.Helper()
	file, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatal(name, len(rows), err)
	}
	var table []map[string]float64
	for _, cells := range rows[1:] {
		row := map[string]float64{}
		for i, cell := range cells {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				v = math.NaN()
			}
			row[rows[0][i]] = v
		}
		table = append(table, row)
	}
	return table
}

// Source of data and values: NIST/SEMATECH e-Handbook, 6.3.2.2.
func TestIndividualsOfTheHandbook(t *testing.T) {
	x := []float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	values, ranges := Individuals(x)
	if len(values) != 10 || !near(values[0].High, 55.8041, 5e-5) || !near(values[0].Low, 45.8159, 5e-5) {
		t.Errorf("limits of the values %+v", values[0])
	}
	want := []float64{2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5}
	for i, r := range ranges {
		if !near(r.Value, want[i], 1e-12) || !near(r.High, 6.1347, 5e-5) || r.Low != 0 || r.Out || values[i].Out {
			t.Errorf("range %d: %+v", i, r)
		}
	}
	if values, ranges := Individuals(x[:1]); values != nil || ranges != nil {
		t.Error("a chart of one value")
	}
	if values, _ := Individuals(append(x, 99)); !values[10].Out {
		t.Error("99 is not out")
	}
}

// Source of data and values: NIST/SEMATECH e-Handbook, 6.3.2.4. The limits are
// compared to 1e-4, since the page cuts its lower one off.
func TestEWMAOfTheHandbook(t *testing.T) {
	x := []float64{
		52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
	}
	want := []float64{
		50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
		50.73, 51.23, 51.94, 51.99,
	}
	e := EWMA{Target: 50, Sigma: 2.0539, Lambda: 0.3, Width: 3}
	low, high := e.Limits()
	if !near(high, 52.5884, 1e-4) || !near(low, 47.4115, 1e-4) {
		t.Errorf("limits %v %v", low, high)
	}
	chart := e.Chart(x)
	for i, p := range chart {
		if !near(p.Value, want[i], 0.00501) || p.Out {
			t.Errorf("average %d: %+v, want %v", i, p, want[i])
		}
	}
	// The widening limits were computed with Python 3.11.
	for i, high := range map[int]float64{0: 51.84851, 1: 52.256394, 4: 52.551611, 19: 52.588431} {
		if !near(chart[i].High, high, 1e-6) || !near(chart[i].Low, 100-high, 1e-6) {
			t.Errorf("limits of average %d: %+v, want %v", i, chart[i], high)
		}
	}
}

// Source of data and values: NIST/SEMATECH e-Handbook, 6.3.2.3.
func TestCUSUMOfTheHandbook(t *testing.T) {
	x := []float64{
		324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150,
		328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
	}
	high := []float64{0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04}
	low := []float64{0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	for i, p := range (CUSUM{Target: 325, Sigma: 1, Reference: 0.3175, Decision: 4.1959}).Chart(x) {
		if !near(p.High, high[i], 0.00501) || !near(p.Low, low[i], 0.00501) || p.Out != (i >= 13) {
			t.Errorf("value %d: %+v, want %v %v", i+1, p, high[i], low[i])
		}
	}
}

func TestChartConstants(t *testing.T) {
	table := readTable(t, "constants.csv")
	if len(table) != 24 {
		t.Fatalf("%d rows", len(table))
	}
	for _, row := range table {
		c := ConstantsOf(int(row["n"]))
		for name, got := range map[string]float64{
			"d2": c.D2, "d3": c.D3Spread, "c4": c.C4, "A2": c.A2, "D3": c.D3, "D4": c.D4,
		} {
			if !near(got, row[name], 2e-6) {
				t.Errorf("n %v: %s %.7f, want %v", row["n"], name, got, row[name])
			}
		}
	}
	if c := ConstantsOf(2); !near(c.D2, 2/math.Sqrt(math.Pi), 1e-12) {
		t.Errorf("d2 of two %v, want 2/sqrt(pi)", c.D2)
	}
}
