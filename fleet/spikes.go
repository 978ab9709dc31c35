package fleet

import (
	"math"
	"slices"
)

// maskSpikes masks single readings that are too far off to be noise, and that no
// drift or step of either instrument accounts for better. It reports whether it
// masked any; the model is then without faults, since those that were found with
// the spikes in may be of their making. A reading that decides the level of an
// instrument nearly alone is left: nothing can be said of it.
func (m *model) maskSpikes(best []candidate) bool {
	if m.df() <= 2 {
		return false
	}
	t := newTally(m.l, len(m.fits))
	var spikes []int32
	for _, one := range m.grossRows() {
		byFault := 0.0
		for _, p := range [...]int32{m.l.aParty[m.l.a[one.row]], m.l.bParty[m.l.b[one.row]]} {
			if best[p].bounded && best[p].gain >= one.gain {
				best[p] = m.refine(p, t)
			}
			byFault = max(byFault, best[p].gain)
		}
		if one.gain > byFault {
			spikes = append(spikes, one.row)
		}
	}
	return m.mask(spikes)
}

// A gross row is one that is too far off to be noise.
type gross struct {
	row  int32
	gain float64 // fall of the residual sum of squares without it
}

// grossRows returns the gross rows, in order.
func (m *model) grossRows() []gross {
	least := m.spikeSize()
	look := least * math.Sqrt(m.variance()) / 2 // what is less has too much weight to be told from noise
	var far []gross
	for i, r := range m.residual {
		if !m.l.masked[i] && math.Abs(r) >= look {
			far = append(far, gross{row: int32(i)})
		}
	}
	shareOut(len(far), func() func(i int) {
		t := newTally(m.l, len(m.fits))
		return func(i int) {
			t.clear()
			t.add(m, far[i].row, 1)
			if gain, ok := t.spike(m, far[i].row, least); ok && m.studentized(gain) > least {
				far[i].gain = gain
			}
		}
	})
	return slices.DeleteFunc(far, func(g gross) bool { return g.gain == 0 })
}

// spikeSize returns the size in standard errors from which a single reading is a spike.
func (m *model) spikeSize() float64 {
	return twoSided(spikeAlarms/float64(m.normal.rows), m.df()-1)
}

// mask masks rows and starts without faults, where there are any.
func (m *model) mask(spikes []int32) bool {
	for _, i := range spikes {
		m.l.masked[i] = true
	}
	if len(spikes) > 0 {
		*m = *newModel(m.l)
	}
	return len(spikes) > 0
}

// maskFeigned masks the readings of which a few that are gross together feign one of the
// faults found: those that account for it as well one by one. It reports whether it
// masked any, as maskSpikes does.
//
// Both accounts are weighed by the squares that they leave, of which a spike leaves none
// but costs what makes a spike, and the fault what makes a fault. A spike supports no
// fault: without it each side of a step must have the wanted readings still. Source of
// the loss that is cut off: Huber, Robust Statistics (1981), 4.8, redescending estimates
// (from memory); the weights are those of the search.
func (m *model) maskFeigned(found []fitted, critical float64) bool {
	if m.df() <= 2 {
		return false
	}
	variance := min(m.variance(), m.robustVariance())
	size := m.spikeSize()
	var spikes []int32
	for _, f := range found {
		c := m.account(f.column)
		c.most = size * size * variance
		steady, without := c.fit(false)
		faulty, _ := c.fit(true)
		if steady <= faulty+critical*critical*variance {
			spikes = append(spikes, without...)
		}
	}
	slices.Sort(spikes)
	return m.mask(slices.Compact(spikes))
}

// robustSample is how many residuals are enough to tell their spread.
const robustSample = 10_000

// robustVariance returns the variance of a proof by the median absolute deviation of the
// residuals; of many, every so many.
func (m *model) robustVariance() float64 {
	var used []float64
	for i := 0; i < len(m.residual); i += 1 + len(m.residual)/robustSample {
		if !m.l.masked[i] {
			used = append(used, m.residual[i])
		}
	}
	scale := MAD(used)
	return scale * scale * float64(m.normal.rows) / m.df()
}

// An account is the residuals of one instrument with a column that may explain them.
type account struct {
	rows   []int32
	level  []int // number of the own level of each row
	levels int   // how many there are
	x, y   []float64
	most   float64 // square from which a reading counts as a spike
	side   int     // readings wanted on each side
	step   bool    // the column has two sides
}

func (m *model) account(c column) *account {
	a := &account{side: m.l.side, step: c.kind == Step}
	number := map[int32]int{}
	for _, i := range m.l.parties[c.party].rows {
		if m.l.masked[i] {
			continue
		}
		node := m.l.a[i]
		if m.l.parties[c.party].unit {
			node = m.l.b[i]
		}
		if _, seen := number[node]; !seen {
			number[node] = len(number)
		}
		a.rows, a.level = append(a.rows, i), append(a.level, number[node])
		a.x, a.y = append(a.x, c.at(m.l.week[i])), append(a.y, m.residual[i])
	}
	a.levels = len(number)
	return a
}

// fit fits the levels, and with the column its size, to the readings that are no spikes,
// and returns the squares that are left, those of spikes cut off, and the spikes. Without
// the column it begins at the medians; with it at all readings. Where too few readings
// support the column, what is left is infinite.
func (a *account) fit(withColumn bool) (left float64, spikes []int32) {
	out := make([]bool, len(a.rows))
	levels, size := a.medians(), 0.0
	if withColumn {
		levels, size = a.leastSquares(out, true)
	}
	for range 20 { // it comes to rest after a few, or goes to and fro between two that are as good
		next := a.beyond(levels, size)
		if slices.Equal(next, out) {
			break
		}
		out = next
		levels, size = a.leastSquares(out, withColumn)
	}
	before, after := 0, 0
	for j, row := range a.rows {
		rest := a.y[j] - levels[a.level[j]] - size*a.x[j]
		left += min(rest*rest, a.most)
		switch {
		case rest*rest > a.most:
			spikes = append(spikes, row)
		case a.x[j] == 0:
			before++
		default:
			after++
		}
	}
	if withColumn && (after < a.side || a.step && before < a.side) {
		left = math.Inf(1)
	}
	return left, spikes
}

// medians returns the median of each level.
func (a *account) medians() []float64 {
	of := make([][]float64, a.levels)
	for j, l := range a.level {
		of[l] = append(of[l], a.y[j])
	}
	medians := make([]float64, a.levels)
	for l := range medians {
		medians[l] = Median(of[l])
	}
	return medians
}

// beyond returns which readings are spikes.
func (a *account) beyond(levels []float64, size float64) []bool {
	out := make([]bool, len(a.rows))
	for j := range out {
		rest := a.y[j] - levels[a.level[j]] - size*a.x[j]
		out[j] = rest*rest > a.most
	}
	return out
}

// leastSquares fits the levels, and the size of the column where it is wanted, to the
// readings that are not out; levels without any are 0.
func (a *account) leastSquares(out []bool, withColumn bool) (levels []float64, size float64) {
	n, x := make([]float64, a.levels), make([]float64, a.levels)
	levels = make([]float64, a.levels)
	for j, l := range a.level {
		if !out[j] {
			n[l]++
			x[l] += a.x[j]
			levels[l] += a.y[j]
		}
	}
	for l := range levels {
		x[l] /= max(1, n[l])
		levels[l] /= max(1, n[l])
	}
	if !withColumn {
		return levels, 0
	}
	xx, xy := 0.0, 0.0
	for j, l := range a.level {
		if !out[j] {
			xx += (a.x[j] - x[l]) * (a.x[j] - x[l])
			xy += (a.x[j] - x[l]) * (a.y[j] - levels[l])
		}
	}
	if xx > 0 {
		size = xy / xx
	}
	for l := range levels {
		levels[l] -= size * x[l]
	}
	return levels, size
}
