package fleet

import "math"

// A FaultKind says how an instrument went wrong.
type FaultKind uint8

// The kinds of fault. The zero kind is none.
const (
	NoFault FaultKind = iota
	Drift             // the error grows by so much a week from a start on
	Step              // the error jumps at a moment and stays
)

// String returns drift, step or "".
func (k FaultKind) String() string { return [...]string{"", "drift", "step"}[k] }

// A column is what a fault of size 1 of one party adds to its rows.
type column struct {
	party int32
	kind  FaultKind
	start float64 // week
}

// at returns the value of the column at a week, for rows of its party.
func (c column) at(week float64) float64 {
	switch {
	case week < c.start:
		return 0
	case c.kind == Step:
		return 1
	}
	return week - c.start
}

// A fitted column is one that the model holds.
type fitted struct {
	column
	size   float64
	wa, wb []float64 // levels of the nodes that take up the column best
	t      float64   // |size| in standard errors when it was taken in
	margin float64   // gain over the best rival instrument, in residual variances
	rival  int32     // that instrument, or -1
}

// A tally gathers the sums of one candidate column over rows of its party: the
// column itself, its nodes, the residuals, and the fitted columns that share rows
// with it. It is scratch memory that is used again for each candidate.
type tally struct {
	xx, xr   float64
	za, zb   []float64
	aTouched []int32
	bTouched []int32
	xf       []float64 // with each fitted column
	v        []float64 // over unit nodes
	vMarked  []bool
	vTouched []int32
}

func newTally(l *layout, fits int) *tally {
	return &tally{
		za: make([]float64, len(l.aParty)), zb: make([]float64, len(l.bParty)),
		v: make([]float64, len(l.bParty)), vMarked: make([]bool, len(l.bParty)), xf: make([]float64, fits),
	}
}

func (t *tally) clear() {
	t.xx, t.xr = 0, 0
	for _, a := range t.aTouched {
		t.za[a] = 0
	}
	for _, b := range t.bTouched {
		t.zb[b] = 0
	}
	t.aTouched, t.bTouched = t.aTouched[:0], t.bTouched[:0]
	clear(t.xf)
}

// add adds row i, on which the column has the value x.
func (t *tally) add(m *model, i int32, x float64) {
	if x == 0 {
		return
	}
	a, b := m.l.a[i], m.l.b[i]
	if t.za[a] == 0 {
		t.aTouched = append(t.aTouched, a)
	}
	if t.zb[b] == 0 {
		t.bTouched = append(t.bTouched, b)
	}
	t.za[a] += x
	t.zb[b] += x
	t.xx += x * x
	t.xr += x * m.residual[i]
	if len(m.fits) == 0 {
		return
	}
	for _, p := range [...]int32{m.l.aParty[a], m.l.bParty[b]} {
		for _, k := range m.fitsOf[p] {
			t.xf[k] += x * m.fits[k].at(m.l.week[i])
		}
	}
}

// byLevels returns how much of the squared length of the column the levels take up.
func (t *tally) byLevels(s *normal) float64 {
	taken := 0.0
	for _, b := range t.bTouched {
		t.spread(b, t.zb[b])
	}
	for _, a := range t.aTouched {
		mean := t.za[a] / s.na[a]
		taken += t.za[a] * mean
		for _, k := range s.links[a] {
			t.spread(k.b, -k.n*mean)
		}
	}
	taken += s.quadratic(t.v, t.vTouched)
	for _, b := range t.vTouched {
		t.v[b], t.vMarked[b] = 0, false
	}
	t.vTouched = t.vTouched[:0]
	return taken
}

func (t *tally) spread(b int32, x float64) {
	if !t.vMarked[b] {
		t.vMarked[b] = true
		t.vTouched = append(t.vTouched, b)
	}
	t.v[b] += x
}

// quadratic returns v' inverse v over the touched unit nodes.
func (s *normal) quadratic(v []float64, touched []int32) float64 {
	sum := 0.0
	for i, b := range touched {
		if s.place[b] < 0 {
			continue
		}
		m := s.inverse[s.part[b]].RawSymmetric()
		row, p := int(s.place[b]), s.part[b]
		sum += v[b] * v[b] * m.Data[row*m.Stride+row]
		half := 0.0
		for _, c := range touched[:i] {
			if s.part[c] != p || s.place[c] < 0 {
				continue
			}
			low, high := min(row, int(s.place[c])), max(row, int(s.place[c]))
			half += v[c] * m.Data[low*m.Stride+high]
		}
		sum += 2 * v[b] * half
	}
	return sum
}

// tiny is the share of a column below which it counts as taken up whole: what is
// left is rounding.
const tiny = 1e-9

// gain returns by how much the residual sum of squares falls when the column is
// taken in. ok is false where the model cannot tell the column from what it holds.
// What the levels take up is taken from known, where it was computed before.
func (t *tally) gain(m *model, known *sequenceOf) (gain float64, ok bool) {
	if t.xx == 0 {
		return 0, false
	}
	free := t.xx - known.next(func() float64 { return t.byLevels(m.normal) })
	if len(m.fits) > 0 {
		free -= m.takenUp(t)
	}
	if free <= tiny*t.xx || math.IsNaN(free) {
		return 0, false
	}
	return t.xr * t.xr / free, true
}

// takenByLevels remembers what the levels take up of the candidate columns of each
// party, in the order in which they are tried. It depends on the layout and the masks
// only, and is the dear part of a search.
type takenByLevels [][]float64

// A sequenceOf goes through what is remembered of one party.
type sequenceOf struct {
	values []float64
	at     int
}

func (k takenByLevels) of(p int32) sequenceOf { return sequenceOf{values: k[p]} }

func (k takenByLevels) keep(p int32, s sequenceOf) { k[p] = s.values }

// next returns the next value, computing it where it is not remembered; on nil it is
// always computed.
func (s *sequenceOf) next(compute func() float64) float64 {
	if s == nil {
		return compute()
	}
	if s.at == len(s.values) {
		s.values = append(s.values, compute())
	}
	s.at++
	return s.values[s.at-1]
}
