package report

import (
	"cmp"
	"slices"
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// A readingTable makes the table of the readings: what is the same in all of them
// stands above it, not in a column.
type readingTable struct {
	counts  map[record.Pos]verify.State // of the rows that count, how their pairs are drawn
	columns []column
	cells   []func(s verify.RowState) words
	above   []string
	rows    []row
}

// readings is every proof and dead test by time.
func (r *Record) readings(rows []verify.RowState, pairs []verify.PairState) []block {
	title := heading{level: 2, text: say("Readings")}
	readings := slices.DeleteFunc(slices.Clone(rows), func(s verify.RowState) bool { return !s.Event.Kind.IsReading() })
	if len(readings) == 0 {
		return []block{title, paragraph{text: say("No reading was handed in.")}}
	}
	t := &readingTable{}
	t.choose(readings, pairs)
	t.fill(readings, offsetOf(rows) != fromUTC(readings[0].Event.Time))
	var out []block
	if len(t.above) > 0 {
		out = append(out, paragraph{text: say("%s.", strings.Join(t.above, "; ")), small: true})
	}
	n := len(t.rows)
	if len(t.columns) <= 6 && n > mostOnFirst {
		return append([]block{title}, append(out, table{small: true, id: "readings", columns: t.columns, rows: t.rows, folds: true})...)
	}
	if len(t.columns) > 6 || n < 6 || n > len(readings) {
		if !slices.ContainsFunc(t.columns, func(c column) bool { return c.weight > 0 }) {
			t.columns[len(t.columns)-1].weight = 1
		}
		return append([]block{title}, append(out, table{small: true, id: "readings", columns: t.columns, rows: t.rows})...)
	}
	half := func(rows []row) []block { return []block{table{small: true, columns: t.columns, rows: rows}} }
	return append([]block{title}, append(out, beside{share: 0.5, left: half(t.rows[:(n+1)/2]), right: half(t.rows[(n+1)/2:])})...)
}

// add adds a column.
func (t *readingTable) add(head string, a align, cell func(s verify.RowState) words) {
	t.columns, t.cells = append(t.columns, column{head: head, align: a}), append(t.cells, cell)
}

// addUnlessSame adds a column where the texts differ from row to row; where they are
// all the same, lead and text stand above the table. Nothing is said of blank ones.
func (t *readingTable) addUnlessSame(head, lead string, readings []verify.RowState, get func(e *record.Event) string) {
	first := get(readings[0].Event)
	if slices.ContainsFunc(readings, func(s verify.RowState) bool { return get(s.Event) != first }) {
		t.add(head, atLeft, func(s verify.RowState) words { return given(get(s.Event)) })
	} else if first != "" {
		t.above = append(t.above, lead+first)
	}
}

// choose chooses the columns.
func (t *readingTable) choose(readings []verify.RowState, pairs []verify.PairState) {
	counts := map[record.Pos]verify.State{}
	t.counts = counts
	for _, p := range pairs {
		if state, ok := counts[p.Pos]; p.Indicator != "" && (!ok || state == verify.Good) {
			counts[p.Pos] = p.State
		}
	}
	t.add("time", atLeft, func(s verify.RowState) words { return given(clock(s.Event.Time)) })
	t.add("what", atLeft, func(s verify.RowState) words { return say("%s", s.Event.Kind) })
	t.add("on", atLeft, func(s verify.RowState) words { return on(s.Event) })
	t.addUnlessSame("at", "all at ", readings, func(e *record.Event) string { return strings.Join(filled(e.Point, sideName(e.Side)), ", ") })
	t.add("showed", atRight, func(s verify.RowState) words { return showed(s.Event) })
	t.addUnlessSame("wave", "all on ", readings, func(e *record.Event) string { return e.Waveform.String() })
	t.add("state", atLeft, func(s verify.RowState) words { state, _ := rowState(s, counts); return state })
	t.addUnlessSame("indicator", "all with ", readings, func(e *record.Event) string { return cmp.Or(e.Indicator, "no indicator named") })
	t.addUnlessSame("note", "note: ", readings, func(e *record.Event) string { return e.Note })
	if last := &t.columns[len(t.columns)-1]; last.head == "note" {
		last.weight = 1
	}
	file := readings[0].Event.Pos.File
	if slices.ContainsFunc(readings, func(s verify.RowState) bool { return s.Event.Pos.File != file }) {
		t.add("row of the log", atLeft, func(s verify.RowState) words { return given(place(s.Event.Pos)) })
		return
	}
	t.above = append(t.above, "rows of "+cmp.Or(file, "standard input"))
	t.add("row", atLeft, func(s verify.RowState) words { return say("%d", s.Event.Pos.Line) })
}

// fill fills the rows. Where the day or the offset from UTC changes a line says so, and
// a first one where it was not said above.
func (t *readingTable) fill(readings []verify.RowState, first bool) {
	day, offset := dayOf(readings[0].Event.Time), fromUTC(readings[0].Event.Time)
	for i, s := range readings {
		d, o := dayOf(s.Event.Time), fromUTC(s.Event.Time)
		if d != day || o != offset || i == 0 && first {
			line := row{cells: make([]words, len(t.columns)), strong: true}
			line.cells[0], line.cells[1], line.cells[2] = stress(d), stress("from here"), stress(o)
			t.rows = append(t.rows, line)
			day, offset = d, o
		}
		_, bad := rowState(s, t.counts)
		r := row{strong: bad}
		for _, cell := range t.cells {
			r.cells = append(r.cells, cell(s))
		}
		t.rows = append(t.rows, r)
	}
}

func sideName(s record.Side) string {
	if s == record.SideUnknown {
		return ""
	}
	return s.String() + " side"
}

func place(p record.Pos) string {
	p.Column = 0
	return p.String()
}

// on is what a reading was taken on: two conductors, the probe placed first before the
// other; or a source.
func on(e *record.Event) words {
	var w words
	if e.Pair.IsSet() {
		text := e.Pair.String()
		if e.Placed {
			text = e.Pair.A.String() + " → " + e.Pair.B.String()
		}
		if e.Switch != record.SwitchUnknown {
			text += ", switch " + e.Switch.String()
		}
		w = given(text)
	}
	if e.Kind.IsProof() {
		source := orNot(e.Source)
		if w != nil {
			source = say(" ").and(source)
		}
		w = w.and(source)
		if e.HasExpected {
			w = w.and(say(", %s", e.Expected))
		}
	}
	return w
}

// showed is what the indicator showed, as it was printed.
func showed(e *record.Event) words {
	var parts []string
	if e.Volts.Text != "" {
		parts = append(parts, inVolts(e.Volts.Text))
	}
	switch e.Stage.State {
	case record.StageAbsent:
	case record.StageNone:
		parts = append(parts, "no step lit")
	case record.StageLit, record.StageUnreadable:
		parts = append(parts, "step "+inVolts(e.Stage.Text))
	}
	if len(parts) == 0 {
		return say("nothing recorded")
	}
	return given(strings.Join(parts, ", "))
}

// inVolts adds the unit to a number, and to nothing else.
func inVolts(text string) string {
	if _, ok := record.ParseNumber(text); ok {
		return text + " V"
	}
	return text
}

// rowState says what a reading was taken for, and whether it must not be overlooked.
func rowState(s verify.RowState, counts map[record.Pos]verify.State) (words, bool) {
	state := s.State
	if drawn, ok := counts[s.Event.Pos]; ok && s.Dead && s.Counts {
		state = drawn
	}
	switch {
	case s.Aside:
		return say("not judged"), false
	case s.Event.Kind.IsProof() && s.Passes:
		return say("proved"), false
	case s.Event.Kind.IsProof():
		return stress("PROOF FAILED"), true
	case !s.Dead:
		return stress(faceOf(state).word), true
	case !s.Counts:
		return say("dead, not counted"), false
	case state == verify.Good:
		return say("dead, proved"), false
	}
	return stress(faceOf(state).word), true
}
