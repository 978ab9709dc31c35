package formats

import (
	"fmt"
	"strconv"
	"strings"

	"nilvolt/record"
)

// A RowError is one mistake in one row of an input file.
type RowError struct {
	Pos     record.Pos // file, line and column of the mistake
	Field   string     // name of the column; blank when the form of the row is wrong
	Text    string     // the text that is wrong
	Message string     // what is wrong
	Mend    string     // what to do about it
}

// At places a problem of the row that begins at pos.
func (p *Problem) At(pos record.Pos) *RowError {
	pos.Line += p.Line
	pos.Column = p.Column
	return &RowError{Pos: pos, Field: p.Field, Text: p.Text, Message: p.Message, Mend: p.Mend}
}

// Error returns file:line:column, the field with its text, and what is wrong;
// the mend is left to whoever prints it.
func (e *RowError) Error() string {
	var b strings.Builder
	if e.Pos.File != "" { // blank of an option, which stands in no file
		b.WriteString(e.Pos.String())
		b.WriteString(": ")
	}
	if e.Field != "" {
		b.WriteString(e.Field)
		b.WriteByte(' ')
	}
	if e.Text != "" {
		b.WriteString(strconv.Quote(clip(e.Text)))
		b.WriteString(": ")
	} else if e.Field != "" {
		b.WriteString("blank: ")
	}
	b.WriteString(e.Message)
	return b.String()
}

// clip shortens text to what fits in a line of a message.
func clip(text string) string {
	const most = 60
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "") + "..."
}

// MaxListed is how many bad rows are kept to be printed; the rest is counted.
const MaxListed = 20

// BadRows is the error of an input with bad rows: the first ones in input order,
// and how many there are.
type BadRows struct {
	First []*RowError
	Total int
}

// Add counts e and keeps it if it is among the first.
func (b *BadRows) Add(e *RowError) {
	b.Total++
	if len(b.First) < MaxListed {
		b.First = append(b.First, e)
	}
}

// Merge adds the rows of c, which come behind those of b in the input.
func (b *BadRows) Merge(c *BadRows) {
	room := min(MaxListed-len(b.First), len(c.First))
	b.First = append(b.First, c.First[:room]...)
	b.Total += c.Total
}

// Err returns b as an error, nil when it holds no row.
func (b *BadRows) Err() error {
	if b.Total == 0 {
		return nil
	}
	return b
}

// Error returns the first mistake and how many there are.
func (b *BadRows) Error() string {
	if b.Total == 1 {
		return b.First[0].Error()
	}
	return fmt.Sprintf("%v (and %d more)", b.First[0], b.Total-1)
}
