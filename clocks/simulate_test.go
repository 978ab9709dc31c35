package clocks_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nilvolt/clocks"
	"nilvolt/record"
)

// The full run has 500 of each kind; its figures stand in DEVELOPERS.md.
var simulated = flag.Int("cases", usualCases, "simulated cases of each kind")

// A world is what is made up for one simulated case.
type world struct {
	days      int
	jobs      int     // a day
	period    float64 // of proofs in seconds; 0 is a working day's own course
	wobble    float64 // standard deviation of a periodic proof's time, seconds
	missed    float64 // share that a log misses
	extra     float64 // share of proofs that one log alone shows
	doubled   float64 // share that a log shows twice
	jitter    float64 // standard deviation of a time, seconds, before it is cut to whole ones
	stepAt    float64 // where in the time the log's clock is set; 0 is never
	backAt    float64 // where it is set back
	step      float64 // by how much, seconds
	behind    float64 // by how much setting it back misses
	foreign   bool    // the logs have no proof in common
	shortened float64 // share of the time that the log covers
}

// A truth is a simulated case with its answer.
type truth struct {
	reference, log []clocks.Proof
	common         int       // proofs that both logs show, repeated ones once
	ahead          []float64 // of each of the log's proofs: how far the clock was ahead
}

var start = record.NewInstant(1772438400, 0, 60) // 2026-03-02T08:00:00Z

func at(sec float64) record.Instant {
	return start.Add(time.Duration(math.Floor(sec)) * time.Second) // logs have whole seconds
}

// course returns when proofs are made.
func (w *world) course(rng *rand.Rand) (times []float64) {
	if w.period > 0 {
		for t := 0.0; t < float64(w.days)*86400; t += w.period {
			times = append(times, t+w.wobble*rng.NormFloat64())
		}
		return times
	}
	for day := range w.days {
		for range w.jobs {
			t := float64(day)*86400 + rng.Float64()*9*3600
			times = append(times, t, t+240+rng.Float64()*1500)
		}
	}
	return times
}

func (w *world) offset(rng *rand.Rand) float64 {
	special := []float64{0, 3600, -3600, 7200, -7200, 86400, -86400, 19800, 43200}
	if rng.IntN(3) == 0 {
		return special[rng.IntN(len(special))] + 2*rng.NormFloat64()
	}
	return (2*rng.Float64() - 1) * 86400
}

func (w *world) simulate(rng *rand.Rand) truth {
	offset, drift := w.offset(rng), (2*rng.Float64()-1)*100e-6
	span := float64(w.days) * 86400
	var tr truth
	ahead := func(t float64) float64 {
		a := offset + drift*(t-span/2)
		if w.stepAt > 0 && t > w.stepAt*span && (w.backAt == 0 || t < w.backAt*span) {
			a += w.step
		}
		if w.backAt > 0 && t >= w.backAt*span {
			a += w.behind
		}
		return a
	}
	phase := rng.Float64() // of the part that the log covers
	covered := func(t float64) bool {
		return w.shortened == 0 || t >= phase*(1-w.shortened)*span && t <= (phase*(1-w.shortened)+w.shortened)*span
	}
	note := func(list *[]clocks.Proof, t float64) (n int) {
		*list = append(*list, clocks.Proof{At: at(t + w.jitter*rng.NormFloat64())})
		if rng.Float64() >= w.doubled {
			return 1
		}
		*list = append(*list, clocks.Proof{At: at(t + 2 + 8*rng.Float64())})
		return 2
	}
	last := math.Inf(-1)
	times := w.course(rng)
	slices.Sort(times)
	for _, t := range times {
		inReference, inLog := rng.Float64() >= w.missed, rng.Float64() >= w.missed && covered(t)
		switch {
		case w.foreign:
			inReference = rng.IntN(2) == 0
			inLog = !inReference
		case rng.Float64() < w.extra:
			inReference = rng.IntN(2) == 0
			inLog = !inReference && covered(t)
		}
		if inReference {
			note(&tr.reference, t)
		}
		if inLog {
			for range note(&tr.log, t+ahead(t)) {
				tr.ahead = append(tr.ahead, ahead(t))
			}
		}
		if inReference && inLog && t-last > 30 {
			tr.common++
			last = t
		}
	}
	return tr
}

// A score counts what became of the cases of one kind.
type score struct {
	cases, sure, five, fiveSure, near, covered, wrong int
	worst                                             float64
	rows, corrected                                   int
	doubts                                            map[clocks.Doubt]int
}

// errorOf returns the largest error of the corrections of the log's proofs.
func errorOf(tr *truth, a *clocks.Alignment) (most float64, ok bool) {
	for i, p := range tr.log {
		if ahead, near := a.Ahead(p.At); near {
			most, ok = max(most, math.Abs(ahead.Seconds()-tr.ahead[i])), true
		}
	}
	return most, ok
}

func (s *score) add(tr *truth) {
	a := clocks.Align(tr.reference, tr.log)
	s.cases++
	if tr.common >= 5 {
		s.five++
	}
	if !a.Sure {
		if s.doubts == nil {
			s.doubts = map[clocks.Doubt]int{}
		}
		s.doubts[a.Doubt]++
		return
	}
	for _, p := range tr.log {
		s.rows++
		if _, ok := a.Ahead(p.At); ok {
			s.corrected++
		}
	}
	s.sure++
	most, _ := errorOf(tr, &a)
	if most > 5 || tr.common == 0 {
		s.wrong++
	}
	s.worst = max(s.worst, most)
	if tr.common >= 5 {
		s.fiveSure++
		if most <= 1 {
			s.near++
		}
		if most <= a.Within.Seconds() {
			s.covered++
		}
	}
}

func (s *score) String() string {
	said := ""
	if s.rows > 0 {
		said = fmt.Sprintf("; %d %% of the log's proofs corrected", 100*s.corrected/s.rows)
	}
	return fmt.Sprintf("%d cases, %d of them sure, %d wrong; of %d with five common proofs %d sure, %d within 1 s, %d within what was said, worst %.2f s%s; %v",
		s.cases, s.sure, s.wrong, s.five, s.fiveSure, s.near, s.covered, s.worst, said, s.doubts)
}

// kinds are the worlds that are simulated. Common proofs of those that are fair must
// be aligned within a second in 99 of 100 cases; in none may a wrong alignment be sure.
var kinds = []struct {
	name string
	fair bool
	w    world
}{
	{"a day, all seen", true, world{days: 1, jobs: 5, jitter: 0.3}},
	{"a day, few jobs", true, world{days: 1, jobs: 3, jitter: 0.3, missed: 0.05}},
	{"a day, few jobs, some missed", true, world{days: 1, jobs: 3, jitter: 0.3, missed: 0.1}},
	{"a week", true, world{days: 5, jobs: 4, jitter: 0.3, missed: 0.1, extra: 0.1, doubled: 0.1}},
	{"a month", true, world{days: 30, jobs: 4, jitter: 0.3, missed: 0.2, extra: 0.2, doubled: 0.1}},
	{"thirteen weeks", true, world{days: 91, jobs: 3, jitter: 0.5, missed: 0.2, extra: 0.2, doubled: 0.1}},
	{"a short log against a long one", true, world{days: 60, jobs: 4, jitter: 0.3, missed: 0.1, extra: 0.1, shortened: 0.1}},
	{"every day about eight", true, world{days: 40, period: 86400, wobble: 300, jitter: 0.3, missed: 0.1}},
	{"half missed", false, world{days: 10, jobs: 4, jitter: 0.5, missed: 0.4, extra: 0.2}},
	{"jitter of 2 s", false, world{days: 10, jobs: 4, jitter: 2, missed: 0.1, extra: 0.1, doubled: 0.1}},
	{"every 30 min give or take 2", false, world{days: 2, period: 1800, wobble: 120, jitter: 0.3, missed: 0.1}},
	{"every 30 min to the second", false, world{days: 2, period: 1800, wobble: 0.5, jitter: 0.3, missed: 0.1}},
	{"every 30 min to 10 s", false, world{days: 2, period: 1800, wobble: 10, jitter: 0.3, missed: 0.1}},
	{"every day at eight", false, world{days: 40, period: 86400, wobble: 3, jitter: 0.3, missed: 0.1}},
	{"every 20 s", false, world{days: 1, period: 20, wobble: 2, jitter: 0.3, missed: 0.5}},
	{"nothing in common", false, world{days: 20, jobs: 8, jitter: 0.3, foreign: true}},
	{"nothing in common, periodic", false, world{days: 3, period: 1200, wobble: 3, jitter: 0.3, foreign: true}},
	{"set by an hour in the middle", false, world{days: 10, jobs: 4, jitter: 0.3, missed: 0.1, stepAt: 0.5, step: 3600}},
	{"set by an hour early", false, world{days: 10, jobs: 4, jitter: 0.3, missed: 0.1, stepAt: 0.2, step: -3600}},
	{"set by an hour late", false, world{days: 10, jobs: 4, jitter: 0.3, missed: 0.1, stepAt: 0.9, step: 3600}},
	{"set by 20 s in the middle", false, world{days: 10, jobs: 4, jitter: 0.3, missed: 0.1, stepAt: 0.5, step: 20}},
	{"set by 6 s in the middle", false, world{days: 10, jobs: 4, jitter: 0.3, missed: 0.1, stepAt: 0.5, step: 6}},
	{"set by 3 s late", false, world{days: 10, jobs: 4, jitter: 0.3, missed: 0.1, stepAt: 0.8, step: 3}},
	{"another zone for an hour or so", false, world{days: 3, jobs: 12, jitter: 0.3, stepAt: 0.4, backAt: 0.41, step: 3600}},
	{"another zone for some hours", false, world{days: 3, jobs: 12, jitter: 0.3, stepAt: 0.4, backAt: 0.45, step: -7200}},
	{"another zone for two days", false, world{days: 10, jobs: 4, jitter: 0.3, missed: 0.1, stepAt: 0.4, backAt: 0.6, step: 3600}},
	{"set by 10 min and back but for 4 s", false, world{days: 10, jobs: 6, jitter: 0.3, missed: 0.1, stepAt: 0.41, backAt: 0.42, step: 600, behind: 4}},
}

// Cases whose truth is known, since they are made up: a wrong alignment is never
// sure, and where the logs can tell, they are within a second.
func TestSimulated(t *testing.T) {
	var fair, wrong score
	for n, k := range kinds {
		t.Run(k.name, func(t *testing.T) {
			var s score
			cases := *simulated
			if k.w.days > 50 || k.w.period == 20 { // slow ones
				cases = (cases + 4) / 5
			}
			for i := range cases {
				tr := k.w.simulate(rand.New(rand.NewPCG(uint64(n), uint64(i))))
				s.add(&tr)
			}
			t.Log(&s)
			if s.wrong > 0 {
				t.Errorf("%d wrong alignments were sure", s.wrong)
			}
			wrong.cases, wrong.wrong, wrong.sure = wrong.cases+s.cases, wrong.wrong+s.wrong, wrong.sure+s.sure
			if k.fair {
				fair.five, fair.near, fair.covered = fair.five+s.five, fair.near+s.near, fair.covered+s.covered
			}
		})
	}
	t.Logf("of %d cases %d were sure and %d of these wrong; of %d fair ones with five common proofs %d were within 1 s, %d within what was said",
		wrong.cases, wrong.sure, wrong.wrong, fair.five, fair.near, fair.covered)
	if 100*fair.near < 99*fair.five {
		t.Errorf("of %d alignments only %d are within a second", fair.five, fair.near)
	}
	if 100*fair.covered < 98*fair.five {
		t.Errorf("of %d alignments only %d are within what was said", fair.five, fair.covered)
	}
}
