package clocks

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// rivalShare is how much of the best line's proofs another line may explain.
	rivalShare = 0.6
	// fewest is the share of the proofs that both logs could show which they must
	// show, of the log that has fewer of them.
	fewest = 0.35
	// chance is the number of lines as good as the best that may be expected among
	// logs that have nothing to do with each other.
	chance = 1e-7
	// daily is how much denser proofs lie where their hours of the day agree, because
	// people work by day.
	daily = 3
	// widestScatter is the most scatter of common proofs, in seconds.
	widestScatter = 4.0
	// stretch is how many proofs in a row make a clock that was set for a while.
	stretch = 3
	// The least step of a clock that is told from scatter, in seconds, and how much
	// better than a straight line (F statistic) two pieces must be.
	leastStep, stepStatistic = 1.0, 25.0
)

// doubt says what speaks against the best of the candidates.
func (s *search) doubt(best *candidate, all []*candidate) Doubt {
	offset, drift := best.line.offset, best.line.drift
	rival := s.rival(best, all)
	switch {
	case best.occasions < enough:
		return TooFew
	case math.Abs(offset) > farthest:
		return TooFar
	case math.Abs(drift)-3*best.driftError > mostDrift:
		return TooFast
	case float64(rival) > rivalShare*float64(best.occasions):
		return Rival
	case rival >= enough && s.expected(rival) < chance, best.stepped(), s.interrupted(best, all):
		return Stepped
	case s.expected(best.occasions) > chance:
		return Chance
	case float64(best.occasions) < fewest*float64(s.possible(&best.line)):
		return Sparse
	case best.scatter > widestScatter:
		return Scattered
	}
	return NoDoubt
}

// rival returns the most proofs that another candidate explains otherwise than the
// best one does.
func (s *search) rival(best *candidate, all []*candidate) int {
	taken := make(map[[2]int]bool, len(best.pairs))
	for _, p := range best.pairs {
		taken[[2]int{p.a, p.b}] = true
	}
	most := 0
	for _, c := range all {
		if c == best {
			continue
		}
		var times []float64
		for _, p := range c.pairs {
			if !taken[[2]int{p.a, p.b}] {
				times = append(times, p.x)
			}
		}
		slices.Sort(times)
		most = max(most, countOccasions(times))
	}
	return most
}

// interrupted reports whether another candidate explains a stretch of both logs that
// the best one has nothing of: as long as a clock was set, and then set back.
func (s *search) interrupted(best *candidate, all []*candidate) bool {
	inReference, inLog := make([]bool, len(s.a)), make([]bool, len(s.b))
	for _, p := range best.pairs {
		inReference[p.a], inLog[p.b] = true, true
	}
	for _, c := range all {
		for i := 0; c != best && i+stretch <= len(c.pairs); i++ {
			first, last := c.pairs[i], c.pairs[i+stretch-1] // in order
			if !slices.Contains(inReference[first.a:last.a+1], true) && !slices.Contains(inLog[first.b:last.b+1], true) {
				return true
			}
		}
	}
	return false
}

// expected returns how many lines with so many pairs are to be expected if proofs
// fell at random.
func (s *search) expected(pairs int) float64 {
	mean := daily * float64(s.all) * widest / horizon // of pairs on one line
	lines := 2 * horizon / widest * float64(len(s.drifts))
	return lines * distuv.Poisson{Lambda: mean}.Survival(float64(pairs)-1)
}

// possible returns how many occasions both logs could show if the line is right: of
// those in the time that both cover, the number of the log that has fewer.
func (s *search) possible(l *line) int {
	first, last := l.at(s.a[0].at), l.at(s.a[len(s.a)-1].at)
	from, to := max(first, s.b[0].at)-widest, min(last, s.b[len(s.b)-1].at)+widest
	var a, b []float64
	for i := range s.a {
		if y := l.at(s.a[i].at); y >= from && y <= to {
			a = append(a, y)
		}
	}
	for i := range s.b {
		if y := s.b[i].at; y >= from && y <= to {
			b = append(b, y)
		}
	}
	return min(countOccasions(a), countOccasions(b))
}

// stepped reports whether two lines with one drift, one behind the other, explain the
// pairs much better than one line.
func (c *candidate) stepped() bool {
	list := slices.Clone(c.pairs)
	slices.SortFunc(list, func(a, b pair) int {
		if a.x < b.x {
			return -1
		}
		return 1
	})
	n := float64(len(list))
	whole := sumsOf(list, c.line.middle)
	one := whole.loss()
	for i := 2; i <= len(list)-2; i++ {
		before, behind := sumsOf(list[:i], c.line.middle), sumsOf(list[i:], c.line.middle)
		two, step := before.lossWith(&behind)
		spread := (two + scatterWeight*square(usualScatter)) / (n - 3 + scatterWeight)
		if math.Abs(step) > leastStep && (one-two)/spread > stepStatistic {
			return true
		}
	}
	return false
}

// sums are what least squares need of pairs.
type sums struct{ n, x, xx, r, xr, rr float64 }

func sumsOf(list []pair, middle float64) (s sums) {
	for i := range list {
		x, r := list[i].x-middle, list[i].r
		s.n, s.x, s.xx, s.r, s.xr, s.rr = s.n+1, s.x+x, s.xx+x*x, s.r+r, s.xr+x*r, s.rr+r*r
	}
	return s
}

// centred returns the sums about the means.
func (s *sums) centred() (xx, xr, rr float64) {
	return s.xx - s.x*s.x/s.n, s.xr - s.x*s.r/s.n, s.rr - s.r*s.r/s.n
}

// loss returns the sum of squares about the best line.
func (s *sums) loss() float64 {
	xx, xr, rr := s.centred()
	if xx <= 0 {
		return rr
	}
	return rr - xr*xr/xx
}

// lossWith returns the sum of squares about two lines of one drift, and the step
// from the one to the other.
func (s *sums) lossWith(t *sums) (loss, step float64) {
	xx1, xr1, rr1 := s.centred()
	xx2, xr2, rr2 := t.centred()
	loss = rr1 + rr2
	drift := 0.0
	if xx := xx1 + xx2; xx > 0 {
		drift = (xr1 + xr2) / xx
		loss -= drift * (xr1 + xr2)
	}
	return loss, t.r/t.n - s.r/s.n - drift*(t.x/t.n-s.x/s.n)
}
