package fleet

import (
	"cmp"
	"math"
	"slices"
)

// A CrossProve is a proof that would tell two suspects apart: one of them together
// with an instrument that is not suspected.
type CrossProve struct {
	Indicator, Unit string
	Proofs          int // how many proofs should be enough
	// Weeks is 0 where proofs of today are enough. Where the two suspects were only
	// ever proved on each other, nothing of today tells who has changed; then the
	// proofs are to be made today and again after so many weeks.
	Weeks int
}

// maxProofs is the largest number of proofs of one pair that is worth advising, and
// maxWeeks the longest wait.
const (
	maxProofs = 10
	maxWeeks  = 13
)

// Advise returns the one or two cross-proves that would best settle whether fault
// is the instrument's or its rival's, the best first; none where fault is clear,
// has no rival, or nothing helps. week is the time at which they would be made.
func (f *Findings) Advise(fault Fault, week float64) []CrossProve {
	m := f.model
	k := slices.IndexFunc(m.fits, func(c fitted) bool {
		p := &m.l.parties[c.party]
		return p.id == fault.Instrument && p.unit == fault.Unit && c.kind == fault.Kind
	})
	if k < 0 || fault.Clear || m.fits[k].rival < 0 {
		return nil
	}
	d := m.doubt(k)
	best := d.within(fault.Margin, week)
	if len(best) == 0 {
		best = d.apart(week)
	}
	return best
}

// A doubt is two ways to account for the same proofs.
type doubt struct {
	here, there *model // with the fault of the first suspect, and of its rival
	first       fitted
	second      fitted
}

// doubt returns fitted column k and its best rival as two models.
func (m *model) doubt(k int) *doubt {
	without := m.without(k)
	rival := m.fits[k].rival
	c := without.refine(rival, newTally(m.l, len(without.fits)))
	there := without.holding(append(slices.Clone(without.fits), fitted{column: c.column, rival: -1}))
	here := without.holding(append(slices.Clone(without.fits), m.fits[k]))
	return &doubt{here, there, here.fits[len(here.fits)-1], there.fits[len(there.fits)-1]}
}

// predict returns what the model expects of a proof of nodes a and b at a week.
func (m *model) predict(a, b int32, week float64) float64 {
	e := m.xa[a] + m.xb[b]
	for _, p := range [...]int32{m.l.aParty[a], m.l.bParty[b]} {
		for _, k := range m.fitsOf[p] {
			e += m.fits[k].size * m.fits[k].at(week)
		}
	}
	return e
}

// unsure returns the variance of the sum of the levels of nodes a and b, in residual
// variances.
func (m *model) unsure(a, b int32) float64 {
	t := newTally(m.l, 0)
	t.aTouched, t.bTouched = []int32{a}, []int32{b}
	t.za[a], t.zb[b] = 1, 1
	return t.byLevels(m.normal)
}

// suspects reports whether exactly one of the two suspects takes part in a proof of
// nodes a and b.
func (d *doubt) suspects(a, b int32) bool {
	l := d.here.l
	is := func(p int32) bool { return p == d.first.party || p == d.second.party }
	return is(l.aParty[a]) != is(l.bParty[b]) && !l.parties[l.aParty[a]].past() && !l.parties[l.bParty[b]].past()
}

// within returns the best cross-proves of one suspect with an instrument of the
// same part.
func (d *doubt) within(margin, week float64) []CrossProve {
	var options []CrossProve
	m := d.here
	variance := max(m.variance(), d.there.variance())
	for a, links := range m.normal.links {
		for b := range m.l.bParty {
			a, b := int32(a), int32(b)
			if len(links) == 0 || m.normal.part[b] != m.normal.part[links[0].b] || !d.suspects(a, b) ||
				m.l.aExpected[a] != m.l.bExpected[b] {
				continue
			}
			// n proofs differ from what the rival's fault says by difference, with the
			// variance of their mean and of the levels that they are held against.
			difference := m.predict(a, b, week) - d.there.predict(a, b, week)
			each := difference*difference/(variance*wanted(enough-margin)) - m.unsure(a, b)
			if proofs := math.Ceil(1 / each); each > 0 && proofs <= maxProofs {
				options = append(options, d.cross(a, b, int(proofs), 0))
			}
		}
	}
	slices.SortStableFunc(options, func(x, y CrossProve) int { return cmp.Compare(x.Proofs, y.Proofs) })
	return options[:min(2, len(options))]
}

// wanted returns the mean gain of the margin that brings at least need with a chance
// of 90 %: the gain of twice the log likelihood ratio is normal about its mean x
// with variance 4 x.
func wanted(need float64) float64 {
	const z = 1.2815515655446004 // the 90 % point of the normal distribution
	root := z + math.Sqrt(z*z+max(0, need))
	return root * root
}

func (d *doubt) cross(a, b int32, proofs, weeks int) CrossProve {
	l := d.here.l
	return CrossProve{l.parties[l.aParty[a]].id, l.parties[l.bParty[b]].id, proofs, weeks}
}

// apart returns cross-proves of the suspects with instruments of other parts, to be
// made now and again when a drift that goes on has had the time to show. A step
// does not go on, so nothing shows it then.
func (d *doubt) apart(week float64) []CrossProve {
	if d.first.kind != Drift {
		return nil
	}
	l := d.here.l
	const proofs = 3
	sigma := math.Sqrt(d.here.variance() * 2 / proofs)
	weeks := math.Ceil(math.Sqrt(enough) * sigma / math.Abs(d.first.size))
	if weeks > maxWeeks {
		return nil
	}
	var best []CrossProve
	for _, suspect := range []int32{d.first.party, d.second.party} {
		if c, ok := d.partner(suspect, l); ok {
			c.Proofs, c.Weeks = proofs, int(max(1, weeks))
			best = append(best, c)
		}
	}
	return best
}

// partner returns a proof of the suspect with the instrument of the other side that
// has most proofs and is not a suspect.
func (d *doubt) partner(suspect int32, l *layout) (CrossProve, bool) {
	best := int32(-1)
	for q := range l.parties {
		p := int32(q)
		if p == d.first.party || p == d.second.party || l.parties[p].unit == l.parties[suspect].unit ||
			l.parties[p].past() || l.parties[suspect].past() {
			continue
		}
		if best < 0 || l.parties[p].anchored && !l.parties[best].anchored ||
			l.parties[p].anchored == l.parties[best].anchored && len(l.parties[p].rows) > len(l.parties[best].rows) {
			best = p
		}
	}
	if best < 0 {
		return CrossProve{}, false
	}
	indicator, unit := suspect, best
	if l.parties[suspect].unit {
		indicator, unit = best, suspect
	}
	return CrossProve{Indicator: l.parties[indicator].id, Unit: l.parties[unit].id}, true
}
