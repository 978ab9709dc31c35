package formats

import (
	"fmt"
	"slices"
	"strings"
)

// A column that tells a unit, a range, a function or a coupling changes what the
// numbers beside it mean: 230 is 0.23 V when the column beside it says mV, and no
// voltage at all when it says ohm. Such a column is never ignored silently. It is
// known by its name or by its cells.

// tellingNames are words of a column name that tell one of these.
var tellingNames = map[string]string{
	"unit": "a unit", "units": "a unit", "uom": "a unit", "einheit": "a unit", "unite": "a unit", "unité": "a unit", "unidad": "a unit",
	"range": "a range", "bereich": "a range", "messbereich": "a range", "calibre": "a range", "plage": "a range", "gamme": "a range", "rango": "a range",
	"scale": "a range", "multiplier": "a range",
	"function": "a function", "func": "a function", "fn": "a function", "mode": "a function", "funktion": "a function", "messart": "a function",
	"fonction": "a function", "función": "a function", "funcion": "a function", "quantity": "a function", "messgröße": "a function", "grandeur": "a function",
	"coupling": "a coupling", "kopplung": "a coupling", "couplage": "a coupling", "acdc": "a coupling",
}

// tellsByName says what a column name tells, "" for nothing that matters.
func tellsByName(name string) string {
	folded := foldName(name)
	if _, unit := cutNameUnit(name); unit != "" {
		return "a unit"
	}
	if folded == "ac/dc" || folded == "ac_dc" || folded == "dc/ac" || waveformOfName(name) != "" {
		return "a coupling"
	}
	if u, ok := parseUnit(name); ok && (u.exponent != 0 || u.waveform != "") {
		return "a unit" // a column called mV
	}
	words := strings.FieldsFunc(folded, func(r rune) bool { return strings.ContainsRune("_ .,:;/()[]", r) })
	if slices.ContainsFunc(words, func(w string) bool { return w == "proving" || w == "id" || w == "serial" }) {
		return "" // the id of a proving unit, say
	}
	for _, w := range words {
		if what := tellingNames[w]; what != "" {
			return what
		}
	}
	return ""
}

// cutNameUnit takes a unit off the end of a column name, as in "U (mV)",
// "volts [kV]", "volts_mv" or "U / V". unit is "" when there is none.
func cutNameUnit(name string) (base, unit string) {
	name = strings.TrimSpace(name)
	trimmed := strings.TrimRight(name, ")]")
	k := strings.LastIndexAny(trimmed, "([/_ ")
	if k <= 0 {
		return name, ""
	}
	unit = strings.TrimSpace(trimmed[k+1:])
	if _, ok := parseUnit(unit); !ok {
		return name, ""
	}
	return strings.TrimRight(trimmed[:k], " ([/_"), unit
}

// nameUnit returns the unit that the name of a column ends with, or is; blank where it
// tells none. The canonical volts is no such name.
func nameUnit(name string) string {
	_, unit := cutNameUnit(name)
	if _, ok := parseUnit(name); ok && unit == "" && readingColumns.column(name) == NoColumn {
		return strings.TrimSpace(name)
	}
	return unit
}

// A tally counts what the cells of one ignored column look like.
type tally struct{ filled, words, units int }

// add looks at one cell.
func (t *tally) add(cell string) {
	cell = strings.TrimSpace(cell)
	if cell == "" {
		return
	}
	t.filled++
	if isUnitCell(cell) {
		t.units++
	}
	if isTellingWord(cell) {
		t.words++
	}
}

// tells reports whether the cells tell a unit, range, function or coupling: one
// of them is a unit that cannot be anything else, or half of them are words of
// functions and couplings. Fewer may be initials or remarks.
func (t *tally) tells() bool {
	return t.units > 0 || t.filled > 0 && 2*t.words >= t.filled
}

// isUnitCell knows units that are nothing else, alone or behind a number.
func isUnitCell(cell string) bool {
	unit := strings.TrimLeft(cell, "+-\u22120123456789., ")
	if u, ok := parseUnit(unit); ok && unit != "" {
		return u.exponent != 0 || u.waveform != "" || unit != cell
	}
	switch unit {
	case "Ω", "\u2126", "kΩ", "k\u2126", "MΩ", "M\u2126", "Ohm", "ohm", "kOhm", "MOhm", "mA", "µA", "\u03bcA", "Hz", "kHz":
		return unit == cell
	}
	return false
}

// tellingWords are cells that tell a function, a range or a coupling, in lower case.
var tellingWords = []string{
	"v", "mv", "kv", "uv", "a", "ac", "dc", "ac+dc", "dc+ac", "ac/dc", "volt", "volts", "voltage", "spannung", "tension", "auto", "manual",
	"ohm", "ohms", "resistance", "widerstand", "continuity", "durchgang", "diode", "capacitance", "frequency", "hz", "temperature", "temp",
	"current", "strom", "low-z", "lowz", "loz", "hi-z", "phase rotation", "~", "=",
}

func isTellingWord(cell string) bool {
	return slices.Contains(tellingWords, strings.ToLower(cell))
}

func ignoredProblem(f Field, why string) *Problem {
	return &Problem{
		Column: f.Column, Field: "header", Text: f.Text,
		Message: "a column that tells " + why + " cannot be ignored without saying so",
		Mend:    fmt.Sprintf("read the file through a map that uses it, or that says  ignore: [%q]", f.Text),
	}
}

// checkIgnored looks at the cells of the ignored columns in text, the rows
// behind the header. The last row is left out when it may be cut.
func checkIgnored(text string, l *Layout, header []Field) []*Problem {
	tallies := make([]tally, len(l.Columns))
	if !slices.Contains(l.Columns, NoColumn) {
		return nil
	}
	var fields []Field
	for text != "" {
		row, n, _, problem := SplitRow(text, l.Comma, fields[:0])
		fields = row
		if problem != nil || n == len(text) && !strings.HasSuffix(text, "\n") && len(row) < len(header) {
			break // the decoder reports it
		}
		for i := range min(len(row), len(l.Columns)) {
			if l.Columns[i] == NoColumn {
				tallies[i].add(row[i].Text)
			}
		}
		text = text[n:]
	}
	var problems []*Problem
	for i := range tallies {
		if l.Columns[i] == NoColumn && tallies[i].tells() {
			problems = append(problems, ignoredProblem(header[i], "a unit, a range, a function or a coupling (its cells do)"))
		}
	}
	return problems
}

// waveformOfName says whether a column name tells ac or dc, as in "U DC (V)" or
// "VAC"; "" if it tells neither or both.
func waveformOfName(name string) string {
	var found waveforms
	for word := range strings.FieldsFuncSeq(strings.ToLower(name), func(r rune) bool { return !('a' <= r && r <= 'z') && r != '~' }) {
		switch word {
		case "ac", "vac", "acv", "~", "v~":
			found.ac = true
		case "dc", "vdc", "dcv":
			found.dc = true
		}
	}
	switch {
	case found.ac == found.dc:
		return ""
	case found.ac:
		return "ac"
	}
	return "dc"
}
