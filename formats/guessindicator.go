package formats

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Which column is the indicator decides which proof stands for which tests. A column that
// is the same in every row, such as the person or the machine, would let the proof of one
// indicator stand for the tests of another. So a column is surely the indicator only where
// nothing else can be meant. A proving unit needs no such care: it stands in proofs only,
// and a dead test without an indicator is a mistake.

// indicatorNames are the names that mean a voltage indicator and nothing else.
var indicatorNames = []string{"indicator", "voltage indicator", "voltage detector", "spannungsprüfer", "détecteur de tension"}

// otherMeanings are the names among those of the indicator that may mean something else.
var otherMeanings = map[string]string{
	"tester": aPerson, "prüfer": aPerson,
	"gerät": "the equipment that was worked on", "gerätenummer": "the equipment that was worked on",
	"apparat": "the equipment that was worked on", "appareil": "the equipment that was worked on",
	"device": "the isolating device", "meter": "the meter of the supply",
}

const (
	aPerson       = "the person who tested"
	mendIndicator = "see which column holds the ids of the voltage indicators, and name it here"
)

// idEnding is how a name ends of which the column holds ids.
var idEnding = regexp.MustCompile(`[ \-]*(id|nr\.?|no\.?|n[°º]|#|number|nummer|num[eé]ro)$`)

// otherMeaning says what else the name of a column may mean that may be the indicator.
func otherMeaning(name string) string {
	key := nameKey(name)
	if other := otherMeanings[key]; other != "" {
		return other
	}
	return otherMeanings[idEnding.ReplaceAllString(key, "")]
}

// isInstrumentID reports whether a cell looks like the id of an instrument: one word that
// begins with a letter and holds a digit.
func isInstrumentID(cell string) bool {
	return unicode.IsLetter(firstRune(cell)) && holdsDigit(cell) && !strings.ContainsAny(cell, " \t,;/:") &&
		!isEventCell(cell) && !isConductorCell(cell) && !isPairCell(cell)
}

func holdsDigit(cell string) bool { return strings.ContainsFunc(cell, unicode.IsDigit) }

// settleIndicator takes the columns of persons from those that may be the indicator, and
// adds a column called device whose cells look like ids of instruments.
func (g *guesser) settleIndicator(found map[Column][]int) {
	isPerson := func(at int) bool {
		return otherMeaning(g.header[at]) == aPerson && !slices.ContainsFunc(g.cells(at), holdsDigit)
	}
	for _, at := range found[IndicatorColumn] {
		if isPerson(at) {
			found[TechnicianColumn] = append(found[TechnicianColumn], at)
		}
	}
	ats := slices.DeleteFunc(found[IndicatorColumn], isPerson)
	exact := slices.ContainsFunc(ats, func(at int) bool { return slices.Contains(indicatorNames, nameKey(g.header[at])) })
	if devices := found[DeviceColumn]; !exact && !isJobSheet(found) && len(devices) == 1 && g.everyCell(devices[0], isInstrumentID) {
		ats = append(ats, devices[0])
		delete(found, DeviceColumn)
	}
	found[IndicatorColumn] = ats
}

// doubtOf says why a column need not be what its name says, with what to do about it;
// blank where nothing else is likely.
func (g *guesser) doubtOf(c Column, at int) string {
	name := g.header[at]
	switch other := otherMeaning(name); {
	case c == TechnicianColumn && other != "":
		return strconv.Quote(clip(name)) + " may be " + other + ", or an indicator: see which of the two it is"
	case c == ConductorsColumn || c == SwitchedColumn:
		if cells := g.cells(at); slices.ContainsFunc(cells, isCount) {
			return "conductors are names with blanks between, and here may stand how many there are: see which of the two it is"
		}
		return ""
	case c != IndicatorColumn:
		return ""
	case other != "":
		return strconv.Quote(clip(name)) + " may be " + other + ": " + mendIndicator
	}
	for _, cell := range g.cells(at) {
		if !holdsDigit(cell) {
			return "ids of instruments hold a digit, and " + strconv.Quote(clip(cell)) + " has none: " + mendIndicator
		}
	}
	if rivals := g.likeIndicators(); len(rivals) > 0 && !slices.Contains(indicatorNames, nameKey(name)) {
		return "the cells of " + g.ref(rivals[0]) + ", " + g.describe(rivals[0]) + ", look like ids of instruments too: " + mendIndicator
	}
	return ""
}

// likeIndicators returns the columns without a use whose cells look like ids of instruments.
func (g *guesser) likeIndicators() []int {
	var ats []int
	for at := range g.used {
		used := g.used[at]
		for _, taken := range g.found {
			used = used || slices.Contains(taken, at)
		}
		if !used && g.everyCell(at, isInstrumentID) {
			ats = append(ats, at)
		}
	}
	return ats
}

// indicatorLabels begin a line above the header that tells the instrument.
var indicatorLabels = []string{
	"Voltage indicator", "Indicator", "Spannungsprüfer", "Serial number", "Serial no", "Serial", "S/N", "Seriennummer",
	"Instrument", "Messgerät", "Prüfgerät", "Gerät",
}

// guessIndicator looks for the instrument where no column has its name: among the columns
// by their cells, and in the lines above the header.
func (g *guesser) guessIndicator() {
	if ats := g.likeIndicators(); len(ats) > 0 {
		g.used[ats[0]] = true
		g.doubt("#   indicator: "+g.ref(ats[0]), g.describe(ats[0])+": its name does not say so, but the cells look like ids of instruments: "+mendIndicator)
		return
	}
	for _, line := range g.preamble {
		for _, label := range indicatorLabels {
			rest, found := strings.CutPrefix(line, label)
			rest = strings.TrimLeft(rest, ".:=;, \t\"")
			if !found || rest == "" || strings.ContainsAny(rest, ",;\t") {
				continue
			}
			text, comment := `  indicator: {preamble: '^`+label+`[.:=;,\s"]*([^"]+?)["\s]*$'}`, "the line "+strconv.Quote(clip(line))
			switch other := otherMeaning(label); {
			case other != "":
				g.doubt("# "+text, fmt.Sprintf("%s: %q may be %s: see that it is the voltage indicator", comment, label, other))
			case !holdsDigit(rest):
				g.doubt("# "+text, comment+": ids of instruments hold a digit: see that it is the voltage indicator")
			default:
				g.say(text, comment)
			}
			return
		}
	}
	g.doubt("#   indicator: {value: VI-1}", "nothing tells which indicator took the readings: write its id")
}
