package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/google/go-cmp/cmp"

	"nilvolt/formats"
)

// program returns a path under which this test is the program itself.
func program(t *testing.T) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "nilvolt")
	if err := os.Symlink(self, path); err != nil {
		t.Skip(err) // a system without links
	}
	return path
}

// runProgram runs the program and returns what it printed.
func runProgram(t *testing.T, wantCode int, program string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), program, args...)
	var out, diagnostics bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &diagnostics
	_ = cmd.Run() // the exit code says it
	if code := cmd.ProcessState.ExitCode(); code != wantCode {
		t.Fatalf("nilvolt %s: exit code %d, want %d\n%s", strings.Join(args, " "), code, wantCode, &diagnostics)
	}
	return out.String()
}

// ledgerOf ingests n records that are right, and one that is not.
func ledgerOf(t *testing.T, program string, n int) (ledger, readings string) {
	t.Helper()
	var text bytes.Buffer
	generate["records"](&text, n)
	text.WriteString("X1,2026-02-01T00:00:00Z,test,VI-1,,E,L,229.5,,single-phase\n")
	readings = filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(readings, text.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	ledger = filepath.Join(t.TempDir(), "site.db")
	runProgram(t, 1, program, "ingest", readings, "--ledger", ledger)
	return ledger, readings
}

// tree returns the files below a folder by their paths, but for the lock.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, entry os.DirEntry, err error) error {
		if err != nil || entry.IsDir() || entry.Name() == lockName {
			return err
		}
		data, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		files[filepath.ToSlash(name)] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// Killed at any moment, an export leaves whole files only, and the next one makes of
// the folder what it would be without the kill.
func TestExportKilled(t *testing.T) {
	program := plainProgram(t)
	ledger, _ := ledgerOf(t, program, 800)
	clean := filepath.Join(t.TempDir(), "clean")
	begun := time.Now()
	runProgram(t, 0, program, "export", "--ledger", ledger, "--to", clean)
	took := time.Since(begun)
	want := tree(t, clean)
	const rounds = 12
	killed := 0
	for i := range rounds {
		dir := filepath.Join(t.TempDir(), "out")
		ctx, cancel := context.WithTimeout(t.Context(), took*time.Duration(i+1)/rounds)
		cmd := exec.CommandContext(ctx, program, "export", "--ledger", ledger, "--to", dir)
		if err := cmd.Run(); err != nil {
			killed++
		}
		cancel()
		if _, err := os.Stat(dir); err == nil {
			for name, data := range tree(t, dir) {
				if strings.HasPrefix(name, "readings/") && strings.HasSuffix(name, ".parquet") {
					checkWhole(t, name, data)
				}
			}
		}
		runProgram(t, 0, program, "export", "--ledger", ledger, "--to", dir)
		if diff := cmp.Diff(want, tree(t, dir)); diff != "" {
			t.Fatalf("killed in round %d, with (+) and without (-) the kill the folders differ:\n%.2000s", i, diff)
		}
	}
	if killed == 0 {
		t.Error("no export was killed")
	}
}

// checkWhole reads a file of readings to its end.
func checkWhole(t *testing.T, name, data string) {
	t.Helper()
	p, err := formats.OpenParquet(strings.NewReader(data), int64(len(data)), name)
	if err == nil {
		_, _, err = p.Recode(io.Discard, nil)
	}
	if err != nil {
		t.Errorf("after a kill: %v", err)
	}
}

// Another implementation of Parquet counts in the four tables what encoding/csv and
// the verdicts give, and the same sum of volts.
func TestExportReadByAnother(t *testing.T) {
	program := program(t)
	ledger, readings := ledgerOf(t, program, 700)
	dir := filepath.Join(t.TempDir(), "out")
	runProgram(t, 0, program, "export", "--ledger", ledger, "--to", dir)

	text, err := os.ReadFile(readings)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]sums{}
	add := func(table string, volts float64) {
		s := want[table]
		want[table] = sums{s.Rows + 1, s.Volts + volts}
	}
	for _, row := range rows[1:] {
		volts, err := strconv.ParseFloat(row[7], 64)
		if err != nil {
			t.Fatal(err)
		}
		add("readings", volts)
		if strings.HasSuffix(row[2], "prove") {
			add("proofs", volts)
		}
	}
	for line := range strings.Lines(runProgram(t, 1, program, "verify", readings, "--format", "json")) {
		var verdict struct{ Findings []any }
		if err := json.Unmarshal([]byte(line), &verdict); err != nil {
			t.Fatal(err)
		}
		add("records", 0)
		for range verdict.Findings {
			add("findings", 0)
		}
	}
	got := map[string]sums{}
	for name, data := range tree(t, dir) {
		if table, _, ok := strings.Cut(name, "/"); ok {
			more := sumsOf(t, data)
			got[table] = sums{got[table].Rows + more.Rows, got[table].Volts + more.Volts}
		}
	}
	near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-6 }) // another order of adding
	if diff := cmp.Diff(want, got, near); diff != "" {
		t.Errorf("from CSV (-) and from Parquet (+):\n%s", diff)
	}
}

// sums are how many rows a table has, and the sum over its column volts.
type sums struct {
	Rows  int
	Volts float64
}

// sumsOf reads a Parquet file with Apache Arrow.
func sumsOf(t *testing.T, data string) sums {
	t.Helper()
	r, err := file.NewParquetReader(strings.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	s := sums{Rows: int(r.NumRows())}
	index := r.MetaData().Schema.ColumnIndexByName("volts")
	for g := 0; g < r.NumRowGroups() && index >= 0; g++ {
		group := r.RowGroup(g)
		column, err := group.Column(index)
		if err != nil {
			t.Fatal(err)
		}
		volts, levels := make([]float64, group.NumRows()), make([]int16, group.NumRows())
		_, n, err := column.(*file.Float64ColumnChunkReader).ReadBatch(group.NumRows(), volts, levels, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range volts[:n] {
			s.Volts += v
		}
	}
	return s
}
