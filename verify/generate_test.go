package verify_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"nilvolt/record"
	"pgregory.net/rapid"
)

// Records at random: a record that shows what it should show, to which then a few
// things happen (happen_test.go). The same maker is driven by a seeded generator
// where volume counts and by rapid where a failing case is to be made small.

// A dice draws numbers.
type dice interface {
	intn(n int) int // 0 to n-1
}

type seededDice struct{ *rand.Rand }

func (d seededDice) intn(n int) int { return d.IntN(n) }

type rapidDice struct{ *rapid.T }

func (d rapidDice) intn(n int) int { return rapid.IntRange(0, n-1).Draw(d.T, "n") }

// newDice returns dice that always fall the same for one seed.
func newDice(seed int) dice { return seededDice{rand.New(rand.NewPCG(uint64(seed), 7))} }

// pick takes one of several values.
func pick[T any](d dice, from ...T) T { return from[d.intn(len(from))] }

// oneIn is true once in n times; with rapid the small case is false.
func oneIn(d dice, n int) bool { return d.intn(n) == n-1 }

// A maker makes records for one call, under one policy and one register.
type maker struct {
	dice
	set  setting
	reg  record.Register
	calm bool // no proofs between the dead tests: one series before and one after

	// plain leaves out of base what makes a record another than plain.
	plain bool
}

// A draft is a record in the making, its rows in the order of their times.
type draft struct {
	jobs []record.Job
	rows []record.Event
}

func (d *draft) job() *record.Job { return &d.jobs[0] }

var (
	indicators = []string{"VI-1", "VI-2", "VI-3"}
	units      = []string{"PU-1", "PU-2"}
	morning    = record.NewInstant(1772438400, 0, 0) // 2026-03-02T08:00:00Z
)

// kinds of job sheet by supply: nominal voltage and poles that open everything.
var sheets = []record.Job{
	{Supply: record.SinglePhase, Nominal: 230, Poles: record.Poles2},
	{Supply: record.ThreePhase, Nominal: 400, Poles: record.Poles4},
	{Supply: record.ThreePhase3Wire, Nominal: 690, Poles: record.Poles3},
	{Supply: record.SplitPhase, Nominal: 240, Poles: record.PolesPlug},
	{Supply: record.DC, Nominal: 110, Poles: record.Poles2},
	{Supply: record.DC3Wire, Nominal: 220, Poles: record.Poles2},
}

// call makes the records of one call.
func (m *maker) call() []record.Record {
	records := make([]record.Record, 1+m.intn(4))
	for i := range records {
		d := m.base()
		d.shift(0, time.Duration(m.intn(100))*time.Minute)
		for range m.intn(4) {
			happenings[m.intn(len(happenings))](m, d)
		}
		records[i] = m.finish(fmt.Sprintf("R%d", i+1), d)
	}
	if len(records) > 1 && oneIn(m, 8) {
		copyReadings(&records[0], &records[1])
	}
	if len(records) > 1 && oneIn(m, 4) {
		failElsewhere(m, &records[0], &records[1])
	}
	return records
}

// base makes a record that shows what it should show.
func (m *maker) base() *draft {
	job := pick(m.dice, sheets...)
	job.Earthing = pick(m.dice, record.TNS, record.TNCS, record.TNCS, record.TNC, record.TT)
	if m.plain && job.Earthing == record.TNC {
		job.Earthing = record.EarthingUnknown
	}
	if job.Earthing == record.TNC && slices.Contains(conductorsOf(job.Supply), record.N) {
		job.Poles = map[record.Supply]record.Poles{
			record.SinglePhase: record.Poles1, record.ThreePhase: record.Poles3, record.SplitPhase: record.Poles2,
		}[job.Supply]
	}
	job.Device = pick(m.dice, "60898", "60898", "60947-3", "60669-2-4")
	if !m.plain && oneIn(m.dice, 6) {
		job.Conductors = wiringOf(&job)
	}
	if !m.plain && oneIn(m.dice, 6) {
		job.Switched = []record.Conductor{must(record.ParseConductor("SL1"))}
	}
	if oneIn(m.dice, 4) {
		job.OnLoad = pick(m.dice, record.Yes, record.No)
		job.Category = pick(m.dice, record.CategoryII, record.CategoryIII)
	}
	d := &draft{jobs: []record.Job{job}}
	for _, k := range []record.Kind{record.Inspect, record.Identify, record.Permission, record.ShedLoad, record.Isolate, record.Lock, record.Label} {
		d.then(m, record.Event{Kind: k})
	}
	m.work(d)
	d.then(m, record.Event{Kind: record.Begin})
	return d
}

// work adds the proofs and the dead tests.
func (m *maker) work(d *draft) {
	side := record.SideUnknown
	if !m.plain && oneIn(m.dice, 8) {
		side = record.LoadSide
		d.job().SupplySideLive = record.Yes
	}
	indicator := pick(m.dice, indicators...)
	if m.plain && m.stepped(indicator) {
		indicator = "VI-1"
	}
	m.prove(d, record.Prove, indicator)
	slots := m.slotsOf(d.job())
	if side == record.LoadSide {
		live := m.test(d, indicator, slots[0])
		live.Volts, live.Stage, live.Side = shown(float64(d.job().Nominal)), record.Stage{}, record.SupplySide
		d.then(m, live)
	}
	for i, s := range slots {
		if i > 0 && !m.calm && oneIn(m.dice, 20) {
			m.prove(d, record.Reprove, indicator)
		}
		if i > 0 && !m.calm && oneIn(m.dice, 30) {
			m.prove(d, record.Reprove, indicator)
			indicator = pick(m.dice, indicators...)
			m.prove(d, record.Prove, indicator)
		}
		e := m.test(d, indicator, s)
		e.Side = side
		d.then(m, e)
	}
	m.prove(d, record.Reprove, indicator)
}

// slotsOf lists what a job sheet asks for, at one point or at two.
func (m *maker) slotsOf(j *record.Job) []slot {
	q := inquiry{inUse: first(listOf(j))}
	slots := q.pairsOf(j)
	if oneIn(m.dice, 3) && len(j.Switched) > 0 {
		for i := range slots {
			slots[i].sw = map[record.Switch]record.Switch{record.SwitchOn: record.SwitchA, record.SwitchOff: record.SwitchB}[slots[i].sw]
		}
	}
	if m.plain || !oneIn(m.dice, 10) {
		return slots
	}
	var twice []slot
	for _, point := range []string{"P1", "P2"} {
		for _, s := range slots {
			twice = append(twice, slot{s.pair, s.sw, point})
		}
	}
	return twice
}

// test makes a dead test of a slot.
func (m *maker) test(d *draft, indicator string, s slot) record.Event {
	e := record.Event{
		Kind: record.Test, Indicator: indicator, Pair: s.pair, Switch: s.sw, Point: s.point, Placed: true,
		Waveform: record.AC, Volts: shown(float64(m.intn(40)) / 10),
	}
	if misplaced(e.Pair) {
		e.Pair = record.Pair{A: s.pair.B, B: s.pair.A}
	}
	if (&inquiry{job: *d.job()}).dcSupply() {
		e.Waveform = record.DirectVoltage
	}
	if m.stepped(indicator) {
		e.Volts, e.Stage = record.Reading{}, record.Stage{Text: "none", State: record.StageNone}
	}
	return e
}

// stepped says whether an indicator has steps: VI-2 always, others by the register.
func (m *maker) stepped(indicator string) bool {
	in := m.reg[indicator]
	return indicator == "VI-2" || in != nil && len(in.Stages) > 0
}

// prove adds a series of proofs that passes.
func (m *maker) prove(d *draft, kind record.Kind, indicator string) {
	sample := m.test(d, indicator, slot{})
	for range 1 + m.intn(5)/4 {
		e := record.Event{Kind: kind, Indicator: indicator, Waveform: sample.Waveform, HasExpected: true}
		e.Source = pick(m.dice, "PU-1", "PU-1", "PU-2", record.Live)
		e.Expected = pick(m.dice, record.Volts(230), 400, 690)
		if e.Source == record.Live {
			e.Expected = d.job().Nominal
		}
		if in := m.reg[e.Source]; in != nil && len(in.Outputs) > 0 {
			e.Expected = pick(m.dice, in.Outputs...)
			e.HasExpected = len(in.Outputs) > 1 || oneIn(m.dice, 2)
		}
		m.showProof(&e)
		d.then(m, e)
	}
}

// showProof lets the indicator show what the source puts out.
func (m *maker) showProof(e *record.Event) {
	if m.stepped(e.Indicator) {
		steps := (&inquiry{reg: m.reg}).stepsOf(e.Indicator)
		lit := steps[0]
		for _, s := range steps {
			if s <= e.Expected {
				lit = s
			}
		}
		e.Volts, e.Stage = record.Reading{}, lamp(float64(lit))
		return
	}
	off := float64(m.intn(7)-3) / 100
	e.Volts = shown(float64(e.Expected) * (1 + off))
}

// then adds a row a little after the last one.
func (d *draft) then(m *maker, e record.Event) {
	e.Time = morning
	if n := len(d.rows); n > 0 {
		e.Time = d.rows[n-1].Time.Add(time.Duration(3+m.intn(20)) * time.Second)
	}
	d.rows = append(d.rows, e)
}

// shift moves the rows from index i on by t.
func (d *draft) shift(i int, t time.Duration) {
	for ; i < len(d.rows); i++ {
		d.rows[i].Time = d.rows[i].Time.Add(t)
	}
}

// finish puts the rows into files and numbers them.
func (m *maker) finish(id string, d *draft) record.Record {
	rec := record.Record{ID: id, Jobs: d.jobs}
	for i := range rec.Jobs {
		rec.Jobs[i].Record, rec.Jobs[i].Pos = id, record.Pos{File: "jobs.csv", Line: i + 2}
	}
	rows := slices.Clone(d.rows)
	if oneIn(m.dice, 12) {
		for i := range rows {
			j := m.intn(i + 1)
			rows[i], rows[j] = rows[j], rows[i]
		}
	}
	for _, file := range []string{"", "log.csv", "second.csv"} {
		for _, e := range rows {
			if e.Pos.File == file && !saidBefore(rec.Events, &e) {
				rec.Events = append(rec.Events, e)
			}
		}
	}
	for i := range rec.Events {
		if rec.Events[i].Pos.File == "" {
			rec.Events[i].Pos.File = "site.csv"
		}
		rec.Events[i].Pos.Line = i + 2
	}
	return rec
}

// saidBefore says whether another file holds the same row already.
func saidBefore(events []record.Event, e *record.Event) bool {
	return slices.ContainsFunc(events, func(f record.Event) bool { return f.Pos.File != e.Pos.File && f.SameContent(e) })
}

// register makes a register whose entries mostly suit what base does.
func (m *maker) register() record.Register {
	if oneIn(m.dice, 3) {
		return nil
	}
	reg := record.Register{}
	for _, id := range indicators {
		in := &record.Instrument{ID: id, Kind: record.Indicator, Senses: pick(m.dice, record.WaveformUnknown, record.BothWaveforms)}
		m.service(in)
		if oneIn(m.dice, 12) {
			in.Senses = pick(m.dice, record.AC, record.DirectVoltage)
		}
		if id == "VI-2" || oneIn(m.dice, 6) {
			in.Stages = pick(m.dice, usualSteps, nil, []record.Volts{6, 12, 50, 120, 230, 400, 690, 1000}, usualSteps, []record.Volts{24, 50, 230, 690})
		}
		if oneIn(m.dice, 3) {
			in.MaxVolts = pick(m.dice, record.Volts(1000), 690, 400, 250)
			in.Category = pick(m.dice, record.CategoryIV, record.CategoryIII, record.CategoryII)
		}
		reg[id] = in
	}
	for _, id := range units {
		in := &record.Instrument{ID: id, Kind: record.ProvingUnit}
		m.service(in)
		in.Outputs = pick(m.dice, nil, []record.Volts{230}, []record.Volts{230, 690}, []record.Volts{690}, []record.Volts{30, 230})
		reg[id] = in
	}
	if oneIn(m.dice, 8) {
		delete(reg, pick(m.dice, "VI-1", "VI-3", "PU-1", "PU-2"))
	}
	if in := reg[pick(m.dice, "VI-1", "PU-1")]; in != nil && oneIn(m.dice, 12) {
		in.Kind = pick(m.dice, record.Indicator, record.ProvingUnit)
	}
	return reg
}

// service fills in tolerance and dates.
func (m *maker) service(in *record.Instrument) {
	in.Tolerance = pick(m.dice, 0.0, 0, 10, 5, 20)
	if oneIn(m.dice, 3) {
		in.Serviced = must(record.ParseDate(pick(m.dice, "2026-02-01", "2026-02-01", "2026-02-01", "2025-03-01")))
		in.IntervalDays = pick(m.dice, 365, 366, 367)
	}
	if oneIn(m.dice, 10) {
		in.Withdrawn = must(record.ParseDate(pick(m.dice, "2026-03-03", "2026-03-02", "2027-01-01", "2027-01-01")))
	}
}

// policy makes a policy within the bounds of section 9, mostly the usual one.
func (m *maker) policy() setting {
	s := usual()
	if oneIn(m.dice, 2) {
		return s
	}
	some := func() bool { return oneIn(m.dice, 4) }
	if some() {
		s.deadLimit = pick(m.dice, 12.0, 3, 10, 24, 30, 49.9)
	}
	if some() {
		s.neutralEarthLimit = pick(m.dice, 0.0, 5, 20, 25)
	}
	if some() {
		s.tolerance = pick(m.dice, 10.0, 3, 5, 20)
		s.liveSourceTolerance = pick(m.dice, 15.0, 10, 5, 20)
	}
	if some() {
		s.seriesGap = pick(m.dice, 5*time.Minute, time.Minute, 30*time.Minute, 4*time.Second)
	}
	if some() {
		s.proveAge = pick(m.dice, time.Hour, 2*time.Minute, 12*time.Hour)
		s.reproveDelay = pick(m.dice, 30*time.Minute, time.Minute, 2*time.Hour)
	}
	if some() {
		s.interruptedAfter = pick(m.dice, 15*time.Minute, time.Minute, time.Hour)
		s.permissionGap = pick(m.dice, 10*time.Minute, 10*time.Second, 24*time.Hour)
		s.beginWithin = pick(m.dice, time.Hour, time.Minute, 24*time.Hour)
	}
	s.reproveRetry, s.sharedProofs = some(), some()
	s.noNeutral, s.reducedIsCaution = some(), some()
	if some() {
		s.promoted = []record.Rule{pick(m.dice, record.NotRecorded, record.ProofRetried, record.Interrupted, record.LoadNotShed, record.UnprovedRetest, record.PolicyLoosened)}
	}
	if some() {
		s.off = []record.Rule{pick(m.dice, record.NotRecorded, record.NotSecured, record.BeganEarly, record.JobConflict, record.ProofBelowNominal)}
	}
	return s
}

func shown(v float64) record.Reading {
	return record.Reading{Text: fmt.Sprintf("%.6g", v), Volts: record.Volts(v), State: record.Shown}
}

func lamp(v float64) record.Stage {
	return record.Stage{Text: fmt.Sprint(v), Volts: record.Volts(v), State: record.StageLit}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func first[T, U any](v T, _ U) T { return v }
