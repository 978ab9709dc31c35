package formats

import (
	"slices"
	"strings"

	"nilvolt/record"
)

// lineColumns are those of readings that come line by line from an instrument:
// what the lines do not tell, such as the time, whoever listens to it adds.
var lineColumns = func() *columnSet {
	set := *readingColumns
	set.required = nil
	return &set
}()

// mostHead is how many bytes from the start of the lines are kept to look for
// columns that tell a unit, a range, a function or a coupling in their cells.
const mostHead = 16 << 10

// Lines decodes what an instrument sends, line by line, as a file of readings is
// decoded, but for three things. Columns may be missing that the listener adds to
// each row. A canonical header may come at any time, and again. And one bad line
// does not end it: the listener decides what a line means that cannot be read.
//
// A Lines is not safe for concurrent use.
type Lines struct {
	name    string
	section *section
	layout  *Layout
	head    string // lines from the header (or what stands above it) on, each ended by LF
	header  string // the canonical header; blank before it has come
	over    int    // how many lines still to come stand between the header and the first row
	settled bool   // a row was decoded: from now on every row has its number of fields
	refused error  // why no line can be read any more
}

// NewLines returns a decoder for the lines of an instrument. name is what messages
// and the files key of the map call them; m is nil when they are canonical.
func NewLines(name string, m *Map) *Lines {
	return &Lines{name: name, section: m.section(readingsFile, name)}
}

// A DecodedLine is what a line came to. Event, Job and ID are of use only when the
// outcome is Decoded.
type DecodedLine struct {
	Outcome  Outcome
	ID       string // record id, blank if the line has none
	Event    record.Event
	Job      record.Job // what job columns say; Record is not set
	HasJob   bool
	Problems []*RowError // after BadRow
}

// Next decodes one line, without its line end. pos is where it stands for
// messages. fill, which may be nil, is given the canonical text of the row before
// it is decoded, to add what the line does not tell.
//
// NoRow is a blank line, a header, what a map skips, and what stands above the
// header of a map. Before a header or a first row that fits, every line is a bad
// one.
func (l *Lines) Next(text string, pos record.Pos, fill func(*Row)) DecodedLine {
	if strings.Trim(text, " \t") == "" || text == l.header {
		return DecodedLine{Outcome: NoRow}
	}
	if l.refused != nil {
		return unreadLine(placed(l.refused, pos))
	}
	if l.layout == nil {
		if isRow, problems := l.bind(text, pos); !isRow {
			return unreadLine(problems)
		}
	}
	if l.over > 0 {
		l.over--
		l.head += text + "\n"
		return DecodedLine{Outcome: NoRow}
	}
	d := l.decode(text, pos, fill)
	switch {
	case d.Outcome == Decoded:
		l.settled = true
		if problems := l.lookAtCells(text, pos); len(problems) > 0 {
			return unreadLine(problems)
		}
	case d.Outcome == BadRow && l.section == nil && l.isHeader(text):
		return DecodedLine{Outcome: NoRow}
	case d.Outcome == BadRow && l.section != nil && l.section.header.none && !l.settled:
		l.layout = nil // the next line says how many fields there are
	}
	return d
}

// unreadLine is a line with problems, or one that is no row.
func unreadLine(problems []*RowError) DecodedLine {
	if len(problems) > 0 {
		return DecodedLine{Outcome: BadRow, Problems: problems}
	}
	return DecodedLine{Outcome: NoRow}
}

// bind looks for the header in the line, or with it and the lines above. isRow is
// true where the line is a row already.
func (l *Lines) bind(text string, pos record.Pos) (isRow bool, problems []*RowError) {
	if l.section == nil {
		if l.isHeader(text) {
			return false, nil
		}
		return false, []*RowError{{
			Pos: pos, Text: text, Message: "no header has come yet that tells what the columns are",
			Mend: "switch the instrument off and on, so that it sends its header, or name the columns",
		}}
	}
	before := len(l.head)
	head := l.head + text + "\n"
	if look := (&binder{section: l.section, set: lineColumns, file: l.name, layout: &Layout{}}); !look.findHeader(head) {
		if len(head) < mostHead && look.bad.Total == 1 && look.line == 0 {
			l.head = head // it stands above the header
			return false, nil
		}
		l.head = ""
		return false, placed(look.bad.Err(), pos)
	}
	layout, err := bindSection(head, l.name, l.section, lineColumns)
	if err != nil {
		l.head = ""
		return false, placed(err, pos)
	}
	l.layout = layout
	if layout.FirstRow <= int64(before) {
		return true, nil
	}
	l.head, l.over = head, max(0, l.section.header.first-layout.FirstLine)
	return false, nil
}

// isHeader reports whether the line is a canonical header, and takes it.
func (l *Lines) isHeader(text string) bool {
	layout, err := bindCanonical(text+"\n", l.name, lineColumns)
	if err != nil || !tellsReadings(layout) {
		return false
	}
	l.layout, l.header, l.head = layout, text, text+"\n"
	return true
}

// tellsReadings reports whether a header has what no header of readings lacks: a
// line of one word could be anything.
func tellsReadings(l *Layout) bool {
	known, tells := 0, false
	for _, c := range l.Columns {
		if c != NoColumn {
			known++
		}
		tells = tells || c == EventColumn || c == VoltsColumn || c == StageColumn || c == ExpectedColumn
	}
	return tells && known > 1
}

// decode decodes a row.
func (l *Lines) decode(text string, pos record.Pos, fill func(*Row)) DecodedLine {
	fields, _, _, problem := SplitRow(text+"\n", l.layout.Comma, nil)
	if problem != nil {
		return unreadLine([]*RowError{problem.At(pos)})
	}
	var row Row
	use, clean, problems := l.layout.canonical(fields, &row)
	if use == Skipped && len(problems) == 0 {
		return DecodedLine{Outcome: NoRow}
	}
	d := DecodedLine{}
	if clean && len(problems) == 0 {
		if fill != nil {
			fill(&row)
		}
		d.ID, d.HasJob, problems = DecodeRow(&row, pos, &d.Event, &d.Job)
	}
	for _, p := range problems {
		d.Problems = append(d.Problems, p.At(pos))
	}
	if len(problems) > 0 {
		d.Outcome = BadRow
	}
	return d
}

// lookAtCells looks whether a column that is ignored tells a unit or the like in its
// cells. Where it does, no line can be read.
func (l *Lines) lookAtCells(text string, pos record.Pos) []*RowError {
	if len(l.head) >= mostHead || !l.ignores() {
		return nil
	}
	l.head += text + "\n"
	_, l.refused = bind(l.head, l.name, l.section, lineColumns)
	return placed(l.refused, pos)
}

// ignores reports whether the layout has a column that is not used.
func (l *Lines) ignores() bool {
	return slices.Contains(l.layout.Columns, NoColumn)
}

// placed returns the mistakes of a header at the place of the line.
func placed(err error, pos record.Pos) []*RowError {
	bad, ok := err.(*BadRows) //nolint:errorlint // bind returns nothing else, unwrapped
	if !ok || bad == nil {
		return nil
	}
	list := make([]*RowError, 0, len(bad.First))
	for _, e := range bad.First {
		moved := *e
		moved.Pos = record.Pos{File: pos.File, Line: pos.Line, Column: e.Pos.Column}
		list = append(list, &moved)
	}
	return list
}
