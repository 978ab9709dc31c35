package verify

import (
	"math"
	"slices"
	"time"

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
	required  []requiredPair
	indicator string // the one indicator; blank before the first reading
	entry     *record.Instrument
	tests     []record.Event
	before    plainSeries
	after     plainSeries
	permitted *record.Event // the last permission
	shed      bool          // load was shed before the first isolate
	noSource  bool          // a proof names no source

	counts   [mostRequired]int32 // of a required pair with a reading that counts: which row that is
	readings pairReadings
	again    bool // a pair was tested more than once since the last reset
	live     bool // a dead test was live, which resets
}

// pairReadings tells of the readings that count for the required pairs.
type pairReadings struct {
	tested   pairSet // there is one
	bad      pairSet // not dead
	turned   pairSet // taken with the wrong probe first
	unplaced pairSet // does not tell which probe was placed first
	unset    pairSet // does not tell what waveform the indicator was set to
}

// forget takes out what is known of the pairs of a set.
func (r *pairReadings) forget(of pairSet) {
	r.tested, r.bad, r.turned, r.unplaced, r.unset = r.tested&^of, r.bad&^of, r.turned&^of, r.unplaced&^of, r.unset&^of
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
	w.Judge, w.usual, w.required = j, u, u.required
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
	i := w.stepRows()
	i = w.proofRows(&w.before, i)
	i = w.testRows(i)
	i = w.proofRows(&w.after, i)
	i = w.beginRows(i)
	return i == len(w.rec.Events)
}

// isOneLog reports whether all rows are of one file and all readings of one indicator.
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

// testRows takes up the dead tests from row i on, and returns the row behind them.
func (w *plainWalk) testRows(i int) int {
	events, required, r := w.rec.Events, w.required, &w.readings
	start, next := i, 0
	for ; i < len(events) && events[i].Kind == record.Test; i++ {
		e := &events[i]
		if i > start {
			if gap := e.Time.Sub(events[i-1].Time); gap < quickBelow || gap > w.policy.InterruptedAfter {
				break
			}
		}
		// Tests mostly follow each other as the pairs do, so the next pair is tried first.
		k := next
		if k >= len(required) || !required[k].Same(e.Pair) {
			if k = w.place(e.Pair); k < 0 {
				break
			}
		}
		next = k + 1
		at := pairBit(k)
		if r.tested&at != 0 {
			w.again = true
			r.forget(at)
		}
		r.tested |= at
		w.counts[k] = int32(i)
		if !e.Placed {
			r.unplaced |= at
		} else if e.Pair.A == required[k].second {
			r.turned |= at
		}
		if e.Waveform == record.WaveformUnknown {
			r.unset |= at
		}
		if e.Volts.State != record.Shown || e.Volts.Volts.Abs() > w.policy.DeadLimit {
			w.doubtful(e, at)
		}
	}
	w.tests = events[start:i]
	return i
}

// doubtful takes up a dead test that may show something else than dead.
func (w *plainWalk) doubtful(e *record.Event, at pairSet) {
	switch w.classify(e) {
	case classDead:
	case classLive:
		w.live, w.resetBy = true, e
		w.readings = pairReadings{}
	default:
		w.readings.bad |= at
	}
}

// place returns which required pair a dead test is of, -1 if of none.
func (w *plainWalk) place(p record.Pair) int {
	return slices.IndexFunc(w.required, func(r requiredPair) bool { return r.Same(p) })
}

// proofRows takes up the proofs from row i on as a series, and returns the row behind them.
func (w *plainWalk) proofRows(s *plainSeries, i int) int {
	events, start := w.rec.Events, i
	for ; i < len(events) && events[i].Kind.IsProof(); i++ {
		e := &events[i]
		p := w.proof(e)
		if p.unspecified || e.Pair.IsSet() ||
			w.register != nil && e.Source != "" && !isLive(e.Source) && !inService(w.instrument(e.Source), e) {
			break
		}
		if i > start && (s.fails || !p.passes || e.Time.Sub(events[i-1].Time) > w.policy.SeriesGap) {
			break
		}
		s.fails, s.strong = !p.passes, strong(e)
		if p.proved > s.proved {
			s.proved = p.proved
		}
		w.noSource = w.noSource || e.Source == ""
	}
	s.rows = events[start:i]
	return i
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

// stepRows takes up the steps before the first reading, and returns the row behind them.
func (w *plainWalk) stepRows() int {
	events, i := w.rec.Events, 0
	for ; i < len(events) && !events[i].Kind.IsReading() && w.step(&events[i]); i++ {
		w.steps[events[i].Kind]++
	}
	return i
}

// beginRows takes up the begins of work from row i on, and returns the row behind them.
func (w *plainWalk) beginRows(i int) int {
	events, start := w.rec.Events, i
	for ; i < len(events) && events[i].Kind == record.Begin && w.after.has(); i++ {
		if i == start && between(w.after.rows, events[i:]) > w.policy.BeginWithin {
			break
		}
		w.steps[record.Begin]++
	}
	return i
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
	isolates, r := w.steps[record.Isolate], &w.readings
	return w.again || w.live || r.tested != w.all() || r.bad|r.turned != 0 || w.isUnproved() ||
		w.steps[record.Lock] < isolates || w.steps[record.Label] < isolates
}

// all is the set of all required pairs.
func (w *plainWalk) all() pairSet { return pairBit(len(w.required)) - 1 }

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
	r := &w.readings
	return missingProbeOrder.when(r.unplaced != 0) |
		missingWaveform.when(r.unset != 0 && (w.entry == nil || w.entry.Senses == record.WaveformUnknown)) |
		missingSource.when(w.noSource && r.tested != r.bad)
}
