package ingest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/formats"
)

// drawRows draws rows without quotes behind header, sound and broken ones: ids
// shorter than a word and longer than two, that differ in one byte or go on where
// another ends; rows that are cut short, or hold CR or NUL; blank lines; a last row
// without its line end.
func drawRows(t *rapid.T) string {
	ids := rapid.SampledFrom([][]string{
		{"A", "AB", "", " A", "B"},
		{"ABCDEF", "ABCDEFG", "ABCDEFGH", "ABCDEFGX", "XBCDEFGH"},
		{"ABCDEFGH", "XBCDEFGH", ""},
		{"ABCDEFGHIJKLMNO", "ABCDEFGHIJKLMNX", "ABCDEFGXIJKLMNO", "XBCDEFGHIJKLMNO"},
		{"ABCDEFGHIJKLMNOP", "ABCDEFGHIJKLMNOPQRST", "ABCDEFGHIJKLMNOPQRSX"},
	}).Draw(t, "ids")
	rests := []string{
		",2026-03-02T09:00:00Z,test,VI-1,L,N,0.1,", ",2026-03-02T09:00:00Z,test,VI-1,L,N,0.1,a note",
		",2026-03-02T09:00:00Z,test,VI-1,L,N,0.1,\r", ",", ",\r", "", "\x00", ",\x00,", ",,,,,,,,,,,,,,,", ",a\rb,\n,,",
	}
	var text strings.Builder
	for range rapid.IntRange(1, 20).Draw(t, "runs") {
		id := rapid.SampledFrom(ids).Draw(t, "id")
		for range rapid.IntRange(1, 4).Draw(t, "rows") {
			rest := rests[0]
			if rapid.IntRange(0, 2).Draw(t, "other") == 0 {
				rest = rapid.SampledFrom(rests).Draw(t, "rest")
			}
			text.WriteString(id + rest + "\n")
		}
	}
	rows := text.String()
	if rapid.Bool().Draw(t, "whole") {
		return rows
	}
	return rows[:len(rows)-rapid.IntRange(0, min(len(rows)-1, 30)).Draw(t, "cut")]
}

// Rows that are known by two words are to the scan what they are row by row.
func TestFollow(t *testing.T) {
	layout, err := formats.Bind(header, "a.csv", nil)
	if err != nil {
		t.Fatal(err)
	}
	in := &input{layout: layout, name: "a.csv"}
	hash := newHash()
	look := func(text string, rowByRow bool) string {
		s := scanner{in: in, decoder: formats.NewDecoder(layout, "a.csv"), hash: hash, longest: 1000}
		sc := &scan{block: block{start: 100, size: int64(len(text)), quotes: rowByRow}}
		s.look(sc, text)
		sc.quotes = false
		return fmt.Sprintf("%+v", *sc)
	}
	rapid.Check(t, func(rt *rapid.T) {
		text := drawRows(rt)
		if diff := cmp.Diff(look(text, true), look(text, false)); diff != "" {
			rt.Fatalf("%q: row by row (-), by words (+): %s", text, diff)
		}
	})
}
