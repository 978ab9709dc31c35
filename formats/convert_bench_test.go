package formats

import (
	"strings"
	"testing"

	"nilvolt/record"
)

// BenchmarkConvert reads rows of a foreign dialect, map and decoder together.
func BenchmarkConvert(b *testing.B) {
	m := mustMap(b, "delimiter: semicolon\ndecimal: comma\nzone: Europe/Berlin\nlayout: dd.MM.yyyy HH:mm:ss\n"+
		"columns:\n  record: Auftrag\n  time: Zeit\n  event: {column: Art, words: {Messung: test}}\n  indicator: {value: VI-7}\n"+
		"  pair: {column: Leiter, words: {Erde: E}}\n  volts: {column: U, unit: mV}\n")
	const header = "Auftrag;Zeit;Art;Leiter;U\n"
	text := strings.Repeat("R-10234;02.03.2026 10:15:40;Messung;L1-Erde;200,5\n", 1000)
	l, err := Bind(header+text, "log.csv", m)
	if err != nil {
		b.Fatal(errorText(err))
	}
	var fields []Field
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		for rest := text; rest != ""; {
			var n int
			fields, n, _, _ = SplitRow(rest, ';', fields[:0])
			var row Row
			var ev record.Event
			var job record.Job
			if _, problems := l.Convert(fields, &row); len(problems) > 0 {
				b.Fatal(problems[0].Message)
			}
			if _, _, problems := DecodeRow(&row, record.Pos{}, &ev, &job); len(problems) > 0 {
				b.Fatal(problems[0].Message)
			}
			rest = rest[n:]
		}
	}
}
