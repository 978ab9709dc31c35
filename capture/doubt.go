package capture

import (
	"fmt"
	"slices"

	"nilvolt/formats"
	"nilvolt/record"
)

// unreadable takes a piece of text that is no whole line, or none of this session.
func (s *State) unreadable(role Role, line int, at record.Instant, text, why string) {
	s.unreadableRow(role, line, at, text, []*formats.RowError{{
		Pos: record.Pos{File: s.file, Line: line}, Text: text, Message: why, Mend: "take the reading again",
	}})
}

// unreadableRow takes a line that cannot be read.
func (s *State) unreadableRow(role Role, line int, at record.Instant, text string, problems []*formats.RowError) {
	if !isNoise(text) {
		s.keepUnread(Unread{Line: line, Port: role, Time: at, Text: text, Problems: problems})
	}
}

// mostNoise is how many bytes a plug or a switch may make. Common practice.
const mostNoise = 8

// isNoise reports whether text is a few bytes as they come when an instrument is
// switched on or plugged in. The line goes low for a moment, which the receiver takes
// for a start bit and some zeros, and high again: with the lowest bit first these are
// FF, FE, FC and so on to 00 (computed). No reading is garbled into such bytes alone.
func isNoise(text string) bool {
	if len(text) > mostNoise {
		return false
	}
	for i := range len(text) {
		if zeros := 256 - int(text[i]); zeros&(zeros-1) != 0 { // no power of two
			return false
		}
	}
	return true
}

// refuse is keepUnread with a reason in words.
func (s *State) refuse(u Unread, why string) {
	u.Problems = []*formats.RowError{{Pos: record.Pos{File: s.file, Line: u.Line}, Text: u.Text, Message: why, Mend: "take the reading again"}}
	s.keepUnread(u)
}

// keepUnread keeps a line that cannot be read. Of the indicator it may have been a
// live reading of any pair: each pair that was tested so far has now an unreadable
// reading, behind which it has to be tested again. It says no position and no point,
// and so stands for all of them (docs/rules.md, 6). Or it may have been a proof that
// failed: see doubtProofs.
func (s *State) keepUnread(u Unread) {
	if before := len(s.events); u.Port == Indicator {
		groups := s.doubtedProofs()
		s.doubtTests(&u)
		s.doubtProofs(&u, groups)
		u.InDoubt = len(s.events) > before
		s.doubt = len(s.events)
	}
	s.unread = append(s.unread, u)
}

// doubtTests gives each pair that was tested an unreadable reading.
func (s *State) doubtTests(u *Unread) {
	var tested []*record.Event
	for i := len(s.events) - 1; i >= s.doubt; i-- { // the pairs before have one already
		if ev := &s.events[i]; ev.Kind == record.Test && !hasPair(tested, ev.Pair) {
			tested = append(tested, ev)
		}
	}
	for _, ev := range slices.Backward(tested) {
		s.addDoubt(u, "of any pair", record.Event{Kind: record.Test, Indicator: ev.Indicator, Pair: ev.Pair})
	}
}

// doubtProofs puts in an unreadable proof, as told by each event of groups: what is
// tested from now on has to be proved anew, on the same sources. Behind the readings of
// doubtTests they begin a series of their own, so that no proof made before them counts
// for what comes after.
func (s *State) doubtProofs(u *Unread, groups []record.Event) {
	for _, on := range groups {
		s.addDoubt(u, "a proof that failed", record.Event{
			Kind: record.Prove, Indicator: on.Indicator, Source: on.Source, Expected: on.Expected, HasExpected: on.HasExpected,
		})
	}
}

// doubtedProofs returns a proof of each indicator, source and expected voltage that the
// last proofs before or after a dead test were made on, and of what the technician has
// typed that the next one is made on. Left out are those of which the last one, with no
// dead test since, is an unreadable one. Before the first proof there is none: every pair
// has still to be proved then.
func (s *State) doubtedProofs() (groups []record.Event) {
	tested := false
	for _, ev := range slices.Backward(s.events) {
		switch {
		case ev.Kind == record.Test && len(groups) > 0:
			return s.withTyped(groups, tested)
		case ev.Kind == record.Test:
			tested = true
		case ev.Kind.IsProof() && !hasGroup(groups, &ev):
			groups = append(groups, ev)
		}
	}
	return s.withTyped(groups, tested)
}

// withTyped adds what was typed, and leaves out what is in doubt already.
func (s *State) withTyped(groups []record.Event, tested bool) []record.Event {
	typed := record.Event{Kind: s.next.Event, Indicator: s.indicator(Indicator), Source: s.next.Source}
	typed.Expected, typed.HasExpected, _ = record.ParseVolts(s.next.Expected) // it was looked at when it was typed
	if typed.Kind.IsProof() && typed.Indicator != "" && typed.Source != "" && !hasGroup(groups, &typed) {
		groups = append(groups, typed)
	}
	if tested {
		return groups
	}
	return slices.DeleteFunc(groups, func(ev record.Event) bool { return ev.Volts.State == record.Unreadable })
}

// addDoubt puts in a reading that the line may have been.
func (s *State) addDoubt(u *Unread, as string, ev record.Event) {
	ev.Time, ev.Pos = u.Time, record.Pos{File: s.file, Line: u.Line}
	ev.Volts = record.Reading{Text: unreadText, State: record.Unreadable}
	ev.Note = fmt.Sprintf("line %d of the journal could not be read; it may have been %s", u.Line, as)
	s.add(ev)
}

// unreadText is the canonical text of what is no value.
const unreadText = "---"

func hasPair(events []*record.Event, p record.Pair) bool {
	for _, ev := range events {
		if ev.Pair.Same(p) {
			return true
		}
	}
	return false
}

// hasGroup reports whether one of the proofs was made by the same indicator, on the same
// source and expected voltage.
func hasGroup(proofs []record.Event, proof *record.Event) bool {
	return slices.ContainsFunc(proofs, func(ev record.Event) bool {
		return ev.Indicator == proof.Indicator && ev.Source == proof.Source && ev.Expected == proof.Expected && ev.HasExpected == proof.HasExpected
	})
}
