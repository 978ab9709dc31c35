package ingest

import (
	"context"
	"slices"
	"strings"

	"nilvolt/formats"
	"nilvolt/record"
)

// An origin says which input the events of a record come from, up to the next
// origin.
type origin struct {
	input int
	first int // index of an event
}

// gather fetches all pieces of a group and visits its record; its records, when
// the hashes of several collide. id is that of the first.
func (w *worker) gather(g *group, id string) error {
	s := w.set.scattered
	var pieces []*piece
	for at := g.first; at != 0; at = s.pieces[at].next {
		pieces = append(pieces, &s.pieces[at])
	}
	for len(pieces) > 0 {
		w.resetFar()
		w.begin(id, g.doubtful)
		var others []*piece
		for _, p := range pieces {
			mine, err := w.fetchPiece(p)
			if err != nil {
				return err
			}
			if !mine {
				others = append(others, p)
			}
		}
		if err := w.finish(); err != nil {
			return err
		}
		pieces, id = others, ""
	}
	return nil
}

// resetFar makes room for fetched rows. What was fetched before is no longer valid.
func (w *worker) resetFar() {
	w.farUsed = 0
	for _, d := range w.used {
		d.Reset()
	}
	w.used = w.used[:0]
}

// fetch reads bytes of an input; they are valid until resetFar.
func (w *worker) fetch(input int, start int64, size int) (string, error) {
	if w.farUsed+size > len(w.far) {
		// The rows that are in use stay in the memory that they have.
		w.far, w.farUsed = make([]byte, max(2*len(w.far), size, 4<<10)), 0
	}
	buf := w.far[w.farUsed : w.farUsed+size]
	w.farUsed += size
	if d := w.decoderOf(w.distant, input); len(w.used) == 0 || w.used[len(w.used)-1] != d {
		w.used = append(w.used, d)
	}
	return textOf(buf), w.set.inputs[input].readAt(buf, start)
}

// fetchPiece adds the rows of a piece to the record under way; false when they
// belong to another, as the first of them shows. The first piece says which record it is,
// if none is under way.
//
// Rows in it without a readable record id are none of this record, and are
// reported by whoever decodes the segment. So are bad rows of another record: all rows of
// a piece were of one when they were indexed, so that quotes before them do not pair up.
func (w *worker) fetchPiece(p *piece) (mine bool, err error) {
	input := int(p.input)
	text, err := w.fetch(input, p.start, int(p.size))
	if err != nil {
		return false, err
	}
	d := w.decoderOf(w.distant, input)
	w.enter(input)
	w.jobRow = 0 // another decoder may have come between
	line := int(p.line)
	for i := 0; i < len(text); {
		n, lines, outcome := d.Next(w.limit(text, i), line, w.event())
		switch last := d.Last(); {
		case outcome == formats.NoRow:
		case last.ID == "":
			w.spoiled = w.spoiled || !last.Clean
		case w.id != "" && last.ID != w.id && !mine:
			return false, nil
		case w.id != "" && last.ID != w.id:
			w.spoiled = true
			if outcome != formats.BadRow {
				w.out.bad.add(input, strayedError(record.Pos{File: w.set.inputs[input].name, Line: line}, last.ID, w.id))
			}
		default:
			mine = true
			if w.id == "" {
				first := *w.event()
				w.begin(last.ID, w.spoiled)
				w.enter(input)
				*w.event() = first
			}
			w.take(input, d, outcome, line)
		}
		i, line = i+n, line+lines
	}
	return true, nil
}

// strayedError is about a row of one record that stands among those of another and was
// not seen there at first.
func strayedError(pos record.Pos, id, among string) *formats.RowError {
	return &formats.RowError{
		Pos: pos, Text: strings.Clone(id), Message: "this row stands within a row of record " + among + " when the quotes before it are paired",
		Mend: "give every quoted field of the rows before it a quote at its end",
	}
}

// enter notes that the events to come are from input.
func (w *worker) enter(input int) {
	if n := len(w.origins); n == 0 || w.origins[n-1].input != input {
		w.origins = append(w.origins, origin{input, w.count})
	}
}

// addMatched adds the rows without a record id that fit the record under way, and
// takes rows that several inputs have once.
func (w *worker) addMatched() error {
	l := w.set.loose
	if len(l.spoiled) > 0 && l.spoiled[w.id] {
		w.spoiled = true
	}
	var matched []match
	if len(l.matched) > 0 {
		matched = l.matched[w.id]
	}
	if len(matched) == 0 && len(w.origins) < 2 {
		return nil
	}
	return w.mix(matched)
}

// A mixed event knows its input.
type mixed struct {
	record.Event
	input int
}

// mix orders events of several inputs and takes those once that are the same.
func (w *worker) mix(matched []match) error {
	var events []mixed
	for i, o := range w.origins {
		end := len(w.rec.Events)
		if i+1 < len(w.origins) {
			end = w.origins[i+1].first
		}
		for _, ev := range w.rec.Events[o.first:end] {
			events = append(events, mixed{ev, o.input})
		}
	}
	for i := range matched {
		m := &matched[i]
		ev, err := w.fetchLoose(m)
		if err != nil {
			return err
		}
		events = append(events, mixed{ev, m.input})
	}
	slices.SortStableFunc(events, func(a, b mixed) int {
		if a.input != b.input {
			return a.input - b.input
		}
		return a.Pos.Line - b.Pos.Line
	})
	w.rec.Events = w.rec.Events[:0]
	for _, ev := range once(events) {
		w.rec.Events = append(w.rec.Events, ev.Event)
	}
	return nil
}

// fetchLoose decodes a row without a record id again.
func (w *worker) fetchLoose(m *match) (ev record.Event, err error) {
	text, err := w.fetch(m.input, m.start, m.size)
	if err != nil {
		return ev, err
	}
	_, _, outcome := w.decoderOf(w.distant, m.input).Next(text, int(m.line), &ev)
	if outcome != formats.Decoded {
		return ev, w.set.inputs[m.input].changedError() // it was right when it was matched
	}
	ev.Ambiguous, ev.Clock = m.ambiguous, m.clock
	return ev, nil
}

// jobsOnly visits the records of the job sheets that have no row with their id.
func (w *worker) jobsOnly(ctx context.Context, emit func([]byte) error) error {
	const enough = 64 << 10
	w.out = &result{}
	for n, first := range w.set.jobs.order {
		if w.set.jobs.present[first].Load() {
			continue
		}
		if n%1024 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		w.resetFar()
		w.begin(w.set.jobs.rows[first].Record, false)
		if err := w.finish(); err != nil {
			return err
		}
		if len(w.out.out) >= enough {
			if err := emit(w.out.out); err != nil {
				return err
			}
			w.out.out = w.out.out[:0]
		}
	}
	if len(w.out.out) == 0 {
		return nil
	}
	return emit(w.out.out)
}
