package verify

import "nilvolt/record"

// faults finds what there is to remark of a plain record whose proofs, dead tests or
// steps are not all as they should be, and reports whether every required pair is good.
func (w *plainWalk) faults() (good bool) {
	r := &w.readings
	good = r.tested == w.all() && r.bad == 0
	unproved := w.isUnproved()
	for k := range w.required {
		at := pairBit(k)
		if r.tested&at == 0 {
			about(w.add(record.PairMissing, record.Failure, ""), w.tested(k))
			continue
		}
		if r.turned&at != 0 && w.judges(record.ProbeOrder) {
			w.reading(record.ProbeOrder, record.Caution, k)
		}
		switch {
		case r.bad&at == 0:
			good = (!unproved || w.bracketed(k)) && good
		case w.classify(w.readingOf(k)) == classUnreadable:
			w.reading(record.ReadingUnreadable, record.Failure, k)
		default:
			w.reading(record.ResidualVoltage, record.Failure, k)
		}
	}
	if w.live {
		w.liveTests(good)
	}
	if (w.again || w.live) && w.judges(record.ReadingChanged) {
		w.changed()
	}
	w.followedUp(record.NotSecured, record.Failure, record.Lock)
	w.followedUp(record.NotLabelled, record.Caution, record.Label)
	return good
}

// tested names required pair k, which a usual supply has in one position only.
func (w *plainWalk) tested(k int) record.Tested { return record.Tested{Pair: w.required[k].Pair} }

// readingOf returns the reading that counts for required pair k.
func (w *plainWalk) readingOf(k int) *record.Event { return &w.rec.Events[w.counts[k]] }

// reading notes a finding about the reading that counts for required pair k.
func (w *plainWalk) reading(rule record.Rule, severity record.Severity, k int) *record.Finding {
	f := w.add(rule, severity, w.indicator)
	about(f, w.tested(k))
	f.Lines = append(f.Lines, w.readingOf(k).Pos)
	return f
}

// bracketed notes which proofs the dead reading that counts for required pair k lacks,
// and reports whether it has them all.
func (w *plainWalk) bracketed(k int) bool {
	at := w.rec.Events[w.counts[k]:][:1]
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
func (w *plainWalk) liveTests(good bool) {
	severity := record.Caution
	if w.steps[record.Isolate] > 0 {
		severity = record.Failure
	}
	for i := range w.rec.Events {
		e := &w.rec.Events[i]
		if e.Kind != record.Test || w.classify(e) != classLive {
			continue
		}
		t := w.tested(w.place(e.Pair))
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

// deadAfter returns the first test behind row i that shows its pair dead, nil if there
// is none.
func (w *plainWalk) deadAfter(i int) *record.Event {
	pair := w.rec.Events[i].Pair
	for i++; i < len(w.rec.Events); i++ {
		if e := &w.rec.Events[i]; e.Kind == record.Test && e.Pair.Same(pair) && w.classify(e) == classDead {
			return e
		}
	}
	return nil
}

// changed notes pairs that read residual or unreadable before the dead reading that
// counts.
func (w *plainWalk) changed() {
	for k := range w.required {
		if (w.readings.tested&^w.readings.bad)&pairBit(k) == 0 {
			continue
		}
		for i := range w.rec.Events[:w.counts[k]] {
			e := &w.rec.Events[i]
			if e.Kind != record.Test || !e.Pair.Same(w.required[k].Pair) {
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
func (w *plainWalk) followedUp(rule record.Rule, severity record.Severity, step record.Kind) {
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
