package formats

import (
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nilvolt/record"
)

func TestVolts(t *testing.T) {
	point, comma := numberForm{}, numberForm{comma: true}
	grouped := numberForm{comma: true, thousands: '.'}
	blanks := numberForm{thousands: ' '}
	milli, kilo := unit{exponent: -3}, unit{exponent: 3}
	tests := []struct {
		form  numberForm
		given unit
		text  string
		want  string // or the error
	}{
		{point, unit{}, "229.8", "229.8"},
		{point, unit{}, "229.80", "229.80"}, // the digits that were printed
		{point, unit{}, "+0.4", "0.4"},
		{point, unit{}, "\u22120.4", "-0.4"},
		{point, milli, "229800", "229.800"},
		{point, milli, "5", "0.005"},
		{point, milli, "-0.5", "-0.0005"},
		{point, kilo, "0.2298", "229.8"},
		{point, kilo, "1", "1000"},
		{point, kilo, "5 V", "5"}, // a unit in the cell wins
		{point, kilo, "5V", "5"},
		{point, unit{}, "5 mV", "0.005"},
		{point, unit{}, "5\u00a0µV", "0.000005"},
		{point, unit{}, "5 \u03bcV", "0.000005"},
		{point, milli, "1.5E2", "1.5E-1"},
		{point, milli, "1.5e+2", "1.5E-1"},
		{point, unit{}, "2.3E2V", "2.3E2"},
		{point, milli, "-9.9E37", "-9.9E37"}, // overflow has no unit
		{point, unit{}, "1E9223372036854775807", "1E9223372036854775807"},
		{point, unit{}, "---", "---"},
		{point, unit{}, "OL", "OL"},
		{point, milli, ">600 V", ">600 V"},
		{point, unit{}, "- V", "- V"},
		{comma, unit{}, "229,8 V", "229.8"},
		{comma, unit{}, "0,0005 kV", "0.5"},
		{grouped, unit{}, "1.234,5", "1234.5"},
		{grouped, unit{}, "1.234.567", "1234567"},
		{blanks, unit{}, "1 234.5 V", "1234.5"},
		{blanks, unit{}, "1\u202f234.5", "1234.5"},
		{numberForm{thousands: '\''}, unit{}, "1\u2019234.5", "1234.5"},
		{comma, unit{}, "229.8", errNumberForm.Error()},
		{point, unit{}, "229,8", errNumberForm.Error()},
		{point, unit{}, "1,234.5", errNumberForm.Error()},
		{grouped, unit{}, "1.23,4", errGroups.Error()},
		{grouped, unit{}, "1234.567", errGroups.Error()},
		{blanks, unit{}, "12 24", errGroups.Error()},
		{point, unit{}, "12 24", errUnit.Error()},
		{point, unit{}, "1O0", errUnit.Error()},
		{point, unit{}, "O10", errNumberForm.Error()},
		{point, unit{}, ".5", errNumberForm.Error()},
		{point, unit{}, "5.", errNumberForm.Error()},
		{point, unit{}, "1.2.3", errNumberForm.Error()},
		{point, unit{}, "--5", errNumberForm.Error()},
		{point, unit{}, "<10", errNumberForm.Error()},
		{point, unit{}, "~230", errNumberForm.Error()},
		{point, unit{}, "230 MV", errUnit.Error()}, // megavolt or millivolt
		{point, unit{}, "230 A", errUnit.Error()},
		{point, unit{}, "230 V 50 Hz", errUnit.Error()},
		{point, unit{}, "0x1F", errUnit.Error()},
	}
	for _, tt := range tests {
		got, _, err := tt.form.volts(tt.text, tt.given)
		if err != nil {
			got = err.Error()
		}
		if got != tt.want {
			t.Errorf("%q with %+v in %+v: got %q, want %q", tt.text, tt.form, tt.given, got, tt.want)
		}
	}
}

// The value that is read is the value that was written, exactly, whatever marks
// and unit it was written with. The oracle is rational arithmetic.
func TestVoltsExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole := rapid.StringMatching(`[1-9][0-9]{0,6}`).Draw(t, "whole")
		frac := rapid.StringMatching(`[0-9]{0,6}`).Draw(t, "frac")
		unitText := rapid.SampledFrom([]string{"uV", "mV", "V", "kV"}).Draw(t, "unit")
		form := rapid.SampledFrom([]numberForm{{}, {comma: true}, {thousands: ','}, {comma: true, thousands: '.'}, {thousands: ' '}}).Draw(t, "form")
		inCell := rapid.Bool().Draw(t, "unit in the cell")
		sign := rapid.SampledFrom([]string{"", "-"}).Draw(t, "sign")

		text := whole
		if form.thousands != 0 {
			for i := len(text) - 3; i > 0; i -= 3 {
				text = text[:i] + string(form.thousands) + text[i:]
			}
		}
		exact := whole
		if frac != "" {
			mark := "."
			if form.comma {
				mark = ","
			}
			text += mark + frac
			exact += "." + frac
		}
		given := unit{}
		if inCell {
			text += " " + unitText
		} else {
			given, _ = parseUnit(unitText)
		}
		got, _, err := form.volts(sign+text, given)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		scale := map[string]string{"uV": "1/1000000", "mV": "1/1000", "V": "1", "kV": "1000"}[unitText]
		want, _ := new(big.Rat).SetString(sign + exact)
		factor, _ := new(big.Rat).SetString(scale)
		want.Mul(want, factor)
		value, ok := new(big.Rat).SetString(got)
		if !ok || value.Cmp(want) != 0 {
			t.Fatalf("%q in %s reads as %q, not %s", text, unitText, got, want.FloatString(12))
		}
		if _, ok := record.ParseNumber(got); !ok {
			t.Fatalf("%q is no canonical number", got)
		}
	})
}

// Units are the symbols of UCUM and the SI; what could be two units is none.
func TestParseUnit(t *testing.T) {
	for text, want := range map[string]string{
		"V": "V", "mV": "mV", "kV": "kV", "uV": "uV", "µV": "uV", "Volt": "V",
		"V AC": "V ac", "VAC": "V ac", "ACV": "V ac", "V~": "V ac", "mV DC": "mV dc", "V=": "V dc", "V\u2393": "V dc", "DC V": "V dc",
		"": "none", "MV": "none", "Mv": "none", "nV": "none", "A": "none", "Ohm": "none", "AC": "none", "W": "none", "VA": "none", "V/m": "none", "Vh": "none",
	} {
		got := "none"
		if u, ok := parseUnit(text); ok {
			got = strings.TrimSpace(unitName(u) + " " + u.waveform)
		}
		if got != want {
			t.Errorf("%q is %s, want %s", text, got, want)
		}
	}
}
