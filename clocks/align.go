package clocks

import (
	"math"
	"slices"
	"time"

	"nilvolt/record"
)

// A Proof is one proof as a log shows it.
type Proof struct {
	At record.Instant
	// Key tells proofs apart that cannot be the same one: the source, the voltage.
	// Blank may be any.
	Key string
}

// A Doubt says why an alignment is not sure.
type Doubt uint8

// The doubts. The zero value is none.
const (
	NoDoubt   Doubt = iota
	TooFew          // fewer common proofs than it takes to be sure
	Rival           // another alignment explains nearly as many proofs
	Chance          // so few of so many fall together that chance may have done it
	Sparse          // most proofs that both logs could show stand in one only
	Stepped         // the clock was set in between, or does not run evenly
	TooFar          // more than a day apart
	TooFast         // more drift than a quartz clock has
	Scattered       // the common proofs lie too far off the line
)

// String says the doubt in words, "" for none.
func (d Doubt) String() string {
	return [...]string{
		"", "too few common proofs", "another alignment fits nearly as well", "it may be chance",
		"most proofs stand in one log only", "a clock was set in between", "more than a day apart",
		"more drift than a clock has", "the common proofs scatter too widely",
	}[d]
}

// An Alignment is how the clock of a log goes against the reference. The zero
// Alignment is none, and not sure.
type Alignment struct {
	Sure  bool
	Doubt Doubt
	// Offset is how far the log's clock is ahead of the reference in the middle of
	// the common proofs; negative is behind.
	Offset time.Duration
	// Within is the uncertainty of a corrected time: with 99 % confidence no
	// correction between the first and the last common proof is more wrong.
	Within time.Duration
	// Drift is how much the log's clock gains on the reference, in parts per million.
	Drift float64
	// Scatter is the standard deviation of the common proofs about the line.
	Scatter time.Duration
	// Proofs is how many proofs both logs show.
	Proofs int
	// Pairs are the common proofs: index of the reference's, index of the log's.
	Pairs [][2]int

	base   record.Instant // of the seconds below
	line   line
	others []line // that explain much, where none is sure
	// By the log's clock, in order: the common proofs, the log's others, and when its
	// clock may have been set for a while.
	common, alone, unsettled []float64
}

const (
	// enough is the fewest common proofs that an alignment may rest on.
	enough = 5
	// farthest is how far apart clocks may be, in seconds: a day, and an hour for a
	// zone with summer time on top of it.
	farthest = 25 * 3600
	// horizon is how far apart they are looked for, so that a log that fits as well
	// some days off is not taken for sure.
	horizon = 8 * 24 * 3600
	// mostDrift is the most drift, in seconds a second: 100 ppm, several times what
	// a wrist watch crystal does (common practice: 20 ppm).
	mostDrift = 100e-6
	// hours is how far from common proofs a time may lie to be corrected, in seconds.
	hours = 2 * 3600
	// zone is what zones differ by, whole quarters of an hour, and zones how far a
	// clock may have been put to another one for a while, in seconds.
	zone, zones = 900.0, 2 * 3600.0
	// occasion is how far apart proofs must lie to count as several, in seconds: a
	// proof that was repeated at once says nothing more about the clocks.
	occasion = 30
)

// Align finds how the clock of log goes against that of reference.
func Align(reference, log []Proof) Alignment {
	s := newSearch(reference, log)
	if s == nil {
		return Alignment{Doubt: TooFew}
	}
	var found []*candidate
	for range 4 {
		l, ok := s.vote()
		if !ok {
			break
		}
		c := s.refine(l)
		s.take(&l)
		s.take(&c.line)
		found = append(found, c)
	}
	if len(found) == 0 {
		return Alignment{Doubt: TooFew}
	}
	best := slices.MaxFunc(found, func(a, b *candidate) int { return a.occasions - b.occasions })
	out := s.alignment(best, s.doubt(best, found))
	for _, c := range found {
		if !out.Sure && c.occasions >= enough && 2*c.occasions >= best.occasions && s.expected(c.occasions) <= chance {
			out.others = append(out.others, c.line)
		}
	}
	return out
}

// alignment makes the answer of a candidate.
func (s *search) alignment(c *candidate, doubt Doubt) Alignment {
	out := Alignment{
		Sure: doubt == NoDoubt, Doubt: doubt,
		Offset: seconds(c.line.offset), Drift: c.line.drift * 1e6, Within: seconds(c.within),
		Scatter: seconds(c.scatter), Proofs: len(c.pairs), base: s.base, line: c.line,
	}
	for _, p := range c.pairs {
		out.Pairs = append(out.Pairs, [2]int{s.a[p.a].index, s.b[p.b].index})
	}
	out.settle(s.a, s.b)
	return out
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// settle notes where the proofs of both stand by the log's clock.
func (a *Alignment) settle(reference, log []mark) {
	inReference, inLog := make(map[int]bool, len(a.Pairs)), make(map[int]bool, len(a.Pairs))
	for _, p := range a.Pairs {
		inReference[p[0]], inLog[p[1]] = true, true
	}
	a.common, a.alone, a.unsettled = nil, nil, nil
	for _, m := range log {
		if inLog[m.index] {
			a.common = append(a.common, m.at)
		}
	}
	for _, m := range log {
		if around(a.common, m.at, occasion) == 0 { // else it is one that was repeated
			a.alone = append(a.alone, m.at)
		}
	}
	var missing []float64
	for _, m := range reference {
		if !inReference[m.index] {
			missing = append(missing, a.line.at(m.at))
		}
	}
	a.unsettled = append(otherZone(a.alone, missing), runsBack(log)...)
	slices.Sort(a.unsettled)
}

// otherZone returns the proofs of a log alone that lie half an hour to two hours, in
// whole quarters, from proofs that it misses: its zone may have been another for a while. (A clock that a
// person sets and sets back does not come back to the second, which leaves a step.)
func otherZone(alone, missing []float64) (list []float64) {
	for _, t := range alone {
		first, _ := slices.BinarySearch(missing, t-zones-zone/2)
		for i := first; i < len(missing) && missing[i] <= t+zones+zone/2; i++ {
			apart := math.Abs(missing[i] - t)
			if apart > 1.5*zone && math.Abs(math.Remainder(apart, zone)) <= narrowest {
				list = append(list, t)
				break
			}
		}
	}
	return list
}

// runsBack returns when a log runs backwards in its own order, which may be from the
// newest to the oldest.
func runsBack(log []mark) (list []float64) {
	own := slices.Clone(log)
	slices.SortFunc(own, func(a, b mark) int { return a.index - b.index })
	if len(backwards(own)) > len(own) { // more than half of the steps; two times are listed for each
		slices.Reverse(own)
	}
	return backwards(own)
}

func backwards(own []mark) (list []float64) {
	for i := 1; i < len(own); i++ {
		if own[i].at < own[i-1].at-occasion {
			list = append(list, own[i-1].at, own[i].at)
		}
	}
	return list
}

// around counts the times within a distance of t.
func around(times []float64, t, distance float64) int {
	first, _ := slices.BinarySearch(times, t-distance)
	end, _ := slices.BinarySearch(times, t+distance)
	return end - first
}

// Ahead returns how far the log's clock is ahead of the reference at a time of the
// log. It is false where the common proofs cannot tell: where most of the log's proofs
// within two hours are not common, or where the clock may have been set for a while.
func (a *Alignment) Ahead(t record.Instant) (time.Duration, bool) {
	if !a.Sure || !t.IsSet() {
		return 0, false
	}
	at := t.Sub(a.base).Seconds()
	common := around(a.common, at, hours)
	if common == 0 || common < around(a.alone, at, hours) || around(a.unsettled, at, hours) > 0 {
		return 0, false
	}
	return seconds(at - a.line.back(at)), true
}

// MayBeAhead returns how far the log's clock may be ahead of the reference at a time of
// the log, by each alignment that explains much, where none is sure.
func (a *Alignment) MayBeAhead(t record.Instant) (list []time.Duration) {
	at := t.Sub(a.base).Seconds()
	for i := range a.others {
		list = append(list, seconds(at-a.others[i].back(at)))
	}
	return list
}

// Against returns the alignment as the log has it: how the reference's clock goes
// against the log's. The logs are those that it was made of.
func (a *Alignment) Against(reference, log []Proof) Alignment {
	back := *a
	back.Offset, back.Drift = -a.Offset, -a.Drift
	back.line = line{middle: a.line.middle + a.line.offset, offset: -a.line.offset, drift: -a.line.drift / (1 + a.line.drift)}
	back.Pairs = nil
	for _, p := range a.Pairs {
		back.Pairs = append(back.Pairs, [2]int{p[1], p[0]})
	}
	back.settle(marks(log, a.base), marks(reference, a.base))
	return back
}

// A line says where a proof of the reference stands in the log.
type line struct {
	middle, offset float64 // seconds
	drift          float64 // seconds a second
}

func (l *line) at(x float64) float64 { return x + l.offset + l.drift*(x-l.middle) }

// back returns where a proof of the log stands in the reference.
func (l *line) back(y float64) float64 { return (y - l.offset + l.drift*l.middle) / (1 + l.drift) }

// A mark is a proof in seconds since the base.
type mark struct {
	at    float64
	key   string
	index int // where the caller has it
}

func marks(list []Proof, base record.Instant) []mark {
	out := make([]mark, 0, len(list))
	for i, p := range list {
		if p.At.IsSet() {
			out = append(out, mark{p.At.Sub(base).Seconds(), p.Key, i})
		}
	}
	slices.SortStableFunc(out, func(a, b mark) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return 0
	})
	return out
}

func fits(a, b string) bool { return a == "" || b == "" || a == b }

// countOccasions counts times, in order, that lie apart.
func countOccasions(times []float64) int {
	n, last := 0, math.Inf(-1)
	for _, t := range times {
		if t-last > occasion {
			n++
			last = t
		}
	}
	return n
}
