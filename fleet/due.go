package fleet

import (
	"cmp"
	"math"
	"slices"

	"nilvolt/record"
)

// A ReviewMethod says how the interval from one service to the next is set.
type ReviewMethod uint8

// The methods. The zero one takes the interval of the register as it is; the others
// are the first two of ILAC-G24:2022/OIML D 10.
const (
	RegisterInterval   ReviewMethod = iota
	StaircaseReview                 // by the error at the moment against the tolerance, see Review.Staircase
	ControlChartReview              // by drift and noise, see Review.ControlChart
)

// A DueReason says why an instrument is due for service.
type DueReason uint8

// The reasons. The zero DueReason is none.
const (
	NotDue       DueReason = iota
	DueInterval            // the interval of the register ends
	DueStaircase           // the interval ends that the staircase method gives
	DueChart               // the interval ends that the control chart method gives
	DueCrossing            // its error may leave the tolerance
	DueFailing             // it fails its proofs too often
	DueStep                // it has stepped, and nobody knows why
)

var dueWords = [...]string{"", "interval", "staircase", "control-chart", "crossing", "failing", "stepped"}

// String returns the reason in a word, as in "crossing"; "" for NotDue.
func (r DueReason) String() string { return dueWords[r] }

// A Due is a date of service with its reason. The zero Due is none.
type Due struct {
	Date   record.Date // the last day on which it may be used before
	Reason DueReason
}

// compare orders dates of service, the earliest first and none last.
func (d Due) compare(e Due) int {
	switch {
	case d.Date == e.Date:
		return cmp.Compare(d.Reason, e.Reason)
	case !e.Date.IsSet() || d.Date.IsSet() && e.Date.After(d.Date):
		return -1
	}
	return 1
}

// Due returns the earliest date of service; the zero Due where nothing says when.
func (a *Assessment) Due() Due {
	if len(a.Dues) == 0 {
		return Due{}
	}
	return a.Dues[0]
}

// Overdue reports whether the date of service has passed at a date.
func (a *Assessment) Overdue(at record.Date) bool {
	due := a.Due()
	return due.Date.IsSet() && at.After(due.Date)
}

// foresee makes the forecasts. The wander is learnt from all instruments first. A drift
// counts as told from none only where chance would seldom feign one in any of them: a few
// days of readings leave a slope so wide that it may lead anywhere, and some of many
// instruments then seem to be on their way out.
func (f *Fleet) foresee() {
	runs, states := make([]Run, len(f.Instruments)), make([][]wanderState, len(f.Instruments))
	f.each(func(i int) {
		runs[i] = f.run(&f.Instruments[i])
		states[i] = wanderStates(runs[i])
	})
	wander := learnWander(states)
	wrong := f.Settings.FalseAlarms / 2 / max(1, float64(len(f.Instruments)))
	f.each(func(i int) {
		a := &f.Instruments[i]
		forecast, ok := foresee(states[i], runs[i], wander, a.Tolerance, f.Settings.Confidence, wrong)
		if !ok {
			return
		}
		a.Forecast = &forecast
		a.NotBefore, a.Likely, a.NotAfter = f.At(forecast.NotBefore), f.At(forecast.Likely), f.At(forecast.NotAfter)
	})
}

// each calls do for each instrument.
func (f *Fleet) each(do func(i int)) {
	shareOut(len(f.Instruments), func() func(int) { return do })
}

// run returns the own part of an instrument's error since the beginning of its newest
// clear fault, spikes left out, brought to the voltage at which its error is largest.
func (f *Fleet) run(a *Assessment) Run {
	var r Run
	if a.party < 0 {
		return r
	}
	m, from := f.findings.model, 0.0
	for _, fault := range a.Faults {
		if fault.Clear {
			from = max(from, fault.Start)
		}
	}
	level := f.levelsOf(a)
	f.findings.own(a.party, func(i int32, percent float64) {
		if m.l.masked[i] || m.l.week[i] < from {
			return
		}
		r.Weeks = append(r.Weeks, m.l.week[i])
		r.Percent = append(r.Percent, percent-level[m.l.bExpected[m.l.b[i]]]+level[a.Expected])
	})
	return r
}

// levelsOf returns the level of an instrument at each voltage, as it was at its first
// proof of the window.
func (f *Fleet) levelsOf(a *Assessment) map[float64]float64 {
	levels := map[float64]float64{}
	if a.party < 0 {
		return levels
	}
	m := f.findings.model
	begun := m.faultsOf(a.party, m.l.week[m.l.parties[a.party].rows[0]])
	nodes, volts, values, sign := m.l.aParty, m.l.aExpected, m.xa, -1.0
	if a.tracked.unit {
		nodes, volts, values, sign = m.l.bParty, m.l.bExpected, m.xb, 1
	}
	first, _ := slices.BinarySearch(nodes, a.party)
	for n := first; n < len(nodes) && nodes[n] == a.party; n++ {
		if part := m.partOf(int32(n), a.tracked.unit); part >= 0 {
			levels[volts[n]] = values[n] + sign*f.findings.shift[part] + begun
		}
	}
	return levels
}

// dues fills in the dates of service.
func (f *Fleet) dues(a *Assessment) {
	add := func(date record.Date, reason DueReason) {
		if date.IsSet() {
			a.Dues = append(a.Dues, Due{date, reason})
		}
	}
	add(f.intervalEnds(a))
	today := f.AsOf.Date()
	if a.Rate.TooOften {
		add(today, DueFailing)
	}
	if a.Confirmed() && a.Faults[0].Kind == Step {
		add(today, DueStep)
	}
	switch {
	case a.driftedOnce(): // nothing tells how far it has gone since
		add(today, DueCrossing)
	case a.Forecast == nil:
	case a.Confirmed(): // the earliest that it may be out
		add(laterOf(a.NotBefore.Date(), today), DueCrossing)
	case a.Likely.IsSet(): // nothing is known of a fault: when it is as likely as not
		add(laterOf(a.Likely.Date(), today), DueCrossing)
	}
	slices.SortStableFunc(a.Dues, Due.compare)
}

func laterOf(d, e record.Date) record.Date {
	if d.IsSet() && e.After(d) {
		return e
	}
	return d
}

// intervalEnds returns the end of the interval since the last service, reviewed as the
// settings say. Proofs before use are checks in service, not calibrations (ILAC-G24,
// method 4), and levels are relative where no verified reference anchors them; so a
// review lengthens an interval only where a reference does.
func (f *Fleet) intervalEnds(a *Assessment) (record.Date, DueReason) {
	i := a.Registered
	if i == nil || !i.Due().IsSet() {
		return record.Date{}, NotDue
	}
	days, reason := 0, NotDue
	switch s := f.Settings; {
	case s.Method == StaircaseReview && a.Measured:
		days, reason = s.Review.Staircase(i.IntervalDays, a.Error, a.Tolerance), DueStaircase
	case s.Method == ControlChartReview && a.Forecast != nil:
		c := a.Forecast
		days, reason = s.Review.ControlChart(c.Drift, c.DriftError, c.Noise, a.Tolerance, s.Confidence), DueChart
	}
	if reason == NotDue || days > i.IntervalDays && !f.anchored(a) {
		return i.Due(), DueInterval
	}
	return i.Serviced.AddDays(days), reason
}

func (f *Fleet) anchored(a *Assessment) bool { return a.Part >= 0 && f.Parts[a.Part].Anchored }

// withdrawn reports whether the register says that the instrument is out of use at a date.
func (a *Assessment) withdrawn(at record.Date) bool {
	return a.Registered != nil && a.Registered.Withdrawn.IsSet() && !a.Registered.Withdrawn.After(at)
}

// conclude fills in dates, signs, what is unknown, and the state.
func (f *Fleet) conclude(a *Assessment) {
	a.Rivals = sortedSet(a.Rivals)
	if f.stranger(a) { // nobody is to be blamed of whom one does not know that he exists
		a.Rate.TooOften = false
		for i := range a.Faults {
			a.Faults[i].Confirmed = false
		}
	}
	f.dues(a)
	f.signs(a)
	f.unknowns(a)
	today := f.AsOf.Date()
	switch {
	case a.withdrawn(today):
		a.State = StateWithdrawn
	case f.stranger(a):
		a.State = StateCannotTell
	case a.Rate.TooOften:
		a.State = StateFailing
	case a.Confirmed() && a.Faults[0].Kind == Step:
		a.State = StateStepped
	case a.Confirmed():
		a.State = StateDrifting
	case a.Overdue(today):
		a.State = StateOverdue
	case len(a.Rivals) > 0 || slices.Contains(a.Unknown, UnknownNoProofs) || a.tooFew():
		a.State = StateCannotTell
	case len(a.Signs) > 0:
		a.State = StateWatch
	default:
		a.State = StateSteady
	}
}

// stranger reports whether an instrument is not in a register that has others. Its id may
// be a slip, and its proofs those of several instruments.
func (f *Fleet) stranger(a *Assessment) bool {
	return len(f.window.register) > 0 && a.Registered == nil
}

// tooFew reports whether there are too few proofs to say that nothing has changed.
func (a *Assessment) tooFew() bool {
	return a.tracked.numeric < 2*minSide && a.Steps < 2*minSide
}

func (f *Fleet) signs(a *Assessment) {
	add := func(is bool, s Sign) {
		if is {
			a.Signs = append(a.Signs, s)
		}
	}
	add(slices.ContainsFunc(a.Faults, func(x DatedFault) bool { return x.Clear && !x.Confirmed }), SignUnconfirmed)
	add(f.chartSignals(a), SignChart)
	add(a.Rate.Signal, SignFailing)
	add(a.Measured && math.Abs(a.Error) > f.Settings.Review.Within*a.Tolerance, SignNearLimit)
	add(a.Forecast != nil && a.Forecast.Likely <= f.window.until+quarter, SignSoonOut)
	add(a.Steps > 0 && a.StepLow >= a.StepHigh, SignSteps)
}

func (f *Fleet) unknowns(a *Assessment) {
	add := func(is bool, u Unknown) {
		if is {
			a.Unknown = append(a.Unknown, u)
		}
	}
	none := a.Count.Proofs == 0
	stepsOnly := a.Steps > 0 && a.tracked.numeric == 0
	add(none, UnknownNoProofs)
	add(!none && a.Last.Before(f.Since), UnknownNow)
	add(!none && !stepsOnly && a.tracked.numeric < 2*minSide, UnknownFewProofs)
	add(stepsOnly, UnknownStepsOnly)
	if a.Part >= 0 {
		add(!f.Parts[a.Part].Anchored, UnknownCommon)
		add(f.Parts[a.Part].Alone, UnknownAlone)
		add(len(f.Parts) > 1, UnknownOtherParts)
	}
	add(a.Registered == nil, UnknownRegister)
	add(f.stranger(a), UnknownStranger)
	add(a.Forecast == nil || !a.NotBefore.IsSet(), UnknownCrossingDate)
}
