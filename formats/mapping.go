package formats

import (
	"regexp"
	"strings"
	"time"
)

// A mapping brings the fields of a foreign row into canonical text. It is not
// changed once it is bound.
type mapping struct {
	delimiter   string
	comment     string
	skip        []*regexp.Regexp
	function    *functionSpec
	functionAt  int // place of the function column; -1 for none
	conversions []conversion
}

// A conversion makes the canonical text of one column.
type conversion struct {
	column    Column
	content   content
	at        int    // place of the file's column; -1 where value is the text of every row
	clockAt   int    // place of the time of day, where the date stands alone; -1 otherwise
	unitAt    int    // place of the unit column; -1 for none
	value     string // canonical
	match     *regexp.Regexp
	words     map[string]string
	numbers   numberForm
	unit      *unit // nil where neither map nor header names one
	layout    *timeLayout
	zone      *time.Location
	separator string
}

// skips reports whether a row is a comment or a footer.
func (m *mapping) skips(fields []Field) bool {
	if m.comment != "" && len(fields) > 0 && !fields[0].Quoted && strings.HasPrefix(fields[0].Text, m.comment) {
		return true
	}
	if len(m.skip) == 0 {
		return false
	}
	row := fields[0].Text
	if len(fields) > 1 {
		texts := make([]string, len(fields))
		for i := range fields {
			texts[i] = fields[i].Text
		}
		row = strings.Join(texts, m.delimiter)
	}
	for _, p := range m.skip {
		if p.MatchString(row) {
			return true
		}
	}
	return false
}

// translate looks a word up; found is false when the map does not translate it.
func translate(words map[string]string, text string) (word string, found bool) {
	if len(words) == 0 {
		return "", false
	}
	if word, found = words[text]; found {
		return word, true
	}
	word, found = words[foldWord(text)]
	return word, found
}
