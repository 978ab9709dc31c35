package formats

import (
	"slices"
	"strings"
	"unicode"
)

// The names by which a guess knows a column, in lower case. They are words of
// ordinary English, German, French and Spanish; the canonical names are known
// besides.
var guessNames = map[Column][]string{
	RecordColumn: {
		"record id", "record no", "record number", "job", "job id", "job no", "job number", "work order", "order", "order no",
		"isolation", "isolation id", "isolation no", "auftrag", "auftragsnummer", "auftragsnr", "auftragsnr.", "auftrags-nr.", "ordre", "fiche", "orden",
	},
	TimeColumn: {
		"timestamp", "time stamp", "date time", "date and time", "datetime", "date/time", "recorded", "recorded at", "measured at", "when", "unix", "unix time", "epoch", "zeit", "zeitpunkt", "zeitstempel",
		"datum/zeit", "datum/uhrzeit", "datum uhrzeit", "datum und uhrzeit", "heure", "horodatage", "date heure", "hora", "fecha y hora", "fecha hora", "uhrzeit", "time of day", "clock",
		"date", "datum", "fecha", "jour", "dia", "tag",
	},
	EventColumn: {"event type", "type", "action", "step", "what", "art", "ereignis", "vorgang", "schritt", "étape", "evento", "acción"},
	IndicatorColumn: {
		"voltage indicator", "voltage detector", "vi", "instrument", "detector", "tester", "meter", "device", "serial", "serial no", "serial number",
		"spannungsprüfer", "messgerät", "messgerätenummer", "prüfgerät", "prüfgerätenummer", "prüfer", "gerät", "gerätenummer", "apparat", "seriennummer",
		"détecteur", "détecteur de tension", "appareil", "appareil de mesure", "instrumento",
	},
	SourceColumn:     {"proving unit", "proving source", "prover", "prüfquelle", "quelle", "prüfeinheit", "fuente"},
	FromColumn:       {"probe 1", "probe a", "first probe", "lead 1", "von", "de", "desde"},
	ToColumn:         {"probe 2", "probe b", "second probe", "lead 2", "nach", "bis", "vers", "hasta"},
	PairColumn:       {"between", "test points", "conductor pair", "leiter", "leiterpaar", "messpunkte", "conducteurs", "entre"},
	VoltsColumn:      {"voltage", "volt", "value", "reading", "measured", "result", "u", "spannung", "messwert", "wert", "ergebnis", "tension", "mesure", "valeur", "tensión", "valor"},
	WaveformColumn:   {"wave form", "ac/dc", "acdc", "coupling", "kurvenform", "stromart", "kopplung", "forme d'onde"},
	ExpectedColumn:   {"expected voltage", "expected volts", "nominal output", "output voltage", "soll", "sollwert", "sollspannung", "attendu", "esperado"},
	StageColumn:      {"highest step", "highest led", "led", "stufe", "led-stufe", "échelon"},
	SwitchColumn:     {"switch position", "schalter", "schalterstellung", "interrupteur"},
	SeqColumn:        {"sequence", "seq no", "no", "no.", "nr", "nr.", "lfd. nr.", "lfd nr", "counter", "index", "zähler", "numéro"},
	PointColumn:      {"test point", "location", "messstelle", "ort", "lieu", "lugar"},
	SideColumn:       {"side of device", "seite", "côté", "lado"},
	NoteColumn:       {"notes", "remark", "remarks", "comment", "comments", "bemerkung", "kommentar", "remarque", "nota"},
	SiteColumn:       {"standort", "anlage"},
	CircuitColumn:    {"stromkreis", "circuito"},
	SupplyColumn:     {"supply system", "netz", "netzform", "netzsystem", "réseau"},
	EarthingColumn:   {"earthing system", "erdung", "régime de neutre"},
	NominalColumn:    {"nominal voltage", "nennspannung"},
	DeviceColumn:     {"isolating device", "schaltgerät"},
	StartColumn:      {"started", "start time", "beginn", "début", "inicio"},
	EndColumn:        {"finished", "end time", "ende", "fin"},
	TechnicianColumn: {"operator", "worker", "monteur", "prüfername", "techniker", "bediener", "technicien", "opérateur", "técnico"},
}

// clockNames are names of a column that holds the time of day beside a date.
var clockNames = []string{"time", "clock", "time of day", "zeit", "uhrzeit", "heure", "hora"}

// dateNames are names of a column that may hold the date alone.
var dateNames = []string{"date", "datum", "fecha", "jour", "dia", "tag"}

// namedColumn returns which column a name of the file means; NoColumn if none. Behind a
// name of what has ids, "Nr." and the like change nothing; nor does the waveform in that
// of a voltage.
func namedColumn(name string) Column {
	key := nameKey(name)
	if c := readingColumns.column(key); c != NoColumn {
		return c
	}
	for c, names := range guessNames {
		if slices.Contains(names, key) {
			return c
		}
	}
	base := idEnding.ReplaceAllString(key, "")
	for _, c := range []Column{RecordColumn, IndicatorColumn, SourceColumn} {
		if base == c.String() || slices.Contains(guessNames[c], base) {
			return c
		}
	}
	if waveformOfName(name) != "" && slices.Contains(guessNames[VoltsColumn], withoutWaveform(key)) {
		return VoltsColumn
	}
	return NoColumn
}

// withoutWaveform takes ac and dc off a name, as in "ac voltage" and "u (dc)".
func withoutWaveform(key string) string {
	words := strings.FieldsFunc(key, func(r rune) bool { return strings.ContainsRune(" ()[]", r) })
	return strings.Join(slices.DeleteFunc(words, func(word string) bool { return word == "ac" || word == "dc" }), " ")
}

// nameKey brings a column name into the form of guessNames, its unit taken off.
func nameKey(name string) string {
	base, _ := cutNameUnit(zoneName.ReplaceAllString(name, ""))
	base = strings.NewReplacer("()", "", "[]", "").Replace(base)
	return foldWord(strings.Map(func(r rune) rune {
		if r == '_' || unicode.IsSpace(r) {
			return ' '
		}
		return r
	}, base))
}

// phaseLetters are guessWords that mean the lines only where all three stand in a file:
// alone they may be something else, as T is the earth in French.
var phaseLetters = [][]string{{"r", "s", "t"}, {"u", "v", "w"}}

// guessWords are the words by which a guess knows the words of a column.
var guessWords = map[Column]map[string][]string{
	EventColumn: {
		"prove":      {"proving", "proof", "prove before", "proving before", "pre-test", "pretest", "prüfung vorher", "prüfen vorher", "vorprüfung", "vérification avant"},
		"test":       {"dead test", "dead-test", "measurement", "measure", "reading", "absence of voltage", "messung", "spannungsfreiheit", "mesure", "medida"},
		"reprove":    {"re-prove", "proving after", "prove after", "post-test", "posttest", "prüfung nachher", "prüfen nachher", "nachprüfung", "vérification après"},
		"inspect":    {"inspection", "inspected", "sichtprüfung"},
		"identify":   {"identified", "identification"},
		"permission": {"permit", "permitted", "freigabe"},
		"shed-load":  {"shed load", "load shed"},
		"isolate":    {"isolated", "isolation", "switched off", "freigeschaltet", "freischalten", "consignation"},
		"lock":       {"locked", "locked off", "lock-out", "lockout", "gesichert"},
		"label":      {"labelled", "labeled", "tagged", "tag-out"},
		"begin":      {"begun", "work begun", "start of work", "arbeitsbeginn"},
		"restore":    {"restored", "re-energised", "reenergised", "power on", "eingeschaltet"},
	},
	WaveformColumn: {
		"ac":   {"~", "a.c.", "vac", "acv", "v ac", "v~", "wechselspannung"},
		"dc":   {"=", "d.c.", "vdc", "dcv", "v dc", "v=", "gleichspannung"},
		"both": {"ac+dc", "ac/dc"},
	},
	SupplyColumn: {
		"single-phase":       {"single phase", "1-phase", "1 phase", "einphasig", "1-phasig", "monophasé", "monofásico"},
		"three-phase":        {"three phase", "3-phase", "3 phase", "dreiphasig", "3-phasig", "drehstrom", "triphasé", "trifásico"},
		"three-phase-3-wire": {"three phase 3 wire", "3-phase 3-wire"},
		"split-phase":        {"split phase"},
		"dc":                 {"d.c.", "gleichspannung", "gleichstrom"},
	},
	EarthingColumn: {"TN-S": {"tns", "tn s"}, "TN-C-S": {"tncs", "tn c s"}, "TN-C": {"tnc", "tn c"}},
	SwitchColumn:   {"on": {"ein", "closed"}, "off": {"aus", "open"}},
	SideColumn:     {"supply": {"line side", "upstream", "netzseite"}, "load": {"load side", "downstream", "lastseite"}},
	SourceColumn:   {"live": {"known live source", "known live", "mains", "netz"}},
	FromColumn: {
		"L": {"line", "phase", "live", "hot", "phase l", "ph"}, "L1": {"line 1", "phase 1", "phase a", "phase l1", "ph1", "ph 1", "r", "u"},
		"L2": {"line 2", "phase 2", "phase b", "phase l2", "ph2", "ph 2", "s", "v"}, "L3": {"line 3", "phase 3", "phase c", "phase l3", "ph3", "ph 3", "t", "w"},
		"N": {"neutral", "neutralleiter", "neutre", "neutro", "n-leiter"},
		"E": {"earth", "ground", "gnd", "erde", "schutzleiter", "protective earth", "terre", "tierra"},
	},
}
