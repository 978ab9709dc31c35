package ingest

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/formats"
	"nilvolt/record"
)

// visited is a record as a visitor saw it, in words.
type visited struct {
	ID     string
	Events []string // as in "a.csv:2 test"
	Jobs   []string // as in "three-phase"
}

// collect opens files and returns all records in the order of the output, with the
// error of Each.
func collect(t testing.TB, o Options, paths ...string) ([]visited, error) {
	t.Helper()
	s := open(t, o, paths...)
	records, err := collectSet(t, s)
	return records, errors.Join(err, s.Close())
}

// open opens files.
func open(t testing.TB, o Options, paths ...string) *Set {
	t.Helper()
	s, err := Open(context.Background(), paths, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// closed closes s at the end of the test.
func closed(t testing.TB, s *Set) *Set {
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// collectSet is collect for an open set. The records go through the output bytes,
// so that their order is that of the output.
func collectSet(t testing.TB, s *Set) ([]visited, error) {
	t.Helper()
	var out []byte
	err := s.Each(context.Background(), func() Visitor {
		return func(rec *record.Record, out []byte) []byte {
			out = fmt.Appendf(out, "%q\n", rec.ID)
			for i := range rec.Events {
				ev := &rec.Events[i]
				out = fmt.Appendf(out, "e%s %v %q%s\n", filepath.Base(ev.Pos.String()), ev.Kind, ev.Note, mark(ev))
			}
			for i := range rec.Jobs {
				out = fmt.Appendf(out, "j%v %v\n", rec.Jobs[i].Supply, rec.Jobs[i].Site)
			}
			return out
		}
	}, func(b []byte) error {
		out = append(out, b...)
		return nil
	})
	var records []visited
	for line := range strings.Lines(string(out)) {
		line = strings.TrimSuffix(line, "\n")
		switch line[0] {
		case 'e':
			r := &records[len(records)-1]
			r.Events = append(r.Events, line[1:])
		case 'j':
			r := &records[len(records)-1]
			r.Jobs = append(r.Jobs, line[1:])
		default:
			id, err := strconv.Unquote(line)
			if err != nil {
				t.Fatal(err)
			}
			records = append(records, visited{ID: id})
		}
	}
	return records, err
}

func mark(ev *record.Event) string {
	if ev.Ambiguous {
		return " ambiguous"
	}
	return ""
}

// write writes a file of the test's folder and returns its path.
func write(t testing.TB, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// reference reads files with encoding/csv and groups their rows by record id: what
// Each has to find.
func reference(t testing.TB, paths []string) []visited {
	t.Helper()
	var records []visited
	place := make(map[string]int)
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		r := csv.NewReader(strings.NewReader(string(data)))
		header, err := r.Read()
		if err != nil {
			t.Fatal(err)
		}
		id, event, note := slices.Index(header, "record"), slices.Index(header, "event"), slices.Index(header, "note")
		for {
			row, err := r.Read()
			if row == nil {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			if strings.Join(row, "") == "" {
				continue
			}
			key := strings.Trim(row[id], " \t")
			if _, known := place[key]; !known {
				place[key] = len(records)
				records = append(records, visited{ID: key})
			}
			line, _ := r.FieldPos(0)
			rec := &records[place[key]]
			rec.Events = append(rec.Events, fmt.Sprintf("%s:%d %s %q", filepath.Base(path), line, row[event], row[note]))
		}
	}
	return records
}

// drawFile draws a file of readings: any order of columns, ids in stretches or
// mixed, quoted fields with line breaks, LF or CRLF, blank lines.
func drawFile(t *rapid.T, file int) string {
	columns := []string{"record", "time", "event", "indicator", "from", "to", "volts", "note"}
	if rapid.Bool().Draw(t, "permute") { // the record stands first in most files
		columns = rapid.Permutation(columns).Draw(t, "columns")
	}
	eol := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "eol")
	quoting := rapid.SampledFrom([]int{0, 1, 3}).Draw(t, "quoting") // of 3 fields
	ids := rapid.SampledFrom([][]string{{"R1"}, {"R1", "R12", "R2"}, {"A", "B", "C", "D", "E,", " F "}}).Draw(t, "ids")
	notes := []string{"", "x", "a \"word\"", "two\nlines", "two\r\nlines", ",", "\"", "ends\n", "\n"}
	b := &strings.Builder{}
	b.WriteString(strings.Join(columns, ",") + eol)
	id := ids[0]
	for row := range rapid.IntRange(1, 59).Draw(t, "rows") {
		if rapid.IntRange(0, 2).Draw(t, "change") == 0 {
			id = rapid.SampledFrom(ids).Draw(t, "id")
		}
		if rapid.IntRange(0, 9).Draw(t, "blank") == 0 {
			b.WriteString(eol)
		}
		values := map[string]string{
			"record": id, "time": fmt.Sprintf("2026-03-02T09:%02d:%02dZ", file, row), "event": "test",
			"indicator": "VI-1", "from": "L", "to": "N", "volts": fmt.Sprint(row), "note": rapid.SampledFrom(notes).Draw(t, "note"),
		}
		for i, c := range columns {
			v := values[c]
			if strings.ContainsAny(v, ",\"\r\n") || rapid.IntRange(0, 2).Draw(t, "quote") < quoting {
				v = `"` + strings.ReplaceAll(v, `"`, `""`) + `"`
			}
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(v)
		}
		b.WriteString(eol)
	}
	return b.String()
}

// drawOptions draws sizes so small that every boundary falls everywhere.
func drawOptions(t *rapid.T) Options {
	o := Options{
		Workers:   rapid.IntRange(1, 3).Draw(t, "workers"),
		blockSize: rapid.OneOf(rapid.IntRange(1, 300), rapid.IntRange(1000, 10_000)).Draw(t, "block"),
		hashLimit: rapid.IntRange(1, 5).Draw(t, "hash limit"),
	}
	return o
}

// Any size of block, any number of workers and any order of the rows gives the
// records that encoding/csv and a map find.
func TestEachAgainstEncodingCSV(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		var paths []string
		for i := range rapid.IntRange(1, 3).Draw(rt, "files") {
			paths = append(paths, write(t, dir, fmt.Sprintf("%c.csv", 'a'+i), drawFile(rt, i)))
		}
		got, err := collect(t, drawOptions(rt), paths...)
		if err != nil {
			rt.Fatal(err)
		}
		want := reference(t, paths)
		for i := range want {
			for k := range want[i].Events {
				// encoding/csv takes CR LF within quotes for LF.
				want[i].Events[k] = strings.ReplaceAll(want[i].Events[k], `\r\n`, `\n`)
			}
		}
		for i := range got {
			for k := range got[i].Events {
				got[i].Events[k] = strings.ReplaceAll(got[i].Events[k], `\r\n`, `\n`)
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			rt.Fatal(diff)
		}
	})
}

// A line break within quotes ends no row, in rows that are passed over by their
// first bytes as well.
func TestLineBreaksInRepeatedRows(t *testing.T) {
	var text strings.Builder
	text.WriteString(header)
	for _, id := range []string{"A", "B", "C", "D", "E"} {
		for second := range 4 {
			fmt.Fprintf(&text, "%q,2026-03-02T09:00:%02dZ,test,VI-1,L,N,0.1,\"%s,\nA,\"\n", id, second, id)
		}
	}
	path := write(t, t.TempDir(), "a.csv", text.String())
	got, err := collect(t, Options{}, path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(reference(t, []string{path}), got); diff != "" {
		t.Error(diff)
	}
}

// Hashes that collide merge nothing and lose nothing.
func TestEachWithCollidingHashes(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		path := write(t, dir, "a.csv", drawFile(rt, 0))
		o := drawOptions(rt)
		o.hash = func(id string) uint64 { return uint64(len(id)) }
		got, err := collect(t, o, path)
		if err != nil {
			rt.Fatal(err)
		}
		want := reference(t, []string{path})
		byID := func(a, b visited) int { return strings.Compare(a.ID, b.ID) }
		slices.SortFunc(got, byID)
		slices.SortFunc(want, byID)
		for i := range want {
			if len(got) != len(want) || got[i].ID != want[i].ID || len(got[i].Events) != len(want[i].Events) {
				rt.Fatal(cmp.Diff(want, got))
			}
		}
	})
}

func badRowsOf(t *testing.T, err error) *formats.BadRows {
	t.Helper()
	var bad *formats.BadRows
	if !errors.As(err, &bad) {
		t.Fatalf("got %v, want bad rows", err)
	}
	return bad
}
