package formats

import (
	"fmt"
	"slices"
	"strings"

	"nilvolt/record"
)

// A Preview shows how a file is understood.
type Preview struct {
	Kind    string       // what its rows are: readings, jobs or instruments
	Rows    []PreviewRow // the first ones
	Columns []Column     // that any row of the file has text for, in canonical order
	Read    int          // how many rows were read as that
	Skipped int          // how many the map passed over: comments, footers, what is no voltage
	Bad     BadRows      // the mistakes of all rows
}

// A PreviewRow is one row as it is understood.
type PreviewRow struct {
	Line     int                // on which it begins
	Texts    [NumColumns]string // canonical text by column; blank where it has none
	Skipped  bool               // passed over by the map
	Problems []*RowError        // what is wrong with it; the texts are then of little use
}

// Kinds returns the words for what the rows of a file may be.
func Kinds() []string { return slices.Clone(fileKindNames) }

// Check reads the file called name through m, nil for a canonical one, and shows its
// first n rows. kind, one of [Kinds], says what they are; where it is blank the map
// does, if it is for files of one kind only, else the header. data is the whole file.
// Bad rows are no error but part of the preview; the error says that the file or its
// header cannot be read at all.
func Check(data []byte, name string, m *Map, kind string, n int) (*Preview, error) {
	at := slices.Index(fileKindNames, kind)
	switch {
	case at >= 0:
	case kind != "":
		return nil, fmt.Errorf("no kind of file is called %q: there are %s", kind, strings.Join(fileKindNames, ", "))
	default:
		at = int(m.kindOf(data, name))
	}
	set := fileKind(at).columns()
	text, l, err := bindWhole(data, name, m, set)
	if err != nil {
		return nil, err
	}
	p := &Preview{Kind: fileKindNames[at]}
	var has [NumColumns]bool
	c := &checker{layout: l, preview: p, most: n, has: &has}
	switch set.kind {
	case readingsFile:
		c.decode = func(row *Row, pos record.Pos) []*Problem {
			var ev record.Event
			var job record.Job
			_, _, problems := DecodeRow(row, pos, &ev, &job)
			return problems
		}
	case jobsFile:
		c.decode = func(row *Row, pos record.Pos) []*Problem {
			_, problems := decodeJob(row, pos)
			return problems
		}
	case registerFile:
		c.decode = newRegisterReader().row
	}
	p.Bad = *eachFields(text, name, l, c.row)
	for column, filled := range has {
		if filled && Column(column) != NoColumn {
			p.Columns = append(p.Columns, Column(column))
		}
	}
	return p, nil
}

// kindOf says what the rows of a file are that nobody has said it of.
func (m *Map) kindOf(data []byte, name string) fileKind {
	if m != nil && len(m.sections) > 0 {
		kind := m.sections[0].kind
		if slices.ContainsFunc(m.sections, func(s *section) bool { return s.kind != kind }) {
			return readingsFile
		}
		return kind
	}
	text, err := textOf(data, name, nil)
	if err != nil {
		return readingsFile // which says what is wrong
	}
	g := &guesser{}
	fields, _, _, _ := SplitRow(strings.TrimPrefix(text, byteOrderMark), ',', nil)
	for _, f := range fields {
		g.header = append(g.header, f.Text)
	}
	switch {
	case g.isRegister():
		return registerFile
	case isJobSheet(g.findColumns()):
		return jobsFile
	}
	return readingsFile
}

// A checker is the work on one file.
type checker struct {
	layout  *Layout
	preview *Preview
	most    int
	has     *[NumColumns]bool
	decode  func(*Row, record.Pos) []*Problem
}

// row looks at one row and returns what is wrong with it.
func (c *checker) row(fields []Field, text string, pos record.Pos) []*Problem {
	var row Row
	shown := PreviewRow{Line: pos.Line}
	use, _, problems := c.layout.canonical(fields, &row)
	if use == Skipped {
		c.preview.Skipped++
		shown.Skipped = true
	} else {
		if len(problems) == 0 {
			problems = c.decode(&row, pos)
		}
		if p := c.layout.cut(text, fields); p != nil {
			problems = append(problems, p)
		}
		if len(problems) == 0 {
			c.preview.Read++
		}
	}
	for column := range row {
		shown.Texts[column] = row[column].Text
		c.has[column] = c.has[column] || row[column].Text != ""
	}
	for _, p := range problems {
		shown.Problems = append(shown.Problems, p.At(pos))
	}
	if len(c.preview.Rows) < c.most {
		c.preview.Rows = append(c.preview.Rows, shown)
	}
	return problems
}
