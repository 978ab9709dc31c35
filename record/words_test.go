package record

import "testing"

// Each word of each list reads back as itself, in any case, and nothing else is
// taken.
func TestWords(t *testing.T) {
	checkWords(t, "supply", supplyWords, ParseSupply, Supply.String)
	checkWords(t, "earthing", earthingWords, ParseEarthing, Earthing.String)
	checkWords(t, "waveform", waveformWords, ParseWaveform, Waveform.String)
	checkWords(t, "poles", polesWords, ParsePoles, Poles.String)
	checkWords(t, "category", categoryWords, ParseCategory, Category.String)
	checkWords(t, "yes/no", yesNoWords, ParseYesNo, YesNo.String)
	checkWords(t, "event", kindWords, ParseKind, Kind.String)
	checkWords(t, "switch", switchWords, ParseSwitch, Switch.String)
	checkWords(t, "side", sideWords, ParseSide, Side.String)
	checkWords(t, "instrument", instrumentWords, ParseInstrumentKind, InstrumentKind.String)
}

func checkWords[T ~uint8](t *testing.T, list string, words []string, parse func(string) (T, error), text func(T) string) {
	t.Helper()
	for i, w := range words {
		if got, err := parse(w); err != nil || got != T(i) || text(got) != w {
			t.Errorf("%s: %q became %v, %v", list, w, got, err)
		}
		if i == 0 {
			continue
		}
		if got, err := parse(" " + w + "\t"); err != nil || got != T(i) {
			t.Errorf("%s: blanks around %q: %v, %v", list, w, got, err)
		}
	}
	if got, err := parse("no such word"); err == nil {
		t.Errorf("%s: took an unknown word as %v", list, got)
	}
	if text(T(len(words))) == "" {
		t.Errorf("%s: a value out of range has no text", list)
	}
}

func TestZeroValuesAreNoPass(t *testing.T) {
	if (Reading{}).State == Shown || (Stage{}).State == StageNone || (Instant{}).IsSet() || Status(0) == Compliant ||
		Supply(0).Conductors() != nil || Kind(0).IsReading() || (Conductor{}).IsSet() || (Pair{}).IsSet() || (Date{}).IsSet() {
		t.Error("a zero value says something")
	}
	for r := RuleNone + 1; r < NumRules; r++ {
		if got, err := ParseRule(r.String()); err != nil || got != r {
			t.Errorf("%v: %v %v", r, got, err)
		}
	}
	if _, err := ParseRule(""); err == nil {
		t.Error("a blank rule was taken")
	}
}

func TestPolesOpen(t *testing.T) {
	for _, c := range []struct {
		poles   Poles
		lines   int
		opened  int
		neutral bool
	}{
		{Poles1, 1, 1, false},
		{Poles1N, 1, 1, true},
		{Poles2, 1, 1, true},
		{Poles2, 2, 2, false},
		{Poles3, 3, 3, false},
		{Poles3N, 3, 3, true},
		{Poles4, 3, 3, true},
		{Poles1, 3, 1, false},
		{PolesPlug, 3, 3, true},
		{PolesUnknown, 1, 0, false},
		{Poles3, 2, 2, true},
	} {
		if opened, neutral := c.poles.Opens(c.lines); opened != c.opened || neutral != c.neutral {
			t.Errorf("%v of %d lines: %d %v", c.poles, c.lines, opened, neutral)
		}
	}
}
