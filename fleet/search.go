package fleet

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/stat/distuv"
)

// SearchOptions say over what a search goes and when it believes what it finds.
type SearchOptions struct {
	From, Until float64 // weeks: points of From and later, before Until
	References  []string
	// Critical is the size of a fault in standard errors from which it is
	// believed; 0 takes the one that FalseAlarms asks for.
	Critical float64
	// FalseAlarms is the wanted chance of one or more false alarms in the fleet in
	// 13 weeks of weekly searches without a fault; 0 is 0.05.
	FalseAlarms float64

	// side is the number of readings wanted on each side of a step; 0 is minSide.
	side int
	// plain leaves the columns as they were taken in, see reshape.
	plain bool
	// large is the number of parties from which goOn is used; 0 is the constant.
	large int
	// dense is the number of unit nodes of a part up to which its equations are solved
	// once for all, by a matrix; 0 is the constant, and less is none.
	dense int
}

// Constants of the search.
const (
	// quarter is the number of weeks that FalseAlarms speaks of.
	quarter = 13
	// testsAWeek is how many independent tests the drift and steps of one
	// instrument amount to in a week of watching, for the Bonferroni inequality. Found
	// by simulation (TestTargets): with 6, 3 % of quarters without a fault had a
	// suspicion, and 1 to 2 % a confirmed one.
	testsAWeek = 6
	// minSide is the number of readings that a step needs on either side, and half
	// of what a drift needs: fewer could be gross readings.
	minSide = 3
	// spikeAlarms is the chance of taking one or more good readings for a spike.
	spikeAlarms = 0.01
	// large is the number of instruments from which a whole round for each fault would
	// take long.
	large = 200
	// denseNodes is the number of unit nodes of a part from which its matrix would be dear.
	denseNodes = 300
	// enough is the gain over the best rival instrument, in residual variances,
	// from which an instrument is named: a likelihood ratio of e^3.
	enough = 6
)

// critical returns the wanted size in standard errors, by the t distribution.
func (o *SearchOptions) critical(parties int, df float64) float64 {
	if o.Critical > 0 {
		return o.Critical
	}
	alarms := o.FalseAlarms
	if alarms <= 0 {
		alarms = 0.05
	}
	return twoSided(alarms/float64(testsAWeek*quarter*max(1, parties)), df)
}

// twoSided returns the size that |t| exceeds with the given chance.
func twoSided(chance, df float64) float64 {
	if df > 1000 {
		// The first terms of the expansion about the normal quantile; the quantile of
		// the t distribution fails for so many degrees. Source: Abramowitz and Stegun
		// 26.7.5.
		z := -distuv.UnitNormal.Quantile(chance / 2)
		return z + z*(z*z+1)/(4*df)
	}
	return -distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(chance / 2)
}

// search runs the forward search, settles doubts that it made itself, and returns
// the model with all that it found.
func search(points []Point, o SearchOptions) *model {
	m := forward(points, o)
	for k := range m.fits {
		if f := &m.fits[k]; f.margin < enough && f.rival >= 0 && len(m.fitsOf[f.rival]) > 0 {
			m.settle(k)
		}
	}
	return m
}

// settle measures the margin of fitted column k again with all other faults held:
// its rival stood for a fault of its own that was not taken in yet.
func (m *model) settle(k int) {
	f := &m.fits[k]
	w := m.without(k)
	gain := w.rss - m.rss
	f.margin, f.rival = gain/m.variance(), -1
	best := w.candidates(m.l.rivals(f.party))
	t := newTally(w.l, len(w.fits))
	for {
		rival := 0
		for p := range best {
			if best[p].gain > best[rival].gain {
				rival = p
			}
		}
		if best[rival].bounded {
			best[rival] = w.refine(int32(rival), t)
			continue
		}
		if best[rival].gain > 0 {
			f.margin, f.rival = (gain-best[rival].gain)/m.variance(), int32(rival)
		}
		return
	}
}

// forward runs the forward search.
func forward(points []Point, o SearchOptions) *model {
	l := newLayout(points, o.From, o.Until, o.References)
	l.side, l.dense = cmp.Or(o.side, minSide), cmp.Or(o.dense, denseNodes)
	m := newModel(l)
	for m.df() > 1 {
		critical := o.critical(len(m.l.parties), m.df()-1)
		best := m.candidates(func(int32) bool { return true })
		if m.maskSpikes(best) {
			continue
		}
		found := m.choose(best, critical)
		if len(found) == 0 {
			break
		}
		if !o.plain && m.maskFeigned(found, critical) {
			continue
		}
		m.accept(found, o)
		if len(m.l.parties) >= cmp.Or(o.large, large) {
			m.goOn(best, o)
		}
	}
	return m
}

// accept takes in what was found.
func (m *model) accept(found []fitted, o SearchOptions) {
	*m = *m.holding(append(slices.Clone(m.fits), found...))
	for _, c := range found {
		if !o.plain {
			m.reshape(c.party, o)
		}
	}
}

// goOn takes in faults of a large fleet without trying every party again after each:
// what is known of the parties from before is tried again only where it comes first or
// second in its cluster, until those are of now. What a party can explain seldom grows
// by the fault of another; where it does, the next whole round sees it.
func (m *model) goOn(best []candidate, o SearchOptions) {
	for m.df() > 1 {
		for p := range best {
			best[p].bounded = best[p].gain > 0
		}
		critical := o.critical(len(m.l.parties), m.df()-1)
		found := m.choose(best, critical)
		if len(found) == 0 || !o.plain && m.maskFeigned(found, critical) {
			return
		}
		m.accept(found, o)
	}
}

// reshape puts one drift with a start of its own in the place of what the model
// holds of party p, where that accounts for the readings better: a drift that began
// on the way looks like a step, or like several, to the search.
func (m *model) reshape(p int32, o SearchOptions) {
	held := len(m.fitsOf[p])
	if held == 1 && !m.startsLater(m.fitsOf[p][0], o) {
		return
	}
	w := m.holding(slices.DeleteFunc(slices.Clone(m.fits), func(f fitted) bool { return f.party == p }))
	price := float64(enough) * m.variance() // of another column; a single one must be beaten by it
	if held > 1 {
		price *= float64(1 - held)
	}
	best, gain := w.bestDrift(p, o, w.rss-m.rss+price)
	if gain == 0 || gain-(w.rss-m.rss) < price {
		return
	}
	*m = *w.holding(append(w.fits, fitted{column: best, t: w.studentized(gain), rival: -1}))
	m.settle(len(m.fits) - 1)
}

// startsLater reports whether a drift with another start accounts much better for the
// readings than fitted column k, the other faults being held.
func (m *model) startsLater(k int, o SearchOptions) bool {
	later := false
	m.holdOthers(k, func(view *model) {
		least := view.columnGain(m.fits[k].column, newTally(m.l, 0)) + enough*m.variance()
		_, gain := view.bestDrift(m.fits[k].party, o, least)
		later = gain >= least
	})
	return later
}

// bestDrift returns the drift of party p of the start that explains most, and its gain,
// where that is least or more.
func (m *model) bestDrift(p int32, o SearchOptions, least float64) (best column, gain float64) {
	t := newTally(m.l, len(m.fits))
	for week := o.From; week < o.Until; week++ {
		c := column{p, Drift, week}
		if m.readingsFrom(p, week) < 2*m.l.side {
			break
		}
		if g := m.columnGainFrom(c, t, max(least, gain)); g > gain {
			best, gain = c, g
		}
	}
	return best, gain
}

// readingsFrom returns the number of readings of party p from week on.
func (m *model) readingsFrom(p int32, week float64) int {
	n := 0
	for _, i := range m.l.parties[p].rows {
		if !m.l.masked[i] && m.l.week[i] >= week {
			n++
		}
	}
	return n
}

// A candidate is the best column of one party.
type candidate struct {
	column
	gain    float64 // fall of the residual sum of squares; 0 where there is no column
	bounded bool    // gain is a bound, or of before; refine brings it up to date
}

// candidates returns the best column of each party that is wanted: a drift from the
// beginning, or a step at the start of a week. The parties are shared out among the
// processors.
func (m *model) candidates(wanted func(p int32) bool) []candidate {
	best := make([]candidate, len(m.l.parties))
	shareOut(len(best), func() func(i int) {
		t := newTally(m.l, len(m.fits))
		return func(i int) {
			if p := int32(i); !m.l.parties[p].anchored && wanted(p) {
				best[p] = m.bestOf(p, t)
			}
		}
	})
	return best
}

// bestOf returns the best column of a party; in large parts, a bound.
func (m *model) bestOf(p int32, t *tally) candidate {
	var best candidate
	if m.normal.large {
		m.columns(p, t, func(c column) {
			if most := t.bound(m, p); most > best.gain {
				best = candidate{c, most, true}
			}
		})
		return best
	}
	levels := m.takenByLevels.of(p)
	m.columns(p, t, func(c column) {
		if gain, ok := t.gain(m, &levels); ok && gain > best.gain {
			best = candidate{column: c, gain: gain}
		}
	})
	m.takenByLevels.keep(p, levels)
	return best
}

// refine returns the best column of a party without bounds.
func (m *model) refine(p int32, t *tally) candidate {
	if !m.normal.large {
		return m.bestOf(p, t)
	}
	var open []candidate
	m.columns(p, t, func(c column) { open = append(open, candidate{c, t.bound(m, p), true}) })
	slices.SortStableFunc(open, func(a, b candidate) int { return -cmp.Compare(a.gain, b.gain) })
	var best candidate
	for _, c := range open {
		if c.gain <= best.gain {
			break
		}
		if gain := m.columnGain(c.column, t); gain > best.gain {
			best = candidate{column: c.column, gain: gain}
		}
	}
	return best
}

// columns tallies the columns of a party that the search tries, one after the other, and
// calls try with each.
func (m *model) columns(p int32, t *tally, try func(c column)) {
	from, side := m.l.from, m.l.side
	rows := m.l.parties[p].rows
	used := 0
	t.clear()
	drift := column{p, Drift, from}
	for _, i := range rows {
		if !m.l.masked[i] {
			t.add(m, i, drift.at(m.l.week[i]))
			used++
		}
	}
	if used < 2*side {
		return
	}
	if m.normal.large {
		t.meet(m, p)
	}
	try(drift)
	t.clear()
	after := 0
	for j := len(rows) - 1; j > 0; j-- {
		i := rows[j]
		if !m.l.masked[i] {
			t.add(m, i, 1)
			after++
		}
		week := math.Floor(m.l.week[i] - from)
		if math.Floor(m.l.week[rows[j-1]]-from) == week || after < side || used-after < side {
			continue
		}
		try(column{p, Step, from + week})
	}
}

// leaders returns the parties of the largest and second largest gain of each cluster,
// -1 where there is none. Bounds of those are refined before, where the largest is at
// least critical standard errors large.
func (m *model) leaders(best []candidate, critical float64) (first, second []int32) {
	for {
		first, second = m.seemingLeaders(best)
		var open []int32
		for c, p := range first {
			if p < 0 || m.studentized(best[p].gain) < critical {
				continue
			}
			for _, q := range [...]int32{p, second[c]} {
				if q >= 0 && best[q].bounded {
					open = append(open, q)
				}
			}
		}
		if len(open) == 0 {
			return first, second
		}
		shareOut(len(open), func() func(i int) {
			t := newTally(m.l, len(m.fits))
			return func(i int) { best[open[i]] = m.refine(open[i], t) }
		})
	}
}

// shareOut calls do for 0 to n-1, on as many processors as there are; begin makes the do
// of each.
func shareOut(n int, begin func() (do func(i int))) {
	var next atomic.Int32
	var work sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		work.Go(func() {
			do := begin()
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	work.Wait()
}

func (m *model) seemingLeaders(best []candidate) (first, second []int32) {
	first, second = make([]int32, m.l.clusters), make([]int32, m.l.clusters)
	for c := range first {
		first[c], second[c] = -1, -1
	}
	for p := range best {
		c := m.l.cluster[p]
		switch {
		case best[p].gain <= 0:
		case first[c] < 0 || best[p].gain > best[first[c]].gain:
			first[c], second[c] = int32(p), first[c]
		case second[c] < 0 || best[p].gain > best[second[c]].gain:
			second[c] = int32(p)
		}
	}
	return first, second
}

// choose returns, of each cluster, the column of the largest gain if it is at least
// critical standard errors large, with its margin over the best rival instrument.
func (m *model) choose(best []candidate, critical float64) []fitted {
	first, second := m.leaders(best, critical)
	var found []fitted
	for c, p := range first {
		if p < 0 || m.studentized(best[p].gain) < critical {
			continue
		}
		gain := best[p].gain
		variance := (m.rss - gain) / (m.df() - 1)
		f := fitted{column: best[p].column, t: m.studentized(gain), rival: second[c], margin: gain / variance}
		if f.rival >= 0 {
			f.margin = (gain - best[f.rival].gain) / variance
		}
		found = append(found, f)
	}
	return found
}

// studentized returns the size in standard errors of a column that lets the
// residual sum of squares fall by gain.
func (m *model) studentized(gain float64) float64 {
	left := max(m.rss-gain, 0) / (m.df() - 1)
	return math.Sqrt(gain / left)
}
