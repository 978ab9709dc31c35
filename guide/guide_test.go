package guide_test

import (
	"cmp"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nilvolt/guide"
	"nilvolt/record"
	"nilvolt/verify"
)

// start is when the records of the tests begin.
var start = must(record.ParseInstant("2026-03-02T10:00:00Z"))

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// A bench is a record that is being made, 10 s from one event to the next.
type bench struct {
	rec       *record.Record
	now       record.Instant
	seen      int
	indicator string // that is at hand
}

func newBench(job record.Job) *bench {
	job.Record = "R1"
	return &bench{rec: &record.Record{ID: "R1", Jobs: []record.Job{job}}, now: start, indicator: "VI-1"}
}

var singlePhase = record.Job{
	Supply: record.SinglePhase, Nominal: 230, Earthing: record.TNS, Device: "60947-3", Poles: record.Poles2,
}

// do adds an event written as in a session: a step; prove 230 or prove 100, on PU-1 if
// none is named; test L-N 0.3; use VI-2 for all readings from then on.
func (b *bench) do(texts ...string) *bench {
	for _, text := range texts {
		words := strings.Fields(text)
		if words[0] == "use" {
			b.indicator = words[1]
			continue
		}
		ev := record.Event{Kind: must(record.ParseKind(words[0])), Time: b.now, Pos: record.Pos{File: "f", Line: len(b.rec.Events) + 1}}
		if ev.Kind.IsReading() {
			ev.Indicator, ev.Waveform = b.indicator, record.AC
			ev.Volts = must(record.ParseReading(words[len(words)-1]))
		}
		if ev.Kind.IsProof() {
			ev.Source, ev.Expected, ev.HasExpected = "PU-1", 230, true
			if len(words) == 3 {
				ev.Source = words[1]
			}
			if ev.Source == "unnamed" {
				ev.Source, ev.HasExpected = "", false
			}
		}
		if ev.Kind == record.Test {
			ev.Pair, ev.Placed = must(record.ParsePair(words[1])), true
			if len(words) == 4 {
				ev.Switch = must(record.ParseSwitch(words[2]))
			}
		}
		b.rec.Events = append(b.rec.Events, ev)
		b.wait(10 * time.Second)
	}
	return b
}

func (b *bench) wait(d time.Duration) { b.now = b.now.Add(d) }

func (b *bench) next(policy *verify.Policy) guide.Instruction {
	return guide.New(policy, nil).Next(guide.Situation{Record: b.rec, Seen: b.seen, Now: b.now})
}

// follow does what an instruction asks for, well.
func (b *bench) follow(in guide.Instruction) {
	if in.Aside || in.Other {
		b.indicator += "+"
	}
	switch in.Action {
	case guide.SeeDanger:
		b.seen = len(b.rec.Events)
	case guide.TakeStep:
		b.do(in.Step.String())
	case guide.ProveOn:
		on := in.On
		if len(on) == 0 {
			on = []string{"PU-1"}
			if len(b.rec.Events) > 0 && slices.ContainsFunc(b.rec.Events, func(ev record.Event) bool { return ev.Kind.IsProof() && ev.Source == "" }) {
				on = []string{"unnamed"}
			}
		}
		for _, source := range on {
			b.do("prove " + cmp.Or(source, "unnamed") + " 230")
		}
	case guide.TestPair:
		b.do(strings.TrimSpace("test " + in.Tested.Pair.String() + " " + in.Tested.Switch.String() + " 0"))
	}
}

var secured = []string{"inspect", "identify", "permission", "isolate", "lock", "label"}

// The procedure, step by step, and what is asked for where something went wrong. The
// answers follow from docs/rules.md sections 6 and 7; the order of the steps before
// the first test is common practice.
func TestNext(t *testing.T) {
	tested := []string{"prove 230", "test L-N 0.1", "test L-E 0.1", "test N-E 0"}
	const aside = "VI-1 failed its proof: put it aside and mark it. Take another indicator and prove it,"
	for _, tt := range []struct {
		name string
		done []string
		want string // how the instruction begins
	}{
		{"nothing done", nil, "Look the indicator"},
		{"inspected", secured[:1], "Show that the circuit"},
		{"identified", secured[:2], "Get leave"},
		{"permitted", secured[:3], "Open the isolating device"},
		{"isolated", secured[:4], "Fit the lock"},
		{"locked", secured[:5], "Fit the warning label"},
		{"labelled", secured, "Prove "},
		{"permission was left out: after the isolation it would come too late", []string{"inspect", "identify", "isolate", "lock", "label"}, "Prove "},
		{"proved", append(secured[:6:6], tested[:1]...), "Test L-N."},
		{"first pair dead", append(secured[:6:6], tested[:2]...), "Test L-E."},
		{"all pairs dead", append(secured[:6:6], tested...), "Prove VI-1 again"},
		{"reproved", append(append(secured[:6:6], tested...), "reprove 230"), "Evidence complete."},
		{"the first proof failed: it may be tried once more", append(secured[:6:6], "prove 100"), "VI-1 failed its proof: look it, its leads and the source over. Prove VI-1 again, on PU-1,"},
		{"and failed again", append(secured[:6:6], "prove 100", "prove 100"), aside},
		{"and passed, and failed", append(secured[:6:6], "prove 100", "prove 230", "prove 100"), aside},
		{"it failed before the steps were taken", append(secured[:1:1], "prove 100"), "VI-1 failed its proof: look it, its leads and the source over. Show that the circuit"},
		{"it failed twice before they were", append(secured[:1:1], "prove 100", "prove 100"), "VI-1 failed its proof: put it aside and mark it. Show that the circuit"},
		{"a proof could not be read: the indicator has not failed", append(secured[:6:6], "prove ---", "prove ---"), "Prove VI-1 on"},
		{"a reprove failed: all is to be taken again, with another indicator", append(append(secured[:6:6], tested...), "reprove 100"), aside},
		{"a reprove could not be read", append(append(secured[:6:6], tested...), "reprove ---"), "Prove VI-1 on"},
		{"it passed when it was proved again", append(append(secured[:6:6], tested...), "reprove 100", "prove 230"), aside},
		{"and tested again", append(append(secured[:6:6], tested...), "reprove 100", "prove 230", "test L-N 0"), aside},
		{"the first proof of another one failed: the source may be at fault", append(append(secured[:6:6], tested...), "reprove 100", "use VI-2", "prove 100"), "VI-2 failed its proof: look it, its leads and the source over. Prove VI-2 again, on PU-1,"},
		{"another one was proved", append(append(secured[:6:6], tested...), "reprove 100", "use VI-2", "prove 230"), "Test L-N."},
		{"and tested", append(append(secured[:6:6], tested...), "reprove 100", "use VI-2", "prove 230", "test L-N 0", "test L-E 0", "test N-E 0"), "Prove VI-2 again, on PU-1."},
		{"tested without a proof", append(secured[:6:6], "test L-N 0.1"), "Prove VI-1 on"},
		{"a pair could not be read", append(append(secured[:6:6], tested[:3]...), "test N-E ---"), "Test N-E."},
		{"live", append(secured[:6:6], "prove 230", "test L-N 231"), "LIVE on L-N: do not touch."},
		{"residual", append(secured[:6:6], "prove 230", "test L-N 30"), "RESIDUAL VOLTAGE on L-N: do not touch."},
		{"a proof on a second unit failed", append(secured[:6:6], "prove PU-2 100", "prove PU-1 230"), "Prove VI-1 on PU-1 and on PU-2,"},
		{"a proof on a unit that nobody named failed", append(secured[:6:6], "prove unnamed 10"), "VI-1 failed its proof: look it, its leads and the source over. Prove VI-1 again, on the proving unit,"},
		{"and one on a unit with a name passed", append(secured[:6:6], "prove unnamed 10", "prove 230"), "Prove VI-1 on PU-1 and on the source that was not named,"},
		{"a proof that failed was made good", append(secured[:6:6], "prove 100", "prove 230"), "Test L-N."},
		{"no lock", append([]string{"inspect", "identify", "permission", "isolate"}, tested...), "Fit the lock"},
		{"two devices opened", append(secured[:4:4], "isolate"), "Fit the lock"},
		{"two devices opened, one of them locked", append(secured[:4:4], "isolate", "lock"), "Fit the lock"},
		{"two devices opened and locked", append(secured[:4:4], "isolate", "lock", "lock"), "Fit the warning label"},
		{"two devices opened, locked, and one of them labelled", append(secured[:4:4], "isolate", "lock", "lock", "label"), "Fit the warning label"},
		{"two devices opened, locked and labelled", append(secured[:4:4], "isolate", "lock", "lock", "label", "label"), "Prove "},
		{"begun before the reprove", append(append(secured[:6:6], tested...), "begin"), "Isolate anew"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := newBench(singlePhase).do(tt.done...).next(verify.DefaultPolicy()).String(); !strings.HasPrefix(got, tt.want) {
				t.Errorf("after %q:\ngot  %s\nwant %s...", tt.done, got, tt.want)
			}
		})
	}
}

// After an interruption the whole sequence is begun anew, each pair once.
func TestNextAfterAnInterruption(t *testing.T) {
	b := newBench(singlePhase).do(secured...).do("prove 230", "test L-N 0", "test L-E 0", "prove 230")
	b.wait(90 * time.Minute)
	for _, want := range []string{"Prove VI-1 on PU-1,", "Test L-N.", "Test L-E.", "Test N-E.", "Prove VI-1 again, on PU-1.", "Evidence complete."} {
		in := b.next(verify.DefaultPolicy())
		if !strings.HasPrefix(in.String(), want) {
			t.Fatalf("%q, not %q", in, want)
		}
		b.follow(in)
	}
}

// A lock that was forgotten until after a test: each pair is tested once more.
func TestNextAfterALateLock(t *testing.T) {
	b := newBench(singlePhase).do("prove 230", "isolate", "test L-N 0", "lock")
	for _, want := range []string{"Test L-N.", "Test L-E.", "Test N-E.", "Prove VI-1 again, on PU-1.", "Evidence complete."} {
		in := b.next(verify.DefaultPolicy())
		if !strings.HasPrefix(in.String(), want) {
			t.Fatalf("%q, not %q", in, want)
		}
		b.follow(in)
	}
}

// A pair that could not be read behind the late lock is no pair that was tested anew.
func TestNextAfterALateLockAndNoReading(t *testing.T) {
	b := newBench(singlePhase).do("isolate", "prove 230", "test L-E 0", "prove 230", "lock", "test N-E ---")
	for _, want := range []string{"Test L-N.", "Test L-E.", "Test N-E.", "Prove VI-1 again, on PU-1.", "Evidence complete."} {
		in := b.next(verify.DefaultPolicy())
		if !strings.HasPrefix(in.String(), want) {
			t.Fatalf("%q, not %q", in, want)
		}
		b.follow(in)
	}
}

// What is wrong on paper is mended there, and the record goes on; it does not begin anew.
func TestNextWithoutAJobSheet(t *testing.T) {
	work := append(slices.Clone(secured), "prove 230", "test L-N 0")
	two := newBench(singlePhase).do(work...)
	two.rec.Jobs = append(two.rec.Jobs, record.Job{Record: "R1", Supply: record.ThreePhase})
	none := newBench(singlePhase).do(work...)
	none.rec.Jobs = nil
	for _, tt := range []struct {
		b    *bench
		want string
	}{
		{none, "The job sheet has to be mended first; what was taken stays, and this record can be gone on with then. supply-unknown: no job sheet has this record"},
		{newBench(record.Job{}).do(work...), "The job sheet has to be mended first; what was taken stays, and this record can be gone on with then. supply-unknown: the job sheet states no supply"},
		{two, "The job sheet has to be mended first; what was taken stays, and this record can be gone on with then. job-conflict: "},
		{newBench(record.Job{}).do("isolate", "permission"), "Nothing that is taken now makes this record comply"},
	} {
		if got := tt.b.next(verify.DefaultPolicy()).String(); !strings.HasPrefix(got, tt.want) {
			t.Errorf("%s", got)
		}
	}
}

// isSpent reports whether an indicator has shown too little on a source after a dead test
// or a second time. What stands behind a restore may not be judged, and is left out.
func (b *bench) isSpent(indicator string) bool {
	tested, failed := false, 0
	for _, ev := range b.rec.Events {
		switch {
		case ev.Kind == record.Restore:
			return false
		case ev.Indicator != indicator:
		case ev.Kind == record.Test:
			tested = true
		case ev.Volts.State == record.Shown && ev.Volts.Volts < 200:
			if failed++; tested || failed > 1 {
				return true
			}
		}
	}
	return false
}

// A policy that lets a second proof be tried again lets the same indicator be proved.
func TestNextWhereTheRulesAllowARetry(t *testing.T) {
	policy := verify.DefaultPolicy()
	policy.ReproveRetry = true
	b := newBench(singlePhase).do(secured...).do("prove 230", "test L-N 0", "test L-E 0", "test N-E 0", "prove 100")
	if got := b.next(policy).String(); !strings.HasPrefix(got, "VI-1 failed its proof: look it, its leads and the source over. Prove VI-1 again, on PU-1;") {
		t.Error(got)
	}
	if got := b.do("prove 230").next(policy); got.Action != guide.Complete || got.Failed != "" {
		t.Error(got)
	}
}

// An instrument that failed is named until another one is used, also where the evidence
// was complete before.
func TestNextAfterCompleteEvidence(t *testing.T) {
	b := newBench(singlePhase).do(secured...).do("prove 230", "test L-N 0", "test L-E 0", "test N-E 0", "prove 230", "begin")
	b.wait(10 * time.Minute)
	want := "VI-1 failed its proof: put it aside and mark it. Evidence complete."
	if got := b.do("prove 100").next(verify.DefaultPolicy()).String(); !strings.HasPrefix(got, want) {
		t.Error(got)
	}
}

// mended reports whether the whole work, done once more behind some steps, makes the
// record comply.
func (b *bench) mended(policy *verify.Policy) (steps []string, ok bool) {
	judge := verify.NewJudge(policy, nil, nil)
	for _, isolate := range [][]string{nil, {"isolate"}} {
		for n := range 5 {
			c := &bench{rec: &record.Record{ID: b.rec.ID, Jobs: b.rec.Jobs, Events: slices.Clone(b.rec.Events)}, now: b.now, indicator: "VI-9"}
			steps = slices.Concat(isolate, slices.Repeat([]string{"lock"}, n))
			c.do(steps...).do("prove unnamed 230", "prove PU-1 230", "prove PU-2 230")
			for _, pair := range judge.Judge(c.rec).Pairs() {
				c.do(strings.TrimSpace("test " + pair.Tested.Pair.String() + " " + pair.Tested.Switch.String() + " 0"))
			}
			if c.do("prove 230"); judge.Judge(c.rec).Status == record.Compliant {
				return steps, true
			}
		}
	}
	return nil, false
}

// Whoever follows the instructions comes to an end from wherever a record stands: to
// complete evidence, and then the record complies; or to the word that nothing mends
// it. On the way no instruction adds a failure that is still there at the end, and none
// asks for an indicator that failed its proof for good.
func TestFollowing(t *testing.T) {
	happenings := append([]string{
		"prove 230", "prove 100", "prove ---", "prove PU-2 100", "prove PU-2 230", "prove unnamed 230", "prove unnamed 10", "begin", "restore", "shed-load",
		"test L-N 0", "test L-E 0", "test N-E 0", "test L-N 230", "test L-E 30", "test N-E ---",
		"test SL1-N on 0", "test SL1-N off 230",
	}, secured...)
	jobs := []record.Job{
		singlePhase,
		{Supply: record.ThreePhase, Nominal: 400, Earthing: record.TT, Device: "60898", Poles: record.Poles4},
		{Supply: record.SinglePhase, Switched: []record.Conductor{must(record.ParseConductor("SL1"))}},
		{Supply: record.ThreePhase3Wire, Nominal: 400, Device: "60898", Poles: record.Poles1}, // does not open every line
		{}, // nobody knows which pairs are required
	}
	policy := verify.DefaultPolicy()
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(rapid.SampledFrom(jobs).Draw(t, "job"))
		for range rapid.IntRange(0, 12).Draw(t, "happenings") {
			b.do(rapid.SampledFrom(happenings).Draw(t, "happens"))
			b.wait(time.Duration(rapid.SampledFrom([]int{0, 1, 20, 90}).Draw(t, "minutes")) * time.Minute)
		}
		before := b.next(policy)
		for range 60 {
			in := b.next(policy)
			switch in.Action {
			case guide.Complete:
				if j := verify.NewJudge(policy, nil, nil).Judge(b.rec); j.Status != record.Compliant {
					t.Fatalf("complete, and %v: %v", j.Status, j.Findings)
				}
				return
			case guide.StartAnew, guide.MendSheet:
				if len(in.Stays) == 0 {
					t.Fatal("nothing stays")
				}
				if before.Action != in.Action && before.Action != guide.SeeDanger {
					t.Fatalf("began with %q, and now %q", before, in)
				}
				if steps, mended := b.mended(policy); mended {
					t.Fatalf("%q mends it, and is not found: %v", steps, in)
				}
				return
			case guide.NoAction:
				t.Fatal("nothing is said")
			case guide.ProveOn, guide.TestPair:
				if b.isSpent(in.Indicator) || b.isSpent(in.Failed) && !in.Aside {
					t.Fatalf("%q, after %v", in, b.rec.Events)
				}
			case guide.SeeDanger, guide.TakeStep:
			}
			b.follow(in)
		}
		t.Fatalf("no end: %v", b.next(policy))
	})
}
