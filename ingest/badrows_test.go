package ingest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/formats"
	"nilvolt/record"
)

const header = "record,time,event,indicator,from,to,volts,note\n"

// row is a good dead test of a record, without its line end.
func row(id string, second int) string {
	return fmt.Sprintf("%s,2026-03-02T09:00:%02dZ,test,VI-1,L,N,0.1,", id, second)
}

func ids(records []visited) []string {
	list := []string{}
	for _, r := range records {
		list = append(list, r.ID)
	}
	return list
}

// A bad row keeps the records that it may belong to from being visited: its own,
// and where nobody can say whose it is, its neighbours; all where quotes do not pair up.
func TestBadRowsSpoilRecords(t *testing.T) {
	const broken = `,2026-03-02T09:00:00Z,test,VI-1,L,N,0.1` // a field too few
	tests := []struct {
		name string
		rows string // one letter a row: a good row of that record, or as below
		bad  string // the row written for '!'
		want string // records visited
	}{
		{"value, own record only", "AAB!BCC", "B,2026-03-02T09:00:00Z,test,VI-1,L,N,1O,", "A C"},
		{"value, record in two places", "AA!BBA", "A,2026-03-02T09:00:00Z,test,VI-1,L,N,1O,", "B"},
		{"too few fields within a record", "AAB!BCC", "B" + broken, "A C"},
		{"too few fields between records", "AAB!CCD", "B" + broken, "A D"},
		{"too few fields, record of its own", "AAB!CCD", "X" + broken, "A D"},
		{"too few fields, id of a distant record", "AAB!CCDE", "E" + broken, "A D"},
		{"too many fields between records", "AAB!CCD", "B,,,,,,,,,,", "A D"},
		{"bare quote", "AAB!CCD", `B,"2026"x,test`, ""},
		{"quote in an unquoted field", "AAB!CCD", `B,2026-03-02T09:00:00Z,test,VI-1,L,N,0.1,5" pipe`, ""},
		{"NUL", "AAB!CCD", "\x00", "A D"},
		{"lone carriage return", "AAB!CCD", "B\rC,2026-03-02T09:00:00Z,test,VI-1,L,N,0.1,", "A D"},
		{"first row", "!AAB", "A", "B"},
		{"last row", "AAB!", "B", "A"},
		{"beside a scattered record", "ABA!CC", "X", "B"},
		{"behind a scattered record's last row", "ABA!CC", "X" + broken, "B"},
		{"before a scattered record's later rows", "ABC!AD", "X", "B D"},
	}
	dir := t.TempDir()
	for _, test := range tests {
		text := &strings.Builder{}
		text.WriteString(header)
		line := 0
		for i, c := range test.rows {
			if c == '!' {
				line = i + 2
				text.WriteString(test.bad + "\n")
			} else {
				text.WriteString(row(string(c), i) + "\n")
			}
		}
		path := write(t, dir, "a.csv", text.String())
		for _, size := range []int{1, 64, 100, 150, 1 << 18} {
			records, err := collect(t, Options{blockSize: size, Workers: 2}, path)
			bad := badRowsOf(t, err)
			if bad.Total != 1 || bad.First[0].Pos.Line != line {
				t.Errorf("%s, blocks of %d: got %d bad rows, first %v, want one on line %d", test.name, size, bad.Total, bad.First[0], line)
			}
			if bad.First[0].Message == "" || bad.First[0].Mend == "" {
				t.Errorf("%s: message and mend of %#v", test.name, bad.First[0])
			}
			if diff := cmp.Diff(strings.Fields(test.want), ids(records)); diff != "" {
				t.Errorf("%s, blocks of %d: visited %s", test.name, size, diff)
			}
		}
	}
}

// Whatever bad rows stand where, all of them are reported on their lines, whatever
// the size of the blocks, and no record beside or around one is visited.
func TestBadRowsAnywhere(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		kinds := []string{"X", `"a"b,`, `a"b`, "\x00", "A,,,", "B,2026-03-02T09:00:00Z,test,VI-1,L,L,0.1,", "\rx", "A,1,2,3,4,5,6,7,8,9"}
		rows := rapid.SliceOfN(rapid.SampledFrom([]string{"A", "A", "B", "C", "D", "!"}), 1, 30).Draw(rt, "rows")
		text := header
		var want []int
		spoiled := map[string]bool{}
		for i, r := range rows {
			if r != "!" {
				text += row(r, i) + "\n"
				continue
			}
			kind := rapid.SampledFrom(kinds).Draw(rt, "kind")
			text += kind + "\n"
			want = append(want, i+2)
			rows[i] = kind[:1] // as if it were the id
			if rows[i] != "B" {
				rows[i] = "!" + rows[i]
			}
			spoiled[kind[:1]] = true
		}
		for i, r := range rows {
			if r[0] != '!' {
				continue
			}
			for _, step := range []int{-1, 1} {
				k := i + step
				for k >= 0 && k < len(rows) && rows[k][0] == '!' {
					k += step
				}
				if k >= 0 && k < len(rows) {
					spoiled[rows[k]] = true
				}
			}
		}
		path := write(t, dir, "a.csv", text)
		records, err := collect(t, drawOptions(rt), path)
		var got []int
		if len(want) > 0 {
			for _, e := range badRowsOf(t, err).First {
				if len(got) == 0 || got[len(got)-1] != e.Pos.Line {
					got = append(got, e.Pos.Line)
				}
			}
		}
		if diff := cmp.Diff(want[:min(len(want), formats.MaxListed)], got); diff != "" {
			rt.Fatalf("lines %s in %q", diff, text)
		}
		seen := map[string]bool{}
		for _, r := range rows {
			seen[r] = r[0] != '!'
		}
		torn := strings.Contains(text, `"`)
		for id, good := range seen {
			if visited := slices.Contains(ids(records), id); good && visited == (spoiled[id] || torn) {
				rt.Fatalf("record %s: visited %v, spoiled %v in %q", id, visited, spoiled[id], text)
			}
		}
	})
}

// A line longer than a row may be is an error on its line, at no cost in memory.
func TestOverlongLines(t *testing.T) {
	long := strings.Repeat("x", 5000)
	tests := []struct {
		name string
		text string
		line int
		want string
	}{
		{"in the middle", row("A", 1) + "\n" + row("B", 2) + "\n" + long + "\n" + row("B", 3) + "\n" + row("C", 4) + "\n", 4, "A C"},
		{"first", long + "\n" + row("A", 1) + "\n" + row("B", 2) + "\n", 2, "B"},
		{"last, no line end", row("A", 1) + "\n" + row("B", 2) + "\n" + long, 4, "A"},
		{"a quoted field without an end", row("A", 1) + "\n" + row("B", 2) + "\"\n" + strings.Repeat(row("B", 3)+"\n", 100) + row("C", 4) + "\n", 3, ""},
		{"an open quote and a long line", row("A", 1) + "\n" + row("B", 2) + "\"\n" + long + "\n" + row("C", 4) + "\n" + row("D", 4) + "\n", 3, ""},
	}
	dir := t.TempDir()
	for _, test := range tests {
		path := write(t, dir, "a.csv", header+test.text)
		for _, size := range []int{16, 200, 1 << 18} {
			records, err := collect(t, Options{blockSize: size, longest: 1000}, path)
			bad := badRowsOf(t, err)
			if bad.First[0].Pos.Line != test.line || len(bad.First) > 2 {
				t.Errorf("%s, blocks of %d: %v, want line %d", test.name, size, bad.First, test.line)
			}
			if diff := cmp.Diff(strings.Fields(test.want), ids(records)); diff != "" {
				t.Errorf("%s, blocks of %d: visited %s", test.name, size, diff)
			}
		}
	}
}

// Ten thousand bad rows are counted, and the first ones of the input are listed.
func TestManyBadRows(t *testing.T) {
	text := header + strings.Repeat("R1,never,test,VI-1,L,N,0.1,\n", 10_000)
	path := write(t, t.TempDir(), "a.csv", text)
	records, err := collect(t, Options{blockSize: 4096}, path)
	bad := badRowsOf(t, err)
	if len(records) != 0 || bad.Total != 10_000 || len(bad.First) != formats.MaxListed {
		t.Fatalf("visited %d, %d bad rows, %d listed", len(records), bad.Total, len(bad.First))
	}
	for i, e := range bad.First {
		if e.Pos.Line != i+2 {
			t.Errorf("place %d: line %d", i, e.Pos.Line)
		}
	}
}

func TestOpenErrors(t *testing.T) {
	dir := t.TempDir()
	headerOnly := write(t, dir, "header.csv", header)
	blank := write(t, dir, "blank.csv", header+"\n,,,,,,,\n\n")
	good := write(t, dir, "good.csv", header+row("A", 1)+"\n")
	tests := []struct {
		name  string
		paths []string
		want  string
	}{
		{"headers only", []string{headerOnly}, "no row behind the header"},
		{"blank rows only", []string{blank}, "no row behind the header"},
		{"one of two without rows", []string{good, headerOnly}, "header.csv: no row"},
		{"a folder", []string{dir}, "a folder"},
		{"no such file", []string{dir + "/none.csv"}, "none.csv"},
		{"no standard input", []string{"-"}, "standard input"},
	}
	for _, test := range tests {
		s, err := Open(context.Background(), test.paths, Options{})
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %v, want %q", test.name, err, test.want)
		}
		if s != nil {
			t.Errorf("%s: a set beside the error", test.name)
		}
	}
}

func TestChangedWhileRead(t *testing.T) {
	path := write(t, t.TempDir(), "a.csv", header+row("A", 1)+"\n")
	s := closed(t, open(t, Options{}, path))
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintln(f, row("A", 2))
	f.Close()
	if _, err := collectSet(t, s); err == nil || !strings.Contains(err.Error(), "a.csv: changed while it was read") {
		t.Fatal(err)
	}
}

func TestCancel(t *testing.T) {
	path := write(t, t.TempDir(), "a.csv", header+strings.Repeat(row("A", 1)+"\n", 1000))
	ctx, cancel := context.WithCancel(context.Background())
	s := closed(t, open(t, Options{blockSize: 100}, path))
	cancel()
	err := s.Each(ctx, func() Visitor { return nil }, nil)
	if !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
}

// A record that is not visited is never passed over in silence, whatever the cause: here
// it stands in doubt and no row of it is bad.
func TestWithheldIsAnError(t *testing.T) {
	path := write(t, t.TempDir(), "a.csv", header+row("A", 1)+"\n"+row("B", 2)+"\n")
	s := closed(t, open(t, Options{}, path))
	s.inputs[0].segments[0].doubtful = true
	if records, err := collectSet(t, s); !errors.Is(err, errWithheld) {
		t.Errorf("visited %q, and %v", ids(records), err)
	}
}

// Whatever is done to the quotes and line ends of a file: reading it comes to an end, a
// file that has a bad row when it is read from its beginning to its end is one with bad
// rows for any size of block, and a record that is visited all the same has only rows
// that it has then, and all of them.
func TestDamagedQuotes(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		text := []byte(drawFile(rt, 0))
		body := strings.IndexByte(string(text), '\n') + 1
		for range rapid.IntRange(1, 4).Draw(rt, "slips") {
			at := rapid.IntRange(body, len(text)).Draw(rt, "at")
			switch rapid.IntRange(0, 3).Draw(rt, "slip") {
			case 0:
				text = slices.Insert(text, at, '"')
			case 1:
				text = slices.Insert(text, at, '"', '"')
			case 2: // a row ends too early
				text = slices.Insert(text, at, '\n')
			default: // a part is lost
				text = slices.Delete(text, at, min(len(text), at+rapid.IntRange(1, 30).Draw(rt, "lost")))
			}
		}
		path := write(t, dir, "a.csv", string(text))
		want, bad := inOneGo(t, path)
		var rows *formats.BadRows
		s, err := Open(context.Background(), []string{path}, drawOptions(rt))
		if errors.As(err, &rows) { // nothing is left of it
			return
		}
		if err != nil {
			rt.Fatal(err)
		}
		got, err := collectSet(t, s)
		if err := s.Close(); err != nil {
			rt.Fatal(err)
		}
		if err != nil && !errors.As(err, &rows) {
			rt.Fatal(err)
		}
		if bad != (rows != nil) {
			rt.Fatalf("bad rows from the beginning to the end: %v; in blocks: %v\n%s", bad, err, text)
		}
		for _, rec := range got {
			// A row that has lost its record id may be matched to one.
			if diff := cmp.Diff(want[rec.ID], rec.Events); diff != "" && want[""] == nil {
				rt.Fatalf("%s, bad rows: %v\n%s\n%s", rec.ID, bad, diff, text)
			}
		}
	})
}

// inOneGo decodes the rows of a file one after the other. It returns their events by
// record, and whether one was bad.
func inOneGo(t *testing.T, path string) (events map[string][]string, bad bool) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	layout, err := formats.Bind(string(data), "a.csv", nil)
	if err != nil {
		t.Fatal(err)
	}
	d := formats.NewDecoder(layout, "a.csv")
	events = map[string][]string{}
	line := layout.FirstLine
	for i := int(layout.FirstRow); i < len(data); {
		var ev record.Event
		n, lines, outcome := d.Next(string(data[i:]), line, &ev)
		switch id := d.Last().ID; outcome {
		case formats.BadRow:
			bad = true
		case formats.Decoded:
			events[id] = append(events[id], fmt.Sprintf("a.csv:%d %v %q", ev.Pos.Line, ev.Kind, ev.Note))
		case formats.NoRow:
		}
		i, line = i+n, line+lines
	}
	return events, bad
}
