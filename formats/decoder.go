package formats

import (
	"slices"
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

	// state is the plain row before, as far as it is decoded.
	state    rowState
	fast     []fastField // the columns
	head     []fastField // those of fast before from, to and volts, as like has them
	readings []fastField // from, to and volts
	tail     []fastField // those behind them
	ordered  bool        // the columns begin as readingOrder
	quoted   bool        // a usual field was in quotes
	like     likeness    // to the row before
	jobRow   int
	jobTexts int // how many job columns of the plain row before are not blank
	clock    clock
	slowJob  record.Job
	fields   []Field
	problems []*Problem

	row Last
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
	d := &Decoder{layout: l, plain: l.IsPlain(), file: file}
	d.fast = d.fastFields()
	d.like = newLikeness(l.Columns)
	d.ordered = len(l.Columns) >= len(readingOrder) && slices.Equal(l.Columns[:len(readingOrder)], readingOrder)
	d.head, d.readings, d.tail = d.fast[:d.like.from], d.fast[d.like.from:d.like.tail], d.fast[d.like.tail:]
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
	for k := range d.fast {
		f := &d.fast[k]
		f.forget()
		f.filled = false
	}
	d.like.size = 0
	d.quoted = false
	d.jobRow++
	d.jobTexts = 0
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
//
// Where many rows are to be decoded, Alike takes most of them.
func (d *Decoder) Next(text string, line int, ev *record.Event) (n, lines int, o Outcome) {
	if d.plain {
		if n, ok := d.fastRow(text); ok {
			*ev = d.state.event
			ev.Pos.Line = line
			if d.state.line > 0 {
				ev.Pos.Line = d.state.line
			}
			// Field by field: a whole Last would be made elsewhere and copied.
			d.row.ID, d.row.Known, d.row.Clean = d.state.id, true, true
			d.row.HasJob, d.row.Job, d.row.JobRow = d.jobTexts > 0, &d.state.job, d.jobRow
			return n, 1, Decoded
		}
	}
	return d.slow(text, line, ev)
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
