package main

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestCountVerdicts(t *testing.T) {
	const lines = `{"record":"R1","status":"compliant","supply":"single-phase","findings":[]}
{"record":"R2","status":"non-compliant"}
{"record":"R3","status":"live"}
`
	want, err := countVerdicts(strings.NewReader(lines))
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name, lines string
		same        bool
	}{
		{"another order", `{"record":"R3","status":"live"}{"record":"R1","status":"compliant"}{"record":"R2","status":"non-compliant"}`, true},
		{"two exchanged", `{"record":"R1","status":"compliant"}{"record":"R3","status":"non-compliant"}{"record":"R2","status":"live"}`, false},
		{"one missing", `{"record":"R1","status":"compliant"}{"record":"R2","status":"non-compliant"}`, false},
		{"one twice", lines + `{"record":"R1","status":"compliant"}`, false},
		{"not judged", `{"record":"R1","status":""}{"record":"R2","status":"non-compliant"}{"record":"R3","status":"live"}`, false},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, err := countVerdicts(strings.NewReader(test.lines))
			if err != nil {
				t.Fatal(err)
			}
			if (got == want) != test.same {
				t.Errorf("%+v and %+v: same is %t, want %t", got, want, got == want, test.same)
			}
		})
	}
	if _, err := countVerdicts(strings.NewReader(`{"record":"R1","status":"comp`)); err == nil {
		t.Error("a line that was cut short counts")
	}
}

func TestMedian(t *testing.T) {
	r := result{runs: []measure{
		{wall: 3, cpu: 10, peak: 7},
		{wall: 1, cpu: 30, peak: 9},
		{wall: 2, cpu: 20, peak: 8},
	}}
	want := measure{wall: 2, cpu: 20, peak: 8}
	if diff := cmp.Diff(want, r.median(), cmp.AllowUnexported(measure{})); diff != "" {
		t.Errorf("median (-want +got):\n%s", diff)
	}
}

// results makes one run of each contender named.
func results(runs map[string]measure) []result {
	var all []result
	for _, name := range []string{"wc", "duckdb", "nilvolt"} {
		if m, ok := runs[name]; ok {
			all = append(all, result{contender: contender{name: name, title: name}, runs: []measure{m}})
		}
	}
	return all
}

func TestTargets(t *testing.T) {
	yardsticks := map[string]measure{
		"wc":     {wall: 100 * time.Millisecond},
		"duckdb": {cpu: 4 * time.Second},
	}
	tests := []struct {
		name    string
		nilvolt measure
		want    []string
	}{
		{"all met at the limit", measure{wall: time.Second, cpu: time.Second, peak: 64*mebibyte - 1}, []string{"met", "met", "met"}},
		{"too much CPU", measure{wall: time.Second, cpu: 1001 * time.Millisecond, peak: 1}, []string{"missed", "met", "met"}},
		{"too slow", measure{wall: 1001 * time.Millisecond, cpu: 1, peak: 1}, []string{"met", "missed", "met"}},
		{"too much memory", measure{wall: 1, cpu: 1, peak: 64 * mebibyte}, []string{"met", "met", "missed"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			runs := map[string]measure{"wc": yardsticks["wc"], "duckdb": yardsticks["duckdb"], "nilvolt": test.nilvolt}
			got := targetLines(t, contiguousTargets(results(runs), 1))
			if diff := cmp.Diff(test.want, got); diff != "" {
				t.Errorf("targets (-want +got):\n%s", diff)
			}
		})
	}
	t.Run("what was not measured is not met", func(t *testing.T) {
		got := targetLines(t, contiguousTargets(results(map[string]measure{"nilvolt": {peak: 1}}), 1))
		if diff := cmp.Diff([]string{"not measured", "not measured", "met"}, got); diff != "" {
			t.Errorf("targets (-want +got):\n%s", diff)
		}
	})
	t.Run("shuffled", func(t *testing.T) {
		runs := map[string]measure{"nilvolt": {peak: 1200}}
		if got := targetLines(t, shuffledTargets(results(runs), 10)); got[0] != "missed" {
			t.Errorf("120 bytes a row: %v", got)
		}
		if got := targetLines(t, shuffledTargets(results(runs), 11)); got[0] != "met" {
			t.Errorf("109 bytes a row: %v", got)
		}
	})
}

// targetLines returns the first words of what is printed of each target.
func targetLines(t *testing.T, targets []target) []string {
	t.Helper()
	var b strings.Builder
	all := printTargets(&b, targets)
	var words []string
	met := true
	for line := range strings.Lines(b.String()) {
		word, _, _ := strings.Cut(strings.TrimPrefix(line, "- "), ":")
		words = append(words, word)
		met = met && word == "met"
	}
	if all != met {
		t.Errorf("all met: %t, printed: %v", all, words)
	}
	return words
}

// The exit status 1 of nilvolt says that records are not compliant; of any other
// program it is a failure.
func TestMeasureOnceExitStatus(t *testing.T) {
	fails := func(string, string) []string { return []string{"sh", "-c", "exit 1"} }
	breaks := func(string, string) []string { return []string{"sh", "-c", "exit 2"} }
	tests := []struct {
		name string
		c    contender
		ok   bool
	}{
		{"nilvolt 1", contender{name: "nilvolt", args: fails}, true},
		{"nilvolt 2", contender{name: "nilvolt", args: breaks}, false},
		{"wc 1", contender{name: "wc", args: fails}, false},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			m, err := measureOnce(t.Context(), test.c, "", "")
			if (err == nil) != test.ok {
				t.Fatalf("error %v, want none: %t", err, test.ok)
			}
			if err == nil && (m.wall <= 0 || m.peak <= 0) {
				t.Errorf("nothing measured: %+v", m)
			}
		})
	}
}

func TestPrintTable(t *testing.T) {
	var b strings.Builder
	printTable(&b, results(map[string]measure{
		"wc":      {wall: 100 * time.Millisecond, cpu: 100 * time.Millisecond, peak: 2 * mebibyte},
		"duckdb":  {wall: 2 * time.Second, cpu: 4 * time.Second, peak: 600 * mebibyte},
		"nilvolt": {wall: 500 * time.Millisecond, cpu: 800 * time.Millisecond, peak: 30 * mebibyte},
	}))
	const want = `| | wall s | CPU s | peak MiB | wall / wc -l | CPU / DuckDB |
|---|--:|--:|--:|--:|--:|
| wc | 0.100 | 0.100 | 2.0 | 1.00 | 0.03 |
| duckdb | 2.000 | 4.000 | 600.0 | 20.00 | 1.00 |
| nilvolt | 0.500 | 0.800 | 30.0 | 5.00 | 0.20 |

`
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Errorf("table (-want +got):\n%s", diff)
	}
}
