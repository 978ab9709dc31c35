package verify_test

import (
	"math"
	"slices"
	"time"

	"nilvolt/record"
)

// This file is the further rules of section 7 of docs/rules.md that rest on the
// readings.

func (q *inquiry) furtherRules(others []*inquiry) {
	q.jobRules()
	q.rowRules()
	q.liveRules()
	q.proofRules(others)
	q.countingRules()
	q.stepRules(others)
	q.deviceRules()
	q.registerRules()
	q.copiedReadings(others)
	q.clockDisagrees()
	if q.set.looser() {
		q.add(record.PolicyLoosened, record.Caution, "")
	}
	q.notRecorded(others)
}

func (q *inquiry) jobRules() {
	if q.reduced {
		severity := record.Failure
		if q.set.reducedIsCaution {
			severity = record.Caution
		}
		q.add(record.ConductorsReduced, severity, "")
	}
	if q.conflict {
		q.add(record.JobConflict, record.Failure, "")
	}
}

// rowRules judges the rows as they stand beside each other.
func (q *inquiry) rowRules() {
	if n := len(q.rows); n > 0 && apart(q.rows[0], q.rows[n-1]) > 24*time.Hour {
		q.add(record.RecordMixed, record.Failure, "")
	}
	for _, a := range q.rows {
		for _, b := range q.rows {
			if a.HasSeq && b.HasSeq && a.Pos.File == b.Pos.File && a.Indicator == b.Indicator &&
				b.Seq > a.Seq && b.Time.Before(a.Time) {
				q.add(record.ClockBackwards, record.Failure, a.Indicator)
			}
		}
	}
	var gaps []time.Duration
	var last *row
	onTheMinute := true
	for _, r := range q.rows {
		if r.Kind != record.Test {
			continue
		}
		if last != nil {
			gaps = append(gaps, apart(last, r))
		}
		last = r
		onTheMinute = onTheMinute && r.Time.Second() == 0
		for _, c := range []record.Conductor{r.pair.A, r.pair.B} {
			if q.known && !slices.Contains(q.inUse, c) && !slices.Contains(q.switched, c) {
				q.add(record.ConductorUnexpected, record.Caution, r.Indicator, slot{r.pair, r.Switch, r.Point})
			}
		}
	}
	if len(gaps) > 0 && !onTheMinute && median(gaps) < time.Second {
		q.add(record.TooQuick, record.Caution, "")
	}
}

func median(d []time.Duration) time.Duration {
	slices.Sort(d)
	if n := len(d); n%2 == 0 {
		return (d[n/2-1] + d[n/2]) / 2
	}
	return d[len(d)/2]
}

// alike says whether two readings may be of the same place: the same pair, and
// position and point equal or not recorded.
func alike(a, b *row) bool {
	return a.pair.Same(b.pair) &&
		(a.Switch == b.Switch || a.Switch == record.SwitchUnknown || b.Switch == record.SwitchUnknown) &&
		(a.Point == b.Point || a.Point == "" || b.Point == "")
}

// stepBetween says whether a step of a kind stands between two places.
func (q *inquiry) stepBetween(kind record.Kind, from, to int) bool {
	return q.steps(kind, from, to) > 0
}

// steps counts the steps of a kind behind from and before to.
func (q *inquiry) steps(kind record.Kind, from, to int) int {
	n := 0
	for _, r := range q.rows {
		if r.Kind == kind && r.at > from && r.at < to {
			n++
		}
	}
	return n
}

func (q *inquiry) liveRules() {
	end := len(q.rows)
	for _, l := range q.rows {
		if l.Kind != record.Test || l.class != classLive {
			continue
		}
		where := slot{l.pair, l.Switch, l.Point}
		if q.liveRemains(l) || q.liveOnSupply(l) {
			q.add(record.LivePartsRemain, record.Caution, l.Indicator, where)
		}
		for _, d := range q.rows {
			if d.Kind != record.Test || d.class != classDead || d.at < l.at || !alike(l, d) ||
				l.Side == record.SupplySide || d.Side == record.SupplySide || q.stepBetween(record.Isolate, l.at, d.at) {
				continue
			}
			switch {
			case q.stepBetween(record.Isolate, -1, l.at):
				q.add(record.LiveUnexplained, record.Failure, l.Indicator, where)
			case !q.stepBetween(record.Isolate, -1, end):
				q.add(record.LiveUnexplained, record.Caution, l.Indicator, where)
			}
		}
	}
}

// liveOnSupply says whether a reading is live on the supply side, and no dead one
// of that side and place follows.
func (q *inquiry) liveOnSupply(l *row) bool {
	return l.Side == record.SupplySide && !slices.ContainsFunc(q.rows[l.at:], func(d *row) bool {
		return d.Kind == record.Test && d.class == classDead && d.Side == record.SupplySide && alike(l, d)
	})
}

// countingDead returns the counting readings that are dead.
func (q *inquiry) countingDead() []counting {
	return slices.DeleteFunc(slices.Clone(q.counts), func(c counting) bool {
		return c.row == nil || c.class != classDead
	})
}

// countingRows returns the rows that count, each once, in order.
func (q *inquiry) countingRows() []*row {
	var rows []*row
	for _, r := range q.rows {
		if slices.ContainsFunc(q.counts, func(c counting) bool { return c.row == r }) {
			rows = append(rows, r)
		}
	}
	return rows
}

// proofRules judges the passing series that bracket the counting readings.
func (q *inquiry) proofRules(others []*inquiry) {
	for _, c := range q.countingDead() {
		for _, s := range q.bracketing(c.row, others) {
			highest := 0.0
			for _, p := range s.rows {
				result := s.owner.proof(&p.Event)
				highest = max(highest, result.level)
				if !result.pass {
					q.add(record.ProofRetried, record.Caution, c.Indicator)
				}
				if result.unspecified && result.pass {
					q.add(record.ProofUnspecified, record.Caution, c.Indicator)
				}
				if q.sensesOf(c.Indicator) != record.BothWaveforms && opposite(q.waveformOf(&c.Event), p.Waveform) {
					q.add(record.ProofWaveform, record.Caution, c.Indicator)
				}
			}
			if highest < 0.99*q.nominalBetween(c.pair) {
				q.add(record.ProofBelowNominal, record.Caution, c.Indicator, c.slot)
			}
		}
	}
	firstIsolate := slices.IndexFunc(q.rows, func(r *row) bool { return r.Kind == record.Isolate })
	for _, p := range q.rows {
		pair := q.folded(p.Pair)
		if !p.Kind.IsProof() || !p.Pair.IsSet() || firstIsolate < 0 || p.at < firstIsolate ||
			!q.ofTheWork(pair.A) || !q.ofTheWork(pair.B) ||
			p.Side == record.SupplySide && q.job.SupplySideLive == record.Yes {
			continue
		}
		q.add(record.ProofOnWork, record.Failure, p.Indicator)
	}
}

func opposite(a, b record.Waveform) bool {
	return a == record.AC && b == record.DirectVoltage || a == record.DirectVoltage && b == record.AC
}

func (q *inquiry) ofTheWork(c record.Conductor) bool {
	return slices.Contains(q.inUse, c) || slices.Contains(q.switched, c)
}

// nominalBetween returns the nominal voltage between two conductors, 0 where it
// is not judged.
func (q *inquiry) nominalBetween(p record.Pair) float64 {
	n := float64(q.job.Nominal)
	lines := 0
	for _, c := range []record.Conductor{p.A, p.B} {
		if isLine(c) || slices.Contains(q.switched, c) {
			lines++
		}
	}
	switch lines {
	case 0:
		return 0
	case 2:
		if q.job.Supply == record.SupplyUnknown {
			return 0
		}
		return n
	}
	switch q.job.Supply {
	case record.SinglePhase, record.ThreePhase3Wire, record.DC:
		return n
	case record.SplitPhase, record.DC3Wire:
		return n / 2
	case record.ThreePhase:
		return n / math.Sqrt(3)
	}
	return 0
}

// countingRules judges the counting readings beside each other and beside what
// was read before them.
func (q *inquiry) countingRules() {
	rows := q.countingRows()
	for i, r := range rows {
		if i == 0 {
			continue
		}
		if gap := apart(rows[i-1], r); gap > 60*time.Minute {
			q.add(record.Interrupted, record.Failure, "")
		} else if gap > q.set.interruptedAfter {
			q.add(record.Interrupted, record.Caution, "")
		}
	}
	for _, c := range q.counts {
		if c.row == nil {
			continue
		}
		if c.unproved != nil {
			q.add(record.UnprovedRetest, record.Caution, c.unproved.Indicator, c.slot)
		}
		if c.Placed && misplaced(c.pair) {
			q.add(record.ProbeOrder, record.Caution, c.Indicator, c.slot)
		}
		for _, r := range q.rows[:c.at] {
			if c.class == classDead && r.Kind == record.Test && r.Side != record.SupplySide && alike(r, c.row) &&
				(r.class == classResidual || r.class == classUnreadable) {
				q.add(record.ReadingChanged, record.Caution, c.Indicator, c.slot)
			}
		}
	}
}

// misplaced says whether the first probe was on the wrong conductor.
func misplaced(p record.Pair) bool {
	earth := func(c record.Conductor) bool { return c == record.E || c == record.PEN }
	switch {
	case earth(p.A) || earth(p.B):
		return !earth(p.A)
	case p.Has(record.N):
		return p.A != record.N
	}
	return false
}
