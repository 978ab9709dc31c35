package verify

import (
	"slices"

	"nilvolt/record"
)

// readingRules judges what the dead tests say beside what counts.
func (j *Judge) readingRules() {
	if j.worst == classLive && j.judges(record.LiveUnexplained) {
		j.liveUnexplained()
	}
	for i := range j.slots {
		s := &j.slots[i]
		if s.row < 0 {
			continue
		}
		r := &j.rows[s.row]
		if j.doubtful && r.class == classDead && j.judges(record.ReadingChanged) {
			j.readingChanged(s, r)
		}
		if s.unproved >= 0 && j.judges(record.UnprovedRetest) {
			j.addCaution(record.UnprovedRetest, s, &j.rows[s.unproved])
		}
		if r.Placed && j.judges(record.ProbeOrder) && wrongProbeFirst(r.pair) {
			j.addCaution(record.ProbeOrder, s, r)
		}
	}
	for i := range j.rows {
		r := &j.rows[i]
		if r.Kind != record.Test {
			continue
		}
		if r.class == classLive && (r.liveParts || j.liveOnSupply(i)) && j.judges(record.LivePartsRemain) {
			j.addTest(record.LivePartsRemain, r)
		}
		if (!j.lonely || r.slot < 0) && j.work.known && !(j.isWork(r.pair.A) && j.isWork(r.pair.B)) && j.judges(record.ConductorUnexpected) {
			j.addTest(record.ConductorUnexpected, r)
		}
	}
}

// liveOnSupply reports whether row i read live on the supply side and no later
// one on that side shows the pair dead: live parts beside the work, though the
// job sheet does not say so.
func (j *Judge) liveOnSupply(i int) bool {
	live := &j.rows[i]
	if live.class != classLive || live.Side != record.SupplySide {
		return false
	}
	for k := i + 1; k < len(j.rows); k++ {
		if r := &j.rows[k]; r.class == classDead && r.Side == record.SupplySide && alike(live, r) {
			return false
		}
	}
	return true
}

// addCaution notes a caution about a required pair.
func (j *Judge) addCaution(rule record.Rule, s *slot, r *row) {
	f := j.add(rule, record.Caution, r.Indicator)
	about(f, s.Tested)
	rest(f, r)
}

// addTest notes a caution about a dead test.
func (j *Judge) addTest(rule record.Rule, r *row) {
	f := j.add(rule, record.Caution, r.Indicator)
	about(f, record.Tested{Pair: j.orient(r.pair), Switch: r.Switch})
	rest(f, r)
}

// isWork reports whether c is a conductor in use or a switched line.
func (j *Judge) isWork(c record.Conductor) bool {
	return slices.Contains(j.work.use, c) || slices.Contains(j.work.switched, c)
}

// alike reports whether two dead tests may be of the same place: the same pair,
// with position and point equal or not recorded.
func alike(a, b *row) bool {
	return a.pair.Same(b.pair) &&
		(a.Switch == b.Switch || a.Switch == record.SwitchUnknown || b.Switch == record.SwitchUnknown) &&
		(a.Point == b.Point || a.Point == "" || b.Point == "")
}

// liveUnexplained looks for a pair that read live after the isolation and dead
// later, without another isolation between: what made it dead?
func (j *Judge) liveUnexplained() {
	isolated := false
	for i := range j.rows {
		live := &j.rows[i]
		if live.Kind == record.Isolate {
			isolated = true
		}
		if live.class != classLive || live.liveParts || live.Side == record.SupplySide {
			continue
		}
		severity := record.Failure
		if !isolated {
			if j.steps[record.Isolate] > 0 {
				continue
			}
			severity = record.Caution
		}
		for k := i + 1; k < len(j.rows); k++ {
			r := &j.rows[k]
			if r.Kind == record.Isolate {
				break
			}
			if r.class == classDead && r.Side != record.SupplySide && alike(live, r) {
				f := j.add(record.LiveUnexplained, severity, live.Indicator)
				about(f, record.Tested{Pair: j.orient(live.pair), Switch: live.Switch})
				rest(f, live, r)
				break
			}
		}
	}
}

// readingChanged looks for a residual or unreadable reading of the pair before
// the dead one that counts.
func (j *Judge) readingChanged(s *slot, counting *row) {
	for i := range j.rows[:s.row] {
		r := &j.rows[i]
		if (r.class == classResidual || r.class == classUnreadable) && alike(r, counting) && r.Side != record.SupplySide {
			f := j.add(record.ReadingChanged, record.Caution, counting.Indicator)
			about(f, s.Tested)
			rest(f, r, counting)
		}
	}
}

// wrongProbeFirst reports whether the probe that should stand first does not: the
// one on earth, so that the free probe is not live through the indicator, and on
// a pair of line and neutral the one on neutral (common practice).
func wrongProbeFirst(p record.Pair) bool {
	switch {
	case p.A.IsEarth():
		return false
	case p.B.IsEarth():
		return true
	}
	return p.B == record.N
}
