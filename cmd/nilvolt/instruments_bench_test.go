package main

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var benchProofs = flag.Int("proofs", 20_000, "how many proofs the ledger of BenchmarkInstrumentsList holds")

// BenchmarkInstrumentsList times nilvolt instruments list from end to end, on a ledger of
// half a year of 260 indicators and 90 proving units:
//
//	go test ./cmd/nilvolt -run '^$' -bench InstrumentsList -benchtime 1x -proofs 1000000
func BenchmarkInstrumentsList(b *testing.B) {
	dir := b.TempDir()
	path, where := filepath.Join(dir, "readings.csv"), filepath.Join(dir, "bench.db")
	if err := os.WriteFile(path, benchReadings(*benchProofs), 0o666); err != nil {
		b.Fatal(err)
	}
	run := func(args ...string) int {
		var diagnostics bytes.Buffer
		c := &console{in: strings.NewReader(""), out: bufio.NewWriter(io.Discard), err: &diagnostics, getenv: func(string) string { return "" }, now: time.Now}
		code := execute(b.Context(), c, args)
		if code == exitUnread {
			b.Fatal(diagnostics.String())
		}
		return code
	}
	run("ingest", path, "--ledger", where, "--format", "csv")
	if err := os.Remove(path); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		run("instruments", "list", "--ledger", where, "--format", "json")
	}
	b.ReportMetric(float64(*benchProofs), "proofs")
}

// benchReadings makes readings with so many proofs, two a record.
func benchReadings(proofs int) []byte {
	const indicators, units, weeks = 260, 90, 26
	rng := rand.New(rand.NewPCG(1, 1))
	begin := time.Date(2026, 1, 5, 6, 0, 0, 0, time.UTC)
	var out bytes.Buffer
	out.WriteString("record,time,event,indicator,source,from,to,volts,expected,supply\n")
	records := proofs / 2
	for n := range records {
		at := begin.Add(time.Duration(float64(n) / float64(records) * weeks * 7 * 24 * float64(time.Hour)))
		i := rng.IntN(indicators)
		u := i % units
		if rng.Float64() < 0.2 {
			u = rng.IntN(units)
		}
		week := float64(n) / float64(records) * weeks
		row := func(seconds int, event, rest string) {
			fmt.Fprintf(&out, "R%d,%s,%s,VI-%03d,%s,single-phase\n", n, at.Add(time.Duration(seconds)*time.Second).Format(time.RFC3339), event, i, rest)
		}
		prove := func(seconds int, event string) {
			percent := 0.6 * rng.NormFloat64()
			if i == 7 {
				percent += 0.1 * week
			}
			row(seconds, event, fmt.Sprintf("PU-%02d,,,%.1f,250", u, 250*(1+percent/100)))
		}
		prove(0, "prove")
		row(10, "test", fmt.Sprintf(",E,L,0.%d,", rng.IntN(10)))
		row(20, "test", fmt.Sprintf(",N,L,0.%d,", rng.IntN(10)))
		row(30, "test", fmt.Sprintf(",E,N,0.%d,", rng.IntN(10)))
		prove(40, "reprove")
	}
	return out.Bytes()
}
