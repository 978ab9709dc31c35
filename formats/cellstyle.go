package formats

import (
	"math"
	"strconv"
	"strings"
)

// A cellStyle is what a number format (ECMA-376-1, 18.8.31) says of a number
// beside its looks: whether it is a date, and in which unit it is shown.
type cellStyle struct {
	date, clock bool   // shows a day, shows a time of day
	unit        string // as in "230 mV"; blank for none
	thousands   int    // how many times the number shown is a thousandth of the one kept
	percent     bool   // shown in percent
}

// builtinStyle returns the style of a number format that files do not spell out
// (ECMA-376-1, 18.8.30).
func builtinStyle(id int) cellStyle {
	switch {
	case id == 9 || id == 10:
		return cellStyle{percent: true}
	case 14 <= id && id <= 17, 27 <= id && id <= 31, id == 36, 50 <= id && id <= 54, 57 <= id && id <= 58:
		return cellStyle{date: true}
	case id == 22:
		return cellStyle{date: true, clock: true}
	case 18 <= id && id <= 21, 32 <= id && id <= 35, 45 <= id && id <= 47, id == 55, id == 56:
		return cellStyle{clock: true}
	}
	return cellStyle{}
}

// styleOf reads a format code. Only its first part, that of positive numbers,
// counts.
func styleOf(code string) cellStyle {
	var s cellStyle
	var literal strings.Builder // text behind the last digit
	commas := 0                 // behind the last digit
	for i := 0; i < len(code); i++ {
		switch c := code[i]; c {
		case ';':
			i = len(code)
		case '"':
			end := strings.IndexByte(code[i+1:], '"')
			if end < 0 {
				end = len(code) - i - 1
			}
			literal.WriteString(code[i+1 : i+1+end])
			i += end + 1
		case '\\', '_', '*':
			i++ // the next letter is itself, a width, a filling
			if c == '\\' && i < len(code) {
				literal.WriteByte(code[i])
			}
		case '[':
			end := strings.IndexByte(code[i:], ']')
			if end < 0 {
				end = len(code) - i - 1
			}
			s.clock = s.clock || strings.ContainsAny(code[i:i+end], "hHmMsS") && isElapsed(code[i+1:i+end])
			i += end
		case '0', '#', '?':
			literal.Reset()
			commas = 0
		case ',':
			commas++
		case '%':
			s.percent = true
		case 'y', 'Y', 'd', 'D':
			s.date = true
		case 'h', 'H', 's', 'S':
			s.clock = true
		default:
			literal.WriteByte(c)
		}
	}
	if strings.EqualFold(strings.TrimSpace(code), "general") || strings.HasPrefix(strings.ToLower(code), "general;") {
		return cellStyle{}
	}
	unit := strings.TrimSpace(literal.String())
	if _, known := parseUnit(unit); known && !s.date && !s.clock {
		s.unit, s.thousands = unit, commas
	}
	if !s.date && !s.clock && strings.ContainsAny(literal.String(), "mM") && s.unit == "" && strings.Trim(literal.String(), "mM./- ") == "" {
		s.date = true // a month alone
	}
	return s
}

// isElapsed reports whether what stands in square brackets is [h], [mm] or [ss]
// rather than a colour, a condition or a locale.
func isElapsed(text string) bool {
	return strings.Trim(strings.ToLower(text), "h") == "" || strings.Trim(strings.ToLower(text), "m") == "" ||
		strings.Trim(strings.ToLower(text), "s") == ""
}

// text writes v as the style means it, with the given decimal mark.
func (s cellStyle) text(v float64, from1904 bool, decimal byte) string {
	if s.date || s.clock {
		if text, ok := s.timeText(v, from1904); ok {
			return text
		}
	}
	text := strconv.FormatFloat(v, 'f', -1, 64)
	if a := math.Abs(v); a >= 1e15 || a != 0 && a < 1e-9 {
		text = strconv.FormatFloat(v, 'E', -1, 64)
	}
	shift := -3 * s.thousands
	if s.percent {
		shift += 2
	}
	if n, rest, err := (numberForm{}).cut(text); err == nil && rest == "" && shift != 0 {
		text = n.text(shift)
	}
	if decimal != '.' {
		text = strings.Replace(text, ".", string(rune(decimal)), 1)
	}
	switch {
	case s.percent:
		text += "%"
	case s.unit != "":
		text += " " + s.unit
	}
	return text
}

// timeText writes a date, a time of day, or both.
func (s cellStyle) timeText(v float64, from1904 bool) (string, bool) {
	if !s.date && v >= 0 && v < 1 {
		millis := int(math.Round(v * 86400e3))
		if millis == 86400e3 {
			return "", false
		}
		c := civil{year: 1, month: 1, day: 1, hour: millis / 3600e3, minute: millis / 60e3 % 60, second: millis / 1e3 % 60, nanosecond: millis % 1e3 * 1e6}
		return strings.TrimSuffix(c.text(0)[len("0001-01-01"):], "Z"), true
	}
	c, err := serialTime(v, from1904)
	if err != nil {
		return "", false
	}
	if s.date && !s.clock && v == math.Trunc(v) {
		return c.dateText(), true
	}
	return strings.TrimSuffix(c.text(0), "Z"), true
}
