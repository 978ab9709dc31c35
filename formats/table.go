package formats

import (
	"bytes"

	"nilvolt/record"
)

// headBytes is how much of a file Sniff looks at.
const headBytes = 64 << 10

// textOf returns the whole text of a small file in UTF-8.
func textOf(data []byte, name string, s *section) (string, error) {
	f, err := sniff(data[:min(len(data), headBytes)], name, s)
	if err != nil {
		return "", err
	}
	if f.InPlace() {
		if err := checkUTF8(data, name); err != nil {
			return "", err
		}
		return string(data), nil
	}
	var text bytes.Buffer
	if err := Recode(&text, bytes.NewReader(data), f); err != nil {
		return "", err
	}
	return text.String(), nil
}

// eachRow hands every row behind the header of text to use, as canonical text by
// column. Rows that the map skips are passed over.
func eachRow(text, name string, l *Layout, use func(row *Row, pos record.Pos) []*Problem) *BadRows {
	return eachFields(text, name, l, func(fields []Field, text string, pos record.Pos) []*Problem {
		var row Row
		kind, _, problems := l.canonical(fields, &row)
		if p := l.cut(text, fields); p != nil && len(problems) == 0 {
			problems = append(problems, p)
		}
		if kind == Skipped || len(problems) > 0 {
			return problems
		}
		return use(&row, pos)
	})
}

// eachFields hands every row behind the header of text to use, with its text.
// Rows whose fields are all blank are passed over; a file without any other is an
// error. It gives up behind a row whose form is wrong, for nobody knows where the
// next one begins.
func eachFields(text, name string, l *Layout, use func(fields []Field, text string, pos record.Pos) []*Problem) *BadRows {
	bad := &BadRows{}
	var fields []Field
	empty := true
	pos := record.Pos{File: name, Line: l.FirstLine}
	for rest := text[min(int(l.FirstRow), len(text)):]; rest != ""; {
		var n, lines int
		var problem *Problem
		fields, n, lines, problem = SplitRow(rest, l.Comma, fields[:0])
		if problem != nil {
			bad.Add(problem.At(pos))
			return bad
		}
		if !allBlank(fields) {
			empty = false
			for _, p := range use(fields, rest[:n], pos) {
				bad.Add(p.At(pos))
			}
		}
		pos.Line += lines + 1
		rest = rest[n:]
	}
	if empty {
		bad.Add(formError(name, 0, "no row behind the header", "see whether the file is complete"))
	}
	return bad
}

// allBlank reports whether a row holds nothing but blanks.
func allBlank(fields []Field) bool {
	for i := range fields {
		if !isBlank(fields[i].Text) {
			return false
		}
	}
	return true
}
