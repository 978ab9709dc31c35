package verify_test

import (
	"slices"

	"nilvolt/record"
)

// This file is section 5 of docs/rules.md: the conductors in use and the pairs
// that are required.

// A slot is a pair that must be shown dead, in one switch position and at one
// point where that matters.
type slot struct {
	pair  record.Pair
	sw    record.Switch
	point string
}

// conductorsOf is the table of section 5, written again.
func conductorsOf(s record.Supply) []record.Conductor {
	switch s {
	case record.SinglePhase:
		return []record.Conductor{record.L, record.N, record.E}
	case record.ThreePhase:
		return []record.Conductor{record.L1, record.L2, record.L3, record.N, record.E}
	case record.ThreePhase3Wire:
		return []record.Conductor{record.L1, record.L2, record.L3, record.E}
	case record.SplitPhase:
		return []record.Conductor{record.L1, record.L2, record.N, record.E}
	case record.DC:
		return []record.Conductor{record.LPlus, record.LMinus, record.E}
	case record.DC3Wire:
		return []record.Conductor{record.LPlus, record.M, record.LMinus, record.E}
	}
	return nil
}

// wiringOf returns the conductors of a supply with its earthing: on TN-C, N and
// E are PEN.
func wiringOf(j *record.Job) []record.Conductor {
	list := slices.Clone(conductorsOf(j.Supply))
	at := slices.Index(list, record.N)
	if j.Earthing != record.TNC || at < 0 {
		return list
	}
	list[at] = record.PEN
	return slices.DeleteFunc(list, func(c record.Conductor) bool { return c == record.E })
}

// listOf returns the conductors that one job row asks for; ok is false when they
// are not known.
func listOf(j *record.Job) (list []record.Conductor, ok bool) {
	if len(j.Conductors) == 0 {
		list = wiringOf(j)
		return list, len(list) > 0
	}
	line, earth := false, false
	lines, back := 0, j.Supply != record.SupplyUnknown
	for i, c := range j.Conductors {
		if slices.Contains(j.Conductors[:i], c) {
			return nil, false
		}
		line = line || isLine(c)
		earth = earth || c == record.E || c == record.PEN
		if isLine(c) {
			lines++
		}
		back = back || lines == 2 || slices.Contains([]record.Conductor{record.N, record.M, record.PEN}, c)
	}
	return slices.Clone(j.Conductors), line && earth && back
}

func isLine(c record.Conductor) bool {
	return slices.Contains([]record.Conductor{
		record.L, record.L1, record.L2, record.L3, record.LPlus, record.LMinus,
	}, c)
}

// lacks says whether a valid list of conductors lacks one of the stated supply.
func lacks(j *record.Job) bool {
	has := func(c record.Conductor) bool { return slices.Contains(j.Conductors, c) }
	for _, c := range wiringOf(j) {
		if !has(c) && !(c == record.PEN && has(record.N) && has(record.E)) {
			return true
		}
	}
	return false
}

// findConductors finds the conductors in use, those of the values that go first,
// and calls N or E of the dead tests PEN where the circuit has that instead.
func (q *inquiry) findConductors() {
	list, ok := listOf(&q.job)
	if !ok {
		return
	}
	q.known = true
	q.reduced = len(q.job.Conductors) > 0 && lacks(&q.job)
	q.inUse = appendNew(q.inUse, list...)
	q.switched = appendNew(q.switched, q.job.Switched...)
	if slices.Contains(q.inUse, record.PEN) {
		if q.tests(record.N) && q.tests(record.E) {
			q.inUse = split(q.inUse)
			return
		}
		for _, r := range q.rows {
			if r.Kind == record.Test {
				r.pair = q.folded(r.pair)
			}
		}
	}
}

// tests says whether a dead test names c.
func (q *inquiry) tests(c record.Conductor) bool {
	return slices.ContainsFunc(q.rows, func(r *row) bool { return r.Kind == record.Test && r.Pair.Has(c) })
}

// folded calls N or E that is not in use PEN, where PEN is.
func (q *inquiry) folded(p record.Pair) record.Pair {
	fold := func(c record.Conductor) record.Conductor {
		if (c == record.N || c == record.E) && !slices.Contains(q.inUse, c) && slices.Contains(q.inUse, record.PEN) {
			return record.PEN
		}
		return c
	}
	return record.Pair{A: fold(p.A), B: fold(p.B)}
}

// split replaces PEN by N and E.
func split(list []record.Conductor) []record.Conductor {
	var out []record.Conductor
	for _, c := range list {
		if c == record.PEN {
			out = appendNew(out, record.N, record.E)
		} else {
			out = appendNew(out, c)
		}
	}
	return out
}

func appendNew[T comparable](list []T, more ...T) []T {
	for _, v := range more {
		if !slices.Contains(list, v) {
			list = append(list, v)
		}
	}
	return list
}

// findRequired lists what must be shown dead.
func (q *inquiry) findRequired() {
	if !q.known {
		return
	}
	var slots []slot
	for i := range q.jobs {
		slots = addSlots(slots, q.pairsOf(&q.jobs[i])...)
	}
	if q.set.noNeutral {
		slots = slices.DeleteFunc(slots, func(s slot) bool { return s.pair.Has(record.N) || s.pair.Has(record.M) })
	}
	slots = addSlots(slots, q.energised(slots)...)
	var points []string
	for _, r := range q.rows {
		if r.Kind == record.Test && r.Side != record.SupplySide && r.Point != "" {
			points = appendNew(points, r.Point)
		}
	}
	if len(points) == 0 {
		points = []string{""}
	}
	for _, p := range points {
		for _, s := range slots {
			q.required = append(q.required, slot{s.pair, s.sw, p})
		}
	}
}

// pairsOf returns what one job row asks for.
func (q *inquiry) pairsOf(j *record.Job) []slot {
	list, ok := listOf(j)
	if !ok {
		return nil
	}
	if q.tests(record.N) && q.tests(record.E) {
		list = split(list)
	}
	var slots []slot
	for i, a := range list {
		for _, b := range list[i+1:] {
			slots = addSlots(slots, slot{pair: record.Pair{A: a, B: b}})
		}
	}
	for _, line := range j.Switched {
		for _, c := range partners(list) {
			for _, sw := range q.positionsOf(line) {
				if c != line {
					slots = addSlots(slots, slot{pair: record.Pair{A: line, B: c}, sw: sw})
				}
			}
		}
	}
	return slots
}

// partners returns the conductors that a switched line is tested against.
func partners(list []record.Conductor) []record.Conductor {
	return slices.DeleteFunc(slices.Clone(list), func(c record.Conductor) bool {
		return c != record.N && c != record.E && c != record.PEN
	})
}

// positionsOf returns the two words that the dead tests of a switched line use.
func (q *inquiry) positionsOf(line record.Conductor) []record.Switch {
	named, lettered := 0, 0
	for _, r := range q.rows {
		if r.Kind == record.Test && r.Pair.Has(line) {
			switch r.Switch {
			case record.SwitchOn, record.SwitchOff:
				named++
			case record.SwitchA, record.SwitchB:
				lettered++
			}
		}
	}
	if lettered > 0 && named == 0 {
		return []record.Switch{record.SwitchA, record.SwitchB}
	}
	return []record.Switch{record.SwitchOn, record.SwitchOff}
}

// energised returns the pairs that read live or residual anywhere in the record,
// which no policy drops, and those that read anything but dead in a position
// that nobody asks for.
func (q *inquiry) energised(base []slot) []slot {
	var slots []slot
	for _, r := range q.rows {
		if r.Kind != record.Test || r.class == classDead {
			continue
		}
		asked, anyPosition := false, false
		for _, s := range base {
			if s.pair.Same(r.pair) {
				asked = true
				anyPosition = anyPosition || s.sw == record.SwitchUnknown
			}
		}
		positioned := r.Switch != record.SwitchUnknown
		if r.class >= classResidual && (positioned || !asked) || positioned && asked && !anyPosition {
			slots = append(slots, slot{pair: r.pair, sw: r.Switch})
		}
	}
	return slots
}

// addSlots adds what is not there yet, in either order of the conductors.
func addSlots(slots []slot, more ...slot) []slot {
	for _, s := range more {
		if !slices.ContainsFunc(slots, func(t slot) bool { return t.pair.Same(s.pair) && t.sw == s.sw && t.point == s.point }) {
			slots = append(slots, s)
		}
	}
	return slots
}
