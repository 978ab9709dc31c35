package formats

import "strings"

// A unit is what stands behind a number: a voltage unit, and the waveform where
// it is told with it ("V AC").
type unit struct {
	exponent int    // the power of ten that turns it into volts
	waveform string // "ac", "dc" or ""
}

// parseUnit reads the text of a unit. Symbols are those of UCUM and the SI
// (V, mV, kV, uV or µV); "volt" and "volts" are V. A capital M is refused: MV is
// megavolt, and some write it for millivolt.
func parseUnit(text string) (u unit, ok bool) {
	text = strings.TrimSpace(text)
	text, u.waveform = cutWaveform(text)
	switch text {
	case "V", "v", "Volt", "volt", "Volts", "volts", "VOLT", "VOLTS", "Vrms", "VRMS":
	case "mV", "mv", "millivolt", "millivolts", "Millivolt":
		u.exponent = -3
	case "kV", "KV", "kv", "kilovolt", "kilovolts", "Kilovolt":
		u.exponent = 3
	case "uV", "µV", "\u03bcV":
		u.exponent = -6
	default:
		return unit{}, false
	}
	return u, true
}

// cutWaveform takes the waveform off a unit: "V AC", "VDC", "V~", "ACV", "V=".
func cutWaveform(text string) (rest, waveform string) {
	marks := []struct{ mark, waveform string }{
		{"AC", "ac"}, {"ac", "ac"}, {"DC", "dc"}, {"dc", "dc"}, {"~", "ac"}, {"\u223c", "ac"}, {"=", "dc"}, {"\u2393", "dc"},
	}
	for _, m := range marks {
		if before, found := strings.CutSuffix(text, m.mark); found && before != "" {
			return strings.TrimRight(before, " _-"), m.waveform
		}
		if after, found := strings.CutPrefix(text, m.mark); found && after != "" {
			return strings.TrimLeft(after, " _-"), m.waveform
		}
	}
	return text, ""
}
