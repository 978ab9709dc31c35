package verify

import "nilvolt/record"

// plainFaults finds what there is to remark of a plain record whose proofs, dead tests or
// steps are not all as they should be.
type plainFaults struct {
	*plainWalk
	counts [mostRequired]int32 // of a required pair with a reading that counts: which test that is
	tested pairSet             // the required pairs with a reading that counts
	bad    pairSet             // those of them whose reading is not dead
	live   bool                // a dead test was live, which resets
}

// faults notes the faults of the record, and reports whether every required pair is good.
func (w *plainWalk) faults() (good bool) {
	f := plainFaults{plainWalk: w}
	f.count()
	good = f.pairs()
	if f.live {
		f.liveTests(good)
	}
	if (f.again || f.live) && f.judges(record.ReadingChanged) {
		f.changed()
	}
	f.followedUp(record.NotSecured, record.Failure, record.Lock)
	f.followedUp(record.NotLabelled, record.Caution, record.Label)
	return good
}

// count finds the reading that counts for each required pair: the last one, if it lies
// behind the last live one.
func (w *plainFaults) count() {
	k := -1
	for i := range w.tests {
		e := &w.tests[i]
		k = w.place(e.Pair, k+1)
		at := pairBit(k)
		w.counts[k] = int32(i)
		w.tested |= at
		w.bad &^= at
		if w.isDead(e) {
			continue
		}
		switch w.classify(e) {
		case classDead:
		case classLive:
			w.live, w.resetBy = true, e
			w.tested, w.bad = 0, 0
		default:
			w.bad |= at
		}
	}
}

// pairs notes the faults of the readings that count and the pairs without one, and what
// these readings do not tell. It reports whether every required pair is good.
func (w *plainFaults) pairs() (good bool) {
	good = w.bad == 0
	unproved := w.isUnproved()
	w.unplaced, w.unset, w.noSource = false, false, w.noSource && w.tested != w.bad
	for k := range w.usual.required {
		if w.tested&pairBit(k) == 0 {
			about(w.add(record.PairMissing, record.Failure, ""), w.pair(k))
			good = false
			continue
		}
		e := w.readingOf(k)
		w.unplaced = w.unplaced || !e.Placed
		w.unset = w.unset || e.Waveform == record.WaveformUnknown
		if e.Placed && e.Pair.A == w.usual.required[k].second && w.judges(record.ProbeOrder) {
			w.reading(record.ProbeOrder, record.Caution, k)
		}
		switch {
		case w.bad&pairBit(k) == 0:
			good = (!unproved || w.bracketed(k)) && good
		case w.classify(e) == classUnreadable:
			w.reading(record.ReadingUnreadable, record.Failure, k)
		default:
			w.reading(record.ResidualVoltage, record.Failure, k)
		}
	}
	return good
}

// pair names required pair k, which a usual supply has in one position only.
func (w *plainFaults) pair(k int) record.Tested { return record.Tested{Pair: w.usual.required[k].Pair} }

// readingOf returns the reading that counts for required pair k.
func (w *plainFaults) readingOf(k int) *record.Event { return &w.tests[w.counts[k]] }

// reading notes a finding about the reading that counts for required pair k.
func (w *plainFaults) reading(rule record.Rule, severity record.Severity, k int) *record.Finding {
	f := w.add(rule, severity, w.indicator)
	about(f, w.pair(k))
	f.Lines = append(f.Lines, w.readingOf(k).Pos)
	return f
}

// bracketed notes which proofs the dead reading that counts for required pair k lacks,
// and reports whether it has them all.
func (w *plainFaults) bracketed(k int) bool {
	at := w.tests[w.counts[k]:][:1]
	ok := true
	lacks := func(rule record.Rule, s *plainSeries) {
		ok = false
		f := w.reading(rule, record.Failure, k)
		if len(f.Tested) == 1 {
			for i := range s.rows {
				f.Lines = append(f.Lines, s.rows[i].Pos)
			}
		}
	}
	switch s := &w.before; {
	case !s.has():
		lacks(record.ProveMissing, s)
	case s.fails:
		lacks(record.ProveFailed, s)
	case between(s.rows, at) > w.policy.ProveAge:
		lacks(record.ProveStale, s)
	}
	switch s := &w.after; {
	case !s.has():
		lacks(record.ReproveMissing, s)
	case s.fails:
		lacks(record.ReproveFailed, s)
	case between(at, s.rows) > w.policy.ReproveDelay:
		lacks(record.ReproveLate, s)
	}
	return ok
}

// liveTests notes live readings, unless every pair was shown dead after them, and those
// after which the pair read dead with no isolation between.
func (w *plainFaults) liveTests(good bool) {
	severity := record.Caution
	if w.steps[record.Isolate] > 0 {
		severity = record.Failure
	}
	for i := range w.tests {
		e := &w.tests[i]
		if w.isDead(e) || w.classify(e) != classLive {
			continue
		}
		t := w.pair(w.place(e.Pair, 0))
		if !good {
			f := w.add(record.LiveFoundRule, record.Failure, w.indicator)
			about(f, t)
			f.Lines = append(f.Lines, e.Pos)
		}
		if dead := w.deadAfter(i); dead != nil && w.judges(record.LiveUnexplained) {
			f := w.add(record.LiveUnexplained, severity, w.indicator)
			about(f, t)
			f.Lines = append(f.Lines, e.Pos, dead.Pos)
		}
	}
}

// deadAfter returns the first dead test behind one that shows its pair dead, nil if there
// is none.
func (w *plainFaults) deadAfter(i int) *record.Event {
	pair := w.tests[i].Pair
	for i++; i < len(w.tests); i++ {
		if e := &w.tests[i]; e.Pair.Same(pair) && w.classify(e) == classDead {
			return e
		}
	}
	return nil
}

// changed notes pairs that read residual or unreadable before the dead reading that
// counts.
func (w *plainFaults) changed() {
	for k := range w.usual.required {
		if (w.tested&^w.bad)&pairBit(k) == 0 {
			continue
		}
		for i := range w.tests[:w.counts[k]] {
			e := &w.tests[i]
			if !e.Pair.Same(w.usual.required[k].Pair) {
				continue
			}
			if c := w.classify(e); c == classResidual || c == classUnreadable {
				f := w.reading(record.ReadingChanged, record.Caution, k)
				f.Lines = append(f.Lines, e.Pos)
			}
		}
	}
}

// followedUp notes isolations that were not followed by as many of a step.
func (w *plainFaults) followedUp(rule record.Rule, severity record.Severity, step record.Kind) {
	if w.steps[step] >= w.steps[record.Isolate] || !w.judges(rule) {
		return
	}
	f := w.add(rule, severity, "")
	for i := range w.rec.Events {
		if e := &w.rec.Events[i]; e.Kind == record.Isolate {
			f.Lines = append(f.Lines, e.Pos)
		}
	}
}
