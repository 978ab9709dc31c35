package fleet

import (
	"math"
	"slices"
)

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

	// Of the party whose columns are bounded, see meet: its nodes, those of the others,
	// for each of them the party's node, and by node the proofs of each pair. left and
	// weight are scratch, by node.
	own, partners, ownOf []int32
	pair, left, weight   []float64
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

// meet notes whom party p was proved on, for [tally.bound].
func (t *tally) meet(m *model, p int32) {
	if t.pair == nil {
		nodes := max(len(t.za), len(t.zb))
		t.pair, t.left, t.weight = make([]float64, nodes), make([]float64, nodes), make([]float64, nodes)
	}
	for _, j := range t.partners {
		t.pair[j] = 0
	}
	t.own, t.partners, t.ownOf = t.own[:0], t.partners[:0], t.ownOf[:0]
	for _, row := range m.l.parties[p].rows {
		if m.l.masked[row] {
			continue
		}
		i, j := m.l.a[row], m.l.b[row]
		if m.l.parties[p].unit {
			i, j = j, i
		}
		if t.pair[j] == 0 {
			t.partners, t.ownOf = append(t.partners, j), append(t.ownOf, i)
			if !slices.Contains(t.own, i) {
				t.own = append(t.own, i)
			}
		}
		t.pair[j]++
	}
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
		if sp := s.sparse[s.part[b]]; sp != nil {
			if !slices.ContainsFunc(touched[:i], func(c int32) bool { return s.part[c] == s.part[b] }) {
				sum += sp.quadratic(sp.gather(v))
			}
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

// slack is how many times more of a column the levels may leave than they seem to
// where only those of its own proofs give way, before a bound takes that for too little.
const slack = 2.5

// bound returns a bound of what gain returns for a column of party p, without solving
// for the levels of the whole part. Two are known, of which the lower one holds. The
// levels can take up no more than if each pair of instruments had a level of its own;
// that is sure, and near where pairs have many proofs. And they take up little more
// than if only p and those that it was proved on gave way; that is right within slack,
// except in parts that hardly hang together.
func (t *tally) bound(m *model, p int32) float64 {
	if t.xx == 0 || t.xr == 0 {
		return 0
	}
	ownZ, otherZ, ownN, otherN := t.za, t.zb, m.normal.na, m.normal.nb
	if m.l.parties[p].unit {
		ownZ, otherZ, ownN, otherN = otherZ, ownZ, otherN, ownN
	}
	for _, i := range t.own {
		t.left[i], t.weight[i] = ownZ[i], ownN[i]
	}
	pairs, near := 0.0, 0.0
	for k, j := range t.partners {
		n, z, i := t.pair[j], otherZ[j], t.ownOf[k]
		pairs += z * z / n
		near += z * z / otherN[j]
		t.left[i] -= n * z / otherN[j]
		t.weight[i] -= n * n / otherN[j]
	}
	for _, i := range t.own {
		if t.weight[i] > tiny*ownN[i] {
			near += t.left[i] * t.left[i] / t.weight[i]
		}
	}
	free := max(t.xx-pairs, (t.xx-near)/slack)
	most := t.xr * t.xr / free
	if len(m.fits) > 0 {
		free -= m.takenUp(t)
		most = t.xr * t.xr / free
	}
	if free <= tiny*t.xx || math.IsNaN(most) {
		return math.Inf(1)
	}
	return most
}

// spike returns the gain of the tallied column of the single row i, and whether the model
// can tell it from what it holds. In large parts it is solved for only where it matters
// whether it is least standard errors large: the levels take up no less than nothing of a
// row, and no more than if its pair of instruments had a level of its own.
func (t *tally) spike(m *model, i int32, least float64) (gain float64, ok bool) {
	if !m.normal.large {
		return t.gain(m, nil)
	}
	free := 1 - 1/m.normal.proofs(m.l.a[i], m.l.b[i])
	if len(m.fits) > 0 {
		free -= m.takenUp(t)
	}
	r2 := m.residual[i] * m.residual[i]
	switch {
	case free <= tiny:
	case m.studentized(r2) > least:
		return r2, true
	case m.studentized(r2/free) <= least:
		return r2 / free, true
	}
	return t.gain(m, nil)
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
