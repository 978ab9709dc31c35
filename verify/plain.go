package verify

import (
	"math"

	"nilvolt/record"
)

// Most records are plain: the steps before, proofs, the dead tests of the required
// pairs, proofs, and the begin of work; in this order, by one indicator, in one file.
// A plainWalk knows such a record after one look at each event, where the rules one
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
	right     record.Waveform // of the supply
	required  []slot
	phase     phase
	indicator string // the one indicator; blank before the first reading
	entry     *record.Instrument
	seq       int64 // the counter of the last reading that has one
	next      int   // the required pair that the next dead test is likely of
	firstTest record.Instant
	lastTest  record.Instant
	before    plainSeries
	after     plainSeries
	permitted *record.Event // the last permission
	shed      bool          // load was shed before the first isolate
	missing   missingSet    // of the dead tests
	noSource  bool          // a proof names no source

	counts [mostRequired]int32 // of a required pair with a reading that counts: which row that is
	tested pairSet             // the required pairs with a reading that counts
	bad    pairSet             // those of them whose reading is not dead
	again  bool                // a pair was tested more than once since the last reset
	live   bool                // a dead test was live, which resets
	odd    bool                // there is a reading to remark
}

// A pairSet holds required pairs, a bit each.
type pairSet uint16

// mostRequired is how many pairs a usual supply requires at most.
const mostRequired = 10

// A phase is a part of a plain record.
type phase uint8

const (
	phaseSteps phase = iota
	phaseProve
	phaseTests
	phaseReprove
	phaseWork
)

// A plainSeries is a proof series: of several rows that pass, or of one that does not.
type plainSeries struct {
	start, rows int
	first, last record.Instant
	fails       bool
	strong      bool         // its last row showed a dangerous voltage
	proved      record.Volts // the highest voltage that a row passed on
}

// plain judges rec if it is a plain record, and reports whether it is. It leaves
// out the rows, which Judgement.Pairs makes where somebody asks.
func (j *Judge) plain(rec *record.Record) bool {
	var w plainWalk
	if !w.takes(j, rec) || !w.isWhole() || !w.isAlone() {
		return false
	}
	j.work = w.usual.work
	j.findings.reset()
	good := true
	if w.isOdd() {
		good = w.faults()
	} else {
		w.missing |= missingSource.when(w.noSource)
	}
	if !good && w.steps[record.Begin] > 0 {
		return false
	}
	j.jobDevice()
	j.loosenedRule()
	j.missingRule(w.missing)
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
	w.Judge, w.usual, w.required, w.seq = j, u, u.slots, math.MinInt64
	w.right = record.AC
	if j.job.Supply.IsDC() {
		w.right = record.DirectVoltage
	}
	return w.rows()
}

// rows takes up the rows; false where one makes the record another than plain.
func (w *plainWalk) rows() bool {
	events := w.rec.Events
	for i := range events {
		e := &events[i]
		if e.Ambiguous || e.Clock != nil || e.Switch != record.SwitchUnknown || e.Side != record.SideUnknown || e.Point != "" ||
			e.Stage.State != record.StageAbsent || e.Waveform != record.WaveformUnknown && e.Waveform != w.right {
			return false
		}
		if i > 0 {
			if last := &events[i-1]; e.Time.Before(last.Time) || e.Pos.File != last.Pos.File {
				return false
			}
		}
		ok := false
		switch e.Kind {
		case record.Test:
			ok = w.sameLog(e) && w.test(i, e)
		case record.Prove, record.Reprove:
			ok = w.sameLog(e) && w.proofRow(i, e)
		default:
			ok = !e.HasSeq && w.step(e)
		}
		if !ok {
			return false
		}
		w.steps[e.Kind]++
	}
	return len(events) > 0
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
func (w *plainWalk) test(i int, e *record.Event) bool {
	switch w.phase {
	case phaseSteps, phaseProve:
		w.phase, w.firstTest = phaseTests, e.Time
	case phaseTests:
		if gap := e.Time.Sub(w.lastTest); gap < quickBelow || gap > w.policy.InterruptedAfter {
			return false
		}
	default:
		return false
	}
	w.lastTest = e.Time
	k := w.place(e.Pair)
	if k < 0 {
		return false
	}
	at := pairSet(1) << k
	w.again = w.again || w.tested&at != 0
	w.counts[k] = int32(i)
	w.tested |= at
	w.bad &^= at
	w.unsaid(e)
	if e.Volts.State == record.Shown && e.Volts.Volts.Abs() <= w.policy.DeadLimit {
		return true
	}
	switch w.classify(e) {
	case classDead:
	case classLive:
		w.live, w.odd = true, true
		w.tested, w.bad, w.resetBy = 0, 0, e
	default:
		w.bad |= at
		w.odd = true
	}
	return true
}

// unsaid notes what a dead test does not tell, and whether its probes were exchanged.
func (w *plainWalk) unsaid(e *record.Event) {
	if !e.Placed {
		w.missing |= missingProbeOrder
	} else if wrongProbeFirst(e.Pair) {
		w.odd = true
	}
	if e.Waveform == record.WaveformUnknown && (w.entry == nil || w.entry.Senses == record.WaveformUnknown) {
		w.missing |= missingWaveform
	}
}

// place returns which required pair a dead test is of, -1 if of none.
func (w *plainWalk) place(p record.Pair) int {
	for range w.required {
		k := w.next
		if w.next++; w.next == len(w.required) {
			w.next = 0
		}
		if w.required[k].Pair.Same(p) {
			return k
		}
	}
	return -1
}

// proofRow takes up a proof.
func (w *plainWalk) proofRow(i int, e *record.Event) bool {
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
	if p.unspecified || e.Pair.IsSet() {
		return false
	}
	if s.rows == 0 {
		s.start, s.first, s.fails = i, e.Time, !p.passes
	} else if s.fails || !p.passes || e.Time.Sub(s.last) > w.policy.SeriesGap {
		return false
	}
	s.rows++
	s.last, s.strong, s.proved = e.Time, strong(e), max(s.proved, p.proved)
	w.noSource = w.noSource || e.Source == ""
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
		w.resetBy = e
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
	first, last := &w.rec.Events[0], &w.rec.Events[len(w.rec.Events)-1]
	if w.phase < phaseTests || last.Time.Sub(first.Time) > mixedAfter ||
		w.again && (w.isStale() || w.isLate() || w.lastTest.Sub(w.firstTest) > w.policy.InterruptedAfter) {
		return false
	}
	return w.isPlainSeries(&w.before) && w.isPlainSeries(&w.after) &&
		(w.steps[record.Isolate] == 0 || w.shed || !w.notForLoad()) &&
		(w.register == nil || inService(w.entry, last))
}

// isStale reports whether a dead test lies long behind the proofs before it.
func (w *plainWalk) isStale() bool {
	return w.before.rows > 0 && w.lastTest.Sub(w.before.last) > w.policy.ProveAge
}

// isLate reports whether a dead test lies long before the proofs behind it.
func (w *plainWalk) isLate() bool {
	return w.after.rows > 0 && w.after.first.Sub(w.firstTest) > w.policy.ReproveDelay
}

// isPlainSeries reports whether there is nothing to remark about a series but that it
// fails, or that there is none.
func (w *plainWalk) isPlainSeries(s *plainSeries) bool {
	// No two conductors have more than the nominal voltage between them.
	return s.rows == 0 || s.fails || s.strong && !isBelow(s.proved, w.job.Nominal)
}

// isOdd reports whether there may be faults.
func (w *plainWalk) isOdd() bool {
	isolates := w.steps[record.Isolate]
	return w.odd || w.again || w.tested != 1<<len(w.required)-1 ||
		w.before.rows == 0 || w.before.fails || w.isStale() ||
		w.after.rows == 0 || w.after.fails || w.isLate() ||
		w.steps[record.Lock] < isolates || w.steps[record.Label] < isolates
}

// isAlone reports whether no other record of the call has to do with this one.
func (w *plainWalk) isAlone() bool {
	return w.across == nil ||
		w.across.failing(w.indicator, w.rec.ID, w.before.last, w.after.first) == nil && !w.isCopied()
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
	well := func(s *plainSeries) bool { return s.rows == 0 || s.strong && !s.fails }
	return well(&w.before) && well(&w.after)
}
