package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"nilvolt/fixtures/demo"
	"nilvolt/record"
)

// runCommand runs the program as a shell would and returns what it prints.
func runCommand(t *testing.T, stdin string, args ...string) (out, diagnostics string, code int) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	c := &console{
		in: strings.NewReader(stdin), out: bufio.NewWriter(&stdout), err: &stderr,
		getenv: func(string) string { return "" }, now: func() time.Time { return time.Unix(0, 0) },
	}
	code = execute(t.Context(), c, args)
	return stdout.String(), stderr.String(), code
}

func parseRecords(t *testing.T, lines string) []jsonRecord {
	t.Helper()
	var out []jsonRecord
	for line := range strings.Lines(lines) {
		var r jsonRecord
		if err := json.Unmarshal([]byte(line), &r); err != nil {
			t.Fatalf("%v in %s", err, line)
		}
		out = append(out, r)
	}
	return out
}

// demoArgs writes the demo and returns the arguments that judge a week of it.
func demoArgs(t *testing.T) []string {
	t.Helper()
	dir := t.TempDir()
	err := demo.Write(func(name string) (io.WriteCloser, error) {
		return createBuffered(filepath.Join(dir, filepath.FromSlash(name)))
	})
	if err != nil {
		t.Fatal(err)
	}
	weeks, err := filepath.Glob(filepath.Join(dir, "readings-2026-W*.csv"))
	if err != nil || len(weeks) != 13 {
		t.Fatalf("%d weeks, %v", len(weeks), err)
	}
	return append([]string{
		"verify", "--jobs", filepath.Join(dir, "jobs.csv"), "--instruments", filepath.Join(dir, "instruments.csv"),
	}, weeks...)
}

// TestStreamDiffersInTheRulesAcrossRecordsOnly judges the whole demo in both ways.
func TestStreamDiffersInTheRulesAcrossRecordsOnly(t *testing.T) {
	args := demoArgs(t)
	whole, _, _ := runCommand(t, "", append(args, "--format", "json")...)
	streamed, diagnostics, _ := runCommand(t, "", append(args, "--format", "json", "--stream")...)
	if !strings.Contains(diagnostics, "the rules across records were not judged") {
		t.Errorf("nothing says so: %s", diagnostics)
	}
	across := 0
	want := parseRecords(t, whole)
	for i := range want {
		r := &want[i]
		before := len(r.Findings)
		r.Findings = slices.DeleteFunc(r.Findings, func(f jsonFinding) bool {
			return f.Rule == record.ProofFailedElsewhere.String() || f.Rule == record.CopiedReadings.String()
		})
		if len(r.Findings) < before {
			across++
		}
	}
	got := parseRecords(t, streamed)
	if len(got) != len(want) {
		t.Fatalf("%d records, want %d", len(got), len(want))
	}
	for i := range want {
		if want[i].Status != got[i].Status || want[i].Record != got[i].Record {
			// Only a rule across records may have made the difference.
			if slices.ContainsFunc(got[i].Findings, func(f jsonFinding) bool { return f.Severity == "failure" }) || want[i].Record != got[i].Record {
				t.Errorf("record %s is %s, streamed %s %s", want[i].Record, want[i].Status, got[i].Record, got[i].Status)
			}
			continue
		}
		if diff := cmp.Diff(want[i].Findings, got[i].Findings); diff != "" {
			t.Errorf("%s: %s", want[i].Record, diff)
		}
	}
	if across == 0 {
		t.Error("the demo has no finding across records, so this shows nothing")
	}
}

// TestTheThreeFormatsAgree counts the records of each status in each of them.
func TestTheThreeFormatsAgree(t *testing.T) {
	args := demoArgs(t)
	count := map[string]map[string]int{"json": {}, "csv": {}, "text": {}}
	whole, jsonCounts, jsonCode := runCommand(t, "", append(args, "--format", "json")...)
	for _, r := range parseRecords(t, whole) {
		count["json"][r.Status]++
	}
	lines, csvCounts, csvCode := runCommand(t, "", append(args, "--format", "csv")...)
	last := ""
	for line := range strings.Lines(lines) {
		fields := strings.Split(line, ",")
		if fields[0] != last && fields[0] != "record" {
			count["csv"][fields[1]]++
		}
		last = fields[0]
	}
	text, textCounts, textCode := runCommand(t, "", append(args, "--all")...)
	table, _, _ := strings.Cut(text, "\n\n--")
	for line := range strings.Lines(table) {
		switch {
		case strings.Contains(line, "  LIVE  "):
			count["text"]["live"]++
		case strings.Contains(line, "  NOT COMPLIANT  "):
			count["text"]["non-compliant"]++
		case strings.Contains(line, "  compliant  "):
			count["text"]["compliant"]++
		}
	}
	for _, format := range []string{"csv", "text"} {
		if diff := cmp.Diff(count["json"], count[format]); diff != "" {
			t.Errorf("json and %s: %s", format, diff)
		}
	}
	if jsonCounts != csvCounts || csvCounts != textCounts || jsonCode != csvCode || csvCode != textCode {
		t.Errorf("json says %d %s csv %d %s text %d %s", jsonCode, jsonCounts, csvCode, csvCounts, textCode, textCounts)
	}
}

// TestNoFaultOfTheInputIsAVerdict cuts a good file at every place: the answer may
// be an error or "not compliant", and compliant only where nothing but the end of
// the last line, or rows behind the evidence, are lost.
func TestNoFaultOfTheInputIsAVerdict(t *testing.T) {
	const good = "record,time,event,indicator,source,from,to,volts,expected,supply\n" +
		"R1,2026-03-02T09:00:00Z,prove,VI-1,PU-1,,,229.8,230,single-phase\n" +
		"R1,2026-03-02T09:01:00Z,test,VI-1,,E,L,0.3,,single-phase\n" +
		"R1,2026-03-02T09:01:20Z,test,VI-1,,N,L,0.3,,single-phase\n" +
		"R1,2026-03-02T09:01:40Z,test,VI-1,,E,N,0.1,,single-phase\n" +
		"R1,2026-03-02T09:03:00Z,reprove,VI-1,PU-1,,,229.6,230,single-phase\n"
	if out, diagnostics, code := runCommand(t, good, "verify", "-", "--format", "json"); code != exitCompliant {
		t.Fatalf("the good file: exit %d, %s%s", code, out, diagnostics)
	}
	for n := range len(good) - 1 { // the last cut takes the line end and a letter
		for _, flag := range []string{"--format=json", "--stream"} {
			if out, _, code := runCommand(t, good[:n], "verify", "-", flag); code == exitCompliant {
				t.Errorf("cut behind %d bytes %s says\n%s", n, flag, out)
			}
		}
	}
}
