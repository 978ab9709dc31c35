package main

import (
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/record"
	"nilvolt/verify"
)

// jsonRecord is the object of a record as outsiders read it.
type jsonRecord struct {
	Record, Status, Supply string
	Findings               []jsonFinding
}

type jsonFinding struct {
	Rule, Severity, Indicator string
	Pairs, Lines              []string
	Message                   string
}

func conductor(t testing.TB, name string) record.Conductor {
	c, err := record.ParseConductor(name)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestJSONIsWrittenExactly(t *testing.T) {
	tests := []struct {
		name string
		in   verify.Judgement
		want string
	}{
		{
			"no finding is an empty list",
			verify.Judgement{Record: "R1", Status: record.Compliant, Supply: record.SinglePhase},
			`{"record":"R1","status":"compliant","supply":"single-phase","findings":[]}`,
		},
		{
			"pairs and lines are never null",
			verify.Judgement{Record: "R2", Status: record.NonCompliant, Findings: []record.Finding{
				{Rule: record.SupplyUnknownRule, Severity: record.Failure, Message: "state the supply"},
			}},
			`{"record":"R2","status":"non-compliant","supply":"","findings":[{"rule":"supply-unknown",` +
				`"severity":"failure","indicator":"","pairs":[],"lines":[],"message":"state the supply"}]}`,
		},
		{
			"switch positions and places",
			verify.Judgement{Record: "R3", Status: record.LiveFound, Supply: record.SinglePhase, Findings: []record.Finding{{
				Rule: record.LiveFoundRule, Severity: record.Failure, Indicator: "VI-3",
				Tested: []record.Tested{
					{Pair: record.Pair{A: conductor(t, "SL1"), B: record.N}, Switch: record.SwitchOn, Point: "left"},
					{Pair: record.Pair{A: record.L, B: record.E}},
				},
				Lines:   []record.Pos{{File: `a"b.csv`, Line: 14, Column: 3}, {File: "c.csv", Line: 2}},
				Message: "live",
			}}},
			`{"record":"R3","status":"live","supply":"single-phase","findings":[{"rule":"live-found",` +
				`"severity":"failure","indicator":"VI-3","pairs":["SL1-N@on","L-E"],"lines":["a\"b.csv:14","c.csv:2"],"message":"live"}]}`,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var w jsonWriter
			got := string(w.append([]byte("before"), &tt.in))
			if diff := cmp.Diff("before"+tt.want+"\n", got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// checkJSONString holds appendJSON to encoding/json: both texts must mean the
// same to a reader, U+FFFD for bytes that are no UTF-8 included, and no byte may
// divide the line.
func checkJSONString(t interface{ Fatalf(string, ...any) }, s string) {
	ours := appendJSON(nil, s)
	theirs, err := json.Marshal(s)
	if err != nil {
		t.Fatalf("encoding/json: %v", err)
	}
	var got, want string
	if err := json.Unmarshal(ours, &got); err != nil {
		t.Fatalf("%q: %s is no JSON: %v", s, ours, err)
	}
	if err := json.Unmarshal(theirs, &want); err != nil {
		t.Fatalf("encoding/json: %v", err)
	}
	if got != want {
		t.Fatalf("%q: %s means %q, want %q", s, ours, got, want)
	}
	if strings.ContainsAny(string(ours), "\n\r\u0085\u2028\u2029") {
		t.Fatalf("%q: a line end in %s", s, ours)
	}
}

func TestJSONStringsAgreeWithEncodingJSON(t *testing.T) {
	for _, s := range []string{
		"", "plain", `"`, `\`, "\x00\x1f\x7f", "12345678", "1234567\"", "1234567\\9", "\x1f2345678", "é", "日本", "\xff", "a\xc3", "\xed\xa0\x80",
		"\ufffd", "x\u2028y\u2029z\u0085", "<&>", "long enough for two words, then a quote \" and a tab \t", "\U0001f50c",
	} {
		checkJSONString(t, s)
	}
	rapid.Check(t, func(t *rapid.T) {
		checkJSONString(t, rapid.String().Draw(t, "text"))
		checkJSONString(t, string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")))
	})
}

func FuzzJSONString(f *testing.F) {
	f.Add("plain text, eight and more")
	f.Add("\"\\\x00\u2028\xff")
	f.Fuzz(func(t *testing.T, s string) { checkJSONString(t, s) })
}

// drawJudgement draws a judgement with any text in its fields.
func drawJudgement(t *rapid.T) *verify.Judgement {
	text := rapid.String()
	conductors := []record.Conductor{record.L, record.N, record.E, record.LMinus}
	finding := rapid.Custom(func(t *rapid.T) record.Finding {
		f := record.Finding{
			Rule:      record.Rule(rapid.IntRange(1, int(record.NumRules)-1).Draw(t, "rule")),
			Severity:  rapid.SampledFrom([]record.Severity{record.Caution, record.Failure}).Draw(t, "severity"),
			Indicator: text.Draw(t, "indicator"),
			Message:   text.Draw(t, "message"),
		}
		for range rapid.IntRange(0, 3).Draw(t, "pairs") {
			f.Tested = append(f.Tested, record.Tested{
				Pair:   record.Pair{A: rapid.SampledFrom(conductors).Draw(t, "a"), B: rapid.SampledFrom(conductors).Draw(t, "b")},
				Switch: record.Switch(rapid.IntRange(0, 4).Draw(t, "switch")),
			})
		}
		for range rapid.IntRange(0, 3).Draw(t, "lines") {
			f.Lines = append(f.Lines, record.Pos{File: text.Draw(t, "file"), Line: rapid.IntRange(1, 1e6).Draw(t, "line")})
		}
		return f
	})
	return &verify.Judgement{
		Record:   text.Draw(t, "record"),
		Status:   record.Status(rapid.IntRange(1, 3).Draw(t, "status")),
		Supply:   record.Supply(rapid.IntRange(0, 6).Draw(t, "supply")),
		Findings: rapid.SliceOfN(finding, 0, 3).Draw(t, "findings"),
	}
}

func TestJSONRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJudgement(t)
		var w jsonWriter
		out := w.append(nil, j)
		var got jsonRecord
		if err := json.Unmarshal(out, &got); err != nil {
			t.Fatalf("%v in %s", err, out)
		}
		want := jsonRecord{j.Record, j.Status.String(), j.Supply.String(), []jsonFinding{}}
		for _, f := range j.Findings {
			g := jsonFinding{f.Rule.String(), f.Severity.String(), f.Indicator, []string{}, []string{}, f.Message}
			for i, p := range f.Tested {
				if i == 0 || p.String() != f.Tested[i-1].String() { // one pair at two points reads the same
					g.Pairs = append(g.Pairs, p.String())
				}
			}
			for _, p := range f.Lines {
				g.Lines = append(g.Lines, p.String())
			}
			want.Findings = append(want.Findings, g)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatal(diff)
		}
	})
}

// TestJSONWriterOfMany holds what a writer makes of many judgements to what new
// writers make of each: what it keeps of one must not come out in another.
func TestJSONWriterOfMany(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sentence := rapid.StringOfN(rapid.RuneFrom([]rune("ab\"")), 0, 2, -1) // few, so that they come again
		bare := rapid.Custom(func(t *rapid.T) record.Finding {
			return record.Finding{
				Rule:     rapid.SampledFrom([]record.Rule{record.NotLabelled, record.NotRecorded}).Draw(t, "rule"),
				Severity: rapid.SampledFrom([]record.Severity{record.Caution, record.Failure}).Draw(t, "severity"),
				Message:  sentence.Draw(t, "message"),
			}
		})
		var w jsonWriter
		for range rapid.IntRange(1, 10).Draw(t, "judgements") {
			j := drawJudgement(t)
			j.Status = record.Status(rapid.IntRange(0, 255).Draw(t, "any status"))
			j.Supply = record.Supply(rapid.IntRange(0, 255).Draw(t, "any supply"))
			j.Findings = append(j.Findings, rapid.SliceOfN(bare, 0, 4).Draw(t, "bare findings")...)
			got, want := w.append(nil, j), new(jsonWriter).append(nil, j)
			if diff := cmp.Diff(string(want), string(got)); diff != "" {
				t.Fatal(diff)
			}
		}
	})
}

// TestConductorsNeedNoEscape holds for any name: appendFinding writes them as they stand.
func TestConductorsNeedNoEscape(t *testing.T) {
	for r := range rune(utf8.MaxRune + 1) {
		c, err := record.ParseConductor("X" + string(r) + "X")
		if name := c.String(); err == nil && string(appendJSON(nil, name)) != `"`+name+`"` {
			t.Errorf("%q is escaped: %s", name, appendJSON(nil, name))
		}
	}
	if _, err := record.ParseConductor("X\xff"); err == nil {
		t.Error("a name that is no UTF-8 was taken")
	}
}

// TestCSVRoundTrip reads the CSV output back with encoding/csv.
func TestCSVRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := drawJudgement(t)
		out := appendCSV([]byte(csvHeader), j)
		rows, err := csv.NewReader(strings.NewReader(string(out))).ReadAll()
		if err != nil {
			t.Fatalf("%v in %q", err, out)
		}
		head := []string{j.Record, j.Status.String(), j.Supply.String()}
		want := [][]string{strings.Split(strings.TrimSpace(csvHeader), ",")}
		for _, f := range j.Findings {
			want = append(want, append(append([]string{}, head...),
				f.Rule.String(), f.Severity.String(), f.Indicator, joined(f.Tested), places(f.Lines), f.Message))
		}
		if len(j.Findings) == 0 {
			want = append(want, append(head, "", "", "", "", "", ""))
		}
		// encoding/csv makes CRLF within a quoted field LF; RFC 4180 keeps it.
		for _, row := range want {
			for i := range row {
				row[i] = strings.ReplaceAll(row[i], "\r\n", "\n")
			}
		}
		if diff := cmp.Diff(want, rows); diff != "" {
			t.Fatal(diff)
		}
	})
}

func BenchmarkJSON(b *testing.B) {
	j := verify.Judgement{Record: "R-0123456", Status: record.NonCompliant, Supply: record.SinglePhase, Findings: []record.Finding{{
		Rule: record.ReproveMissing, Severity: record.Failure, Indicator: "VI-03",
		Tested:  []record.Tested{{Pair: record.Pair{A: record.L, B: record.E}}, {Pair: record.Pair{A: record.L, B: record.N}}},
		Lines:   []record.Pos{{File: "readings.csv", Line: 123456}, {File: "readings.csv", Line: 123457}},
		Message: "the dead tests of L-N and L-E have no proof of VI-03 after them; prove it now and test them again",
	}}}
	var w jsonWriter
	var out []byte
	b.ReportAllocs()
	for b.Loop() {
		out = w.append(out[:0], &j)
	}
	b.SetBytes(int64(len(out)))
}
