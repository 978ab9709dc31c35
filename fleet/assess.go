package fleet

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"nilvolt/record"
)

// A State says in one word how an instrument stands.
type State uint8

// The states. The zero State is that nothing can be told, so that what was not assessed
// never counts as steady.
const (
	StateCannotTell State = iota // too few proofs, or two instruments are under suspicion
	StateSteady                  // no sign of a change
	StateWatch                   // a first sign: see Assessment.Signs
	StateDrifting                // a confirmed drift
	StateStepped                 // a confirmed step
	StateFailing                 // it fails its proofs more often than the fleet does
	StateOverdue                 // the date of its service has passed
	StateWithdrawn               // taken out of use
)

var stateWords = [...]string{
	"cannot-tell", "steady", "watch", "drifting", "stepped", "failing", "overdue", "withdrawn",
}

// String returns the word, as in "cannot-tell".
func (s State) String() string { return stateWords[s] }

// worse ranks the states from the worst on.
var worse = [...]int{
	StateFailing: 0, StateStepped: 1, StateDrifting: 2, StateOverdue: 3, StateCannotTell: 4, StateWatch: 5,
	StateSteady: 6, StateWithdrawn: 7,
}

// Settings say what an assessment goes by. The zero value of each field takes what is
// written beside it.
type Settings struct {
	Tolerance   float64      // percent, for instruments whose register row has none; 10
	Window      int          // weeks that are looked back; 26
	FalseAlarms float64      // chance of a false alarm in the fleet in 13 weeks; 0.05
	Confidence  float64      // of all intervals; 0.9
	Method      ReviewMethod // how the interval from service to service is reviewed; RegisterInterval
	Review      Review       // its steps and bounds; DefaultReview()
}

func (s Settings) withDefaults() Settings {
	s.Tolerance = cmp.Or(s.Tolerance, 10)
	s.Window = cmp.Or(s.Window, 26)
	s.FalseAlarms = cmp.Or(s.FalseAlarms, 0.05)
	s.Confidence = cmp.Or(s.Confidence, 0.9)
	s.Review = cmp.Or(s.Review, DefaultReview())
	return s
}

// A Sign is a first sign of a change, which blames nobody.
type Sign uint8

// The signs. The zero Sign is none.
const (
	NoSign          Sign = iota
	SignUnconfirmed      // this search names the instrument, the one a week before did not
	SignChart            // the CUSUM chart of its own part of the error is out at its last reading
	SignFailing          // the Bernoulli CUSUM chart of its failures is out at its last proof
	SignNearLimit        // its error is beyond Review.Within of the tolerance
	SignSoonOut          // it is as likely as not out of tolerance within a quarter
)

// An Unknown is something that the proofs cannot tell of an instrument.
type Unknown uint8

// What cannot be known. The zero Unknown is nothing.
const (
	NothingUnknown      Unknown = iota
	UnknownNoProofs             // there is no proof of it at all
	UnknownFewProofs            // fewer than six numeric proofs in the window since its last service: no drift could be found
	UnknownStepsOnly            // it shows steps: its error is known to lie between two limits only
	UnknownCommon               // no verified reference is in its part: an error that all share is not seen
	UnknownAlone                // its part has a single indicator or a single unit: whose fault a change is cannot be told
	UnknownOtherParts           // it cannot be compared with instruments of other parts
	UnknownRegister             // it is not in the register: tolerance and date of service are not known
	UnknownStranger             // the register has others and not it: a slip of the pen, or several instruments under one id
	UnknownCrossingDate         // no date of leaving the tolerance can be named, not even a first one
)

// A DatedFault is a fault with its times.
type DatedFault struct {
	Fault
	// Began is when it shows first; BeganEarliest and BeganLatest enclose that with 95 %.
	Began, BeganEarliest, BeganLatest record.Instant
	Older                             bool         // it shows from the beginning of the window on, and may be older
	CrossProve                        []CrossProve // what would settle it where it is not Clear
}

// An Assessment is what is known of one instrument.
type Assessment struct {
	Instrument string
	Kind       record.InstrumentKind // by the register, else by how it took part; InstrumentUnknown where neither says
	Registered *record.Instrument    // its row of the register; nil where there is none
	State      State

	Count       Count          // of its proofs up to the moment, since ever
	First, Last record.Instant // its first and last proof; not set where there is none
	Rate        Rate           // how often it fails, within the window

	// Faults are those found of its own since its last service: the confirmed ones first,
	// then by their size in standard errors. Only a confirmed one blames it.
	Faults []DatedFault
	// Rivals are the instruments that are under suspicion together with it, CrossProve
	// the proofs that would tell them apart; both are empty where there is no such doubt.
	Rivals     []string
	CrossProve []CrossProve
	Signs      []Sign    // what makes it worth watching
	Unknown    []Unknown // what the proofs cannot tell of it

	Part      int     // index into Fleet.Parts; -1 where no numeric proof links it with others
	Measured  bool    // Error means something
	Error     float64 // its own error at the moment, percent, at the voltage where it is largest; relative to the fleet where its part has no reference
	Expected  float64 // that voltage
	Tolerance float64 // percent, by the register or the settings
	// Forecast says when the error leaves the tolerance, in weeks of Fleet.Week; nil where
	// there are too few readings. NotBefore, Likely and NotAfter are its times, not set
	// where it names none.
	Forecast                    *Forecast
	NotBefore, Likely, NotAfter record.Instant

	// Steps is the number of proofs of the window that showed a step; they leave
	// StepLow to StepHigh percent for the sum of its error and its unit's. Infinite
	// limits are none; StepLow above StepHigh says that the proofs contradict each other.
	Steps             int
	StepLow, StepHigh float64

	Dues []Due   // the dates of service that there are reasons for, the earliest first
	Use  float64 // days of use a day since the first proof of the window, 0 to 1

	tracked *tracked
	party   int32 // in the layout; -1 where it has no numeric proof
}

// Fault returns the fault to speak of first; nil where there is none.
func (a *Assessment) Fault() *DatedFault {
	if len(a.Faults) == 0 {
		return nil
	}
	return &a.Faults[0]
}

// Confirmed reports whether a confirmed fault blames the instrument.
func (a *Assessment) Confirmed() bool { return len(a.Faults) > 0 && a.Faults[0].Confirmed }

// OutOfTolerance reports whether the error at the moment is beyond the tolerance.
func (a *Assessment) OutOfTolerance() bool { return a.Measured && math.Abs(a.Error) > a.Tolerance }

// Failure returns what [LookBack] needs to know of how the instrument went bad, asOf being
// the moment of the assessment: of a confirmed fault, or of its failing too often, where
// the first of the failures that are too many is what was found. ok is false where
// neither is so.
func (a *Assessment) Failure(asOf record.Instant) (f Failure, ok bool) {
	switch {
	case a.Confirmed():
		fault := a.Fault()
		return Failure{Found: asOf, Earliest: fault.BeganEarliest, Latest: fault.BeganLatest}, true
	case a.Rate.TooOften:
		return Failure{Found: a.Rate.Began}, true
	}
	return Failure{}, false
}

// A Fleet is what the proofs say of all instruments at one moment.
type Fleet struct {
	AsOf        record.Instant // the moment; not set where there is no proof
	Since       record.Instant // the Monday, 00:00 UTC, with which the window begins
	Instruments []Assessment   // worst first
	Parts       []Part         // of the window; an instrument is in a part by what it did before its service, too
	Noise       float64        // standard deviation of a proof in percent; NaN where there are too few
	UsualRate   float64        // of failing, of those that do not fail too often; 0 without proofs
	Rates       Rates          // how the rates of failing differ; zero where nothing failed, or all did
	Settings    Settings       // that it went by, the defaults filled in

	window   *window
	findings *Findings
	decision float64 // of the CUSUM charts, in standard deviations
}

// Assess judges all instruments of the register and of the proofs.
func Assess(from Evidence, s Settings) *Fleet {
	s = s.withDefaults()
	e := gather(from, s)
	f := &Fleet{AsOf: e.asOf, Since: e.origin, Settings: s, window: e}
	for _, t := range e.tracked {
		f.Instruments = append(f.Instruments, f.begin(t))
	}
	slices.SortFunc(f.Instruments, func(a, b Assessment) int {
		return cmp.Or(cmp.Compare(a.Instrument, b.Instrument), cmp.Compare(a.tracked.number, b.tracked.number))
	})
	f.rate()
	f.search(references(from.Register))
	f.fillParts()
	f.charge()
	f.foresee()
	f.each(func(i int) { f.conclude(&f.Instruments[i]) })
	slices.SortStableFunc(f.Instruments, worstFirst)
	return f
}

// search looks for faults. It lets go of the points, which are many.
func (f *Fleet) search(references []string) {
	e := f.window
	f.findings = Watch(e.points, SearchOptions{
		Until: e.until, FalseAlarms: f.Settings.FalseAlarms, References: references,
	})
	f.Noise = f.findings.Noise
	f.Parts = plainParts(f.findings.Parts)
	f.decision = decisionFor(2 * cusumQuarters * quarter * float64(len(e.points)) / max(1, e.until))
	e.points = nil
}

// references returns the verified reference units of the register.
func references(register record.Register) []string {
	var ids []string
	for _, i := range register {
		if i.Reference == record.Yes {
			ids = append(ids, i.ID)
		}
	}
	return ids
}

// plainParts puts what an instrument was before its service and what it is since then
// under one id, and makes one part of those that have an instrument in common: at each
// expected voltage they are apart, but it is the same instruments that are compared there.
// It is anchored where each of them is.
func plainParts(parts []Part) []Part {
	g := newGroups(len(parts))
	first := map[role]int32{}
	join := func(part int, ids []string, unit bool) {
		for _, id := range ids {
			key := role{plainID(id), unit}
			if other, seen := first[key]; seen {
				g.join(int32(part), other)
			} else {
				first[key] = int32(part)
			}
		}
	}
	for i := range parts {
		join(i, parts[i].Indicators, false)
		join(i, parts[i].Units, true)
	}
	number, count := g.number(func(int32) bool { return true })
	out := make([]Part, count)
	for i := range out {
		out[i].Anchored = true
	}
	for i := range parts {
		from, to := &parts[i], &out[number[i]]
		to.Indicators = append(to.Indicators, from.Indicators...)
		to.Units = append(to.Units, from.Units...)
		to.Proofs += from.Proofs
		to.Anchored = to.Anchored && from.Anchored
	}
	for i := range out {
		p := &out[i]
		p.Indicators, p.Units = plainIDs(p.Indicators), plainIDs(p.Units)
		p.Alone = len(p.Indicators) == 1 || len(p.Units) == 1
	}
	return out
}

// plainIDs returns the ids without the days of services, each once, sorted.
func plainIDs(ids []string) []string {
	out := make([]string, 0, len(ids))
	for _, id := range ids {
		out = append(out, plainID(id))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// begin returns what is known of an instrument without a search.
func (f *Fleet) begin(t *tracked) Assessment {
	a := Assessment{
		Instrument: t.id, Count: t.count, First: t.first, Last: t.last, Tolerance: f.Settings.Tolerance,
		Steps: t.steps, StepLow: t.low, StepHigh: t.high, Use: f.window.use(t), Part: -1, tracked: t, party: -1,
	}
	if a.Registered = f.window.register[t.id]; a.Registered != nil {
		a.Kind = a.Registered.Kind
		if a.Registered.Tolerance > 0 {
			a.Tolerance = a.Registered.Tolerance
		}
	}
	if a.Count.Proofs > 0 && (a.Kind == record.InstrumentUnknown || t.unit != (a.Kind == record.ProvingUnit)) {
		a.Kind = record.Indicator
		if t.unit {
			a.Kind = record.ProvingUnit
		}
	}
	return a
}

// fillParts fills in the part, the party and the error of each instrument.
func (f *Fleet) fillParts() {
	m := f.findings.model
	index := make(map[role]int32, len(m.l.parties))
	for p := range m.l.parties {
		index[role{m.l.parties[p].id, m.l.parties[p].unit}] = int32(p)
	}
	part := map[role]int{}
	for i := range f.Parts {
		for _, id := range f.Parts[i].Indicators {
			part[role{id, false}] = i
		}
		for _, id := range f.Parts[i].Units {
			part[role{id, true}] = i
		}
	}
	for i := range f.Instruments {
		a := &f.Instruments[i]
		if n, ok := part[a.tracked.role]; ok {
			a.Part = n
		}
		if p, ok := index[a.tracked.role]; ok {
			a.party = p
		}
	}
	for _, l := range f.findings.Levels {
		p, ok := index[role{l.Instrument, l.Unit}]
		if !ok {
			continue
		}
		i, ok := slices.BinarySearchFunc(f.Instruments, l.Instrument, func(a Assessment, id string) int {
			return cmp.Compare(a.Instrument, id)
		})
		for ; ok && i < len(f.Instruments) && f.Instruments[i].Instrument == l.Instrument; i++ {
			a := &f.Instruments[i]
			if a.tracked.unit != l.Unit {
				continue
			}
			now := l.Percent + m.faultsOf(p, f.window.until)
			if !a.Measured || math.Abs(now) > math.Abs(a.Error) {
				a.Measured, a.Error, a.Expected = true, now, l.Expected
			}
		}
	}
}

// faultsOf returns the sum of the faults of party p at a week.
func (m *model) faultsOf(p int32, week float64) float64 {
	sum := 0.0
	for _, k := range m.fitsOf[p] {
		sum += m.fits[k].size * m.fits[k].at(week)
	}
	return sum
}

// charge gives each instrument its faults, and both suspects of a doubt the doubt.
func (f *Fleet) charge() {
	of := make(map[role]*Assessment, len(f.Instruments))
	for i := range f.Instruments {
		of[f.Instruments[i].tracked.role] = &f.Instruments[i]
	}
	for _, fault := range f.findings.Faults {
		a := of[role{fault.Instrument, fault.Unit}]
		var d DatedFault
		d.Fault = fault
		d.Rival = plainID(fault.Rival)
		first := f.firstWeek(role{fault.Instrument, fault.Unit})
		d.Start, d.Earliest, d.Latest = max(d.Start, first), max(d.Earliest, first), max(d.Latest, first)
		d.Began, d.BeganEarliest, d.BeganLatest = f.At(d.Start), f.At(d.Earliest), f.At(d.Latest)
		d.Older = fault.Kind == Drift && d.Earliest <= first
		d.CrossProve = f.findings.Advise(fault, f.window.until)
		if a != nil {
			a.Faults = append(a.Faults, d)
		}
		if rival := of[role{d.Rival, fault.RivalUnit}]; !fault.Clear && rival != nil && rival != a {
			rival.Rivals = append(rival.Rivals, plainID(fault.Instrument))
			rival.CrossProve = append(rival.CrossProve, d.CrossProve...)
			if a != nil {
				a.Rivals = append(a.Rivals, d.Rival)
				a.CrossProve = append(a.CrossProve, d.CrossProve...)
			}
		}
	}
	for i := range f.Instruments {
		a := &f.Instruments[i]
		slices.SortStableFunc(a.Faults, func(x, y DatedFault) int {
			return cmp.Or(-cmp.Compare(rankOf(&x.Fault), rankOf(&y.Fault)), -cmp.Compare(x.T, y.T))
		})
		a.Rivals = sortedSet(a.Rivals)
	}
}

// firstWeek returns the beginning of the week of the first numeric proof of an instrument
// in the window: it cannot show a fault before.
func (f *Fleet) firstWeek(r role) float64 {
	l := f.findings.model.l
	p := slices.IndexFunc(l.parties, func(q party) bool { return q.id == r.id && q.unit == r.unit })
	return math.Floor(l.week[l.parties[p].rows[0]])
}

// rankOf ranks a fault: confirmed, clear, in doubt.
func rankOf(f *Fault) int {
	switch {
	case f.Confirmed:
		return 2
	case f.Clear:
		return 1
	}
	return 0
}

func sortedSet(ids []string) []string {
	slices.Sort(ids)
	return slices.Compact(ids)
}

// foresee makes the forecasts. The wander is learnt from all instruments first.
func (f *Fleet) foresee() {
	runs, states := make([]Run, len(f.Instruments)), make([][]wanderState, len(f.Instruments))
	f.each(func(i int) {
		runs[i] = f.run(&f.Instruments[i])
		states[i] = wanderStates(runs[i])
	})
	wander := learnWander(states)
	f.each(func(i int) {
		a := &f.Instruments[i]
		forecast, ok := foresee(states[i], runs[i], wander, a.Tolerance, f.Settings.Confidence)
		if !ok {
			return
		}
		a.Forecast = &forecast
		a.NotBefore, a.Likely, a.NotAfter = f.At(forecast.NotBefore), f.At(forecast.Likely), f.At(forecast.NotAfter)
	})
}

// each calls do for each instrument; the instruments are shared out among the processors.
func (f *Fleet) each(do func(i int)) {
	var next atomic.Int32
	var work sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(f.Instruments)/16+1) {
		work.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(f.Instruments); i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	work.Wait()
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

// levelsOf returns the level of an instrument at each voltage.
func (f *Fleet) levelsOf(a *Assessment) map[float64]float64 {
	levels := map[float64]float64{}
	m := f.findings.model
	nodes, volts, values, sign := m.l.aParty, m.l.aExpected, m.xa, -1.0
	if a.tracked.unit {
		nodes, volts, values, sign = m.l.bParty, m.l.bExpected, m.xb, 1
	}
	first, _ := slices.BinarySearch(nodes, a.party)
	for n := first; n < len(nodes) && nodes[n] == a.party; n++ {
		part := m.partOf(int32(n), a.tracked.unit)
		if part >= 0 {
			levels[volts[n]] = values[n] + sign*f.findings.shift[part]
		}
	}
	return levels
}

// At returns the time of a week of the search, to the second; not set for one that is
// infinite.
func (f *Fleet) At(week float64) record.Instant {
	if math.IsInf(week, 0) || math.IsNaN(week) || !f.Since.IsSet() {
		return record.Instant{}
	}
	return f.window.instant(week)
}

// Week returns the weeks from Since to t.
func (f *Fleet) Week(t record.Instant) float64 { return Weeks(t, f.Since) }

// Of returns the assessment of an instrument; nil where there is none.
func (f *Fleet) Of(id string) *Assessment {
	i := slices.IndexFunc(f.Instruments, func(a Assessment) bool { return a.Instrument == id })
	if i < 0 {
		return nil
	}
	return &f.Instruments[i]
}

// worstFirst orders assessments: by state, then by the earliest date of service, then
// by id.
func worstFirst(a, b Assessment) int {
	return cmp.Or(
		cmp.Compare(worse[a.State], worse[b.State]),
		a.Due().compare(b.Due()),
		cmp.Compare(a.Instrument, b.Instrument),
	)
}
