package formats

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"nilvolt/record"
)

// guessColumns guesses what the columns hold, and writes numbers, zone and
// columns of the map.
func (g *guesser) guessColumns() {
	g.found = g.findColumns()
	found := g.found
	form := g.lines
	g.lines = nil
	function, hasFunction := g.findTelling("a function")
	sheet := isJobSheet(found)
	for c := RecordColumn; c <= EndColumn; c++ {
		if sheet && jobColumns.column(c.String()) == NoColumn {
			continue
		}
		if ats := found[c]; len(ats) > 0 && c != TimeColumn {
			g.guessColumn(c, ats)
		} else if c == TimeColumn {
			g.guessTimeColumn(ats)
		}
	}
	if !sheet {
		g.guessMissing(found)
	}
	if hasFunction {
		g.guessFunction(function)
	}
	g.guessIgnored()
	columns := g.lines
	g.lines = form
	if sheet {
		g.kind = jobsFile
		g.say("for: jobs", "columns of a job sheet, and none of readings")
	}
	if g.numbers.comma {
		g.say("decimal: comma", "numbers such as "+g.numberSample)
	}
	if g.numbers.thousands != 0 {
		g.say("thousands: "+yamlQuote(string(g.numbers.thousands)), "numbers such as "+g.numberSample)
	}
	if g.zone.text != "" {
		g.lines = append(g.lines, g.zone)
	}
	g.say("columns:", "")
	g.lines = append(g.lines, columns...)
}

// isJobSheet reports whether the columns are those of a job sheet.
func isJobSheet(found map[Column][]int) bool {
	for c := TimeColumn; c <= NoteColumn; c++ {
		if c != TimeColumn && c != IndicatorColumn && c != NoteColumn && len(found[c]) > 0 {
			return false
		}
	}
	return len(found[RecordColumn]) > 0 && len(found[SupplyColumn])+len(found[EarthingColumn])+len(found[StartColumn])+len(found[CircuitColumn]) > 0
}

// findColumns returns which columns of the file may be which, by their names.
func (g *guesser) findColumns() map[Column][]int {
	found := make(map[Column][]int)
	for at, name := range g.header {
		if c := namedColumn(name); c != NoColumn {
			found[c] = append(found[c], at)
		}
	}
	g.settleIndicator(found)
	if len(found[VoltsColumn])+len(found[StageColumn]) == 0 {
		for at, name := range g.header {
			if nameUnit(name) == strings.TrimSpace(name) && name != "" { // called by its unit alone
				found[VoltsColumn] = append(found[VoltsColumn], at)
			}
		}
	}
	isVolts := func(at int) bool { return g.everyCell(at, isVoltsCell) && slices.ContainsFunc(g.cells(at), holdsDigit) }
	if slices.ContainsFunc(found[VoltsColumn], isVolts) { // it goes before words such as "pass"
		found[VoltsColumn] = slices.DeleteFunc(found[VoltsColumn], func(at int) bool { return !isVolts(at) })
	}
	g.settleEarthing(found)
	if ats := found[PointColumn]; len(ats) == 1 && len(found[PairColumn]) == 0 && g.everyCell(ats[0], isPairCell) {
		delete(found, PointColumn) // "test point" may be a place, or two conductors as here
	}
	return found
}

// settleEarthing takes the columns of the earthing from those that may be the supply: a
// name such as Netzform may mean either, and their cells tell.
func (g *guesser) settleEarthing(found map[Column][]int) {
	isEarthing := func(at int) bool {
		return g.everyCell(at, func(cell string) bool { _, known := guessWord(EarthingColumn, cell); return known })
	}
	for _, at := range found[SupplyColumn] {
		if isEarthing(at) {
			found[EarthingColumn] = append(found[EarthingColumn], at)
		}
	}
	found[SupplyColumn] = slices.DeleteFunc(found[SupplyColumn], isEarthing)
}

// ref writes how the map names a column of the file.
func (g *guesser) ref(at int) string {
	if g.header == nil || g.header[at] == "" {
		return strconv.Itoa(at + 1)
	}
	for other, name := range g.header {
		if other != at && foldWord(name) == foldWord(g.header[at]) {
			return strconv.Itoa(at + 1)
		}
	}
	return yamlText(g.header[at])
}

// describe says what a column looks like.
func (g *guesser) describe(at int) string {
	cells := g.cells(at)
	if len(cells) == 0 {
		return "column " + strconv.Itoa(at+1) + ", blank"
	}
	return fmt.Sprintf("column %d, as in %s", at+1, strconv.Quote(clip(cells[0])))
}

// guessColumn writes one column, or the choice between several.
func (g *guesser) guessColumn(c Column, ats []int) {
	at := ats[max(0, slices.IndexFunc(ats, func(a int) bool { return g.doubtOf(c, a) == "" }))]
	var names []string
	for _, a := range ats {
		g.used[a] = true
		names = append(names, g.ref(a))
		if nameKey(g.header[a]) == c.String() {
			at = a
		}
	}
	if len(ats) > 1 {
		g.doubt(fmt.Sprintf("#   %s: %s", c, g.ref(at)), "several columns may be "+c.String()+": "+strings.Join(names, ", ")+". Name one, and the others under ignore")
		return
	}
	if why := g.doubtOf(c, at); why != "" {
		g.doubt(fmt.Sprintf("#   %s: %s", c, g.ref(at)), g.describe(at)+": "+why)
		return
	}
	switch contentOf(c) {
	case readingContent, stageContent, voltsContent:
		g.guessVolts(c, at)
	case timeContent:
		g.guessTime(c, at, -1)
	case wordContent, conductorContent, pairContent:
		g.guessWordColumn(c, at)
	default:
		if c == SourceColumn {
			g.guessWordColumn(c, at)
			return
		}
		g.sayColumn(c, at, "", g.describe(at))
	}
}

// sayColumn writes a sure column with options in flow style.
func (g *guesser) sayColumn(c Column, at int, options, comment string) {
	if options == "" {
		g.say(fmt.Sprintf("  %s: %s", c, g.ref(at)), comment)
		return
	}
	g.say(fmt.Sprintf("  %s: {column: %s, %s}", c, g.ref(at), options), comment)
}

// guessTimeColumn writes the time, which may stand in two columns.
func (g *guesser) guessTimeColumn(ats []int) {
	for _, a := range ats {
		g.used[a] = true
	}
	switch len(ats) {
	case 0:
		g.doubt("#   time: ?", "no column has the name of a time: name it, with its layout")
	case 1:
		g.guessTime(TimeColumn, ats[0], -1)
	case 2:
		date, clock := ats[0], ats[1]
		if !g.isDate(date) {
			date, clock = clock, date
		}
		if g.isDate(date) && !g.isDate(clock) && slices.Contains(clockNames, nameKey(g.header[clock])) {
			g.guessTime(TimeColumn, date, clock)
			return
		}
		fallthrough
	default:
		g.doubt("#   time: "+g.ref(ats[0]), "several columns may be the time: name one, and the others under ignore")
	}
}

// isDate reports whether a column holds dates without a time of day.
func (g *guesser) isDate(at int) bool {
	return slices.Contains(dateNames, nameKey(g.header[at])) && len(followed(guessDates(), g.cells(at))) > 0
}

// guessWordColumn writes a column of words with their translations.
func (g *guesser) guessWordColumn(c Column, at int) {
	_, unknown := g.translations(c, g.cells(at))
	g.sayColumn(c, at, g.wordOptions(c, at), g.describe(at))
	if len(unknown) > 0 {
		g.doubt("", "words of "+c.String()+" that need a translation, or a pattern under skip: "+strings.Join(unknown, ", "))
	}
}

// translations returns the words of cells that need translating and can be, as
// "word: meaning", and those that nobody knows.
func (g *guesser) translations(c Column, cells []string) (words, unknown []string) {
	table := c
	if c == ToColumn || c == PairColumn {
		table = FromColumn
	}
	var seen, stray []string
	if table == FromColumn {
		stray = g.strayLetters()
	}
	for _, cell := range cells {
		for _, part := range wordsOf(c, cell) {
			folded := foldWord(part)
			if slices.Contains(seen, folded) {
				continue
			}
			seen = append(seen, folded)
			meaning, known := guessWord(table, part)
			switch {
			case slices.Contains(stray, folded) && folded == "t":
				unknown = append(unknown, strconv.Quote(part)+" (E where the lines are Ph, L3 where they are R, S and T)")
			case !known || slices.Contains(stray, folded):
				unknown = append(unknown, strconv.Quote(clip(part)))
			case meaning != "":
				words = append(words, yamlText(part)+": "+yamlText(meaning))
			}
		}
	}
	return words, unknown
}

// wordsOf divides a cell into its words.
func wordsOf(c Column, cell string) []string {
	if c == PairColumn {
		return pairParts(cell)
	}
	return []string{cell}
}

// strayLetters returns the phase letters that stand in the file without the two others.
func (g *guesser) strayLetters() []string {
	var words, stray []string
	for _, c := range []Column{FromColumn, ToColumn, PairColumn} {
		for _, at := range g.found[c] {
			for _, cell := range g.cells(at) {
				for _, word := range wordsOf(c, cell) {
					words = append(words, foldWord(word))
				}
			}
		}
	}
	for _, letters := range phaseLetters {
		if slices.ContainsFunc(letters, func(letter string) bool { return !slices.Contains(words, letter) }) {
			stray = append(stray, letters...)
		}
	}
	return stray
}

// guessWord returns what a word of a column means; meaning is blank where the
// word is canonical as it stands.
func guessWord(c Column, text string) (meaning string, known bool) {
	folded := foldWord(text)
	for m, words := range guessWords[c] {
		if slices.Contains(words, folded) {
			return m, true
		}
	}
	if c == FromColumn {
		conductor, err := record.ParseConductor(text)
		return "", err == nil && conductorKnown(conductor)
	}
	var s rowState
	return "", s.set(c, text) == nil
}

// conductorKnown reports whether a conductor has a designation of a supply, or of
// a switched line.
func conductorKnown(c record.Conductor) bool {
	return c.IsLine() || c.IsEarth() || c == record.N || c == record.M || strings.HasPrefix(c.String(), "SL")
}

// pairSeparators are what stands between the conductors of a pair.
var pairSeparators = []string{" to ", " nach ", " -> ", "->", "\u2192", " / ", "/", " : ", ":", " - ", "\u2013", "-", " ", "_"}

// pairParts divides a pair for looking at its names.
func pairParts(cell string) []string {
	if p, err := record.ParsePair(cell); err == nil && conductorKnown(p.A) && conductorKnown(p.B) {
		return nil
	}
	for _, s := range pairSeparators {
		if a, b, found := strings.Cut(cell, s); found && a != "" && b != "" {
			return []string{strings.TrimSpace(a), strings.TrimSpace(b)}
		}
	}
	return []string{cell}
}

// pairSeparator returns what stands between the conductors, blank where the
// canonical marks do.
func (g *guesser) pairSeparator(at int) string {
	for _, s := range pairSeparators {
		cells := g.cells(at)
		fits := len(cells) > 0 && !slices.ContainsFunc(cells, func(cell string) bool { return strings.Count(cell, s) != 1 })
		if fits {
			if trimmed := strings.TrimSpace(s); slices.Contains([]string{"/", ":", "-", "\u2013"}, trimmed) {
				return ""
			}
			return s
		}
	}
	return ""
}

// guessMissing says what no column gives by its name, and which column may give
// it by its cells.
func (g *guesser) guessMissing(found map[Column][]int) {
	if len(found[RecordColumn]) == 0 {
		g.say("", "No column has the name of a record id: each row goes to the job sheet that names its indicator at its time. "+
			"If all rows are of one record, add  record: {value: R1}  with its id.")
	}
	if len(found[EventColumn]) == 0 {
		g.guessEventByCells()
	}
	if !g.onlySteps(found[EventColumn]) {
		if len(found[IndicatorColumn]) == 0 {
			g.guessIndicator()
		}
		if len(found[PairColumn]) == 0 && (len(found[FromColumn]) == 0 || len(found[ToColumn]) == 0) {
			g.guessPairByCells()
		}
		if len(found[VoltsColumn])+len(found[StageColumn]) == 0 {
			g.doubt("#   volts: ?", "no column has the name of a voltage")
		}
	}
	if g.header == nil {
		for at, used := range g.used {
			if !used {
				g.used[at] = true
				g.doubt("", "what is this? "+g.describe(at))
			}
		}
	}
}

// onlySteps reports whether the events of the one column that tells them are all
// known, and none is a reading.
func (g *guesser) onlySteps(ats []int) bool {
	if len(ats) != 1 {
		return false
	}
	for _, cell := range g.cells(ats[0]) {
		meaning, known := guessWord(EventColumn, cell)
		kind, err := record.ParseKind(cmp.Or(meaning, cell))
		if !known || err != nil || !kind.IsStep() {
			return false
		}
	}
	return len(g.cells(ats[0])) > 0
}

// findTelling returns the column whose name tells something that is not spoken of.
func (g *guesser) findTelling(what string) (at int, found bool) {
	for at, name := range g.header {
		if !g.used[at] && tellsByName(name) == what {
			return at, true
		}
	}
	return 0, false
}

// guessFunction writes what the words of a function column mean.
func (g *guesser) guessFunction(at int) {
	g.used[at] = true
	var words, unknown []string
	var seen []string
	for _, cell := range g.cells(at) {
		folded := foldWord(cell)
		if slices.Contains(seen, folded) {
			continue
		}
		seen = append(seen, folded)
		if meaning := functionMeaning(cell); meaning != "" {
			words = append(words, yamlText(cell)+": "+meaning)
		} else {
			unknown = append(unknown, yamlText(cell))
		}
	}
	line := fmt.Sprintf("{column: %s, words: {%s}}", g.ref(at), strings.Join(words, ", "))
	if len(unknown) > 0 {
		g.doubt("# function: "+line, "words that nobody knows: say whether they are voltage, ac, dc, both or other: "+strings.Join(unknown, ", "))
		return
	}
	g.say("function: "+line, g.describe(at))
}

func functionMeaning(cell string) string {
	if u, ok := parseUnit(cell); ok {
		names := map[int]string{-6: " uV", -3: " mV", 0: "", 3: " kV"}
		if u.waveform == "" {
			return "voltage" + names[u.exponent]
		}
		return u.waveform + names[u.exponent]
	}
	switch foldWord(cell) {
	case "voltage", "volts", "volt", "spannung", "tension", "u":
		return "voltage"
	case "ac", "ac voltage", "wechselspannung":
		return "ac"
	case "dc", "dc voltage", "gleichspannung":
		return "dc"
	case "ohm", "ohms", "ω", "resistance", "widerstand", "continuity", "durchgang", "résistance", "current", "strom", "temperature", "frequency", "capacitance", "diode":
		return "other"
	}
	return ""
}

// guessIgnored says what is left over.
func (g *guesser) guessIgnored() {
	tallies := make([]tally, len(g.used))
	for _, row := range g.rows {
		for at, cell := range row.fields {
			tallies[at].add(cell)
		}
	}
	for at, name := range g.header {
		if g.used[at] || name == "" && len(g.cells(at)) == 0 {
			continue
		}
		why := tellsByName(name)
		if why == "" && tallies[at].tells() {
			why = "a unit, a range, a function or a coupling"
		}
		if why == "" {
			g.say("", "Not used: "+g.ref(at)+", "+g.describe(at)+".")
			continue
		}
		g.doubt("# ignore: ["+yamlQuote(cmp.Or(name, strconv.Itoa(at+1)))+"]", "it tells "+why+", "+g.describe(at)+": use it, or see that it changes nothing and ignore it")
	}
}
