package verify

import (
	"slices"

	"nilvolt/record"
)

// A work is the conductors at the point of work.
type work struct {
	known    bool               // the conductors are known; else no pair is required
	use      []record.Conductor // the conductors in use, in the order in which pairs are written
	switched []record.Conductor
	pen      bool // N and E are one conductor, PEN, which is in use
	reduced  []record.Conductor
	points   []string // where dead tests were made, if several points are named
}

// A slot is a required pair with the reading that counts for it.
type slot struct {
	record.Tested
	row       int32 // the reading that counts, -1 if none
	good      bool
	broken    bool    // a reading that is not dead came before the run at the end
	last      int32   // the dead reading taken last, that is the earliest so far
	unproved  int32   // a dead reading behind a good one that is not good, -1 if none
	goodSince *series // the reprove series with whose last row the pair first became good, nil if it is not
}

// require finds the conductors in use and the pairs that are required.
func (j *Judge) require() {
	j.slots = j.slots[:0]
	j.lonely = j.requireUsual()
	if j.lonely {
		j.requireSeen()
	} else {
		j.requireStated()
	}
	j.findPoints()
	if len(j.work.points) > 0 {
		j.lonely = false
		j.spreadPoints()
	}
}

// A usual supply is one whose table of conductors holds as it stands. Most records
// have one, so its pairs are kept.
type usual struct {
	work     work
	slots    []slot // nil until they are needed
	required []requiredPair
}

// A requiredPair is a pair that a usual supply requires.
type requiredPair struct {
	record.Pair
	second record.Conductor // the one whose probe is placed second; none where it does not matter
}

// requiredOf returns a required pair.
func requiredOf(p record.Pair) requiredPair {
	turned := record.Pair{A: p.B, B: p.A}
	switch {
	case wrongProbeFirst(p):
		return requiredPair{p, p.A}
	case wrongProbeFirst(turned):
		return requiredPair{p, p.B}
	}
	return requiredPair{Pair: p}
}

// requireUsual requires the pairs of a usual supply; it reports false where the
// job sheet states more than that.
func (j *Judge) requireUsual() bool {
	if !isUsual(j.job) || len(j.conflicts) > 0 {
		return false
	}
	u := j.usualOf(j.job.Supply)
	j.work = u.work
	j.slots = append(j.slots[:0], u.slots...)
	return true
}

// isUsual reports whether a job sheet states a supply, and no more than that.
func isUsual(job *record.Job) bool {
	return job.Supply != record.SupplyUnknown && job.Earthing != record.TNC && len(job.Conductors) == 0 && len(job.Switched) == 0
}

// usualOf returns what a usual supply requires.
func (j *Judge) usualOf(supply record.Supply) *usual {
	u := &j.usual[supply]
	if u.slots == nil {
		j.fill(u, supply)
	}
	return u
}

// fill finds what a usual supply requires.
func (j *Judge) fill(u *usual, supply record.Supply) {
	u.work = work{known: true, use: supply.Conductors()}
	j.slots = j.slots[:0]
	j.requirePairs(&u.work)
	u.slots = slices.Clone(j.slots)
	for i := range u.slots {
		u.required = append(u.required, requiredOf(u.slots[i].Pair))
	}
}

// requireStated requires the pairs that the job sheet asks for.
func (j *Judge) requireStated() {
	j.work = workOf(j.job, j.rows)
	if j.work.known {
		j.renamePEN()
		j.requirePairs(&j.work)
		for i := 1; i < len(j.rec.Jobs) && len(j.conflicts) > 0; i++ {
			other := j.over(&j.rec.Jobs[i])
			if w := workOf(&other, j.rows); w.known {
				j.requirePairs(&w)
			}
		}
		j.requireSeen()
	}
}

// workOf finds the conductors of a job.
func workOf(job *record.Job, rows []row) work {
	w := work{use: slices.Clone(job.Supply.Conductors())}
	// TN-C: neutral and earth are one conductor. Source: IEC 60364-1, 312.2.
	if job.Earthing == record.TNC && slices.Contains(w.use, record.N) {
		w.use = replacePEN(w.use)
	}
	if len(job.Conductors) > 0 {
		if !validList(job.Conductors) || job.Supply == record.SupplyUnknown && !hasReturn(job.Conductors) {
			w.use = w.use[:0]
			return w
		}
		for _, c := range w.use {
			both := c == record.PEN && slices.Contains(job.Conductors, record.N) && slices.Contains(job.Conductors, record.E)
			if !both && !slices.Contains(job.Conductors, c) {
				w.reduced = append(w.reduced, c)
			}
		}
		w.use = append(w.use[:0], job.Conductors...)
	}
	w.known = len(w.use) > 0
	w.switched = job.Switched
	if slices.Contains(w.use, record.PEN) {
		if names(rows, record.N) && names(rows, record.E) {
			w.use = splitPEN(w.use)
		} else {
			w.pen = true
		}
	}
	return w
}

// validList reports whether a list of conductors can be judged: two that differ
// or more, none twice, among them a line and an earth.
func validList(list []record.Conductor) bool {
	line, earth := false, false
	for i, c := range list {
		if slices.Contains(list[:i], c) {
			return false
		}
		line = line || c.IsLine()
		earth = earth || c.IsEarth()
	}
	return line && earth
}

// hasReturn reports whether a list of conductors holds a way back for the current
// of its line: another line, N, M or PEN. A list without one is no whole circuit.
func hasReturn(list []record.Conductor) bool {
	lines := 0
	for _, c := range list {
		if c == record.N || c == record.M || c == record.PEN {
			return true
		}
		if c.IsLine() {
			lines++
		}
	}
	return lines > 1
}

// names reports whether a dead test names the conductor.
func names(rows []row, c record.Conductor) bool {
	for i := range rows {
		if rows[i].Kind == record.Test && rows[i].Pair.Has(c) {
			return true
		}
	}
	return false
}

// replacePEN puts PEN in the place of N and takes E out.
func replacePEN(use []record.Conductor) []record.Conductor {
	out := use[:0]
	for _, c := range use {
		switch c {
		case record.N:
			out = append(out, record.PEN)
		case record.E:
		default:
			out = append(out, c)
		}
	}
	return out
}

// splitPEN puts N and E in the place of PEN, where they do not stand yet.
func splitPEN(use []record.Conductor) []record.Conductor {
	var out []record.Conductor
	for _, c := range use {
		if c != record.PEN {
			out = append(out, c)
			continue
		}
		for _, d := range []record.Conductor{record.N, record.E} {
			if !slices.Contains(use, d) {
				out = append(out, d)
			}
		}
	}
	return out
}

// renamePEN makes PEN of the N or E of dead tests where these are one conductor.
func (j *Judge) renamePEN() {
	if !j.work.pen {
		return
	}
	name := func(c record.Conductor) record.Conductor {
		if (c == record.N || c == record.E) && !slices.Contains(j.work.use, c) {
			return record.PEN
		}
		return c
	}
	for i := range j.rows {
		if r := &j.rows[i]; r.Kind == record.Test {
			r.pair = record.Pair{A: name(r.Pair.A), B: name(r.Pair.B)}
		}
	}
}

// requirePairs requires every pair of the conductors in use, and those of the
// switched lines in both positions of their switches. n conductors, earth
// counted, give n(n-1)/2 pairs.
func (j *Judge) requirePairs(w *work) {
	for i, line := range w.switched {
		if slices.Contains(w.switched[:i], line) {
			continue
		}
		on, off := j.positions(line)
		for _, c := range w.use {
			if c == record.N || c.IsEarth() {
				j.requireSwitched(line, c, on, off)
			}
		}
	}
	for i, a := range w.use {
		for _, b := range w.use[i+1:] {
			j.addSlot(record.Tested{Pair: record.Pair{A: a, B: b}})
		}
	}
}

func (j *Judge) requireSwitched(line, c record.Conductor, on, off record.Switch) {
	if line == c {
		return
	}
	pair := record.Pair{A: line, B: c}
	j.addSlot(record.Tested{Pair: pair, Switch: on})
	j.addSlot(record.Tested{Pair: pair, Switch: off})
}

// positions returns the two positions in which a switched line must be tested: a
// and b where its dead tests use these words only, for nobody could tell then
// which is on.
func (j *Judge) positions(line record.Conductor) (one, other record.Switch) {
	letters, words := false, false
	for i := range j.rows {
		r := &j.rows[i]
		if r.Kind != record.Test || !r.pair.Has(line) {
			continue
		}
		letters = letters || r.Switch == record.SwitchA || r.Switch == record.SwitchB
		words = words || r.Switch == record.SwitchOn || r.Switch == record.SwitchOff
	}
	if letters && !words {
		return record.SwitchA, record.SwitchB
	}
	return record.SwitchOn, record.SwitchOff
}

// addSlot requires a pair, unless the policy does not ask for neutrals. The pairs
// of one job differ; only those of conflicting jobs may be required already.
func (j *Judge) addSlot(t record.Tested) {
	if j.policy.NoNeutral && (t.Pair.Has(record.N) || t.Pair.Has(record.M)) {
		return
	}
	if len(j.conflicts) > 0 {
		j.addSeen(t)
		return
	}
	j.slots = append(j.slots, slot{Tested: t, row: -1, unproved: -1})
}

// requireSeen requires every pair that has read live or residual anywhere in the
// record, in the position in which it was read. A pair that is asked for in
// positions only is required too in another one in which it read anything but
// dead: no slot would see that reading.
func (j *Judge) requireSeen() {
	if j.worst <= classDead {
		return
	}
	asked := len(j.slots)
	for i := range j.rows {
		r := &j.rows[i]
		energised := r.class == classLive || r.class == classResidual
		if !energised && (r.class <= classDead || r.Switch == record.SwitchUnknown || !j.inPositionsOnly(r.pair, asked)) {
			continue
		}
		t := record.Tested{Pair: j.orient(r.pair), Switch: r.Switch}
		if t.Switch == record.SwitchUnknown && j.requires(t.Pair, asked) {
			continue
		}
		j.lonely = false
		j.addSeen(t)
	}
}

// addSeen requires a pair, whatever the policy asks for, unless it is required
// already in that position.
func (j *Judge) addSeen(t record.Tested) {
	for i := range j.slots {
		if s := &j.slots[i]; s.Switch == t.Switch && s.Pair.Same(t.Pair) {
			return
		}
	}
	j.slots = append(j.slots, slot{Tested: t, row: -1, unproved: -1})
}

// requires reports whether the first asked slots have a pair in any position.
func (j *Judge) requires(p record.Pair, asked int) bool {
	for i := range j.slots[:asked] {
		if j.slots[i].Pair.Same(p) {
			return true
		}
	}
	return false
}

// inPositionsOnly reports whether the first asked slots have a pair, each time in
// a switch position.
func (j *Judge) inPositionsOnly(p record.Pair, asked int) bool {
	positions := 0
	for i := range j.slots[:asked] {
		if s := &j.slots[i]; s.Pair.Same(p) {
			if s.Switch == record.SwitchUnknown {
				return false
			}
			positions++
		}
	}
	return positions > 0
}

// orient writes a pair in the order of the conductors in use, switched lines
// first and unknown ones last.
func (j *Judge) orient(p record.Pair) record.Pair {
	a, b := j.place(p.A), j.place(p.B)
	if a > b || a == b && p.A.String() > p.B.String() {
		return record.Pair{A: p.B, B: p.A}
	}
	return p
}

func (j *Judge) place(c record.Conductor) int {
	if i := slices.Index(j.work.switched, c); i >= 0 {
		return i
	}
	if i := slices.Index(j.work.use, c); i >= 0 {
		return len(j.work.switched) + i
	}
	return len(j.work.switched) + len(j.work.use)
}

// findPoints notes the points that dead tests name, those of the supply side
// left out.
func (j *Judge) findPoints() {
	if !j.pointed {
		return
	}
	for i := range j.rows {
		r := &j.rows[i]
		if r.Point != "" && r.Kind == record.Test && r.Side != record.SupplySide && !slices.Contains(j.work.points, r.Point) {
			j.work.points = append(j.work.points, r.Point)
		}
	}
}

// spreadPoints requires every pair at each point.
func (j *Judge) spreadPoints() {
	one := slices.Clone(j.slots)
	j.slots = j.slots[:0]
	for _, point := range j.work.points {
		for _, s := range one {
			s.Point = point
			j.slots = append(j.slots, s)
		}
	}
}
