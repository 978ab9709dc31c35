package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"nilvolt/capture"
	"nilvolt/record"
	"nilvolt/verify"
)

// plainOf returns what a session of a single-phase record prints, line ends left out,
// when each of the groups of entries arrives at once, 2 s after the one before.
func plainOf(t *testing.T, groups ...[]capture.Entry) string {
	t.Helper()
	var out bytes.Buffer
	in := &inputs{policy: verify.DefaultPolicy()}
	now := time.Unix(1772445600, 0).UTC()
	c := &console{columns: 200, getenv: func(string) string { return "" }, now: func() time.Time { return now }}
	p := newPlainCapture(c, &captureOptions{format: "text"}, in)
	p.out, p.flush = &out, func() error { return nil }
	st := capture.NewState("R1.journal")
	shown, judge := capture.Shown{}, verify.NewJudge(in.policy, nil, nil)
	job := record.Job{Record: "R1", Supply: record.SinglePhase, Nominal: 230, Device: "60947-3", Poles: record.Poles2}
	line := 0
	for _, group := range append([][]capture.Entry{{
		{Kind: capture.Begin, Data: `{"version":1,"record":"R1"}`},
		{Kind: capture.Open, Port: capture.Indicator, Data: "A"},
		{Kind: capture.Open, Port: capture.Source, Data: "B"},
		{Kind: capture.Line, Port: capture.Indicator, Data: "event,indicator,pair,volts,waveform\n"},
		{Kind: capture.Line, Port: capture.Source, Data: "event,source,expected\n"},
	}}, groups...) {
		for _, e := range group {
			line++
			e.Line, e.Wall, e.Mono = line, now, now.Sub(time.Unix(1772445600, 0))
			st.Apply(e)
		}
		p.show(shown.Update(st, []record.Job{job}, judge))
		now = now.Add(2 * time.Second)
	}
	return strings.Join(strings.Fields(out.String()), " ")
}

// read is a line of the indicator, told one of the proving unit.
func read(text string) []capture.Entry {
	return []capture.Entry{{Kind: capture.Line, Port: capture.Indicator, Data: text + "\n"}}
}

func told(text string) []capture.Entry {
	return []capture.Entry{{Kind: capture.Line, Port: capture.Source, Data: text + "\n"}}
}

// What was typed of the next reading is echoed.
func TestPlainEchoesTheNextReading(t *testing.T) {
	got := plainOf(t, []capture.Entry{{Kind: capture.Said, Data: "test L-N"}})
	if want := "10:00:02 note: the next reading counts as test L-N, unless its line says otherwise"; !strings.Contains(got, want) {
		t.Error(got)
	}
}

// Half a line whose end is still to come is told of; one that was cut off before that could
// be said is told of as what it is.
func TestPlainTellsOfHalfALine(t *testing.T) {
	half := capture.Entry{Kind: capture.Part, Port: capture.Indicator, Data: "test,VI-1,L-"}
	lost := capture.Entry{Kind: capture.Lost, Port: capture.Indicator, Data: "no such device"}
	const waits, cut = "half a line came from the indicator: it counts when its end has come", "CANNOT READ a line of the indicator: the line was cut off"
	got := plainOf(t, []capture.Entry{half}, []capture.Entry{lost})
	if before, _, _ := strings.Cut(got, cut); !strings.Contains(before, waits) || strings.Count(got, waits) != 1 || before == got {
		t.Errorf("first half a line, then the port is gone: %s", got)
	}
	if got = plainOf(t, []capture.Entry{half, lost}); strings.Contains(got, waits) || !strings.Contains(got, cut) {
		t.Errorf("both at once: %s", got)
	}
}

// A proof that failed says so in words, as soon as it is known, and once.
func TestPlainTellsAFailedProof(t *testing.T) {
	for _, tt := range []struct {
		name    string
		entries [][]capture.Entry
		want    string
		times   int // that the word FAILED is there
	}{
		{"passed", [][]capture.Entry{told("prove,PU-1,250"), read("prove,VI-1,,249,ac")}, "10:00:04 prove VI-1 on PU-1 249 V of 250 V", 0},
		{"failed", [][]capture.Entry{told("prove,PU-1,250"), read("prove,VI-1,,179.9,ac"), read("test,VI-1,L-N,0,ac")}, "10:00:04 FAILED: prove VI-1 on PU-1 179.9 V of 250 V", 1},
		{"beyond the range", [][]capture.Entry{told("prove,PU-1,250"), read("prove,VI-1,,OL,ac")}, "10:00:04 FAILED: prove VI-1 on PU-1 OL V of 250 V", 1},
		{"failed by what the unit says after it", [][]capture.Entry{read("prove,VI-1,,179.9,ac"), told("prove,PU-1,250")}, "10:00:02 prove VI-1 179.9 V", 1},
		{"and then told so", [][]capture.Entry{read("prove,VI-1,,179.9,ac"), told("prove,PU-1,250")}, "10:00:02 FAILED: prove VI-1 on PU-1 179.9 V of 250 V", 1},
		{"unreadable", [][]capture.Entry{told("prove,PU-1,250"), read("prove,VI-1,,---,ac")}, "10:00:04 prove VI-1 on PU-1 UNREADABLE of 250 V", 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := plainOf(t, tt.entries...)
			if !strings.Contains(got, tt.want) || strings.Count(got, "FAILED") != tt.times {
				t.Errorf("%s", got)
			}
		})
	}
}
