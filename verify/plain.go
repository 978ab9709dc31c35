package verify

import (
	"math"
	"slices"
	"time"

	"nilvolt/record"
)

// Most records are plain: the steps before, proofs, the dead tests of the required
// pairs, proofs, and the begin of work; in this order, by one indicator, in one file.
// A plainWalk knows such a record after a look or two at each event, where the rules one
// by one need a dozen. If the proofs pass, every pair was tested dead once, and the
// steps were followed up, there is nothing to remark but what is not recorded and
// what the job sheet says of the device; else faults looks for the rest.
//
// It may refuse any record, which is then judged by the rules. It may take none of
// which they would say anything else: TestPlain and FuzzPlain compare the two, and
// the oracle judges the records of both.
type plainWalk struct {
	*Judge
	usual     *usual
	right     record.Waveform    // of the supply
	indicator string             // the one indicator
	entry     *record.Instrument // what the register knows of it
	permitted *record.Event      // the last permission
	shed      bool               // load was shed before the first isolate
	noSource  bool               // a proof names no source

	before plainSeries
	tests  []record.Event
	after  plainSeries

	again    bool // a pair was tested more than once
	odd      bool // a pair was not tested, or there is a reading to remark
	unplaced bool // a dead test does not tell which probe was placed first
	unset    bool // one does not tell what waveform the indicator was set to
}

// A pairSet holds required pairs, a bit each.
type pairSet uint32

// pairBit is the set of one required pair.
func pairBit(k int) pairSet { return 1 << (uint(k) % 32) }

// mostRequired is how many pairs a usual supply requires at most.
const mostRequired = 10

// A plainSeries is a proof series: of several rows that pass, or of one that does not.
type plainSeries struct {
	rows   []record.Event
	fails  bool
	strong bool         // its last row showed a dangerous voltage
	proved record.Volts // the highest voltage that a row passed on
}

// has reports whether there is such a series.
func (s *plainSeries) has() bool { return len(s.rows) > 0 }

// plain judges rec if it is a plain record, and reports whether it is. It leaves
// out the rows, which Judgement.Pairs makes where somebody asks.
func (j *Judge) plain(rec *record.Record) bool {
	var w plainWalk
	if !w.takes(j, rec) || !w.isWhole() || !w.isAlone() {
		return false
	}
	j.work = w.usual.work
	j.findings.reset()
	good := !w.isOdd() || w.faults()
	if !good && w.steps[record.Begin] > 0 {
		return false
	}
	j.jobDevice()
	j.loosenedRule()
	j.missingRule(w.unsaid())
	j.conclude(good)
	return true
}

// takes begins a walk over rec, and reports whether it got to the end.
func (w *plainWalk) takes(j *Judge, rec *record.Record) bool {
	if len(rec.Jobs) != 1 || !isUsual(&rec.Jobs[0]) || j.policy.SharedProofs {
		return false
	}
	j.rec, j.job, j.conflicts = rec, &rec.Jobs[0], j.conflicts[:0]
	j.outputs, j.files = j.outputs[:0], false
	j.steps, j.resetBy = [record.Restore + 1]int32{}, nil
	u := j.usualOf(j.job.Supply)
	w.Judge, w.usual = j, u
	w.right = record.AC
	if j.job.Supply.IsDC() {
		w.right = record.DirectVoltage
	}
	return w.rows()
}

// rows takes up the rows, part by part; false where one is left over, which makes the
// record another than plain.
func (w *plainWalk) rows() bool {
	if !w.isInOrder() || !w.isOneLog() || !w.suits() {
		return false
	}
	rows := w.takeSteps(w.rec.Events)
	rows = w.takeProofs(&w.before, rows)
	rows = w.takeTests(rows)
	rows = w.takeProofs(&w.after, rows)
	return w.takeBegins(rows)
}

// isInOrder reports whether the times of the rows never fall, nor the counter of the
// readings, where they have one, and whether no row tells what a row of a plain record
// does not.
func (w *plainWalk) isInOrder() bool {
	events := w.rec.Events
	seq := int64(math.MinInt64)
	for i := range events {
		e := &events[i]
		if e.Ambiguous || e.Clock != nil || e.Switch != record.SwitchUnknown || e.Side != record.SideUnknown || e.Point != "" ||
			e.Stage.State != record.StageAbsent || e.Waveform != record.WaveformUnknown && e.Waveform != w.right ||
			i > 0 && e.Time.Before(events[i-1].Time) {
			return false
		}
		if e.HasSeq {
			if !e.Kind.IsReading() || e.Seq < seq {
				return false
			}
			seq = e.Seq
		}
	}
	return true
}

// isOneLog reports whether all rows are of one file and all readings, of which there is
// one at least, of one indicator.
func (w *plainWalk) isOneLog() bool {
	events := w.rec.Events
	for i := range events {
		e := &events[i]
		if e.Pos.File != events[0].Pos.File {
			return false
		}
		if !e.Kind.IsReading() {
			continue
		}
		if w.indicator == "" {
			w.indicator = e.Indicator
		}
		if e.Indicator != w.indicator {
			return false
		}
	}
	return w.indicator != ""
}

// suits reports whether nothing is against the indicator on this work, the date in the
// register left out.
func (w *plainWalk) suits() bool {
	if w.beyondDetectors(w.job.Nominal) {
		return false
	}
	if w.register == nil {
		return true
	}
	e := w.instrument(w.indicator)
	w.entry = e
	return e != nil && e.Kind != record.ProvingUnit &&
		(e.Senses == record.WaveformUnknown || e.Senses == record.BothWaveforms || e.Senses == w.right) &&
		(e.MaxVolts == 0 || e.MaxVolts >= w.job.Nominal) &&
		(e.Category == record.CategoryUnknown || e.Category >= w.job.Category)
}

// takeTests takes up the dead tests at the head of some rows, and returns the others.
func (w *plainWalk) takeTests(rows []record.Event) []record.Event {
	required := w.usual.required
	tested, next, n := pairSet(0), 0, 0
	for ; n < len(rows) && rows[n].Kind == record.Test; n++ {
		e := &rows[n]
		if n > 0 {
			if gap := e.Time.Sub(rows[n-1].Time); gap < quickBelow || gap > w.policy.InterruptedAfter {
				break
			}
		}
		k := next // mostly the one, which spares a call
		if k == len(required) || !required[k].Same(e.Pair) {
			if k = w.place(e.Pair, k); k < 0 {
				break
			}
		}
		next = k + 1
		if tested&pairBit(k) != 0 {
			w.again = true
		}
		tested |= pairBit(k)
		if !e.Placed {
			w.unplaced = true
		} else if required[k].second == e.Pair.A {
			w.odd = true
		}
		if e.Waveform == record.WaveformUnknown {
			w.unset = true
		}
		if !w.isDead(e) {
			w.odd = true
		}
	}
	w.odd = w.odd || w.again || tested != pairBit(len(required))-1
	w.tests = rows[:n]
	return rows[n:]
}

// isDead reports whether a dead test is dead at first sight.
func (w *plainWalk) isDead(e *record.Event) bool {
	return e.Volts.State == record.Shown && e.Volts.Volts.Abs() <= w.policy.DeadLimit
}

// place returns which required pair a dead test is of, -1 if of none. Tests mostly
// follow each other as the pairs do, so the one behind the last is tried first.
func (w *plainWalk) place(p record.Pair, next int) int {
	required := w.usual.required
	if next < len(required) && required[next].Same(p) {
		return next
	}
	for k := range required {
		if required[k].Same(p) {
			return k
		}
	}
	return -1
}

// takeProofs takes up the proofs at the head of some rows as a series, and returns the
// other rows.
func (w *plainWalk) takeProofs(s *plainSeries, rows []record.Event) []record.Event {
	n := 0
	for ; n < len(rows) && rows[n].Kind.IsProof(); n++ {
		e := &rows[n]
		p := w.proof(e)
		if p.unspecified || e.Pair.IsSet() ||
			w.register != nil && e.Source != "" && !isLive(e.Source) && !inService(w.instrument(e.Source), e) {
			break
		}
		if n > 0 && (s.fails || !p.passes || e.Time.Sub(rows[n-1].Time) > w.policy.SeriesGap) {
			break
		}
		s.fails, s.strong = !p.passes, strong(e)
		if p.proved > s.proved {
			s.proved = p.proved
		}
		w.noSource = w.noSource || e.Source == ""
	}
	s.rows = rows[:n]
	return rows[n:]
}

// inService reports whether the register knows an instrument, and as one that was in
// service up to two days after the row: an earlier one may bear a later date, by its
// offset.
func inService(entry *record.Instrument, e *record.Event) bool {
	if entry == nil || entry.Withdrawn.IsSet() {
		return false
	}
	due := entry.Due()
	return !due.IsSet() || !e.Time.Date().AddDays(2).After(due)
}

// takeSteps takes up the steps at the head of some rows, and returns the others.
func (w *plainWalk) takeSteps(rows []record.Event) []record.Event {
	n := 0
	for ; n < len(rows) && !rows[n].Kind.IsReading() && w.step(&rows[n]); n++ {
		w.steps[rows[n].Kind]++
	}
	return rows[n:]
}

// takeBegins takes up the begins of work behind the last proof, and reports whether no
// other rows are left.
func (w *plainWalk) takeBegins(rows []record.Event) bool {
	if len(rows) == 0 {
		return true
	}
	if !w.after.has() || between(w.after.rows, rows) > w.policy.BeginWithin {
		return false
	}
	w.steps[record.Begin] = int32(len(rows))
	return !slices.ContainsFunc(rows, func(e record.Event) bool { return e.Kind != record.Begin })
}

// step takes up a step before the first reading.
func (w *plainWalk) step(e *record.Event) bool {
	isolated := w.steps[record.Isolate] > 0
	switch e.Kind {
	case record.Inspect, record.Identify, record.Lock, record.Label:
	case record.Permission:
		if isolated && w.permitted == nil {
			return false
		}
		w.permitted = e
	case record.ShedLoad:
		w.shed = w.shed || !isolated
	case record.Isolate:
		w.resetBy = e
		return isolated || w.permitted == nil || e.Time.Sub(w.permitted.Time) <= w.policy.PermissionGap
	default:
		return false
	}
	return true
}

// between returns the time from the last of some rows to the first of others.
func between(before, after []record.Event) time.Duration {
	return after[0].Time.Sub(before[len(before)-1].Time)
}

// lasting returns the time from the first of some rows to the last.
func lasting(rows []record.Event) time.Duration {
	return rows[len(rows)-1].Time.Sub(rows[0].Time)
}

// isWhole reports whether the record is plain when no row follows.
func (w *plainWalk) isWhole() bool {
	events := w.rec.Events
	if len(w.tests) == 0 || lasting(events) > mixedAfter ||
		w.again && (w.isStale() || w.isLate() || lasting(w.tests) > w.policy.InterruptedAfter) {
		return false
	}
	return w.isPlainSeries(&w.before) && w.isPlainSeries(&w.after) &&
		(w.steps[record.Isolate] == 0 || w.shed || !w.notForLoad()) &&
		(w.register == nil || inService(w.entry, &events[len(events)-1]))
}

// isStale reports whether a dead test lies long behind the proofs before it.
func (w *plainWalk) isStale() bool {
	return w.before.has() && between(w.before.rows, w.tests[len(w.tests)-1:]) > w.policy.ProveAge
}

// isLate reports whether a dead test lies long before the proofs behind it.
func (w *plainWalk) isLate() bool {
	return w.after.has() && between(w.tests[:1], w.after.rows) > w.policy.ReproveDelay
}

// isPlainSeries reports whether there is nothing to remark about a series but that it
// fails, or that there is none.
func (w *plainWalk) isPlainSeries(s *plainSeries) bool {
	// No two conductors have more than the nominal voltage between them.
	return !s.has() || s.fails || s.strong && !isBelow(s.proved, w.job.Nominal)
}

// isOdd reports whether there may be faults.
func (w *plainWalk) isOdd() bool {
	isolates := w.steps[record.Isolate]
	return w.odd || w.isUnproved() || w.steps[record.Lock] < isolates || w.steps[record.Label] < isolates
}

// isUnproved reports whether a dead reading may lack a proof.
func (w *plainWalk) isUnproved() bool {
	return !w.before.has() || w.before.fails || w.isStale() || !w.after.has() || w.after.fails || w.isLate()
}

// isAlone reports whether no other record of the call has to do with this one.
func (w *plainWalk) isAlone() bool {
	return w.across == nil || !w.failsElsewhere() && !w.isCopied()
}

// failsElsewhere reports whether the indicator fails in another record between the
// proofs of this one. Where one of these is missing, that says enough.
func (w *plainWalk) failsElsewhere() bool {
	if !w.before.has() || !w.after.has() {
		return false
	}
	from, to := w.before.rows[len(w.before.rows)-1].Time, w.after.rows[0].Time
	return w.across.failing(w.indicator, w.rec.ID, from, to) != nil
}

// isCopied reports whether several records of the call have the readings of this one.
func (w *plainWalk) isCopied() bool {
	if len(w.across.copies) == 0 {
		return false
	}
	key, ok := w.copyKey()
	return ok && w.across.hasCopy(key)
}

// copyKey returns the key of the record's readings.
func (w *plainWalk) copyKey() (key copyKey, ok bool) {
	w.copying.reset()
	for i := range w.rec.Events {
		w.copying.add(&w.rec.Events[i])
	}
	return w.copying.key()
}

// provesWell reports whether no proof series of the record fails.
func (w *plainWalk) provesWell() bool {
	well := func(s *plainSeries) bool { return !s.has() || !s.fails && s.strong }
	return well(&w.before) && well(&w.after)
}

// unsaid is what the readings that count and the proofs around them do not tell.
func (w *plainWalk) unsaid() missingSet {
	return missingProbeOrder.when(w.unplaced) | missingSource.when(w.noSource) |
		missingWaveform.when(w.unset && (w.entry == nil || w.entry.Senses == record.WaveformUnknown))
}
