package formats

import (
	"slices"
	"strings"
)

// A RowForm is what can be said of a row without decoding it.
type RowForm struct {
	Size  int    // bytes, line end included
	Lines int    // line ends
	ID    string // text of the record column, outer blanks removed
	Known bool   // false when the form of the row hides its record id
	Clean bool   // the right number of fields and nothing in them that cannot be
	Empty bool   // no row: an empty line, a row of blanks, or one that the column map skips
}

// Form looks at the first row of text. The text must not be empty.
//
// Two rows belong together when their ID is the same; where a row is not clean
// neither its ID nor the rows beside it can be trusted: it may be half of a row, or
// two.
func (l *Layout) Form(text string) RowForm {
	if l.IsPlain() {
		end := strings.IndexByte(text, '\n') + 1
		if end == 0 {
			end = len(text)
		}
		if strings.IndexByte(text[:end], '"') < 0 {
			return l.unquotedForm(text[:end])
		}
	}
	return l.quotedForm(text)
}

// unquotedForm is Form for a plain row without quotes.
func (l *Layout) unquotedForm(row string) RowForm {
	form := RowForm{Size: len(row)}
	if rest, ok := strings.CutSuffix(row, "\n"); ok {
		form.Lines = 1
		row = rest
	}
	row = strings.TrimSuffix(row, "\r")
	column := l.recordIndex()
	form.Known = column < 0
	form.Empty = true
	fields := 0
	for more, rest, field := true, row, ""; more; fields++ {
		field, rest, more = strings.Cut(rest, string(rune(l.Comma)))
		if fields == column {
			form.ID, form.Known = trim(field), true
		}
		form.Empty = form.Empty && isBlank(field)
	}
	form.Clean = fields == len(l.Columns) && !strings.ContainsAny(row, "\r\x00")
	return form
}

// quotedForm is Form for any row.
func (l *Layout) quotedForm(text string) RowForm {
	fields, n, lines, problem := SplitRow(text, l.Comma, nil)
	form := RowForm{Size: n, Lines: lines}
	if text[n-1] == '\n' {
		form.Lines++
	}
	if problem != nil {
		form.Lines = strings.Count(text[:n], "\n")
		if column := l.recordIndex(); l.IsPlain() && column < len(fields)-1 {
			form.Known = true
			if column >= 0 {
				form.ID = trim(fields[column].Text)
			}
		}
		return form
	}
	if allBlank(fields) {
		form.Empty, form.Known, form.Clean = true, true, true
		return form
	}
	if column := l.recordIndex(); l.IsPlain() && column < len(fields) {
		form.Known = true
		if column >= 0 {
			form.ID = trim(fields[column].Text)
		}
	}
	var row Row
	use, clean, problems := l.canonical(fields, &row)
	form.Clean = clean
	form.Empty = clean && use == Skipped && len(problems) == 0
	if clean && !l.IsPlain() {
		form.ID, form.Known = trim(row[RecordColumn].Text), true
	}
	return form
}

// recordIndex returns the place of the record column among those of a plain file,
// -1 if it has none.
func (l *Layout) recordIndex() int { return slices.Index(l.Columns, RecordColumn) }

// canonical brings fields into canonical text by column. clean is false where the
// form of the row is wrong; the problems are those and what a column map cannot read.
func (l *Layout) canonical(fields []Field, row *Row) (use Use, clean bool, problems []*Problem) {
	if p := checkCount(l, fields); p != nil {
		return Reading, false, []*Problem{p}
	}
	if !l.IsPlain() {
		use, problems = l.Convert(fields, row)
		return use, true, problems
	}
	for i, f := range fields {
		row[l.Columns[i]] = f
	}
	row[NoColumn] = Field{}
	return Reading, true, nil
}
