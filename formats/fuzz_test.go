package formats

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"nilvolt/record"
)

// whatRowsSay reads text through l and returns the events, and how many rows
// there are of each sort.
func whatRowsSay(t *testing.T, text string, l *Layout) (events []record.Event, skipped, bad int) {
	t.Helper()
	var fields []Field
	for rest := text[min(int(l.FirstRow), len(text)):]; rest != ""; {
		var n int
		var problem *Problem
		fields, n, _, problem = SplitRow(rest, l.Comma, fields[:0])
		if n <= 0 {
			t.Fatalf("no progress at %q", rest)
		}
		rest = rest[n:]
		if problem != nil {
			bad++
			continue
		}
		var row Row
		use, _, problems := l.canonical(fields, &row)
		if use == Skipped {
			skipped++
			continue
		}
		var ev record.Event
		var job record.Job
		if len(problems) == 0 {
			_, _, problems = DecodeRow(&row, record.Pos{}, &ev, &job)
		}
		if len(problems) > 0 {
			bad++
			continue
		}
		events = append(events, ev)
	}
	return events, skipped, bad
}

// FuzzMap reads a file through a map. Whatever both hold: nothing panics, a
// mistake has its line, no map makes a voltage of a row in whose cells there is no
// digit, and reading twice gives the same.
func FuzzMap(f *testing.F) {
	for _, seed := range []struct{ mapText, file string }{
		{"delimiter: semicolon\ndecimal: comma\nzone: Europe/Berlin\nlayout: dd.MM.yyyy HH:mm:ss\ncolumns:\n  time: Zeit\n  event: {column: Art, words: {Messung: test}}\n  indicator: {value: VI-7}\n  pair: {column: P, words: {Erde: E}}\n  volts: U\n", "Zeit;Art;P;U\n02.03.2026 10:15:00;Messung;L1-Erde;0,2 kV\n"},
		{"header: none\ncolumns:\n  time: {column: 1, layout: unix}\n  event: {value: test}\n  indicator: 2\n  from: 3\n  to: 4\n  volts: {column: 5, unit: mV}\n", "1772446500.25,VI-1,L,N,200\n"},
		{"columns:\n  volts: {column: v, unit_column: u}\nfunction: {column: m, words: {x: ac mV, o: other}}\n", "time,event,indicator,pair,v,u,m\n2026-03-02T10:15:00Z,test,VI-1,L-N,2,V,x\n"},
		{"ignore: [range]\n---\nfor: jobs\nfiles: '*.txt'\n", "time,event,range\n2026-03-02T10:15:00Z,lock,1\n"},
		{"header: {contains: T}\nskip: ['^x']\ncomment: '#'\nthousands: \"'\"\ncolumns: {time: {date: T, clock: C, layout: d MMM yy h:mm a}}\nzone: UTC\n", "a\nT,C,event\n1 Mar 26,1:00 am,lock\n#\nx\n"},
	} {
		f.Add(seed.mapText, seed.file)
	}
	f.Fuzz(func(t *testing.T, mapText, file string) {
		m, err := ParseMap("map.yaml", []byte(mapText))
		if err != nil {
			if m != nil || err.Error() == "" {
				t.Errorf("a map with the error %q", err)
			}
			return
		}
		text, err := textOf([]byte(file), "f.csv", m.section(readingsFile, "f.csv"))
		if err != nil {
			return
		}
		l, err := Bind(text, "f.csv", m)
		if err != nil {
			return
		}
		if l.FirstRow < 0 || l.FirstRow > int64(len(text)) || l.FirstLine < 1 {
			t.Fatalf("the first row stands at byte %d, line %d of %d bytes", l.FirstRow, l.FirstLine, len(text))
		}
		events, skipped, bad := whatRowsSay(t, text, l)
		for _, ev := range events {
			if ev.Volts.State == record.Shown && !strings.ContainsAny(text, "0123456789") {
				t.Errorf("%v was made of no digit", ev.Volts)
			}
			if !ev.Time.IsSet() || ev.Kind == record.KindUnknown {
				t.Errorf("a row without time or event: %+v", ev)
			}
		}
		again, skipped2, bad2 := whatRowsSay(t, text, l)
		if len(again) != len(events) || skipped != skipped2 || bad != bad2 {
			t.Errorf("%d, %d, %d rows at first, then %d, %d, %d", len(events), skipped, bad, len(again), skipped2, bad2)
		}
	})
}

// FuzzWorkbook reads the XML of a sheet. Whatever it holds: nothing panics, the
// lines are sound CSV in UTF-8, and there are as many as the sheet has rows at the
// most.
func FuzzWorkbook(f *testing.F) {
	for _, rows := range []string{
		`<row r="1"><c r="A1" t="s"><v>0</v></c><c t="b"><v>1</v></c></row>`,
		`<row r="3"><c r="C3" s="1"><v>46083.5</v></c><c t="inlineStr"><is><t>a "b", c</t></is></c></row>`,
		`<row><c t="e"><v>#N/A</v></c></row></sheetData><mergeCells><mergeCell ref="A1:A2"/></mergeCells><sheetData>`,
		`<row><c><v>1E400</v></c></row>`,
		`<row r="1048577"><c><v>1</v></c></row>`,
		`<row><c t="str"><v>&#10;x</v></c></row>`,
	} {
		f.Add(sheetXML(rows))
	}
	f.Fuzz(func(t *testing.T, sheet string) {
		data := rawBook(t, "", sheet)
		form, err := Sniff(data, "f.xlsx", nil)
		if err != nil || !form.IsWorkbook() {
			t.Fatalf("the workbook is %v, %v", form, err)
		}
		var out bytes.Buffer
		if err := Recode(&out, bytes.NewReader(data), form); err != nil {
			return
		}
		text := out.String()
		if !utf8.ValidString(text) || strings.ContainsAny(text, "\x00") {
			t.Errorf("the lines are %q", text)
		}
		for rest := text; rest != ""; {
			_, n, lines, problem := SplitRow(rest, ',', nil)
			if problem != nil || lines != 0 {
				t.Fatalf("the line %q is not one row: %+v", rest[:n], problem)
			}
			rest = rest[n:]
		}
		if strings.Count(text, "\n") > maxRows {
			t.Errorf("%d lines", strings.Count(text, "\n"))
		}
	})
}

// FuzzGuess proposes a map of a file. Whatever the file holds: nothing panics, the
// map is text that prints, and one that is sure can be parsed and reads every row.
func FuzzGuess(f *testing.F) {
	for _, file := range []string{
		"time,event,indicator,pair,volts\n2026-03-02T10:15:00Z,test,VI-1,L-N,0.2\n",
		"Logger\nSerial: VI-3\nZone: Europe/Berlin\nDatum;Uhrzeit;Art;Leiter;Spannung (V)\n13.03.2026;10:15:00;Messung;L1-Erde;0,2\n",
		"\xff\xfet\x00i\x00m\x00e\x00,\x00e\x00v\x00e\x00n\x00t\x00\n\x00",
		"when\twhat\tu [mV]\tRange\n03/04/26 1:15 pm\tprobed \"x\"\t1'234.5\t600 V\n# a\n",
		"time,event,note\n2026-03-02T10:15:00Z,lock,17 \xb0C\n",
		"a|b\r1772446500|2\r",
	} {
		f.Add([]byte(file))
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		g, err := GuessMap(file, "f.csv")
		if err != nil {
			return
		}
		if !utf8.ValidString(g.Map) || strings.ContainsAny(g.Map, "\r\x00\t") {
			t.Errorf("the map is %q", g.Map)
		}
		if strings.Contains(g.Map, "UNSURE") == g.Sure && !strings.Contains(string(file), "UNSURE") {
			t.Errorf("sure is %v of\n%s", g.Sure, g.Map)
		}
		if !g.Sure {
			return
		}
		m, err := ParseMap("map.yaml", []byte(g.Map))
		if err != nil {
			t.Fatalf("%s\n%s", errorText(err), g.Map)
		}
		preview, err := Check(file, "f.csv", m, "", 0)
		if err != nil || preview.Bad.Total > 0 || preview.Read == 0 {
			t.Errorf("%v, %+v of\n%s", err, preview, g.Map)
		}
	})
}

// FuzzRegister reads whole small files of any bytes: an error or nouns, never
// both, and every mistake with its file.
func FuzzRegister(f *testing.F) {
	f.Add([]byte("instrument,kind,stages,serviced,interval_days\nVI-1,indicator,12 50,2026-03-02,365\n"))
	f.Add([]byte("record,supply,conductors,start\nR1,dc,L+ L- E,2026-03-02T10:15:00Z\n"))
	f.Add([]byte("\xfe\xff\x00r\x00e\x00c\x00o\x00r\x00d\x00\n"))
	f.Fuzz(func(t *testing.T, file []byte) {
		register, err := ReadRegister(file, "f.csv", nil)
		if (register == nil) == (err == nil) || err != nil && !strings.HasPrefix(err.Error(), "f.csv") {
			t.Errorf("%v, %v", register, err)
		}
		jobs, err := ReadJobs(file, "f.csv", nil)
		if (len(jobs) == 0) == (err == nil) || err != nil && !strings.HasPrefix(err.Error(), "f.csv") {
			t.Errorf("%v, %v", jobs, err)
		}
		for _, job := range jobs {
			if job.Record == "" || job.Nominal < 0 {
				t.Errorf("the job %+v", job)
			}
		}
	})
}
