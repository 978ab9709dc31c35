package fleet

import "math"

// A sparsePart is the equations of a part with many unit nodes. It keeps the links
// only, and solves them by the method of conjugate gradients, scaled by the diagonal;
// the work grows with the links and with how badly the part hangs together, and the
// memory with the links. Source: Hestenes and Stiefel (1952), J. Res. NBS 49;
// Saad, Iterative Methods for Sparse Linear Systems, 2nd ed., 9.2 (both from memory).
type sparsePart struct {
	nodes    []int32   // unit nodes
	first    []int32   // of each indicator node: where its links begin; one more at the end
	to       []int32   // of each link: place of the unit node in nodes
	n        []float64 // of each link: proofs
	na       []float64 // proofs of each indicator node
	proofs   []float64 // of each unit node
	diagonal []float64 // of the equations
	held     []bool    // verified references, whose level is 0; nil where there is none
}

// newSparsePart gathers the links of part p, which has the given unit nodes.
func (s *normal) newSparsePart(l *layout, p int, nodes []int32) *sparsePart {
	sp := &sparsePart{
		nodes: nodes, first: []int32{0}, proofs: make([]float64, len(nodes)), diagonal: make([]float64, len(nodes)),
	}
	for i, b := range nodes {
		s.place[b] = int32(i)
		if l.parties[l.bParty[b]].anchored {
			if sp.held == nil {
				sp.held = make([]bool, len(nodes))
			}
			sp.held[i] = true
		}
	}
	for a, links := range s.links {
		if len(links) == 0 || s.part[links[0].b] != int32(p) {
			continue
		}
		for _, k := range links {
			j := s.place[k.b]
			sp.to, sp.n = append(sp.to, j), append(sp.n, k.n)
			sp.proofs[j] += k.n
			sp.diagonal[j] += k.n - k.n*k.n/s.na[a]
		}
		sp.first, sp.na = append(sp.first, int32(len(sp.to))), append(sp.na, s.na[a])
	}
	return sp
}

// gather returns the values of the part's unit nodes, scatter puts them back.
func (p *sparsePart) gather(v []float64) []float64 {
	local := make([]float64, len(p.nodes))
	for i, b := range p.nodes {
		local[i] = v[b]
	}
	return local
}

func (p *sparsePart) scatter(x, local []float64) {
	for i, b := range p.nodes {
		x[b] = local[i]
	}
}

// free returns how many levels are not given by a restraint.
func (p *sparsePart) free() int {
	if p.held == nil {
		return len(p.nodes) - 1
	}
	free := 0
	for _, held := range p.held {
		if !held {
			free++
		}
	}
	return free
}

// multiply sets out to the reduced equations times x.
func (p *sparsePart) multiply(out, x []float64) {
	for j := range out {
		out[j] = p.proofs[j] * x[j]
	}
	for a, na := range p.na {
		low, high := p.first[a], p.first[a+1]
		mean := 0.0
		for k := low; k < high; k++ {
			mean += p.n[k] * x[p.to[k]]
		}
		mean /= na
		for k := low; k < high; k++ {
			out[p.to[k]] -= p.n[k] * mean
		}
	}
	p.hold(out)
}

// hold sets what belongs to verified references to 0. Without any, the equations leave
// a constant open, and it takes the mean away.
func (p *sparsePart) hold(x []float64) {
	if p.held == nil {
		mean := 0.0
		for _, v := range x {
			mean += v / float64(len(x))
		}
		for j := range x {
			x[j] -= mean
		}
		return
	}
	for j, held := range p.held {
		if held {
			x[j] = 0
		}
	}
}

// Tolerances of the solution, as the share of the right side that is left. That of a
// quadratic form errs by the square of it.
const (
	solved          = 1e-13
	solvedQuadratic = 1e-5
)

// solve returns x with the equations times x = v, the first node at 0 where there is no
// reference. It overwrites v.
func (p *sparsePart) solve(v []float64, tolerance float64) []float64 {
	n := len(v)
	x, scaled, direction, image := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	p.hold(v)
	rest := v
	stop := tolerance * math.Sqrt(dot(v, v))
	before := 0.0
	for range 10 * n { // n would do in exact arithmetic
		if math.Sqrt(dot(rest, rest)) <= stop {
			break
		}
		for j, d := range p.diagonal {
			scaled[j] = rest[j] / d
		}
		p.hold(scaled)
		now := dot(rest, scaled)
		share := 0.0
		if before > 0 {
			share = now / before
		}
		for j := range direction {
			direction[j] = scaled[j] + share*direction[j]
		}
		p.multiply(image, direction)
		step := now / dot(direction, image)
		for j := range x {
			x[j] += step * direction[j]
			rest[j] -= step * image[j]
		}
		before = now
	}
	if p.held == nil {
		ground := x[0]
		for j := range x {
			x[j] -= ground
		}
	}
	return x
}

// quadratic returns v' x with the equations times x = v. It overwrites v.
func (p *sparsePart) quadratic(v []float64) float64 {
	p.hold(v)
	right := append([]float64(nil), v...)
	return dot(right, p.solve(v, solvedQuadratic))
}
