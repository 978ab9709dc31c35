package formats

import (
	"fmt"
	"regexp"
	"strings"

	"nilvolt/record"
)

// maxGuessRows is how many rows a guess looks at.
const maxGuessRows = 5000

// A split is a file divided by one delimiter.
type split struct {
	comma byte
	rows  []splitRow
	width int // the number of fields that most rows have
	fit   int // how many rows have it
}

// A splitRow is a row with the line on which it begins.
type splitRow struct {
	fields []string
	line   int
	bad    bool // its form is wrong
}

// guessForm guesses delimiter, header, comments and footers.
func (g *guesser) guessForm(text string) bool {
	best, commas := split{}, []byte{',', ';', '\t', '|'}
	if g.workbook {
		commas = commas[:1] // as its rows were written above
	}
	for _, comma := range commas {
		if s := splitText(text, comma); s.width > 1 && s.betterThan(best) {
			best = s
		}
	}
	if best.width < 2 {
		return false
	}
	names := map[byte]string{',': "comma", ';': "semicolon", '\t': "tab", '|': "bar"}
	if !g.workbook {
		g.say("delimiter: "+names[best.comma], fmt.Sprintf("it divides %d of %d lines into %d fields each", best.fit, len(best.rows), best.width))
	}
	body := g.guessHeader(best, strings.Split(text, "\n"))
	g.guessRows(body, best.width)
	g.used = make([]bool, best.width)
	return true
}

// betterThan prefers the delimiter that fits more rows, then more fields; a comma
// may be a decimal mark and has to be better.
func (s split) betterThan(t split) bool {
	if t.comma == ',' && s.fit == t.fit {
		return s.width >= t.width
	}
	return s.fit > t.fit || s.fit == t.fit && s.width > t.width
}

func splitText(text string, comma byte) split {
	s := split{comma: comma}
	counts := make(map[int]int)
	line := 1
	var fields []Field
	for text != "" && len(s.rows) < maxGuessRows {
		var n, lines int
		var problem *Problem
		fields, n, lines, problem = SplitRow(text, comma, fields[:0])
		row := splitRow{line: line, bad: problem != nil}
		for _, f := range fields {
			row.fields = append(row.fields, strings.TrimSpace(f.Text))
		}
		if problem != nil {
			lines = strings.Count(text[:n], "\n") - 1
		}
		cut := n == len(text) && !strings.HasSuffix(text, "\n") && len(s.rows) > 0
		line += lines + 1
		text = text[n:]
		if allBlank(fields) || cut && row.bad {
			continue
		}
		s.rows = append(s.rows, row)
		if !row.bad {
			counts[len(row.fields)]++
		}
	}
	for width, fit := range counts {
		if width > 1 && (fit > s.fit || fit == s.fit && width > s.width) {
			s.width, s.fit = width, fit
		}
	}
	return s
}

// guessHeader finds the header, the first row of the common width, and returns
// the rows behind it.
func (g *guesser) guessHeader(s split, lines []string) []splitRow {
	for i, row := range s.rows {
		if row.bad || len(row.fields) != s.width || strings.HasPrefix(row.fields[0], "#") {
			continue
		}
		first := row.line
		for _, line := range lines[:first-1] {
			g.preamble = append(g.preamble, strings.TrimSuffix(line, "\r"))
		}
		if looksLikeData(row.fields) {
			g.doubt("header: none", fmt.Sprintf("line %d looks like a row, not like names of columns: see what the columns are", first))
			if first > 1 {
				g.say(fmt.Sprintf("first: %d", first), "the first row")
			}
			return s.rows[i:]
		}
		g.header, g.headerLine = row.fields, first
		if first > 1 {
			g.say(fmt.Sprintf("header: %d", first), "the first line with all the columns")
		}
		return s.rows[i+1:]
	}
	return nil
}

// looksLikeData reports whether a row holds a number or a time.
func looksLikeData(fields []string) bool {
	for _, f := range fields {
		if _, ok := record.ParseNumber(f); ok {
			return true
		}
		if _, err := record.ParseInstant(f); err == nil {
			return true
		}
		if len(scanTimes([]string{f})) > 0 {
			return true
		}
	}
	return false
}

// guessRows keeps the rows of the common width, and proposes to skip the others.
func (g *guesser) guessRows(body []splitRow, width int) {
	comment, footers := false, map[string]int{}
	var order []string
	for _, row := range body {
		switch {
		case strings.HasPrefix(row.fields[0], "#"):
			comment = true
		case !row.bad && len(row.fields) == width:
			g.rows = append(g.rows, row)
		default:
			word := leadingWord.FindString(row.fields[0])
			if footers[word] == 0 {
				order = append(order, word)
			}
			footers[word] = row.line
		}
	}
	if comment {
		g.say(`comment: "#"`, "rows that begin with it")
	}
	for _, word := range order {
		what := fmt.Sprintf("line %d has another number of fields: is it no row of the log?", footers[word])
		if word == "" {
			g.doubt("# skip: []", what+" Write a pattern that it alone has, or mend the file")
			continue
		}
		g.doubt("# skip: ["+yamlQuote("^"+regexp.QuoteMeta(word))+"]", what)
	}
}

var leadingWord = regexp.MustCompile(`^\pL[\pL ]*`)

// cells returns the texts of a column that are not blank.
func (g *guesser) cells(column int) []string {
	var cells []string
	for _, row := range g.rows {
		if row.fields[column] != "" {
			cells = append(cells, row.fields[column])
		}
	}
	return cells
}
