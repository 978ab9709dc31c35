package formats

import "strings"

// Convert brings the fields of a row into canonical text by column. It is safe
// for concurrent use.
func (l *Layout) Convert(fields []Field, row *Row) (Use, []*Problem) {
	*row = Row{}
	if l.mapping == nil {
		for i, f := range fields {
			if i < len(l.Columns) && l.Columns[i] != NoColumn {
				f.Text = strings.TrimSpace(f.Text)
				row[l.Columns[i]] = f
			}
		}
		return Reading, nil
	}
	panic("not yet")
}
