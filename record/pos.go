package record

import "strconv"

// A Pos is a place in an input file.
type Pos struct {
	File   string // name as the user gave it
	Line   int    // 1 for the first line; 0 when no line is known
	Column int    // byte within the line, 1 for the first; 0 when not known
}

// String returns file:line:column, without what is not known.
func (p Pos) String() string {
	return string(p.Append(nil))
}

// Append appends the text of p to b.
func (p Pos) Append(b []byte) []byte {
	b = append(b, p.File...)
	if p.Line > 0 {
		b = append(b, ':')
		b = strconv.AppendInt(b, int64(p.Line), 10)
	}
	if p.Line > 0 && p.Column > 0 {
		b = append(b, ':')
		b = strconv.AppendInt(b, int64(p.Column), 10)
	}
	return b
}
