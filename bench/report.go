package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
)

const mebibyte = 1 << 20

// printTable prints the medians as a Markdown table.
func printTable(w io.Writer, results []result) {
	fmt.Fprintln(w, "| | wall s | CPU s | peak MiB | wall / wc -l | CPU / DuckDB |")
	fmt.Fprintln(w, "|---|--:|--:|--:|--:|--:|")
	for i := range results {
		m := results[i].median()
		fmt.Fprintf(w, "| %s | %.3f | %.3f | %.1f | %s | %s |\n", results[i].title,
			m.wall.Seconds(), m.cpu.Seconds(), float64(m.peak)/mebibyte,
			ratioText(results, i, "wc", func(m measure) float64 { return m.wall.Seconds() }),
			ratioText(results, i, "duckdb", func(m measure) float64 { return m.cpu.Seconds() }))
	}
	fmt.Fprintln(w)
}

// ratioText is the ratio of result i to the contender named, blank without it.
func ratioText(results []result, i int, name string, value func(measure) float64) string {
	yardstick := find(results, name)
	if yardstick == nil {
		return ""
	}
	return fmt.Sprintf("%.2f", value(results[i].median())/value(yardstick.median()))
}

// find returns the result of the contender named, nil without it.
func find(results []result, name string) *result {
	for i := range results {
		if results[i].name == name {
			return &results[i]
		}
	}
	return nil
}

// A target is a limit that nilvolt is to keep.
type target struct {
	text     string
	measured float64
	limit    float64
	strict   bool // the limit itself is too much
	unknown  bool // a contender that it needs was not run
}

func (t *target) met() bool {
	return !t.unknown && (t.measured < t.limit || !t.strict && t.measured == t.limit)
}

// contiguousTargets are the targets for a file whose records are contiguous.
func contiguousTargets(results []result, _ int) []target {
	cpu := target{text: "CPU seconds, of those of DuckDB", limit: 0.25}
	wall := target{text: "wall time, of that of wc -l", limit: 10}
	peak := target{text: "peak memory, MiB", limit: 64, strict: true}
	ours, duckdb, wc := find(results, "nilvolt"), find(results, "duckdb"), find(results, "wc")
	if cpu.unknown = ours == nil || duckdb == nil; !cpu.unknown {
		cpu.measured = ours.median().cpu.Seconds() / duckdb.median().cpu.Seconds()
	}
	if wall.unknown = ours == nil || wc == nil; !wall.unknown {
		wall.measured = ours.median().wall.Seconds() / wc.median().wall.Seconds()
	}
	if peak.unknown = ours == nil; !peak.unknown {
		peak.measured = float64(ours.median().peak) / mebibyte
	}
	return []target{cpu, wall, peak}
}

// shuffledTargets are the targets for a file whose rows are in random order.
func shuffledTargets(results []result, rows int) []target {
	peak := target{text: "peak memory, bytes a row", limit: 120, strict: true}
	ours := find(results, "nilvolt")
	if peak.unknown = ours == nil; !peak.unknown {
		peak.measured = float64(ours.median().peak) / float64(rows)
	}
	return []target{peak}
}

// printTargets prints a line a target and reports whether all are met. One that
// was not measured is not met.
func printTargets(w io.Writer, targets []target) bool {
	all := true
	for i := range targets {
		t := &targets[i]
		relation := "at most"
		if t.strict {
			relation = "under"
		}
		switch {
		case t.unknown:
			fmt.Fprintf(w, "- not measured: %s, %s %g\n", t.text, relation, t.limit)
		case t.met():
			fmt.Fprintf(w, "- met: %s, %s %g: %.3g\n", t.text, relation, t.limit, t.measured)
		default:
			fmt.Fprintf(w, "- missed: %s, %s %g: %.3g\n", t.text, relation, t.limit, t.measured)
		}
		all = all && t.met()
	}
	return all
}

// compareVerdicts lets each contender that judges write its verdicts once more, to
// a file, and reports whether they are those of the generator, record by record.
func compareVerdicts(ctx context.Context, w io.Writer, programs []contender, readings string, want tally) (bool, error) {
	agreed := true
	want.Rows = 0
	for _, c := range programs {
		if !c.judges {
			continue
		}
		got, err := verdicts(ctx, c, readings)
		if err != nil {
			return false, err
		}
		if got == want {
			fmt.Fprintf(w, "- agreed: the verdicts of %s are those generated (%d compliant, %d non-compliant, %d live)\n",
				c.title, got.Compliant, got.NonCompliant, got.Live)
			continue
		}
		agreed = false
		fmt.Fprintf(w, "- differing: the verdicts of %s are %+v, generated were %+v\n", c.title, got, want)
	}
	return agreed, nil
}

// verdicts runs c and counts what it wrote.
func verdicts(ctx context.Context, c contender, readings string) (t tally, err error) {
	out := outputBeside(readings, c)
	if _, err := measureOnce(ctx, c, readings, out); err != nil {
		return tally{}, err
	}
	f, err := os.Open(out)
	if err != nil {
		return tally{}, err
	}
	defer func() { err = errors.Join(err, f.Close(), os.Remove(out)) }()
	return countVerdicts(f)
}

// countVerdicts reads JSON objects with a record and a status, one a line.
func countVerdicts(r io.Reader) (tally, error) {
	var t tally
	for d := json.NewDecoder(bufio.NewReaderSize(r, mebibyte)); ; {
		var line struct {
			Record string
			Status status
		}
		switch err := d.Decode(&line); {
		case errors.Is(err, io.EOF):
			return t, nil
		case err != nil:
			return tally{}, err
		}
		t.add(line.Record, line.Status)
	}
}
