package main

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"nilvolt/fixtures/demo"
)

// The instruments of the demo: those that its truth file says are faulty are found, with
// what is wrong with them, and no other is blamed.
func TestInstrumentsOfTheDemo(t *testing.T) {
	dir := t.TempDir()
	err := demo.Write(func(name string) (io.WriteCloser, error) {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return nil, err
		}
		return os.Create(path)
	})
	if err != nil {
		t.Fatal(err)
	}
	at := func(name string) string { return filepath.Join(dir, name) }
	weeks, err := filepath.Glob(at("readings-2026-W*.csv"))
	if err != nil || len(weeks) != 13 {
		t.Fatalf("%d weeks, %v", len(weeks), err)
	}
	run := func(want int, args ...string) []byte {
		t.Helper()
		var out, diagnostics bytes.Buffer
		c := &console{
			in: strings.NewReader(""), out: bufio.NewWriter(&out), err: &diagnostics, getenv: func(string) string { return "" },
			now: func() time.Time { return time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC) },
		}
		if code := execute(t.Context(), c, args); code != want {
			t.Fatalf("nilvolt %s: exit code %d; %s", strings.Join(args, " "), code, &diagnostics)
		}
		return out.Bytes()
	}
	run(exitNotCompliant, append([]string{"ingest", "--jobs", at("jobs.csv"), "--instruments", at("instruments.csv"), "--ledger", at("demo.db")}, weeks...)...)
	found := map[string]instrumentJSON{}
	for line := range bytes.Lines(run(exitCompliant, "instruments", "list", "--ledger", at("demo.db"), "--format", "json")) {
		var i instrumentJSON
		if err := json.Unmarshal(line, &i); err != nil {
			t.Fatal(err)
		}
		found[i.Instrument] = i
	}
	faulty := map[string]bool{}
	for _, truth := range readTruth(t, at("instrument-truth.csv")) {
		i, known := found[truth["instrument"]]
		if !known {
			t.Errorf("%s is not listed", truth["instrument"])
		}
		faulty[i.Instrument] = truth["fault"] != ""
		checkTruth(t, truth, i)
	}
	for id, i := range found {
		if blamed := i.Fault != nil && i.Fault.Confirmed || i.State == "failing"; blamed && !faulty[id] {
			t.Errorf("%s is blamed and has no fault: %+v", id, i)
		}
	}
}

// checkTruth holds what was found of an instrument against what is wrong with it.
func checkTruth(t *testing.T, truth map[string]string, i instrumentJSON) {
	t.Helper()
	number := func(name string) float64 {
		v, err := strconv.ParseFloat(truth[name], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	switch fault := truth["fault"]; fault {
	case "failing":
		if i.State != "failing" {
			t.Errorf("%s fails proofs, and is %s", i.Instrument, i.State)
		}
	case "drift":
		if f := i.Fault; i.State != "drifting" || f == nil || f.Kind != fault || math.Abs(*f.PercentPerWeek-number("percent_per_week")) > 0.05 {
			t.Errorf("%s drifts by %s %% a week, and is found as %+v", i.Instrument, truth["percent_per_week"], i)
		}
	case "step":
		f := i.Fault
		if i.State != "stepped" || f == nil || f.Kind != fault || math.Abs(*f.Percent-number("percent")) > 0.3 {
			t.Fatalf("%s steps by %s %%, and is found as %+v", i.Instrument, truth["percent"], i)
		}
		start, err1 := time.Parse(time.RFC3339, f.Start)
		want, err2 := time.Parse(time.RFC3339, truth["start"])
		if err1 != nil || err2 != nil || start.Sub(want).Abs() > 8*24*time.Hour {
			t.Errorf("%s steps on %s, and is found on %s", i.Instrument, truth["start"], f.Start)
		}
	case "":
	default:
		t.Errorf("%s has a fault that this test does not know: %s", i.Instrument, fault)
	}
}

func readTruth(t *testing.T, path string) []map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, name := range rows[0] {
			m[name] = row[i]
		}
		out = append(out, m)
	}
	return out
}
