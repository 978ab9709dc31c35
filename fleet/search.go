package fleet

import (
	"cmp"
	"math"

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
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(1 - chance/2)
}

// search runs the forward search, settles doubts that it made itself, and returns
// the model with all that it found.
func search(points []Point, o SearchOptions) *model {
	m := forward(points, o)
	for k := range m.fits {
		if f := &m.fits[k]; f.margin < enough && f.rival >= 0 && len(m.fitsOf[f.rival]) > 0 {
			m.settle(k, o)
		}
	}
	return m
}

// settle measures the margin of fitted column k again with all other faults held:
// its rival stood for a fault of its own that was not taken in yet.
func (m *model) settle(k int, o SearchOptions) {
	w := m.without(k)
	f := &m.fits[k]
	gain := w.rss - m.rss
	f.margin, f.rival = gain/m.variance(), -1
	for p, c := range w.candidates(o.From, cmp.Or(o.side, minSide)) {
		if int32(p) != f.party && c.gain > 0 && (gain-c.gain)/m.variance() < f.margin {
			f.margin, f.rival = (gain-c.gain)/m.variance(), int32(p)
		}
	}
}

// forward runs the forward search.
func forward(points []Point, o SearchOptions) *model {
	m := newModel(newLayout(points, o.From, o.Until, o.References))
	for m.df() > 1 {
		best := m.candidates(o.From, cmp.Or(o.side, minSide))
		if m.maskSpikes(best) {
			continue
		}
		c, found := m.choose(best)
		if !found || c.t < o.critical(len(m.l.parties), m.df()-1) {
			break
		}
		m.take(c)
		if !o.plain {
			m.reshape(c.party, o)
		}
	}
	return m
}

// reshape puts one drift with a start of its own in the place of what the model
// holds of party p, where that accounts for the readings better: a drift that began
// on the way looks like a step, or like several, to the search.
func (m *model) reshape(p int32, o SearchOptions) {
	w := newModel(m.l)
	for _, f := range m.fits {
		if f.party != p {
			w.take(f)
		}
	}
	t := newTally(m.l, len(w.fits))
	best, gain := column{party: p}, 0.0
	for week := o.From; week < o.Until; week++ {
		c := column{p, Drift, week}
		if m.readingsFrom(p, week) < 2*cmp.Or(o.side, minSide) {
			break
		}
		if g := w.columnGain(c, t); g > gain {
			best, gain = c, g
		}
	}
	held := len(m.fits) - len(w.fits)
	price := float64(enough) * m.variance() // of another column; a single one must be beaten by it
	if held > 1 {
		price *= float64(1 - held)
	}
	if gain == 0 || gain-(w.rss-m.rss) < price {
		return
	}
	w.take(fitted{column: best, t: w.studentized(gain), rival: -1})
	w.settle(len(w.fits)-1, o)
	*m = *w
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
	gain float64 // fall of the residual sum of squares; 0 where there is no column
}

// candidates returns the best column of each party: a drift from the beginning, or
// a step at the start of a week.
func (m *model) candidates(from float64, side int) []candidate {
	best := make([]candidate, len(m.l.parties))
	t := newTally(m.l, len(m.fits))
	for p := range m.l.parties {
		if !m.l.parties[p].anchored {
			best[p] = m.bestOf(int32(p), from, side, t)
		}
	}
	return best
}

func (m *model) bestOf(p int32, from float64, side int, t *tally) candidate {
	var best candidate
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
		return best
	}
	if gain, _, ok := t.gain(m); ok {
		best = candidate{drift, gain}
	}
	t.clear()
	after := 0
	for j := len(rows) - 1; j > 0; j-- {
		i := rows[j]
		if !m.l.masked[i] {
			t.add(m, i, 1)
			after++
		}
		week := math.Floor(m.l.week[i] - from)
		if math.Floor(m.l.week[rows[j-1]]-from) == week {
			continue
		}
		if after < side || used-after < side {
			continue
		}
		if gain, _, ok := t.gain(m); ok && gain > best.gain {
			best = candidate{column{p, Step, from + week}, gain}
		}
	}
	return best
}

// choose returns the column of the largest gain, with its margin over the best
// rival instrument.
func (m *model) choose(best []candidate) (fitted, bool) {
	first, second := -1, -1
	for p := range best {
		switch {
		case best[p].gain <= 0:
		case first < 0 || best[p].gain > best[first].gain:
			first, second = p, first
		case second < 0 || best[p].gain > best[second].gain:
			second = p
		}
	}
	if first < 0 {
		return fitted{}, false
	}
	gain := best[first].gain
	variance := (m.rss - gain) / (m.df() - 1)
	f := fitted{column: best[first].column, t: m.studentized(gain), rival: int32(second), margin: gain / variance}
	if second >= 0 {
		f.margin = (gain - best[second].gain) / variance
	}
	return f, true
}

// studentized returns the size in standard errors of a column that lets the
// residual sum of squares fall by gain.
func (m *model) studentized(gain float64) float64 {
	left := max(m.rss-gain, 0) / (m.df() - 1)
	return math.Sqrt(gain / left)
}

// maskSpikes masks single readings that are too far off to be noise, and that no
// drift or step of either instrument accounts for better. It reports whether it
// masked any; the model is then without faults, since those that were found with
// the spikes in may be of their making. A reading that decides the level of an
// instrument nearly alone is left: nothing can be said of it.
func (m *model) maskSpikes(best []candidate) bool {
	if m.df() <= 2 {
		return false
	}
	least := twoSided(spikeAlarms/float64(m.normal.rows), m.df()-1)
	scale := math.Sqrt(m.variance())
	t := newTally(m.l, len(m.fits))
	var spikes []int
	for i, r := range m.residual {
		if m.l.masked[i] || math.Abs(r) < least*scale/2 {
			continue
		}
		t.clear()
		t.add(m, int32(i), 1)
		gain, _, ok := t.gain(m)
		byFault := max(best[m.l.aParty[m.l.a[i]]].gain, best[m.l.bParty[m.l.b[i]]].gain)
		if ok && gain > byFault && m.studentized(gain) > least {
			spikes = append(spikes, i)
		}
	}
	for _, i := range spikes {
		m.l.masked[i] = true
	}
	if len(spikes) > 0 {
		*m = *newModel(m.l)
	}
	return len(spikes) > 0
}
