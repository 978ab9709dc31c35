package formats

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"nilvolt/record"
)

// Convert brings the fields of a row into canonical text by column. A comment, a
// footer and a row whose function is not voltage are Skipped. Of a row with
// another number of fields than the header nothing is made. It is safe for
// concurrent use.
func (l *Layout) Convert(fields []Field, row *Row) (Use, []*Problem) {
	*row = Row{}
	m := l.mapping
	if m != nil && m.skips(fields) {
		return Skipped, nil
	}
	if len(fields) != len(l.Columns) {
		return Reading, nil
	}
	if m == nil {
		for i, f := range fields {
			row[l.Columns[i]] = f
		}
		row[NoColumn] = Field{}
		return Reading, nil
	}
	c := converter{fields: fields, row: row}
	c.function = m.readFunction(fields)
	for i := range m.conversions {
		c.convert(&m.conversions[i])
	}
	return c.finish(m)
}

// A converter is the work on one row.
type converter struct {
	fields   []Field
	row      *Row
	function rowFunction
	waveform waveforms // what the cells of the row say beside the waveform column
	problems []*Problem
}

// A rowFunction is what the function column says in one row.
type rowFunction struct {
	function
	known bool // the word is in the map
}

// waveforms is what the units of a row say of the waveform.
type waveforms struct{ ac, dc bool }

func (w *waveforms) add(word string) {
	w.ac = w.ac || word == "ac"
	w.dc = w.dc || word == "dc"
}

func (m *mapping) readFunction(fields []Field) rowFunction {
	if m.function == nil {
		return rowFunction{function{voltage: true}, true}
	}
	text := fields[m.functionAt].Text
	f, known := m.function.words[text]
	if !known {
		f, known = m.function.words[foldWord(text)]
	}
	return rowFunction{f, known}
}

// fail keeps a problem of one cell.
func (c *converter) fail(column Column, f Field, message, mend string) {
	c.problems = append(c.problems, problemAt(column, &f, message, mend))
}

// convert makes the text of one column.
func (c *converter) convert(v *conversion) {
	if v.at < 0 {
		c.row[v.column] = Field{Text: v.value}
		return
	}
	f := c.fields[v.at]
	text, err := c.text(v, strings.Trim(f.Text, " \t\u00a0"))
	if err != nil {
		c.fail(v.column, f, err.Error(), v.mend(err))
		c.row[v.column] = Field{Column: f.Column, Line: f.Line, Refused: true}
		return
	}
	f.Text = text
	c.row[v.column] = f
}

var (
	errNoMatch   = errors.New("not of the form that the map asks for with match")
	errCutNumber = errors.New("the map's match takes a part of a number, or leaves its unit behind")
)

// isVoltage reports whether the column holds a voltage.
func (v *conversion) isVoltage() bool {
	return v.content == readingContent || v.content == stageContent || v.content == voltsContent
}

// cutsNumber reports whether what a match leaves before and behind its part
// belongs to the number in it: 12 of 12.9, 0.4 of 0.4 kV, 5 of >5.
func cutsNumber(before, after string) bool {
	const marks = "0123456789.,'"
	if strings.HasSuffix(strings.TrimRight(before, " "), ">") || before != "" && strings.Contains(marks, before[len(before)-1:]) {
		return true
	}
	if exponent, _ := cutExponent(after); exponent != "" {
		return true
	}
	if digits := strings.TrimLeft(after, ".,'"); digits != "" && '0' <= digits[0] && digits[0] <= '9' {
		return true
	}
	word := strings.TrimLeft(after, " \t\u00a0\u202f")
	if end := strings.IndexFunc(word, func(r rune) bool { return !unicode.IsLetter(r) && r != '~' && r != '\u00b5' }); end >= 0 {
		word = word[:end]
	}
	_, isUnit := parseUnit(word)
	return isUnit
}

// text makes the canonical text of a cell, blanks around it removed.
func (c *converter) text(v *conversion, cell string) (string, error) {
	if v.match != nil && cell != "" {
		found := v.match.FindStringSubmatchIndex(cell)
		if found == nil {
			return "", errNoMatch
		}
		from, to := max(0, found[2]), max(0, found[3]) // -1 where the group has no part in the match
		if v.isVoltage() && cutsNumber(cell[:from], cell[to:]) {
			return "", errCutNumber
		}
		cell = strings.TrimSpace(cell[from:to])
	}
	if cell == "" && v.clockAt < 0 {
		return "", nil
	}
	if word, found := translate(v.words, cell); found && v.isWhole(word) {
		return word, nil
	}
	switch v.content {
	case readingContent, stageContent, voltsContent:
		return c.volts(v, cell)
	case voltsListContent:
		return v.voltsList(cell)
	case numberContent:
		return v.numbers.plain(cell)
	case timeContent:
		return c.time(v, cell)
	case dateContent:
		return v.date(cell)
	case pairContent:
		return v.pair(cell)
	case conductorsContent:
		return v.conductors(cell)
	default:
		return cell, nil
	}
}

// isWhole reports whether the translation of a whole cell is the text of the
// column, rather than of one of its parts.
func (v *conversion) isWhole(word string) bool {
	switch v.content {
	case pairContent:
		p, err := record.ParsePair(word)
		return err == nil && p.IsSet()
	case conductorsContent, voltsListContent:
		return false
	default:
		return true
	}
}

// mend says what to do about a cell that could not be brought into canonical text.
func (v *conversion) mend(err error) string {
	switch {
	case errors.Is(err, errCutNumber):
		return "let the group of the pattern take the whole number, with its sign and unit"
	case errors.Is(err, errNoMatch):
		return "correct the cell, or the pattern in the map"
	case errors.Is(err, errUnit), errors.Is(err, errNoUnit):
		return "give the unit as uV, mV, V or kV; what is no voltage is told by the function column of the map"
	case errors.Is(err, errNumberForm), errors.Is(err, errGroups):
		return "see that  decimal  and  thousands  of the map are those of the file, and that the cell holds one number"
	}
	switch v.content {
	case timeContent:
		if v.layout != nil && errors.Is(err, errTimeLayout) {
			return "the map says " + v.layout.text + ": correct the row, or the map"
		}
		if errors.Is(err, errNoDate) {
			return "correct the row; see that day and month are not the other way round in the map"
		}
		if _, ok := errors.AsType[clockChangeError](err); ok {
			return mendClockChange
		}
		return mendTime
	case dateContent:
		return "write the date as the map says, or as in 2026-03-02"
	default:
		return "correct the cell, or translate its words in the map"
	}
}

var errNoUnit = errors.New("a number without a unit: the unit column is blank")

// volts makes volts of a cell: its own unit wins over the unit column, that over
// the word of the function column, that over map and header.
func (c *converter) volts(v *conversion, cell string) (string, error) {
	given, unitErr := c.unit(v)
	text, waveform, err := v.numbers.volts(cell, given)
	if err != nil {
		return "", err
	}
	if unitErr != nil && strings.ContainsAny(cell, "0123456789") {
		if _, rest, err := v.numbers.cut(cell); err != nil || rest == "" {
			return "", unitErr
		}
	}
	c.waveform.add(waveform)
	return text, nil
}

// unit returns the unit of a number that has none of its own.
func (c *converter) unit(v *conversion) (u unit, err error) {
	if v.unitAt >= 0 {
		text := strings.TrimSpace(c.fields[v.unitAt].Text)
		if text != "" {
			u, known := parseUnit(text)
			if !known {
				return unit{}, fmt.Errorf("%w: the unit column says %q", errUnit, text)
			}
			return u, nil
		}
		if v.unit == nil {
			return unit{}, errNoUnit
		}
	}
	if c.function.unit != nil {
		return *c.function.unit, nil
	}
	if v.unit != nil {
		return *v.unit, nil
	}
	return unit{}, nil
}

// voltsList makes voltages with blanks between them.
func (v *conversion) voltsList(cell string) (string, error) {
	given := unit{}
	if v.unit != nil {
		given = *v.unit
	}
	var list []string
	for _, part := range v.parts(cell) {
		if word, found := translate(v.words, part); found {
			part = word
		} else if text, _, err := v.numbers.volts(part, given); err != nil {
			return "", err
		} else {
			part = text
		}
		list = append(list, part)
	}
	return strings.Join(list, " "), nil
}

// parts divides a list.
func (v *conversion) parts(cell string) []string {
	if v.separator == "" {
		return strings.Fields(cell)
	}
	var parts []string
	for part := range strings.SplitSeq(cell, v.separator) {
		if part = strings.TrimSpace(part); part != "" {
			parts = append(parts, part)
		}
	}
	return parts
}

// conductors makes names with blanks between them.
func (v *conversion) conductors(cell string) (string, error) {
	parts := v.parts(cell)
	for i, part := range parts {
		if word, found := translate(v.words, part); found {
			parts[i] = word
		} else if strings.ContainsAny(part, " \t") {
			return "", fmt.Errorf("not a conductor name: %q", part)
		}
	}
	return strings.Join(parts, " "), nil
}

// pair makes two conductors with a '/' between them. Without translations and
// separator the cell is left to the decoder as it is.
func (v *conversion) pair(cell string) (string, error) {
	if v.separator != "" {
		a, b, found := strings.Cut(cell, v.separator)
		if !found || strings.Contains(b, v.separator) {
			return "", fmt.Errorf("not two conductors with %q between them", v.separator)
		}
		return v.conductor(a) + "/" + v.conductor(b), nil
	}
	if len(v.words) == 0 {
		return cell, nil
	}
	var found []string
	for i, r := range cell {
		if !strings.ContainsRune("/:-\u2013", r) {
			continue
		}
		a, b := v.conductor(cell[:i]), v.conductor(cell[i+len(string(r)):])
		if p, err := record.ParsePair(a + "/" + b); err == nil && p.IsSet() {
			found = append(found, a+"/"+b)
		}
	}
	switch len(found) {
	case 0:
		return cell, nil
	case 1:
		return found[0], nil
	}
	return "", errors.New("a pair that can be divided in two ways")
}

func (v *conversion) conductor(name string) string {
	name = strings.TrimSpace(name)
	if word, found := translate(v.words, name); found {
		return word
	}
	return name
}

// finish brings what the cells of the row said of the waveform together, and
// decides what the row is.
func (c *converter) finish(m *mapping) (Use, []*Problem) {
	kind, _ := record.ParseKind(c.row[EventColumn].Text)
	if m.function != nil && !kind.IsStep() {
		cell := c.fields[m.functionAt]
		switch {
		case !c.function.known:
			message := "a function that the map does not know"
			if isBlank(cell.Text) {
				message = "a reading without a function"
			}
			c.problems = append(c.problems, &Problem{
				Column: cell.Column, Line: cell.Line, Field: "function", Text: cell.Text, Message: message,
				Mend: "put the word " + strconv.Quote(strings.TrimSpace(cell.Text)) + " under  function: words:  as voltage, ac, dc, both or other",
			})
		case !c.function.voltage:
			return Skipped, nil
		}
	}
	c.mergeWaveform()
	return Reading, c.problems
}

// mergeWaveform holds the waveform column, the function and the units of the row
// against each other; ac and dc in one row is a problem, ac or dc beside both is
// the more exact word.
func (c *converter) mergeWaveform() {
	f := &c.row[WaveformColumn]
	column := strings.ToLower(strings.TrimSpace(f.Text))
	said := c.waveform
	said.add(column)
	said.add(c.function.waveform)
	switch {
	case said.ac && said.dc:
		c.fail(WaveformColumn, *f, "the row says ac in one place and dc in another (waveform, function, unit)",
			"correct the row, or the words of the map")
	case said.ac && column != "ac":
		c.setWaveform("ac")
	case said.dc && column != "dc":
		c.setWaveform("dc")
	case column == "" && c.function.waveform == "both":
		c.setWaveform("both")
	}
}

// setWaveform sets the waveform unless the column holds a word that the decoder
// must refuse.
func (c *converter) setWaveform(word string) {
	if f := &c.row[WaveformColumn]; isBlank(f.Text) || strings.EqualFold(strings.TrimSpace(f.Text), "both") {
		f.Text = word
	}
}
