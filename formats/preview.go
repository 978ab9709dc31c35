package formats

import (
	"nilvolt/record"
)

// A Preview shows how a file of readings is understood.
type Preview struct {
	Rows    []PreviewRow // the first ones
	Columns []Column     // that any row of the file has text for, in canonical order
	Read    int          // how many rows were read as events
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

// Check reads the file of readings called name through m, nil for a canonical
// one, and shows its first n rows. data is the whole file. Bad rows are no error
// but part of the preview; the error says that the file or its header cannot be
// read at all.
func Check(data []byte, name string, m *Map, n int) (*Preview, error) {
	text, l, err := bindWhole(data, name, m, readingColumns)
	if err != nil {
		return nil, err
	}
	p := &Preview{}
	var has [NumColumns]bool
	c := &checker{layout: l, preview: p, most: n, has: &has}
	p.Bad = *eachFields(text, name, l, c.row)
	for column, filled := range has {
		if filled && Column(column) != NoColumn {
			p.Columns = append(p.Columns, Column(column))
		}
	}
	return p, nil
}

// A checker is the work on one file.
type checker struct {
	layout  *Layout
	preview *Preview
	most    int
	has     *[NumColumns]bool
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
		var ev record.Event
		var job record.Job
		if len(problems) == 0 {
			_, _, problems = DecodeRow(&row, pos, &ev, &job)
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
