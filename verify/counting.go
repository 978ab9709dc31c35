package verify

import (
	"nilvolt/record"
)

// lacks says what a dead reading lacks to be good.
type lacks uint8

const (
	lacksWaveform  lacks = 1 << iota // taken on the other waveform than the supply's
	lacksProve                       // no series before it
	proveFails                       // the series before it does not pass
	proveOld                         // the series before it is too old
	lacksReprove                     // no series after it
	reproveFails                     // the series after it does not pass
	reproveLate                      // the series after it comes too late
	failsElsewhere                   // between the two a series in another record fails
)

// A bracket is the two series around a dead reading.
type bracket struct {
	before, after *series // nil if none
}

// weigh finds the last reset, and for each dead reading what it lacks.
func (j *Judge) weigh() {
	j.reset, j.resetBy = 0, nil
	stays := j.job.SupplySideLive == record.Yes
	for i := range j.rows {
		r := &j.rows[i]
		switch {
		case r.Kind == record.Isolate || r.Kind == record.Restore:
			j.reset, j.resetBy = int32(i)+1, r.Event
		case r.class == classLive && stays && r.Side == record.SupplySide:
			r.liveParts = true
		case r.class == classLive:
			j.reset, j.resetBy = int32(i)+1, r.Event
		}
	}
	for i := int(j.reset); i < len(j.rows); i++ {
		if r := &j.rows[i]; r.class == classDead {
			r.near = j.bracketOf(r)
			r.lacks = j.lacksOf(r)
		}
	}
}

// lacksOf tells what a dead reading lacks to be good.
func (j *Judge) lacksOf(r *row) lacks {
	b := r.near
	if j.wrongWaveform(r, b) {
		return lacksWaveform
	}
	var l lacks
	switch {
	case b.before == nil:
		l |= lacksProve
	case !b.before.passes:
		l |= proveFails
	case r.Time.Sub(b.before.lastStrong) > j.policy.ProveAge:
		l |= proveOld
	}
	switch {
	case b.after == nil:
		l |= lacksReprove
	case !b.after.passesAfter:
		l |= reproveFails
	case b.after.first.Sub(r.Time) > j.policy.ReproveDelay:
		l |= reproveLate
	}
	if l == 0 && j.across != nil && j.across.failing(r.Indicator, j.rec.ID, b.before.last, b.after.first) != nil {
		l = failsElsewhere
	}
	return l
}

// bracketOf finds the series that may bracket a reading: the nearest ones, those
// of other records among them where the policy says so, and none that holds a
// proof at the time of the reading in another file.
func (j *Judge) bracketOf(r *row) bracket {
	b := r.near
	if j.policy.SharedProofs && j.across != nil {
		b.before = j.across.before(r, j.rec.ID, b.before)
		b.after = j.across.after(r, j.rec.ID, b.after)
	}
	if b.before != nil && j.sharesTime(b.before, r) {
		b.before = nil
	}
	if b.after != nil && j.sharesTime(b.after, r) {
		b.after = nil
	}
	return b
}

// wrongWaveform reports whether a reading says nothing because it was taken on
// the other waveform than the supply's: an instrument set to direct voltage
// shows nothing on a live alternating conductor.
func (j *Judge) wrongWaveform(r *row, b bracket) bool {
	wrong := record.DirectVoltage
	if j.isDC() {
		wrong = record.AC
	}
	senses := record.WaveformUnknown
	if i := j.instrument(r.Indicator); i != nil {
		senses = i.Senses
	}
	switch {
	case senses == wrong:
		return true
	case senses == record.BothWaveforms || r.Waveform == record.BothWaveforms:
		return false
	case r.Waveform == wrong:
		return true
	case r.Waveform != record.WaveformUnknown || senses != record.WaveformUnknown:
		return false
	}
	for _, s := range []*series{b.before, b.after} {
		if s != nil && s.waves&wavesOf(wrong) != 0 {
			return true
		}
	}
	return false
}

// isDC reports whether the work is on direct voltage. Where no supply is stated
// the names of the conductors tell.
func (j *Judge) isDC() bool {
	if j.job.Supply != record.SupplyUnknown {
		return j.job.Supply.IsDC()
	}
	for _, c := range j.work.use {
		if c == record.LPlus || c == record.LMinus || c == record.M {
			return true
		}
	}
	return false
}

// count finds the reading that counts for each required pair. It walks back
// through the rows: a last reading that is not dead counts; of the unbroken run of
// dead ones at the end the last good one counts, and if none is good the last.
func (j *Judge) count() {
	for i := int32(len(j.rows)) - 1; i >= j.reset; i-- {
		r := &j.rows[i]
		if r.Kind != record.Test {
			continue
		}
		j.findSlot(r)
		if r.slot < 0 {
			continue
		}
		for k := int(r.slot); k < len(j.slots); k++ {
			if s := &j.slots[k]; !s.broken && j.stands(r, s) {
				s.take(i, r)
			}
			if j.lonely {
				break
			}
		}
	}
}

// findSlot finds the first required pair that a dead test is of. Tests mostly
// follow each other as the pairs do, so the search goes on where the last ended.
func (j *Judge) findSlot(r *row) {
	r.slot = -1
	if j.lonely && j.latest < len(j.slots) && j.slots[j.latest].Pair.Same(r.pair) {
		r.slot = int32(j.latest)
	} else {
		for k := range j.slots {
			if j.slots[k].Pair.Same(r.pair) {
				r.slot = int32(k)
				break
			}
		}
	}
	j.latest = max(int(r.slot), 1) - 1
}

// take takes a reading, of which all that come later were taken already.
func (s *slot) take(i int32, r *row) {
	switch {
	case r.class != classDead:
		if s.row < 0 {
			s.row = i
		}
		s.broken = true
	case r.lacks == 0:
		if !s.good {
			if s.row >= 0 {
				s.unproved = s.last
			}
			s.row, s.good = i, true
		}
		s.goodSince = r.near.after
	case !s.good:
		if s.row < 0 {
			s.row = i
		}
		s.last = i
	}
}

// stands reports whether a dead test stands for a required pair. One that is not
// dead stands for it also where it says neither position, point nor side.
func (j *Judge) stands(r *row, s *slot) bool {
	if r.Side == record.SupplySide || !r.pair.Same(s.Pair) {
		return false
	}
	dead := r.class == classDead
	if j.sides && dead && r.Side != record.LoadSide {
		return false
	}
	if s.Switch != record.SwitchUnknown && r.Switch != s.Switch && (dead || r.Switch != record.SwitchUnknown) {
		return false
	}
	return s.Point == "" || r.Point == s.Point || !dead && r.Point == ""
}

// allGood reports whether at least one pair is required and all that are, are
// good.
func (j *Judge) allGood() bool {
	for i := range j.slots {
		if !j.slots[i].good {
			return false
		}
	}
	return j.work.known && len(j.slots) > 0
}
