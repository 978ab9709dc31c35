package fleet

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// normal holds the solved normal equations of the levels of a layout.
//
// The equations have one block diagonal part for the indicator nodes, which are
// eliminated first, and leave a symmetric matrix over the unit nodes of each part
// of the graph of who was proved on whom. Only the differences of levels are
// seen, so one unit node of each part is grounded, its level set to 0; where a
// part has verified references, all of their nodes are. Source: NIST/SEMATECH
// e-Handbook 2.3.3 (comparison designs with a restraint); Abowd, Creecy and
// Kramarz (2002) for connected sets.
//
// Parts of few unit nodes have their matrix inverted; those of many are solved by
// conjugate gradients each time, see sparsePart. So it takes memory for the links that
// occur, and never for the square of all instruments.
type normal struct {
	na, nb  []float64       // rows of each indicator node and of each unit node
	links   [][]link        // of each indicator node
	part    []int32         // part of each unit node
	place   []int32         // of a unit node in the matrix of its part
	inverse []*mat.SymDense // of each part; nil where all of it is grounded, and of sparse parts
	sparse  []*sparsePart   // of each part; nil where there are few unit nodes
	rank    int
	rows    int
	large   bool // there is a sparse part
}

// proofs returns how often an indicator node was proved on a unit node.
func (s *normal) proofs(a, b int32) float64 {
	links := s.links[a]
	i, ok := slices.BinarySearchFunc(links, b, func(k link, b int32) int { return cmp.Compare(k.b, b) })
	if !ok {
		return 0
	}
	return links[i].n
}

// A link says how often an indicator node was proved on a unit node.
type link struct {
	b int32
	n float64
}

func newNormal(l *layout) *normal {
	s := &normal{
		na: make([]float64, len(l.aParty)), nb: make([]float64, len(l.bParty)), links: make([][]link, len(l.aParty)),
	}
	s.addLinks(l)
	members := s.findParts(l)
	s.place = make([]int32, len(l.bParty))
	s.inverse, s.sparse = make([]*mat.SymDense, len(members)), make([]*sparsePart, len(members))
	for p, nodes := range members {
		if len(nodes) <= l.dense {
			s.solvePart(l, p, nodes)
			continue
		}
		s.large = true
		s.sparse[p] = s.newSparsePart(l, p, nodes)
		s.rank += s.sparse[p].free()
	}
	for _, n := range s.na {
		if n > 0 {
			s.rank++
		}
	}
	return s
}

func (s *normal) addLinks(l *layout) {
	count := make([]float64, len(l.bParty)) // of one indicator node at a time
	rowsOf := make([][]int32, len(l.aParty))
	for i := range l.a {
		if !l.masked[i] {
			rowsOf[l.a[i]] = append(rowsOf[l.a[i]], l.b[i])
			s.rows++
		}
	}
	for a, bs := range rowsOf {
		s.na[a] = float64(len(bs))
		var touched []int32
		for _, b := range bs {
			if count[b] == 0 {
				touched = append(touched, b)
			}
			count[b]++
		}
		slices.Sort(touched)
		for _, b := range touched {
			s.links[a] = append(s.links[a], link{b, count[b]})
			s.nb[b] += count[b]
			count[b] = 0
		}
	}
}

// findParts numbers the connected parts of the graph and returns the unit nodes
// of each. Unit nodes without rows belong to none, part -1.
func (s *normal) findParts(l *layout) [][]int32 {
	groups := newGroups(len(l.bParty))
	used := make([]bool, len(l.bParty))
	for _, links := range s.links {
		for _, k := range links {
			used[k.b] = true
			groups.join(k.b, links[0].b)
		}
	}
	var parts int
	s.part, parts = groups.number(func(b int32) bool { return used[b] })
	members := make([][]int32, parts)
	for b, p := range s.part {
		if p >= 0 {
			members[p] = append(members[p], int32(b))
		}
	}
	return members
}

// solvePart inverts the matrix of one part over its unit nodes that are not
// grounded. Grounded nodes have place -1.
func (s *normal) solvePart(l *layout, p int, nodes []int32) {
	anchored := slices.ContainsFunc(nodes, func(b int32) bool { return l.parties[l.bParty[b]].anchored })
	free := int32(0)
	for i, b := range nodes {
		if anchored && l.parties[l.bParty[b]].anchored || !anchored && i == 0 {
			s.place[b] = -1
			continue
		}
		s.place[b] = free
		free++
	}
	s.rank += int(free)
	if free == 0 {
		return
	}
	m := mat.NewSymDense(int(free), nil)
	add := func(i, j int32, v float64) {
		if i >= 0 && j >= i {
			m.SetSym(int(i), int(j), m.At(int(i), int(j))+v)
		}
	}
	for a, links := range s.links {
		if len(links) == 0 || s.part[links[0].b] != int32(p) {
			continue
		}
		for _, k := range links {
			add(s.place[k.b], s.place[k.b], k.n)
			for _, k2 := range links {
				add(s.place[k.b], s.place[k2.b], -k.n*k2.n/s.na[a])
			}
		}
	}
	var c mat.Cholesky
	if !c.Factorize(m) {
		panic("fleet: the matrix of a connected part is not positive definite")
	}
	inverse := mat.NewSymDense(int(free), nil)
	// The condition is bounded by the counts of links; an error would only tell
	// that it is high.
	_ = c.InverseTo(inverse)
	s.inverse[p] = inverse
}

// solve returns levels x of the indicator and unit nodes with (Z'Z) x = z, z
// being sums over rows of each node.
func (s *normal) solve(za, zb []float64) (xa, xb []float64) {
	v := slices.Clone(zb)
	for a, links := range s.links {
		for _, k := range links {
			v[k.b] -= k.n * za[a] / s.na[a]
		}
	}
	xb = s.multiply(v)
	xa = make([]float64, len(za))
	for a, links := range s.links {
		if len(links) == 0 {
			continue
		}
		sum := za[a]
		for _, k := range links {
			sum -= k.n * xb[k.b]
		}
		xa[a] = sum / s.na[a]
	}
	return xa, xb
}

// multiply returns the inverse of the reduced equations times v; grounded nodes
// and those without rows give 0.
func (s *normal) multiply(v []float64) []float64 {
	in := make([]*mat.VecDense, len(s.inverse))
	for p, m := range s.inverse {
		if m != nil {
			in[p] = mat.NewVecDense(m.SymmetricDim(), nil)
		}
	}
	for b, p := range s.part {
		if p >= 0 && s.inverse[p] != nil && s.place[b] >= 0 {
			in[p].SetVec(int(s.place[b]), v[b])
		}
	}
	for p, m := range s.inverse {
		if m != nil {
			out := mat.NewVecDense(m.SymmetricDim(), nil)
			out.MulVec(m, in[p])
			in[p] = out
		}
	}
	x := make([]float64, len(v))
	for _, sp := range s.sparse {
		if sp != nil {
			sp.scatter(x, sp.solve(sp.gather(v), solved))
		}
	}
	for b, p := range s.part {
		if p >= 0 && s.inverse[p] != nil && s.place[b] >= 0 {
			x[b] = in[p].AtVec(int(s.place[b]))
		}
	}
	return x
}
