package clocks

import (
	"math"
	"slices"
)

// What is known before any proof is seen, so that a handful of proofs that happen to
// agree claims no accuracy that logs with whole seconds cannot have.
const (
	// usualScatter is the usual scatter of common proofs, in seconds: two times cut
	// to whole seconds (0.41 s, computed) and a reading that follows within the second.
	usualScatter = 0.7
	// scatterWeight is how many proofs that is worth.
	scatterWeight = 3
	// usualDrift is the standard deviation of the drift, in seconds a second.
	usualDrift = 60e-6
	// weightedVariance is the variance of a normal distribution of variance 1 under
	// the weights of fit (computed).
	weightedVariance = 0.8493
	// confidence is that of Alignment.Within, over the whole line at once.
	confidence = 0.99
	// widest and narrowest bound how far a common proof may lie off the line, in
	// seconds.
	widest, narrowest = 8.0, 2.0
)

// A candidate is a line with the proofs on it.
type candidate struct {
	line       line
	pairs      []pair
	occasions  int
	scatter    float64 // seconds
	within     float64 // seconds
	driftError float64 // standard error of the drift
}

// A pair is one proof in both logs, by index.
type pair struct {
	a, b int
	x, r float64 // when in the reference; how far the log lies off the line
}

// refine fits a line to the proofs on it, and pairs them again, until it stands.
func (s *search) refine(l line) *candidate {
	c := &candidate{line: l}
	tolerance := widest
	for range 8 {
		c.pairs = s.pair(&c.line, tolerance)
		if len(c.pairs) < 2 {
			break
		}
		c.fit()
		tolerance = min(widest, max(narrowest, 4*c.scatter))
	}
	times := make([]float64, len(c.pairs))
	for i := range c.pairs {
		times[i] = c.pairs[i].x
	}
	slices.Sort(times)
	c.occasions = countOccasions(times)
	return c
}

// pair pairs the proofs along a line: each is the other's nearest. So they are
// paired in order, and none twice.
func (s *search) pair(l *line, tolerance float64) []pair {
	nearest := make([]int, len(s.b)) // of the log's proofs: the reference's
	gap := make([]float64, len(s.b))
	for k := range nearest {
		nearest[k], gap[k] = -1, tolerance
	}
	own := make([]int, len(s.a))
	for i := range s.a {
		own[i] = -1
		y, best := l.at(s.a[i].at), tolerance
		first, end := s.within(y-tolerance, y+tolerance)
		for k := first; k < end; k++ {
			if !fits(s.a[i].key, s.b[k].key) {
				continue
			}
			d := math.Abs(s.b[k].at - y)
			if d < best {
				own[i], best = k, d
			}
			if d < gap[k] {
				nearest[k], gap[k] = i, d
			}
		}
	}
	var list []pair
	for i, k := range own {
		if k >= 0 && nearest[k] == i {
			list = append(list, pair{a: i, b: k, x: s.a[i].at, r: s.b[k].at - l.at(s.a[i].at)})
		}
	}
	return list
}

// fit fits the line to the pairs by weighted least squares. The weights are those of
// the Cauchy distribution at three times the scatter, so that a pair that is none
// does not pull; the drift has a prior, so that proofs of one hour do not invent one.
func (c *candidate) fit() {
	middle := 0.0
	for i := range c.pairs {
		middle += c.pairs[i].x
	}
	c.line.offset += c.line.drift * (middle/float64(len(c.pairs)) - c.line.middle)
	c.line.middle = middle / float64(len(c.pairs))
	scale := c.start()
	var inverse [3]float64 // of the normal matrix: offset, both, drift
	for range 10 {
		var w, wx, wxx, wr, wxr, loss, weight float64
		for i := range c.pairs {
			p := &c.pairs[i]
			x, d := p.x-c.line.middle, p.r+c.line.at(p.x)-p.x // what the log is ahead
			r := d - c.line.offset - c.line.drift*x
			k := 1 / (1 + square(r/(3*scale)))
			w, wx, wxx, wr, wxr = w+k, wx+k*x, wxx+k*x*x, wr+k*d, wxr+k*x*d
			p.r = r
		}
		wxx += square(scale / usualDrift)
		det := w*wxx - wx*wx
		offset, drift := (wxx*wr-wx*wxr)/det, (w*wxr-wx*wr)/det
		for i := range c.pairs {
			p := &c.pairs[i]
			d := p.r + c.line.at(p.x) - p.x
			p.r = d - offset - drift*(p.x-c.line.middle)
			k := 1 / (1 + square(p.r/(3*scale)))
			loss += k * p.r * p.r
			weight += k
		}
		c.line.offset, c.line.drift = offset, drift
		scale = math.Sqrt((scatterWeight*square(usualScatter) + loss/weightedVariance) / max(1, scatterWeight+weight-2))
		inverse = [3]float64{wxx / det, -wx / det, w / det}
	}
	c.scatter = scale
	c.within = c.uncertainty(inverse)
	c.driftError = scale * math.Sqrt(inverse[2])
}

func square(x float64) float64 { return x * x }

// start returns a scatter to begin with: the median distance from the line, which a
// few wrong pairs do not move.
func (c *candidate) start() float64 {
	list := make([]float64, len(c.pairs))
	for i := range c.pairs {
		list[i] = c.pairs[i].r
	}
	slices.Sort(list)
	median := list[len(list)/2]
	c.line.offset += median
	for i := range c.pairs {
		c.pairs[i].r -= median
		list[i] = math.Abs(c.pairs[i].r)
	}
	slices.Sort(list)
	// 1.4826 times the median distance estimates a standard deviation (computed).
	return max(usualScatter/2, 1.4826*list[len(list)/2])
}

// uncertainty returns the half width of the band about the line, at the worse end of
// the pairs. inverse is that of the normal matrix.
func (c *candidate) uncertainty(inverse [3]float64) float64 {
	variance := 0.0
	for i := range c.pairs {
		x := c.pairs[i].x - c.line.middle
		variance = max(variance, inverse[0]+2*x*inverse[1]+x*x*inverse[2])
	}
	// 2 F(2, degrees), whose quantile has a closed form: Working and Hotelling's band
	// about a line (from memory).
	degrees := float64(len(c.pairs)) - 2 + scatterWeight
	band := math.Sqrt(degrees * (math.Pow(1-confidence, -2/degrees) - 1))
	return band * c.scatter * math.Sqrt(variance)
}
