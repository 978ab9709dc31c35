package record

import (
	"math"
	"regexp"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func TestParseReading(t *testing.T) {
	for _, c := range []struct {
		text  string
		state ReadingState
		volts Volts
	}{
		{"", Absent, 0},
		{"  ", Absent, 0},
		{"0", Shown, 0},
		{"229.8", Shown, 229.8},
		{" +0.3 ", Shown, 0.3},
		{"-12", Shown, -12},
		{"\u221212.5", Shown, -12.5},
		{"1.2E+1", Shown, 12},
		{"1e-3", Shown, 0.001},
		{"---", Unreadable, 0},
		{"ERR", Unreadable, 0},
		{"n/a", Unreadable, 0},
		{"OL", Overflow, 0},
		{"-ol", Overflow, 0},
		{"OFL", Overflow, 0},
		{"Over", Overflow, 0},
		{"OVERRANGE", Overflow, 0},
		{">600", Overflow, 0},
		{"> 600 V", Overflow, 0},
		// Source: SCPI-1999, volume 1, 7.2.1: infinity is 9.9E37, not a number 9.91E37.
		{"9.9E37", Overflow, 0},
		{"-9.9E+37", Overflow, 0},
		{"9.90000000E+37", Overflow, 0},
		{"9.91E37", Unreadable, 0},
	} {
		got, err := ParseReading(c.text)
		if err != nil || got.State != c.state || got.Volts != c.volts {
			t.Errorf("%q: %v %v, %v", c.text, got.State, got.Volts, err)
		}
	}
	for _, text := range []string{"1O0", "0L", "12,5", "5.", ".5", "1E", "1E400", "229.8 V", "<12", "--3", "0x10", "1_000", "12 5", "3\u2212", "\uff12\uff13\uff10", "\u0662\u0663\u0660", "\u00bd"} {
		if got, err := ParseReading(text); err == nil {
			t.Errorf("%q was taken as %+v", text, got)
		}
	}
}

// The grammar of SPEC section 2 as a regular expression, and strconv for the value.
var numberForm = regexp.MustCompile(`^(?:[+-]|\x{2212})?[0-9]+(?:\.[0-9]+)?(?:[Ee][+-]?[0-9]+)?$`)

func TestParseNumberAgainstStrconv(t *testing.T) {
	check := func(t *rapid.T, text string) {
		got, ok := ParseNumber(text)
		ascii := text
		if len(text) > 3 && text[:3] == "\u2212" {
			ascii = "-" + text[3:]
		}
		want, err := strconv.ParseFloat(ascii, 64)
		wantOK := numberForm.MatchString(text) && err == nil && !math.IsInf(want, 0)
		if ok != wantOK || ok && math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q: got %v %v, want %v %v", text, got, ok, want, wantOK)
		}
	}
	t.Run("near numbers", rapid.MakeCheck(func(t *rapid.T) {
		check(t, rapid.StringMatching(`[+-]?[0-9]{0,20}(\.[0-9]{0,20})?([Ee][+-]?[0-9]{0,3})?[ x.]?`).Draw(t, "text"))
	}))
	t.Run("anything", rapid.MakeCheck(func(t *rapid.T) {
		check(t, rapid.String().Draw(t, "text"))
	}))
	t.Run("readings", rapid.MakeCheck(func(t *rapid.T) {
		v := rapid.Float64Range(-1000, 1000).Draw(t, "v")
		check(t, strconv.FormatFloat(v, 'f', rapid.IntRange(0, 12).Draw(t, "digits"), 64))
	}))
}

func TestParseVolts(t *testing.T) {
	for _, c := range []struct {
		text string
		v    Volts
		ok   bool
		bad  bool
	}{
		{"230", 230, true, false},
		{"", 0, false, false},
		{"---", 0, false, false},
		{">600", 0, false, true},
		{"230V", 0, false, true},
		{"\uff12\uff13\uff10", 0, false, true}, // 230 in full-width digits
	} {
		v, ok, err := ParseVolts(c.text)
		if v != c.v || ok != c.ok || (err != nil) != c.bad {
			t.Errorf("%q: %v %v %v", c.text, v, ok, err)
		}
	}
}

func TestParseStage(t *testing.T) {
	for text, want := range map[string]Stage{
		"":     {},
		"None": {Text: "None", State: StageNone},
		"230":  {Text: "230", Volts: 230, State: StageLit},
		"?":    {Text: "?", State: StageUnreadable},
	} {
		if got, err := ParseStage(text); err != nil || got != want {
			t.Errorf("%q: %+v %v", text, got, err)
		}
	}
	if _, err := ParseStage("230V"); err == nil {
		t.Error("230V was taken")
	}
}
