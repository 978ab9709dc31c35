package verify_test

import (
	"slices"
	"time"

	"nilvolt/record"
)

// What may happen to a record: one function each, small, and with an eye on the
// limits.
var happenings = []func(*maker, *draft){
	dropRow, dropRow, dropKind, showTest, showTest, showTest, showProof, showProof, changeStage,
	changeWaveform, changeWaveform, changeIndicator, changeSource, changeExpected, changeExpected,
	waitBefore, waitBefore, waitBefore, swapTimes, sameTimes, insertLive, insertLive, insertStep, insertStep,
	insertStep, restoreAtEnd, fitSeveral, fitSeveral, changeSide, changeSwitch, changePoint, countRows,
	repeatInFile, changeJob, changeJob, changeJob, secondJob, changeConductor, changeConductor, turnProbes,
	proveOnWork, failFirst, failFirst, repeatTest, repeatTest, splitFiles, splitFiles, splitFiles, twoLogs, hurry, wildValues,
	leaveNeutral, openPEN, beginLate, changeDevice,
}

// at returns the index of a random row that fits, -1 when none does.
func (m *maker) at(d *draft, fits func(*record.Event) bool) int {
	var list []int
	for i := range d.rows {
		if fits(&d.rows[i]) {
			list = append(list, i)
		}
	}
	if len(list) == 0 {
		return -1
	}
	return list[m.intn(len(list))]
}

func anyRow(*record.Event) bool         { return true }
func isTest(e *record.Event) bool       { return e.Kind == record.Test }
func isProofRow(e *record.Event) bool   { return e.Kind.IsProof() }
func isReadingRow(e *record.Event) bool { return e.Kind.IsReading() }

// on changes a random row that fits.
func (m *maker) on(d *draft, fits func(*record.Event) bool, change func(*record.Event)) {
	if i := m.at(d, fits); i >= 0 {
		change(&d.rows[i])
	}
}

// insert puts a row before index i, at the time of the row that stood there.
func (d *draft) insert(i int, e record.Event) {
	e.Time = morning
	if i < len(d.rows) {
		e.Time = d.rows[i].Time
		d.shift(i, time.Second)
	} else if i > 0 {
		e.Time = d.rows[i-1].Time.Add(time.Second)
	}
	d.rows = slices.Insert(d.rows, i, e)
}

func dropRow(m *maker, d *draft) {
	if i := m.at(d, anyRow); i >= 0 {
		d.rows = slices.Delete(d.rows, i, i+1)
	}
}

// dropKind takes out all rows of a kind.
func dropKind(m *maker, d *draft) {
	kind := pick(m.dice, record.Prove, record.Reprove, record.Isolate, record.Lock, record.Label, record.Permission, record.ShedLoad, record.Begin)
	d.rows = slices.DeleteFunc(d.rows, func(e record.Event) bool { return e.Kind == kind })
}

var (
	overflow   = record.Reading{Text: "OL", State: record.Overflow}
	unreadable = record.Reading{Text: "---", State: record.Unreadable}
)

func showTest(m *maker, d *draft) {
	limit := m.set.deadLimit
	m.on(d, isTest, func(e *record.Event) {
		e.Volts = pick(m.dice, shown(limit), shown(limit+0.1), shown(-limit-0.1), shown(limit), shown(20), shown(25), shown(49.99),
			shown(50), shown(-50), shown(119.9), shown(120), shown(230), overflow, unreadable, record.Reading{})
	})
}

func showProof(m *maker, d *draft) {
	m.on(d, isProofRow, func(e *record.Event) {
		tolerance := (&inquiry{set: m.set, reg: m.reg}).toleranceOf(e) / 100
		v := float64(e.Expected)
		e.Volts = pick(m.dice, shown(v*(1+tolerance)), shown(v*(1-tolerance)), shown(v*(1+tolerance)+0.01), shown(v*(1-tolerance)-0.01),
			shown(-v), shown(0), shown(30), shown(45), overflow, unreadable, record.Reading{})
	})
}

func changeStage(m *maker, d *draft) {
	m.on(d, isReadingRow, func(e *record.Event) {
		e.Stage = pick(m.dice, lamp(12), lamp(24), lamp(50), lamp(120), lamp(230), lamp(400), lamp(77), record.Stage{},
			record.Stage{Text: "none", State: record.StageNone}, record.Stage{Text: "ERR", State: record.StageUnreadable})
		if oneIn(m.dice, 3) {
			e.Volts = record.Reading{}
		}
	})
}

func changeWaveform(m *maker, d *draft) {
	w := pick(m.dice, record.WaveformUnknown, record.AC, record.DirectVoltage, record.BothWaveforms)
	switch m.intn(3) {
	case 0:
		m.on(d, isReadingRow, func(e *record.Event) { e.Waveform = w })
	case 1: // all dead tests
		for i := range d.rows {
			if isTest(&d.rows[i]) {
				d.rows[i].Waveform = w
			}
		}
	default: // a proof, and all dead tests blank
		m.on(d, isProofRow, func(e *record.Event) { e.Waveform = w })
		for i := range d.rows {
			if isTest(&d.rows[i]) {
				d.rows[i].Waveform = record.WaveformUnknown
			}
		}
	}
}

func changeIndicator(m *maker, d *draft) {
	id := pick(m.dice, "VI-1", "VI-2", "VI-3", "VI-9", "PU-1")
	m.on(d, isReadingRow, func(e *record.Event) { e.Indicator = id })
}

func changeSource(m *maker, d *draft) {
	m.on(d, isProofRow, func(e *record.Event) {
		e.Source = pick(m.dice, "", "", record.Live, "PU-1", "PU-2", "PU-9", "vi-1", e.Indicator, "VI-3")
	})
}

func changeExpected(m *maker, d *draft) {
	m.on(d, isProofRow, func(e *record.Event) {
		e.HasExpected = m.intn(3) == 0
		e.Expected = pick(m.dice, record.Volts(230), 40, 44, 50, 0, -230, 1000, 120)
		if !e.HasExpected {
			e.Source = pick(m.dice, record.Live, record.Live, e.Source, "")
			e.Expected = pick(m.dice, d.job().Nominal, d.job().Nominal, 50, 30, 133, 120)
		}
		if e.Expected > 0 && !oneIn(m.dice, 6) {
			m.showProof(e)
		}
		if !e.HasExpected {
			e.Expected = 0
		}
	})
}

// waitBefore puts a pause in, of just a limit or a little more or less.
func waitBefore(m *maker, d *draft) {
	i := m.at(d, anyRow)
	if i < 1 {
		return
	}
	s := m.set
	limit := pick(m.dice, s.seriesGap, s.proveAge, s.reproveDelay, s.interruptedAfter, s.permissionGap, s.beginWithin,
		60*time.Minute, 24*time.Hour, 20*time.Minute, 65*time.Minute)
	limit += pick(m.dice, 0, time.Nanosecond, -time.Nanosecond, time.Second, -30*time.Second)
	d.shift(i, limit-d.rows[i].Time.Sub(d.rows[i-1].Time))
}

func swapTimes(m *maker, d *draft) {
	if i := m.at(d, anyRow); i > 0 {
		d.rows[i].Time, d.rows[i-1].Time = d.rows[i-1].Time, d.rows[i].Time
		d.rows[i], d.rows[i-1] = d.rows[i-1], d.rows[i]
	}
}

// sameTimes stamps some rows, or all of a minute, with one time.
func sameTimes(m *maker, d *draft) {
	if oneIn(m.dice, 2) {
		for i := range d.rows {
			d.rows[i].Time = record.NewInstant(d.rows[i].Time.Unix()/60*60, 0, 0)
		}
		return
	}
	if i := m.at(d, anyRow); i > 0 {
		for j := i; j < min(i+1+m.intn(4), len(d.rows)); j++ {
			d.rows[j].Time = d.rows[i-1].Time
		}
	}
}

func insertLive(m *maker, d *draft) {
	i := m.at(d, isTest)
	if i < 0 {
		return
	}
	e := d.rows[i]
	e.Volts, e.Stage = pick(m.dice, shown(230), shown(50), overflow, shown(30), unreadable), record.Stage{}
	if oneIn(m.dice, 3) {
		e.Switch, e.Point = record.SwitchUnknown, ""
	}
	e.Side = pick(m.dice, e.Side, e.Side, record.SupplySide)
	if oneIn(m.dice, 4) {
		e.Pair.A = must(record.ParseConductor("L4"))
	}
	if oneIn(m.dice, 2) {
		d.insert(i, e)
		return
	}
	d.insert(m.intn(len(d.rows)+1), e)
}

func insertStep(m *maker, d *draft) {
	kind := pick(m.dice, record.Isolate, record.Restore, record.Lock, record.Begin, record.Label, record.Permission, record.ShedLoad)
	d.insert(m.intn(len(d.rows)+1), record.Event{Kind: kind})
}

// restoreAtEnd gives the power back, and then a little happens.
func restoreAtEnd(m *maker, d *draft) {
	d.insert(len(d.rows), record.Event{Kind: record.Restore})
	i := m.at(d, isTest)
	for range m.intn(3) {
		e := record.Event{Kind: pick(m.dice, record.Begin, record.Label, record.Lock, record.Test)}
		if e.Kind == record.Test {
			if i < 0 {
				continue
			}
			e = d.rows[i]
			e.Volts, e.Stage = pick(m.dice, shown(230), shown(230), shown(0), shown(30)), record.Stage{}
		}
		d.insert(len(d.rows), e)
	}
}

// fitSeveral makes rows fit several records.
func fitSeveral(m *maker, d *draft) {
	for range 1 + m.intn(3) {
		m.on(d, anyRow, func(e *record.Event) { e.Ambiguous = true })
	}
}

func changeSide(m *maker, d *draft) {
	side := pick(m.dice, record.SupplySide, record.LoadSide, record.SideUnknown)
	m.on(d, isReadingRow, func(e *record.Event) { e.Side = side })
	if oneIn(m.dice, 2) {
		d.job().SupplySideLive = pick(m.dice, record.Yes, record.No, record.Unstated)
	}
}

func changeSwitch(m *maker, d *draft) {
	m.on(d, isTest, func(e *record.Event) {
		e.Switch = pick(m.dice, record.SwitchUnknown, record.SwitchOn, record.SwitchOff, record.SwitchA, record.SwitchB)
	})
}

func changePoint(m *maker, d *draft) {
	m.on(d, isTest, func(e *record.Event) { e.Point = pick(m.dice, "", "P1", "P3") })
}

// countRows gives the readings the instrument's counter, once set back.
func countRows(m *maker, d *draft) {
	back := m.intn(len(d.rows) + 1)
	for i := range d.rows {
		if e := &d.rows[i]; isReadingRow(e) {
			e.HasSeq, e.Seq = true, int64(i)
			if i == back {
				e.Seq += 2
			}
		}
	}
}

func repeatInFile(m *maker, d *draft) {
	if i := m.at(d, anyRow); i >= 0 {
		e := d.rows[i]
		e.Pos.File = pick(m.dice, "", "log.csv")
		d.rows = slices.Insert(d.rows, i+1, e)
	}
}

// splitFiles lets the readings, the proofs or some rows stand in a file of their own.
func splitFiles(m *maker, d *draft) {
	which := pick(m.dice, isReadingRow, isProofRow, isTest, func(*record.Event) bool { return oneIn(m.dice, 3) })
	for i := range d.rows {
		if which(&d.rows[i]) {
			d.rows[i].Pos.File = "log.csv"
		}
	}
	if oneIn(m.dice, 2) {
		sameTimes(m, d)
	}
}

// twoLogs adds the proofs once more, as another file tells them.
func twoLogs(m *maker, d *draft) {
	late := pick(m.dice, 0, 2*time.Minute, 2*time.Minute+time.Second, -3*time.Minute)
	var again []record.Event
	for _, e := range d.rows {
		if isProofRow(&e) && e.Pos.File == "" {
			e.Pos.File = "second.csv"
			e.Time = e.Time.Add(late)
			again = append(again, e)
		}
	}
	d.rows = append(d.rows, again...)
	slices.SortStableFunc(d.rows, func(a, b record.Event) int { return a.Time.Compare(b.Time) })
}

// hurry lets the dead tests follow each other within a second.
func hurry(m *maker, d *draft) {
	gap := pick(m.dice, 300*time.Millisecond, time.Second, 999*time.Millisecond)
	for i := 1; i < len(d.rows); i++ {
		if isTest(&d.rows[i]) {
			d.shift(i, gap-d.rows[i].Time.Sub(d.rows[i-1].Time))
		}
	}
}

func turnProbes(m *maker, d *draft) {
	m.on(d, isTest, func(e *record.Event) {
		e.Pair = record.Pair{A: e.Pair.B, B: e.Pair.A}
		e.Placed = !oneIn(m.dice, 3)
	})
}

func changeConductor(m *maker, d *draft) {
	m.on(d, isTest, func(e *record.Event) {
		c := pick(m.dice, record.L, record.L1, record.L2, record.N, record.E, record.PEN, record.M, must(record.ParseConductor("SL1")), must(record.ParseConductor("X9")))
		if e.Pair.B != c {
			e.Pair.A = c
		}
	})
}

func proveOnWork(m *maker, d *draft) {
	i := m.at(d, isTest)
	m.on(d, isProofRow, func(e *record.Event) {
		if i >= 0 {
			e.Pair, e.Side = d.rows[i].Pair, pick(m.dice, record.SideUnknown, record.SideUnknown, record.SupplySide)
		}
	})
}

// failFirst lets a proof fail once before it passes, or once more behind it.
func failFirst(m *maker, d *draft) {
	i := m.at(d, isProofRow)
	if i < 0 {
		return
	}
	e := d.rows[i]
	e.Volts, e.Stage = pick(m.dice, shown(0), overflow, unreadable), record.Stage{}
	if oneIn(m.dice, 3) {
		e.Source = pick(m.dice, "PU-1", "PU-2")
	}
	d.insert(i+m.intn(2), e)
}

// repeatTest tests a pair again behind its first test or near the end.
func repeatTest(m *maker, d *draft) {
	i := m.at(d, isTest)
	if i < 0 {
		return
	}
	e := d.rows[i]
	e.Volts, e.Stage = pick(m.dice, shown(0), shown(0), shown(30), unreadable), record.Stage{}
	if oneIn(m.dice, 4) {
		e.Indicator = pick(m.dice, indicators...)
	}
	d.insert(pick(m.dice, i, i+1, len(d.rows), len(d.rows)-1), e)
}

func changeJob(m *maker, d *draft) {
	j := d.job()
	changes := []func(){
		func() { j.Supply = pick(m.dice, record.SupplyUnknown, record.SinglePhase, record.ThreePhase) },
		func() { j.Nominal = pick(m.dice, record.Volts(0), 230, 400, 240, 1000, 1100, 1800) },
		func() { j.Earthing = pick(m.dice, record.EarthingUnknown, record.TT, record.IT, record.TNC) },
		func() {
			j.Poles = pick(m.dice, record.PolesUnknown, record.Poles1, record.Poles1N, record.Poles2, record.Poles3, record.Poles3N, record.Poles4, record.PolesPlug)
		},
		func() { j.OnLoad = record.No },
		func() { j.Category = record.CategoryIV },
		func() { j.Switched = append(j.Switched, must(record.ParseConductor("SL2"))) },
		func() {
			j.Conductors = pick(m.dice,
				[]record.Conductor{record.L, record.E}, []record.Conductor{record.L1, record.L2, record.L3, record.E},
				[]record.Conductor{record.L, record.N, record.E}, []record.Conductor{record.N, record.E},
				[]record.Conductor{record.L, record.L, record.E}, []record.Conductor{record.L, record.PEN},
				[]record.Conductor{record.L, record.N}, []record.Conductor{record.LPlus, record.E},
				[]record.Conductor{record.L1, record.L2, record.L3, record.PEN})
		},
	}
	changes[m.intn(len(changes))]()
}

// leaveNeutral opens the lines alone where the neutral must be opened too.
func leaveNeutral(m *maker, d *draft) {
	d.job().Earthing = pick(m.dice, record.TT, record.IT)
	d.job().Poles = pick(m.dice, record.Poles1, record.Poles2, record.Poles3)
}

// openPEN opens neutral and earth in one.
func openPEN(_ *maker, d *draft) {
	d.job().Earthing, d.job().Poles = record.TNC, record.Poles4
}

// changeDevice isolates with something else.
func changeDevice(m *maker, d *draft) {
	d.job().Device = pick(m.dice, "", "60669-1", "50428", "60947-2", "BS 88", "61995-1", "12345-6", "12345-6", "61095", "60947-4-1")
	if oneIn(m.dice, 2) {
		d.rows = slices.DeleteFunc(d.rows, func(e record.Event) bool { return e.Kind == record.ShedLoad })
	}
}

// beginLate lets the work wait.
func beginLate(m *maker, d *draft) {
	for i := range d.rows {
		if d.rows[i].Kind == record.Begin {
			d.shift(i, m.set.beginWithin+pick(m.dice, 0, -time.Minute, time.Second))
		}
	}
	if oneIn(m.dice, 3) {
		d.rows = slices.DeleteFunc(d.rows, func(e record.Event) bool { return e.Kind == record.Lock })
	}
}

// failElsewhere lets the indicator of one record fail its proof in another one,
// at the time of some row.
func failElsewhere(m *maker, one, other *record.Record) {
	if len(one.Events) == 0 {
		return
	}
	e := one.Events[m.intn(len(one.Events))]
	if e.Kind.IsReading() {
		e.Kind, e.Pair, e.Switch, e.Point, e.Side = record.Prove, record.Pair{}, record.SwitchUnknown, "", record.SideUnknown
		e.Source, e.HasExpected, e.Expected = "PU-1", true, 230
		e.Volts, e.Stage = pick(m.dice, shown(0), shown(207), shown(230), unreadable), record.Stage{}
		e.Pos = record.Pos{File: "other.csv", Line: 2}
		other.Events = append(other.Events, e)
	}
}

// secondJob adds a job row that says the same, more, or something else.
func secondJob(m *maker, d *draft) {
	j := *d.job()
	switch m.intn(6) {
	case 0:
		j.Site = "yard"
	case 1:
		j.Nominal = 110
	case 2:
		j.Supply = pick(m.dice, record.SinglePhase, record.ThreePhase)
	case 3:
		j.Conductors = []record.Conductor{record.L, record.E}
	case 4:
		j.Switched = []record.Conductor{must(record.ParseConductor("SL2"))}
	default:
		j = record.Job{Nominal: j.Nominal, Technician: "T-1"}
	}
	d.jobs = append(d.jobs, j)
}

// wildValues changes many readings at once.
func wildValues(m *maker, d *draft) {
	for range 1 + m.intn(6) {
		pick(m.dice, showTest, showProof, changeStage, changeWaveform, changeIndicator, changeSource, changeExpected)(m, d)
	}
}

// copyReadings gives the readings of one record the volts of another.
func copyReadings(from, to *record.Record) {
	var volts []record.Reading
	for _, e := range from.Events {
		if e.Kind.IsReading() {
			volts = append(volts, e.Volts)
		}
	}
	n := 0
	for i := range to.Events {
		if e := &to.Events[i]; e.Kind.IsReading() && n < len(volts) {
			e.Volts = volts[n]
			n++
		}
	}
}
