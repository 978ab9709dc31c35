package capture

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"nilvolt/formats"
	"nilvolt/record"
)

func TestParseInput(t *testing.T) {
	for text, want := range map[string]Input{
		"isolate":                              {Verb: DidStep, Step: record.Isolate},
		" Shed-Load":                           {Verb: DidStep, Step: record.ShedLoad},
		"seen":                                 {Verb: HaveSeen},
		"END":                                  {Verb: Finish},
		"test L-N":                             {Verb: NextReading, Next: Next{Event: record.Test, Pair: "L-N"}},
		"test E L":                             {Verb: NextReading, Next: Next{Event: record.Test, From: "E", To: "L"}},
		"test on":                              {Verb: NextReading, Next: Next{Event: record.Test, Switch: "on"}},
		"test SL1-N off point=panel side=load": {Verb: NextReading, Next: Next{Event: record.Test, Pair: "SL1-N", Switch: "off", Point: "panel", Side: "load"}},
		"prove":                                {Verb: NextReading, Next: Next{Event: record.Prove}},
		"prove live":                           {Verb: NextReading, Next: Next{Event: record.Prove, Source: "live"}},
		"reprove PU-1 250":                     {Verb: NextReading, Next: Next{Event: record.Prove, Source: "PU-1", Expected: "250"}},
		"use source COM7":                      {Verb: UsePort, Role: Source, Words: "COM7"},
		"note two  locks  on":                  {Verb: TakeNote, Words: "two  locks  on"},
	} {
		got, err := ParseInput(text)
		if err != nil || got != want {
			t.Errorf("%q: %+v, %v; want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{
		"", "  ", "safe", "isolate now", "test L", "test L-L", "test L-PE1O ?", "test L-N colour=red", "test L-N side=left", "prove PU-1 25O", "prove a b c",
		"use", "use indicator", "use both COM1", "note", "test E L N", "prove P\u200bU-1",
	} {
		if in, err := ParseInput(text); err == nil {
			t.Errorf("%q is understood as %+v", text, in)
		}
	}
}

func TestMeaning(t *testing.T) {
	for text, want := range map[string]string{
		"test L-N":            "the next reading counts as test L-N, unless its line says otherwise",
		"test E L on point=a": "the next reading counts as test E L on point=a, unless its line says otherwise",
		"test off":            "the next readings count as test off of the pairs that their lines name",
		"reprove PU-1 250":    "the next readings count as prove PU-1 250, unless their lines say otherwise",
		"isolate":             "",
	} {
		in, err := ParseInput(text)
		if got := in.Next.Meaning(); err != nil || got != want {
			t.Errorf("%q: %q, %v", text, got, err)
		}
	}
}

// FuzzInput: what is written of an input is read as the same input.
func FuzzInput(f *testing.F) {
	for _, text := range []string{"isolate", "test E L on point=a side=load", "prove PU-1 250", "use indicator x", "note a  b", "end"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		in, err := ParseInput(text)
		if err != nil {
			return
		}
		if again, err := ParseInput(in.String()); err != nil || again != in {
			t.Errorf("%q is %+v, written %q, which is %+v, %v", text, in, in.String(), again, err)
		}
	})
}

// document is docs/capture.md.
func document(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile("../docs/capture.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// What the document says may be typed is understood.
func TestDocumentSaysWhatIsUnderstood(t *testing.T) {
	inputs := 0
	for line := range strings.Lines(document(t)) {
		cell, _, isRow := strings.Cut(strings.TrimPrefix(line, "| "), " | ")
		if !isRow || !strings.HasPrefix(cell, "`") {
			continue
		}
		for _, m := range regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(cell, -1) {
			inputs++
			if _, err := ParseInput(m[1]); err != nil {
				t.Errorf("%q: %v", m[1], err)
			}
		}
	}
	if inputs < 15 {
		t.Errorf("found %d inputs", inputs)
	}
}

// The map and the journal of the document are what it says they are.
func TestDocumentExamples(t *testing.T) {
	text := document(t)
	_, rest, _ := strings.Cut(text, "```yaml\n")
	yaml, _, _ := strings.Cut(rest, "```")
	m, err := formats.ParseMap("map.yaml", []byte(yaml))
	if err != nil {
		t.Fatal(err)
	}
	d := formats.NewLines("indicator", m).Next("VI-7 L-N 0.4", record.Pos{}, func(row *formats.Row) { row[formats.TimeColumn].Text = "2026-03-02T10:15:40Z" })
	if d.Outcome != formats.Decoded || d.Event.Indicator != "VI-7" || d.Event.Volts.Volts != 0.4 {
		t.Errorf("%+v", d)
	}
	lines := regexp.MustCompile(`(?m)^    ([0-9a-f]{8}) (.*)$`).FindAllStringSubmatch(text, -1)
	if len(lines) != 2 {
		t.Fatalf("%d lines of a journal", len(lines))
	}
	if want := checksum(lines[0][1], lines[1][2]); want != lines[1][1] {
		t.Errorf("the second line has the checksum %s, not %s", want, lines[1][1])
	}
}
