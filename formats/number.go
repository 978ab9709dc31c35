package formats

import (
	"errors"
	"math"
	"strconv"
	"strings"

	"nilvolt/record"
)

// A numberForm says how a file writes its numbers. The zero numberForm is that of
// canonical files: a decimal point and no thousands mark.
type numberForm struct {
	comma     bool // the decimal mark is a comma
	thousands rune // 0 for none; ' ' stands for every kind of blank
}

var (
	errNumberForm = errors.New("not a number")
	errGroups     = errors.New("not a number: thousands are not in groups of three digits")
	errUnit       = errors.New("an unknown unit behind the number")
)

// A number is the digits of a number as they were written, so that it can be
// moved by powers of ten without rounding.
type number struct {
	negative    bool
	whole, frac string // digits before and behind the decimal mark; whole is not blank
	exponent    string // with its sign; blank for none
}

// cut takes a number off the start of text and returns what stands behind it,
// without blanks between.
func (f numberForm) cut(text string) (n number, rest string, err error) {
	rest = text
	for _, sign := range []string{"-", "\u2212", "+"} {
		if after, found := strings.CutPrefix(rest, sign); found {
			n.negative = sign != "+"
			rest = after
			break
		}
	}
	if n.whole, rest, err = f.cutWhole(rest); err != nil {
		return number{}, text, err
	}
	mark := "."
	if f.comma {
		mark = ","
	}
	if after, found := strings.CutPrefix(rest, mark); found {
		digits := len(after) - len(strings.TrimLeft(after, "0123456789"))
		if digits == 0 {
			return number{}, text, errNumberForm
		}
		n.frac, rest = after[:digits], after[digits:]
	}
	n.exponent, rest = cutExponent(rest)
	if rest != "" && strings.ContainsRune(".,'0123456789\u2019", firstRune(rest)) {
		return number{}, text, errNumberForm
	}
	return n, strings.TrimLeft(rest, " \t\u00a0\u202f\u2009"), nil
}

func firstRune(text string) rune {
	for _, r := range text {
		return r
	}
	return 0
}

// cutWhole takes the digits before the decimal mark off, thousands marks between
// them left out.
func (f numberForm) cutWhole(text string) (digits, rest string, err error) {
	n := len(text) - len(strings.TrimLeft(text, "0123456789"))
	if n == 0 {
		return "", text, errNumberForm
	}
	digits, rest = text[:n], text[n:]
	if f.thousands == 0 {
		return digits, rest, nil
	}
	for first := true; ; first = false {
		group, after, ok := f.cutGroup(rest)
		if !ok {
			return digits, rest, nil
		}
		if first && len(digits) > 3 || len(group) != 3 {
			return "", text, errGroups
		}
		digits, rest = digits+group, after
	}
}

// cutGroup takes a thousands mark and the digits behind it off.
func (f numberForm) cutGroup(text string) (group, rest string, ok bool) {
	mark := firstRune(text)
	if mark != f.thousands && !(f.thousands == ' ' && strings.ContainsRune("\u00a0\u202f\u2009", mark)) &&
		!(f.thousands == '\'' && mark == '\u2019') {
		return "", text, false
	}
	rest = text[len(string(mark)):]
	n := len(rest) - len(strings.TrimLeft(rest, "0123456789"))
	if n == 0 {
		return "", text, false
	}
	return rest[:n], rest[n:], true
}

// cutExponent takes E+03 off; a letter E without digits behind it is left alone.
func cutExponent(text string) (exponent, rest string) {
	if text == "" || text[0] != 'E' && text[0] != 'e' {
		return "", text
	}
	i := 1
	if i < len(text) && (text[i] == '+' || text[i] == '-') {
		i++
	}
	n := len(text[i:]) - len(strings.TrimLeft(text[i:], "0123456789"))
	if n == 0 {
		return "", text
	}
	return text[1 : i+n], text[i+n:]
}

// text writes n times ten to the power of shift, in canonical form and with the
// digits that it was written with.
func (n number) text(shift int) string {
	var b strings.Builder
	if n.negative {
		b.WriteByte('-')
	}
	if n.exponent != "" {
		b.WriteString(n.whole)
		if n.frac != "" {
			b.WriteByte('.')
			b.WriteString(n.frac)
		}
		b.WriteByte('E')
		const most = 1000 // beyond it no float has the number, and the shift changes nothing
		if exponent, err := strconv.Atoi(n.exponent); err == nil && -most < exponent && exponent < most {
			b.WriteString(strconv.Itoa(exponent + shift))
		} else {
			b.WriteString(n.exponent)
		}
		return b.String()
	}
	whole, frac := shiftDigits(n.whole, n.frac, shift)
	b.WriteString(whole)
	if frac != "" {
		b.WriteByte('.')
		b.WriteString(frac)
	}
	return b.String()
}

// shiftDigits moves the decimal mark shift places to the right.
func shiftDigits(whole, frac string, shift int) (string, string) {
	for ; shift > 0; shift-- {
		if frac == "" {
			frac = "0"
		}
		whole, frac = whole+frac[:1], frac[1:]
	}
	if shift < 0 {
		if missing := 1 - shift - len(whole); missing > 0 {
			whole = strings.Repeat("0", missing) + whole
		}
		cut := len(whole) + shift
		whole, frac = whole[:cut], whole[cut:]+frac
	}
	if trimmed := strings.TrimLeft(whole, "0"); trimmed != whole {
		whole = trimmed
		if whole == "" {
			whole = "0"
		}
	}
	return whole, frac
}

// isSpecial reports whether n is one of the numbers that stand for overflow and
// for not a number (SCPI-1999, volume 1, 7.2.1). They have no unit.
func (n number) isSpecial() bool {
	v, ok := record.ParseNumber(n.text(0))
	return ok && (math.Abs(v) == 9.9e37 || math.Abs(v) == 9.91e37)
}

// volts brings a number that may have a unit behind it into canonical text in
// volts. The unit in the text wins over the one given. Text that holds no digit,
// or begins with '>', has no number to bring and comes back as it is.
func (f numberForm) volts(text string, given unit) (canonical, waveform string, err error) {
	text = strings.Trim(text, " \t\u00a0\u202f")
	if !strings.ContainsAny(text, "0123456789") || text[0] == '>' {
		return text, "", nil
	}
	n, rest, err := f.cut(text)
	if err != nil {
		return "", "", err
	}
	u := given
	if rest != "" {
		var ok bool
		if u, ok = parseUnit(rest); !ok {
			return "", "", errUnit
		}
	}
	if n.isSpecial() {
		return n.text(0), u.waveform, nil
	}
	return n.text(u.exponent), u.waveform, nil
}

// plain brings a number without a unit into canonical text.
func (f numberForm) plain(text string) (string, error) {
	text = strings.Trim(text, " \t\u00a0\u202f")
	if !strings.ContainsAny(text, "0123456789") {
		return text, nil
	}
	n, rest, err := f.cut(text)
	if err == nil && rest != "" && rest != "%" {
		err = errUnit
	}
	if err != nil {
		return "", err
	}
	return n.text(0), nil
}
