package fleet

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nilvolt/record"
)

// monday is the Monday from which the weeks of the tests count, 2026-03-02.
var monday = record.InstantOf(time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC))

func date(text string) record.Date {
	d, err := record.ParseDate(text)
	if err != nil {
		panic(err)
	}
	return d
}

func atWeek(week float64) record.Instant {
	return monday.Add(time.Duration(week * float64(7*24*time.Hour)))
}

// proofsOf makes proofs that passed of points.
func proofsOf(points []Point) []Proof {
	proofs := make([]Proof, len(points))
	for i, p := range points {
		proofs[i] = proofOf(p)
	}
	return proofs
}

func proofOf(p Point) Proof {
	return Proof{
		Indicator: p.Indicator, Source: p.Unit, Record: "R", Time: atWeek(p.Week), Expected: p.Expected,
		Volts: p.Expected * (1 + p.Percent/100), Form: Numeric, Passed: true,
	}
}

// sceneRegister is a register of all instruments of a scene, serviced before it.
func sceneRegister() record.Register {
	r := record.Register{}
	add := func(id string, kind record.InstrumentKind) {
		r[id] = &record.Instrument{ID: id, Kind: kind, Serviced: date("2025-09-01"), IntervalDays: 365}
	}
	for i := range 26 {
		add(indicatorName(i), record.Indicator)
	}
	for u := range 9 {
		add(unitName(u), record.ProvingUnit)
	}
	return r
}

func assess(proofs []Proof, register record.Register, s Settings) *Fleet {
	return Assess(Evidence{Proofs: slices.Values(proofs), Register: register, AsOf: atWeek(13)}, s)
}

// The faults of the fixture, and only those, blame an instrument; with its times.
func TestAssessmentOfTheFixture(t *testing.T) {
	points, _ := readFixture(t)
	f := assess(proofsOf(points), sceneRegister(), Settings{})
	want := map[string]State{"I00": StateDrifting, "U4": StateDrifting, "I07": StateStepped}
	for i := range f.Instruments {
		a := &f.Instruments[i]
		state, faulty := want[a.Instrument]
		switch {
		case faulty && (a.State != state || !a.Confirmed()):
			t.Errorf("%s is %v, want %v", a.Instrument, a.State, state)
		case !faulty && a.State != StateSteady && a.State != StateWatch:
			t.Errorf("%s is %v", a.Instrument, a.State)
		}
		if a.Due().Reason == NotDue || a.Part != 0 || !a.Measured || a.Registered == nil {
			t.Errorf("%s: %+v", a.Instrument, a)
		}
	}
	if len(f.Instruments) != 35 || f.Instruments[0].Instrument != "I07" || len(f.Parts) != 1 {
		t.Errorf("%d instruments, worst %s, %d parts", len(f.Instruments), f.Instruments[0].Instrument, len(f.Parts))
	}
	step, drift := f.Of("I07").Fault(), f.Of("I00").Fault()
	if step.Began != atWeek(6) || drift.Began != monday || !drift.Older || step.Older {
		t.Errorf("step began %v, drift %v", step.Began, drift.Began)
	}
	// 10 % at 0.25 % a week from the level on: the register's tolerance is blank.
	if a := f.Of("I00"); a.Due().Reason != DueInterval || !a.NotBefore.Before(a.Likely) || !a.Likely.Before(a.NotAfter) ||
		math.Abs(f.Week(a.Likely)-f.Week(f.AsOf)-(10-a.Error)/drift.Size) > 3 {
		t.Errorf("%v, crossing %v to %v", a.Due(), a.NotBefore, a.NotAfter)
	}
}

// Nothing becomes steady for want of evidence.
func TestNothingKnownIsNotSteady(t *testing.T) {
	register := sceneRegister()
	f := Assess(Evidence{Proofs: slices.Values([]Proof(nil)), Register: register, AsOf: monday}, Settings{})
	points, _ := readFixture(t)
	few := assess(proofsOf(points[:16]), register, Settings{})
	for _, fleet := range []*Fleet{f, few, Assess(Evidence{Proofs: slices.Values([]Proof(nil)), Register: register}, Settings{})} {
		for i := range fleet.Instruments {
			if a := &fleet.Instruments[i]; a.State != StateCannotTell || len(a.Unknown) == 0 {
				t.Errorf("%s is %v with %d proofs", a.Instrument, a.State, a.Count.Proofs)
			}
		}
		fleet.Plan(Shop{Weeks: 4, Capacity: 2})
	}
	if len(f.Instruments) != 35 {
		t.Errorf("%d instruments", len(f.Instruments))
	}
}

// An indicator at home on a unit where nobody else goes: nothing tells the two apart.
func TestTwoSuspectsCannotBeToldApart(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	var points []Point
	for n := range 390 {
		week := float64(n) / 30
		i, u := rng.IntN(6), rng.IntN(2)
		e := 0.3 * rng.NormFloat64()
		if i == 5 {
			u = 7
			e += 0.4 * week
		}
		points = append(points, Point{indicatorName(i), unitName(u), 230, week, e})
	}
	f := assess(proofsOf(points), sceneRegister(), Settings{})
	for id, rival := range map[string]string{"I05": "U7", "U7": "I05"} {
		a := f.Of(id)
		if a.State != StateCannotTell || !slices.Equal(a.Rivals, []string{rival}) || len(a.CrossProve) == 0 ||
			!slices.Contains(a.Unknown, UnknownAlone) || !slices.Contains(a.Unknown, UnknownOtherParts) {
			t.Errorf("%s is %v, rivals %v, cross-prove %v, unknown %v", id, a.State, a.Rivals, a.CrossProve, a.Unknown)
		}
	}
}

// What drifted before it was adjusted does not drift now.
func TestServiceMakesAnInstrumentNew(t *testing.T) {
	points, _ := readFixture(t)
	register := sceneRegister()
	register["U4"].Serviced = date("2026-04-20") // week 7
	for i := range points {
		if p := &points[i]; p.Unit == "U4" && atWeek(p.Week).Date().After(register["U4"].Serviced) {
			p.Percent += 0.3 * p.Week // back to where it was
		}
	}
	f := assess(proofsOf(points), register, Settings{})
	u := f.Of("U4")
	if u.State != StateSteady && u.State != StateWatch || len(u.Faults) != 0 {
		t.Errorf("U4 is %v: %+v", u.State, u.Faults)
	}
	if f.Of("I00").State != StateDrifting || f.Of("I07").State != StateStepped {
		t.Errorf("I00 is %v, I07 %v", f.Of("I00").State, f.Of("I07").State)
	}
	before := 0
	readings := f.Readings(u)
	for _, r := range readings {
		if r.Before {
			before++
		}
	}
	if before == 0 || before == len(readings) || !slices.IsSortedFunc(readings, func(a, b Reading) int { return a.Time.Compare(b.Time) }) {
		t.Errorf("%d of %d readings before the service", before, len(readings))
	}
}

// A verified reference makes errors of levels, and takes no blame.
func TestReferenceAnchorsItsPart(t *testing.T) {
	points, _ := readFixture(t)
	for i := range points {
		if points[i].Unit != "U2" {
			points[i].Percent += 2 // all but the reference share an error
		}
	}
	register := sceneRegister()
	register["U2"].Reference = record.Yes
	f := assess(proofsOf(points), register, Settings{})
	without := assess(proofsOf(points), sceneRegister(), Settings{})
	if !f.Parts[0].Anchored || f.Of("U2").Error != 0 || slices.Contains(f.Of("U1").Unknown, UnknownCommon) ||
		!slices.Contains(without.Of("U1").Unknown, UnknownCommon) {
		t.Errorf("parts %+v, error of the reference %v", f.Parts, f.Of("U2").Error)
	}
	// The units are 2 % off, by their noise of the fixture's levels (standard deviation 0.3 %).
	sum := 0.0
	for _, id := range []string{"U0", "U1", "U3", "U5", "U6", "U7", "U8"} {
		sum += f.Of(id).Error / 7
	}
	if math.Abs(sum-2) > 0.7 {
		t.Errorf("mean error of the units %v", sum)
	}
}

// failing makes proofs of a fleet in which proofs fail by the chance of either instrument.
func failing(seed uint64, home float64, chances map[string]float64) []Proof {
	s := scene{home: home, weekly: 60, noise: 0.6}
	rng := rand.New(rand.NewPCG(seed, 5))
	proofs := proofsOf(s.points(rng))
	for i := range proofs {
		p := &proofs[i]
		chance := 0.005 + chances[p.Indicator] + chances[p.Source]
		p.Passed = rng.Float64() >= chance
	}
	return proofs
}

// An id that a register with others lacks may be a slip for several instruments: it is
// not blamed, whatever its proofs show, and nobody can take it to service.
func TestStrangerIsNotBlamed(t *testing.T) {
	points, _ := readFixture(t)
	register := sceneRegister()
	known := assess(proofsOf(points), register, Settings{})
	for i := range known.Instruments {
		id := known.Instruments[i].Instrument
		if !known.Instruments[i].Confirmed() {
			continue
		}
		delete(register, id)
		f := assess(proofsOf(points), register, Settings{})
		if a := f.Of(id); a.State != StateCannotTell || a.Confirmed() || len(a.Faults) == 0 || !slices.Contains(a.Unknown, UnknownStranger) {
			t.Errorf("%s: %v, confirmed %v, %v", id, a.State, a.Confirmed(), a.Unknown)
		}
		for _, s := range f.Plan(Shop{Weeks: 52, Capacity: 9}).Services {
			if s.Instrument == id {
				t.Errorf("%s is to be serviced", id)
			}
		}
		if a := assess(proofsOf(points), nil, Settings{}).Of(id); !a.Confirmed() {
			t.Errorf("%s without any register: %v", id, a.State)
		}
		register = sceneRegister()
	}
}

// Instruments that are proved at two voltages are one part, though nothing links the two.
func TestTwoVoltagesAreOnePart(t *testing.T) {
	points, _ := readFixture(t)
	proofs := proofsOf(points)
	one := assess(proofs, sceneRegister(), Settings{})
	for i := range proofs {
		if i%2 == 0 {
			proofs[i].Expected, proofs[i].Volts = 2*proofs[i].Expected, 2*proofs[i].Volts
		}
	}
	two := assess(proofs, sceneRegister(), Settings{})
	if len(one.Parts) != 1 || len(two.Parts) != 1 || two.Parts[0].Proofs != one.Parts[0].Proofs {
		t.Errorf("parts %+v and %+v", one.Parts, two.Parts)
	}
	if a := two.Of("I00"); a == nil || slices.Contains(a.Unknown, UnknownOtherParts) {
		t.Errorf("%+v", a)
	}
}

// ErrorAt follows the faults back in time.
func TestErrorAt(t *testing.T) {
	points, _ := readFixture(t)
	f := assess(proofsOf(points), sceneRegister(), Settings{})
	for i := range f.Instruments {
		a := &f.Instruments[i]
		if now := f.ErrorAt(a, f.window.until); math.Abs(now-a.Error) > 1e-9 {
			t.Errorf("%s: %g now, and %g", a.Instrument, now, a.Error)
		}
		d := a.Fault()
		if d == nil || len(a.Faults) > 1 {
			continue
		}
		want := a.Error - d.Size
		if d.Kind == Drift {
			want = a.Error - d.Size*4
		}
		before := f.window.until - 4
		if d.Kind == Step {
			before = d.Start - 1e-6
		}
		if got := f.ErrorAt(a, before); math.Abs(got-want) > 1e-6 {
			t.Errorf("%s at week %g: %g, want %g", a.Instrument, before, got, want)
		}
	}
}

// Who fails is told from who was there, like who drifts.
func TestWhoFails(t *testing.T) {
	found, wrong, quiet := 0, 0, 0
	const runs = 4
	for seed := range uint64(runs) {
		for _, home := range []float64{0, 0.8} {
			f := assess(failing(seed, home, map[string]float64{"I03": 0.3, "U6": 0.2}), sceneRegister(), Settings{})
			for i := range f.Instruments {
				switch a := &f.Instruments[i]; {
				case a.State == StateFailing && (a.Instrument == "I03" || a.Instrument == "U6"):
					found++
				case a.State == StateFailing:
					wrong++
				}
			}
			for _, a := range assess(failing(seed, home, nil), sceneRegister(), Settings{}).Instruments {
				if a.State == StateFailing {
					quiet++
				}
			}
		}
	}
	t.Logf("found %d of %d, wrong %d, without a fault %d", found, 4*runs, wrong, quiet)
	if found < 13 || wrong > 1 || quiet > upTo(0.05, 2*runs) {
		t.Errorf("found %d of %d, wrong %d, without a fault %d", found, 4*runs, wrong, quiet)
	}
}

// The earliest date of service wins, whatever its reason.
func TestDueDates(t *testing.T) {
	points, _ := readFixture(t)
	proofs := proofsOf(points)
	for i := range proofs {
		if proofs[i].Indicator == "I20" {
			proofs[i].Passed = i%2 == 0
		}
	}
	register := sceneRegister()
	register["I00"].Tolerance = 4 // its drift of 0.25 % a week gets there soon
	register["I01"].Serviced = date("2025-05-01")
	register["I02"].Withdrawn = date("2026-05-01")
	for _, c := range []struct {
		id     string
		method ReviewMethod
		reason DueReason
		state  State
	}{
		{"I00", RegisterInterval, DueCrossing, StateDrifting},
		{"I01", RegisterInterval, DueInterval, StateOverdue},
		{"I02", RegisterInterval, DueInterval, StateWithdrawn},
		{"I20", RegisterInterval, DueFailing, StateFailing},
		{"I00", StaircaseReview, DueCrossing, StateDrifting},
		{"U2", StaircaseReview, DueInterval, StateSteady}, // without a reference no interval grows
		{"I00", ControlChartReview, DueChart, StateDrifting},
	} {
		f := assess(proofs, register, Settings{Method: c.method})
		a := f.Of(c.id)
		if a.Due().Reason != c.reason || a.State != c.state && c.state != StateSteady {
			t.Errorf("%s by method %d: %v, %v; all %v", c.id, c.method, a.State, a.Due(), a.Dues)
		}
	}
	register["U8"].Reference = record.Yes
	f := assess(proofs, register, Settings{Method: StaircaseReview})
	if due := f.Of("U2").Due(); due.Reason != DueStaircase || due.Date != date("2025-09-01").AddDays(456) {
		t.Errorf("with a reference: %v, want 365 days and a quarter", due)
	}
}

func TestPlanOfAFleet(t *testing.T) {
	points, _ := readFixture(t)
	register := sceneRegister()
	register["I00"].Tolerance = 4
	register["I01"].Serviced = date("2025-06-01") // due on 2026-06-01
	register["I02"].Withdrawn = date("2026-05-01")
	f := assess(proofsOf(points), register, Settings{})
	p := f.Plan(Shop{Weeks: 12, Capacity: 2, Reserve: map[record.InstrumentKind]int{record.Indicator: 3}})
	if p.Begin != date("2026-06-08") { // week 13 begins on Monday 2026-06-01; the plan with the next
		t.Errorf("begins %v", p.Begin)
	}
	got := map[string]Service{}
	for _, s := range p.Services {
		got[s.Instrument] = s
	}
	if s := got["I01"]; s.Week != 0 || !s.Late || len(s.Reasons) != 1 || s.Reasons[0].Reason != DueInterval {
		t.Errorf("I01: %+v", s)
	}
	if s := got["I00"]; s.Assessment == nil || s.Reasons[0].Reason != DueCrossing {
		t.Errorf("I00: %+v", s)
	}
	if _, ok := got["I02"]; ok || len(p.Left) != 0 {
		t.Errorf("a withdrawn instrument is serviced, or %d left", len(p.Left))
	}
	if _, ok := got["U2"]; ok {
		t.Error("a steady instrument whose interval does not end is serviced")
	}
}

// A few days of readings put nobody on watch, and send nobody to service: a slope that may
// be anything is no forecast.
func TestFewDaysForetellNothing(t *testing.T) {
	const fleets, days = 20, 4
	alarmed := 0
	for seed := range uint64(fleets) {
		s := scene{home: 0.8, weekly: 700, noise: 0.6}
		points := s.points(rand.New(rand.NewPCG(seed, 11)))
		points = slices.DeleteFunc(points, func(p Point) bool { return p.Week > days/7. })
		f := Assess(Evidence{Proofs: slices.Values(proofsOf(points)), Register: sceneRegister(), AsOf: atWeek(days / 7.)}, Settings{})
		if slices.ContainsFunc(f.Instruments, func(a Assessment) bool {
			return slices.Contains(a.Signs, SignSoonOut) || a.Due().Reason == DueCrossing
		}) || len(f.Plan(Shop{Weeks: 12, Capacity: 4}).Services) > 0 {
			alarmed++
		}
	}
	t.Logf("%d of %d fleets alarmed", alarmed, fleets)
	if alarmed > upTo(0.05, fleets) {
		t.Errorf("%d of %d fleets alarmed", alarmed, fleets)
	}
}

// Order, times beyond the moment and an unset moment do not matter.
func TestAssessmentDependsOnEvidenceOnly(t *testing.T) {
	points, _ := readFixture(t)
	proofs := proofsOf(points)
	want := assess(proofs, sceneRegister(), Settings{})
	shuffled := slices.Clone(proofs)
	rand.New(rand.NewPCG(2, 2)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	late := proofs[0]
	late.Time = atWeek(14)
	got := assess(append(shuffled, late, Proof{Indicator: "I00", Source: "U0"}), sceneRegister(), Settings{})
	open := Assess(Evidence{Proofs: slices.Values(shuffled), Register: sceneRegister()}, Settings{})
	for i := range want.Instruments {
		w, g := &want.Instruments[i], &got.Instruments[i]
		if w.Instrument != g.Instrument || w.State != g.State || w.Count != g.Count || !slices.Equal(w.Dues, g.Dues) || math.Abs(w.Error-g.Error) > 1e-9 {
			t.Errorf("%s %v, want %s %v", g.Instrument, g.State, w.Instrument, w.State)
		}
	}
	if last := slices.MaxFunc(proofs, func(a, b Proof) int { return a.Time.Compare(b.Time) }).Time; open.AsOf != last || open.Of("I07").State != StateStepped {
		t.Errorf("as of %v, want %v", open.AsOf, last)
	}
}

// The charts show the step of the fixture where it is, and stay within limits of a
// healthy instrument.
func TestChartsOfAnInstrument(t *testing.T) {
	points, _ := readFixture(t)
	f := assess(proofsOf(points), sceneRegister(), Settings{})
	c := f.Charts(f.Of("I07"))
	if n := len(c.Readings); n < 20 || len(c.Values) != n || len(c.Ranges) != n-1 || len(c.EWMA) != n || len(c.CUSUM) != n ||
		!c.CUSUM[n-1].Out || !c.EWMA[n-1].Out {
		t.Errorf("charts of a step: %d readings", n)
	}
	// The fixture's window begins long before its proofs; the target is where they begin.
	if c := f.Charts(f.Of("I00")); math.Abs(c.Target-c.Readings[0].Own) > 3*f.Noise || !c.CUSUM[len(c.CUSUM)-1].Out {
		t.Errorf("target of a drift %v, first reading %v", c.Target, c.Readings[0].Own)
	}
	healthy := f.Charts(f.Of("I13")) // at home on the drifting unit
	if n := len(healthy.CUSUM); n < 20 || healthy.CUSUM[n-1].Out {
		t.Errorf("charts of a healthy one signal; %d readings", n)
	}
	if d := (CUSUM{Reference: 0.5, Decision: decisionFor(465)}).ARL(0); math.Abs(d-465) > 10 { // h = 5: STATISTICS of published run lengths
		t.Errorf("run length %v", d)
	}
	pairs, sum := f.Pairs(), 0
	for _, p := range pairs {
		sum += p.Proofs
	}
	if sum != len(points) {
		t.Errorf("%d proofs in pairs, want %d", sum, len(points))
	}
}

// One or two wrong steps among many may be gross; three are a sign.
func TestStepsThatContradictEachOther(t *testing.T) {
	for wrong := range 5 {
		points, _ := readFixture(t)
		proofs := proofsOf(points)
		seen := 0
		for i := range proofs {
			if p := &proofs[i]; p.Indicator == "I20" {
				p.Form, p.Volts, p.Lit, p.Next = Stepped, 0, 230, 400
				if seen++; seen <= wrong {
					p.Lit, p.Next, p.Passed = 120, 230, false
				}
			}
		}
		a := assess(proofs, sceneRegister(), Settings{}).Of("I20")
		if got := slices.Contains(a.Signs, SignSteps); got != (wrong >= minSide) || got != (a.StepLow >= a.StepHigh) {
			t.Errorf("%d wrong steps: %v, signs %v, %g to %g", wrong, a.State, a.Signs, a.StepLow, a.StepHigh)
		}
		if steady := a.State == StateSteady; steady != (wrong < minSide) {
			t.Errorf("%d wrong steps: %v", wrong, a.State)
		}
	}
}
