package main

import (
	"strconv"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/width"
)

// A theme is how text for people looks. What is wrong stands in capitals, so
// that it is seen without colour; colour only repeats it. There is no green:
// nothing that is printed here is leave to touch a conductor.
type theme struct {
	width   int // columns that a line may take
	colour  bool
	unicode bool           // marks and data beyond ASCII may be printed
	zone    *time.Location // of times; nil is UTC
}

// An ink is what a piece of text is printed for.
type ink string

// The inks, as parameters of the terminal's "select graphic rendition" (ECMA-48, 8.3.117).
const (
	plainInk   ink = ""
	titleInk   ink = "1"       // bold
	quietInk   ink = "2"       // faint
	dangerInk  ink = "1;97;41" // white on red
	wrongInk   ink = "1;31"    // red
	missingInk ink = "1;33"    // yellow
)

// paint returns text in an ink.
func (t theme) paint(i ink, text string) string {
	if !t.colour || i == plainInk || text == "" {
		return text
	}
	return "\x1b[" + string(i) + "m" + text + "\x1b[0m"
}

// rule returns a line of n columns.
func (t theme) rule(n int) string {
	if t.unicode {
		return strings.Repeat("\u2500", n)
	}
	return strings.Repeat("-", n)
}

// clean makes text of the input fit to be printed: nothing in it may steer the
// terminal or change the direction of writing, and where the locale is not
// UTF-8 it is ASCII. What is taken out stays visible as an escape.
func (t theme) clean(text string) string {
	ok := func(r rune) bool {
		if r < 0x7f {
			return r >= ' '
		}
		return t.unicode && r != unicode.ReplacementChar && unicode.IsPrint(r)
	}
	if strings.IndexFunc(text, func(r rune) bool { return !ok(r) }) < 0 {
		return text
	}
	var b strings.Builder
	for i, r := range text {
		switch {
		case ok(r):
			b.WriteRune(r)
		case r == unicode.ReplacementChar && !strings.HasPrefix(text[i:], "\ufffd"):
			b.WriteString(strings.Trim(strconv.QuoteToASCII(text[i:i+1]), `"`))
		default:
			quoted := strconv.QuoteRuneToASCII(r)
			b.WriteString(quoted[1 : len(quoted)-1])
		}
	}
	return b.String()
}

// columnsOf returns how many columns of a terminal text takes: two for wide
// characters of East Asia, none for marks that stand above others.
func columnsOf(text string) int {
	n := 0
	for _, r := range text {
		switch {
		case r < 0x300:
			n++
		case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		default:
			n++
			if k := width.LookupRune(r).Kind(); k == width.EastAsianWide || k == width.EastAsianFullwidth {
				n++
			}
		}
	}
	return n
}

// pad fills text with blanks to n columns.
func pad(text string, n int) string {
	return text + strings.Repeat(" ", max(0, n-columnsOf(text)))
}

// wrap breaks text at blanks into lines of at most n columns; a longer word has
// a line of its own.
func wrap(text string, n int) []string {
	var lines []string
	line, used := "", 0
	for word := range strings.FieldsSeq(text) {
		size := columnsOf(word)
		if line != "" && used+1+size > n {
			lines = append(lines, line)
			line, used = "", 0
		}
		if line != "" {
			line += " "
			used++
		}
		line += word
		used += size
	}
	return append(lines, line)
}

// hang writes text behind lead, its further lines indented to the same column.
func (t theme) hang(b *strings.Builder, lead, text string, i ink) {
	indent := strings.Repeat(" ", columnsOf(lead))
	for n, line := range wrap(text, t.width-len(indent)) {
		if n > 0 {
			lead = indent
		}
		b.WriteString(lead)
		b.WriteString(t.paint(i, line))
		b.WriteByte('\n')
	}
}

// number writes n with commas between thousands.
func number(n int) string {
	text := strconv.Itoa(n)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

// plural writes n with a noun that takes an s.
func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return number(n) + " " + noun + "s"
}
