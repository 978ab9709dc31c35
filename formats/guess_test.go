package formats

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"pgregory.net/rapid"

	"nilvolt/record"
)

// noRecord begins the line that says that no column is the record.
const noRecord = "# No column has the name of a record id"

func TestGuessMap(t *testing.T) {
	tests := []struct {
		name, file string
		sure       bool
		want       []string // lines of the map, without the comments that say where from
	}{
		{
			"canonical", "time,event,indicator,pair,volts\n2026-03-02T10:15:00Z,test,VI-1,L-N,0.2\n", true,
			[]string{"delimiter: comma", "columns:", "  time: time", "  event: event", "  indicator: indicator", "  pair: pair", "  volts: volts"},
		},
		{
			"a logger's own form",
			"Logger 5\nSerial: VI-03\nZone: Europe/Berlin\n\nDatum;Uhrzeit;Art;Leiter;Spannung (mV)\n02.03.2026;10:15:00;Vorprüfung;;229800,5\n14.03.2026;10:15:30;Messung;L1-Erde;200\n", true,
			[]string{
				"delimiter: semicolon", "header: 5", "decimal: comma", "zone: Europe/Berlin", "columns:",
				`  time: {date: Datum, clock: Uhrzeit, layout: "d.M.yyyy H:mm:ss"}`,
				"  event: {column: Art, words: {Vorprüfung: prove, Messung: test}}",
				"  pair: {column: Leiter, words: {Erde: E}}",
				`  volts: {column: "Spannung (mV)", unit: mV}`,
				`  indicator: {preamble: '^Serial[.:=;,\s"]*([^"]+?)["\s]*$'}`,
			},
		},
		{
			"day or month first", "time,event,indicator,pair,volts\n03/04/2026 10:15:00 +01:00,test,VI-1,L-N,0.2\n", false,
			[]string{
				"delimiter: comma", "columns:",
				`#   time: {column: time, layout: "d/M/yyyy H:mm:ss XXX"}  # UNSURE: column 1, as in "03/04/2026 10:15:00 +01:00": no row tells which comes first, day, month or year; choose one of "d/M/yyyy H:mm:ss XXX", "M/d/yyyy H:mm:ss XXX"`,
				"  event: event", "  indicator: indicator", "  pair: pair", "  volts: volts",
			},
		},
		{
			"a row decides", "time,event,indicator,pair,volts\n03/04/2026 10:15:00 +01:00,test,VI-1,L-N,0.2\n03/14/2026 10:15:00 +01:00,test,VI-1,L-N,0.2\n", true,
			[]string{
				"delimiter: comma", "columns:", `  time: {column: time, layout: "M/d/yyyy H:mm:ss XXX"}`,
				"  event: event", "  indicator: indicator", "  pair: pair", "  volts: volts",
			},
		},
		{
			"no zone", "time,event,indicator,pair,volts\n2026-03-02 10:15:00,test,VI-1,L-N,0.2\n", false,
			[]string{
				"delimiter: comma",
				"# zone: Europe/Berlin  # UNSURE: the times have no offset and nothing names their zone: write the one in which the clock of the instrument ran",
				"columns:", `  time: {column: time, layout: "yyyy-M-d H:mm:ss"}`, "  event: event", "  indicator: indicator", "  pair: pair", "  volts: volts",
			},
		},
		{
			"decimals or thousands", "time;event;indicator;pair;volts\n2026-03-02T10:15:00Z;test;VI-1;L-N;1,234\n", false,
			[]string{
				"delimiter: semicolon", "columns:", "  time: time", "  event: event", "  indicator: indicator", "  pair: pair",
				`# UNSURE: the mark in "1,234" may be that of decimals or of thousands: say  decimal:  and  thousands:  in the map`,
				"  volts: volts",
			},
		},
		{
			"two candidates, an unknown word, a range, no unit",
			"time,event,indicator,pair,reading,value,range\n2026-03-02T10:15:00Z,probed,VI-1,L-N,0.2,0.3,600 V\n", false,
			[]string{
				"delimiter: comma", "columns:", "  time: time", "  event: event",
				`# UNSURE: words of event that need a translation, or a pattern under skip: "probed"`,
				"  indicator: indicator", "  pair: pair",
				"#   volts: reading  # UNSURE: several columns may be volts: reading, value. Name one, and the others under ignore",
				`# ignore: ["range"]  # UNSURE: it tells a range, column 7, as in "600 V": use it, or see that it changes nothing and ignore it`,
			},
		},
		{
			"nothing tells the unit", "time,event,indicator,pair,reading\n2026-03-02T10:15:00Z,test,VI-1,L-N,0.2\n", false,
			[]string{
				"delimiter: comma", "columns:", "  time: time", "  event: event", "  indicator: indicator", "  pair: pair",
				`#   volts: {column: reading, unit: V}  # UNSURE: column 5, as in "0.2": nothing tells whether that is V, mV or kV`,
			},
		},
		{
			"an event and a pair that only their cells tell",
			"time,indicator,what happened,Messstelle,volts\n2026-03-02T10:15:00Z,VI-1,proving,,230\n2026-03-02T10:16:00Z,VI-1,test,L-Erde,0.2\n", false,
			[]string{
				"delimiter: comma", "columns:", "  time: time", "  indicator: indicator", "  volts: volts",
				`#   event: {column: what happened, words: {proving: prove}}  # UNSURE: column 3, as in "proving": its name does not say so, but every cell is an event`,
				`#   pair: {column: Messstelle, words: {Erde: E}}  # UNSURE: column 4, as in "L-Erde": its name does not say so, but every cell is a pair of conductors`,
			},
		},
		{
			"a job sheet",
			"Auftrag;Netz;Nennspannung;Spannungsprüfer;Beginn;Ende\nR9;dc;230;VI-1;2026-03-22T08:00:00Z;2026-03-22T09:00:00Z\n", true,
			[]string{
				"delimiter: semicolon", "for: jobs", "columns:", "  record: Auftrag", "  indicator: Spannungsprüfer",
				"  supply: Netz", "  nominal: Nennspannung", "  start: Beginn", "  end: Ende",
			},
		},
		{
			"a register",
			"Instrument;Kind;Tolerance;Colour;Max volts\nVI-1;indicator;5;red;690\n", true,
			[]string{
				"delimiter: semicolon", "for: instruments", "columns:", "  instrument: Instrument", "  kind: Kind", "  tolerance: Tolerance",
				"  max_volts: Max volts", "# Not used: Colour, column 4, as in \"red\".",
			},
		},
		{
			"a column called by its unit",
			"record,time,event,indicator,from,to,mV DC\nR1,2026-03-02T10:15:00Z,test,VI-1,L,N,200\n", true,
			[]string{
				"delimiter: comma", "columns:", "  record: record", "  time: time", "  event: event", "  indicator: indicator", "  from: from", "  to: to",
				"  waveform: {value: dc}", "  volts: {column: mV DC, unit: mV}",
			},
		},
		{
			"a result that is a word beside a voltage",
			"record,time,event,indicator,pair,AC Voltage,Result\nR1,2026-03-02T10:15:00Z,test,VI-1,L-N,0.2 V,PASS\n", true,
			[]string{
				"delimiter: comma", "columns:", "  record: record", "  time: time", "  event: event", "  indicator: indicator", "  pair: pair",
				"  waveform: {value: ac}", "  volts: AC Voltage", `# Not used: Result, column 7, as in "PASS".`,
			},
		},
		{
			"words among the volts",
			"record,time,event,indicator,pair,volts,expected\nR1,2026-03-02T10:15:00Z,test,VI-1,L-N,dead,\n" +
				"R1,2026-03-02T10:15:00Z,test,VI-1,L-E,0.2,\nR1,2026-03-02T10:15:00Z,test,VI-1,N-E,---,ok\nR1,2026-03-02T10:15:00Z,test,VI-1,N-E,OL,\n", false,
			[]string{
				"delimiter: comma", "columns:", "  record: record", "  time: time", "  event: event", "  indicator: indicator", "  pair: pair",
				`# UNSURE: cells of volts that are no number: "dead". See that the column holds volts; what is no value goes under  words:  as ---`,
				"  volts: volts",
				`#   expected: expected  # UNSURE: column 7, as in "ok": no cell is a number: see which column holds the volts`,
			},
		},
		{
			"one cell that does not fit",
			"record;time;event;indicator;pair;volts;expected\nR1;2026-03-02T10:14:00Z;prove;VI-1;;229,8 V;230,0 V\nR1;2026-03-02T10:15:00Z;test;VI-1;L-N;<1;\n" +
				"R1;2026-03-02T10:15:00Z;test;VI-1;L-E;O,2 V;\nR1;2026-03-02T10:15:00Z;test;VI-1;L-E;0,2 V;230.5 V\n", false,
			[]string{
				"delimiter: semicolon", "decimal: comma", "columns:", "  record: record", "  time: time", "  event: event", "  indicator: indicator", "  pair: pair",
				`# UNSURE: line 3: volts "<1" is no number of a form that is known (and 1 more): correct the row, or put what is no value under  words:  as ---`,
				"  volts: volts",
				`# UNSURE: line 5: expected "230.5 V" is no number of a form that is known: correct the row, or put what is no value under  words:  as ---`,
				"  expected: expected",
			},
		},
		{
			"the French earth",
			"record,time,event,indicator,from,to,volts\nR1,2026-03-02T10:15:00Z,test,VI-1,T,Ph,0.2\nR1,2026-03-02T10:15:00Z,test,VI-1,N,Ph,0.2\n", false,
			[]string{
				"delimiter: comma", "columns:", "  record: record", "  time: time", "  event: event", "  indicator: indicator", "  from: from",
				`# UNSURE: words of from that need a translation, or a pattern under skip: "T" (E where the lines are Ph, L3 where they are R, S and T)`,
				"  to: {column: to, words: {Ph: L}}", "  volts: volts",
			},
		},
		{
			"the letters of three lines, told by the cells",
			"record,time,event,indicator,a,b,volts\nR1,2026-03-02T10:15:00Z,test,VI-1,U,R,0.2\nR1,2026-03-02T10:15:00Z,test,VI-1,S,T,0.2\n", false,
			[]string{
				"delimiter: comma", "columns:", "  record: record", "  time: time", "  event: event", "  indicator: indicator", "  volts: volts",
				`#   from: {column: a, words: {S: L2}}  # UNSURE: column 5, as in "U": its name does not say so, but every cell is a conductor; from is the probe placed first`,
				`#   to: {column: b, words: {R: L1, T: L3}}  # UNSURE: column 6, as in "R": its name does not say so, but every cell is a conductor; from is the probe placed first`,
			},
		},
		{
			"the letters of three lines",
			"record,time,event,indicator,pair,volts\nR1,2026-03-02T10:15:00Z,test,VI-1,R-S,0.2\nR1,2026-03-02T10:15:00Z,test,VI-1,T-N,0.2\n", true,
			[]string{
				"delimiter: comma", "columns:", "  record: record", "  time: time", "  event: event", "  indicator: indicator",
				"  pair: {column: pair, words: {R: L1, S: L2, T: L3}}", "  volts: volts",
			},
		},
		{
			"the supply and its earthing",
			"Auftrag;Netz;Netzform;Beginn\nR9;TN-S;einphasig;2026-03-22T08:00:00Z\n", true,
			[]string{
				"delimiter: semicolon", "for: jobs", "columns:", "  record: Auftrag",
				"  supply: {column: Netzform, words: {einphasig: single-phase}}", "  earthing: Netz", "  start: Beginn",
			},
		},
		{
			"conductors, or how many there are",
			"record,supply,conductors,start\nR9,single-phase,3,2026-03-22T08:00:00Z\n", false,
			[]string{
				"delimiter: comma", "for: jobs", "columns:", "  record: record", "  supply: supply",
				`#   conductors: conductors  # UNSURE: column 3, as in "3": conductors are names with blanks between, and here may stand how many there are: see which of the two it is`,
				"  start: start",
			},
		},
		{
			"the number of a step, or its volts",
			"record,time,event,indicator,pair,LED\nR1,2026-03-02T10:15:00Z,test,VI-1,L-N,none\nR1,2026-03-02T10:15:00Z,test,VI-1,L-E,3\n", false,
			[]string{
				"delimiter: comma", "columns:", "  record: record", "  time: time", "  event: event", "  indicator: indicator", "  pair: pair",
				`#   stage: LED  # UNSURE: column 6, as in "none": "3" may be the number of a step rather than its volts: if so, name under  words:  the volts of each`,
			},
		},
		{
			"conductors that only their cells tell",
			"time,event,indicator,black,red,volts\n2026-03-02T10:15:00Z,test,VI-1,Neutral,L,0.2\n", false,
			[]string{
				"delimiter: comma", "columns:", "  time: time", "  event: event", "  indicator: indicator", "  volts: volts",
				`#   from: {column: black, words: {Neutral: "N"}}  # UNSURE: column 4, as in "Neutral": its name does not say so, but every cell is a conductor; from is the probe placed first`,
				`#   to: red  # UNSURE: column 5, as in "L": its name does not say so, but every cell is a conductor; from is the probe placed first`,
			},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			g, err := GuessMap([]byte(tt.file), "f.csv")
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for line := range strings.Lines(g.Map) {
				text, comment, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "  # ")
				if strings.HasPrefix(comment, "UNSURE") {
					text += "  # " + comment
				}
				if !strings.HasPrefix(text, noRecord) {
					got = append(got, text)
				}
			}
			if diff := cmp.Diff(tt.want, got[1:]); diff != "" {
				t.Error(diff)
			}
			if lacks := !slices.ContainsFunc(tt.want, func(line string) bool { return strings.Contains(line, " record: ") || line == "for: instruments" }); lacks != strings.Contains(g.Map, noRecord) {
				t.Errorf("no column is the record: %v, but the map is\n%s", lacks, g.Map)
			}
			if g.Sure != tt.sure {
				t.Errorf("sure is %v", g.Sure)
			}
			for line := range strings.Lines(g.Map) {
				if !strings.Contains(line, "#") && line != "columns:\n" {
					t.Errorf("no comment beside %q", line)
				}
			}
		})
	}
}

func TestGuessMapRefuses(t *testing.T) {
	for _, tt := range []struct{ name, file, want string }{
		{"empty", "", "f.csv: the file is empty"},
		{"rubbish", "\x00\x01\x02\x03\x04", "f.csv: the file is no text: it is full of control bytes"},
		{
			"a letter with commas", "Dear all,\n\nI saw the panel on Monday, and it was fine.\nHave a look at the label, please.\n\nKind regards,\nthe night shift, room 2\n",
			"f.csv: nothing in it looks like a log: no column has a name that is known, and none holds numbers or times",
		},
		{"prose", "Dear all\nnothing here\n", "f.csv: no rows of two columns or more that look like a log"},
	} {
		if g, err := GuessMap([]byte(tt.file), "f.csv"); err == nil || err.Error() != tt.want {
			t.Errorf("%s: got %v, %v", tt.name, g, err)
		}
	}
}

// A logRow is one row of an invented log, and dialect the form it is written in.
type logRow struct {
	at               time.Time
	event, from, to  string
	volts            int // tenths of a volt
	expected, source string
}

type dialect struct {
	comma, end, encoding   string
	decimalComma           bool
	unit                   string // of the numbers: mV, V, kV
	unitIn                 string // name, cell, column
	layout                 string // of Go's time package
	twoColumns, preamble   bool
	names                  map[Column]string
	prove, test, reprove   string
	earth, line, separator string
	order                  []int
}

func drawDialect(t *rapid.T) dialect {
	pick := func(what string, of ...string) string { return rapid.SampledFrom(of).Draw(t, what) }
	d := dialect{
		comma: pick("comma", ",", ";", "\t", "|"), end: pick("end", "\n", "\r\n", "\r"),
		encoding:     pick("encoding", "utf-8", "mark", "utf-16le", "utf-16be", "windows-1252"),
		decimalComma: rapid.Bool().Draw(t, "decimal comma"),
		unit:         pick("unit", "mV", "V", "kV"), unitIn: pick("unit in", "name", "cell", "column"),
		layout:  pick("layout", time.RFC3339, "02.01.2006 15:04:05", "2006/01/02 15:04:05", "01/02/2006 3:04:05 PM", "2-Jan-2006 15:04:05"),
		prove:   pick("prove", "prove", "Prüfung vorher", "PROOF"),
		test:    pick("test", "test", "Messung", "Dead test"),
		reprove: pick("reprove", "reprove", "Prüfung nachher", "prove after"),
		earth:   pick("earth", "E", "PE", "Erde", "Ground"), line: pick("line", "L", "Phase", "Line"),
		separator: pick("separator", "-", "/", " to ", " → "),
		preamble:  rapid.Bool().Draw(t, "preamble"), twoColumns: rapid.Bool().Draw(t, "two columns"),
		names: map[Column]string{
			EventColumn: pick("event name", "event", "Ereignis", "Action"), IndicatorColumn: pick("indicator name", "indicator", "Seriennummer", "Messgerät-Nr.", "Tester"),
			SourceColumn: pick("source name", "source", "Prüfquelle", "proving unit"), PairColumn: pick("pair name", "pair", "Leiter", "Between"),
			VoltsColumn: pick("volts name", "volts", "Spannung", "U", "Messwert"), ExpectedColumn: pick("expected name", "expected", "Soll"),
		},
		order: rapid.Permutation([]int{0, 1, 2, 3, 4, 5, 6, 7}).Draw(t, "order"),
	}
	if d.encoding == "windows-1252" && d.separator == " → " {
		d.separator = " to "
	}
	if d.layout == time.RFC3339 || !strings.Contains(d.layout, " ") {
		d.twoColumns = false
	}
	d.preamble = d.preamble || d.layout != time.RFC3339 // it names the zone
	return d
}

func (d dialect) number(tenths int) string {
	text := map[string]string{
		"mV": fmt.Sprintf("%d", tenths*100), "V": fmt.Sprintf("%d.%d", tenths/10, tenths%10), "kV": fmt.Sprintf("%d.%04d", tenths/10000, tenths%10000),
	}[d.unit]
	if d.decimalComma {
		text = strings.Replace(text, ".", ",", 1)
	}
	if d.unitIn == "cell" {
		text += " " + d.unit
	}
	return text
}

func (d dialect) write(rows []logRow) []byte {
	name := func(c Column) string {
		if d.unitIn == "name" && (c == VoltsColumn || c == ExpectedColumn) {
			return d.names[c] + " (" + d.unit + ")"
		}
		return d.names[c]
	}
	table := [][]string{{"Timestamp", name(EventColumn), name(IndicatorColumn), name(SourceColumn), name(PairColumn), name(VoltsColumn), name(ExpectedColumn), "Remark"}}
	if d.twoColumns {
		table[0] = append(table[0], "Time")
		table[0][0] = "Date"
	}
	if d.unitIn == "column" {
		table[0] = append(table[0], "Unit")
	}
	for _, r := range rows {
		event := map[string]string{"prove": d.prove, "test": d.test, "reprove": d.reprove}[r.event]
		pair, expected := "", ""
		if r.from != "" {
			names := map[string]string{"E": d.earth, "L": d.line, "N": "N"}
			pair = names[r.from] + d.separator + names[r.to]
		}
		if r.expected != "" {
			expected = d.number(2300)
			if d.unitIn == "column" {
				expected = "230 V"
			}
		}
		at := r.at.Format(d.layout)
		row := []string{at, event, "VI-7", r.source, pair, d.number(r.volts), expected, "é"}
		if d.twoColumns {
			date, clock, _ := strings.Cut(at, " ")
			row[0] = date
			row = append(row, clock)
		}
		if d.unitIn == "column" {
			row = append(row, d.unit)
		}
		table = append(table, row)
	}
	var b strings.Builder
	if d.preamble {
		b.WriteString("Logger of nobody" + d.end + "Zone: Europe/Berlin" + d.end)
	}
	for _, row := range table {
		shuffled := slices.Clone(row)
		for i, from := range d.order {
			shuffled[i] = row[from]
		}
		for i := range shuffled {
			if strings.Contains(shuffled[i], d.comma) {
				shuffled[i] = `"` + shuffled[i] + `"`
			}
		}
		b.WriteString(strings.Join(shuffled, d.comma) + d.end)
	}
	return d.encode(b.String())
}

func (d dialect) encode(text string) []byte {
	var out string
	var err error
	switch d.encoding {
	case "utf-8":
		out = text
	case "mark":
		out = byteOrderMark + text
	case "utf-16le":
		out, err = unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(text)
	case "utf-16be":
		out, err = unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewEncoder().String(text)
	case "windows-1252":
		out, err = charmap.Windows1252.NewEncoder().String(text)
	}
	if err != nil {
		panic(err)
	}
	return []byte(out)
}

// Whatever dialect a log is written in, a guess that is sure reads it as the rows
// that were written.
func TestGuessReadsDialects(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	sure, total := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		d := drawDialect(t)
		day := rapid.IntRange(13, 28).Draw(t, "day") // so that a row tells day from month
		start := time.Date(2026, time.Month(rapid.IntRange(4, 9).Draw(t, "month")), day, rapid.IntRange(1, 22).Draw(t, "hour"), 15, 0, 0, berlin)
		rows := []logRow{
			{start, "prove", "", "", rapid.IntRange(2200, 2400).Draw(t, "proof"), "230", "PU-1"},
			{start.Add(20 * time.Second), "test", "L", "N", rapid.IntRange(1, 99).Draw(t, "L-N"), "", ""},
			{start.Add(30 * time.Second), "test", "L", "E", rapid.IntRange(1, 99).Draw(t, "L-E"), "", ""},
			{start.Add(40 * time.Second), "test", "N", "E", 1, "", ""},
			{start.Add(60 * time.Second), "reprove", "", "", 2299, "230", "PU-1"},
		}
		data := d.write(rows)
		g, err := GuessMap(data, "log.txt")
		if err != nil {
			t.Fatal(err)
		}
		total++
		if !g.Sure {
			return
		}
		sure++
		m := mustMap(t, g.Map)
		text, err := textOf(data, "log.txt", m.section(readingsFile, "log.txt"))
		if err != nil {
			t.Fatal(err)
		}
		l, err := Bind(text, "log.txt", m)
		if err != nil {
			t.Fatal(errorText(err))
		}
		var got []string
		bad := eachRow(text, "log.txt", l, func(row *Row, pos record.Pos) []*Problem {
			var ev record.Event
			var job record.Job
			_, _, problems := DecodeRow(row, pos, &ev, &job)
			got = append(got, eventLine(ev))
			return problems
		})
		if bad.Total > 0 {
			t.Fatal(errorText(bad))
		}
		var want []string
		for _, r := range rows {
			want = append(want, fmt.Sprint(r.at.Unix(), " ", r.event, " VI-7 ", r.source, " ", r.from, "-", r.to, " ", record.Volts(float64(r.volts)/10), " ", r.expected))
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s\n%s", diff, g.Map)
		}
	})
	if sure*3 < total {
		t.Errorf("sure of %d in %d dialects: the test shows little", sure, total)
	}
}

func eventLine(ev record.Event) string {
	expected := ""
	if ev.HasExpected {
		expected = fmt.Sprint(float64(ev.Expected))
	}
	return fmt.Sprint(ev.Time.Unix(), " ", ev.Kind, " ", ev.Indicator, " ", ev.Source, " ", ev.Pair, " ", ev.Volts.Volts, " ", expected)
}

// Sheets have no blank cells at the end of a row; a title stands above the header.
func TestGuessMapOfWorkbook(t *testing.T) {
	book := excelizeBook(t, func(f *excelize.File) error {
		for i, row := range [][]any{
			{"Round of Saturday"},
			{"Time", "Event", "Indicator", "Pair", "Volts", "Source", "Expected"},
			{"2026-03-02T10:14:00Z", "prove", "VI-1", nil, 249.8, "PU-1", 250.0},
			{"2026-03-02T10:15:00Z", "test", "VI-1", "L-N", 0.2},
			{"2026-03-02T10:15:30Z", "test", "VI-1", "L-E", 0.4},
			{"2026-03-02T10:16:00Z", "test", "VI-1", "N-E", 0.1},
		} {
			if err := f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
				return err
			}
		}
		return nil
	})
	got, err := GuessMap(book, "round.xlsx")
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(got.Map, "delimiter") {
		t.Errorf("a workbook needs no delimiter:\n%s", got.Map)
	}
	for _, line := range []string{"header: 2", "  pair: Pair", "  source: Source", "  expected: Expected"} {
		if !strings.Contains(got.Map, "\n"+line+" ") {
			t.Errorf("no line %q in\n%s", line, got.Map)
		}
	}
}

// A person, or the equipment worked on, must not surely become the indicator: it is the
// same in many rows, and the proof of one indicator would stand for the tests of another.
func TestGuessIndicator(t *testing.T) {
	const (
		tester  = `"Tester" may be the person who tested`
		prüfer  = `"Prüfer" may be the person who tested`
		person  = `, or an indicator: see which of the two it is`
		settled = `: see which column holds the ids of the voltage indicators, and name it here`
	)
	for _, tt := range []struct {
		columns, cells string // beside those of the log
		sure           bool
		want           []string // lines that speak of them, the comments of sure ones left out
	}{
		{"Prüfer;Messgerät", "Marek;VI-3", false, []string{
			"  indicator: Messgerät", `#   technician: Prüfer  # UNSURE: column 5, as in "Marek": ` + prüfer + person,
		}},
		{"Tester;Tester ID", "Marek;VI-3", false, []string{
			`#   indicator: Tester ID  # UNSURE: column 6, as in "VI-3": "Tester ID" may be the person who tested` + settled,
			`#   technician: Tester  # UNSURE: column 5, as in "Marek": ` + tester + person,
		}},
		{"Tester;Meter", "Marek;VI-3", false, []string{
			`#   indicator: Meter  # UNSURE: column 6, as in "VI-3": "Meter" may be the meter of the supply` + settled,
			`#   technician: Tester  # UNSURE: column 5, as in "Marek": ` + tester + person,
		}},
		{"Tester;Device", "Marek;VI-3", false, []string{
			`#   indicator: Device  # UNSURE: column 6, as in "VI-3": "Device" may be the isolating device` + settled,
			`#   technician: Tester  # UNSURE: column 5, as in "Marek": ` + tester + person,
		}},
		{"Tester", "VI-3", false, []string{`#   indicator: Tester  # UNSURE: column 5, as in "VI-3": ` + tester + settled}},
		{"Prüfer;Prüfgerät-Nr.", "Marek;VI-3", false, []string{
			`  indicator: "Prüfgerät-Nr."`, `#   technician: Prüfer  # UNSURE: column 5, as in "Marek": ` + prüfer + person,
		}},
		{"Prüfgerät;Prüfgerät-Nr.", "zweipolig;VI-3", false, []string{
			`#   indicator: "Prüfgerät-Nr."  # UNSURE: several columns may be indicator: Prüfgerät, "Prüfgerät-Nr.". Name one, and the others under ignore`,
		}},
		{"Techniker;Messgerät", "Marek;VI-3", true, []string{"  indicator: Messgerät", "  technician: Techniker"}},
		{"opérateur;Appareil de mesure n°", "Marek;VI-3", true, []string{`  indicator: "Appareil de mesure n°"`, "  technician: opérateur"}},
		{"Instrument", "Marek", false, []string{`#   indicator: Instrument  # UNSURE: column 5, as in "Marek": ids of instruments hold a digit, and "Marek" has none` + settled}},
		{"Instrument;Used", "A1;VI-3", false, []string{
			`#   indicator: Instrument  # UNSURE: column 5, as in "A1": the cells of Used, column 6, as in "VI-3", look like ids of instruments too` + settled,
			"# Not used: Used, column 6, as in \"VI-3\".",
		}},
		{"indicator;Panel", "VI-3;DB-2", true, []string{"  indicator: indicator", "# Not used: Panel, column 6, as in \"DB-2\"."}},
		{"indicator;device", "VI-3;60947-3", true, []string{"  indicator: indicator", "  device: device"}},
		{"Used", "VI-3", false, []string{
			`#   indicator: Used  # UNSURE: column 5, as in "VI-3": its name does not say so, but the cells look like ids of instruments` + settled,
		}},
		{"Instrument;No. of order", "VI-3;7", true, []string{"  indicator: Instrument", "# Not used: \"No. of order\", column 6, as in \"7\"."}},
		{"Fiche;Messgerät", "R1;VI-3", true, []string{"  record: Fiche", "  indicator: Messgerät"}},
		{"Auftrags-Nr.;Messgerät", "R1;VI-3", true, []string{`  record: "Auftrags-Nr."`, "  indicator: Messgerät"}},
	} {
		file := "time;event;pair;volts;" + tt.columns + "\n2026-03-02T10:15:00Z;test;L-N;0.2;" + tt.cells + "\n"
		g, err := GuessMap([]byte(file), "log.csv")
		if err != nil {
			t.Errorf("%s: %v", tt.columns, err)
			continue
		}
		var got []string
		_, body, _ := strings.Cut(g.Map, "\ncolumns:")
		for line := range strings.Lines(body) {
			line = strings.TrimSuffix(line, "\n")
			if text, comment, _ := strings.Cut(line, "  # "); !strings.HasPrefix(comment, "UNSURE") {
				line = text
			}
			if line != "" && !strings.HasPrefix(line, noRecord) && !slices.Contains([]string{"  time: time", "  event: event", "  pair: pair", "  volts: volts"}, line) {
				got = append(got, line)
			}
		}
		if diff := cmp.Diff(tt.want, got); diff != "" || g.Sure != tt.sure {
			t.Errorf("%s: sure is %v: %s", tt.columns, g.Sure, diff)
		}
	}
	for line, want := range map[string]string{
		"Messgerät: VI-3": "  indicator: {preamble",
		"Gerät: P-3":      "#   indicator: {preamble",
		"Serial: pump":    "#   indicator: {preamble",
	} {
		g, err := GuessMap([]byte(line+"\ntime;event;pair;volts\n2026-03-02T10:15:00Z;test;L-N;0.2\n"), "log.csv")
		if err != nil || !strings.Contains(g.Map, "\n"+want) || g.Sure == (want[0] == '#') {
			t.Errorf("%q: no line %q, or sure of it: %v, %v", line, want, g, err)
		}
	}
}

// No name means two columns: which one it meant would be chance.
func TestGuessNamesOnce(t *testing.T) {
	of := make(map[string]Column)
	for c, names := range guessNames {
		for _, name := range names {
			if other, twice := of[name]; twice {
				t.Errorf("%q is %v and %v", name, c, other)
			}
			of[name] = c
		}
	}
}

// A log of steps has no instrument, no conductors and no volts to miss.
func TestGuessStepsOnly(t *testing.T) {
	g, err := GuessMap([]byte("record,time,event\nR1,2026-03-02T10:15:00Z,isolated\nR1,2026-03-02T10:16:00Z,lock\n"), "permits.csv")
	if err != nil {
		t.Fatal(err)
	}
	if !g.Sure {
		t.Errorf("unsure of\n%s", g.Map)
	}
}

// A zone is one only where the log says so: the stamp of an export is no zone of
// its rows, and UTC-5 is not UTC.
func TestGuessZone(t *testing.T) {
	const row = "2026-03-14 10:15:00,lock\n"
	for file, want := range map[string]string{
		"Time (UTC),event\n" + row:                             "zone: UTC  #",
		"Time [Europe/Berlin],event\n" + row:                   "zone: Europe/Berlin  #",
		"Zeitzone: Europe/Berlin\ntime,event\n" + row:          "zone: Europe/Berlin  #",
		"Exported 2026-03-14 11:00 UTC\ntime,event\n" + row:    "# zone: Europe/Berlin  # UNSURE",
		"Time zone: UTC-5\ntime,event\n" + row:                 "# zone: Europe/Berlin  # UNSURE",
		"Time zone: UTC +01:00\ntime,event\n" + row:            "# zone: Europe/Berlin  # UNSURE",
		"Time (UTC\u22125),event\n" + row:                      "#   time: ?  # UNSURE",
		"Time zone: Europe/Atlantis\ntime,event\n" + row:       "# zone: Europe/Berlin  # UNSURE",
		"time,event\n2026-03-14 10:15:00+01:00,lock\n":         "  time: time  #",
		"time,event\n2026-03-14 10:15:00+0100,lock\n":          `  time: {column: time, layout: "yyyy-M-d H:mm:ssXXX"}  #`,
		"Zone: Europe/Berlin\nTimestamp,event\n46083.5,lock\n": "#   time: {column: Timestamp}  # UNSURE",
	} {
		g, err := GuessMap([]byte(file), "log.csv")
		if err != nil {
			t.Errorf("%q: %v", file, err)
			continue
		}
		if !strings.Contains(g.Map, "\n"+want) {
			t.Errorf("%q: no line %q in\n%s", file, want, g.Map)
		}
	}
}

// 0xb0 is the degree sign of Windows-1252.
func TestGuessMapOfWindows1252(t *testing.T) {
	got, err := GuessMap([]byte("time,event,indicator,pair,volts,note\n2026-03-02T10:15:00Z,test,VI-1,L-N,0.2,17 \xb0C\n"), "log.csv")
	if err != nil {
		t.Fatal(err)
	}
	if want := "\nencoding: windows-1252  # line 2 holds the byte 0xb0"; !strings.Contains(got.Map, want) {
		t.Errorf("no line %q in\n%s", want, got.Map)
	}
}
