package fleet

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A model is the layout with its levels and the faults that it holds, fitted by
// least squares.
type model struct {
	l        *layout
	normal   *normal
	fits     []fitted
	fitsOf   [][]int      // fits by party
	cross    mat.Cholesky // of the fitted columns, levels taken out
	xa, xb   []float64    // levels
	residual []float64    // of each row; of masked rows too
	rss      float64      // over the rows that are not masked

	takenByLevels takenByLevels
}

// newModel fits the levels, no faults.
func newModel(l *layout) *model {
	m := &model{l: l, normal: newNormal(l), takenByLevels: make(takenByLevels, len(l.parties))}
	return m.holding(nil)
}

// holding returns a model of its own with the same layout and masks and the columns of
// fits.
func (m *model) holding(fits []fitted) *model {
	w := &model{
		l: m.l, normal: m.normal, fits: slices.Clone(fits), fitsOf: make([][]int, len(m.l.parties)),
		residual: make([]float64, len(m.l.y)), takenByLevels: m.takenByLevels,
	}
	for k := range w.fits {
		f := &w.fits[k]
		if f.wa == nil { // else it was found with the same masks
			f.wa, f.wb = w.levelsOf(f.column)
		}
		w.fitsOf[f.party] = append(w.fitsOf[f.party], k)
	}
	if len(fits) > 0 {
		w.factor()
	}
	w.fit()
	return w
}

// df returns the degrees of freedom of the residuals.
func (m *model) df() float64 {
	return float64(m.normal.rows - m.normal.rank - len(m.fits))
}

// variance returns the residual variance; NaN without degrees of freedom.
func (m *model) variance() float64 {
	if m.df() <= 0 {
		return math.NaN()
	}
	return m.rss / m.df()
}

// partOf returns the part of an indicator or unit node, -1 where it has no rows.
func (m *model) partOf(node int32, unit bool) int32 {
	if unit {
		return m.normal.part[node]
	}
	if links := m.normal.links[node]; len(links) > 0 {
		return m.normal.part[links[0].b]
	}
	return -1
}

// take takes one more column into the model and fits it anew.
func (m *model) take(f fitted) { *m = *m.holding(append(slices.Clone(m.fits), f)) }

// without returns a model of its own that holds all columns but k.
func (m *model) without(k int) *model {
	return m.holding(slices.Delete(slices.Clone(m.fits), k, k+1))
}

// levelsOf returns the levels that take up column c best.
func (m *model) levelsOf(c column) (wa, wb []float64) {
	za, zb := make([]float64, len(m.l.aParty)), make([]float64, len(m.l.bParty))
	for _, i := range m.l.parties[c.party].rows {
		if !m.l.masked[i] {
			x := c.at(m.l.week[i])
			za[m.l.a[i]] += x
			zb[m.l.b[i]] += x
		}
	}
	return m.normal.solve(za, zb)
}

// rest returns what is left of fitted column k on row i, levels taken out.
func (m *model) rest(k int, i int32) float64 {
	f := &m.fits[k]
	a, b := m.l.a[i], m.l.b[i]
	x := -f.wa[a] - f.wb[b]
	if f.party == m.l.aParty[a] || f.party == m.l.bParty[b] {
		x += f.at(m.l.week[i])
	}
	return x
}

// factor builds the cross products of the fitted columns, levels taken out: of
// column j with what is left of column k, over the rows of j.
func (m *model) factor() {
	n := len(m.fits)
	cross := mat.NewSymDense(n, nil)
	for j := range m.fits {
		f := &m.fits[j]
		sums := make([]float64, j+1)
		for _, i := range m.l.parties[f.party].rows {
			x := f.at(m.l.week[i])
			if m.l.masked[i] || x == 0 {
				continue
			}
			for k := range sums {
				sums[k] += x * m.rest(k, i)
			}
		}
		for k, v := range sums {
			cross.SetSym(j, k, v)
		}
	}
	m.cross.Factorize(cross)
}

// takenUp returns how much of the tallied column the fitted columns take up.
func (m *model) takenUp(t *tally) float64 {
	n := len(m.fits)
	c := mat.NewVecDense(n, nil)
	for k := range m.fits {
		v := t.xf[k]
		for _, a := range t.aTouched {
			v -= t.za[a] * m.fits[k].wa[a]
		}
		for _, b := range t.bTouched {
			v -= t.zb[b] * m.fits[k].wb[b]
		}
		c.SetVec(k, v)
	}
	var x mat.VecDense
	if err := m.cross.SolveVecTo(&x, c); err != nil {
		return math.NaN()
	}
	return mat.Dot(c, &x)
}

// fit computes the levels, the sizes of the faults and the residuals.
func (m *model) fit() {
	za, zb := make([]float64, len(m.l.aParty)), make([]float64, len(m.l.bParty))
	for i, y := range m.l.y {
		if !m.l.masked[i] {
			za[m.l.a[i]] += y
			zb[m.l.b[i]] += y
		}
	}
	m.fitSizes(za, zb)
	for k := range m.fits {
		f := &m.fits[k]
		for _, i := range m.l.parties[f.party].rows {
			if !m.l.masked[i] {
				x := f.size * f.at(m.l.week[i])
				za[m.l.a[i]] -= x
				zb[m.l.b[i]] -= x
			}
		}
	}
	m.xa, m.xb = m.normal.solve(za, zb)
	m.fitResiduals()
}

// fitSizes computes the sizes of the faults; za and zb are the sums of the readings of
// each node.
func (m *model) fitSizes(za, zb []float64) {
	n := len(m.fits)
	if n == 0 {
		return
	}
	c := mat.NewVecDense(n, nil)
	for k := range m.fits {
		f := &m.fits[k]
		sum := -dot(f.wa, za) - dot(f.wb, zb)
		for _, i := range m.l.parties[f.party].rows {
			if !m.l.masked[i] {
				sum += f.at(m.l.week[i]) * m.l.y[i]
			}
		}
		c.SetVec(k, sum)
	}
	var sizes mat.VecDense
	// The columns were taken in because each was told from the others.
	_ = m.cross.SolveVecTo(&sizes, c)
	for k := range m.fits {
		m.fits[k].size = sizes.AtVec(k)
	}
}

func dot(x, y []float64) float64 {
	sum := 0.0
	for i, v := range x {
		sum += v * y[i]
	}
	return sum
}

func (m *model) fitResiduals() {
	m.rss = 0
	for i, y := range m.l.y {
		m.residual[i] = y - m.xa[m.l.a[i]] - m.xb[m.l.b[i]]
	}
	for k := range m.fits {
		f := &m.fits[k]
		for _, i := range m.l.parties[f.party].rows {
			m.residual[i] -= f.size * f.at(m.l.week[i])
		}
	}
	for i, r := range m.residual {
		if !m.l.masked[i] {
			m.rss += r * r
		}
	}
}

// sizeError returns the standard error of the size of fitted column k.
func (m *model) sizeError(k int) float64 {
	unit := mat.NewVecDense(len(m.fits), nil)
	unit.SetVec(k, 1)
	var x mat.VecDense
	if err := m.cross.SolveVecTo(&x, unit); err != nil {
		return math.NaN()
	}
	return math.Sqrt(m.variance() * x.AtVec(k))
}
