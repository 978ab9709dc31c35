package formats

import (
	"slices"
	"strconv"
	"strings"
)

// A RowForm is what can be said of a row without decoding it.
type RowForm struct {
	Size  int    // bytes, line end included
	Lines int    // line ends
	ID    string // text of the record column, outer blanks removed
	Known bool   // false when the form of the row hides its record id
	Clean bool   // the right number of fields and nothing in them that cannot be
	// Prefix is how many bytes the record field takes with its delimiter, where it
	// is the first field and has no line break; 0 otherwise, or when that is not known.
	Prefix  int
	Skipped bool // no row: one that the column map skips
	Empty   bool // no row: an empty line, a row of blanks, or one that the column map skips
}

// Form looks at the first row of text, which must not be empty and must go on to
// the end of a row.
//
// Two rows belong together when their ID is the same; where a row is not clean
// neither its ID nor the rows beside it can be trusted: it may be half of a row, or
// two.
func (d *Decoder) Form(text string) RowForm {
	if d.plain {
		end := strings.IndexByte(text, '\n') + 1
		if end == 0 {
			end = len(text)
		}
		if strings.IndexByte(text[:end], '"') < 0 {
			return d.layout.unquotedForm(text[:end])
		}
	}
	return d.quotedForm(text)
}

// unquotedForm is Form for a plain row without quotes.
func (l *Layout) unquotedForm(row string) RowForm {
	form := RowForm{Size: len(row)}
	if rest, ok := strings.CutSuffix(row, "\n"); ok {
		form.Lines = 1
		row = rest
	}
	row = strings.TrimSuffix(row, "\r")
	field, known := l.RecordField(row)
	form.ID, form.Known = trim(field), known
	form.Clean = l.CleanRow(row)
	form.Empty = form.ID == "" && strings.Trim(row, " \t"+string(rune(l.Comma))) == ""
	if form.Empty {
		form.Known, form.Clean = true, true
	}
	return form
}

// RecordField returns the record column's text in a plain row without quotes and
// without its line end, outer blanks included; known is false when the row has
// too few fields to have one. A file without that column has blank text for it.
func (l *Layout) RecordField(row string) (text string, known bool) {
	column := l.RecordIndex()
	if column < 0 {
		return "", true
	}
	for range column {
		comma := strings.IndexByte(row, l.Comma)
		if comma < 0 {
			return "", false
		}
		row = row[comma+1:]
	}
	if comma := strings.IndexByte(row, l.Comma); comma >= 0 {
		row = row[:comma]
	}
	return row, true
}

// CleanRow reports whether a plain row without quotes and without its line end
// has the right number of fields and no byte that cannot be in a row.
func (l *Layout) CleanRow(row string) bool {
	return strings.Count(row, string(rune(l.Comma))) == len(l.Columns)-1 &&
		strings.IndexByte(row, '\r') < 0 && strings.IndexByte(row, 0) < 0
}

// quotedForm is Form for any row.
func (d *Decoder) quotedForm(text string) RowForm {
	l := d.layout
	fields, n, lines, problem := SplitRow(text, l.Comma, d.fields[:0])
	d.fields = fields
	form := RowForm{Size: n, Lines: lines}
	if text[n-1] == '\n' {
		form.Lines++
	}
	if problem != nil {
		form.Lines = strings.Count(text[:n], "\n")
		if len(fields) > 0 {
			fields = fields[:len(fields)-1] // the last one is not whole
		}
	}
	if problem == nil && allBlank(fields) {
		form.Empty, form.Known, form.Clean = true, true, true
		return form
	}
	if d.plain {
		l.plainForm(&form, fields)
		form.Clean = problem == nil && len(fields) == len(l.Columns)
		return form
	}
	if problem == nil {
		var row Row
		use, clean, problems := l.canonical(fields, &row)
		form.Clean = clean
		form.Skipped = clean && use == Skipped && len(problems) == 0
		form.Empty = form.Skipped
		form.ID, form.Known = trim(row[RecordColumn].Text), clean
	}
	return form
}

// plainForm takes the record id from the fields of a plain row.
func (l *Layout) plainForm(form *RowForm, fields []Field) {
	column := l.RecordIndex()
	if column < 0 {
		form.Known = true
		return
	}
	if column >= len(fields) {
		return
	}
	form.ID, form.Known = trim(fields[column].Text), true
	if column == 0 && len(fields) > 1 && fields[1].Line == 0 {
		form.Prefix = fields[1].Column - 1
	}
}

// RecordIndex returns the place of the record column among the columns of a plain
// file, -1 if it has none.
func (l *Layout) RecordIndex() int { return slices.Index(l.Columns, RecordColumn) }

// canonical brings fields into canonical text by column. clean is false where the
// form of the row is wrong; the problems tell that, and what a column map cannot
// read. The map is asked first, with whatever fields there are: a footer that it
// skips has others than a row.
func (l *Layout) canonical(fields []Field, row *Row) (use Use, clean bool, problems []*Problem) {
	if !l.IsPlain() {
		use, problems = l.Convert(fields, row)
		if use == Skipped {
			return use, true, problems
		}
	}
	if len(fields) != len(l.Columns) {
		return Reading, false, []*Problem{l.countProblem(fields)}
	}
	if l.IsPlain() {
		for i, f := range fields {
			row[l.Columns[i]] = f
		}
		row[NoColumn] = Field{}
	}
	return use, true, problems
}

// countProblem is the problem of a row with too many or too few fields.
func (l *Layout) countProblem(fields []Field) *Problem {
	got, want := len(fields), len(l.Columns)
	p := &Problem{Message: countText(got) + " where the header has " + countText(want)}
	if got < want {
		p.Mend = "the row is cut short or broken in two: put a field with a line break in quotes"
		return p
	}
	beyond := fields[want]
	for _, f := range fields[want:] {
		if !isBlank(f.Text) { // a note beside a table, say
			beyond = f
			break
		}
	}
	p.Column, p.Line, p.Text = beyond.Column, beyond.Line, beyond.Text
	p.Mend = "put a field that holds the delimiter in quotes; a decimal comma needs a column map; of a workbook clear the cells beyond the header"
	return p
}

func countText(fields int) string {
	if fields == 1 {
		return "1 field"
	}
	return strconv.Itoa(fields) + " fields"
}

// cut returns the problem of a row, the last of its file, that may be cut short.
//
// A file whose last line has no line end may have been cut anywhere: "23" may
// have been "230", "VI-1" have been "VI-12", "dc" have been "dc-3-wire" and a
// blank anything. Such a row is taken only if its last field is quoted and
// closed, if it is free text, or if it is [Column.cutSafe]. Any other is a bad row:
// whoever knows that the file is whole adds the line end.
func (l *Layout) cut(row string, fields []Field) *Problem {
	last := &fields[len(fields)-1]
	if end := row[len(row)-1]; end == '\n' || end == '\r' || last.Quoted {
		return nil
	}
	var c Column
	if len(fields) <= len(l.Columns) {
		c = l.Columns[len(fields)-1]
	}
	if c.isFreeText() || l.IsPlain() && c.cutSafe(last.Text) {
		return nil
	}
	p := &Problem{
		Column: last.Column, Line: last.Line, Text: last.Text,
		Message: "the last line of the file has no line end, so it may be cut short",
		Mend:    "see that the file is whole, then end its last line with a line end, or export it again",
	}
	if c != NoColumn {
		p.Field = c.String()
	}
	return p
}

// isFreeText reports whether the text of c decides nothing.
func (c Column) isFreeText() bool {
	switch c {
	case NoteColumn, SiteColumn, CircuitColumn, TechnicianColumn:
		return true
	}
	return false
}

// cutSafe reports whether a plain file that ends right behind text, in column c,
// shows by it that nothing was cut off that counts: columns that are ignored decide
// nothing; times, and words of which none begins another, cannot be read when cut.
func (c Column) cutSafe(text string) bool {
	switch c {
	case NoColumn:
		return true
	case EventColumn, WaveformColumn, SwitchColumn, SideColumn, OnLoadColumn, SupplySideLiveColumn,
		TimeColumn, StartColumn, EndColumn, ServicedColumn, WithdrawnColumn, KindColumn, ReferenceColumn:
		return !isBlank(text)
	}
	return false
}
