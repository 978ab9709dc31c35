package fleet

import (
	"cmp"
	"math"
	"slices"

	"nilvolt/record"
)

// A Reading is a numeric proof of an instrument with its own part of the error.
type Reading struct {
	Time     record.Instant
	Week     float64 // since Fleet.Since
	Partner  string  // the other instrument
	Expected float64 // volts
	Percent  float64 // relative error as it was read
	Own      float64 // what is left of it without the level and the faults of the partner
	Spike    bool    // a single gross reading, which takes no part in any fit
	Before   bool    // made before the last service: it says nothing of the instrument as it is now
}

// Readings returns the numeric proofs of an instrument within the window, in order of
// time; those for which the partner's part is not known are left out.
func (f *Fleet) Readings(a *Assessment) []Reading {
	var readings []Reading
	m := f.findings.model
	for p := range m.l.parties {
		q := &m.l.parties[p]
		if q.unit != a.tracked.unit || plainID(q.id) != a.Instrument {
			continue
		}
		f.findings.own(int32(p), func(i int32, percent float64) {
			week := m.l.week[i]
			readings = append(readings, Reading{
				Time: f.At(week), Week: week, Partner: plainID(m.l.parties[m.l.other(int32(p), i)].id),
				Expected: m.l.bExpected[m.l.b[i]], Percent: m.l.y[i], Own: percent, Spike: m.l.masked[i], Before: q.past(),
			})
		})
	}
	slices.SortStableFunc(readings, func(a, b Reading) int { return cmp.Compare(a.Week, b.Week) })
	return readings
}

// Constants of the charts of an instrument's own part of the error, in standard
// deviations of a reading. The EWMA signals falsely once in 500 readings (Lucas and
// Saccucci 1990, Technometrics 32, Table 3).
const (
	ewmaLambda, ewmaWidth = 0.2, 2.962
	cusumReference        = 0.5
	// cusumQuarters is how many quarters of the whole fleet one false signal of the
	// CUSUM takes on average.
	cusumQuarters = 4
)

// Charts are the charts of an instrument's own part of the error, a point for each
// reading that is no spike and was made since its last service. The target is the
// instrument's own level at the first of them, so that a chart shows a change in time and
// not a constant error.
type Charts struct {
	Readings   []Reading    // what the points are of
	Values     []ChartPoint // Shewhart chart of individual values
	Ranges     []ChartPoint // of moving ranges; one less, the first belongs to the second reading
	EWMA       []ChartPoint
	CUSUM      []CUSUMPoint
	Target     float64 // percent; the level of the instrument at its first proof of the window
	Sigma      float64 // percent; the noise of a proof in the whole fleet
	Decision   float64 // the CUSUM signals from there on, percent
	CUSUMChart CUSUM
	EWMAChart  EWMA
}

// Charts returns the charts of an instrument; the zero Charts where it has fewer than
// six readings or the noise is not known.
func (f *Fleet) Charts(a *Assessment) Charts {
	var c Charts
	var own []float64
	level := f.levelsOf(a)
	for _, r := range f.Readings(a) {
		if !r.Spike && !r.Before {
			c.Readings = append(c.Readings, r)
			own = append(own, r.Own-level[r.Expected]+level[a.Expected])
		}
	}
	if len(own) < leastReadings || !(f.Noise > 0) {
		return Charts{}
	}
	c.Target, c.Sigma = level[a.Expected], f.Noise
	c.Values, c.Ranges = Individuals(own)
	c.EWMAChart = EWMA{Target: c.Target, Sigma: c.Sigma, Lambda: ewmaLambda, Width: ewmaWidth}
	c.EWMA = c.EWMAChart.Chart(own)
	c.CUSUMChart = f.cusum(c.Target)
	c.CUSUM, c.Decision = c.CUSUMChart.Chart(own), c.CUSUMChart.Decision*c.Sigma
	return c
}

// cusum returns the CUSUM chart about a target.
func (f *Fleet) cusum(target float64) CUSUM {
	return CUSUM{Target: target, Sigma: f.Noise, Reference: cusumReference, Decision: f.decision}
}

// chartSignals reports whether the CUSUM of the own part is out at its last reading.
func (f *Fleet) chartSignals(a *Assessment) bool {
	level := f.levelsOf(a)
	var own []float64
	if a.party >= 0 && f.Noise > 0 {
		m := f.findings.model
		f.findings.own(a.party, func(i int32, percent float64) {
			if !m.l.masked[i] {
				own = append(own, percent-level[m.l.bExpected[m.l.b[i]]])
			}
		})
	}
	if len(own) < leastReadings {
		return false
	}
	points := f.cusum(0).Chart(own)
	return points[len(points)-1].Out
}

// decisionFor returns the decision interval of a two-sided CUSUM with the reference 0.5
// that signals falsely once in so many readings on average.
func decisionFor(readings float64) float64 {
	low, high := 1.0, 20.0
	for high-low > 1e-3 {
		middle := (low + high) / 2
		if (CUSUM{Reference: cusumReference, Decision: middle}).ARL(0) < readings {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Ceil(high*100) / 100
}

// A Pair is two instruments that were proved on each other.
type Pair struct {
	Indicator, Unit string
	Proofs          int // numeric ones of the window
}

// Pairs returns who was proved on whom within the window, by indicator and unit.
func (f *Fleet) Pairs() []Pair {
	counts := map[[2]string]int{}
	l := f.findings.model.l
	for i := range l.a {
		indicator, unit := l.parties[l.aParty[l.a[i]]].id, l.parties[l.bParty[l.b[i]]].id
		counts[[2]string{plainID(indicator), plainID(unit)}]++
	}
	pairs := make([]Pair, 0, len(counts))
	for k, n := range counts {
		pairs = append(pairs, Pair{k[0], k[1], n})
	}
	slices.SortFunc(pairs, func(a, b Pair) int {
		return slices.Compare([]string{a.Indicator, a.Unit}, []string{b.Indicator, b.Unit})
	})
	return pairs
}
