package verify_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"nilvolt/record"
	"pgregory.net/rapid"
)

// always tries a property under the usual policy and without a register.
func always(t *testing.T, property func(reporter, *maker)) {
	rapid.Check(t, func(t *rapid.T) {
		property(t, &maker{dice: rapidDice{t}, set: usual()})
	})
	for seed := range seededChecks {
		if property(t, &maker{dice: newDice(seed), set: usual()}); t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
}

// judgedOne judges a draft as the only record of a call.
func judgedOne(t reporter, m *maker, d *draft) verdict {
	rec := record.Record{ID: "R1", Jobs: d.jobs, Events: inFiles(d.rows)}
	return judgedIn(t, m, []record.Record{rec})[0]
}

func judgedIn(t reporter, m *maker, records []record.Record) []verdict {
	return judged(t, records, m.set, m.reg)
}

// inFiles numbers rows, file by file, as finish does.
func inFiles(rows []record.Event) []record.Event {
	var events []record.Event
	for _, file := range []string{"", "log.csv", "second.csv", "other.csv"} {
		for _, e := range rows {
			if e.Pos.File == file {
				events = append(events, e)
			}
		}
	}
	for i := range events {
		if events[i].Pos.File == "" {
			events[i].Pos.File = "site.csv"
		}
		events[i].Pos.Line = i + 2
	}
	return events
}

func (v verdict) has(rule record.Rule) bool {
	return slices.ContainsFunc(v.findings, func(f found) bool { return f.rule == rule })
}

// placeless leaves the places in the files out of a verdict.
func (v verdict) placeless() verdict {
	for i, p := range v.pairs {
		v.pairs[i], _, _ = strings.Cut(p, " site.csv:")
		v.pairs[i], _, _ = strings.Cut(v.pairs[i], " log.csv:")
		v.pairs[i], _, _ = strings.Cut(v.pairs[i], " second.csv:")
	}
	return v
}

// shuffled returns the rows in another order.
func (m *maker) shuffled(rows []record.Event) []record.Event {
	rows = slices.Clone(rows)
	for i := range rows {
		j := m.intn(i + 1)
		rows[i], rows[j] = rows[j], rows[i]
	}
	return rows
}

// Where times differ, the order of the rows in their files does not matter.
func TestOrderOfRows(t *testing.T) {
	always(t, func(t reporter, m *maker) {
		m.reg = m.register()
		d := m.base()
		for range m.intn(4) {
			happenings[m.intn(len(happenings))](m, d)
		}
		for i := range d.rows {
			d.rows[i].Time = d.rows[i].Time.Add(time.Duration(i) * time.Microsecond)
		}
		want := judgedOne(t, m, d).placeless().lines()
		d.rows = m.shuffled(d.rows)
		if got := judgedOne(t, m, d).placeless().lines(); !slices.Equal(want, got) {
			t.Fatalf("another order:\n%v\n%v", want, got)
		}
	})
}

// A worse reading never mends a record: raising a dead test, or making it
// unreadable, turns no record that is not compliant into one that is. Left out
// are rows behind a restore, where a live reading shows that the power is back,
// and rows that fit several records, which do not count while they are dead.
func TestRaising(t *testing.T) {
	always(t, func(t reporter, m *maker) {
		d := m.base()
		for range 1 + m.intn(3) {
			happenings[m.intn(len(happenings))](m, d)
		}
		i := m.at(d, isTest)
		restored := slices.ContainsFunc(d.rows, func(e record.Event) bool { return e.Kind == record.Restore })
		if i < 0 || restored || d.rows[i].Ambiguous || len(d.jobs) > 1 {
			return
		}
		before := judgedOne(t, m, d)
		was := (&inquiry{set: m.set, job: d.jobs[0]}).classOf(&d.rows[i])
		text := recordText(&record.Record{ID: "R1", Jobs: d.jobs, Events: d.rows})
		d.rows[i].Stage = record.Stage{}
		d.rows[i].Volts = pick(m.dice, shown(400), overflow, shown(30), unreadable, record.Reading{})
		if (&inquiry{set: m.set, job: d.jobs[0]}).classOf(&d.rows[i]) <= was {
			return
		}
		if after := judgedOne(t, m, d); before.status != record.Compliant && after.status == record.Compliant {
			t.Fatalf("%v became compliant by row %d: %v\n%s%s", before.lines(), i, d.rows[i].Volts, text,
				recordText(&record.Record{ID: "R1", Jobs: d.jobs, Events: d.rows}))
		}
	})
}

// No evidence, no pass: of a calm record take away any rows of readings. What is
// still compliant holds every dead test, but for points that are not named any
// more, and a proof before and one after them all.
func TestTakingAway(t *testing.T) {
	always(t, func(t reporter, m *maker) {
		m.calm = true
		d := m.base()
		full := slices.Clone(d.rows)
		d.rows = slices.DeleteFunc(d.rows, func(e record.Event) bool { return e.Kind.IsReading() && oneIn(m.dice, 4) })
		v := judgedOne(t, m, d)
		if v.status != record.Compliant {
			return
		}
		points := map[string]bool{}
		firstTest, lastTest := -1, -1
		for i, e := range d.rows {
			if e.Kind == record.Test && e.Side != record.SupplySide {
				points[e.Point] = true
				lastTest = i
				if firstTest < 0 {
					firstTest = i
				}
			}
		}
		if firstTest < 0 || !slices.ContainsFunc(d.rows[:firstTest], func(e record.Event) bool { return isProofRow(&e) }) ||
			!slices.ContainsFunc(d.rows[lastTest:], func(e record.Event) bool { return isProofRow(&e) }) {
			t.Fatalf("compliant without proofs on both sides of the tests:\n%s", recordText(&record.Record{Jobs: d.jobs, Events: d.rows}))
		}
		for _, e := range full {
			if e.Kind == record.Test && e.Side != record.SupplySide && points[e.Point] && !slices.Contains(d.rows, e) {
				t.Fatalf("compliant without %v:\n%s", e.Pair, recordText(&record.Record{Jobs: d.jobs, Events: d.rows}))
			}
		}
	})
}

// A stricter policy never mends a record that breaks a core rule. Left out are a
// series_gap, which is stricter in neither direction, shared proofs, which may
// also bring in a series that fails, restores and rows that fit several records
// (a reading that stops being dead counts where a dead one did not).
func TestTightening(t *testing.T) {
	always(t, func(t reporter, m *maker) {
		m.set = m.policy()
		m.set.seriesGap, m.set.sharedProofs, m.set.off, m.set.promoted = usual().seriesGap, false, nil, nil
		d := m.base()
		for range 1 + m.intn(3) {
			happenings[m.intn(len(happenings))](m, d)
		}
		if slices.ContainsFunc(d.rows, func(e record.Event) bool { return e.Ambiguous || e.Kind == record.Restore }) {
			return
		}
		before := judgedOne(t, m, d)
		loose := m.set
		m.tighten()
		after := judgedOne(t, m, d)
		broken := func(f found) bool { return f.rule.IsCore() }
		if slices.ContainsFunc(before.findings, broken) && !slices.ContainsFunc(after.findings, broken) {
			t.Fatalf("mended by a stricter policy: %v\n%s---\n%s%s", before.lines(), loose.yaml(), m.set.yaml(),
				recordText(&record.Record{ID: "R1", Jobs: d.jobs, Events: d.rows}))
		}
		if before.status == record.NonCompliant && after.status == record.Compliant && !after.has(record.UnprovedRetest) {
			t.Fatalf("compliant by a stricter policy: %v\n%s---\n%s%s", before.lines(), loose.yaml(), m.set.yaml(),
				recordText(&record.Record{ID: "R1", Jobs: d.jobs, Events: d.rows}))
		}
	})
}

// tighten makes some values of the policy stricter.
func (m *maker) tighten() {
	s := &m.set
	some := func() bool { return oneIn(m.dice, 2) }
	if some() {
		s.deadLimit /= 2
		s.neutralEarthLimit /= 2
	}
	if some() {
		s.tolerance /= 2
		s.liveSourceTolerance /= 2
	}
	if some() {
		s.proveAge /= 2
		s.reproveDelay /= 2
	}
	if some() {
		s.interruptedAfter /= 2
		s.permissionGap /= 2
		s.beginWithin /= 2
	}
	s.reproveRetry = s.reproveRetry && some()
	s.noNeutral = s.noNeutral && some()
	s.reducedIsCaution = s.reducedIsCaution && some()
}
