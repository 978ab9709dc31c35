package formats

import (
	"fmt"
	"slices"
	"strings"

	"nilvolt/record"
)

// bindSection makes the layout of a file that is read by section s.
func bindSection(head, name string, s *section, set *columnSet) (*Layout, error) {
	b := &binder{section: s, set: set, file: name, layout: &Layout{Comma: s.delimiter}}
	if b.findHeader(head) {
		b.bindColumns()
		b.checkRequired()
		b.checkUnused(head)
		b.checkMeaning()
	}
	if err := b.bad.Err(); err != nil {
		return nil, err
	}
	return b.layout, nil
}

// A binder is the work of binding a section to the header of one file.
type binder struct {
	section  *section
	set      *columnSet
	file     string
	layout   *Layout
	header   []Field // the names of the columns; blank fields where there is no header
	line     int     // of the header
	preamble []string
	uses     [][]string // for each column of the file, what it is used for
	wordy    []bool     // whether all of these uses can stand in one column
	bad      BadRows
}

// fail keeps a mistake at a field of the header, nil for the header as a whole.
func (b *binder) fail(f *Field, text, message, mend string) {
	e := &RowError{Pos: record.Pos{File: b.file, Line: b.line}, Field: "header", Text: text, Message: message, Mend: mend}
	if f != nil {
		e.Pos.Line += f.Line
		e.Pos.Column = f.Column
	}
	b.bad.Add(e)
}

// findHeader finds the header and the first row.
func (b *binder) findHeader(head string) bool {
	at := 0
	if strings.HasPrefix(head, byteOrderMark) {
		at = len(byteOrderMark)
	}
	want := b.section.header
	b.line = 1
	for !b.isHeader(head[at:]) {
		end := strings.IndexByte(head[at:], '\n')
		if end < 0 {
			b.noHeader()
			return false
		}
		b.preamble = append(b.preamble, strings.TrimSuffix(head[at:at+end], "\r"))
		at += end + 1
		b.line++
	}
	fields, n, lines, problem := SplitRow(head[at:], b.section.delimiter, nil)
	if problem != nil {
		b.bad.Add(problem.At(record.Pos{File: b.file, Line: b.line}))
		return false
	}
	b.header = fields
	b.layout.FirstRow, b.layout.FirstLine = int64(at), b.line
	if want.none {
		for i := range b.header {
			b.header[i].Text = ""
		}
	} else {
		b.layout.FirstRow, b.layout.FirstLine = int64(at+n), b.line+1+lines
	}
	b.skipToFirst(head, want.first)
	b.layout.Columns = make([]Column, len(b.header))
	b.layout.mapping = &mapping{
		delimiter: string(rune(b.section.delimiter)), comment: b.section.comment, skip: b.section.skip, functionAt: -1,
	}
	b.uses, b.wordy = make([][]string, len(b.header)), make([]bool, len(b.header))
	return true
}

// isHeader reports whether rest begins with the header, or with the first row
// where there is none.
func (b *binder) isHeader(rest string) bool {
	want := b.section.header
	switch {
	case want.none:
		return b.line >= max(1, want.first)
	case want.contains != "":
		line, _, _ := strings.Cut(rest, "\n")
		return strings.Contains(line, want.contains)
	}
	return b.line >= want.line
}

func (b *binder) noHeader() {
	b.line = 0
	if contains := b.section.header.contains; contains != "" {
		b.fail(nil, contains, "no line contains this text, by which the map knows the header", "see that the map is the one for this file")
		return
	}
	b.fail(nil, "", "the file ends before the header", "see that the map is the one for this file, and that the file is complete")
}

// skipToFirst passes over the lines between the header and the first row.
func (b *binder) skipToFirst(head string, first int) {
	for l := b.layout; l.FirstLine < first; l.FirstLine++ {
		end := strings.IndexByte(head[l.FirstRow:], '\n')
		if end < 0 {
			l.FirstRow = int64(len(head))
			return
		}
		l.FirstRow += int64(end) + 1
	}
}

// find returns the place of a column that the map names, -1 if the file lacks it.
func (b *binder) find(ref *columnRef, what string) int {
	if ref.number > 0 {
		if ref.number <= len(b.header) {
			return ref.number - 1
		}
		b.fail(nil, "", fmt.Sprintf("the file has %d columns, and the map (%v) wants column %d for %s", len(b.header), ref.at, ref.number, what),
			"see that the delimiter and the column numbers of the map are right")
		return -1
	}
	found := -1
	for i, f := range b.header {
		if foldWord(f.Text) != foldWord(ref.name) {
			continue
		}
		if found >= 0 {
			b.fail(&b.header[i], f.Text, fmt.Sprintf("two columns have this name, and the map (%v) wants one of them for %s", ref.at, what),
				fmt.Sprintf("name the column by its number: %d or %d", found+1, i+1))
			return -1
		}
		found = i
	}
	if found < 0 {
		b.fail(nil, ref.name, fmt.Sprintf("no such column; the map (%v) wants it for %s", ref.at, what), "the columns of the file are "+b.names())
	}
	return found
}

// names lists the names of the file's columns.
func (b *binder) names() string {
	names := make([]string, len(b.header))
	for i, f := range b.header {
		names[i] = clip(strings.TrimSpace(f.Text))
	}
	return quoteAll(names)
}

// use notes that a column of the file is used. A use that is wordy tells one
// thing of several that the words of the column tell; any other has its column
// to itself.
func (b *binder) use(at int, what string, c Column, wordy bool) {
	if at < 0 {
		return
	}
	if len(b.uses[at]) > 0 && !(wordy && b.wordy[at]) {
		b.fail(&b.header[at], b.columnText(at), "the map uses this column twice, for "+b.uses[at][0]+" and for "+what,
			"use it once; where it holds two things, take each out with  match:")
	}
	b.wordy[at] = wordy
	if len(b.uses[at]) == 0 || !c.isFreeText() { // what decides most says whether the cell may be cut short
		b.layout.Columns[at] = c
	}
	b.uses[at] = append(b.uses[at], what)
}

func (b *binder) columnText(at int) string {
	if text := b.header[at].Text; text != "" {
		return text
	}
	return fmt.Sprintf("column %d", at+1)
}

// bindColumns makes a conversion of every column of the map, and of every column
// of the file that bears a canonical name and is not spoken of.
func (b *binder) bindColumns() {
	m := b.layout.mapping
	for _, spec := range b.section.columns {
		m.conversions = append(m.conversions, b.bindColumn(spec))
	}
	if f := b.section.function; f != nil {
		m.function = f
		m.functionAt = b.find(f.from, "function")
		b.use(m.functionAt, "function", VoltsColumn, true)
	}
	ignored := b.ignored()
	for i, f := range b.header {
		c := b.set.column(f.Text)
		if c == NoColumn || len(b.uses[i]) > 0 || ignored[i] {
			continue
		}
		if slices.ContainsFunc(m.conversions, func(v conversion) bool { return v.column == c }) {
			b.fail(&b.header[i], f.Text, "the map takes "+c.String()+" from elsewhere, and the file has a column of that name",
				fmt.Sprintf("say in the map which one counts; the other one goes under  ignore: [%q]", f.Text))
			continue
		}
		spec := &columnSpec{column: c, from: &columnRef{number: i + 1}}
		m.conversions = append(m.conversions, b.bindColumn(spec))
	}
}

// ignored returns which columns of the file the map names under ignore. It may
// name more than this file has.
func (b *binder) ignored() []bool {
	ignored := make([]bool, len(b.header))
	for i, f := range b.header {
		ignored[i] = slices.ContainsFunc(b.section.ignore, func(name string) bool {
			return foldWord(name) == foldWord(f.Text) || b.section.header.none && name == fmt.Sprint(i+1)
		})
	}
	return ignored
}

// bindColumn makes the conversion of one column.
func (b *binder) bindColumn(spec *columnSpec) conversion {
	s, what := b.section, spec.column.String()
	v := conversion{
		column: spec.column, content: contentOf(spec.column), at: -1, clockAt: -1, unitAt: -1,
		match: spec.match, words: spec.words, numbers: s.numbers, unit: spec.unit, separator: spec.separator,
		layout: spec.layout, zone: spec.zone,
	}
	if v.layout == nil && v.content == timeContent {
		v.layout = s.layout
	}
	if v.zone == nil {
		v.zone = s.zone
	}
	wordy := spec.match != nil || v.content == wordContent || spec.column == SourceColumn
	switch {
	case spec.from != nil:
		v.at = b.find(spec.from, what)
		b.use(v.at, what, spec.column, wordy)
	case spec.date != nil:
		v.at, v.clockAt = b.find(spec.date, what), b.find(spec.clock, what)
		b.use(v.at, what, spec.column, false)
		b.use(v.clockAt, what, spec.column, false)
	case spec.value != nil:
		v.value = *spec.value
	default:
		b.constant(spec, &v)
	}
	if spec.unitColumn != nil {
		v.unitAt = b.find(spec.unitColumn, "the unit of "+what)
		if v.unitAt >= 0 && (len(b.uses[v.unitAt]) == 0 || b.wordy[v.unitAt]) {
			b.use(v.unitAt, "the unit of "+what, VoltsColumn, true)
		} else if v.unitAt >= 0 {
			b.use(v.unitAt, "the unit of "+what, VoltsColumn, false)
		}
	}
	return v
}

// constant takes a text that is the same in every row from the name of the file
// or from the lines above the header.
func (b *binder) constant(spec *columnSpec, v *conversion) {
	what := spec.column.String()
	var found []string
	if spec.file != nil {
		if found = spec.file.FindStringSubmatch(baseName(b.file)); found == nil {
			b.fail(nil, baseName(b.file), "the name of the file is not of the form that the map asks for "+what, "rename the file, or correct the pattern in the map")
			return
		}
	} else {
		for _, line := range b.preamble {
			if found = spec.preamble.FindStringSubmatch(line); found != nil {
				break
			}
		}
		if found == nil {
			b.fail(nil, "", "no line above the header is of the form that the map asks for "+what, "see that the map is the one for this file")
			return
		}
	}
	c := converter{}
	text, err := c.text(v, strings.TrimSpace(found[1]))
	if err != nil {
		b.fail(nil, found[1], what+": "+err.Error(), v.mend(err))
	}
	v.value = text
}

// checkRequired asks for what a file of its kind must have.
func (b *binder) checkRequired() {
	has := func(c Column) bool {
		return slices.ContainsFunc(b.layout.mapping.conversions, func(v conversion) bool { return v.column == c })
	}
	var missing []string
	for _, c := range b.set.required {
		if !has(c) {
			missing = append(missing, c.String())
		}
	}
	if len(missing) > 0 {
		b.fail(nil, strings.Join(missing, ", "), "no such column, and the map does not say where it comes from",
			"name it under  columns:  in the map; the columns of the file are "+b.names())
	}
	if has(FromColumn) != has(ToColumn) {
		b.fail(nil, "", "one of the columns from and to stands without the other", "map both, or pair")
	}
}

// checkUnused looks at the columns of the file that are neither used nor ignored.
func (b *binder) checkUnused(head string) {
	ignored := b.ignored()
	tallies := b.tallyCells(head)
	for i := range b.header {
		f := &b.header[i]
		if ignored[i] || len(b.uses[i]) > 0 {
			continue
		}
		why := tellsByName(f.Text)
		if why == "" && tallies[i].tells() {
			why = "a unit, a range, a function or a coupling (its cells do)"
		}
		if why != "" {
			b.fail(f, b.columnText(i), "a column that tells "+why+" cannot be ignored without saying so",
				fmt.Sprintf("use it in the map, or say  ignore: [%q]", strings.TrimPrefix(b.columnText(i), "column ")))
		}
	}
}

// tallyCells counts the cells of every column in the rows of head.
func (b *binder) tallyCells(head string) []tally {
	tallies := make([]tally, len(b.header))
	var fields []Field
	for text := head[min(int(b.layout.FirstRow), len(head)):]; text != ""; {
		row, n, _, problem := SplitRow(text, b.layout.Comma, fields[:0])
		fields = row
		if problem != nil {
			break // the decoder reports it
		}
		if len(row) == len(tallies) && !b.layout.mapping.skips(row) {
			for i := range row {
				tallies[i].add(row[i].Text)
			}
		}
		text = text[n:]
	}
	return tallies
}

// checkMeaning holds what the names of used columns tell against the map, and
// asks for the zone of local times.
func (b *binder) checkMeaning() {
	m := b.layout.mapping
	tellsWaveform := m.function != nil || slices.ContainsFunc(m.conversions, func(v conversion) bool { return v.column == WaveformColumn })
	for i := range m.conversions {
		v := &m.conversions[i]
		if v.at < 0 {
			continue
		}
		switch v.content {
		case readingContent, stageContent, voltsContent:
			b.checkUnitOfName(v)
			if waveform := waveformOfName(b.header[v.at].Text); waveform != "" && !tellsWaveform && v.content == readingContent {
				b.fail(&b.header[v.at], b.header[v.at].Text, "the name tells that the voltage is "+waveform+", and the map does not",
					fmt.Sprintf("say  waveform: {value: %s}  under  columns:  in the map", waveform))
			}
		case timeContent:
			if v.layout != nil && v.layout.needsZone() && v.zone == nil {
				b.fail(&b.header[v.at], b.header[v.at].Text, "times without an offset need a zone", "say in the map, or on the command line, in which zone the clock ran, as in  zone: Europe/Berlin")
			}
		default: // a name tells nothing of other columns
		}
	}
}

// checkUnitOfName holds the unit in the name of a column against that of the map.
func (b *binder) checkUnitOfName(v *conversion) {
	f := &b.header[v.at]
	_, text := cutNameUnit(f.Text)
	named, known := parseUnit(text)
	switch {
	case !known || v.unitAt >= 0:
	case v.unit == nil && named.exponent != 0:
		b.fail(f, f.Text, "the name tells a unit that is not V, and the map none", "say  unit: "+text+"  for "+v.column.String()+" in the map")
	case v.unit != nil && v.unit.exponent != named.exponent:
		b.fail(f, f.Text, "the name tells one unit and the map another", "correct the unit in the map, or the header of the file")
	}
}
