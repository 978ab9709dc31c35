package capture

import (
	"fmt"
	"slices"
	"time"

	"nilvolt/record"
)

// A unitLine is what the proving unit said: that it put out so many volts.
type unitLine struct {
	at          record.Instant
	source      string
	expected    record.Volts
	hasExpected bool
	line        int
}

const (
	// unitBefore and unitAfter are how long before and after a proof the line of the
	// proving unit may come. Common practice: the unit is switched on, then the probes
	// are put to it, and some units tell what they put out when it is over.
	unitBefore = 30 * time.Second
	unitAfter  = 5 * time.Second
)

// unitProof takes a line of the proving unit. Its volts are what it put out, never
// what an indicator showed.
func (s *State) unitProof(ev *record.Event) {
	u := unitLine{at: ev.Time, source: ev.Source, expected: ev.Expected, hasExpected: ev.HasExpected, line: ev.Pos.Line}
	if !u.hasExpected && ev.Volts.State == record.Shown {
		u.expected, u.hasExpected = ev.Volts.Volts, true
	}
	if u.source != "" {
		s.ports[Source].id = u.source
	} else {
		u.source = s.ports[Source].id
	}
	s.unit = &u
	waiting := s.waiting
	s.waiting = nil
	for _, i := range slices.Backward(waiting) { // so that the places before stay when one is put in
		if u.at.Sub(s.events[i].Time) <= unitAfter {
			s.confirm(i, &u)
		}
	}
}

// proved looks for what the proving unit said of the proof events[i]; else it may
// still say it.
func (s *State) proved(i int) {
	if s.unit != nil && s.events[i].Time.Sub(s.unit.at) <= unitBefore {
		s.confirm(i, s.unit)
		return
	}
	s.waiting = append(s.waiting, i)
}

// confirm adds to the proof events[i] what the unit said of it. Where the indicator's
// line says otherwise, both stand: a series passes only if both do.
func (s *State) confirm(i int, u *unitLine) {
	ev := s.events[i]
	conflict := ev.HasExpected && u.hasExpected && ev.Expected != u.expected || ev.Source != "" && u.source != "" && ev.Source != u.source
	if !ev.HasExpected || conflict {
		ev.Expected, ev.HasExpected = u.expected, u.hasExpected
	}
	if ev.Source == "" || conflict {
		ev.Source = u.source
	}
	if ev.Note == "" {
		ev.Note = fmt.Sprintf("told by the proving unit too, line %d of the journal", u.line)
	}
	if conflict {
		s.tellOnce(u.line, u.at, fmt.Sprintf("indicator and proving unit do not say the same of the proof at %s: it has to pass by both", ev.Time.Clock()))
		s.insert(i+1, ev)
		return
	}
	if s.shared {
		s.events, s.shared = slices.Clone(s.events), false
	}
	s.events[i] = ev
}

// insert puts an event at a place of the record.
func (s *State) insert(i int, ev record.Event) {
	s.events, s.shared = slices.Insert(slices.Clone(s.events), i, ev), false
	if s.doubt >= i {
		s.doubt++
	}
	if s.seen >= i {
		s.seen++
	}
}
