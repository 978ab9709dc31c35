package verify_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"nilvolt/record"
	"nilvolt/verify"
	"pgregory.net/rapid"
)

// A plain record is judged in a short way, any other by the rules one by one. Both
// must say the same, to the letter, of every record that the short way takes.

// allOf writes all that a judgement says.
func allOf(j *verify.Judgement) string {
	var b strings.Builder
	proofs, shared := j.SharedProofs()
	fmt.Fprintln(&b, j.Record, j.Status, j.Supply, j.Bare(), j.NotRecorded(), proofs, shared)
	for _, f := range j.Findings {
		fmt.Fprintf(&b, "%+v\n", f)
	}
	// The rows are weighed last, when somebody asks.
	fmt.Fprintf(&b, "%+v\n%+v\n", j.Pairs(), j.Series())
	for _, r := range j.Rows() {
		fmt.Fprintf(&b, "%v %v %v %v %v %v %v\n", r.Event.Pos, r.State, r.Dead, r.Counts, r.Passes, r.Series, r.Aside)
	}
	return b.String()
}

// sameBothWays judges the records of a call in the short way where they are plain,
// and by the rules, and returns how many were plain, and how many of these
// not compliant.
func sameBothWays(t reporter, m *maker, records []record.Record, across *verify.Across) (plain, faulty int) {
	policy, err := verify.ParsePolicy("policy.yaml", []byte(m.set.yaml()))
	if err != nil {
		t.Fatalf("policy: %v\n%s", err, m.set.yaml())
	}
	short := verify.NewJudge(policy, m.reg, across)
	for i := range records {
		rec := &records[i]
		got := short.Judge(rec)
		if short.WasPlain() {
			plain++
			if got.Status != record.Compliant {
				faulty++
			}
		}
		// A judge of its own, which has kept nothing of a record before.
		want := verify.NewJudge(policy, m.reg, across).ByRules(rec)
		g, w := allOf(got), allOf(want)
		if g != w {
			t.Fatalf("%s by the rules:\n%s\nin the short way:\n%s\n%s", rec.ID, w, g, printed(records, m.set, m.reg))
		}
	}
	return plain, faulty
}

// nearPlain is what may happen to a plain record at the limits of what is plain.
var nearPlain = []func(*maker, *draft){
	func(m *maker, d *draft) { // two rows change their places or their times
		if i := m.at(d, anyRow); i > 0 {
			a, b := &d.rows[i-1], &d.rows[i]
			if *a, *b = *b, *a; oneIn(m.dice, 2) {
				*a, *b = *b, *a
				a.Time, b.Time = b.Time, a.Time
			}
		}
	},
	func(m *maker, d *draft) { // a step after a while, often close to a limit
		i := m.intn(len(d.rows) + 1)
		d.insert(i, record.Event{Kind: pick(m.dice, record.Isolate, record.Permission, record.Begin, record.Begin, record.ShedLoad, record.Inspect)})
		d.shift(i, pick(m.dice, 0, m.set.permissionGap-time.Second, m.set.permissionGap, m.set.beginWithin-time.Second, m.set.beginWithin))
	},
	func(m *maker, d *draft) { // more proofs, another voltage among them
		i := m.at(d, isProofRow)
		if i < 0 {
			return
		}
		e := d.rows[i]
		e.HasExpected, e.Expected = true, pick(m.dice, record.Volts(24), 44, 45, 50, 230, 1000)
		m.showProof(&e)
		d.insert(i+m.intn(2), e)
		d.shift(i+1, pick(m.dice, 0, 0, m.set.seriesGap-time.Second, m.set.seriesGap))
	},
	func(m *maker, d *draft) { // proofs on a low voltage only
		for i := range d.rows {
			if e := &d.rows[i]; isProofRow(e) && !oneIn(m.dice, 3) {
				e.HasExpected, e.Expected = true, pick(m.dice, record.Volts(24), 44, 45)
				m.showProof(e)
			}
		}
		d.job().Nominal = 0
	},
	func(m *maker, d *draft) { // the tests come late, or their end
		if i := m.at(d, isReadingRow); i >= 0 {
			d.shift(i, pick(m.dice, m.set.proveAge, m.set.reproveDelay, m.set.interruptedAfter)-time.Duration(m.intn(40))*time.Second)
		}
	},
	func(m *maker, d *draft) { // counters, of steps too
		countRows(m, d)
		m.on(d, anyRow, func(e *record.Event) { e.HasSeq, e.Seq = true, int64(m.intn(40)) })
	},
	func(m *maker, d *draft) { // a row whose clock was compared, or a proving unit's
		m.on(d, anyRow, func(e *record.Event) {
			if oneIn(m.dice, 2) {
				e.Clock = &record.Clock{Ahead: time.Minute, Within: time.Second}
			} else if isProofRow(e) {
				e.Kind = record.Output
			}
		})
	},
	func(m *maker, d *draft) { // a pair read otherwise before
		if i := m.at(d, isTest); i >= 0 {
			e := d.rows[i]
			e.Volts = pick(m.dice, shown(m.set.deadLimit+0.1), shown(25), shown(230), shown(0), unreadable, overflow, record.Reading{})
			d.insert(i, e)
			d.shift(i+1, pick(m.dice, 0, 0, m.set.interruptedAfter-time.Second, m.set.interruptedAfter))
		}
	},
	func(m *maker, d *draft) { // the dead tests once more, some of them otherwise before
		if i := m.at(d, isTest); i >= 0 {
			for k := len(d.rows) - 1; k > i; k-- {
				if e := d.rows[k]; isTest(&e) && !oneIn(m.dice, 8) {
					if oneIn(m.dice, 4) {
						e.Volts = pick(m.dice, shown(25), shown(230), unreadable)
					}
					d.insert(i, e)
				}
			}
		}
	},
	func(m *maker, d *draft) { // a pair not dead and one live, before all others
		first := slices.IndexFunc(d.rows, func(e record.Event) bool { return isTest(&e) })
		for _, v := range []record.Reading{shown(230), pick(m.dice, shown(25), unreadable, shown(0))} {
			if i := m.at(d, isTest); i >= 0 {
				e := d.rows[i]
				e.Volts = v
				d.insert(first, e)
			}
		}
	},
	func(m *maker, d *draft) { m.on(d, isTest, func(e *record.Event) { e.Placed = false }) },
	func(m *maker, d *draft) {
		m.on(d, isTest, func(e *record.Event) { e.Waveform = record.WaveformUnknown })
	},
	func(m *maker, d *draft) { m.on(d, isProofRow, func(e *record.Event) { e.Source = "" }) },
	func(m *maker, d *draft) { // no proofs before, or none after
		tests := slices.IndexFunc(d.rows, func(e record.Event) bool { return isTest(&e) })
		after := oneIn(m.dice, 2)
		n := 0
		d.rows = slices.DeleteFunc(d.rows, func(e record.Event) bool {
			n++
			return isProofRow(&e) && n > tests == after
		})
	},
	dropRow, dropKind, dropKind, showTest, showTest, showTest, showProof, showProof, showProof, failFirst, turnProbes, waitBefore,
	func(m *maker, d *draft) { d.jobs = append(d.jobs, d.jobs[0]) },
	func(m *maker, d *draft) { d.rows = d.rows[:0] },
	func(m *maker, d *draft) { d.job().Poles, d.job().Nominal = record.PolesUnknown, 0 },
	func(m *maker, d *draft) { // beyond the voltages of detectors
		d.job().Nominal *= 5
		for i := range d.rows {
			if e := &d.rows[i]; isProofRow(e) {
				e.HasExpected, e.Expected = true, d.job().Nominal
				m.showProof(e)
			}
		}
	},
}

// plainCall makes records of one call that are plain or nearly so.
func (m *maker) plainCall() []record.Record {
	records := make([]record.Record, 1+m.intn(3))
	for i := range records {
		d := m.base()
		for k := record.Inspect; k <= record.Restore; k++ {
			if oneIn(m.dice, 12) || k == record.Begin && oneIn(m.dice, 2) {
				d.rows = slices.DeleteFunc(d.rows, func(e record.Event) bool { return e.Kind == k })
			}
		}
		for range m.intn(3) {
			if !oneIn(m.dice, 3) {
				nearPlain[m.intn(len(nearPlain))](m, d)
			} else {
				happenings[m.intn(len(happenings))](m, d)
			}
		}
		records[i] = m.finish(fmt.Sprintf("R%d", i+1), d)
	}
	if len(records) > 1 && oneIn(m.dice, 8) {
		copyReadings(&records[0], &records[1])
	}
	if len(records) > 1 && oneIn(m.dice, 4) {
		failElsewhere(m, &records[0], &records[1])
	}
	return records
}

// checkPlain makes a call and judges it in both ways, with the rules across records
// and without.
func checkPlain(t reporter, d dice) (records, plain, faulty int) {
	m := &maker{dice: d, calm: true, plain: true}
	m.set = m.policy()
	if oneIn(m.dice, 3) {
		m.reg = m.register()
	}
	call := m.plainCall()
	var across *verify.Across
	if oneIn(m.dice, 2) {
		policy, err := verify.ParsePolicy("policy.yaml", []byte(m.set.yaml()))
		if err != nil {
			t.Fatalf("policy: %v\n%s", err, m.set.yaml())
		}
		survey, long := verify.NewSurvey(policy, m.reg), verify.NewSurvey(policy, m.reg)
		for i := range call {
			survey.Add(&call[i])
			if slices.ContainsFunc(call[i].Events, func(e record.Event) bool { return e.Clock != nil }) {
				long.Add(&call[i])
			} else {
				long.AddByRules(&call[i])
			}
			if got, want := survey.Gathered(), long.Gathered(); got != want {
				t.Fatalf("gathered by the rules:\n%s\nin the short way:\n%s\n%s", want, got, printed(call, m.set, m.reg))
			}
		}
		across = verify.NewAcross(survey)
	}
	plain, faulty = sameBothWays(t, m, call, across)
	return len(call), plain, faulty
}

func TestPlain(t *testing.T) {
	records, plain, faulty := 0, 0, 0
	for seed := range seededChecks * 3 {
		r, p, f := checkPlain(t, newDice(seed))
		records, plain, faulty = records+r, plain+p, faulty+f
	}
	t.Logf("%d of %d records are plain, %d of these not compliant", plain, records, faulty)
	if plain < records/10 || faulty < plain/10 {
		t.Errorf("only %d of %d records are plain, %d of these not compliant", plain, records, faulty)
	}
}

func TestPlainSmall(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { checkPlain(t, rapidDice{t}) })
}

// byteDice falls as bytes say, and shows 0 when there are no more.
type byteDice struct{ bytes *[]byte }

func (d byteDice) intn(n int) int {
	if len(*d.bytes) == 0 {
		return 0
	}
	b := (*d.bytes)[0]
	*d.bytes = (*d.bytes)[1:]
	return int(b) % n
}

// FuzzPlain is TestPlain with what happens drawn by the fuzzer.
func FuzzPlain(f *testing.F) {
	for seed := range 20 {
		d := newDice(seed)
		data := make([]byte, 60)
		for i := range data {
			data[i] = byte(d.intn(256))
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) { checkPlain(t, byteDice{&data}) })
}
