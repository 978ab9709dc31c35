package fleet

import (
	"math"
	"slices"

	"nilvolt/record"
)

// A Rate says how often an instrument fails. It counts occasions: proofs of the same
// two instruments within five minutes of each other are one, which failed if one of
// them did, since proofs that are tried again do not fail independently. Occasions since
// the instrument's last service count.
type Rate struct {
	Tried, Failed int
	Rate          float64 // Failed / Tried, 0 to 1; 0 without occasions
	// Low and High are Wilson's limits, ExactLow and ExactHigh those of Clopper and
	// Pearson, both of 95 %; 0 and 1 without occasions.
	Low, High, ExactLow, ExactHigh float64
	// Shrunk is the rate drawn towards the fleet, ShrunkLow and ShrunkHigh its limits of
	// 95 %; all are 0 where the fleet tells nothing.
	Shrunk, ShrunkLow, ShrunkHigh float64
	// TooOften says that it fails too often, and that no other instrument accounts for
	// that; Doubted that it or Rival does.
	TooOften, Doubted bool
	Rival             string         // blank where there is none
	Began             record.Instant // the first failure of those that are too many; not set where there are none
	T                 float64        // signed root of the likelihood ratio against the usual rate; about normal; 0 for none
	// Signal says that the Bernoulli CUSUM of its occasions is out at the last one; those
	// that another instrument accounts for are left out.
	Signal bool
}

// Constants of the judgement of rates.
const (
	// occasion is the longest time between proofs of one occasion: five minutes, in weeks.
	occasion = 5. / (7 * 24 * 60)
	// leastFailures is how many failures it takes to blame an instrument.
	leastFailures = 3
	// raised is how many times the usual rate its rate must be at least: what is rarer
	// than that may be chance or habit, and is no reason to send it away.
	raised = 2
	// leastUsual is the least rate that is taken for usual, lest one failure in a fleet
	// that never fails blame an instrument.
	leastUsual = 0.005
)

// tries are the occasions of a fleet and what is made of them.
type tries struct {
	occasions []trial
	of        [][]int32 // occasions of each tracked instrument, in order of time
	aside     []int32   // of each occasion: who accounts for it by failing too often; -1 for none
	failed    int       // of those that are not aside
	tried     int
}

func newTries(e *window) *tries {
	t := &tries{of: make([][]int32, len(e.tracked))}
	last := make(map[[2]int32]int32)
	for _, one := range e.trials {
		if i, seen := last[one.of]; seen && one.week-t.occasions[i].week <= occasion {
			t.occasions[i].failed = t.occasions[i].failed || one.failed
			t.occasions[i].week = one.week
			continue
		}
		last[one.of] = int32(len(t.occasions))
		t.occasions = append(t.occasions, one)
	}
	for i := range t.occasions {
		for _, n := range t.occasions[i].of {
			if n >= 0 {
				t.of[n] = append(t.of[n], int32(i))
			}
		}
		t.tried++
		if t.occasions[i].failed {
			t.failed++
		}
	}
	t.aside = slices.Repeat([]int32{-1}, len(t.occasions))
	return t
}

// usual returns the rate of failing of those that do not fail too often.
func (t *tries) usual() float64 {
	return max(leastUsual, float64(t.failed)/max(1, float64(t.tried)))
}

// An excess is what speaks for an instrument failing too often from some time on.
type excess struct {
	gain          float64 // twice the logarithm of the likelihood ratio; 0 for none
	from          int32   // the first failure, an occasion
	failed, tried int
}

// excess returns the most that speaks against instrument n up to the last failure of any
// week, occasions that are aside or those with instrument without left out: who once failed
// too often is not cleared by the good proofs that follow.
func (t *tries) excess(n, without int32) excess {
	type failure struct{ occasion, tried int32 } // tried up to it
	var failures []failure
	tried := int32(0)
	for _, i := range t.of[n] {
		o := &t.occasions[i]
		if t.aside[i] >= 0 || without >= 0 && (o.of[0] == without || o.of[1] == without) {
			continue
		}
		tried++
		if o.failed {
			failures = append(failures, failure{i, tried})
		}
	}
	week := func(k int) float64 { return math.Floor(t.occasions[failures[k].occasion].week) }
	var best excess
	usual := t.usual()
	for last := range failures {
		if last+1 < len(failures) && week(last+1) == week(last) {
			continue
		}
		for first := last; first >= 0; first-- {
			s := excess{from: failures[first].occasion, failed: last - first + 1, tried: int(failures[last].tried - failures[first].tried + 1)}
			if s.gain = likelihoodGain(s.failed, s.tried, usual); s.gain > best.gain {
				best = s
			}
		}
	}
	return best
}

// likelihoodGain returns twice the logarithm of the likelihood of the seen rate over
// that of the usual one; 0 where it is not above it.
func likelihoodGain(failed, tried int, usual float64) float64 {
	rate := float64(failed) / float64(tried)
	if rate <= usual {
		return 0
	}
	gain := float64(failed) * math.Log(rate/usual)
	if failed < tried {
		gain += float64(tried-failed) * math.Log((1-rate)/(1-usual))
	}
	return 2 * gain
}

// worst returns the instrument whose excess is largest, if it is large enough, frequent
// enough and of enough failures to be believed.
func (t *tries) worst(seen []excess, least float64) (n int32, ok bool) {
	for i, s := range seen {
		often := float64(s.failed) >= raised*t.usual()*float64(s.tried)
		if s.gain >= least && s.failed >= leastFailures && often && (!ok || s.gain > seen[n].gain) {
			n, ok = int32(i), true
		}
	}
	return n, ok
}

// suspects returns who is to blame for the excess of instrument n: itself, where the
// excess stands without any one of those that it failed with, or is larger than theirs by
// a likelihood ratio of e^3; another one, where only that one's stands alone; else both,
// the second as rival. rival is -1 where there is none.
func (t *tries) suspects(n int32, s excess) (blamed, rival int32) {
	for _, q := range t.partners(n, s.from) {
		switch {
		case t.excess(n, q).gain >= enough:
		case t.excess(q, n).gain >= enough:
			return q, -1
		case s.gain-t.excess(q, -1).gain < enough:
			return n, q
		}
	}
	return n, -1
}

// partners returns those with whom instrument n failed from an occasion on.
func (t *tries) partners(n, from int32) []int32 {
	var partners []int32
	for _, i := range t.of[n] {
		o := &t.occasions[i]
		for _, q := range o.of {
			if i >= from && o.failed && q >= 0 && q != n {
				partners = append(partners, q)
			}
		}
	}
	slices.Sort(partners)
	return slices.Compact(partners)
}

// setAside sets the occasions of an instrument from one on aside, and returns the
// instruments that they are of.
func (t *tries) setAside(n, from int32) []int32 {
	touched := []int32{n}
	for _, i := range t.of[n] {
		if i < from || t.aside[i] >= 0 {
			continue
		}
		o := &t.occasions[i]
		t.aside[i] = n
		t.tried--
		if o.failed {
			t.failed--
		}
		for _, q := range o.of {
			if q >= 0 {
				touched = append(touched, q)
			}
		}
	}
	slices.Sort(touched)
	return slices.Compact(touched)
}

// rate judges how often each instrument fails. It looks for the one that fails most
// beyond the usual rate, sets what that accounts for aside, and goes on until no
// excess is larger than chance would give in any instrument. An instrument is blamed
// only where its excess stands without any one of those that it failed with.
func (f *Fleet) rate() {
	t := newTries(f.window)
	f.window.trials = nil // they are many
	of := make([]*Assessment, len(f.window.tracked))
	for i := range f.Instruments {
		of[f.Instruments[i].tracked.number] = &f.Instruments[i]
	}
	z := twoSided(f.Settings.FalseAlarms/float64(testsAWeek*quarter*max(1, len(of))), math.Inf(1))
	seen := make([]excess, len(of))
	for whole := true; whole; {
		for n := range of {
			seen[n] = t.excess(int32(n), -1)
		}
		whole = false
		for n, ok := t.worst(seen, z*z); ok; n, ok = t.worst(seen, z*z) {
			blamed, rival := t.suspects(n, seen[n])
			s := t.excess(blamed, -1)
			for _, partner := range t.setAside(blamed, s.from) {
				seen[partner] = t.excess(partner, -1)
			}
			f.tooOften(t, of, blamed, rival, s)
			whole = true // the usual rate is another now
		}
	}
	f.UsualRate = float64(t.failed) / max(1, float64(t.tried))
	f.fillRates(t, of)
}

// tooOften notes that an instrument, or it or its rival, fails too often.
func (f *Fleet) tooOften(t *tries, of []*Assessment, blamed, rival int32, s excess) {
	r := &of[blamed].Rate
	r.Began, r.T = f.At(t.occasions[s.from].week), math.Sqrt(s.gain)
	if rival < 0 {
		r.TooOften = true
		return
	}
	other := &of[rival].Rate
	r.Doubted, r.Rival = true, of[rival].Instrument
	other.Doubted, other.Rival = true, of[blamed].Instrument
	for _, a := range []*Assessment{of[blamed], of[rival]} {
		a.CrossProve = append(a.CrossProve, f.apart(of[blamed], of[rival])...)
		a.Rivals = append(a.Rivals, a.Rate.Rival)
	}
}

// apart returns a proof of each of two suspects with an instrument of the other side
// that is no suspect and is proved most.
func (f *Fleet) apart(suspects ...*Assessment) []CrossProve {
	var pairs []CrossProve
	for _, s := range suspects {
		var best *Assessment
		for i := range f.Instruments {
			a := &f.Instruments[i]
			if a.tracked.unit != s.tracked.unit && !slices.Contains(suspects, a) && !a.withdrawn(f.AsOf.Date()) &&
				(best == nil || a.Count.Proofs > best.Count.Proofs) {
				best = a
			}
		}
		if best == nil {
			continue
		}
		c := CrossProve{Indicator: s.Instrument, Unit: best.Instrument, Proofs: maxProofs}
		if s.tracked.unit {
			c.Indicator, c.Unit = c.Unit, c.Indicator
		}
		pairs = append(pairs, c)
	}
	return pairs
}

// fillRates fills in the rates with their limits, and what the Bernoulli CUSUM says.
func (f *Fleet) fillRates(t *tries, of []*Assessment) {
	const confidence = 0.95
	failed, tried := make([]int, len(of)), make([]int, len(of))
	for n := range of {
		tried[n] = len(t.of[n])
		for _, i := range t.of[n] {
			if t.occasions[i].failed {
				failed[n]++
			}
		}
	}
	rates, known := FitRates(failed, tried)
	if known {
		f.Rates = rates
	}
	chart, charted := f.FailingChart()
	for n, a := range of {
		r := &a.Rate
		r.Tried, r.Failed = tried[n], failed[n]
		r.Rate = float64(failed[n]) / max(1, float64(tried[n]))
		r.Low, r.High = Wilson(failed[n], tried[n], confidence)
		r.ExactLow, r.ExactHigh = ClopperPearson(failed[n], tried[n], confidence)
		if known {
			r.Shrunk, r.ShrunkLow, r.ShrunkHigh = rates.Of(failed[n], tried[n], confidence)
		}
		if !charted {
			continue
		}
		sum := 0
		for _, i := range t.of[n] {
			if by := t.aside[i]; by >= 0 && by != int32(n) {
				continue
			}
			sum, r.Signal = chart.Step(sum, t.occasions[i].failed)
		}
	}
}

// FailingChart returns the Bernoulli CUSUM for a rise of an instrument's rate to four
// times the usual one, that signals falsely for one of the instruments in ten quarters
// on average. ok is false where no such chart can be made.
func (f *Fleet) FailingChart() (c BernoulliCUSUM, ok bool) {
	const rise, quarters = 4, 10
	usual := max(leastUsual, f.UsualRate)
	weeks := max(1, f.window.until)
	return NewBernoulliCUSUM(usual, rise*usual, 2*quarters*quarter*float64(f.window.tried)/weeks)
}
