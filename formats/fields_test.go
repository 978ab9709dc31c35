package formats

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// splitAll splits text into rows of texts. Empty lines are left out, as
// encoding/csv leaves them out.
func splitAll(t testing.TB, text string) ([][]string, *Problem) {
	t.Helper()
	var rows [][]string
	line := 0
	for i := 0; i < len(text); {
		fields, n, lines, problem := SplitRow(text[i:], ',', nil)
		if problem != nil {
			return rows, problem
		}
		if n <= 0 || lines != strings.Count(strings.TrimSuffix(text[i:i+n], "\n"), "\n") {
			t.Fatalf("%q: %d bytes, %d lines", text[i:], n, lines)
		}
		for _, f := range fields {
			// The place of a field leads to its text.
			start := i
			for range f.Line {
				start += strings.IndexByte(text[start:], '\n') + 1
			}
			at := text[start+f.Column-1:]
			if f.Quoted != strings.HasPrefix(at, `"`) || !f.Quoted && !strings.HasPrefix(at, f.Text) {
				t.Fatalf("%q: field %+v", text[i:i+n], f)
			}
		}
		if len(fields) > 1 || fields[0].Text != "" || fields[0].Quoted {
			rows = append(rows, textsOf(fields))
		}
		i += n
		line += lines + 1
	}
	return rows, nil
}

func textsOf(fields []Field) []string {
	var texts []string
	for _, f := range fields {
		texts = append(texts, f.Text)
	}
	return texts
}

// Source: RFC 4180, section 2, rules 1 to 7, with its own examples.
func TestSplitRowRFC4180(t *testing.T) {
	tests := []struct {
		rule string
		text string
		want [][]string
	}{
		{"1", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"2, no last line end", "aaa,bbb,ccc\r\nzzz,yyy,xxx", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"4, spaces are part of a field", "aaa , bbb, ccc\r\n", [][]string{{"aaa ", " bbb", " ccc"}}},
		{"5", "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"6", "\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", [][]string{{"aaa", "b\r\nbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"7", `"aaa","b""bb","ccc"`, [][]string{{"aaa", `b"bb`, "ccc"}}},
	}
	for _, test := range tests {
		got, problem := splitAll(t, test.text)
		if problem != nil {
			t.Fatal(test.rule, problem)
		}
		if diff := cmp.Diff(test.want, got); diff != "" {
			t.Errorf("rule %s: %s", test.rule, diff)
		}
	}
}

// Source: the files of csv-spectrum, see testdata/csv-spectrum/README.md.
func TestSplitRowCSVSpectrum(t *testing.T) {
	files, err := filepath.Glob("testdata/csv-spectrum/csvs/*.csv")
	if err != nil || len(files) != 11 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		wanted, err := os.ReadFile(strings.TrimSuffix(strings.Replace(file, "csvs", "json", 1), "csv") + "json")
		if err != nil {
			t.Fatal(err)
		}
		var want []map[string]string
		if err := json.Unmarshal(wanted, &want); err != nil {
			t.Fatal(file, err)
		}
		rows, problem := splitAll(t, string(data))
		if problem != nil {
			t.Fatal(file, problem)
		}
		var got []map[string]string
		for _, row := range rows[1:] {
			m := make(map[string]string)
			for i, name := range rows[0] {
				m[name] = row[i]
			}
			got = append(got, m)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: %s", file, diff)
		}
	}
}

// What would make the following rows uncertain is refused, with its place.
func TestSplitRowProblems(t *testing.T) {
	tests := []struct {
		text         string
		line, column int
		size         int
		message      string
	}{
		{"a,37°36'37.8\"N,b\nc", 0, 14, 18, "a quote within an unquoted field"},
		{"a,\"b\"c,d\ne", 0, 6, 9, "text behind a closing quote"},
		{"a,\"b\" ,d\ne", 0, 6, 9, "text behind a closing quote"},
		{"a,\"b\nc", 0, 3, 5, "quoted field without an end"},
		{"a,\"b\nc\",\"d\ne", 1, 4, 11, "quoted field without an end"},
		{"a,b\rc\nd", 0, 4, 6, "a carriage return that ends no line"},
		{"a,\x00\nb", 0, 3, 4, "a NUL byte"},
		{"a,\"\x00\"\nb", 0, 3, 6, "a NUL byte"},
		{"\"x\ny\",b\"\n", 1, 5, 9, "a quote within an unquoted field"},
	}
	for _, test := range tests {
		_, n, _, p := SplitRow(test.text, ',', nil)
		if p == nil {
			t.Errorf("%q: no problem", test.text)
			continue
		}
		if p.Message != test.message || p.Line != test.line || p.Column != test.column || n != test.size || p.Mend == "" {
			t.Errorf("%q: got %d bytes, %+v", test.text, n, p)
		}
	}
}

// drawCSV draws text that is CSV more often than not.
func drawCSV(t *rapid.T) string {
	parts := rapid.SliceOfN(rapid.SampledFrom([]string{
		"a", "b", "é", " ", "\t", "0.1", ",", ",", ",", "\n", "\n", "\r\n", `"`, `""`, `"a"`, "\"a\nb\"", "\"\r\n\"", "\r", "\x00",
	}), 0, 30)
	return strings.Join(parts.Draw(t, "parts"), "")
}

// Oracle: encoding/csv. It takes CR LF within quotes for LF, drops a CR before the
// end of the text, and takes a lone CR and a NUL for text; else both accept the
// same text and find the same fields.
func TestSplitRowAgainstEncodingCSV(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := drawCSV(rt)
		got, problem := splitAll(t, text)
		r := csv.NewReader(strings.NewReader(text))
		r.FieldsPerRecord = -1
		want, err := r.ReadAll()
		lone := strings.Contains(strings.ReplaceAll(text, "\r\n", ""), "\r") || strings.Contains(text, "\x00")
		switch {
		case problem == nil && err != nil:
			rt.Fatalf("%q: accepted, but: %v", text, err)
		case problem != nil && err == nil && !lone:
			rt.Fatalf("%q: refused: %+v", text, problem)
		case problem != nil || strings.HasSuffix(text, "\r"):
			return
		}
		for _, row := range got {
			for i := range row {
				row[i] = strings.ReplaceAll(row[i], "\r\n", "\n")
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			rt.Fatalf("%q: %s", text, diff)
		}
	})
}

// WholeRows ends where a row ends, and misses the last whole row of a buffer only
// where a later byte could change it.
func TestWholeRows(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := drawCSV(rt)
		n := WholeRows([]byte(text), ',')
		ends := map[int]bool{0: true}
		last := 0
		for i := 0; i < len(text); {
			_, size, _, problem := SplitRow(text[i:], ',', nil)
			if problem != nil {
				ends[n] = ends[n] || n > i // behind it anything goes
				break
			}
			i += size
			ends[i] = true
			if text[i-1] == '\n' {
				last = i
			}
		}
		if !ends[n] || n < last {
			rt.Fatalf("%q: %d, rows end at %v, the last at %d", text, n, ends, last)
		}
	})
}
