package formats

import (
	"strings"
	"testing"

	"nilvolt/record"
)

// A lineCase is a line and what it comes to: the text of the event, "-" for no row,
// or the start of the first problem behind an exclamation mark.
type lineCase struct{ line, want string }

func runLines(t *testing.T, m *Map, cases []lineCase) {
	t.Helper()
	lines := NewLines("indicator", m)
	for i, c := range cases {
		d := lines.Next(c.line, record.Pos{File: "journal", Line: i + 1}, func(row *Row) {
			if row[TimeColumn].Text == "" {
				row[TimeColumn].Text = "2026-03-02T10:15:40Z"
			}
		})
		got := "-"
		switch d.Outcome {
		case Decoded:
			got = d.Event.Kind.String() + " " + d.Event.Indicator + " " + d.Event.Pair.String() + " " + d.Event.Volts.Text
		case BadRow:
			got = "!" + d.Problems[0].Error()
		case NoRow:
		}
		if got != c.want && !(strings.HasPrefix(c.want, "!") && strings.HasPrefix(got, c.want)) {
			t.Errorf("line %d %q:\n got %s\nwant %s", i+1, c.line, got, c.want)
		}
	}
}

func TestLinesCanonical(t *testing.T) {
	runLines(t, nil, []lineCase{
		{"", "-"},
		{"\xff\xfe\x01", "!journal:2"}, // before the header nothing can be read
		{"time", "!journal:3"},         // one word could be anything
		{"event,indicator,pair,volts", "-"},
		{"test,VI-1,L-N,0.4", "test VI-1 L-N 0.4"},
		{"test,VI-1,L-N", "!journal:6: 3 fields where the header has 4 fields"},
		{"test,VI-1,L-N,0.4,x", "!journal:7"},
		{"event,indicator,pair,volts", "-"}, // the instrument was switched off and on
		{"test,VI-1,L-N,1O0", "!journal:9"},
		{`test,VI-1,"L-N,0.4`, "!journal:10"},
		{"indicator,event,pair,volts", "-"}, // another header
		{"VI-1,test,L-E,OL", "test VI-1 L-E OL"},
	})
}

// Millivolts told in a column that nobody reads would be volts.
func TestLinesColumnsThatTell(t *testing.T) {
	runLines(t, nil, []lineCase{
		{"event,indicator,pair,volts,unit", "!journal:1"},
		{"event,indicator,pair,volts,shown", "-"},
		{"test,VI-1,L-N,0.4,mV", "!journal:3"},
		{"test,VI-1,L-N,0.4,", "!journal:4"}, // and nothing behind it can be trusted
	})
}

// What stands between the header and the row that the key first names is no row.
func TestLinesBeforeTheFirstRow(t *testing.T) {
	for _, c := range []struct{ name, header string }{
		{"below the header", "header: 1"},
		{"below a header that is known by its words", "header: {contains: Messwert}"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := mustMap(t, "delimiter: semicolon\n"+c.header+`
first: 4
columns:
  event: {value: test}
  indicator: {value: VI-1}
  pair: Paar
  volts: {column: Messwert, unit: V}
`)
			runLines(t, m, []lineCase{
				{"Paar;Messwert", "-"},
				{"Text;Zahl", "-"},
				{"", "-"}, // an empty line is none
				{"-;Volt", "-"},
				{"L-N;0.4", "test VI-1 L-N 0.4"},
				{"L-E;0,4", "!journal:6"},
			})
		})
	}
}

func TestLinesThroughMap(t *testing.T) {
	ascii := mustMap(t, `
delimiter: space
header: none
columns:
  event: {value: test}
  indicator: 1
  pair: 2
  volts: {column: 3, unit: V}
`)
	runLines(t, ascii, []lineCase{
		{"hello", "!journal:1"},
		{"VI-7 L-N 0.4 x", "test VI-7 L-N 0.4"},
		{"VI-7 L-N 2", "!journal:3"}, // once a row was read, every row has as many fields: 2 may be the start of 230
		{"VI-7 L-E OL x", "test VI-7 L-E OL"},
	})
	headed := mustMap(t, `
delimiter: semicolon
header: {contains: "Art;"}
columns:
  event: {column: Art, words: {Messung: test}}
  indicator: {preamble: 'No\. (\S+)'}
  pair: Leiter
  volts: {column: U, unit: V}
`)
	runLines(t, headed, []lineCase{
		{"Voltage indicator", "-"},
		{"No. VI-9", "-"},
		{"Art;Leiter;U", "-"},
		{"Messung;L-N;0.4", "test VI-9 L-N 0.4"},
		{"Pause;L-N;0.4", "!journal:5"},
	})
}

// FuzzLines: a line that is decoded is decoded in the same way as the row of a file
// with the same header.
func FuzzLines(f *testing.F) {
	f.Add("test,VI-1,L-N,0.4")
	f.Add("prove,VI-1,,\"230\"")
	f.Add("test,VI-1,N-L,\xff")
	f.Fuzz(func(t *testing.T, line string) {
		if strings.ContainsAny(line, "\r\n") {
			t.Skip()
		}
		const header = "event,indicator,pair,volts"
		fill := func(row *Row) { row[TimeColumn].Text = "2026-03-02T10:15:40Z" }
		lines := NewLines("indicator", nil)
		lines.Next(header, record.Pos{File: "f", Line: 1}, fill)
		d := lines.Next(line, record.Pos{File: "f", Line: 2}, fill)
		if d.Outcome != Decoded {
			return
		}
		layout, err := Bind("time,"+header+"\n", "f", nil)
		if err != nil {
			t.Fatal(err)
		}
		var ev record.Event
		_, _, o := NewDecoder(layout, "f").Next("2026-03-02T10:15:40Z,"+line+"\n", 2, &ev)
		if o != Decoded || !ev.SameContent(&d.Event) {
			t.Errorf("%q: as a line %+v, in a file %v %+v", line, d.Event, o, ev)
		}
	})
}
