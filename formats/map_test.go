package formats

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/record"
)

// readRows reads a file of readings through a map and writes every row as
// column=text pairs, skipped rows and problems as what they are.
func readRows(mapText, name, file string) string {
	m, err := ParseMap("map.yaml", []byte(mapText))
	if err != nil {
		return errorText(err)
	}
	text, err := textOf([]byte(file), name, m.section(readingsFile, name))
	if err != nil {
		return errorText(err)
	}
	l, err := Bind(text, name, m)
	if err != nil {
		return errorText(err)
	}
	var out []string
	line := l.FirstLine
	for rest := text[l.FirstRow:]; rest != ""; {
		fields, n, lines, problem := SplitRow(rest, l.Comma, nil)
		pos := record.Pos{File: name, Line: line}
		if problem != nil {
			return strings.Join(append(out, problem.At(pos).Error()), "\n")
		}
		out = append(out, rowText(l, fields, pos))
		rest = rest[n:]
		line += lines + 1
	}
	return strings.Join(out, "\n")
}

func rowText(l *Layout, fields []Field, pos record.Pos) string {
	var row Row
	use, _, problems := l.canonical(fields, &row)
	if use == Skipped {
		return "skipped"
	}
	if len(problems) == 0 {
		var ev record.Event
		var job record.Job
		_, _, problems = DecodeRow(&row, pos, &ev, &job)
	}
	var parts []string
	for _, p := range problems {
		parts = append(parts, p.At(pos).Error())
	}
	if len(problems) > 0 {
		return strings.Join(parts, "\n")
	}
	for c := range NumColumns {
		if text := row[c].Text; text != "" {
			parts = append(parts, c.String()+"="+text)
		}
	}
	return strings.Join(parts, " ")
}

// Each dialect in a file that can be judged by eye. "u | v" is a file of one
// time a row, in UTC, unless the case is about that.
func TestDialects(t *testing.T) {
	tests := []struct{ name, mapText, file, want string }{
		{
			"semicolons, decimal commas, units in cells",
			"delimiter: semicolon\ndecimal: comma\nzone: Europe/Berlin\nlayout: dd.MM.yyyy HH:mm:ss\n" +
				"columns:\n  time: Zeit\n  event: {column: Art, words: {Messung: test, Eigentest: prove}}\n" +
				"  indicator: {value: VI-7}\n  pair: Leiter\n  volts: U\n",
			"Zeit;Art;Leiter;U\n02.03.2026 10:15:00;Eigentest;;229,8 V\n02.03.2026 10:15:40;MESSUNG;L1-N;0,23 kV\n02.03.2026 10:15:41;Messung;L1/N;1500 mV\n02.03.2026 10:15:42;Messung;L1/N;-1,5E-1 V\n",
			"time=2026-03-02T10:15:00+01:00 event=prove indicator=VI-7 volts=229.8\n" +
				"time=2026-03-02T10:15:40+01:00 event=test indicator=VI-7 pair=L1-N volts=230\n" +
				"time=2026-03-02T10:15:41+01:00 event=test indicator=VI-7 pair=L1/N volts=1.500\n" +
				"time=2026-03-02T10:15:42+01:00 event=test indicator=VI-7 pair=L1/N volts=-1.5E-1",
		},
		{
			"preamble, header by its text, footer, comments, tabs",
			"delimiter: tab\nheader: {contains: \"when\\twhat\"}\ncomment: '#'\nskip: ['^Total']\n" +
				"columns:\n  time: when\n  event: what\n  indicator: {preamble: '^Serial: *(\\S+)'}\n",
			"Logger\nSerial: VI-03\n\nwhen\twhat\n# a remark\n2026-03-02T10:15:00Z\tisolate\nTotal: 1 row\n",
			"skipped\ntime=2026-03-02T10:15:00Z event=isolate indicator=VI-03\nskipped",
		},
		{
			"no header, columns by number, record from the file's name",
			"header: none\nfirst: 2\ncolumns:\n  record: {file: '^(R\\d+)-'}\n  time: {column: 1, layout: unix}\n  event: {value: test}\n  indicator: 2\n  from: 3\n  to: 4\n  volts: {column: 5, unit: mV}\n",
			"first line\n1772446500.25,VI-1,L,N,200\n",
			"record=R7 time=2026-03-02T10:15:00.25Z event=test indicator=VI-1 from=L to=N volts=0.200",
		},
		{
			"date and time of day in two columns",
			"zone: +01:00\ncolumns:\n  time: {date: D, clock: T, layout: d.M.yy h:mm a}\n  event: E\n",
			"D,T,E\n2.3.26,9:05 pm,lock\n2.3.26,12:05 a.m.,lock\n",
			"time=2026-03-02T21:05:00+01:00 event=lock\ntime=2026-03-02T00:05:00+01:00 event=lock",
		},
		{
			"names of months",
			"zone: UTC\nlayout: d. MMM yyyy, HH:mm\nmonths: [Jan, Feb, März, Apr, Mai, Juni, Juli, Aug, Sept, Okt, Nov, Dez]\ncolumns:\n  time: T\n  event: E\n",
			"T,E\n\"2. März 2026, 10:15\",lock\n\"2. okt. 2026, 10:15\",lock\n\"2. Oct 2026, 10:15\",lock\n",
			"time=2026-03-02T10:15:00Z event=lock\ntime=2026-10-02T10:15:00Z event=lock\n" +
				`f.csv:4:1: time "2. Oct 2026, 10:15": not a time of the layout that the map names`,
		},
		{
			"conductors by other letters",
			"columns:\n  time: time\n  event: event\n  indicator: vi\n  pair: {column: P, words: {Phase A: L1, Phase B: L2, Neutral: N, Ground: E}, separator: ' to '}\n  volts: V\n",
			"time,event,vi,P,V\n2026-03-02T10:15:00Z,test,VI-1,Phase A to Ground,0\n2026-03-02T10:15:00Z,test,VI-1,phase b to NEUTRAL,OL\n2026-03-02T10:15:00Z,test,VI-1,Phase A,0\n",
			"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L1/E volts=0\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L2/N volts=OL\n" +
				`f.csv:4:32: pair "Phase A": not two conductors with " to " between them`,
		},
		{
			"conductors translated within a pair",
			"columns:\n  pair: {column: P, words: {A: L1, G: E, A-G: L2-E}}\n",
			"time,event,indicator,P,volts\n2026-03-02T10:15:00Z,test,VI-1,a-n,0\n2026-03-02T10:15:00Z,test,VI-1,A-G,0\n",
			"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L1/n volts=0\ntime=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L2-E volts=0",
		},
		{
			"unit column",
			"columns:\n  volts: {column: value, unit_column: unit}\n",
			"time,event,indicator,pair,value,unit\n2026-03-02T10:15:00Z,test,VI-1,L-N,200,mV\n2026-03-02T10:15:00Z,test,VI-1,L-N,200,V AC\n2026-03-02T10:15:00Z,test,VI-1,L-N,0.2 kV,mV\n2026-03-02T10:15:00Z,test,VI-1,L-N,200,\n2026-03-02T10:15:00Z,test,VI-1,L-N,200,ohm\n2026-03-02T10:15:00Z,isolate,,,,\n",
			"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=0.200\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=200 waveform=ac\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=200\n" +
				`f.csv:5:36: volts "200": a number without a unit: the unit column is blank` + "\n" +
				`f.csv:6:36: volts "200": an unknown unit behind the number: the unit column says "ohm"` + "\n" +
				"time=2026-03-02T10:15:00Z event=isolate",
		},
		{
			"function column: what is no voltage is no reading",
			"columns:\n  volts: value\nfunction:\n  column: mode\n  words: {V AC: ac, V DC: dc, DC mV: dc mV, Ohm: other}\n",
			"time,event,indicator,pair,value,mode\n2026-03-02T10:15:00Z,test,VI-1,L-N,0,v ac\n2026-03-02T10:15:00Z,test,VI-1,L-N,5,DC mV\n2026-03-02T10:15:00Z,test,VI-1,L-N,5,Ohm\n2026-03-02T10:15:00Z,test,VI-1,L-N,5,Hz\n2026-03-02T10:15:00Z,test,VI-1,L-N,5,\n2026-03-02T10:15:00Z,lock,,,,Ohm\n",
			"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=0 waveform=ac\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=0.005 waveform=dc\n" +
				"skipped\n" +
				`f.csv:5:38: function "Hz": a function that the map does not know` + "\n" +
				"f.csv:6:38: function blank: a reading without a function\n" +
				"time=2026-03-02T10:15:00Z event=lock",
		},
		{
			"a waveform told with the unit",
			"columns: {volts: value}\n",
			"time,event,indicator,pair,value,waveform\n2026-03-02T10:15:00Z,test,VI-1,L-N,0 V~,\n2026-03-02T10:15:00Z,test,VI-1,L-N,0 VDC,both\n2026-03-02T10:15:00Z,test,VI-1,L-N,0 V DC,ac\n",
			"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=0 waveform=ac\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=0 waveform=dc\n" +
				`f.csv:4:43: waveform "ac": the row says ac in one place and dc in another (waveform, function, unit)`,
		},
		{
			"what is no value", // SCPI-1999, volume 1, 7.2.1: 9.9E37 and 9.91E37 are no numbers, in whatever unit
			"decimal: comma\ncolumns:\n  volts: {column: mess, unit: mV, words: {Bereich: OL, leer: '---'}}\n",
			"time,event,indicator,pair,mess\n2026-03-02T10:15:00Z,test,VI-1,L-N,9.9E37\n2026-03-02T10:15:00Z,test,VI-1,L-N,\"9,9E37\"\n2026-03-02T10:15:00Z,test,VI-1,L-N,\"9,91E37\"\n" +
				"2026-03-02T10:15:00Z,test,VI-1,L-N,Bereich\n2026-03-02T10:15:00Z,test,VI-1,L-N,LEER\n2026-03-02T10:15:00Z,test,VI-1,L-N,>600 V\n2026-03-02T10:15:00Z,test,VI-1,L-N,\n",
			`f.csv:2:36: volts "9.9E37": not a number` + "\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=9.9E37\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=9.91E37\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=OL\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=---\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=>600 V\n" +
				"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N",
		},
		{
			"numbers that are none",
			"delimiter: semicolon\ndecimal: comma\nthousands: point\n",
			"time;event;indicator;pair;volts\n2026-03-02T10:15:00Z;test;VI-1;L-N;1.234,5\n2026-03-02T10:15:00Z;test;VI-1;L-N;229.8\n2026-03-02T10:15:00Z;test;VI-1;L-N;2,298,1\n2026-03-02T10:15:00Z;test;VI-1;L-N;23O\n2026-03-02T10:15:00Z;test;VI-1;L-N;23 MV\n",
			"time=2026-03-02T10:15:00Z event=test indicator=VI-1 pair=L-N volts=1234.5\n" +
				`f.csv:3:36: volts "229.8": not a number: thousands are not in groups of three digits` + "\n" +
				`f.csv:4:36: volts "2,298,1": not a number` + "\n" +
				`f.csv:5:36: volts "23O": an unknown unit behind the number` + "\n" +
				`f.csv:6:36: volts "23 MV": an unknown unit behind the number`,
		},
		{
			"a part of a cell",
			"columns:\n  record: {column: what, match: '^(R\\d+)/'}\n  event: {column: what, match: '/(\\w+)$'}\n",
			"time,what\n2026-03-02T10:15:00Z,R7/lock\n2026-03-02T10:15:00Z,7/lock\n",
			"record=R7 time=2026-03-02T10:15:00Z event=lock\n" +
				`f.csv:3:22: record "7/lock": not of the form that the map asks for with match`,
		},
		{
			"a canonical file with a column that is knowingly ignored",
			"ignore: [Range]\n",
			"time,event,range\n2026-03-02T10:15:00Z,lock,600 V\n",
			"time=2026-03-02T10:15:00Z event=lock",
		},
		{
			"quoted line breaks",
			"delimiter: ;\n",
			"time;event;note\n2026-03-02T10:15:00Z;lock;\"two\nlines\"\n2026-03-02T10:15:00Z;lok;\n",
			"time=2026-03-02T10:15:00Z event=lock note=two\nlines\n" + `f.csv:4:22: event "lok": unknown word`,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			name := "f.csv"
			if strings.Contains(tt.mapText, "file:") {
				name = "logs/R7-a.csv"
			}
			if diff := cmp.Diff(tt.want, readRows(tt.mapText, name, tt.file)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// A wrong map, or a map for another file, says so before any row is read.
func TestBindMapRefuses(t *testing.T) {
	const columns = "columns:\n  time: T\n  event: E\n"
	tests := []struct{ name, mapText, head, want string }{
		{"column missing", columns, "T,F\n", `f.csv:1: header "E": no such column; the map (map.yaml:3:10) wants it for event`},
		{"column twice", columns, "T,E,t\n", `f.csv:1:5: header "t": two columns have this name, and the map (map.yaml:2:9) wants one of them for time`},
		{"number too high", "header: none\ncolumns: {time: 1, event: 3}\n", "a,b\n", "f.csv:1: header blank: the file has 2 columns, and the map (map.yaml:2:27) wants column 3 for event"},
		{"no such header", "header: {contains: Zeit}\n" + columns, "T,E\n", `f.csv: header "Zeit": no line contains this text, by which the map knows the header`},
		{"header too far", "header: 5\n" + columns, "T,E\n", "f.csv: header blank: the file ends before the header"},
		{"time missing", "columns: {event: E}\n", "T,E\n", `f.csv:1: header "time": no such column, and the map does not say where it comes from`},
		{
			"volts and expected from one column", "columns: {volts: U, expected: U}\n", "time,event,U\n",
			`f.csv:1:12: header "U": the map uses this column twice, for volts and for expected`,
		},
		{
			"two columns for one", "columns: {volts: U}\n", "time,event,U,volts\n",
			`f.csv:1:14: header "volts": the map takes volts from elsewhere, and the file has a column of that name`,
		},
		{"unit in a name", "columns: {volts: U (mV)}\n", "time,event,U (mV)\n", `f.csv:1:12: header "U (mV)": the name tells a unit that is not V, and the map none`},
		{"wrong unit", "columns: {volts: {column: U (mV), unit: V}}\n", "time,event,U (mV)\n", `f.csv:1:12: header "U (mV)": the name tells one unit and the map another`},
		{"waveform in a name", "columns: {volts: U DC}\n", "time,event,U DC\n", `f.csv:1:12: header "U DC": the name tells that the voltage is dc, and the map does not`},
		{"range not spoken of", columns, "T,E,Range\n", `f.csv:1:5: header "Range": a column that tells a range cannot be ignored without saying so`},
		{
			"unit told by cells of a file without a header", "header: none\ncolumns: {time: 1, event: 2}\n", "1,test,mV\n",
			`f.csv:1:8: header "column 3": a column that tells a unit, a range, a function or a coupling (its cells do) cannot be ignored without saying so`,
		},
		{"no zone", "layout: dd.MM.yyyy HH:mm\n" + columns, "T,E\n", `f.csv:1:1: header "T": times without an offset need a zone`},
		{"no line above the header", "columns: {indicator: {preamble: 'S/N (.*)'}}\n", "time,event\n", "f.csv:1: header blank: no line above the header is of the form that the map asks for indicator"},
		{"another name of the file", "columns: {record: {file: '^(R.*)$'}}\n", "time,event\n", `f.csv:1: header "f.csv": the name of the file is not of the form that the map asks for record`},
		{"from without to", "columns: {from: A}\n", "time,event,A\n", "f.csv:1: header blank: one of the columns from and to stands without the other"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m, err := ParseMap("map.yaml", []byte(tt.mapText))
			if err != nil {
				t.Fatal(errorText(err))
			}
			if _, err = Bind(tt.head, "f.csv", m); err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(tt.want, errorText(err)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestParseMapRefuses(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"empty", "# nothing\n", "m.yaml: the map is empty"},
		{"not YAML", "a: [1\n", "m.yaml:1:4: sequence end token ']' not found"},
		{"no mapping", "- a\n", "m.yaml:1:1: not a list of keys with values"},
		{"unknown key", "delimeter: ;\n", `m.yaml:1:1: "delimeter": unknown key`},
		{"key twice", "zone: UTC\nzone: UTC\n", `m.yaml:2:1: mapping key "zone" already defined at [1:1]`},
		{"unknown column", "columns:\n  voltage: U\n", `m.yaml:2:3: columns "voltage": no such column of readings`},
		{"column of the register", "columns:\n  stages: U\n", `m.yaml:2:3: columns "stages": no such column of readings`},
		{"unknown key of a column", "columns:\n  record: {column: R, unit: V}\n", `m.yaml:2:23: record "unit": unknown key`},
		{"no source", "columns:\n  record: {words: {a: b}}\n", `m.yaml:2:3: columns "record": it has not one source`},
		{"two sources", "columns:\n  record: {column: R, value: R7}\n", `m.yaml:2:3: columns "record": it has not one source`},
		{"a constant voltage", "columns:\n  volts: {value: 0}\n", `m.yaml:2:11: volts "value": unknown key`},
		{"a constant step", "columns:\n  stage: {value: none}\n", `m.yaml:2:11: stage "value": unknown key`},
		{"a time without a time of day", "columns:\n  time: {column: T, layout: dd.MM.yyyy}\n", `m.yaml:1:1: layout "dd.MM.yyyy": it has no time of day`},
		{"a constant time", "columns:\n  time: {value: now}\n", `m.yaml:2:10: time "value": unknown key`},
		{"a word for volts", "columns:\n  volts: {column: U, words: {none: 0}}\n", `m.yaml:2:36: volts "0": a word cannot stand for a number of volts`},
		{"a blank for volts", "columns:\n  volts: {column: U, words: {none: ''}}\n", `m.yaml:2:36: volts blank: a word cannot stand for a number of volts`},
		{"beyond the range made no value", "columns:\n  volts: {column: U, words: {OL: '---'}}\n", `m.yaml:2:34: words "OL": beyond the range is live, and no word makes it less`},
		{"a word that is none", "columns:\n  event: {column: E, words: {x: tested}}\n", `m.yaml:2:33: event "tested": unknown word`},
		{"a word twice", "columns:\n  event: {column: E, words: {x: test, X: prove}}\n", `m.yaml:2:39: words "X": the word stands twice (case does not matter)`},
		{"a conductor that is none", "columns:\n  from: {column: A, words: {x: L 1}}\n", `m.yaml:2:32: from "L 1": not a conductor name`},
		{"a constant that is none", "columns:\n  waveform: {value: AC/DC}\n", `m.yaml:2:21: waveform "AC/DC": unknown word`},
		{"date without clock", "columns:\n  time: {date: D}\n", `m.yaml:2:3: columns "time": one of date and clock stands without the other`},
		{"unit", "columns:\n  volts: {column: U, unit: MV}\n", `m.yaml:2:28: unit "MV": unknown unit`},
		{"column 0", "columns:\n  volts: 0\n", `m.yaml:2:10: volts "0": not a number from 1`},
		{"no value", "columns:\n  volts:\n", "m.yaml:2:10: volts blank: no value"},
		{"delimiter", "delimiter: ab\n", `m.yaml:1:12: delimiter "ab": not a delimiter`},
		{"delimiter that numbers hold", "delimiter: '.'\n", `m.yaml:1:12: delimiter ".": not a delimiter`},
		{"decimal and thousands", "thousands: point\n", `m.yaml:1:1: thousands ".": the decimal mark is the same`},
		{"encoding", "encoding: latin\n", `m.yaml:1:11: encoding "latin": unknown word`},
		{"zone", "zone: CET\n", `m.yaml:1:7: zone "CET": no name of a zone`},
		{"no such zone", "zone: Europe/Atlantis\n", `m.yaml:1:7: zone "Europe/Atlantis": no such zone`},
		{"the zone of this machine", "zone: Local\n", `m.yaml:1:7: zone "Local": no name of a zone`},
		{"layout: week year", "layout: YYYY-MM-dd\n", `m.yaml:1:9: layout "YYYY-MM-dd": "YYYY" is no part of a layout: the year is yyyy`},
		{"layout: minutes for months", "layout: yyyy-mm-dd\n", `m.yaml:1:9: layout "yyyy-mm-dd": it has no month (MM)`},
		{"layout: no half of the day", "layout: yyyy-MM-dd hh:mm\n", `m.yaml:1:9: layout "yyyy-MM-dd hh:mm": hh and a go together`},
		{"pattern", "skip: ['(']\n", `m.yaml:1:7: skip "(": not a regular expression: missing closing ): ` + "`(`"},
		{"pattern that skips all", "skip: ['x*']\n", `m.yaml:1:7: skip "x*": it matches every row`},
		{"pattern without a group", "columns:\n  record: {file: 'R.*'}\n", `m.yaml:2:18: file "R.*": not one group in round brackets`},
		{"names without a header", "header: none\ncolumns: {time: T}\n", `m.yaml:1:1: columns "T": a file without a header has no names of columns`},
		{"rows above the header", "header: 3\nfirst: 2\n", `m.yaml:1:1: first "2": the first row is not below the header`},
		{"function without words", "function: {column: F}\n", "m.yaml:1:1: function blank: it needs column and words"},
		{"function", "function: {column: F, words: {x: volts?}}\n", `m.yaml:1:34: function "volts?": unknown meaning`},
		{"function in mV", "function: {column: F, words: {DC mV: dc}}\n", `m.yaml:1:38: function "DC mV": this word tells a unit that is not V`},
		{"anchors", "zone: &z UTC\n", "m.yaml:1:7: zone blank: not a single value"},
		{"a part that is never used", "zone: UTC\n---\nzone: UTC\n", "m.yaml:3:1: this part is never used: the one before it is for every file of its kind"},
		{"months", "months: [a, b]\n", "m.yaml:1:9: months blank: not the names of twelve months"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ParseMap("m.yaml", []byte(tt.text))
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(tt.want, errorText(err)); diff != "" {
				t.Error(diff)
			}
		})
	}
}
