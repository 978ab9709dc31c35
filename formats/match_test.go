package formats

import "testing"

// A match that takes a part of a number would make 12 V of 12.9 V, and 0.4 V of
// 0.4 kV: a dead reading of one that is not.
func TestMatchTakesWholeNumbers(t *testing.T) {
	tests := []struct {
		pattern, cell, want string
		bad                 bool
	}{
		{`U=(.*)`, "U=0.4 kV", "400", false},
		{`([0-9.]+ V)`, "L1: 230 V", "230", false},
		{`([0-9.]+)`, "0.2 on L1", "0.2", false},
		{`^([0-9]+)`, "12.9", "", true},
		{`([0-9])$`, "230", "", true},
		{`([0-9]+)$`, "49,9", "", true},
		{`^([0-9.]+)`, "2.3E2", "", true},
		{`^([0-9.]+)`, "0.4 kV", "", true},
		{`^([0-9.]+)`, "0.4kV (max)", "", true},
		{`([0-9.]+)`, "> 5", "", true},
	}
	for _, tt := range tests {
		text := "columns:\n  volts: {column: U, match: '" + tt.pattern + "'}\n"
		m, err := ParseMap("m.yaml", []byte(text))
		if err != nil {
			t.Fatalf("%s: %v", tt.pattern, err)
		}
		l, err := Bind("time,event,U\n", "a.csv", m)
		if err != nil {
			t.Fatalf("%s: %v", tt.pattern, err)
		}
		var row Row
		_, problems := l.Convert([]Field{{Text: "2026-03-02T09:15:00Z"}, {Text: "test"}, {Text: tt.cell}}, &row)
		if got := row[VoltsColumn].Text; got != tt.want || (len(problems) > 0) != tt.bad {
			t.Errorf("%s of %q: %q, %d problems", tt.pattern, tt.cell, got, len(problems))
		}
	}
}
