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
	file   string

	// state is the row before, texts the fields it was decoded from (but for
	// time and volts, which hardly ever repeat). A field whose text is the same
	// again is not decoded again.
	state    rowState
	texts    []string
	jobRow   int
	hasJob   bool
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
	d := &Decoder{layout: l, file: file, texts: make([]string, len(l.Columns))}
	d.Reset()
	return d
}

// Reset makes d forget the texts that it has seen.
func (d *Decoder) Reset() {
	// A zero rowState is what a row of blank fields decodes to.
	d.state = rowState{}
	d.state.event.Pos.File = d.file
	clear(d.texts)
	d.hasJob = false
	d.jobRow++
	d.row = Last{}
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
	if d.layout.IsPlain() {
		if n, ok := d.fast(text); ok {
			*ev = d.state.event
			ev.Pos.Line = line
			d.row = Last{
				ID: d.state.id, Known: true, Clean: true,
				HasJob: d.hasJob, Job: &d.state.job, JobRow: d.jobRow,
			}
			return n, 1, Decoded
		}
	}
	return d.slow(text, line, ev)
}

// fast decodes a plain row without quotes and without mistakes into d.state; ok
// is false for any other row.
func (d *Decoder) fast(text string) (n int, ok bool) {
	comma := d.layout.Comma
	columns := d.layout.Columns
	texts := d.texts[:len(columns)]
	jobRow := d.jobRow
	i, end := 0, 0
	for f, c := range columns {
		sep := comma
		if f == len(columns)-1 {
			sep = '\n'
		}
		switch c {
		case TimeColumn:
			if end, ok = d.fastTime(text, i); !ok {
				return 0, false
			}
		case VoltsColumn:
			end = fieldEnd(text, i, comma)
			if !d.fastVolts(text[i:end]) {
				return 0, false
			}
		case NoColumn:
			end = fieldEnd(text, i, comma)
		default:
			end = i + len(texts[f])
			if end >= len(text) || text[end] != sep || text[i:end] != texts[f] {
				end = fieldEnd(text, i, comma)
				if !d.change(f, c, text[i:end]) {
					return 0, false
				}
			}
		}
		if end >= len(text) {
			return 0, false
		}
		if text[end] != sep {
			if sep != '\n' || text[end] != '\r' || end+1 >= len(text) || text[end+1] != '\n' {
				return 0, false
			}
			end++
		}
		i = end + 1
	}
	if d.jobRow != jobRow {
		d.hasJob = d.anyJob()
	}
	return i, d.state.finish()
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

// change decodes field f, whose text is not that of the row before.
func (d *Decoder) change(f int, c Column, text string) bool {
	if d.texts[f] == text {
		return true
	}
	if d.state.set(c, text) != nil {
		return false
	}
	d.texts[f] = text
	if c.IsJob() {
		d.jobRow++
	}
	return true
}

// anyJob reports whether a job column of the last row is not blank.
func (d *Decoder) anyJob() bool {
	for f, c := range d.layout.Columns {
		if c.IsJob() && !isBlank(d.texts[f]) {
			return true
		}
	}
	return false
}

// fastVolts decodes a value; what a display shows instead of one is left to
// record.ParseReading.
func (d *Decoder) fastVolts(text string) bool {
	const most = 9e37 // below the numbers of SCPI-1999 that are no volts
	if v, ok := record.ParseNumber(text); ok && v > -most && v < most {
		d.state.event.Volts = record.Reading{Text: text, Volts: record.Volts(v), State: record.Shown}
		return true
	}
	return d.state.set(VoltsColumn, text) == nil
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
	id, hasJob, problems := DecodeRow(&row, record.Pos{File: d.file, Line: line}, ev, &d.slowJob)
	d.problems = append(d.problems, problems...)
	if p := d.layout.cut(text[:n], fields); p != nil {
		d.problems = append(d.problems, p)
	}
	d.jobRow++
	d.row = Last{ID: id, Known: true, Clean: true, HasJob: hasJob, Job: &d.slowJob, JobRow: -d.jobRow}
	if len(d.problems) > 0 {
		return n, lines, BadRow
	}
	return n, lines, Decoded
}

// hide sets what is known of a row whose form is wrong.
func (d *Decoder) hide(text string) {
	form := d.layout.Form(text)
	d.row = Last{ID: form.ID, Known: form.Known, Clean: form.Clean}
}
