package clocks_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"nilvolt/clocks"
	"nilvolt/record"
)

// shown returns proofs at so many seconds.
func shown(times ...float64) (list []clocks.Proof) {
	for _, t := range times {
		list = append(list, clocks.Proof{At: start.Add(time.Duration(t * float64(time.Second)))})
	}
	return list
}

// moved returns the times on a clock that is ahead and gains.
func moved(times []float64, ahead, drift float64) (out []float64) {
	for _, t := range times {
		out = append(out, t+ahead+drift*t)
	}
	return out
}

var morning = []float64{0, 600, 4000, 4900, 9000, 9700, 15000, 15420, 21000, 22222}

// Without scatter the answer is arithmetic.
func TestAlign(t *testing.T) {
	for _, ahead := range []float64{0, 1, -3600, 7200, 86400, -86400, 12345.5} {
		for _, key := range []string{"", "PU-1"} {
			reference, log := shown(morning...), shown(moved(morning, ahead, 0)...)
			for i := range log {
				log[i].Key = key
			}
			a := clocks.Align(reference, log)
			if !a.Sure || a.Proofs != len(morning) || a.Within > 2*time.Second {
				t.Errorf("ahead %v: %+v", ahead, a)
			}
			back := a.Against(reference, log)
			for i := range log {
				got, ok := a.Ahead(log[i].At)
				if d := got.Seconds() - ahead; !ok || d > 0.1 || d < -0.1 {
					t.Errorf("ahead %v: %v %t", ahead, got, ok)
				}
				got, ok = back.Ahead(reference[i].At)
				if d := got.Seconds() + ahead; !ok || d > 0.1 || d < -0.1 {
					t.Errorf("ahead %v: the other way round %v %t", ahead, got, ok)
				}
			}
		}
	}
}

// 50 ppm are 43.2 s in ten days.
func TestDrift(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	times := []float64{0}
	for range 200 {
		times = append(times, times[len(times)-1]+3600+9000*rng.Float64())
	}
	a := clocks.Align(shown(times...), shown(moved(times, 100, 50e-6)...))
	if !a.Sure || a.Drift < 49.9 || a.Drift > 50.1 {
		t.Errorf("%+v", a)
	}
	first, _ := a.Ahead(start.Add(100 * time.Second))
	later, ok := a.Ahead(start.Add(10*24*time.Hour + 100*time.Second))
	if d := (later - first).Seconds() - 43.2; !ok || d > 0.3 || d < -0.3 {
		t.Errorf("in ten days: %v", later-first)
	}
}

func TestDoubts(t *testing.T) {
	half := func(n int) (times []float64) {
		for i := range n {
			times = append(times, float64(1800*i))
		}
		return times
	}
	keyed := shown(morning...)
	for i := range keyed {
		keyed[i].Key = "230"
	}
	other := shown(moved(morning, 60, 0)...)
	for i := range other {
		other[i].Key = "400"
	}
	tests := []struct {
		name           string
		reference, log []clocks.Proof
		want           clocks.Doubt
	}{
		{"nothing", nil, nil, clocks.TooFew},
		{"no times", make([]clocks.Proof, 9), make([]clocks.Proof, 9), clocks.TooFew},
		{"four", shown(morning[:4]...), shown(morning[:4]...), clocks.TooFew},
		{"five at once", shown(0, 5, 10, 15, 20), shown(0, 5, 10, 15, 20), clocks.TooFew},
		{"other voltages", keyed, other, clocks.TooFew},
		{"every half hour", shown(half(12)...), shown(half(12)...), clocks.Rival},
		{"two days apart", shown(morning...), shown(moved(morning, 2*86400, 0)...), clocks.TooFar},
		{"set in between", shown(morning...), shown(append(moved(morning[:5], 0, 0), moved(morning[5:], 60, 0)...)...), clocks.Rival},
		{"five of many", shown(append(half(40), 70001, 72323, 75555, 77000, 81234)...), shown(70001, 72323, 75555, 77000, 81234,
			1.1e5, 1.2e5, 1.3e5, 1.4e5, 1.5e5, 1.6e5, 1.7e5, 1.8e5, 1.9e5, 2.1e5, 2.2e5, 2.3e5), clocks.Chance},
	}
	for _, test := range tests {
		a := clocks.Align(test.reference, test.log)
		if a.Doubt != test.want || a.Sure {
			t.Errorf("%s: %v, want %v", test.name, a.Doubt, test.want)
		}
	}
}

// A clock that was set by an hour in between: either may be so, and neither is sure.
func TestMayBeAhead(t *testing.T) {
	var times []float64
	for i := range 6 {
		for _, m := range morning {
			times = append(times, m+float64(86400*i+971*i*i))
		}
	}
	a := clocks.Align(shown(times...), shown(append(moved(times[:30], 0, 0), moved(times[30:], 3600, 0)...)...))
	if _, ok := a.Ahead(start); ok || a.Sure {
		t.Errorf("%+v", a)
	}
	found := map[time.Duration]bool{}
	for _, d := range a.MayBeAhead(start.Add(48 * time.Hour)) {
		found[d.Round(time.Minute)] = true
	}
	if !found[0] || !found[time.Hour] {
		t.Errorf("may be ahead by %v", found)
	}
	if sure := clocks.Align(shown(morning...), shown(morning...)); len(sure.MayBeAhead(start)) > 0 {
		t.Error("a clock that is known may be something else")
	}
}

// Where no common proof is near, and where the log's own proofs are mostly others,
// nothing is said: the clock may have been set.
func TestAheadNearCommonProofsOnly(t *testing.T) {
	log := append(moved(morning, 30, 0), 40000, 40500, 41000)
	a := clocks.Align(shown(morning...), shown(log...))
	for _, test := range []struct {
		at   float64
		want bool
	}{{30, true}, {5000, true}, {-7100, true}, {-7300, false}, {29000, true}, {30000, false}, {40500, false}} {
		if _, ok := a.Ahead(start.Add(time.Duration(test.at) * time.Second)); ok != test.want {
			t.Errorf("at %v: %t", test.at, ok)
		}
	}
	if _, ok := a.Ahead(record.Instant{}); ok {
		t.Error("no time is corrected")
	}
	if _, ok := new(clocks.Alignment).Ahead(start); ok {
		t.Error("an alignment that is none corrects")
	}
}
