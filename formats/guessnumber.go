package formats

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// guessVolts writes a column of voltages: its unit, and what its numbers tell of
// the decimal mark.
func (g *guesser) guessVolts(c Column, at int) {
	cells := g.cells(at)
	comment := g.describe(at)
	if words := unknownReadings(c, cells); len(words) > 0 {
		if !slices.ContainsFunc(cells, holdsDigit) {
			g.doubt(fmt.Sprintf("#   %s: %s", c, g.ref(at)), comment+": no cell is a number: see which column holds the volts")
			return
		}
		g.doubt("", "cells of "+c.String()+" that are no number: "+strings.Join(words, ", ")+". See that the column holds volts; what is no value goes under  words:  as ---")
	}
	if k := slices.IndexFunc(cells, isOrdinal); c == StageColumn && k >= 0 {
		g.doubt(fmt.Sprintf("#   %s: %s", c, g.ref(at)), comment+": "+strconv.Quote(cells[k])+" may be the number of a step rather than its volts: if so, name under  words:  the volts of each")
		return
	}
	g.guessMarks(at, c)
	var options []string
	named, noUnit := "", false
	if g.header != nil {
		named = nameUnit(g.header[at])
	}
	bare, units := bareNumbers(cells)
	unitAt, hasUnit := g.findUnitColumn()
	switch {
	case hasUnit && c == VoltsColumn:
		g.used[unitAt] = true
		options = append(options, "unit_column: "+g.ref(unitAt))
		comment += "; the unit stands in column " + strconv.Itoa(unitAt+1)
		if bad := g.unknownUnits(unitAt); len(bad) > 0 {
			g.doubt("", "units that are no voltage: "+strings.Join(bad, ", ")+". Name the column that tells the function, or skip these rows")
		}
	case named != "":
		u, _ := parseUnit(named)
		options = append(options, "unit: "+unitName(u))
		comment += "; the name tells the unit"
	case bare == 0 && units > 0:
		comment += "; every number has its unit"
	case hasUnit && bare > 0:
		g.doubt("", "is "+g.ref(at)+" in the unit of the unit column? Write  unit_column:  or  unit:  for "+c.String())
	case g.header != nil && strings.Contains(nameKey(g.header[at]), "volt") && !strings.Contains(nameKey(g.header[at]), "voltage"):
		comment += "; the name tells the unit"
	case c == ExpectedColumn && foldWord(g.header[at]) == "expected":
		comment += "; the name is canonical, volts"
	case c == StageColumn || c == NominalColumn:
	case bare > 0:
		noUnit = true
	}
	if waveform := g.nameWaveform(at); waveform != "" && c == VoltsColumn {
		g.say("  waveform: {value: "+waveform+"}", "the name of "+g.ref(at))
	}
	if noUnit {
		g.doubt(fmt.Sprintf("#   %s: {column: %s, unit: V}", c, g.ref(at)), comment+": nothing tells whether that is V, mV or kV")
		return
	}
	g.sayColumn(c, at, strings.Join(options, ", "), comment)
}

// nameWaveform is the waveform in the name of a column, where no column tells it.
func (g *guesser) nameWaveform(at int) string {
	for other, name := range g.header {
		if c := readingColumns.column(nameKey(name)); other != at && c == WaveformColumn || tellsByName(name) == "a function" {
			return ""
		}
	}
	return waveformOfName(g.header[at])
}

// isVoltsCell reports whether a cell is a number in some form, with or without a unit, or
// a word for no value or for beyond the range.
func isVoltsCell(cell string) bool {
	if !holdsDigit(cell) || cell[0] == '>' {
		return isNoValue(cell) || isOverflow(cell)
	}
	return slices.ContainsFunc(numberForms, func(f numberForm) bool { _, _, err := f.volts(cell, unit{}); return err == nil })
}

// isNoValue reports whether a cell without a digit says that there is no value, as ---,
// ERR and the errors of worksheets do.
func isNoValue(cell string) bool {
	return cell[0] == '#' || !strings.ContainsFunc(cell, unicode.IsLetter) ||
		slices.Contains([]string{"err", "error", "fehler", "erreur", "n/a", "n.a.", "nan"}, strings.ToLower(cell))
}

// unknownReadings returns the words among voltages of which nobody knows what they mean.
func unknownReadings(c Column, cells []string) []string {
	var words []string
	for _, cell := range cells {
		known := holdsDigit(cell) || isVoltsCell(cell) || c == StageColumn && strings.EqualFold(cell, "none")
		if word := strconv.Quote(clip(cell)); !known && len(words) < 5 && !slices.Contains(words, word) {
			words = append(words, word)
		}
	}
	return words
}

// isOrdinal reports whether a cell may count the steps of an indicator: a whole number
// below the lowest step.
func isOrdinal(cell string) bool {
	n, err := strconv.Atoi(cell)
	return err == nil && 0 < n && n < 12
}

func unitName(u unit) string {
	return map[int]string{-6: "uV", -3: "mV", 0: "V", 3: "kV"}[u.exponent]
}

func (g *guesser) findUnitColumn() (int, bool) {
	for at, name := range g.header {
		if tellsByName(name) == "a unit" {
			if nameUnit(name) == "" {
				return at, true
			}
		}
	}
	return 0, false
}

// unknownUnits returns the cells of a unit column that are no voltage unit.
func (g *guesser) unknownUnits(at int) []string {
	var bad []string
	for _, cell := range g.cells(at) {
		if _, ok := parseUnit(cell); !ok && len(bad) < 5 {
			bad = append(bad, strconv.Quote(clip(cell)))
		}
	}
	return bad
}

// bareNumbers counts the numbers without and with a unit behind them.
func bareNumbers(cells []string) (bare, units int) {
	for _, cell := range cells {
		digits := strings.LastIndexAny(cell, "0123456789")
		switch {
		case digits < 0 || cell[0] == '>':
		case strings.TrimSpace(cell[digits+1:]) == "":
			bare++
		default:
			units++
		}
	}
	return bare, units
}

// numberForms are the forms that a guess tries.
var numberForms = []numberForm{
	{}, {comma: true}, {thousands: ','}, {comma: true, thousands: '.'}, {thousands: '\''}, {thousands: ' '}, {comma: true, thousands: ' '},
}

// guessMarks guesses decimal and thousands marks from the numbers of a column. Those that
// are not of the form of most are told, and decide nothing.
func (g *guesser) guessMarks(at int, c Column) {
	forms := numberForms
	if g.numberSample != "" {
		forms = []numberForm{g.numbers} // another column has decided
	}
	cells := g.cells(at)
	misfits := func(f numberForm) int {
		n := 0
		for _, cell := range cells {
			if !f.fits(cell) {
				n++
			}
		}
		return n
	}
	usual := slices.MinFunc(forms, func(a, b numberForm) int { return misfits(a) - misfits(b) })
	if n := misfits(usual); n > 0 {
		g.doubt("", g.misfit(at, c, usual, n))
		cells = slices.DeleteFunc(cells, func(cell string) bool { return !usual.fits(cell) })
	}
	sample := ""
	for _, cell := range cells {
		if strings.ContainsAny(cell, ",.'") {
			sample = cell
		}
	}
	fits := slices.DeleteFunc(slices.Clone(forms), func(f numberForm) bool { return misfits(f) > 0 })
	switch {
	case sample == "" || g.numberSample != "":
	case fits[0] == (numberForm{}) && mayBeThousands(cells, "."), fits[0].comma && mayBeThousands(cells, ","):
		g.doubt("", "the mark in "+strconv.Quote(clip(sample))+" may be that of decimals or of thousands: say  decimal:  and  thousands:  in the map")
	default:
		g.numbers, g.numberSample = fits[0], strconv.Quote(clip(sample))
	}
}

// misfit tells of the first of n cells that are no number of form f, with its line.
func (g *guesser) misfit(at int, c Column, f numberForm, n int) string {
	k := slices.IndexFunc(g.rows, func(row splitRow) bool { return !f.fits(row.fields[at]) })
	row, more := g.rows[k], ""
	if n > 1 {
		more = fmt.Sprintf(" (and %d more)", n-1)
	}
	return fmt.Sprintf("line %d: %s %s is no number of a form that is known%s: correct the row, or put what is no value under  words:  as ---",
		row.line, c, strconv.Quote(clip(row.fields[at])), more)
}

// fits reports whether a cell, if it holds a number, can be read.
func (f numberForm) fits(cell string) bool {
	if !holdsDigit(cell) || cell[0] == '>' {
		return true
	}
	_, _, err := f.cut(cell)
	return err == nil
}

// mayBeThousands reports whether every number that has the mark has three digits
// behind it, once or more, and nothing tells that it is the decimal mark: a
// number below 1, or more than three digits before the mark.
func mayBeThousands(cells []string, mark string) bool {
	seen := false
	for _, cell := range cells {
		number := strings.TrimLeft(cell, "+-\u2212")
		end := len(number) - len(strings.TrimLeft(number, "0123456789.,"))
		whole, rest, found := strings.Cut(number[:end], mark)
		if !found {
			continue
		}
		if len(rest) != 3 || whole == "0" || len(whole) > 3 || whole == "" {
			return false
		}
		seen = true
	}
	return seen
}
