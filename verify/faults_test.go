package verify_test

import (
	"slices"
	"testing"
	"time"

	"nilvolt/record"
)

// A fault is one thing that is wrong with an otherwise compliant record, and the
// core rules of which one must name it.
type fault struct {
	name  string
	apply func(m *maker, c *calm) bool // false where it cannot be made in this record
	want  []record.Rule
}

// A calm record has one series of proofs, one reading for each thing required,
// and one series behind them, all by one indicator.
type calm struct {
	*draft
	prove, reprove [2]int // from and to, of the rows
	tests          []int  // of the load side
}

func newCalm(d *draft) *calm {
	c := &calm{draft: d}
	seen := false
	for i, e := range d.rows {
		switch {
		case e.Kind == record.Test:
			seen = true
			if e.Side != record.SupplySide {
				c.tests = append(c.tests, i)
			}
		case e.Kind.IsProof() && !seen:
			if c.prove[1] == 0 {
				c.prove[0] = i
			}
			c.prove[1] = i + 1
		case e.Kind.IsProof():
			if c.reprove[1] == 0 {
				c.reprove[0] = i
			}
			c.reprove[1] = i + 1
		}
	}
	return c
}

// test returns one of the dead tests that count.
func (c *calm) test(m *maker) *record.Event { return &c.rows[c.tests[m.intn(len(c.tests))]] }

// series returns the rows of a series.
func (c *calm) series(of [2]int) []record.Event { return c.rows[of[0]:of[1]] }

// onTest makes a fault of a dead test.
func onTest(change func(*record.Event)) func(*maker, *calm) bool {
	return func(m *maker, c *calm) bool {
		change(c.test(m))
		return true
	}
}

// onSeries makes a fault of each row of the series before or after.
func onSeries(after bool, change func(*record.Event)) func(*maker, *calm) bool {
	return func(_ *maker, c *calm) bool {
		of := c.prove
		if after {
			of = c.reprove
		}
		for i := range c.series(of) {
			change(&c.series(of)[i])
		}
		return true
	}
}

func showing(r record.Reading) func(*record.Event) {
	return func(e *record.Event) { e.Volts, e.Stage = r, record.Stage{} }
}

func otherIndicator(e *record.Event) { e.Indicator = "VI-9" }

func selfTest(e *record.Event) { e.Source = e.Indicator }

// tooLow proves on 30 V only, which the indicator shows rightly.
func tooLow(e *record.Event) {
	e.Source, e.HasExpected, e.Expected = "PU-1", true, 30
	e.Volts, e.Stage = shown(30), record.Stage{}
}

// otherWaveform takes a test on what the supply does not have.
func otherWaveform(e *record.Event) {
	if e.Waveform == record.AC {
		e.Waveform = record.DirectVoltage
	} else {
		e.Waveform = record.AC
	}
}

// removeTest takes a dead test out; the last one of its point stays, for then
// nothing says that there is such a point.
func removeTest(m *maker, c *calm) bool {
	at := c.tests[m.intn(len(c.tests))]
	point := c.rows[at].Point
	others := 0
	for _, i := range c.tests {
		if i != at && c.rows[i].Point == point {
			others++
		}
	}
	c.rows = slices.Delete(c.rows, at, at+1)
	return others > 0 || point == ""
}

// moveTest moves a dead test to the time of another row, just before or behind.
func moveTest(to func(*calm) *record.Event, by time.Duration) func(*maker, *calm) bool {
	return func(m *maker, c *calm) bool {
		c.test(m).Time = to(c).Time.Add(by)
		return true
	}
}

func firstProof(c *calm) *record.Event { return &c.rows[c.prove[0]] }
func lastProof(c *calm) *record.Event  { return &c.rows[c.reprove[1]-1] }

func remove(after bool) func(*maker, *calm) bool {
	return func(_ *maker, c *calm) bool {
		of := c.prove
		if after {
			of = c.reprove
		}
		c.rows = slices.Delete(c.rows, of[0], of[1])
		return true
	}
}

// wait lets time pass before the rows from one on.
func wait(from func(*calm) int, d time.Duration) func(*maker, *calm) bool {
	return func(_ *maker, c *calm) bool {
		c.shift(from(c), d)
		return true
	}
}

// failOnce lets the first reprove fail and the next one pass.
func failOnce(_ *maker, c *calm) bool {
	e := c.rows[c.reprove[0]]
	showing(shown(0))(&e)
	c.insert(c.reprove[0], e)
	return true
}

// failLast lets a last reprove on the same source fail.
func failLast(_ *maker, c *calm) bool {
	e := c.rows[c.reprove[1]-1]
	showing(shown(0))(&e)
	c.insert(c.reprove[1], e)
	return true
}

// relive puts a live test of the same pair behind the one that counts.
func relive(m *maker, c *calm) bool {
	e := *c.test(m)
	showing(overflow)(&e)
	c.insert(c.reprove[1], e)
	return true
}

func switchedOnly(m *maker, c *calm) bool {
	e := c.test(m)
	known := e.Switch != record.SwitchUnknown
	e.Switch = record.SwitchUnknown
	return known
}

var singleFaults = []fault{
	{"a dead test removed", removeTest, rules(record.PairMissing, record.SwitchPositionMissing)},
	{"a dead test residual", onTest(showing(shown(30))), rules(record.ResidualVoltage)},
	{"a dead test just over the limit", onTest(showing(shown(12.01))), rules(record.ResidualVoltage)},
	{"a dead test negative and residual", onTest(showing(shown(-30))), rules(record.ResidualVoltage)},
	{"a dead test live", onTest(showing(shown(230))), rules(record.LiveFoundRule)},
	{"a dead test beyond the range", onTest(showing(overflow)), rules(record.LiveFoundRule)},
	{"a dead test unreadable", onTest(showing(unreadable)), rules(record.ReadingUnreadable)},
	{"a dead test blank", onTest(showing(record.Reading{})), rules(record.ReadingUnreadable)},
	{"a dead test on no step of the indicator", onTest(func(e *record.Event) { e.Stage = lamp(77) }), rules(record.ReadingUnreadable)},
	{"a dead test by another indicator", onTest(otherIndicator), rules(record.ProveMissing)},
	{"a dead test by another indicator, not proved after", onTest(otherIndicator), rules(record.ReproveMissing)},
	{"a dead test on the other waveform", onTest(otherWaveform), rules(record.WrongWaveform)},
	{"a dead test before the proof", moveTest(firstProof, -time.Second), rules(record.ProveMissing)},
	{"a dead test behind the last proof", moveTest(lastProof, time.Second), rules(record.ReproveMissing)},
	{"a dead test on the supply side", onTest(func(e *record.Event) { e.Side = record.SupplySide }), rules(record.PairMissing, record.SwitchPositionMissing)},
	{"a switched line without its position", switchedOnly, rules(record.SwitchPositionMissing)},
	{"a live test behind all", relive, rules(record.LiveFoundRule)},
	{"no proof before", remove(false), rules(record.ProveMissing)},
	{"the proof before shows nothing", onSeries(false, showing(shown(0))), rules(record.ProveFailed)},
	{"the proof before unreadable", onSeries(false, showing(unreadable)), rules(record.ProveFailed)},
	{"the proof before beyond the range", onSeries(false, showing(overflow)), rules(record.ProveFailed)},
	{"the proof before blank", onSeries(false, showing(record.Reading{})), rules(record.ProveFailed)},
	{"the proof before a self-test", onSeries(false, selfTest), rules(record.ProveFailed)},
	{"the proof before on a low voltage", onSeries(false, tooLow), rules(record.ProveFailed)},
	{"the proof before by another indicator", onSeries(false, otherIndicator), rules(record.ProveMissing)},
	{"the proof before too old", wait(func(c *calm) int { return c.prove[1] }, 61*time.Minute), rules(record.ProveStale)},
	{"no proof after", remove(true), rules(record.ReproveMissing)},
	{"the proof after shows nothing", onSeries(true, showing(shown(0))), rules(record.ReproveFailed)},
	{"the proof after unreadable", onSeries(true, showing(unreadable)), rules(record.ReproveFailed)},
	{"the proof after beyond the range", onSeries(true, showing(overflow)), rules(record.ReproveFailed)},
	{"the proof after blank", onSeries(true, showing(record.Reading{})), rules(record.ReproveFailed)},
	{"the proof after a self-test", onSeries(true, selfTest), rules(record.ReproveFailed)},
	{"the proof after on a low voltage", onSeries(true, tooLow), rules(record.ReproveFailed)},
	{"the proof after by another indicator", onSeries(true, otherIndicator), rules(record.ReproveMissing)},
	{"the proof after too late", wait(func(c *calm) int { return c.reprove[0] }, 31*time.Minute), rules(record.ReproveLate)},
	{"the first proof after fails, the next passes", failOnce, rules(record.ReproveFailed)},
	{"the last proof after fails", failLast, rules(record.ReproveFailed)},
	{"isolated anew behind the tests", func(_ *maker, c *calm) bool {
		c.insert(c.reprove[1], record.Event{Kind: record.Isolate})
		return true
	}, rules(record.PairMissing, record.SwitchPositionMissing)},
}

func rules(r ...record.Rule) []record.Rule { return r }

// Every single fault put into a compliant record is found, and named.
func TestSingleFaults(t *testing.T) {
	for _, f := range singleFaults {
		t.Run(f.name, func(t *testing.T) {
			made := 0
			for seed := range 400 {
				m := &maker{dice: newDice(seed), set: usual(), calm: true}
				d := m.base()
				if v := judgedOne(t, m, d); v.status != record.Compliant {
					t.Fatalf("seed %d: the record to begin with: %v\n%s", seed, v.lines(), recordText(&record.Record{Jobs: d.jobs, Events: d.rows}))
				}
				if !f.apply(m, newCalm(d)) {
					continue
				}
				made++
				v := judgedOne(t, m, d)
				if v.status == record.Compliant || !slices.ContainsFunc(f.want, v.has) {
					t.Fatalf("seed %d: %v, want %v\n%s", seed, v.lines(), f.want, recordText(&record.Record{Jobs: d.jobs, Events: d.rows}))
				}
			}
			if made < 20 {
				t.Errorf("made in %d records only", made)
			}
		})
	}
}

// What lies just within a limit is no fault.
func TestJustWithin(t *testing.T) {
	for _, c := range []fault{
		{"a dead test at the limit", onTest(showing(shown(12))), nil},
		{"a dead test negative at the limit", onTest(showing(shown(-12))), nil},
		{"the proof after 30 min behind the last test", func(_ *maker, c *calm) bool {
			last, next := c.rows[c.tests[len(c.tests)-1]].Time, c.rows[c.reprove[0]].Time
			c.shift(c.reprove[0], 30*time.Minute-next.Sub(c.rows[c.tests[0]].Time))
			return !next.Before(last)
		}, nil},
		{"the proof before 60 min before the last test", func(_ *maker, c *calm) bool {
			c.shift(c.prove[1], 60*time.Minute-c.rows[c.tests[len(c.tests)-1]].Time.Sub(c.rows[c.prove[1]-1].Time))
			return true
		}, nil},
		{"a proof 10 % low", onSeries(false, func(e *record.Event) { e.Source = "PU-1"; showing(shown(float64(e.Expected) * 0.9))(e) }), nil},
		{"a proof on a live source 15 % high", onSeries(true, func(e *record.Event) { e.Source = record.Live; showing(shown(float64(e.Expected) * 1.15))(e) }), nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed := range 100 {
				m := &maker{dice: newDice(seed), set: usual(), calm: true}
				d := m.base()
				if !c.apply(m, newCalm(d)) {
					continue
				}
				if v := judgedOne(t, m, d); v.status != record.Compliant {
					t.Fatalf("seed %d: %v\n%s", seed, v.lines(), recordText(&record.Record{Jobs: d.jobs, Events: d.rows}))
				}
			}
		})
	}
}
