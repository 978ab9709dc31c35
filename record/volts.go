package record

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// Volts is an electric potential difference in volts, with its sign.
type Volts float64

// Abs returns v without its sign.
func (v Volts) Abs() Volts { return Volts(math.Abs(float64(v))) }

// String returns the shortest decimal form with its unit, as in "229.8 V".
func (v Volts) String() string {
	return strconv.FormatFloat(float64(v), 'f', -1, 64) + " V"
}

// A ReadingState says what an instrument showed.
type ReadingState uint8

// The states of a reading. Only a Shown reading has a value in volts.
const (
	Absent     ReadingState = iota // the field is blank or there is no such column
	Unreadable                     // something was printed that is no value: "---", "ERR", 9.91E37
	Overflow                       // beyond the range: "OL", ">600", 9.9E37
	Shown                          // a value
)

// String returns the state in a word.
func (s ReadingState) String() string {
	switch s {
	case Absent:
		return "absent"
	case Unreadable:
		return "unreadable"
	case Overflow:
		return "overflow"
	case Shown:
		return "shown"
	}
	return "ReadingState(" + strconv.Itoa(int(s)) + ")"
}

// A Reading is what a numeric display showed: the printed text beside its value.
type Reading struct {
	Text  string // as it was printed, outer blanks removed
	Volts Volts  // the value; meaningful only when State is Shown
	State ReadingState
}

// SCPI-1999, volume 1, 7.2.1: the numbers that stand for overflow and for not a
// number. They are never volts.
const (
	scpiOverflow   = 9.9e37
	scpiNotANumber = 9.91e37
)

// errNotANumber is the complaint about text that holds a digit and is no number.
var errNotANumber = errors.New("not a number")

// ParseReading reads the canonical text of a reading in volts.
//
// A number is [+-]?digits[.digits][E[+-]digits] and finite; the minus sign may
// be U+2212. Overflow words (OL, OFL, OVER and the like, a leading ">",
// +-9.9E37) give Overflow; other text without a digit, and +-9.91E37, give
// Unreadable; blank text gives Absent. Text that holds a digit and is no number
// is an error: nobody can say what it meant.
func ParseReading(text string) (Reading, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return Reading{}, nil
	}
	if v, ok := ParseNumber(text); ok {
		switch math.Abs(v) {
		case scpiOverflow:
			return Reading{Text: text, State: Overflow}, nil
		case scpiNotANumber:
			return Reading{Text: text, State: Unreadable}, nil
		}
		return Reading{Text: text, Volts: Volts(v), State: Shown}, nil
	}
	switch {
	case isOverflowWord(text):
		return Reading{Text: text, State: Overflow}, nil
	case holdsDigit(text):
		return Reading{}, errNotANumber
	}
	return Reading{Text: text, State: Unreadable}, nil
}

func isOverflowWord(text string) bool {
	if text[0] == '>' {
		return true
	}
	word := strings.ToUpper(strings.TrimLeft(text, "+-\u2212 "))
	switch word {
	case "OL", "O.L", "O.L.", "OFL", "OVLD", "INF", "INFINITY":
		return true
	}
	return strings.HasPrefix(word, "OVER")
}

// ParseVolts reads a voltage that was written down rather than measured
// (expected, nominal). Blank text and text without a digit give no value
// (ok false, err nil); text that holds a digit and is no number is an error.
func ParseVolts(text string) (v Volts, ok bool, err error) {
	text = strings.TrimSpace(text)
	if f, isNumber := ParseNumber(text); isNumber {
		return Volts(f), true, nil
	}
	if holdsDigit(text) {
		return 0, false, errNotANumber
	}
	return 0, false, nil
}

// holdsDigit reports whether text holds a digit of any script, or a fraction and
// the like: whoever wrote it meant a number, though this is none.
func holdsDigit(text string) bool { return strings.ContainsFunc(text, unicode.IsNumber) }

// pow10 holds the powers of ten that float64 represents exactly.
var pow10 = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// ParseNumber reads [+-]?digits[.digits][E[+-]digits], finite, the minus sign
// also as U+2212, and reports whether text is such a number and nothing else.
func ParseNumber(text string) (float64, bool) {
	// The common case, up to 15 digits without exponent, is exact in one
	// division (W. D. Clinger, How to read floating point numbers accurately,
	// 1990); the rest is strconv's.
	i, negative := 0, false
	if len(text) > 0 && (text[0] == '-' || text[0] == '+') {
		negative = text[0] == '-'
		i = 1
	}
	var mantissa uint64
	digits, decimals, point := 0, 0, false
	for ; i < len(text); i++ {
		c := text[i]
		if c-'0' <= 9 {
			mantissa = mantissa*10 + uint64(c-'0')
			digits++
			if point {
				decimals++
			}
			continue
		}
		if c != '.' || point || digits == 0 {
			return parseLongNumber(text)
		}
		point = true
	}
	if digits == 0 || digits > 15 || point && decimals == 0 {
		return parseLongNumber(text)
	}
	v := float64(mantissa) / pow10[decimals]
	if negative {
		v = -v
	}
	return v, true
}

// parseLongNumber is ParseNumber for exponents, many digits and U+2212.
func parseLongNumber(text string) (float64, bool) {
	if rest, ok := strings.CutPrefix(text, "\u2212"); ok {
		text = "-" + rest
	}
	if !isNumber(text) {
		return 0, false
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, false
	}
	return v, true
}

// isNumber reports whether text follows the grammar of ParseNumber.
func isNumber(text string) bool {
	rest := text
	if rest != "" && (rest[0] == '+' || rest[0] == '-') {
		rest = rest[1:]
	}
	rest, ok := cutDigits(rest)
	if !ok {
		return false
	}
	if after, found := strings.CutPrefix(rest, "."); found {
		if rest, ok = cutDigits(after); !ok {
			return false
		}
	}
	if rest != "" && (rest[0] == 'E' || rest[0] == 'e') {
		rest = rest[1:]
		if rest != "" && (rest[0] == '+' || rest[0] == '-') {
			rest = rest[1:]
		}
		if rest, ok = cutDigits(rest); !ok {
			return false
		}
	}
	return rest == ""
}

// cutDigits removes the digits at the start of s; ok is false when there are none.
func cutDigits(s string) (rest string, ok bool) {
	n := 0
	for n < len(s) && s[n]-'0' <= 9 {
		n++
	}
	return s[n:], n > 0
}

// A StageState says what a stepped indicator showed.
type StageState uint8

// The states of a stage.
const (
	StageAbsent     StageState = iota // blank, or no such column
	StageUnreadable                   // text that names no step
	StageNone                         // no step lit: below the lowest step
	StageLit                          // the highest lit step is Stage.Volts
)

// String returns the state in a word.
func (s StageState) String() string {
	switch s {
	case StageAbsent:
		return "absent"
	case StageUnreadable:
		return "unreadable"
	case StageNone:
		return "none"
	case StageLit:
		return "lit"
	}
	return "StageState(" + strconv.Itoa(int(s)) + ")"
}

// A Stage is the highest lit step of a stepped indicator.
type Stage struct {
	Text  string // as it was written, outer blanks removed
	Volts Volts  // the step; meaningful only when State is StageLit
	State StageState
}

// ParseStage reads a step in volts, or the word "none". Text that holds a digit
// and is no number is an error, as in [ParseReading].
func ParseStage(text string) (Stage, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return Stage{}, nil
	}
	if strings.EqualFold(text, "none") {
		return Stage{Text: text, State: StageNone}, nil
	}
	v, ok, err := ParseVolts(text)
	if err != nil {
		return Stage{}, err
	}
	if !ok {
		return Stage{Text: text, State: StageUnreadable}, nil
	}
	return Stage{Text: text, Volts: Volts(v), State: StageLit}, nil
}
