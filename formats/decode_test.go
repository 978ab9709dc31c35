package formats

import (
	"encoding/csv"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/record"
)

// decodeOne decodes one row of a canonical file, by column=text, and returns what
// is wrong with it as "column: message".
func decodeOne(t testing.TB, row string) (ev record.Event, last Last, problems []string) {
	t.Helper()
	names, texts := []string{}, []string{}
	for f := range strings.SplitSeq(row, "; ") {
		name, text, _ := strings.Cut(f, "=")
		names, texts = append(names, name), append(texts, text)
	}
	l := &Layout{Comma: ','}
	for _, name := range names {
		l.Columns = append(l.Columns, Column(slices.Index(columnNames[:], name)))
	}
	d := NewDecoder(l, "a.csv")
	text := strings.Join(texts, ",") + "\n"
	n, lines, outcome := d.Next(text, 7, &ev)
	if n != len(text) || lines != strings.Count(text, "\n") {
		t.Fatalf("%q: %d bytes, %d lines", text, n, lines)
	}
	if outcome == BadRow {
		for _, p := range d.Problems() {
			problems = append(problems, p.Field+": "+p.Message)
			if p.Mend == "" {
				t.Errorf("%s: no mend: %+v", row, p)
			}
		}
	}
	return ev, *d.Last(), problems
}

// The checks of SPEC section 2 on rows.
func TestRowProblems(t *testing.T) {
	const (
		when  = "time=2026-03-02T09:15:00Z; "
		dead  = when + "event=test; indicator=VI-1; from=L; to=N"
		proof = when + "event=prove; indicator=VI-1; source=PU-1"
	)
	unknown := "unknown word"
	tests := []struct {
		row  string
		want []string
	}{
		{dead, nil},
		{proof, nil},
		{when + "event=isolate", nil},
		{when + "event= Test ; indicator= VI-1 ; pair=l1/pe; waveform=AC; switch=ON; side=Load; seq= 12 ", nil},

		{"time=; event=isolate", []string{"time: a row without a time"}},
		{"time=2026-03-02 09:15; event=isolate", []string{"time: not an RFC 3339 time"}},
		{"time=2026-03-02T09:15:00; event=isolate", []string{"time: time without an offset"}},
		{"time=2026-03-02T09:15:00-00:00; event=isolate", []string{"time: offset -00:00 says that the offset is not known"}},
		{"time=2026-02-29T09:15:00Z; event=isolate", []string{"time: no such date or time of day"}},
		{when + "event=", []string{"event: a row without an event"}},
		{when + "event=tested", []string{"event: " + unknown}},

		{when + "event=test; indicator=; from=L; to=N", []string{"indicator: a reading without an indicator"}},
		{when + "event=prove; indicator= ", []string{"indicator: a reading without an indicator"}},
		{when + "event=reprove; source=PU-1", []string{"indicator: a reading without an indicator"}},

		{when + "event=test; indicator=VI-1", []string{"pair: a dead test without its two conductors"}},
		{when + "event=test; indicator=VI-1; from=L; to=", []string{"to: one conductor without the other"}},
		{when + "event=test; indicator=VI-1; from=; to=N", []string{"from: one conductor without the other"}},
		{proof + "; from=L; to=", []string{"to: one conductor without the other"}},
		{when + "event=test; indicator=VI-1; from=E; to=PE", []string{"from: both conductors of the pair are E"}},
		{when + "event=test; indicator=VI-1; pair=G-CPC", []string{"pair: both conductors of the pair are E"}},
		{dead + "; pair=N-L", nil},
		{dead + "; pair=L-E", []string{"pair: not the conductors of from and to, L-N"}},
		{when + "event=test; indicator=VI-1; from=L; to=; pair=L-N", []string{"to: one conductor without the other"}},
		{when + "event=test; indicator=VI-1; from=L?; to=N", []string{"from: not a conductor name"}},
		{when + "event=test; indicator=VI-1; pair=L", []string{"pair: not two conductors with '-', '/' or ':' between them"}},

		{dead + "; volts=1O0", []string{"volts: not a number"}},
		{dead + "; volts=0,1", []string{": 7 fields where the header has 6 fields"}},
		{dead + "; volts=0.1 V", []string{"volts: not a number"}},
		{dead + "; volts=---", nil},
		{proof + "; expected=230V", []string{"expected: not a number"}},
		{dead + "; stage=5O", []string{"stage: not a number"}},
		{dead + "; nominal=4OO", []string{"nominal: not a number"}},
		{dead + "; seq=1.5", []string{"seq: not an integer"}},
		{dead + "; waveform=sine", []string{"waveform: " + unknown}},
		{dead + "; switch=open", []string{"switch: " + unknown}},
		{dead + "; side=line", []string{"side: " + unknown}},
		{dead + "; supply=mains", []string{"supply: " + unknown}},
		{dead + "; earthing=TN", []string{"earthing: " + unknown}},
		{dead + "; poles=5P", []string{"poles: " + unknown}},
		{dead + "; onload=maybe", []string{"onload: " + unknown}},
		{dead + "; category=V", []string{"category: " + unknown}},
		{dead + "; supply_side_live=si", []string{"supply_side_live: " + unknown}},
		{dead + "; conductors=L ?", []string{"conductors: not a conductor name"}},
		{dead + "; start=nine", []string{"start: not an RFC 3339 time"}},
		{dead + "; point=caf\xe9", []string{"point: bytes that are no UTF-8 text"}},
		{dead + "; record=R 7/\u00fc", nil},
		{dead + "; record=R7\u200b", []string{"record: a name with a character that cannot be seen (U+200B)"}},
		{dead + "; record=\ufeffR7", []string{"record: a name with a character that cannot be seen (U+FEFF)"}},
		{dead + "; record=R7\u00a0", []string{"record: a name with a character that cannot be seen (U+00A0)"}},
		{dead + "; record=\u202eR7", []string{"record: a name with a character that cannot be seen (U+202E)"}},
		{proof + "\ufe0f", []string{"source: a name with a character that cannot be seen (U+FE0F)"}},
		{when + "event=prove; indicator=VI\x1b[2J", []string{"indicator: a name with a character that cannot be seen (U+001B)"}},

		{"time=; event=tested; indicator=; from=L; to=L?; volts=1x", []string{
			"event: " + unknown, "to: not a conductor name", "volts: not a number", "time: a row without a time",
		}},
	}
	for _, test := range tests {
		_, _, problems := decodeOne(t, test.row)
		if diff := cmp.Diff(test.want, problems); diff != "" {
			t.Errorf("%s: %s", test.row, diff)
		}
	}
}

func TestDecodedRow(t *testing.T) {
	at, _ := record.ParseInstant("2026-03-02T09:15:00+01:00")
	ev, last, problems := decodeOne(t, "record= R7 ; time=2026-03-02T09:15:00+01:00; event=Test; indicator= VI-1; source=LIVE; from=pe; to=L1; "+
		"volts= -0.5; waveform=both; expected=230; stage=none; switch=a; seq=-3; point=top ; side=supply; note= as is ; "+
		"supply=three-phase; nominal=400; conductors=L1 L2  L3 PE; category=iii; end=2026-03-02T09:15:00+01:00")
	if problems != nil {
		t.Fatal(problems)
	}
	want := record.Event{
		Time: at, Kind: record.Test, Waveform: record.BothWaveforms, Switch: record.SwitchA, Side: record.SupplySide,
		Placed: true, Indicator: "VI-1", Source: record.Live, Pair: record.Pair{A: record.E, B: record.L1},
		Volts: record.Reading{Text: "-0.5", Volts: -0.5, State: record.Shown}, Expected: 230, HasExpected: true,
		HasSeq: true, Seq: -3, Stage: record.Stage{Text: "none", State: record.StageNone}, Point: "top", Note: " as is ",
		Pos: record.Pos{File: "a.csv", Line: 7},
	}
	if ev != want {
		t.Errorf("got %+v, want %+v", ev, want)
	}
	job := record.Job{
		Supply: record.ThreePhase, Nominal: 400, Conductors: []record.Conductor{record.L1, record.L2, record.L3, record.E},
		Category: record.CategoryIII, End: at,
	}
	if last.ID != "R7" || !last.Known || !last.Clean || !last.HasJob || !reflect.DeepEqual(*last.Job, job) {
		t.Errorf("got %+v, job %+v", last, last.Job)
	}
}

// decodeAll decodes text row by row and tells what became of each row. quick is
// whether rows may be decoded on top of the row before, and several at once.
func decodeAll(t testing.TB, l *Layout, text string, quick bool) []string {
	t.Helper()
	var rows []string
	d, forms := NewDecoder(l, "a.csv"), NewDecoder(l, "a.csv")
	decoded := func(n int, ev *record.Event) {
		var job record.Job
		if d.Last().HasJob {
			job = *d.Last().Job
			job.Record, job.Pos = "", record.Pos{}
		}
		rows = append(rows, fmt.Sprintf("%d %+v %q %+v", n, *ev, d.Last().ID, job))
	}
	line := 1
	for i := 0; i < len(text); {
		var ev record.Event
		var n, lines int
		var o Outcome
		if quick {
			n, lines, o = d.Next(text[i:], line, &ev)
		} else {
			n, lines, o = d.slow(text[i:], line, &ev)
		}
		if n <= 0 || lines != strings.Count(text[i:i+n], "\n") {
			t.Fatalf("%q: %d bytes, %d lines", text[i:], n, lines)
		}
		last := d.Last()
		form := forms.Form(text[i:])
		switch o {
		case NoRow:
		case Decoded:
			decoded(n, &ev)
		case BadRow:
			rows = append(rows, fmt.Sprintf("%d %q %v %v", n, last.ID, last.Clean, problemTexts(d)))
		}
		if form.Size != n || form.Lines != lines || form.Empty != (o == NoRow) ||
			o != NoRow && (form.ID != last.ID || form.Known != last.Known || form.Clean != last.Clean) {
			t.Fatalf("%q: form %+v, row %d %d %v %+v", text[i:i+n], form, n, lines, o, last)
		}
		i, line = i+n, line+lines
		if !quick {
			continue
		}
		var events [3]record.Event
		n, count := d.Alike(text[i:], line, events[:])
		for k, row := range slices.Collect(strings.Lines(text[i : i+n])) {
			decoded(len(row), &events[k])
			count--
		}
		if count != 0 {
			t.Fatalf("%q: %d rows left", text[i:i+n], count)
		}
		line += strings.Count(text[i:i+n], "\n")
		i += n
	}
	return rows
}

func problemTexts(d *Decoder) (texts []string) {
	for _, p := range d.Problems() {
		texts = append(texts, fmt.Sprintf("%+v", *p))
	}
	return texts
}

// Decoding on top of the row before gives what decoding every row by itself gives,
// and Form tells the same of every row.
func TestDecoderFastIsSlow(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		columns := rapid.SliceOfNDistinct(rapid.SampledFrom([]Column{
			RecordColumn, TimeColumn, EventColumn, IndicatorColumn, SourceColumn, FromColumn, ToColumn, PairColumn, VoltsColumn,
			WaveformColumn, ExpectedColumn, StageColumn, SeqColumn, NoteColumn, SupplyColumn, NominalColumn, ConductorsColumn,
		}), 1, 12, rapid.ID[Column]).Draw(rt, "columns")
		l := &Layout{Comma: rapid.SampledFrom([]byte(",;\t")).Draw(rt, "comma"), Columns: append(columns, NoColumn)}
		var b strings.Builder
		for range rapid.IntRange(1, 12).Draw(rt, "rows") {
			for _, c := range columns {
				b.WriteString(rapid.SampledFrom(sampleTexts[c]).Draw(rt, c.String()))
				b.WriteByte(l.Comma)
			}
			b.WriteString(rapid.SampledFrom([]string{"", "x", `"y"`, "\x00", "\r"}).Draw(rt, "ignored"))
			b.WriteString(rapid.SampledFrom([]string{"\n", "\n", "\r\n", "\n\n", ""}).Draw(rt, "end"))
		}
		fast, slow := decodeAll(t, l, b.String(), true), decodeAll(t, l, b.String(), false)
		if diff := cmp.Diff(slow, fast); diff != "" {
			rt.Fatalf("%q: %s", b.String(), diff)
		}
	})
}

// sampleTexts are texts of every column, right ones more often than not.
var sampleTexts = map[Column][]string{
	RecordColumn:     {"R1", "R1", "R1", "R2", " R1", `"R1"`, "", "R1-2026", "R1-2026-03-02", "R1-2026-04-02", "R1-of-2026-03-02-A", "R1-of-2026-04-02-A", "é1"},
	TimeColumn:       {"2026-03-02T09:15:00Z", "2026-03-02T09:15:07Z", `"2026-03-02T09:15:07Z"`, "2026-03-02T23:59:60Z", "2026-03-03T09:15:00+01:00", "2026-03-03T09:15:00-01:30", "2026-03-03t09:15:00.5z", "2026-03-02T29:15:00Z", "2026-03-02T09:15:00", ""},
	EventColumn:      {"test", "test", "prove", "reprove", "isolate", "Test", "tset", ""},
	IndicatorColumn:  {"VI-1", "VI-1", "VI-1", "VI-2", "VI-12", "VI 1", "", `"VI-1"`},
	SourceColumn:     {"", "", "PU-1", "PU-12", "live", "Live"},
	FromColumn:       {"L", "L1", "N", "E", "PE", "L-", "SL1", "l", "", "?"},
	ToColumn:         {"N", `"N"`, "L2", "L3", "M", "G", "L+", "", "e"},
	PairColumn:       {"", "", "L-N", "L1/L2", "N:L"},
	VoltsColumn:      {"0.1", "0", `"7.5"`, "229.8", "-1.5", "1.", ".5", "1234567890123456", "0.1234567890123", "1E2", "OL", "---", "9.91E37", "1x", "", " 7 "},
	WaveformColumn:   {"", "ac", "dc", "AC"},
	ExpectedColumn:   {"230", "229.8", "---", `"230"`, `" 230"`, "", "230", "12", "x1"},
	StageColumn:      {"", "none", "50", "12x"},
	SeqColumn:        {"", "1", "2", "x"},
	NoteColumn:       {"", "a", "b c", "\"two\nlines\"", `5" pipe`, `"5"" pipe"`, "\"\x00\"", "\"\r\"", `"a"b`, `"a`, "é", "\xe9"},
	SupplyColumn:     {"", "single-phase", "dc", "mains"},
	NominalColumn:    {"", "230", "400", "4OO"},
	ConductorsColumn: {"", "L N E", "L PE"},
}

// Any bytes behind a header are rows, in the same number as encoding/csv finds
// where it accepts them, and give the same whichever way they are decoded.
func FuzzReadings(f *testing.F) {
	f.Add("R1,2026-03-02T09:15:00Z,test,VI-1,L,N,0.1,\nR1,2026-03-02T09:15:09Z,test,VI-1,L,E,\"0.2\",x\r\n")
	f.Add("R1,2026-03-02T09:15:00Z,prove,VI-1,,,229.8,\"two\nlines\"\n,,,,,,,\n\nR1,2026-03-02T09:15:09Z")
	f.Add("R1,2026-03-02T09:15:00Z,test,VI-1,L,N,0.1,5\" pipe\n\"\n")
	l, err := Bind("record,time,event,indicator,from,to,volts,note\n", "a.csv", nil)
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text string) {
		fast, slow := decodeAll(t, l, text, true), decodeAll(t, l, text, false)
		if diff := cmp.Diff(slow, fast); diff != "" {
			t.Fatal(diff)
		}
		if strings.Count(text, "\r") != strings.Count(text, "\r\n") || strings.Contains(text, "\x00") {
			return
		}
		r := csv.NewReader(strings.NewReader(text))
		r.FieldsPerRecord = -1
		rows, err := r.ReadAll()
		if err != nil {
			return
		}
		rows = slices.DeleteFunc(rows, func(row []string) bool {
			return strings.Trim(strings.Join(row, ""), " \t") == ""
		})
		if len(rows) != len(fast) {
			t.Fatalf("%d rows, encoding/csv finds %d", len(fast), len(rows))
		}
	})
}

// A cell that the map cannot read is one mistake: what the row lacks by it is no other.
func TestMappedMistakeOnce(t *testing.T) {
	const head = "time,event,indicator,pair,volts\n"
	for _, tt := range []struct{ columns, row, want string }{
		{"", "02.03.2026 10.15.40,test,VI-1,L-N,0.2", `f.csv:2:1: time "02.03.2026 10.15.40": not a time of the layout that the map names`},
		{"", "29.03.2026 02:30:00,test,VI-1,L-N,0.2", `f.csv:2:1: time "29.03.2026 02:30:00": a local time that never was: clocks in Europe/Berlin were put forward over it`},
		{"", "25.10.2026 02:30:00,test,VI-1,L-N,0.2", `f.csv:2:1: time "25.10.2026 02:30:00": a local time that was twice in Europe/Berlin, at offset +02:00 and at +01:00`},
		{"", ",test,VI-1,L-N,0.2", `f.csv:2:1: time blank: a row without a time`},
		{`pair: {column: pair, separator: " to "}`, "02.03.2026 10:15:40,test,VI-1,L-N,0.2", `f.csv:2:31: pair "L-N": not two conductors with " to " between them`},
		{`indicator: {column: indicator, match: "^SN(.*)"}`, "02.03.2026 10:15:40,test,VI-1,L-N,0.2", `f.csv:2:26: indicator "VI-1": not of the form that the map asks for with match`},
		{`event: {column: event, match: "^T(.*)"}`, "02.03.2026 10:15:40,test,VI-1,L-N,0.2", `f.csv:2:21: event "test": not of the form that the map asks for with match`},
	} {
		m := mustMap(t, "zone: Europe/Berlin\nlayout: dd.MM.yyyy HH:mm:ss\ncolumns:\n  volts: volts\n  "+tt.columns+"\n")
		l, err := Bind(head+tt.row+"\n", "f.csv", m)
		if err != nil {
			t.Fatal(errorText(err))
		}
		d := NewDecoder(l, "f.csv")
		var ev record.Event
		_, _, outcome := d.Next(tt.row+"\n", 2, &ev)
		var got []string
		for _, p := range d.Problems() {
			got = append(got, p.At(record.Pos{File: "f.csv", Line: 2}).Error())
		}
		if diff := cmp.Diff([]string{tt.want}, got); diff != "" || outcome != BadRow {
			t.Errorf("%s: outcome %v, %s", tt.row, outcome, diff)
		}
	}
}
