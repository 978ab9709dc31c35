package fleet

import (
	"cmp"
	"math"
	"slices"

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
	Window      int          // weeks of one search, over which levels are taken to be constant apart from faults; 26
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
	SignSteps            // its steps contradict each other
)

// An Unknown is something that the proofs cannot tell of an instrument.
type Unknown uint8

// What cannot be known. The zero Unknown is nothing.
const (
	NothingUnknown      Unknown = iota
	UnknownNoProofs             // there is no proof of it at all
	UnknownNow                  // there is no proof of it within the window: how it is now
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
	Older                             bool           // it shows from the first proof of a window on, and may be older
	Seen                              record.Instant // the end of the last window that showed it; not set where that is the newest
	CrossProve                        []CrossProve   // what would settle it where it is not Clear
}

// An Assessment is what is known of one instrument.
type Assessment struct {
	Instrument string
	Kind       record.InstrumentKind // by the register, else by how it took part; InstrumentUnknown where neither says
	Registered *record.Instrument    // its row of the register; nil where there is none
	State      State

	Count       Count            // of its proofs up to the moment, since ever
	First, Last record.Instant   // its first and last proof; not set where there is none
	Failed      []record.Instant // its failed proofs since its last service
	Rate        Rate             // how often it fails, since its last service

	// Faults are those found of its own since its last service: the confirmed ones first,
	// of these the ones of the window, then by their size in standard errors. Only a
	// confirmed one blames it, and until its next service.
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

	// Steps is the number of proofs of the window and since its last service that showed a
	// step; they leave StepLow to StepHigh percent for the sum of its error and its unit's,
	// up to two that may be gross left out on either side. Infinite limits are none; StepLow
	// not below StepHigh says that the proofs contradict each other.
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

// driftedOnce reports whether the fault to speak of is a drift that only older windows
// show, so that nobody knows how far it went.
func (a *Assessment) driftedOnce() bool {
	return a.Confirmed() && a.Faults[0].Kind == Drift && a.Faults[0].Seen.IsSet()
}

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
	f.recall(from)
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
		Instrument: t.id, Count: t.count, First: t.first, Last: t.last, Failed: t.failed, Tolerance: f.Settings.Tolerance,
		Steps: t.steps, StepLow: t.lows[0], StepHigh: t.highs[minSide-1], Use: f.window.use(t), Part: -1, tracked: t, party: -1,
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
