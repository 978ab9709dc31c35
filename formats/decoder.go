package formats

import (
	"strings"

	"nilvolt/record"
)

// An Outcome says what a row came to.
type Outcome uint8

// The outcomes.
const (
	Decoded Outcome = iota // a row of events
	NoRow                  // an empty line, a row of blanks, or one that the column map skips
	BadRow                 // a row with mistakes
)

// A Decoder decodes the rows of one file, one after the other. It is not safe
// for concurrent use; each goroutine has its own.
//
// The strings of what it gives point into the text that it was given. Before that
// text is overwritten and other text handed in, Reset must be called.
type Decoder struct {
	layout *Layout
	plain  bool // the layout is
	file   string

	// state is the plain row before; steps hold the text that it was decoded from.
	// Text that is the same again is not decoded again.
	state    rowState
	steps    []step
	plainRow bool // the row before was a plain one, and row tells of it
	jobRow   int
	jobTexts int // how many job columns of the plain row before are not blank
	clock    clock
	slowJob  record.Job
	fields   []Field
	problems []*Problem

	row Last
}

// A step decodes some neighbouring fields of a plain row.
type step struct {
	// column is that of the field, for times, volts and conductors, which seldom
	// repeat; NoColumn for fields that often do.
	column Column
	end    byte          // what ends the last field: the delimiter, or LF for the last of all
	text   string        // of the row before, from the first field to the last one's end; blank when none is known
	fields []fieldBefore // for NoColumn
}

// A fieldBefore is a field of the plain row before.
type fieldBefore struct {
	column Column
	end    byte
	text   string
}

// stepsOf divides the columns of a plain file into steps.
func stepsOf(l *Layout) []step {
	var steps []step
	for f, c := range l.Columns {
		end := l.Comma
		if f == len(l.Columns)-1 {
			end = '\n'
		}
		switch c {
		case TimeColumn, VoltsColumn, FromColumn, ToColumn:
			steps = append(steps, step{column: c, end: end})
			continue
		}
		if len(steps) == 0 || steps[len(steps)-1].column != NoColumn || c == RecordColumn {
			steps = append(steps, step{})
		}
		last := &steps[len(steps)-1]
		last.fields = append(last.fields, fieldBefore{column: c, end: end})
	}
	return steps
}

// Last is what is known of the row that a Decoder decoded last, beside its event.
type Last struct {
	ID     string      // record id, outer blanks removed; blank if the row has none
	Known  bool        // false when the form of a bad row hides its record id
	Clean  bool        // false when the form of a bad row leaves its neighbours in doubt
	HasJob bool        // the row has job columns that are not blank
	Job    *record.Job // what they say; Record and Pos are not set
	JobRow int         // equal for two rows only if their jobs are
}

// NewDecoder returns a decoder of rows of the file called file.
func NewDecoder(l *Layout, file string) *Decoder {
	d := &Decoder{layout: l, plain: l.IsPlain(), file: file, steps: stepsOf(l)}
	d.Reset()
	return d
}

// Reset makes d forget the texts that it has seen.
func (d *Decoder) Reset() {
	d.forget()
	d.row = Last{}
}

// forget makes a row of blank fields the row before: that is what a zero rowState is.
func (d *Decoder) forget() {
	d.state = rowState{}
	d.state.event.Pos.File = d.file
	for k := range d.steps {
		d.steps[k].text = ""
		for f := range d.steps[k].fields {
			d.steps[k].fields[f].text = ""
		}
	}
	d.jobRow++
	d.jobTexts = 0
	d.plainRow = false
}

// set decodes the text of one column into d.state. When it is refused, nobody
// knows what it has left there.
func (d *Decoder) set(c Column, text string) bool {
	if d.state.set(c, text) != nil {
		d.forget()
		return false
	}
	return true
}

// Last returns what is known of the row that Next decoded last. It is valid until
// the next call of Next or Reset.
func (d *Decoder) Last() *Last { return &d.row }

// Problems returns what is wrong with the row that Next decoded last, after
// BadRow.
func (d *Decoder) Problems() []*Problem { return d.problems }

// Next decodes the first row of text, which begins on the given line, into ev. It
// returns the bytes and the line ends of the row. The text must not be empty, and
// must go on to the end of a row.
//
// A last row without a line end may have been cut short and is a bad row, unless
// its last field is one that cannot have been cut; see
// Layout.cut.
func (d *Decoder) Next(text string, line int, ev *record.Event) (n, lines int, o Outcome) {
	if d.plain {
		if n, ok := d.fast(text); ok {
			*ev = d.state.event
			ev.Pos.Line = line
			if d.state.line > 0 {
				ev.Pos.Line = d.state.line
			}
			if !d.plainRow {
				d.plainRow = true
				d.row = Last{Known: true, Clean: true, Job: &d.state.job}
			}
			d.row.ID, d.row.HasJob, d.row.JobRow = d.state.id, d.jobTexts > 0, d.jobRow
			return n, 1, Decoded
		}
		d.plainRow = false
	}
	return d.slow(text, line, ev)
}

// fast decodes a plain row of one line and without mistakes into d.state; ok
// is false for any other row.
func (d *Decoder) fast(text string) (n int, ok bool) {
	i, end := 0, 0
	for k := range d.steps {
		st := &d.steps[k]
		switch st.column {
		case TimeColumn:
			end = d.fastTime(text, i)
		case VoltsColumn:
			end = d.fastVolts(text, i, st.end)
		case FromColumn:
			end = d.fastConductor(text, i, st, &d.state.from)
		case ToColumn:
			end = d.fastConductor(text, i, st, &d.state.to)
		default:
			if n := len(st.text); n > 0 && n <= len(text)-i && text[i:i+n] == st.text {
				i += n
			} else if i = d.changedFields(text, i, st); i == refused {
				return 0, false
			}
			continue
		}
		if i = pass(text, end, st.end); i == refused {
			return 0, false
		}
	}
	return i, d.state.finish()
}

// refused stands for the end of a field that cannot be decoded.
const refused = -1

// pass goes past the end of a field at text[i], which is the delimiter, or LF or
// CRLF for the last field of a row.
func pass(text string, i int, end byte) (next int) {
	if uint(i) < uint(len(text)) && text[i] == end {
		return i + 1
	}
	if end == '\n' && i != refused && strings.HasPrefix(text[i:], "\r\n") {
		return i + 2
	}
	return refused
}

// changedFields decodes the fields of a step that are not all those of the row
// before, and goes past their end.
func (d *Decoder) changedFields(text string, start int, st *step) (next int) {
	i := start
	for f := range st.fields {
		b := &st.fields[f]
		end := i + len(b.text)
		if end >= len(text) || text[end] != b.end || text[i:end] != b.text {
			var inner string
			inner, end = innerText(text, i, d.layout.Comma)
			if !d.change(b, inner) {
				return refused
			}
		}
		if i = pass(text, end, b.end); i == refused {
			st.text = ""
			return refused
		}
	}
	st.text = text[start:i]
	return i
}

// fieldEnd returns the place at or after i of the first byte that ends an
// unquoted field or has no business in it.
func fieldEnd(text string, i int, comma byte) int {
	for i < len(text) {
		c := text[i]
		if c == comma || c <= '"' && (c == '\n' || c == '"' || c == '\r' || c == 0) {
			break
		}
		i++
	}
	return i
}

// change decodes a field whose text may not be that of the row before.
func (d *Decoder) change(b *fieldBefore, text string) bool {
	if b.text == text || b.column == NoColumn {
		return true // the same, before a CRLF
	}
	if !d.set(b.column, text) {
		return false
	}
	if b.column.IsJob() {
		d.jobRow++
		if !isBlank(b.text) {
			d.jobTexts--
		}
		if !isBlank(text) {
			d.jobTexts++
		}
	}
	b.text = text
	return true
}

// fastVolts decodes the value at text[i]: digits with a point in them. Anything
// else that a display shows is left to record.ParseReading.
func (d *Decoder) fastVolts(text string, i int, sep byte) (end int) {
	const most = 15 // digits, so that they and the power of ten are exact
	mantissa, point := uint64(0), -1
	for end = i; end < len(text); end++ {
		if digit := text[end] - '0'; digit <= 9 {
			mantissa = mantissa*10 + uint64(digit)
		} else if text[end] == '.' && point < 0 && end > i {
			point = end
		} else {
			break
		}
	}
	if end < len(text) && text[end] == sep && end > i && end-i <= most && point != end-1 {
		volts := float64(mantissa)
		if point >= 0 {
			volts /= powersOfTen[end-point-1]
		}
		d.state.event.Volts = record.Reading{Text: text[i:end], Volts: record.Volts(volts), State: record.Shown}
		return end
	}
	return d.field(VoltsColumn, text, i)
}

var powersOfTen = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// The conductors whose names have one letter, and those that begin with L, by
// their second.
var (
	oneLetter = [256]record.Conductor{'L': record.L, 'N': record.N, 'E': record.E, 'M': record.M}
	lines     = [256]record.Conductor{'1': record.L1, '2': record.L2, '3': record.L3, '+': record.LPlus, '-': record.LMinus}
)

// fastConductor decodes the conductor at text[i] into c.
func (d *Decoder) fastConductor(text string, i int, st *step, c *record.Conductor) (end int) {
	if len(text)-i > 2 {
		switch {
		case text[i] == st.end:
			*c = record.Conductor{}
			return i
		case text[i+1] == st.end:
			if *c = oneLetter[text[i]]; c.IsSet() {
				return i + 1
			}
		case text[i+2] == st.end && text[i] == 'L':
			if *c = lines[text[i+1]]; c.IsSet() {
				return i + 2
			}
		}
	}
	return d.field(st.column, text, i)
}

// field decodes the field at text[i], which is of column c.
func (d *Decoder) field(c Column, text string, i int) (end int) {
	inner, end := innerText(text, i, d.layout.Comma)
	if !d.set(c, inner) {
		return refused
	}
	return end
}

// innerText returns the text of the field at text[i], quotes taken off, and where
// the field ends. What stands at the end shows whether it was a whole field: of a
// quoted one with a doubled quote, a line break or a NUL in it nothing is taken.
func innerText(text string, i int, comma byte) (inner string, end int) {
	if i >= len(text) || text[i] != '"' {
		end = fieldEnd(text, i, comma)
		return text[i:end], end
	}
	for end = i + 1; end < len(text) && text[end] != '\n' && text[end] != 0; end++ {
		if text[end] == '"' {
			return text[i+1 : end], end + 1
		}
	}
	return "", i
}

// slow decodes any row, by SplitRow and DecodeRow, and says what is wrong with it.
func (d *Decoder) slow(text string, line int, ev *record.Event) (n, lines int, o Outcome) {
	d.problems = d.problems[:0]
	fields, n, lines, problem := SplitRow(text, d.layout.Comma, d.fields[:0])
	d.fields = fields
	if problem != nil {
		d.problems = append(d.problems, problem)
		d.hide(text)
		return n, strings.Count(text[:n], "\n"), BadRow
	}
	if text[n-1] == '\n' {
		lines++
	}
	if allBlank(fields) {
		return n, lines, NoRow
	}
	var row Row
	use, clean, problems := d.layout.canonical(fields, &row)
	if use == Skipped && len(problems) == 0 {
		return n, lines, NoRow
	}
	d.problems = append(d.problems, problems...)
	if !clean {
		d.hide(text)
		return n, lines, BadRow
	}
	_, hasJob, problems := DecodeRow(&row, record.Pos{File: d.file, Line: line}, ev, &d.slowJob)
	d.problems = append(d.problems, problems...)
	if p := d.layout.cut(text[:n], fields); p != nil {
		d.problems = append(d.problems, p)
	}
	d.jobRow++
	id := trim(row[RecordColumn].Text) // as Form has it, even where it is refused
	d.row = Last{ID: id, Known: true, Clean: true, HasJob: hasJob, Job: &d.slowJob, JobRow: -d.jobRow}
	if len(d.problems) > 0 {
		return n, lines, BadRow
	}
	return n, lines, Decoded
}

// hide sets what is known of a row whose form is wrong.
func (d *Decoder) hide(text string) {
	form := d.Form(text)
	d.row = Last{ID: form.ID, Known: form.Known, Clean: form.Clean}
}
