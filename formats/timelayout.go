package formats

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A timeLayout says how a log writes its times, in the date field symbols of the
// Unicode locale data (UTS #35, Date Field Symbol Table): dd.MM.yyyy HH:mm:ss.
//
//	yyyy yy   year of four digits, or of two (20yy)
//	MM M      month; MMM its name (Mar, March)
//	dd d      day of the month; EEE the name of the weekday, which is not checked
//	HH H      hour 0 to 23; hh h hour 1 to 12 with a
//	mm m ss s minute, second
//	S         fraction of a second, 1 to 9 digits
//	a         am or pm
//	XXX       offset: Z, +01:00, +0100 or +01
//	'text'    the text itself
//
// Two letters ask for two digits, one letter for one or two. A blank stands for
// one or more blanks, anything else for itself. Besides there are the words
// rfc3339, unix (seconds since 1970, with or without a fraction), unix-ms and
// excel (days since 1900, as worksheets count).
type timeLayout struct {
	text     string
	kind     layoutKind
	elements []layoutElement
	has      map[rune]bool // the symbols in it
	names    []string      // of the twelve months, lower case, where the map gives them
}

type layoutKind uint8

const (
	patternLayout layoutKind = iota
	rfc3339Layout
	unixLayout
	unixMilliLayout
	excelLayout
)

// A layoutElement is a symbol with its count, or literal text.
type layoutElement struct {
	symbol  rune // 0 for literal text
	count   int
	literal string
}

// civil is a date and a time of day as they were written, with the offset if it
// was written too.
type civil struct {
	year, month, day     int
	hour, minute, second int
	nanosecond           int
	pm, am               bool
	hasOffset            bool
	offset               int // minutes east of UTC
}

// parseLayout reads a layout; the error says what to mend.
func parseLayout(text string) (*timeLayout, error) {
	words := map[string]layoutKind{"rfc3339": rfc3339Layout, "unix": unixLayout, "unix-ms": unixMilliLayout, "excel": excelLayout}
	if kind, ok := words[strings.ToLower(text)]; ok {
		return &timeLayout{text: text, kind: kind}, nil
	}
	l := &timeLayout{text: text, has: make(map[rune]bool)}
	for rest := text; rest != ""; {
		r, size := utf8.DecodeRuneInString(rest)
		switch {
		case r == '\'':
			literal, after, found := strings.Cut(rest[1:], "'")
			if !found {
				return nil, fmt.Errorf("a quote without an end")
			}
			if literal == "" {
				literal = "'"
			}
			l.elements = append(l.elements, layoutElement{literal: literal})
			rest = after
		case unicode.IsLetter(r):
			n := len(rest) - len(strings.TrimLeft(rest, string(r)))
			if err := l.addSymbol(r, n/size); err != nil {
				return nil, err
			}
			rest = rest[n:]
		default:
			l.elements = append(l.elements, layoutElement{literal: rest[:size]})
			rest = rest[size:]
		}
	}
	return l, l.check()
}

// addSymbol adds n letters r.
func (l *timeLayout) addSymbol(r rune, n int) error {
	counts := map[rune][]int{
		'y': {2, 4}, 'M': {1, 2, 3, 4}, 'd': {1, 2}, 'H': {1, 2}, 'h': {1, 2}, 'm': {1, 2}, 's': {1, 2},
		'S': {1, 2, 3, 4, 5, 6, 7, 8, 9}, 'a': {1}, 'X': {1, 2, 3}, 'E': {1, 2, 3, 4},
	}
	hints := map[rune]string{'Y': "the year is yyyy", 'D': "the day of the month is dd", 'n': "the minute is mm", 'Z': "the offset is XXX"}
	for _, c := range counts[r] {
		if c != n {
			continue
		}
		if l.has[r] {
			return fmt.Errorf("%c stands twice", r)
		}
		l.has[r] = true
		l.elements = append(l.elements, layoutElement{symbol: r, count: n})
		return nil
	}
	message := fmt.Sprintf("%q is no part of a layout", strings.Repeat(string(r), n))
	if hint := hints[r]; hint != "" {
		message += ": " + hint
	}
	return fmt.Errorf("%s", message)
}

// check refuses layouts that leave a part of the time open.
func (l *timeLayout) check() error {
	for _, need := range []struct{ symbol, what string }{{"y", "year (yyyy)"}, {"M", "month (MM)"}, {"d", "day (dd)"}} {
		if !l.has[rune(need.symbol[0])] {
			return fmt.Errorf("it has no %s", need.what)
		}
	}
	switch {
	case l.has['h'] != l.has['a']:
		return fmt.Errorf("hh and a go together")
	case l.has['h'] && l.has['H']:
		return fmt.Errorf("it has both HH and hh")
	case l.hasClock() && !l.has['m']:
		return fmt.Errorf("it has an hour and no minute (mm)")
	case !l.hasClock() && (l.has['m'] || l.has['s']):
		return fmt.Errorf("it has no hour (HH)")
	case l.has['S'] && !l.has['s']:
		return fmt.Errorf("it has a fraction and no second (ss)")
	}
	return nil
}

func (l *timeLayout) hasClock() bool { return l.has['H'] || l.has['h'] }

// needsZone reports whether times of the layout are local times of some zone.
func (l *timeLayout) needsZone() bool {
	return l.kind == excelLayout || l.kind == patternLayout && !l.has['X']
}

// allowsISO reports whether times in a form of ISO 8601 are read beside those of
// the layout; not so where the layout puts the day between year and month.
func (l *timeLayout) allowsISO() bool {
	return l == nil || l.kind != patternLayout || !strings.HasPrefix(l.text, "y") ||
		strings.IndexByte(l.text, 'M') < strings.IndexByte(l.text, 'd')
}

// scan reads text, which must follow the pattern from end to end.
func (l *timeLayout) scan(text string) (c civil, ok bool) {
	c.day, c.month = 1, 1
	for _, e := range l.elements {
		if text, ok = e.scan(text, l, &c); !ok {
			return civil{}, false
		}
	}
	if text != "" {
		return civil{}, false
	}
	if l.has['h'] {
		if c.hour < 1 || c.hour > 12 {
			return civil{}, false
		}
		c.hour %= 12
		if c.pm {
			c.hour += 12
		}
	}
	return c, true
}

func (e layoutElement) scan(text string, l *timeLayout, c *civil) (rest string, ok bool) {
	switch e.symbol {
	case 0:
		if e.literal == " " {
			rest = strings.TrimLeft(text, " \t\u00a0\u202f")
			return rest, rest != text
		}
		return strings.CutPrefix(text, e.literal)
	case 'y':
		c.year, rest, ok = scanDigits(text, e.count, e.count)
		if e.count == 2 {
			c.year += 2000
		}
		return rest, ok
	case 'M':
		if e.count > 2 {
			c.month, rest = l.scanMonth(text)
			return rest, c.month > 0
		}
		c.month, rest, ok = scanDigits(text, e.count, 2)
	case 'd':
		c.day, rest, ok = scanDigits(text, e.count, 2)
	case 'H', 'h':
		c.hour, rest, ok = scanDigits(text, e.count, 2)
	case 'm':
		c.minute, rest, ok = scanDigits(text, e.count, 2)
	case 's':
		c.second, rest, ok = scanDigits(text, e.count, 2)
	case 'S':
		return scanFraction(text, &c.nanosecond)
	case 'a':
		return scanHalf(text, c)
	case 'E':
		rest = strings.TrimLeftFunc(text, unicode.IsLetter)
		return strings.TrimPrefix(rest, "."), rest != text
	case 'X':
		c.hasOffset = true
		c.offset, rest, ok = scanOffset(text)
	}
	return rest, ok
}

// scanDigits reads at least least and at most most digits.
func scanDigits(text string, least, most int) (v int, rest string, ok bool) {
	n := 0
	for n < len(text) && n < most && text[n]-'0' <= 9 {
		v = v*10 + int(text[n]-'0')
		n++
	}
	return v, text[n:], n >= least
}

func scanFraction(text string, nanosecond *int) (rest string, ok bool) {
	v, rest, ok := scanDigits(text, 1, 9)
	for n := len(text) - len(rest); n < 9; n++ {
		v *= 10
	}
	*nanosecond = v
	return rest, ok
}

// monthNames are those of the Unicode locale data for English.
var monthNames = []string{
	"january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december",
}

// scanMonth reads the name of a month, whole or its first three letters, with or
// without a full stop; month is 0 if there is none.
func (l *timeLayout) scanMonth(text string) (month int, rest string) {
	rest = strings.TrimLeftFunc(text, unicode.IsLetter)
	name := strings.ToLower(text[:len(text)-len(rest)])
	rest = strings.TrimPrefix(rest, ".")
	if l.names != nil {
		for i, n := range l.names {
			if name == n {
				return i + 1, rest
			}
		}
		return 0, rest
	}
	for i, n := range monthNames {
		if name == n || name == n[:3] || name == "sept" && i == 8 {
			return i + 1, rest
		}
	}
	return 0, rest
}

func scanHalf(text string, c *civil) (rest string, ok bool) {
	for _, half := range []string{"a.m.", "p.m.", "am", "pm"} {
		if len(text) >= len(half) && strings.EqualFold(text[:len(half)], half) {
			c.am, c.pm = half[0] == 'a', half[0] == 'p'
			return text[len(half):], true
		}
	}
	return text, false
}

// scanOffset reads Z, +01:00, +0100 or +01 and returns minutes east of UTC. An
// offset of -00:00 says that it is not known (RFC 3339, 4.3) and is refused.
func scanOffset(text string) (offset int, rest string, ok bool) {
	if text == "" {
		return 0, text, false
	}
	if text[0] == 'Z' || text[0] == 'z' {
		return 0, text[1:], true
	}
	negative := text[0] == '-' || strings.HasPrefix(text, "\u2212")
	sign := 1
	if strings.HasPrefix(text, "\u2212") {
		sign = len("\u2212")
	} else if text[0] != '+' && text[0] != '-' {
		return 0, text, false
	}
	hour, rest, ok := scanDigits(text[sign:], 2, 2)
	if !ok || hour > 23 {
		return 0, text, false
	}
	rest = strings.TrimPrefix(rest, ":")
	minute := 0
	if rest != "" && rest[0]-'0' <= 9 {
		if minute, rest, ok = scanDigits(rest, 2, 2); !ok || minute > 59 {
			return 0, text, false
		}
	}
	offset = hour*60 + minute
	if negative {
		return -offset, rest, offset != 0
	}
	return offset, rest, true
}
