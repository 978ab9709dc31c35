package formats

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestCheck(t *testing.T) {
	const file = "time;event;indicator;pair;volts;mode\n" +
		"2026-03-02T10:15:00Z;test;VI-1;L-N;200;V AC\n" +
		"2026-03-02T10:15:00Z;test;VI-1;L-N;2;Ohm\n" +
		"2026-03-02T10:15:00Z;test;VI-1;L-N;23O;V AC\n" +
		"2026-03-02T10:15:00Z;lock;;;;\n"
	m := mustMap(t, "delimiter: semicolon\nfunction: {column: mode, words: {V AC: ac, Ohm: other}}\ncolumns: {volts: {column: volts, unit: mV}}\n")
	p, err := Check([]byte(file), "f.csv", m, "", 3)
	if err != nil {
		t.Fatal(errorText(err))
	}
	if p.Read != 2 || p.Skipped != 1 || p.Bad.Total != 1 || len(p.Rows) != 3 {
		t.Errorf("%d read, %d skipped, %d bad, %d shown", p.Read, p.Skipped, p.Bad.Total, len(p.Rows))
	}
	if got := p.Rows[0].Texts[VoltsColumn] + " " + p.Rows[0].Texts[WaveformColumn]; got != "0.200 ac" {
		t.Errorf("the first row is %q", got)
	}
	if !p.Rows[1].Skipped || len(p.Rows[2].Problems) != 1 {
		t.Errorf("rows are %+v", p.Rows)
	}
	want := []Column{TimeColumn, EventColumn, IndicatorColumn, PairColumn, VoltsColumn, WaveformColumn}
	if diff := cmp.Diff(want, p.Columns); diff != "" {
		t.Error(diff)
	}
	if _, err := Check([]byte("a;b\n"), "f.csv", nil, "", 3); err == nil {
		t.Error("a file that is not canonical was checked without a map")
	}
}
