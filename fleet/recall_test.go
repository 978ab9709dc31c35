package fleet

import (
	"slices"
	"testing"

	"nilvolt/record"
)

// faultyQuarter is the fixture with an indicator that fails, and its register.
func faultyQuarter(t *testing.T) ([]Proof, record.Register) {
	t.Helper()
	points, _ := readFixture(t)
	proofs := proofsOf(points)
	n := 0
	for i := range proofs {
		if proofs[i].Indicator == "I20" {
			n++
			proofs[i].Passed = n%4 != 0
		}
	}
	return proofs, sceneRegister()
}

var faultyStates = map[string]State{"I00": StateDrifting, "U4": StateDrifting, "I07": StateStepped, "I20": StateFailing}

// What was confirmed stands until a service, however long nobody proves the instrument, and
// throws doubt on the same records.
func TestConfirmedFaultStandsUntilService(t *testing.T) {
	proofs, register := faultyQuarter(t)
	at := func(week float64) *Fleet {
		return Assess(Evidence{Proofs: slices.Values(proofs), Register: register, AsOf: atWeek(week)}, Settings{})
	}
	began := at(13)
	for _, week := range []float64{13, 20, 30.5, 31, 33, 37, 39.5, 44, 60, 200} {
		f := at(week)
		plan := f.Plan(Shop{Weeks: 4, Capacity: 40})
		for i := range f.Instruments {
			a := &f.Instruments[i]
			state, faulty := faultyStates[a.Instrument]
			failure, known := a.Failure(f.AsOf)
			if !faulty {
				if known || week > 40 && a.State != StateCannotTell && a.State != StateOverdue {
					t.Errorf("week %g: %s is %v, %+v", week, a.Instrument, a.State, a.Faults)
				}
				continue
			}
			first, _ := began.Of(a.Instrument).Failure(began.AsOf)
			if a.State != state || !known || failure.Earliest != first.Earliest || failure.Latest != first.Latest {
				t.Errorf("week %g: %s is %v, want %v; %+v, want %+v", week, a.Instrument, a.State, state, failure, first)
			}
			planned := slices.ContainsFunc(plan.Services, func(s Service) bool { return s.Instrument == a.Instrument })
			if week > 40 && !planned {
				t.Errorf("week %g: %s is not planned, due %v", week, a.Instrument, a.Dues)
			}
			if week > 40 && a.working(f.AsOf.Date()) {
				t.Errorf("week %g: %s counts as good", week, a.Instrument)
			}
		}
	}
	for id := range faultyStates {
		register[id].Serviced = atWeek(14).Date()
	}
	f := at(60)
	for id := range faultyStates {
		if a := f.Of(id); a.State != StateCannotTell || len(a.Faults) > 0 || a.Rate.TooOften {
			t.Errorf("%s after its service is %v: %+v", id, a.State, a.Faults)
		}
	}
}

// Good proofs do not make up for a fault that nobody has mended.
func TestGoodProofsDoNotEndAFault(t *testing.T) {
	proofs, register := faultyQuarter(t)
	var indicators, units []string
	for i := range 26 {
		indicators = append(indicators, indicatorName(i))
	}
	for u := range 9 {
		units = append(units, unitName(u))
	}
	points, _ := readFixture(t)
	for n := range 4 {
		for _, p := range points { // the same again, without a change
			fault := func(week float64) float64 {
				return sceneFault(slices.Index(indicators, p.Indicator), slices.Index(units, p.Unit), week)
			}
			p.Percent += fault(sceneWeeks) - fault(p.Week)
			p.Week += float64(sceneWeeks * (n + 1))
			proofs = append(proofs, proofOf(p))
		}
	}
	f := Assess(Evidence{Proofs: slices.Values(proofs), Register: register, AsOf: atWeek(5 * sceneWeeks)}, Settings{})
	for i := range f.Instruments {
		a := &f.Instruments[i]
		want, faulty := faultyStates[a.Instrument]
		if faulty && want == StateDrifting { // what drifted and stopped may look like steps
			want = a.State
		}
		if faulty != (a.Confirmed() || a.Rate.TooOften) || faulty && a.State != want {
			t.Errorf("%s is %v, %+v, %+v", a.Instrument, a.State, a.Faults, a.Rate)
		}
	}
}
