package verify_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"nilvolt/record"
	"nilvolt/verify"
)

// atTimes returns a record as docs/rules.md has it judged where clocks were compared with
// another: early, late, as logged, and each log early while the others are late, and the
// other way round.
func atTimes(rec *record.Record, says bool) (variants []record.Record) {
	byTimes := func(time func(e *record.Event) record.Instant) {
		v := record.Record{ID: rec.ID, Jobs: rec.Jobs, Events: slices.Clone(rec.Events)}
		for i := range v.Events {
			if e := &v.Events[i]; e.Clock != nil {
				e.Time = time(e)
				e.Clock = nil
			}
		}
		variants = append(variants, v)
	}
	early := func(e *record.Event) record.Instant { return e.Time.Add(-e.Clock.Ahead - e.Clock.Within) }
	late := func(e *record.Event) record.Instant { return e.Time.Add(-e.Clock.Ahead + e.Clock.Within) }
	byTimes(early)
	byTimes(late)
	byTimes(func(e *record.Event) record.Instant {
		if e.Clock.Ahead.Abs() > 2*time.Minute && says {
			return e.Time.Add(-e.Clock.Ahead)
		}
		return e.Time
	})
	for _, log := range logsOf(rec) {
		byTimes(func(e *record.Event) record.Instant {
			if logName(e) == log {
				return early(e)
			}
			return late(e)
		})
		byTimes(func(e *record.Event) record.Instant {
			if logName(e) == log {
				return late(e)
			}
			return early(e)
		})
	}
	return variants
}

// logName names the log of a reading without a record id: one instrument's in one file.
func logName(e *record.Event) string { return e.Pos.File + " " + e.Indicator }

// logsOf names the logs of a record whose clocks were compared.
func logsOf(rec *record.Record) (logs []string) {
	for i := range rec.Events {
		if e := &rec.Events[i]; e.Clock != nil && !slices.Contains(logs, logName(e)) {
			logs = append(logs, logName(e))
		}
	}
	return logs
}

// together is what any of several verdicts says.
func together(verdicts []verdict) (all verdict) {
	for _, v := range verdicts {
		all.status = max(all.status, v.status)
		for _, f := range v.findings {
			i := slices.IndexFunc(all.findings, func(g found) bool { return g.rule == f.rule && g.indicator == f.indicator })
			if i < 0 {
				all.findings = append(all.findings, f)
				continue
			}
			g := &all.findings[i]
			g.severity = max(g.severity, f.severity)
			for _, p := range f.pairs {
				if g.pairs = slices.Clone(g.pairs); !slices.Contains(g.pairs, p) {
					g.pairs = append(g.pairs, p)
				}
			}
			slices.Sort(g.pairs)
		}
	}
	return all
}

// withoutClock leaves out what is checked by other means.
func (v verdict) withoutClock() []string {
	v.pairs = nil
	v.findings = slices.DeleteFunc(slices.Clone(v.findings), func(f found) bool { return f.rule == record.ClockDisagrees })
	return v.lines()
}

// A record with corrected times is judged by each of its times, and what any of these
// judgements finds stands.
func TestEveryTimeCounts(t *testing.T) {
	corrected, better, apart := 0, 0, 0
	for seed := range 1500 {
		m := &maker{dice: newDice(seed)}
		m.set, m.reg = m.policy(), m.register()
		records := m.call()[:1]
		rec := &records[0]
		if len(rec.Events) == 0 {
			continue
		}
		file := rec.Events[m.dice.intn(len(rec.Events))].Pos.File
		several := m.dice.intn(2) == 0 // every log has a clock of its own
		drawn := map[string]*record.Clock{}
		for i := range rec.Events {
			e := &rec.Events[i]
			if !e.Kind.IsReading() || e.Pos.File != file && !several {
				continue
			}
			name := logName(e)
			if drawn[name] == nil {
				drawn[name] = &record.Clock{
					Ahead:  pick(m.dice, 30*time.Second, -90*time.Second, 3*time.Minute, -time.Hour, 0),
					Within: pick(m.dice, 0, time.Second, 20*time.Second),
				}
			}
			e.Clock = drawn[name]
		}
		policy := must(verify.ParsePolicy("policy.yaml", []byte(m.set.yaml())))
		says := !slices.Contains(m.set.off, record.ClockDisagrees)
		var verdicts []verdict
		for _, v := range atTimes(rec, says) {
			verdicts = append(verdicts, oracle([]record.Record{v}, m.set, m.reg)...)
		}
		want, got := together(verdicts), judgedBy(t, records, policy, m.reg)[0]
		if w, g := want.withoutClock(), got.withoutClock(); !slices.Equal(w, g) {
			t.Fatalf("seed %d: %s\n%s", seed, difference(w, g), printed(records, m.set, m.reg))
		}
		corrected++
		if verdicts[0].status < got.status {
			better++
		}
		if len(drawn) > 1 {
			apart++
		}
		for i := range rec.Events {
			e := &rec.Events[i]
			letGo := e.Clock != nil && e.Clock.Ahead.Abs() > 2*time.Minute && says
			counts := slices.ContainsFunc(got.pairs, func(p string) bool { return strings.HasSuffix(p, e.Pos.String()) })
			if letGo && counts && !got.has(record.ClockDisagrees) {
				t.Fatalf("seed %d: a corrected reading counts and nothing says so\n%s", seed, printed(records, m.set, m.reg))
			}
		}
	}
	if corrected < 1000 || better == 0 || apart < 100 {
		t.Errorf("%d records with corrected times, %d of them better by one of these, %d with several clocks", corrected, better, apart)
	}
}

// A sound record by a log whose clock is an hour off is compliant, and says that the
// times were corrected; its proofs are told from those that the unit's log shows too.
// What the unit's log says makes no verdict.
func TestSharedProofs(t *testing.T) {
	start := must(record.ParseInstant("2026-03-02T10:00:00Z"))
	rec := record.Record{ID: "R1", Jobs: []record.Job{{Record: "R1", Supply: record.SinglePhase, Nominal: 230}}}
	clock := &record.Clock{Ahead: time.Hour, Within: time.Second}
	add := func(kind record.Kind, after time.Duration, e record.Event) {
		e.Kind, e.Time, e.Clock = kind, start.Add(after), clock
		e.Indicator, e.Pos = "VI-1", record.Pos{File: "log.csv", Line: len(rec.Events) + 2}
		rec.Events = append(rec.Events, e)
	}
	proof := record.Event{Source: "PU-1", Expected: 230, HasExpected: true, Volts: shown(229.5)}
	add(record.Prove, 0, proof)
	for i, pair := range []record.Pair{{A: record.N, B: record.L}, {A: record.E, B: record.L}, {A: record.E, B: record.N}} {
		add(record.Test, time.Duration(i+1)*time.Minute, record.Event{Pair: pair, Placed: true, Volts: shown(0.2), Waveform: record.AC})
	}
	add(record.Reprove, 4*time.Minute, proof)
	judge := verify.NewJudge(verify.DefaultPolicy(), nil, nil)
	for n, test := range []struct {
		outputs        []time.Duration
		proofs, shared int
	}{
		{nil, 0, 0},
		{[]time.Duration{-time.Hour - 2*time.Second, 4*time.Minute - time.Hour}, 2, 2},
		{[]time.Duration{-time.Hour - 11*time.Second}, 2, 1},
		{[]time.Duration{-time.Hour - 14*time.Second}, 2, 0},
		{[]time.Duration{0}, 2, 0}, // by the logged time
	} {
		with := rec
		with.Events = slices.Clone(rec.Events)
		for i, after := range test.outputs {
			with.Events = append(with.Events, record.Event{
				Kind: record.Output, Time: start.Add(after), Source: "PU-1", Pos: record.Pos{File: "unit.csv", Line: i + 2},
			})
		}
		j := judge.Judge(&with)
		if proofs, shared := j.SharedProofs(); proofs != test.proofs || shared != test.shared {
			t.Errorf("%d: %d of %d proofs are shared", n, shared, proofs)
		}
		said := slices.ContainsFunc(j.Findings, func(f record.Finding) bool {
			return f.Rule == record.ClockDisagrees && f.Severity == record.Caution && strings.Contains(f.Message, "1 h 0 min 0 s ahead")
		})
		if j.Status != record.Compliant || !said {
			t.Errorf("%d: %v %v", n, j.Status, j.Findings)
		}
	}
}

// Two logs are not wrong by the same: a live reading of the one that stands 3 s before the
// tests of the other may come after them, where both are known to 5 s only.
func TestLogsApart(t *testing.T) {
	start := must(record.ParseInstant("2026-03-02T10:00:00Z"))
	for _, test := range []struct {
		within time.Duration
		want   record.Status
	}{{0, record.Compliant}, {time.Second, record.Compliant}, {5 * time.Second, record.LiveFound}} {
		rec := record.Record{ID: "R1", Jobs: []record.Job{{Record: "R1", Supply: record.SinglePhase}}}
		add := func(kind record.Kind, indicator string, seconds int, e record.Event) {
			e.Kind, e.Indicator, e.Time = kind, indicator, start.Add(time.Duration(seconds)*time.Second)
			e.Clock = &record.Clock{Ahead: 10 * time.Second, Within: test.within}
			e.Pos = record.Pos{File: indicator + ".csv", Line: len(rec.Events) + 2}
			rec.Events = append(rec.Events, e)
		}
		proof := record.Event{Source: "PU-1", Expected: 230, HasExpected: true, Volts: shown(229.5)}
		add(record.Prove, "VI-1", 0, proof)
		for i, pair := range []record.Pair{{A: record.N, B: record.L}, {A: record.E, B: record.L}, {A: record.E, B: record.N}} {
			add(record.Test, "VI-1", 30+2*i, record.Event{Pair: pair, Volts: shown(0.2)})
		}
		add(record.Reprove, "VI-1", 60, proof)
		add(record.Test, "VI-2", 27, record.Event{Pair: record.Pair{A: record.N, B: record.L}, Volts: shown(230)})
		if got := judgedBy(t, []record.Record{rec}, verify.DefaultPolicy(), nil)[0]; got.status != test.want {
			t.Errorf("known to %v: %v %v", test.within, got.status, got.lines())
		}
	}
}

// A proof that fails by one of its times speaks against the other records of its
// indicator that lie around that time.
func TestFailedProofElsewhereAtAnyTime(t *testing.T) {
	start := must(record.ParseInstant("2026-03-02T10:00:00Z"))
	sound := record.Record{ID: "R1", Jobs: []record.Job{{Record: "R1", Supply: record.SinglePhase}}}
	add := func(kind record.Kind, minutes int, e record.Event) {
		e.Kind, e.Time, e.Indicator = kind, start.Add(time.Duration(minutes)*time.Minute), "VI-1"
		e.Pos = record.Pos{File: "a.csv", Line: len(sound.Events) + 2}
		sound.Events = append(sound.Events, e)
	}
	proof := record.Event{Source: "PU-1", Expected: 230, HasExpected: true, Volts: shown(229.5)}
	add(record.Prove, 0, proof)
	for i, pair := range []record.Pair{{A: record.N, B: record.L}, {A: record.E, B: record.L}, {A: record.E, B: record.N}} {
		add(record.Test, 10+i, record.Event{Pair: pair, Volts: shown(0.2)})
	}
	add(record.Reprove, 20, proof)
	for _, test := range []struct {
		logged, ahead time.Duration
		fails         bool
	}{
		{15 * time.Minute, 0, true},
		{75 * time.Minute, time.Hour, true}, // corrected into it
		{75 * time.Minute, 30 * time.Minute, false},
		{21 * time.Minute, -90 * time.Second, false},
		{20*time.Minute + 30*time.Second, 30 * time.Second, true},
		{19 * time.Minute, -90 * time.Second, true}, // as it was logged
	} {
		bad := record.Record{ID: "R2", Events: []record.Event{{
			Kind: record.Prove, Time: start.Add(test.logged), Indicator: "VI-1", Source: "PU-1", Expected: 230, HasExpected: true,
			Volts: shown(3), Clock: &record.Clock{Ahead: test.ahead}, Pos: record.Pos{File: "b.csv", Line: 2},
		}}}
		got := judgedBy(t, []record.Record{sound, bad}, verify.DefaultPolicy(), nil)
		if got[0].has(record.ProofFailedElsewhere) != test.fails {
			t.Errorf("logged at %v, %v ahead: %v", test.logged, test.ahead, got[0].lines())
		}
	}
}
