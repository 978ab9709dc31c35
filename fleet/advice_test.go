package fleet

import (
	"errors"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"
)

// A pairScene is a fleet in which I00 and U0 are proved on each other but for a few
// proofs, and one of the two drifts.
type pairScene struct {
	level   []float64
	culprit string
	rng     *rand.Rand
}

func newPairScene(seed uint64, culprit string) *pairScene {
	rng := rand.New(rand.NewPCG(seed, 11))
	return &pairScene{scene{}.levels(rng), culprit, rng}
}

const pairDrift = 0.5 // percent a week

// proof makes a proof of an indicator on a unit.
func (s *pairScene) proof(i, u int, week float64) Point {
	e := s.level[i] + s.level[26+u] + s.rng.NormFloat64()*0.6
	if indicatorName(i) == s.culprit || unitName(u) == s.culprit {
		e += pairDrift * week
	}
	return Point{indicatorName(i), unitName(u), 230, week, e}
}

// points returns a quarter, in which crossed is the share of the pair's proofs on
// others.
func (s *pairScene) points(crossed float64) []Point {
	points := make([]Point, 780)
	for n := range points {
		i, u := s.rng.IntN(26), s.rng.IntN(9)
		if s.rng.Float64() < 0.8 {
			u = i % 9
		}
		if (i == 0) != (u == 0) && s.rng.Float64() >= crossed {
			i, u = 0, 0
		}
		points[n] = s.proof(i, u, float64(n)/60)
	}
	return points
}

func (f *Findings) of(id string) *Fault {
	if i := slices.IndexFunc(f.Faults, func(f Fault) bool { return f.Instrument == id }); i >= 0 {
		return &f.Faults[i]
	}
	return nil
}

// A pair that is only proved on each other: that something drifts is sure, who does
// is never said, and the advice is to prove both on others now and later.
func TestPairAloneIsNeverBlamed(t *testing.T) {
	for seed := range uint64(20) {
		points := newPairScene(seed, "I00").points(0)
		f := Watch(points, SearchOptions{Until: 13})
		for _, fault := range f.Faults {
			suspect := fault.Instrument == "I00" || fault.Instrument == "U0"
			if fault.Clear || fault.Confirmed {
				t.Errorf("seed %d: %s is blamed", seed, fault.Instrument)
			}
			advice := f.Advise(fault, 13)
			if suspect && (len(advice) != 2 || advice[0].Weeks == 0) {
				t.Errorf("seed %d: advice %+v", seed, advice)
			}
		}
		if f.of("I00") == nil && f.of("U0") == nil {
			t.Errorf("seed %d: the drift was not seen", seed)
		}
	}
}

// A pair with few other proofs: where the search is in doubt and advises proofs, to
// make them settles it, and in favour of the truth.
func TestAdviceSettlesTheDoubt(t *testing.T) {
	doubts, settled := 0, 0
	for seed := range uint64(60) {
		culprit, victim := "I00", "U0"
		if seed%2 == 1 {
			culprit, victim = victim, culprit
		}
		s := newPairScene(seed, culprit)
		points := s.points(0.02)
		f := Search(points, SearchOptions{Until: 13.01})
		for _, fault := range f.Faults {
			advice := f.Advise(fault, 13)
			if len(advice) == 0 || fault.Instrument != "I00" && fault.Instrument != "U0" || advice[0].Weeks > 0 {
				continue
			}
			doubts++
			after := Search(s.follow(points, advice), SearchOptions{Until: 13.01})
			if c := after.of(culprit); c != nil && c.Clear {
				settled++
			}
			if v := after.of(victim); v != nil && v.Clear {
				t.Errorf("seed %d: the proofs that were advised blame %s", seed, victim)
			}
		}
	}
	t.Logf("%d doubts, %d settled", doubts, settled)
	if doubts < 5 || settled*10 < doubts*8 {
		t.Errorf("%d doubts, %d settled", doubts, settled)
	}
}

// follow makes the proofs that were advised.
func (s *pairScene) follow(points []Point, advice []CrossProve) []Point {
	points = slices.Clone(points)
	for _, a := range advice {
		i, err1 := strconv.Atoi(a.Indicator[1:])
		u, err2 := strconv.Atoi(a.Unit[1:])
		if err := errors.Join(err1, err2); err != nil {
			panic(err)
		}
		for range a.Proofs {
			points = append(points, s.proof(i, u, 13))
		}
	}
	return points
}
