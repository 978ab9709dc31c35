package formats

import "strings"

// A Field is one field of a row.
type Field struct {
	Text   string // quotes taken off
	Column int    // byte within its line where the field begins, 1 for the first
	Line   int    // lines below the one on which the row begins
	Quoted bool
	// Refused says that the field had text that could not be brought into canonical
	// text, and Text is blank for that: it is told already.
	Refused bool
}

// A Row is the canonical text of one row, by column.
type Row [NumColumns]Field

// A Problem is what is wrong with one field or with the form of a row.
type Problem struct {
	Column  int    // byte within the line, 1 for the first; 0 when the whole row is meant
	Line    int    // lines below the one on which the row begins, for a row of several lines
	Field   string // name of the column, as the file or the canonical form calls it
	Text    string // the text that is wrong
	Message string // what is wrong, lower case, no full stop
	Mend    string // what to do about it
}

// SplitRow takes the first row off text, RFC 4180 with comma as the delimiter,
// and appends its fields to fields. It returns them with the number of bytes
// that the row takes, its line end (LF, CRLF or the end of text) included, and
// the number of lines it spans beyond the first. Fields point into text, but for
// those that hold doubled quotes.
//
// Refused are a bare quote within an unquoted field, text behind a closing
// quote, a quoted field without an end, a CR that ends no line, and a NUL: each
// would make the following rows uncertain. n then reaches to the end of the line
// on which the problem was found.
func SplitRow(text string, comma byte, fields []Field) (out []Field, n, lines int, problem *Problem) {
	lineStart, i := 0, 0
	for {
		start := i
		if i < len(text) && text[i] == '"' {
			value, next, p := quotedField(text, i)
			if p != nil {
				p.Column = start - lineStart + 1
				p.Line = lines
				return fields, endOfLine(text, next), lines, p
			}
			fields = append(fields, Field{Text: value, Column: start - lineStart + 1, Line: lines, Quoted: true})
			if k := strings.Count(text[start:next], "\n"); k > 0 {
				lines += k
				lineStart = start + strings.LastIndexByte(text[start:next], '\n') + 1
			}
			i = next
		} else {
			for i < len(text) && text[i] != comma && text[i] != '\n' && text[i] != '\r' && text[i] != '"' && text[i] != 0 {
				i++
			}
			fields = append(fields, Field{Text: text[start:i], Column: start - lineStart + 1, Line: lines})
		}
		if i == len(text) {
			return fields, i, lines, nil
		}
		switch c := text[i]; {
		case c == comma:
			i++
		case c == '\n':
			return fields, i + 1, lines, nil
		case c == '\r' && i+1 < len(text) && text[i+1] == '\n':
			return fields, i + 2, lines, nil
		case c == '\r' && i+1 == len(text):
			return fields, i + 1, lines, nil
		default:
			p := strayByte(c, fields[len(fields)-1].Quoted)
			p.Column, p.Line = i-lineStart+1, lines
			p.Text = fields[len(fields)-1].Text
			return fields, endOfLine(text, i), lines, p
		}
	}
}

// openQuote is the complaint about a quoted field without an end.
const openQuote = "quoted field without an end"

// quotedField reads the quoted field that begins at text[i] and returns its
// value and the place behind its closing quote.
func quotedField(text string, i int) (value string, next int, problem *Problem) {
	i++
	start, doubled := i, false
	for {
		k := strings.IndexByte(text[i:], '"')
		if k < 0 {
			return "", start, &Problem{
				Text:    text[start-1 : endOfLine(text, start)],
				Message: openQuote,
				Mend:    `close the field with ", or double a quote that belongs to the text`,
			}
		}
		i += k
		if i+1 < len(text) && text[i+1] == '"' {
			doubled = true
			i += 2
			continue
		}
		value = text[start:i]
		if doubled {
			value = strings.ReplaceAll(value, `""`, `"`)
		}
		if strings.IndexByte(value, 0) >= 0 {
			return "", i + 1, strayByte(0, true)
		}
		return value, i + 1, nil
	}
}

func strayByte(c byte, behindQuote bool) *Problem {
	switch {
	case c == 0:
		return &Problem{Message: "a NUL byte", Mend: "the file is damaged or no text: export it again"}
	case behindQuote:
		return &Problem{Message: "text behind a closing quote", Mend: "double a quote that belongs to the text"}
	case c == '\r':
		return &Problem{Message: "a carriage return that ends no line", Mend: "export the file with one kind of line end"}
	}
	return &Problem{Message: "a quote within an unquoted field", Mend: "put the whole field in quotes and double the quote within it"}
}

// endOfLine returns the place behind the line end at or after i.
func endOfLine(text string, i int) int {
	if k := strings.IndexByte(text[i:], '\n'); k >= 0 {
		return i + k + 1
	}
	return len(text)
}
