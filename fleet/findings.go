package fleet

import (
	"math"
	"slices"
)

// A Fault is a drift or a step of one instrument that the proofs show.
type Fault struct {
	Instrument string
	Unit       bool // the instrument took part as proving unit
	Kind       FaultKind
	// Start is the week from which it shows, Earliest and Latest the ends of its
	// 95 % interval by profile likelihood. A drift that starts with the points has
	// Earliest and Start at their beginning: it may be older.
	Start, Earliest, Latest float64
	Size                    float64 // percent for a step, percent a week for a drift
	Error                   float64 // standard error of Size
	T                       float64 // |size| in standard errors when it was found
	Margin                  float64 // gain over the best rival instrument, in residual variances
	Rival                   string  // that instrument; blank where there is none
	RivalUnit               bool
	Clear                   bool // the margin is enough to name the instrument
	Confirmed               bool // clear in two successive weekly searches; set by Watch only
}

// A Spike is a single gross reading that was left out.
type Spike struct {
	Point
	Residual float64 // percent from what the rest says
}

// A Part is a set of instruments that proofs link with each other. Instruments of
// different parts cannot be compared.
type Part struct {
	Indicators, Units []string
	Proofs            int
	// Anchored says that a verified reference unit is among them, so that levels
	// are errors. Without one only differences are known: that all units drift
	// together cannot be told from all indicators drifting the other way.
	Anchored bool
	// Alone says that the part has a single indicator or a single unit. Who is at
	// fault of the one and all of the others together cannot be told.
	Alone bool
}

// A Level is the error of one instrument at one expected voltage, apart from its
// faults. In a part without reference the median of the levels (units with the
// sign turned) is 0: most instruments are taken to be right, which a few faulty
// ones cannot shift.
type Level struct {
	Instrument string
	Unit       bool
	Expected   float64
	Percent    float64
	Proofs     int
}

// Findings are what a search found.
type Findings struct {
	Faults []Fault
	Spikes []Spike
	Parts  []Part
	Levels []Level
	Noise  float64 // standard deviation of a proof in percent; NaN where there are too few
	DF     int     // its degrees of freedom
	Rank   int     // number of levels and faults that were estimated

	model *model
	shift []float64 // of each part, that the restraint asks for
}

// Search looks for faults in points, which must be in order of time.
//
// It starts from the level of each instrument and takes in the one drift or step of
// one instrument that explains most, again and again while it is larger than
// chance would give in any instrument; single gross readings are left out on the
// way. An instrument is named only where its fault explains more, by a likelihood
// ratio of e^3, than any fault of any other instrument. Verified reference units
// are never at fault.
func Search(points []Point, o SearchOptions) *Findings { return search(points, o).findings(o) }

// Watch searches at o.Until and a week before; a fault is Confirmed when its
// instrument was named in both. Only confirmed faults should blame an instrument.
func Watch(points []Point, o SearchOptions) *Findings {
	before := o
	before.Until--
	named := map[role]bool{}
	m := search(points, before)
	for _, then := range m.fits {
		p := &m.l.parties[then.party]
		named[role{p.id, p.unit}] = named[role{p.id, p.unit}] || then.margin >= enough
	}
	f := Search(points, o)
	for i := range f.Faults {
		now := &f.Faults[i]
		now.Confirmed = now.Clear && named[role{now.Instrument, now.Unit}]
	}
	return f
}

func (m *model) findings(o SearchOptions) *Findings {
	f := &Findings{
		Noise: math.Sqrt(m.variance()), DF: int(m.df()), Rank: m.normal.rank + len(m.fits), model: m,
	}
	for k := range m.fits {
		f.Faults = append(f.Faults, m.fault(k, o))
	}
	for i, masked := range m.l.masked {
		if masked {
			f.Spikes = append(f.Spikes, Spike{m.l.point(int32(i)), m.residual[i]})
		}
	}
	f.Parts = m.partition()
	f.shift = m.medianShift(m.xa, m.xb)
	f.Levels = m.levels(f.shift)
	return f
}

func (m *model) fault(k int, o SearchOptions) Fault {
	f, p := &m.fits[k], &m.l.parties[m.fits[k].party]
	fault := Fault{
		Instrument: p.id, Unit: p.unit, Kind: f.kind, Size: f.size, Error: m.sizeError(k), T: f.t, Margin: f.margin,
		Clear: f.margin >= enough,
	}
	if f.rival >= 0 {
		fault.Rival, fault.RivalUnit = m.l.parties[f.rival].id, m.l.parties[f.rival].unit
	}
	fault.Start, fault.Earliest, fault.Latest = m.profile(k, o)
	return fault
}

// likely is the fall of -2 log likelihood that bounds a 95 % interval: the 95 %
// point of chi squared with one degree of freedom.
const likely = 3.841458820694124

// profile returns from when on fitted column k shows, with the weeks that are about
// as likely. The other faults are held. A drift is moved from the beginning only
// where the margin is enough.
func (m *model) profile(k int, o SearchOptions) (start, earliest, latest float64) {
	f := m.fits[k]
	gains := map[float64]float64{}
	best := f.start
	near := likely * m.variance()
	m.holdOthers(k, func(view *model) {
		t := newTally(m.l, 0)
		gains[best] = view.columnGain(f.column, t)
		for week := o.From; week < o.Until; week++ {
			gains[week] = view.columnGainFrom(column{f.party, f.kind, week}, t, gains[f.start]-near)
			if gains[week] > gains[best] {
				best = week
			}
		}
	})
	if f.kind == Drift && gains[best]-gains[f.start] < enough*m.variance() {
		best = f.start
	}
	earliest, latest = best, best
	for week, gain := range gains {
		if gains[best]-gain <= near {
			earliest, latest = min(earliest, week), max(latest, week)
		}
	}
	if f.kind == Step { // the step is somewhere in its week
		latest++
	}
	return best, earliest, min(latest, o.Until)
}

// holdOthers calls do with a view of the model without faults, in which the other
// faults than column k have been taken away from the readings: a view of the rows of
// its party only.
func (m *model) holdOthers(k int, do func(view *model)) {
	f := &m.fits[k]
	rows := m.l.parties[f.party].rows
	before := make([]float64, len(rows))
	for j, i := range rows {
		before[j] = m.residual[i]
		m.residual[i] += f.size * m.rest(k, i)
	}
	do(&model{l: m.l, normal: m.normal, fitsOf: make([][]int, len(m.l.parties)), residual: m.residual})
	for j, i := range rows {
		m.residual[i] = before[j]
	}
}

// columnGain returns by how much the residual sum of squares falls with column c.
func (m *model) columnGain(c column, t *tally) float64 { return m.columnGainFrom(c, t, 0) }

// columnGainFrom is columnGain where that is least or more, and otherwise may be any
// number less than least. It spares the solution of a large part where a bound tells.
func (m *model) columnGainFrom(c column, t *tally, least float64) float64 {
	t.clear()
	for _, i := range m.l.parties[c.party].rows {
		if !m.l.masked[i] {
			t.add(m, i, c.at(m.l.week[i]))
		}
	}
	if m.normal.large && least > 0 {
		t.meet(m, c.party)
		if most := t.bound(m, c.party); most < least {
			return most
		}
	}
	gain, _ := t.gain(m, nil)
	return gain
}

func (l *layout) point(i int32) Point {
	return Point{
		Indicator: l.parties[l.aParty[l.a[i]]].id, Unit: l.parties[l.bParty[l.b[i]]].id,
		Expected: l.bExpected[l.b[i]], Week: l.week[i], Percent: l.y[i],
	}
}

// partition returns the parts, each with its instruments.
func (m *model) partition() []Part {
	parts := make([]Part, len(m.normal.inverse))
	add := func(list *[]string, id string) {
		if n := len(*list); n == 0 || (*list)[n-1] != id {
			*list = append(*list, id)
		}
	}
	for a, links := range m.normal.links {
		if len(links) > 0 {
			p := &parts[m.normal.part[links[0].b]]
			add(&p.Indicators, m.l.parties[m.l.aParty[a]].id)
			p.Proofs += int(m.normal.na[a])
		}
	}
	for b, number := range m.normal.part {
		if number >= 0 {
			u := &m.l.parties[m.l.bParty[b]]
			add(&parts[number].Units, u.id)
			parts[number].Anchored = parts[number].Anchored || u.anchored
		}
	}
	for i := range parts {
		p := &parts[i]
		p.Alone = len(p.Indicators) == 1 || len(p.Units) == 1
	}
	return parts
}

// levels returns the levels under the median restraint.
func (m *model) levels(shift []float64) []Level {
	var levels []Level
	proofs := make([]int, len(m.xb))
	for a, links := range m.normal.links {
		if len(links) == 0 {
			continue
		}
		for _, k := range links {
			proofs[k.b] += int(k.n)
		}
		levels = append(levels, Level{
			Instrument: m.l.parties[m.l.aParty[a]].id, Expected: m.l.aExpected[a],
			Percent: m.xa[a] - shift[m.normal.part[links[0].b]], Proofs: int(m.normal.na[a]),
		})
	}
	for b, p := range m.normal.part {
		if p >= 0 {
			levels = append(levels, Level{
				Instrument: m.l.parties[m.l.bParty[b]].id, Unit: true, Expected: m.l.bExpected[b],
				Percent: m.xb[b] + shift[p], Proofs: proofs[b],
			})
		}
	}
	return levels
}

// medianShift returns, for each part, what to take from its indicators' values and
// add to its units' so that the median of all (units with the sign turned) is 0: of
// all shifts it makes the sum of absolute values least. Anchored parts have none.
func (m *model) medianShift(xa, xb []float64) []float64 {
	values := make([][]float64, len(m.normal.inverse))
	anchored := make([]bool, len(values))
	for a, links := range m.normal.links {
		if len(links) > 0 {
			p := m.normal.part[links[0].b]
			values[p] = append(values[p], xa[a])
		}
	}
	for b, p := range m.normal.part {
		if p >= 0 {
			values[p] = append(values[p], -xb[b])
			anchored[p] = anchored[p] || m.l.parties[m.l.bParty[b]].anchored
		}
	}
	shift := make([]float64, len(values))
	for p := range shift {
		if !anchored[p] {
			shift[p] = Median(values[p])
		}
	}
	return shift
}

// Own returns an instrument's own part of the error of each proof: what is left
// when the level and the faults of the other instrument are taken away. Spikes are
// among them. unit says whether the instrument is meant as proving unit.
func (f *Findings) Own(instrument string, unit bool) []Point {
	m := f.model
	p := slices.IndexFunc(m.l.parties, func(q party) bool { return q.id == instrument && q.unit == unit })
	if p < 0 {
		return nil
	}
	var points []Point
	f.own(int32(p), func(i int32, percent float64) {
		pt := m.l.point(i)
		pt.Percent = percent
		points = append(points, pt)
	})
	return points
}

// own calls do with each row of party p and its own part of the error there. Rows on
// which the other instrument has no level are left out: nothing can be taken away.
func (f *Findings) own(p int32, do func(i int32, percent float64)) {
	m := f.model
	for _, i := range m.l.parties[p].rows {
		a, b := m.l.a[i], m.l.b[i]
		part := m.normal.part[b]
		if part < 0 || m.normal.na[a] == 0 {
			continue
		}
		percent := m.l.y[i] - m.faultsOf(m.l.other(p, i), m.l.week[i])
		if m.l.parties[p].unit {
			percent -= m.xa[a] - f.shift[part]
		} else {
			percent -= m.xb[b] + f.shift[part]
		}
		do(i, percent)
	}
}
