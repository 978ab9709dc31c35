package formats

import (
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"nilvolt/record"
)

// A content says what kind of text a canonical column holds, and so how a cell
// is brought into it.
type content uint8

const (
	textContent       content = iota // an id or free text
	wordContent                      // one word of a list
	readingContent                   // volts as an instrument showed them
	stageContent                     // a step as an instrument showed it
	voltsContent                     // volts that were written down
	voltsListContent                 // several of these
	numberContent                    // a number without a unit
	timeContent                      // a date with a time of day
	dateContent                      // a date
	conductorContent                 // one conductor
	pairContent                      // two conductors
	conductorsContent                // any number of them
)

// contentOf says what column c holds.
func contentOf(c Column) content {
	switch c {
	case EventColumn, WaveformColumn, SwitchColumn, SideColumn, SupplyColumn, EarthingColumn, PolesColumn, OnLoadColumn,
		CategoryColumn, SupplySideLiveColumn, KindColumn, SensesColumn, ReferenceColumn:
		return wordContent
	case VoltsColumn:
		return readingContent
	case StageColumn:
		return stageContent
	case ExpectedColumn, NominalColumn, MaxVoltsColumn:
		return voltsContent
	case StagesColumn, OutputColumn:
		return voltsListContent
	case SeqColumn, ToleranceColumn, IntervalDaysColumn:
		return numberContent
	case TimeColumn, StartColumn, EndColumn:
		return timeContent
	case ServicedColumn, WithdrawnColumn:
		return dateContent
	case FromColumn, ToColumn:
		return conductorContent
	case PairColumn:
		return pairContent
	case ConductorsColumn, SwitchedColumn:
		return conductorsContent
	}
	return textContent
}

// keys returns the keys that the map can have for a column of this content. What
// an instrument showed, and when, is no constant: it would make readings that
// nobody took.
func (c content) keys() []string {
	keys := []string{"column", "match"}
	switch c {
	case readingContent, stageContent:
		return append(keys, "words", "unit", "unit_column")
	case voltsContent:
		return append(keys, "value", "preamble", "file", "words", "unit", "unit_column")
	case voltsListContent:
		return append(keys, "value", "preamble", "file", "words", "unit", "separator")
	case numberContent:
		return keys
	case timeContent:
		return append(keys, "date", "clock", "layout", "zone")
	case dateContent:
		return append(keys, "layout")
	case pairContent, conductorsContent:
		return append(keys, "value", "preamble", "file", "words", "separator")
	default:
		return append(keys, "value", "preamble", "file", "words")
	}
}

// columns reads the columns of a document.
func (r *mapReader) columns(s *section, e entry) {
	set := s.kind.columns()
	for _, k := range r.entries(e.node, e.key) {
		c := NoColumn
		for i := NoColumn + 1; i < NumColumns; i++ {
			if i.String() == k.key && set.has(i) {
				c = i
			}
		}
		if c == NoColumn {
			r.fail(k.at, e.key, k.key, "no such column of "+set.what, set.what+" have the columns "+set.names())
			continue
		}
		s.columns = append(s.columns, r.column(c, k))
	}
}

// column reads where one canonical column comes from: the name or number of a
// column of the file, or a mapping.
func (r *mapReader) column(c Column, k entry) *columnSpec {
	spec := &columnSpec{column: c, at: r.place(k.at)}
	if isScalar(k.node) {
		spec.from = r.ref(k.node, k.key)
		return spec
	}
	for _, o := range r.known(k.node, k.key, contentOf(c).keys()...) {
		r.option(spec, o)
	}
	r.checkColumn(spec, k)
	return spec
}

// ref reads the name of a column of the file, or its number.
func (r *mapReader) ref(n ast.Node, field string) *columnRef {
	ref := &columnRef{at: r.place(n)}
	if _, isNumber := n.(*ast.IntegerNode); isNumber {
		ref.number = r.number(n, field)
		return ref
	}
	ref.name, _ = r.text(n, field)
	if strings.TrimSpace(ref.name) == "" {
		r.fail(n, field, ref.name, "a blank name of a column", "name a column without a name by its number, 1 for the first")
	}
	return ref
}

// option reads one key of a column.
func (r *mapReader) option(spec *columnSpec, o entry) {
	switch o.key {
	case "column":
		spec.from = r.ref(o.node, o.key)
	case "value":
		if text, ok := r.text(o.node, o.key); ok {
			spec.value = &text
			r.checkWord(spec.column, text, o)
		}
	case "preamble":
		spec.preamble = r.groupPattern(o)
	case "file":
		spec.file = r.groupPattern(o)
	case "date":
		spec.date = r.ref(o.node, o.key)
	case "clock":
		spec.clock = r.ref(o.node, o.key)
	case "match":
		spec.match = r.groupPattern(o)
	case "words":
		spec.words = r.words(spec.column, o)
	case "unit":
		text, ok := r.text(o.node, o.key)
		u, known := parseUnit(text)
		if ok && (!known || u.waveform != "") {
			r.fail(o.node, o.key, text, "unknown unit", "write uV, mV, V or kV")
		}
		spec.unit = &u
	case "unit_column":
		spec.unitColumn = r.ref(o.node, o.key)
	case "layout":
		spec.layout = r.layout(o)
	case "zone":
		spec.zone = r.zone(o)
	case "separator":
		spec.separator, _ = r.text(o.node, o.key)
	}
}

func (r *mapReader) groupPattern(o entry) *regexp.Regexp {
	text, ok := r.text(o.node, o.key)
	if !ok {
		return nil
	}
	return r.pattern(o.node, o.key, text, 1)
}

// checkColumn sees that a column has one source.
func (r *mapReader) checkColumn(spec *columnSpec, k entry) {
	sources := 0
	for _, given := range []bool{
		spec.from != nil, spec.value != nil, spec.preamble != nil, spec.file != nil, spec.date != nil || spec.clock != nil,
	} {
		if given {
			sources++
		}
	}
	if sources != 1 && r.bad.Total == 0 {
		r.fail(k.at, "columns", k.key, "it has not one source", "give exactly one of "+strings.Join(sourceKeys(spec.column), ", "))
	}
	if (spec.date == nil) != (spec.clock == nil) {
		r.fail(k.at, "columns", k.key, "one of date and clock stands without the other", "name both, or use  column:")
	}
}

func sourceKeys(c Column) []string {
	all := contentOf(c).keys()
	return slices.DeleteFunc([]string{"column", "value", "preamble", "file", "date with clock"}, func(key string) bool {
		return !slices.Contains(all, strings.TrimSuffix(key, " with clock"))
	})
}

// words reads translations into the words of column c.
func (r *mapReader) words(c Column, o entry) map[string]string {
	words := make(map[string]string)
	for _, w := range r.entries(o.node, o.key) {
		text, ok := r.text(w.node, w.key)
		if !ok {
			continue
		}
		folded := foldWord(w.key)
		if _, twice := words[folded]; twice {
			r.fail(w.at, o.key, w.key, "the word stands twice (case does not matter)", "keep one of the two")
		}
		words[folded], words[w.key] = text, text // as it is written, it is found without folding
		r.checkWord(c, text, w)
		if c == VoltsColumn && isOverflow(w.key) && !isOverflow(text) {
			r.fail(w.node, o.key, w.key, "beyond the range is live, and no word makes it less", "leave the word out, or translate it to OL")
		}
	}
	return words
}

// isOverflow reports whether an instrument that shows text is beyond its range.
func isOverflow(text string) bool {
	reading, err := record.ParseReading(text)
	return err == nil && reading.State == record.Overflow
}

// checkWord sees that column c can hold a text that the map itself gives.
func (r *mapReader) checkWord(c Column, text string, at entry) {
	message, mend := "", registerMends[c]
	if mend == "" {
		mend = columnMends[c]
	}
	switch contentOf(c) {
	case readingContent:
		reading, err := record.ParseReading(text)
		if err != nil || reading.State == record.Shown || reading.State == record.Absent {
			message, mend = "a word cannot stand for a number of volts", "translate it to --- (no value) or OL (beyond the range)"
		}
	case pairContent:
		_, pairErr := record.ParsePair(text)
		_, nameErr := record.ParseConductor(text)
		if pairErr != nil && nameErr != nil {
			message = pairErr.Error()
		}
	case conductorContent, conductorsContent, wordContent, voltsContent, voltsListContent, stageContent:
		var s rowState
		if err := s.set(c, text); err != nil {
			message = err.Error()
		}
		var i record.Instrument
		if err := setInstrument(&i, c, text); err != nil && text != "" {
			message = err.Error()
		}
	default: // any text
	}
	if message != "" {
		r.fail(at.node, c.String(), text, message, mend)
	}
}

// function reads the column that tells what was measured.
func (r *mapReader) function(e entry) *functionSpec {
	f := &functionSpec{}
	for _, k := range r.known(e.node, e.key, "column", "words") {
		if k.key == "column" {
			f.from = r.ref(k.node, k.key)
			continue
		}
		f.words = make(map[string]function)
		for _, w := range r.entries(k.node, k.key) {
			text, _ := r.text(w.node, w.key)
			f.words[foldWord(w.key)] = r.functionWord(w, text)
			f.words[w.key] = f.words[foldWord(w.key)]
		}
	}
	if (f.from == nil || f.words == nil) && r.bad.Total == 0 {
		r.fail(e.at, e.key, "", "it needs column and words",
			"name the column, and under words what its words mean: voltage, ac, dc, both or other")
	}
	return f
}

const mendFunction = "write voltage, ac, dc or both, with mV or kV behind it where the numbers are not in V, or other for what is no voltage"

// functionWord reads what one word of the function column means, as in "dc mV".
func (r *mapReader) functionWord(w entry, text string) function {
	f := function{voltage: true}
	for part := range strings.FieldsSeq(text) {
		switch lower := strings.ToLower(part); lower {
		case "voltage":
		case "ac", "dc", "both":
			f.waveform = lower
		case "other":
			f.voltage = false
		default:
			u, ok := parseUnit(part)
			if !ok || u.waveform != "" {
				r.fail(w.node, "function", text, "unknown meaning", mendFunction)
				return f
			}
			f.unit = &u
		}
	}
	if text == "" {
		r.fail(w.node, "function", text, "no meaning", mendFunction)
	}
	if u, ok := unitWithin(w.key); ok && u.exponent != 0 && f.voltage && f.unit == nil {
		r.fail(w.node, "function", w.key, "this word tells a unit that is not V", "say whether the numbers are in it, as in  dc mV  or  dc V")
	}
	return f
}

// unitWithin finds a voltage unit among the words of a function.
func unitWithin(text string) (unit, bool) {
	if u, ok := parseUnit(text); ok {
		return u, true
	}
	for part := range strings.FieldsSeq(text) {
		if u, ok := parseUnit(part); ok {
			return u, true
		}
	}
	return unit{}, false
}
