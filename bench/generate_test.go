package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// generated returns readings with at least rows rows.
func generated(t *testing.T, rows int) ([]byte, tally) {
	t.Helper()
	var b bytes.Buffer
	want, err := generate(&b, rows)
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), want
}

// Measurements can only be compared over time when all are made on the same bytes.
func TestGenerateSameBytes(t *testing.T) {
	tests := []struct {
		name  string
		write func(*bytes.Buffer) (tally, error)
		hash  string
	}{
		{
			"contiguous", func(b *bytes.Buffer) (tally, error) { return generate(b, 2000) },
			"693cd6789bb03bf3b91d90b737394cf2d38e9d7d909a225467c3fa27917e5d41",
		},
		{
			"shuffled", func(b *bytes.Buffer) (tally, error) { return generateShuffled(b, 2000) },
			"6416472ab6a97ff345cd77767ebafbb18dc33cceb322a94f55ea99d73eee53d2",
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var b bytes.Buffer
			if _, err := test.write(&b); err != nil {
				t.Fatal(err)
			}
			hash := sha256.Sum256(b.Bytes())
			if got := hex.EncodeToString(hash[:]); got != test.hash {
				t.Errorf("SHA-256 %s, want %s", got, test.hash)
			}
		})
	}
}

func TestShuffledRowsAreTheSame(t *testing.T) {
	plain, want := generated(t, 5000)
	var b bytes.Buffer
	got, err := generateShuffled(&b, 5000)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("tally (-plain +shuffled):\n%s", diff)
	}
	head, rows, _ := strings.Cut(b.String(), "\n")
	if head+"\n" != header {
		t.Errorf("the first line is %q", head)
	}
	before := strings.SplitAfter(strings.TrimPrefix(string(plain), header), "\n")
	after := strings.SplitAfter(rows, "\n")
	if slices.Equal(before, after) {
		t.Error("the rows stand in the same order")
	}
	slices.Sort(before)
	slices.Sort(after)
	if diff := cmp.Diff(before, after); diff != "" {
		t.Errorf("rows (-plain +shuffled):\n%s", diff)
	}
}

// The size of a row and of a record decide what is measured.
func TestShapeOfReadings(t *testing.T) {
	text, got := generated(t, 200_000)
	if perRow := float64(len(text)) / float64(got.Rows); perRow < 56 || perRow > 60 {
		t.Errorf("%.1f bytes a row, want about 58", perRow)
	}
	if perRecord := float64(got.Rows) / float64(got.Records); perRecord < 7.5 || perRecord > 7.9 {
		t.Errorf("%.2f rows a record, want about 7.7", perRecord)
	}
	if lines := bytes.Count(text, []byte("\n")) - 1; lines != got.Rows {
		t.Errorf("%d lines behind the header, %d rows told", lines, got.Rows)
	}
	if got.Compliant == 0 || got.NonCompliant == 0 || got.Live == 0 || got.Other != 0 {
		t.Errorf("not all verdicts occur: %+v", got)
	}
}

// n conductors, earth counted, give n(n-1)/2 pairs (combinations of two).
func TestPairsOfCircuits(t *testing.T) {
	want := map[string]int{"single-phase": 3, "three-phase": 10, "three-phase-3-wire": 6}
	for _, c := range circuits {
		if len(c.pairs) != want[c.supply] {
			t.Errorf("%s: %d pairs, want %d", c.supply, len(c.pairs), want[c.supply])
		}
	}
}

// What the SQL leaves out must not occur: records of one indicator that overlap,
// rows of one time within a record, and a supply told twice.
func TestRecordsAreApart(t *testing.T) {
	text, _ := generated(t, 100_000)
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	const record, at, indicator, supply = 0, 1, 3, 9
	lastOf := map[string]time.Time{} // by indicator
	previous, lastTime := "", time.Time{}
	for _, row := range rows[1:] {
		now, err := time.Parse(time.RFC3339, row[at])
		if err != nil {
			t.Fatal(err)
		}
		begins := row[record] != previous
		switch {
		case begins != (row[supply] != ""):
			t.Fatalf("the supply belongs on the first row alone: %q", row)
		case begins && row[indicator] != "" && !now.After(lastOf[row[indicator]]):
			t.Fatalf("the record overlaps the one before: %q", row)
		case !begins && !now.After(lastTime):
			t.Fatalf("no time has passed: %q", row)
		}
		previous, lastTime = row[record], now
		if row[indicator] != "" {
			lastOf[row[indicator]] = now
		}
	}
}

func TestEveryFaultOccurs(t *testing.T) {
	g := newGenerator()
	seen := map[fault]int{}
	for range 10_000 {
		seen[g.fault()]++
	}
	for f := range numFaults {
		if seen[f] == 0 {
			t.Errorf("fault %d never occurs", f)
		}
	}
}
