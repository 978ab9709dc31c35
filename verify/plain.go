package verify

import (
	"math"

	"nilvolt/record"
)

// Most records are plain: the steps before, proofs that pass, a dead test of each
// required pair, proofs that pass, and the begin of work; in this order, by one
// indicator, in one file, with nothing to remark but what is not recorded and what
// the job sheet says of the device. A plainWalk knows such a record after one look
// at each event, where the rules one by one need a dozen.
//
// It may refuse any record, which is then judged by the rules. It may take none of
// which they would say anything else: TestPlain and FuzzPlain compare the two, and
// the oracle judges the records of both.
type plainWalk struct {
	*Judge
	right     record.Waveform // of the supply
	required  []slot
	phase     phase
	last      *record.Event // the row before
	indicator string        // the one indicator; blank before the first reading
	entry     *record.Instrument
	seq       int64 // the counter of the last reading that has one
	tested    uint  // the required pairs tested, a bit each
	next      int   // the required pair that the next dead test is likely of
	firstTest record.Instant
	lastTest  record.Instant
	before    plainSeries
	after     plainSeries
	permitted *record.Event // the last permission
	shed      bool          // load was shed before the first isolate
	missing   missingSet
}

// A phase is a part of a plain record.
type phase uint8

const (
	phaseSteps phase = iota
	phaseProve
	phaseTests
	phaseReprove
	phaseWork
)

// A plainSeries is a proof series of which every row passed.
type plainSeries struct {
	rows        int
	first, last record.Instant
	strong      bool         // its last row showed a dangerous voltage
	proved      record.Volts // the highest voltage that a row passed on
}

// plain judges rec if it is a plain record, and reports whether it is. It leaves
// out the rows, which Judgement.Pairs makes where somebody asks.
func (j *Judge) plain(rec *record.Record) bool {
	if len(rec.Jobs) != 1 || !isUsual(&rec.Jobs[0]) || j.policy.SharedProofs {
		return false
	}
	j.rec, j.job, j.conflicts = rec, &rec.Jobs[0], j.conflicts[:0]
	j.outputs, j.files = j.outputs[:0], false
	j.steps = [record.Restore + 1]int32{}
	u := j.usualOf(j.job.Supply)
	w := plainWalk{Judge: j, right: record.AC, required: u.slots, seq: math.MinInt64}
	if j.job.Supply.IsDC() {
		w.right = record.DirectVoltage
	}
	for i := range rec.Events {
		if !w.row(&rec.Events[i]) {
			return false
		}
	}
	if !w.isWhole() || !w.isAlone() {
		return false
	}
	j.work = u.work
	j.findings.reset()
	j.jobDevice()
	j.loosenedRule()
	j.missingRule(w.missing)
	j.conclude(true)
	return true
}

// row takes up the next row; false where it makes the record another than plain.
func (w *plainWalk) row(e *record.Event) (ok bool) {
	if e.Ambiguous || e.Clock != nil || e.Switch != record.SwitchUnknown || e.Side != record.SideUnknown || e.Point != "" ||
		e.Stage.State != record.StageAbsent || e.Waveform != record.WaveformUnknown && e.Waveform != w.right {
		return false
	}
	if w.last != nil && (e.Time.Before(w.last.Time) || e.Pos.File != w.last.Pos.File) {
		return false
	}
	switch e.Kind {
	case record.Test:
		ok = w.sameLog(e) && w.test(e)
	case record.Prove, record.Reprove:
		ok = w.sameLog(e) && w.proofRow(e)
	default:
		ok = !e.HasSeq && w.step(e)
	}
	if ok {
		w.last = e
		w.steps[e.Kind]++
	}
	return ok
}

// sameLog reports whether a reading is of the one indicator, and its counter, if it
// has one, not lower than before.
func (w *plainWalk) sameLog(e *record.Event) bool {
	if w.indicator == "" {
		w.indicator = e.Indicator
		if !w.suits() {
			return false
		}
	}
	if e.HasSeq {
		if e.Seq < w.seq {
			return false
		}
		w.seq = e.Seq
	}
	return e.Indicator == w.indicator
}

// suits reports whether the register has nothing against the indicator on this
// work, the date left out.
func (w *plainWalk) suits() bool {
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

// test takes up a dead test.
func (w *plainWalk) test(e *record.Event) bool {
	if e.Volts.State != record.Shown || !(e.Volts.Volts.Abs() <= w.policy.DeadLimit) {
		return false
	}
	switch w.phase {
	case phaseProve:
		w.phase, w.firstTest = phaseTests, e.Time
	case phaseTests:
		if gap := e.Time.Sub(w.lastTest); gap < quickBelow || gap > w.policy.InterruptedAfter {
			return false
		}
	default:
		return false
	}
	w.lastTest = e.Time
	w.missing |= missingProbeOrder.when(!e.Placed) |
		missingWaveform.when(e.Waveform == record.WaveformUnknown && (w.entry == nil || w.entry.Senses == record.WaveformUnknown))
	return w.stands(e.Pair) && !(e.Placed && wrongProbeFirst(e.Pair))
}

// stands notes that a pair was tested; false where it is not required, or was tested
// before.
func (w *plainWalk) stands(p record.Pair) bool {
	for range w.required {
		k := w.next
		if w.next++; w.next == len(w.required) {
			w.next = 0
		}
		if w.required[k].Pair.Same(p) {
			again := w.tested&(1<<k) != 0
			w.tested |= 1 << k
			return !again
		}
	}
	return false
}

// proofRow takes up a proof.
func (w *plainWalk) proofRow(e *record.Event) bool {
	s := &w.before
	switch w.phase {
	case phaseSteps, phaseProve:
		w.phase = phaseProve
	case phaseTests, phaseReprove:
		w.phase, s = phaseReprove, &w.after
	case phaseWork:
		return false
	}
	p := w.proof(e)
	if !p.passes || p.unspecified || e.Pair.IsSet() || s.rows > 0 && e.Time.Sub(s.last) > w.policy.SeriesGap {
		return false
	}
	if s.rows == 0 {
		s.first = e.Time
	}
	s.rows++
	s.last, s.strong, s.proved = e.Time, strong(e), max(s.proved, p.proved)
	w.missing |= missingSource.when(e.Source == "")
	return w.register == nil || e.Source == "" || isLive(e.Source) || inService(w.instrument(e.Source), e)
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

// step takes up a step.
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
		if !isolated && w.permitted != nil && e.Time.Sub(w.permitted.Time) > w.policy.PermissionGap {
			return false
		}
	case record.Begin:
		if w.phase < phaseReprove || w.steps[record.Begin] == 0 && e.Time.Sub(w.after.last) > w.policy.BeginWithin {
			return false
		}
		w.phase = phaseWork
		return true
	default:
		return false
	}
	return w.phase == phaseSteps
}

// isWhole reports whether the record is plain when no row follows.
func (w *plainWalk) isWhole() bool {
	if w.tested != 1<<len(w.required)-1 || !w.before.strong || !w.after.strong ||
		w.lastTest.Sub(w.before.last) > w.policy.ProveAge || w.after.first.Sub(w.firstTest) > w.policy.ReproveDelay ||
		w.last.Time.Sub(w.rec.Events[0].Time) > mixedAfter {
		return false
	}
	// No two conductors have more than the nominal voltage between them.
	if isBelow(w.before.proved, w.job.Nominal) || isBelow(w.after.proved, w.job.Nominal) {
		return false
	}
	isolates := w.steps[record.Isolate]
	return w.steps[record.Lock] >= isolates && w.steps[record.Label] >= isolates &&
		(isolates == 0 || w.shed || !w.notForLoad()) &&
		(w.register == nil || inService(w.entry, w.last))
}

// isAlone reports whether no other record of the call has to do with this one.
func (w *plainWalk) isAlone() bool {
	if w.across == nil {
		return true
	}
	if w.across.failing(w.indicator, w.rec.ID, w.before.last, w.after.first) != nil {
		return false
	}
	hash := newCopyHash()
	for i := range w.rec.Events {
		hash.add(&w.rec.Events[i])
	}
	key, ok := hash.key()
	return !ok || !w.across.hasCopy(key)
}
