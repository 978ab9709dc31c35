package clocks

import (
	"math"
	"slices"

	"nilvolt/record"
)

const (
	// cell is the width of a cell of the vote, in seconds. Two cells beside each
	// other are counted together.
	cell = 4.0
	// mostVotes bounds the work of one vote: pairs times drifts.
	mostVotes = 4e6
)

// A search looks for lines through two logs.
type search struct {
	base   record.Instant
	a, b   []mark // the reference, the log
	middle float64
	drifts []float64
	pairs  []difference // that may vote
	all    int          // how many pairs there were, occasions only
	counts []uint16     // of each cell
	cells  []int32      // of the pairs, under one drift
}

// A difference is a pair of proofs that may be the same one.
type difference struct {
	x, d float64 // when, against the middle, and by how much the log is ahead
}

// newSearch returns nil if a log has too few proofs.
func newSearch(reference, log []Proof) *search {
	var base record.Instant
	for _, p := range reference {
		if p.At.IsSet() && (!base.IsSet() || p.At.Before(base)) {
			base = p.At
		}
	}
	s := &search{base: base, a: marks(reference, base), b: marks(log, base)}
	if len(s.a) < enough || len(s.b) < enough {
		return nil
	}
	// Only the time that both may cover matters.
	from := max(s.a[0].at, s.b[0].at-horizon)
	to := min(s.a[len(s.a)-1].at, s.b[len(s.b)-1].at+horizon)
	s.middle = (from + to) / 2
	s.drifts = driftsOver(max(0, to-from) / 2)
	s.pairs = s.differences()
	s.counts = make([]uint16, int(2*horizon/cell)+2)
	return s
}

// driftsOver returns the drifts to be tried where no proof is farther from the
// middle than half: so close to each other that a cell holds the next one too.
func driftsOver(half float64) []float64 {
	n := int(math.Ceil(mostDrift * half / cell))
	list := []float64{0}
	for i := 1; i <= n; i++ {
		d := mostDrift * float64(i) / float64(n)
		list = append(list, d, -d)
	}
	return list
}

// differences lists the pairs that may be the same proof; of a reference that is too
// long, those of every second proof, or third, and so on.
func (s *search) differences() []difference {
	var total float64
	for i := range s.a {
		from, to := s.within(s.a[i].at-horizon, s.a[i].at+horizon)
		total += float64(to - from)
	}
	s.all = int(total)
	every := 1 + int(total*float64(len(s.drifts))/mostVotes)
	every = min(every, max(1, len(s.a)/40))
	var list []difference
	for i := 0; i < len(s.a); i += every {
		a := &s.a[i]
		from, to := s.within(a.at-horizon, a.at+horizon)
		for k := from; k < to; k++ {
			if b := &s.b[k]; fits(a.key, b.key) {
				list = append(list, difference{a.at - s.middle, b.at - a.at})
			}
		}
	}
	return list
}

// within returns which proofs of the log lie between two times, the first included.
func (s *search) within(from, to float64) (first, end int) {
	at := func(m mark, t float64) int {
		if m.at < t {
			return -1
		}
		return 1
	}
	first, _ = slices.BinarySearchFunc(s.b, from, at)
	end, _ = slices.BinarySearchFunc(s.b, to, at)
	return first, end
}

// vote returns the line on which most pairs fall; false if not even two do.
func (s *search) vote() (best line, ok bool) {
	most := uint16(1)
	for _, drift := range s.drifts {
		cells := s.cells[:0]
		for i := range s.pairs {
			c := int32((s.pairs[i].d - drift*s.pairs[i].x + horizon) / cell)
			if c < 0 || int(c) >= len(s.counts)-1 {
				continue
			}
			cells = append(cells, c)
			s.counts[c]++
		}
		for _, c := range cells {
			if n := s.counts[c] + s.counts[c+1]; n > most {
				most, ok = n, true
				best = line{middle: s.middle, drift: drift, offset: float64(c+1)*cell - horizon}
			}
		}
		for _, c := range cells {
			s.counts[c] = 0
		}
		s.cells = cells
	}
	return best, ok
}

// take keeps the pairs of a line from voting again.
func (s *search) take(l *line) {
	s.pairs = slices.DeleteFunc(s.pairs, func(p difference) bool {
		return math.Abs(p.d-l.offset-l.drift*(p.x+s.middle-l.middle)) <= 3*cell
	})
}
