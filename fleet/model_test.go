package fleet

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// fixture is the outcome of another program's fit; see testdata/README.md.
type fixture struct {
	Params, Rank, Components, DF int
	RSS, S                       float64
	Level, Slope                 map[string]float64
	SlopeSE                      map[string]float64 `json:"slope_se"`
	SlopeMedian                  map[string]float64 `json:"slope_L1_restraint"`
	Forward                      []struct {
		Instrument, Kind string
		AtWeek           float64 `json:"at_week"`
		T                float64 `json:"abs_t"`
		Margin           float64
	}
	ByWeek []struct {
		W     float64
		Found [][5]any
	} `json:"forward_by_week"`
}

func readFixture(t *testing.T) ([]Point, *fixture) {
	t.Helper()
	file, err := os.Open("testdata/fixture.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var points []Point
	for _, row := range rows[1:] {
		week, err1 := strconv.ParseFloat(row[0], 64)
		percent, err2 := strconv.ParseFloat(row[3], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(row, err1, err2)
		}
		points = append(points, Point{row[1], row[2], 230, week, percent})
	}
	data, err := os.ReadFile("testdata/fixture.json")
	if err != nil {
		t.Fatal(err)
	}
	want := new(fixture)
	if err := json.Unmarshal(data, want); err != nil {
		t.Fatal(err)
	}
	return points, want
}

// variance returns the variance of a sum of levels, in residual variances.
func (m *model) contrast(ca, cb []float64) float64 {
	xa, xb := m.normal.solve(ca, cb)
	return mat.Dot(mat.NewVecDense(len(ca), ca), mat.NewVecDense(len(xa), xa)) +
		mat.Dot(mat.NewVecDense(len(cb), cb), mat.NewVecDense(len(xb), xb))
}

// crossed is a worked example: three indicators on two units, seven readings. The
// values below were computed with exact fractions in Python 3.11.
var crossed = []Point{
	{"I1", "U1", 230, 1, 1.10},
	{"I1", "U2", 230, 2, 0.70},
	{"I2", "U1", 230, 3, 0.30},
	{"I2", "U2", 230, 4, -0.30},
	{"I3", "U2", 230, 5, 2.05},
	{"I1", "U1", 230, 6, 1.00},
	{"I3", "U1", 230, 7, 2.50},
}

func TestCrossedDesign(t *testing.T) {
	m := newModel(newLayout(crossed, 0, 10, nil))
	if m.normal.rank != 4 || m.df() != 3 || !near(math.Sqrt(m.variance()), 0.08732124598286482, 1e-15) {
		t.Errorf("rank %d, df %v, s %v", m.normal.rank, m.df(), math.Sqrt(m.variance()))
	}
	for i, want := range []float64{0.015, 0.07, 0.0725, -0.0725, 0.0025, -0.085, -0.0025} {
		if !near(m.residual[i], want, 1e-14) {
			t.Errorf("residual %d: %v, want %v", i, m.residual[i], want)
		}
	}
	mean := (m.xb[0] + m.xb[1]) / 2 // restraint U1 + U2 = 0
	for i, want := range []float64{0.8575, 0, 2.275} {
		if !near(m.xa[i]+mean, want, 1e-14) {
			t.Errorf("I%d: %v, want %v", i+1, m.xa[i]+mean, want)
		}
	}
	if !near(m.xb[0]-mean, 0.2275, 1e-14) {
		t.Errorf("U1: %v", m.xb[0]-mean)
	}
	for i, want := range []float64{0.05165995, 0.06174545, 0.06174545} {
		ca := make([]float64, 3)
		ca[i] = 1
		if got := math.Sqrt(m.variance() * m.contrast(ca, []float64{0.5, 0.5})); !near(got, want, 5e-9) {
			t.Errorf("standard error of I%d: %v, want %v", i+1, got, want)
		}
	}
	if got := math.Sqrt(m.variance() * m.contrast(make([]float64, 3), []float64{0.5, -0.5})); !near(got, 0.03381937, 5e-9) {
		t.Errorf("standard error of U1: %v", got)
	}
}

func TestReferenceAnchors(t *testing.T) {
	f := Search(crossed, SearchOptions{Until: 10, References: []string{"U1"}})
	want := map[string]float64{"I1": 1.085, "I2": 0.2275, "I3": 2.5025, "U1": 0, "U2": -0.455}
	for _, l := range f.Levels {
		if !near(l.Percent, want[l.Instrument], 1e-14) {
			t.Errorf("%s: %v, want %v", l.Instrument, l.Percent, want[l.Instrument])
		}
	}
	if len(f.Levels) != 5 || f.Rank != 4 || len(f.Parts) != 1 || !f.Parts[0].Anchored {
		t.Errorf("%d levels, rank %d, parts %+v", len(f.Levels), f.Rank, f.Parts)
	}
	m := f.model
	for i, want := range []float64{0.05522681, 0.07040064, 0.07040064} {
		ca := make([]float64, 3)
		ca[i] = 1
		if got := math.Sqrt(m.variance() * m.contrast(ca, make([]float64, 2))); !near(got, want, 5e-9) {
			t.Errorf("standard error of I%d: %v, want %v", i+1, got, want)
		}
	}
}

func TestDisconnectedParts(t *testing.T) {
	f := Search([]Point{
		{"I1", "U1", 230, 1, 1.0},
		{"I1", "U1", 230, 2, 1.2},
		{"I2", "U2", 230, 3, -0.5},
		{"I2", "U2", 230, 4, -0.3},
		{"I3", "U2", 230, 5, 0.2},
	}, SearchOptions{Until: 10})
	if f.Rank != 3 || len(f.Parts) != 2 || !f.Parts[0].Alone || !f.Parts[1].Alone || f.Parts[1].Proofs != 3 {
		t.Errorf("rank %d, parts %+v", f.Rank, f.Parts)
	}
	level := map[string]float64{}
	for _, l := range f.Levels {
		level[l.Instrument] = l.Percent
	}
	if !near(level["I2"]-level["I3"], -0.6, 1e-14) {
		t.Errorf("I2 - I3 is %v, want -0.6", level["I2"]-level["I3"])
	}
}

// trends returns a model with a level and a slope about week 6.5 for each instrument.
func trends(points []Point) *model {
	m := newModel(newLayout(points, 0, 13, nil))
	for p := range len(m.l.parties) - 1 { // the slope of the last is grounded
		m.take(fitted{column: column{int32(p), Drift, 0}})
	}
	return m
}

// A fit of 70 levels and slopes at once: rank, residuals, slopes and their errors.
func TestLevelsAndSlopesOfTheFixture(t *testing.T) {
	points, want := readFixture(t)
	m := trends(points)
	if len(points) != 780 || m.normal.rank+len(m.fits) != want.Rank || int(m.df()) != want.DF ||
		len(m.normal.inverse) != want.Components {
		t.Errorf("%d points, rank %d, df %v", len(points), m.normal.rank+len(m.fits), m.df())
	}
	if !near(m.rss, want.RSS, 1e-8) || !near(math.Sqrt(m.variance()), want.S, 1e-11) {
		t.Errorf("rss %.9f, s %.12f", m.rss, math.Sqrt(m.variance()))
	}
	const indicators, units = 26, 9
	slope := make([]float64, indicators+units)
	sum, median := 0.0, make([]float64, 0, len(slope))
	for k := range m.fits {
		slope[k] = m.fits[k].size
	}
	for p := range slope {
		if p >= indicators {
			sum += slope[p]
			median = append(median, -slope[p])
		} else {
			median = append(median, slope[p])
		}
	}
	for p := range slope {
		sign := 1.0
		if p >= indicators {
			sign = -1
		}
		id := m.l.parties[p].id
		if got := slope[p] + sign*sum/units; !near(got, want.Slope[id], 2e-9) {
			t.Errorf("%s: slope %.9f, want %.9f", id, got, want.Slope[id])
		}
		if got := slope[p] - sign*Median(median); !near(got, want.SlopeMedian[id], 2e-9) {
			t.Errorf("%s: slope under the median restraint %.9f, want %.9f", id, got, want.SlopeMedian[id])
		}
		if got := slopeError(m, p, sign, indicators, units); !near(got, want.SlopeSE[id], 2e-9) {
			t.Errorf("%s: error of the slope %.9f, want %.9f", id, got, want.SlopeSE[id])
		}
	}
	checkFixtureLevels(t, m, slope, sum/units, want)
}

// slopeError returns the standard error of the slope of party p when the sum over
// units is 0.
func slopeError(m *model, p int, sign float64, indicators, units int) float64 {
	c := mat.NewVecDense(len(m.fits), nil)
	for k := indicators; k < len(m.fits); k++ {
		c.SetVec(k, sign/float64(units))
	}
	if p < len(m.fits) {
		c.SetVec(p, c.AtVec(p)+1)
	}
	var x mat.VecDense
	if err := m.cross.SolveVecTo(&x, c); err != nil {
		return math.NaN()
	}
	return math.Sqrt(m.variance() * mat.Dot(c, &x))
}

func checkFixtureLevels(t *testing.T, m *model, slope []float64, shift float64, want *fixture) {
	t.Helper()
	const middle = 6.5
	levels := append(append([]float64{}, m.xa...), m.xb...)
	mean := 0.0
	for p := range levels {
		levels[p] += slope[p] * middle
		if p >= len(m.xa) {
			levels[p] -= shift * middle
			mean += levels[p] / float64(len(m.xb))
		} else {
			levels[p] += shift * middle
		}
	}
	for p := range levels {
		sign := 1.0
		if p >= len(m.xa) {
			sign = -1
		}
		id := m.l.parties[p].id
		if got := levels[p] + sign*mean; !near(got, want.Level[id], 2e-9) {
			t.Errorf("%s: level %.9f, want %.9f", id, got, want.Level[id])
		}
	}
}

// dense is the residual sum of squares by a QR of the whole design, an independent
// way to the same number.
func dense(t *rapid.T, m *model, extra ...column) float64 {
	columns := len(m.xa) + len(m.xb) + len(m.fits) + len(extra)
	var x, y []float64
	for i := range m.l.y {
		if m.l.masked[i] {
			continue
		}
		row := make([]float64, columns)
		a, b := m.l.a[i], m.l.b[i]
		row[a], row[len(m.xa)+int(b)] = 1, 1
		all := append([]column{}, extra...)
		for _, f := range m.fits {
			all = append(all, f.column)
		}
		for k, c := range all {
			if c.party == m.l.aParty[a] || c.party == m.l.bParty[b] {
				row[len(m.xa)+len(m.xb)+k] = c.at(m.l.week[i])
			}
		}
		x, y = append(x, row...), append(y, m.l.y[i])
	}
	var svd mat.SVD
	if !svd.Factorize(mat.NewDense(len(y), columns, x), mat.SVDThin) {
		t.Fatal("svd")
	}
	var solution, fit mat.VecDense
	solution.ReuseAsVec(columns)
	svd.SolveVecTo(&solution, mat.NewVecDense(len(y), y), svd.Rank(1e-9))
	fit.MulVec(mat.NewDense(len(y), columns, x), &solution)
	rss := 0.0
	for i := range y {
		rss += (y[i] - fit.AtVec(i)) * (y[i] - fit.AtVec(i))
	}
	return rss
}

// Levels, faults and the gain of any further fault agree with a dense solution of
// the whole design, on random graphs with parts, spikes, several voltages and
// references left out.
func TestModelAgreesWithDenseLeastSquares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(8, 60).Draw(t, "n")
		points := make([]Point, n)
		for i := range points {
			points[i] = Point{
				Indicator: string(rune('a' + rapid.IntRange(0, 4).Draw(t, "i"))),
				Unit:      string(rune('A' + rapid.IntRange(0, 3).Draw(t, "u"))),
				Expected:  rapid.SampledFrom([]float64{50, 230}).Draw(t, "v"),
				Week:      float64(i) * 10 / float64(n),
				Percent:   rapid.Float64Range(-5, 5).Draw(t, "e"),
			}
		}
		l := newLayout(points, 0, 10, nil)
		l.dense = rapid.SampledFrom([]int{denseNodes, 0}).Draw(t, "dense") // by a matrix, or by conjugate gradients
		for range rapid.IntRange(0, 3).Draw(t, "masked") {
			l.masked[rapid.IntRange(0, n-1).Draw(t, "row")] = true
		}
		m := newModel(l)
		tally := newTally(l, 0)
		for range rapid.IntRange(0, 2).Draw(t, "faults") {
			if c := drawColumn(t, l); m.columnGain(c, tally) > 1e-3 {
				m.take(fitted{column: c})
				tally = newTally(l, len(m.fits))
			}
		}
		want := dense(t, m)
		if !near(m.rss, want, 1e-7) {
			t.Fatalf("rss %v, want %v", m.rss, want)
		}
		c := drawColumn(t, l)
		if gain := m.columnGain(c, tally); gain > 0 && !near(gain, want-dense(t, m, c), 1e-6) {
			t.Fatalf("gain %v, want %v", gain, want-dense(t, m, c))
		}
	})
}

func drawColumn(t *rapid.T, l *layout) column {
	return column{
		int32(rapid.IntRange(0, len(l.parties)-1).Draw(t, "party")),
		rapid.SampledFrom([]FaultKind{Drift, Step}).Draw(t, "kind"),
		float64(rapid.IntRange(0, 8).Draw(t, "start")),
	}
}
