package formats

import (
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"
)

// ParseMap reads a column map, YAML with a document for each kind of file. The
// error is a *BadRows that lists every mistake with its line and column.
func ParseMap(name string, data []byte) (*Map, error) {
	r := &mapReader{file: name}
	m := &Map{}
	for _, doc := range r.parse(data) {
		m.sections = append(m.sections, r.section(doc))
		last := m.sections[len(m.sections)-1]
		for _, s := range m.sections[:len(m.sections)-1] {
			if s.kind == last.kind && len(s.files) == 0 {
				r.fail(doc, "", "", "this part is never used: the one before it is for every file of its kind",
					"put  files:  with a pattern of file names into the part before it")
			}
		}
	}
	if len(m.sections) == 0 && r.bad.Total == 0 {
		r.bad.Add(formError(name, 0, "the map is empty", "nilvolt formats guess FILE proposes one"))
	}
	if err := r.bad.Err(); err != nil {
		return nil, err
	}
	return m, nil
}

// section reads one document.
func (r *mapReader) section(doc ast.Node) *section {
	s := &section{delimiter: ',', header: headerSpec{line: 1}}
	entries := r.known(doc, "", "for", "files", "encoding", "sheet", "delimiter", "header", "first", "comment", "skip",
		"decimal", "thousands", "zone", "layout", "months", "columns", "function", "ignore")
	// Columns are read last: what they mean depends on the rest.
	slices.SortStableFunc(entries, func(a, b entry) int { return rank(a.key) - rank(b.key) })
	for _, e := range entries {
		r.setting(s, e)
	}
	r.checkSection(doc, s)
	return s
}

func rank(key string) int {
	return slices.Index([]string{"columns"}, key)
}

// setting reads one entry of a document.
func (r *mapReader) setting(s *section, e entry) {
	switch e.key {
	case "for":
		s.kind = fileKind(max(0, r.choice(e, fileKindNames)))
	case "files":
		s.files = r.filePatterns(e)
	case "encoding":
		s.encoding = r.charset(e)
	case "sheet":
		s.sheet, _ = r.text(e.node, e.key)
	case "delimiter":
		s.delimiter = r.delimiter(e)
	case "header":
		r.header(s, e)
	case "first":
		s.header.first = r.number(e.node, e.key)
	case "comment":
		s.comment, _ = r.text(e.node, e.key)
	case "skip":
		for _, text := range r.texts(e.node, e.key) {
			s.skip = append(s.skip, r.pattern(e.node, e.key, text, 0))
		}
	case "decimal":
		s.numbers.comma = r.choice(e, []string{".", "point", ",", "comma"}) >= 2
	case "thousands":
		if i := r.choice(e, []string{".", ",", "'", " ", "space", "point", "comma", "apostrophe"}); i >= 0 {
			s.numbers.thousands = []rune{'.', ',', '\'', ' ', ' ', '.', ',', '\''}[i]
		}
	case "zone":
		s.zone = r.zone(e)
	case "layout":
		s.layout = r.layout(e)
	case "months":
		s.months = r.months(e)
	case "columns":
		r.columns(s, e)
	case "function":
		s.function = r.function(e)
	case "ignore":
		s.ignore = r.texts(e.node, e.key)
	}
}

// checkSection looks at what settings mean together.
func (r *mapReader) checkSection(doc ast.Node, s *section) {
	mark := '.'
	if s.numbers.comma {
		mark = ','
	}
	if s.numbers.thousands == mark {
		r.fail(doc, "thousands", string(mark), "the decimal mark is the same", "name two marks that differ; the decimal mark is a point unless the map says otherwise")
	}
	if s.header.none {
		for _, c := range s.columns {
			r.checkNumbered(doc, c.from, c.date, c.clock, c.unitColumn)
		}
		if s.function != nil {
			r.checkNumbered(doc, s.function.from)
		}
	} else if s.header.first != 0 && s.header.line != 0 && s.header.first <= s.header.line {
		r.fail(doc, "first", strconv.Itoa(s.header.first), "the first row is not below the header", "give the line of the first row, or leave first out")
	}
	if s.function != nil && s.kind != readingsFile {
		r.fail(doc, "function", "", "only readings have a function", "leave it out")
	}
	r.checkClock(doc, s.layout)
	for _, c := range s.columns {
		if contentOf(c.column) == timeContent {
			r.checkClock(doc, c.layout)
		}
	}
	if s.months != nil {
		s.layout = withMonths(s.layout, s.months)
		for _, c := range s.columns {
			c.layout = withMonths(c.layout, s.months)
		}
	}
}

// checkClock asks the layout of a time for its time of day: rows of midnight would
// stand in no order.
func (r *mapReader) checkClock(doc ast.Node, l *timeLayout) {
	if l != nil && l.kind == patternLayout && !l.hasClock() {
		r.fail(doc, "layout", l.text, "it has no time of day", "add HH:mm; where the time of day has a column of its own, say  date:  and  clock:")
	}
}

func withMonths(l *timeLayout, months []string) *timeLayout {
	if l == nil {
		return nil
	}
	named := *l
	named.names = months
	return &named
}

func (r *mapReader) checkNumbered(doc ast.Node, refs ...*columnRef) {
	for _, ref := range refs {
		if ref != nil && ref.number == 0 {
			r.fail(doc, "columns", ref.name, "a file without a header has no names of columns", "name the column by its number, 1 for the first")
		}
	}
}

// choice returns which of words the value is, -1 for none of them.
func (r *mapReader) choice(e entry, words []string) int {
	text, ok := r.text(e.node, e.key)
	if !ok {
		return -1
	}
	i := slices.Index(words, strings.ToLower(text))
	if i < 0 {
		r.fail(e.node, e.key, text, "unknown word", "write one of "+quoteAll(words))
	}
	return i
}

func quoteAll(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = strconv.Quote(w)
	}
	return strings.Join(quoted, ", ")
}

func (r *mapReader) filePatterns(e entry) []string {
	patterns := r.texts(e.node, e.key)
	for _, p := range patterns {
		if _, err := path.Match(p, ""); err != nil || strings.ContainsAny(p, `/\`) {
			r.fail(e.node, e.key, p, "not a pattern of file names", "write a name with * for any text, as in VI-*.csv, without folders")
		}
	}
	return patterns
}

func (r *mapReader) charset(e entry) *charset {
	i := r.choice(e, []string{"utf-8", "utf-16", "utf-16le", "utf-16be", "windows-1252"})
	if i < 0 || i == 1 {
		return nil // its byte order mark tells the rest
	}
	c := []charset{utf8Text, utf8Text, utf16Little, utf16Big, windows1252}[i]
	return &c
}

func (r *mapReader) delimiter(e entry) byte {
	text, ok := r.text(e.node, e.key)
	if !ok {
		return ','
	}
	names := map[string]byte{"comma": ',', "semicolon": ';', "tab": '\t', "bar": '|', "space": ' ', "colon": ':'}
	if d := names[strings.ToLower(text)]; d != 0 {
		return d
	}
	const never = "\"\r\n\x00.+-0123456789"
	if len(text) != 1 || text[0] >= 0x80 || strings.Contains(never, text) {
		r.fail(e.node, e.key, text, "not a delimiter", "write comma, semicolon, tab, bar, space, colon, or one ASCII character in quotes")
		return ','
	}
	return text[0]
}

func (r *mapReader) header(s *section, e entry) {
	if !isScalar(e.node) {
		s.header.line = 0
		for _, k := range r.known(e.node, e.key, "contains") {
			s.header.contains, _ = r.text(k.node, k.key)
		}
		if s.header.contains == "" {
			r.fail(e.node, e.key, "", "no text that the header contains", "write the line of the header, none, or  {contains: text}")
		}
		return
	}
	if text := scalarText(e.node); strings.EqualFold(text, "none") {
		s.header = headerSpec{none: true, first: s.header.first}
		return
	}
	s.header.line = r.number(e.node, e.key)
}

// number reads a number of a line or a column, 1 for the first.
func (r *mapReader) number(n ast.Node, field string) int {
	text, ok := r.text(n, field)
	if !ok {
		return 0
	}
	v, err := strconv.Atoi(text)
	if err != nil || v < 1 || v > 1<<20 {
		r.fail(n, field, text, "not a number from 1", "write a whole number, 1 for the first")
		return 1
	}
	return v
}

// pattern compiles a regular expression with the given number of groups.
func (r *mapReader) pattern(n ast.Node, field, text string, groups int) *regexp.Regexp {
	const mend = "see the syntax of RE2; single quotes keep backslashes as they are"
	p, err := regexp.Compile(text)
	switch {
	case err != nil:
		r.fail(n, field, text, "not a regular expression: "+strings.TrimPrefix(err.Error(), "error parsing regexp: "), mend)
	case groups == 1 && p.NumSubexp() != 1:
		r.fail(n, field, text, "not one group in round brackets", "put the part that is wanted into one pair of round brackets, as in 'Serial: (.+)'")
	case groups == 0 && p.MatchString(""):
		r.fail(n, field, text, "it matches every row", "name what only the rows to be skipped have")
	default:
		return p
	}
	return regexp.MustCompile(`^\b$()`) // matches nothing; the map is refused anyway
}

func (r *mapReader) zone(e entry) *time.Location {
	text, ok := r.text(e.node, e.key)
	if !ok {
		return nil
	}
	zone, err := loadZone(text)
	if err != nil {
		r.fail(e.node, e.key, text, err.Error(), mendZone)
	}
	return zone
}

func (r *mapReader) layout(e entry) *timeLayout {
	text, ok := r.text(e.node, e.key)
	if !ok {
		return nil
	}
	l, err := parseLayout(text)
	if err != nil {
		r.fail(e.node, e.key, text, err.Error(), "write as in dd.MM.yyyy HH:mm:ss, or rfc3339, unix, unix-ms or excel; other letters stand in single quotes")
		return nil
	}
	return l
}

func (r *mapReader) months(e entry) []string {
	names := r.texts(e.node, e.key)
	for i := range names {
		names[i] = strings.ToLower(strings.TrimSuffix(names[i], "."))
	}
	if len(names) != 12 {
		r.fail(e.node, e.key, "", "not the names of twelve months", "list them from January on, as the log writes them")
	}
	return names
}
