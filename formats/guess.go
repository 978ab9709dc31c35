package formats

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"nilvolt/record"
)

// A Guess is a column map that was proposed for a file.
type Guess struct {
	// Map is the text of the map, YAML, with a comment beside each line that says
	// what it was guessed from. Lines that nobody can be sure of are commented out,
	// or marked UNSURE with what to do about them.
	Map string
	// Sure is true when nothing is in doubt: the map reads every row that was
	// looked at, and no other reading of them is likely.
	Sure bool
}

// GuessMap proposes a column map for the file called name. data is the file; of
// one that is no workbook the first MiB is looked at. The error, a *RowError, says that the
// file is nothing that can be read.
func GuessMap(data []byte, name string) (*Guess, error) {
	g := &guesser{file: name, sure: true}
	text, err := g.guessText(data)
	if err != nil {
		return nil, err
	}
	text = wholeLines(text)
	if !g.guessForm(text) {
		return nil, formError(name, 0, "no rows of two columns or more that look like a log", mendExport)
	}
	if g.isRegister() {
		g.guessRegister()
	} else {
		g.guessColumns()
	}
	if g.foundNothing() {
		return nil, formError(name, 0, "nothing in it looks like a log: no column has a name that is known, and none holds numbers or times", mendExport)
	}
	guess := &Guess{Map: g.render(), Sure: g.sure}
	if guess.Sure {
		try := tryMap
		switch g.kind {
		case jobsFile:
			try, text = tryJobs, string(data)
		case registerFile:
			try, text = tryRegister, string(data)
		case readingsFile:
		}
		if problem := try(guess.Map, name, text); problem != "" {
			guess.Sure = false
			guess.Map = "# UNSURE: the map below was tried on the file, and " + problem + "\n" + guess.Map
		}
	}
	return guess, nil
}

// foundNothing reports whether the file is some other text, such as a letter: no name of
// a column says anything, and no column holds digits in half of its cells. A log of
// which only the names are strange has numbers and times.
func (g *guesser) foundNothing() bool {
	for at, used := range g.used {
		digits, cells := 0, g.cells(at)
		for _, cell := range cells {
			if strings.ContainsFunc(cell, unicode.IsDigit) {
				digits++
			}
		}
		if used || digits > 0 && 2*digits >= len(cells) {
			return false
		}
	}
	return true
}

// wholeLines cuts a long text behind the last line end of its first MiB.
func wholeLines(text string) string {
	const most = 1 << 20
	if len(text) <= most {
		return text
	}
	if end := strings.LastIndexByte(text[:most], '\n'); end >= 0 {
		return text[:end+1]
	}
	return text
}

// tryMap reads text through a map and returns the first thing that is wrong.
func tryMap(mapText, name, text string) string {
	m, err := ParseMap("map", []byte(mapText))
	if err != nil {
		return oneLine(err.Error())
	}
	l, err := Bind(text, name, m)
	if err != nil {
		return oneLine(err.Error())
	}
	bad := eachRow(text, name, l, func(row *Row, pos record.Pos) []*Problem {
		var ev record.Event
		var job record.Job
		_, _, problems := DecodeRow(row, pos, &ev, &job)
		return problems
	})
	if bad.Total > 0 {
		return oneLine(bad.Error())
	}
	return ""
}

// tryJobs is tryMap for a job sheet, whose bytes are data.
func tryJobs(mapText, name, data string) string {
	m, err := ParseMap("map", []byte(mapText))
	if err == nil {
		_, err = ReadJobs([]byte(data), name, m)
	}
	if err != nil {
		return oneLine(err.Error())
	}
	return ""
}

// tryRegister is tryJobs for a register.
func tryRegister(mapText, name, data string) string {
	m, err := ParseMap("map", []byte(mapText))
	if err == nil {
		_, err = ReadRegister([]byte(data), name, m)
	}
	if err != nil {
		return oneLine(err.Error())
	}
	return ""
}

// A guesser is the work on one file.
type guesser struct {
	file  string
	lines []guessLine
	sure  bool
	kind  fileKind // what the file is

	workbook     bool // the file is one: its cells need no delimiter
	preamble     []string
	header       []string // names of the columns; nil where there is no header
	headerLine   int
	rows         []splitRow       // the rows that were looked at
	used         []bool           // by column: spoken of in the map
	found        map[Column][]int // the columns of the file that may be which, by their names
	numbers      numberForm
	zone         guessLine
	numberSample string
}

// A guessLine is a line of the map with its comment.
type guessLine struct{ text, comment string }

// say adds a line that is sure.
func (g *guesser) say(text, comment string) {
	g.lines = append(g.lines, guessLine{text, comment})
}

// doubt adds a line that is not, which the reader must look at. A line that would
// change what is read is commented out until then.
func (g *guesser) doubt(text, comment string) {
	g.sure = false
	g.lines = append(g.lines, guessLine{text, "UNSURE: " + comment})
}

// render writes the map.
func (g *guesser) render() string {
	var b strings.Builder
	b.WriteString("# How " + oneLine(baseName(g.file)) + " is read, as it was guessed.")
	if !g.sure {
		b.WriteString(" Lines marked UNSURE are yours to settle: put each right, then take its leading \"# \" off, the mark and one blank.")
	}
	b.WriteByte('\n')
	for _, l := range g.lines {
		b.WriteString(l.text)
		if l.comment != "" {
			if l.text != "" {
				b.WriteString("  ")
			}
			b.WriteString("# " + oneLine(l.comment))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// oneLine makes text safe to stand in a comment.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, strings.ToValidUTF8(text, "?"))
}

// plainText is text that YAML takes for a text without quotes.
var plainText = regexp.MustCompile(`^\pL[\pL\pN_]*([ .\-/][\pL\pN_]+)*$`)

// yamlText writes text as a YAML scalar.
func yamlText(text string) string {
	switch strings.ToLower(text) {
	case "null", "true", "false", "yes", "no", "on", "off", "y", "n":
		return strconv.Quote(text)
	}
	if plainText.MatchString(text) {
		return text
	}
	return yamlQuote(text)
}

// yamlQuote writes text in double quotes.
func yamlQuote(text string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case unicode.IsPrint(r):
			b.WriteRune(r)
		case r > 0xffff:
			fmt.Fprintf(&b, `\U%08X`, r)
		default:
			fmt.Fprintf(&b, `\u%04X`, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// guessText brings the file into UTF-8.
func (g *guesser) guessText(data []byte) (string, error) {
	form, err := Sniff(data[:min(len(data), headBytes)], g.file, nil)
	var notText *RowError
	if errors.As(err, &notText) && notText.Pos.Line > 0 || err == nil && form.InPlace() && checkUTF8(data, g.file) != nil {
		named := windows1252
		form, err = sniff(data[:min(len(data), headBytes)], g.file, &section{encoding: &named, delimiter: ','})
		g.guessWindows1252(data)
	}
	if err != nil {
		return "", err
	}
	switch form.encoding {
	case utf16Little, utf16Big:
		g.say("", "The bytes are "+form.String()+".")
	case workbook:
		g.workbook = true
		if form, err = g.guessSheet(data, form); err != nil {
			return "", err
		}
	default: // said above, or nothing to say
	}
	if form.InPlace() {
		return strings.TrimPrefix(string(data), byteOrderMark), nil
	}
	var text bytes.Buffer
	if err := Recode(&text, bytes.NewReader(data), form); err != nil {
		return "", err
	}
	return text.String(), nil
}

// guessWindows1252 says which encoding bytes that are no UTF-8 are taken for.
func (g *guesser) guessWindows1252(data []byte) {
	for i, c := range data {
		if c < utf8.RuneSelf {
			continue
		}
		line := bytes.Count(data[:i], []byte("\n")) + 1
		comment := fmt.Sprintf("line %d holds the byte 0x%02x, which is not UTF-8", line, c)
		const undefined = "\x81\x8d\x8f\x90\x9d" // bytes, not characters
		if slices.ContainsFunc(data, func(c byte) bool { return strings.IndexByte(undefined, c) >= 0 }) {
			break
		}
		g.say("encoding: windows-1252", comment)
		return
	}
	g.doubt("# encoding: windows-1252", "the file holds bytes that are neither UTF-8 nor Windows-1252: export it as UTF-8")
}

// guessSheet chooses a sheet.
func (g *guesser) guessSheet(data []byte, form Form) (Form, error) {
	b, err := openBook(bytes.NewReader(data), form)
	if err != nil {
		return form, form.workbookError(err)
	}
	form.header = headerSpec{} // not known yet
	var filled []string
	for _, s := range b.sheets {
		has, err := b.hasCells(s)
		if err != nil {
			return form, form.workbookError(err)
		}
		if has {
			filled = append(filled, s.name)
		}
	}
	if len(filled) > 1 {
		form.sheet = filled[0]
		g.doubt("sheet: "+yamlText(filled[0]), "the first of the sheets with rows: "+quoteAll(filled))
	}
	return form, nil
}
