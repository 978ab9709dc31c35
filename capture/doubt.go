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
// and so stands for all of them (docs/rules.md, 6).
func (s *State) keepUnread(u Unread) {
	s.unread = append(s.unread, u)
	if u.Port != Indicator {
		return
	}
	var tested []*record.Event
	for i := len(s.events) - 1; i >= s.doubt; i-- { // the pairs before have one already
		if ev := &s.events[i]; ev.Kind == record.Test && !hasPair(tested, ev.Pair) {
			tested = append(tested, ev)
		}
	}
	for _, ev := range slices.Backward(tested) {
		s.add(record.Event{
			Time: u.Time, Kind: record.Test, Indicator: ev.Indicator, Pair: ev.Pair,
			Volts: record.Reading{Text: unreadText, State: record.Unreadable},
			Note:  fmt.Sprintf("line %d of the journal could not be read; it may have been of any pair", u.Line),
			Pos:   record.Pos{File: s.file, Line: u.Line},
		})
	}
	s.doubt = len(s.events)
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
