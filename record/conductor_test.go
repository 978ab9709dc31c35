package record

import "testing"

func TestParseConductor(t *testing.T) {
	for text, want := range map[string]Conductor{
		"": {}, " ": {}, "l1": L1, " N ": N, "pe": E, "CPC": E, "g": E, "Pen": PEN, "L+": LPlus, "l-": LMinus, "L\u2212": LMinus, "m": M,
	} {
		if got, err := ParseConductor(text); err != nil || got != want {
			t.Errorf("%q: %v %v", text, got, err)
		}
	}
	sl, err := ParseConductor("sl1")
	if err != nil || sl.String() != "SL1" || sl.IsLine() {
		t.Errorf("sl1: %v %v", sl, err)
	}
	for _, text := range []string{"L1 N", "L1/N", "a@b", "L;", "L1,L2"} {
		if got, err := ParseConductor(text); err == nil {
			t.Errorf("%q was taken as %v", text, got)
		}
	}
}

func TestParsePair(t *testing.T) {
	for text, want := range map[string]Pair{
		"":        {},
		"L1-N":    {L1, N},
		"N/l1":    {N, L1},
		"L1:PE":   {L1, E},
		"L+-L-":   {LPlus, LMinus},
		"L--E":    {LMinus, E},
		"L-L-":    {L, LMinus},
		"L-/M":    {LMinus, M},
		"L- : E":  {LMinus, E},
		" L - N ": {L, N},
	} {
		if got, err := ParsePair(text); err != nil || got != want {
			t.Errorf("%q: %v %v", text, got, err)
		}
	}
	for _, text := range []string{"L1", "-", "L1-", "-N", "A-B-C", "L1/N/E", "L1-N x"} {
		if got, err := ParsePair(text); err == nil {
			t.Errorf("%q was taken as %v", text, got)
		}
	}
	if !(Pair{L, N}).Same(Pair{N, L}) || (Pair{L, N}).Same(Pair{L, E}) {
		t.Error("Same")
	}
}
