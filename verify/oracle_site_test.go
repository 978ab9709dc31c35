package verify_test

import (
	"slices"
	"time"

	"nilvolt/record"
)

// This file is the further rules of section 7 of docs/rules.md that rest on the
// steps, the job sheet and the register, and those across records.

func (q *inquiry) firstStep(kind record.Kind, from int) *row {
	for _, r := range q.rows {
		if r.Kind == kind && r.at > from {
			return r
		}
	}
	return nil
}

func (q *inquiry) stepRules(others []*inquiry) {
	isolate, permission := q.firstStep(record.Isolate, -1), q.firstStep(record.Permission, -1)
	switch {
	case isolate == nil || permission == nil:
	case isolate.at < permission.at:
		q.add(record.PermissionOrder, record.Failure, "")
	default:
		for _, r := range q.rows[:isolate.at] {
			if r.Kind == record.Permission {
				permission = r
			}
		}
		if apart(permission, isolate) > q.set.permissionGap {
			q.add(record.PermissionGap, record.Caution, "")
		}
	}
	from, to := -1, len(q.rows)
	for _, r := range q.rows {
		if r.Kind == record.Restore {
			from = r.at
		}
	}
	if rows := q.countingRows(); len(rows) > 0 {
		to = rows[0].at
	}
	isolates := q.steps(record.Isolate, from, to)
	if q.steps(record.Lock, from, to) < isolates {
		q.add(record.NotSecured, record.Failure, "")
	}
	if q.steps(record.Label, from, to) < isolates {
		q.add(record.NotLabelled, record.Caution, "")
	}
	q.beganEarly(others)
	q.begunLate(others)
}

// beganEarly judges each begin behind the last isolate or restore: a conductor
// found live later does not excuse that work began before all were dead.
func (q *inquiry) beganEarly(others []*inquiry) {
	since := -1
	for _, r := range q.rows {
		if r.Kind == record.Isolate || r.Kind == record.Restore {
			since = r.at
		}
	}
	for _, b := range q.rows {
		if b.Kind != record.Begin || b.at < since {
			continue
		}
		if len(q.counts) == 0 {
			q.add(record.BeganEarly, record.Failure, "")
		}
		for _, c := range q.counts {
			if !c.good {
				q.add(record.BeganEarly, record.Failure, "")
				continue
			}
			end := q.bracketOf(c.goodFrom, others).after.last()
			if b.Time.Before(end.Time) || slices.Contains(q.rows, end) && b.at < end.at {
				q.add(record.BeganEarly, record.Failure, "")
			}
		}
	}
}

func (q *inquiry) begunLate(others []*inquiry) {
	var last *row
	for _, c := range q.countingDead() {
		after := q.bracketOf(c.row, others).after
		if after != nil && (last == nil || last.Time.Before(after.last().Time)) {
			last = after.last()
		}
	}
	if last == nil {
		return
	}
	for _, b := range q.rows {
		if b.Kind != record.Begin || b.Time.Before(last.Time) || slices.Contains(q.rows, last) && b.at < last.at {
			continue
		}
		if apart(last, b) > q.set.beginWithin {
			severity := record.Caution
			if q.firstStep(record.Lock, -1) == nil {
				severity = record.Failure
			}
			q.add(record.BegunLate, severity, "")
		}
		return
	}
}

// isolation says how far a device suits isolation: "yes", "no", "marked", or ""
// for one that is not in the table. Source: BS 7671:2018 Table 537.4, from memory.
func isolation(device string) string {
	switch device {
	case "60669-2-4", "60898", "61008-1", "61009-1", "BS 88", "61995-1", "60309", "BS 4177", "BS 1363-4":
		return "yes"
	case "60947-3", "60947-4-1", "60947-2", "60947-6-1":
		return "marked"
	case "50428", "60669-1", "60947-5-1", "61095":
		return "no"
	}
	return ""
}

// offLoad says whether the table has a device that is not for switching under load.
func offLoad(device string) bool { return device == "BS 88" || device == "61995-1" }

func (q *inquiry) deviceRules() {
	if q.job.Device != "" {
		switch isolation(q.job.Device) {
		case "no":
			q.add(record.DeviceUnsuitable, record.Failure, "")
		case "marked":
			q.add(record.DeviceMarkUnknown, record.Caution, "")
		case "":
			q.add(record.DeviceUnknown, record.Caution, "")
		}
	}
	if isolate := q.firstStep(record.Isolate, -1); isolate != nil && q.steps(record.ShedLoad, -1, isolate.at) == 0 &&
		(q.job.OnLoad == record.No || q.job.OnLoad == record.Unstated && offLoad(q.job.Device)) {
		q.add(record.LoadNotShed, record.Caution, "")
	}
	if q.job.Poles == record.PolesUnknown || !q.known {
		return
	}
	lines := 0
	for _, c := range q.inUse {
		if isLine(c) {
			lines++
		}
	}
	opened, neutral := opens(q.job.Poles, lines)
	if opened < lines {
		q.add(record.LineNotOpened, record.Failure, "")
	}
	grid := q.job.Earthing
	if (grid == record.TT || grid == record.IT) && slices.Contains(q.inUse, record.N) && !neutral {
		q.add(record.NeutralNotOpened, record.Failure, "")
	}
	if grid == record.TNC && slices.Contains(conductorsOf(q.job.Supply), record.N) && neutral {
		q.add(record.PENOpened, record.Caution, "")
	}
}

// opens says how many lines poles open, and whether they open the neutral.
func opens(p record.Poles, lines int) (opened int, neutral bool) {
	switch p {
	case record.Poles1N:
		return 1, true
	case record.Poles3N:
		return 3, true
	case record.PolesPlug:
		return lines, true
	}
	poles := map[record.Poles]int{record.Poles1: 1, record.Poles2: 2, record.Poles3: 3, record.Poles4: 4}[p]
	return min(poles, lines), poles > lines
}

func (q *inquiry) registerRules() {
	for _, r := range q.rows {
		// IEC 61243-3, scope: up to 1000 V ac and 1500 V dc.
		most := 1000.0
		if q.job.Supply.IsDC() {
			most = 1500
		}
		if r.Kind == record.Test && q.nominalBetween(r.pair) > most {
			q.add(record.InstrumentUnderrated, record.Failure, r.Indicator)
		}
		if !r.Kind.IsReading() || q.reg == nil {
			continue
		}
		if in := q.entry(r.Indicator); in == nil || in.Kind == record.ProvingUnit {
			q.add(record.InstrumentUnknownRule, record.Caution, r.Indicator)
		}
		if r.Source != "" && r.Source != record.Live && q.entry(r.Source) == nil {
			q.add(record.InstrumentUnknownRule, record.Caution, r.Source)
		}
		for _, id := range []string{r.Indicator, r.Source} {
			in := q.entry(id)
			if in == nil {
				continue
			}
			day := r.Time.Date()
			if in.Withdrawn.IsSet() && !in.Withdrawn.After(day) {
				q.add(record.InstrumentWithdrawn, record.Failure, id)
			}
			if in.Serviced.IsSet() && in.IntervalDays > 0 && day.After(in.Serviced.AddDays(in.IntervalDays)) {
				q.add(record.InstrumentOverdue, record.Failure, id)
			}
		}
		if in := q.entry(r.Indicator); in != nil && r.Kind == record.Test {
			if in.MaxVolts > 0 && float64(in.MaxVolts) < q.nominalBetween(r.pair) ||
				in.Category != record.CategoryUnknown && in.Category < q.job.Category {
				q.add(record.InstrumentUnderrated, record.Failure, r.Indicator)
			}
		}
	}
}

// display returns what the readings showed, in order, and how many were not zero.
func (q *inquiry) display() (shown []record.Reading, notZero int) {
	for _, r := range q.rows {
		if !r.Kind.IsReading() || r.Volts.State == record.Absent {
			continue
		}
		v := record.Reading{}
		if r.Volts.State == record.Shown {
			v = record.Reading{State: record.Shown, Volts: r.Volts.Volts}
		}
		shown = append(shown, v)
		if v.Volts != 0 {
			notZero++
		}
	}
	return shown, notZero
}

func (q *inquiry) copiedReadings(others []*inquiry) {
	shown, notZero := q.display()
	for _, o := range others {
		if theirs, _ := o.display(); notZero >= 3 && slices.Equal(shown, theirs) {
			q.add(record.CopiedReadings, record.Caution, "")
		}
	}
}

// clockDisagrees compares what two files say of the same proofs.
func (q *inquiry) clockDisagrees() {
	type log struct{ file, indicator string }
	logs := map[log][]*row{}
	for _, r := range q.rows {
		if r.Kind.IsProof() {
			k := log{r.Pos.File, r.Indicator}
			logs[k] = append(logs[k], r)
		}
	}
	for a, ours := range logs {
		for b, theirs := range logs {
			if a.indicator != b.indicator || a.file == b.file || len(ours) < 2 || !slices.EqualFunc(ours, theirs, sameProof) {
				continue
			}
			for i := range ours {
				if apart(theirs[i], ours[i]) > 2*time.Minute {
					q.add(record.ClockDisagrees, record.Caution, a.indicator)
				}
			}
		}
	}
}

func sameProof(a, b *row) bool {
	return a.Source == b.Source && a.HasExpected == b.HasExpected && (!a.HasExpected || a.Expected == b.Expected) &&
		a.Volts.State == record.Shown && b.Volts.State == record.Shown && a.Volts.Volts == b.Volts.Volts
}

func (q *inquiry) notRecorded(others []*inquiry) {
	var missing []string
	note := func(absent bool, what string) {
		if absent {
			missing = append(missing, what)
		}
	}
	note(q.job.Supply == record.SupplyUnknown, "supply")
	note(q.job.Nominal == 0, "nominal")
	note(q.job.Earthing == record.EarthingUnknown, "earthing")
	note(q.job.Device == "", "device")
	note(q.job.Poles == record.PolesUnknown, "poles")
	for _, k := range []record.Kind{record.Inspect, record.Identify, record.Permission, record.Isolate, record.Begin} {
		note(q.firstStep(k, -1) == nil, k.String())
	}
	note(q.firstStep(record.Lock, -1) == nil && !q.has(record.NotSecured), "lock")
	note(q.firstStep(record.Label, -1) == nil && !q.has(record.NotLabelled), "label")
	for _, c := range q.counts {
		if c.row == nil {
			continue
		}
		note(q.waveformOf(&c.Event) == record.WaveformUnknown, "waveform")
		note(!c.Placed, "probes")
		if c.class == classDead {
			b := q.bracketOf(c.row, others)
			for _, s := range []*series{b.before, b.after} {
				note(s != nil && slices.ContainsFunc(s.rows, func(p *row) bool { return p.Source == "" }), "source")
			}
		}
	}
	for _, r := range q.rows {
		in := q.entry(r.Indicator)
		note(r.Kind.IsReading() && r.Stage.State != record.StageAbsent && (in == nil || len(in.Stages) == 0), "steps")
	}
	if len(missing) > 0 {
		q.add(record.NotRecorded, record.Caution, "")
	}
}
