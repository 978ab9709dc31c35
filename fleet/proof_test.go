package fleet

import (
	"math"
	"testing"

	"nilvolt/record"
)

func TestProofOf(t *testing.T) {
	steps := []record.Volts{12, 24, 50, 120, 230, 400, 690}
	for _, c := range []struct {
		name, volts, stage string
		expected           record.Volts
		steps              []record.Volts
		form               Form
		low, high          float64 // error, or the interval of it, percent
	}{
		{name: "2 % low", volts: "225.4", expected: 230, form: Numeric, low: -2, high: -2},
		{name: "minus is polarity", volts: "-230", expected: 230, form: Numeric},
		{name: "unreadable", volts: "---", expected: 230},
		{name: "overflow", volts: "OL", expected: 230},
		{name: "unreadable with a step beside", volts: "---", stage: "230", expected: 230, steps: steps},
		{name: "nothing at all", expected: 230},
		{name: "step of 230 on 240", stage: "230", expected: 240, steps: steps, form: Stepped, low: -100. / 24, high: 200. / 3},
		{name: "last step", stage: "690", expected: 690, steps: steps, form: Stepped, high: math.Inf(1)},
		{name: "steps not known", stage: "230", expected: 230, form: Stepped, high: math.Inf(1)},
		{name: "none lit", stage: "none", expected: 50, steps: steps, form: Stepped, low: -100, high: -76},
		{name: "none lit, steps not known", stage: "none", expected: 50},
	} {
		volts, err1 := record.ParseReading(c.volts)
		stage, err2 := record.ParseStage(c.stage)
		if err1 != nil || err2 != nil {
			t.Fatal(c.name, err1, err2)
		}
		ev := record.Event{
			Kind: record.Prove, Indicator: "VI-1", Source: "PU-1", Volts: volts, Stage: stage,
			Expected: c.expected, HasExpected: true,
		}
		p, ok := ProofOf("R1", &ev, c.steps, true, false)
		if !ok || p.Form != c.form {
			t.Errorf("%s: form %v, ok %v", c.name, p.Form, ok)
			continue
		}
		percent, numeric := p.Error()
		low, high, stepped := p.ErrorInterval()
		switch {
		case numeric != (c.form == Numeric) || stepped != (c.form == Stepped):
			t.Errorf("%s: numeric %v, stepped %v", c.name, numeric, stepped)
		case numeric && math.Abs(percent-c.low) > 1e-12:
			t.Errorf("%s: %v %%", c.name, percent)
		case stepped && (math.Abs(low-c.low) > 1e-12 || high != c.high && math.Abs(high-c.high) > 1e-12):
			t.Errorf("%s: %v..%v %%", c.name, low, high)
		}
	}
	if _, ok := ProofOf("R1", &record.Event{Kind: record.Test}, nil, true, false); ok {
		t.Error("a dead test was taken as a proof")
	}
}

func instant(t *testing.T, text string) record.Instant {
	t.Helper()
	i, err := record.ParseInstant(text)
	if err != nil {
		t.Fatal(err)
	}
	return i
}

func TestNewSeries(t *testing.T) {
	origin := instant(t, "2026-03-02T00:00:00Z")
	week1 := instant(t, "2026-03-09T00:00:00Z")
	half := instant(t, "2026-03-05T12:00:00Z")
	proofs := []Proof{
		{Indicator: "VI-1", Source: "PU-1", Time: week1, Expected: 230, Volts: 230, Form: Numeric, Passed: true},
		{Indicator: "VI-1", Source: "PU-1", Time: half, Expected: 230, Volts: 184, Form: Numeric, Retried: true},
		{Indicator: "VI-1", Source: "PU-1", Time: half, Expected: 230},
		{Indicator: "VI-1", Source: record.Live, Time: half, Expected: 230, Volts: 236, Form: Numeric, Passed: true},
		{Indicator: "VI-1", Time: half, Volts: 230, Form: Numeric, Passed: true},
		{Indicator: "VI-1", Source: "VI-1", Time: half, Expected: 230, Volts: 230, Form: Numeric},
		{Indicator: "VI-2", Source: "PU-1", Time: half, Expected: 230, Lit: 230, Next: 400, Form: Stepped, Passed: true},
		{Indicator: "VI-2", Source: "PU-1", Time: half, Volts: 230, Form: Numeric, Passed: true},
	}
	s := NewSeries(proofs, origin)
	if len(s.Points) != 2 || s.Points[0].Week != 0.5 || s.Points[0].Percent != -20 || s.Points[1].Week != 1 {
		t.Errorf("points %+v", s.Points)
	}
	if len(s.Intervals) != 1 || s.Intervals[0].Low != 0 || s.Intervals[0].Indicator != "VI-2" {
		t.Errorf("intervals %+v", s.Intervals)
	}
	for id, want := range map[string]Count{
		"VI-1": {Proofs: 5, Failed: 2, Retried: 1, Unreadable: 1, OnLive: 1, Unknown: 1},
		"VI-2": {Proofs: 2, Unknown: 1},
		"PU-1": {Proofs: 5, Failed: 2, Retried: 1, Unreadable: 1, Unknown: 1},
	} {
		if s.Counts[id] != want {
			t.Errorf("%s: %+v, want %+v", id, s.Counts[id], want)
		}
	}
	if len(s.Counts) != 3 {
		t.Errorf("counts of %d instruments", len(s.Counts))
	}
}
