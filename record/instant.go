package record

import (
	"errors"
	"math"
	"time"
)

// An Instant is a moment on the UTC time scale with the offset it was written
// with. Unlike time.Time it keeps a leap second apart from the second after it.
// The zero Instant is no time at all.
type Instant struct {
	sec    int64  // Unix seconds; a leap second has those of the second before it
	nsec   uint32 // nanoseconds; 1e9 and more within a leap second
	offset int16  // minutes east of UTC, as it was written
	set    bool
}

// Errors of ParseInstant.
var (
	errNoTime        = errors.New("no time")
	errTimeForm      = errors.New("not an RFC 3339 time")
	errTimeRange     = errors.New("no such date or time of day")
	errOffsetMissing = errors.New("time without an offset")
	errOffsetUnknown = errors.New("offset -00:00 says that the offset is not known")
)

// ParseInstant reads an RFC 3339 time. A time without an offset and the offset
// -00:00 (RFC 3339, 4.3: offset unknown) are errors. The second 60 is taken only
// where a leap second can stand, the last second of a month in UTC (RFC 3339,
// 5.7). Digits beyond nanoseconds are cut off.
func ParseInstant(text string) (Instant, error) {
	if text == "" {
		return Instant{}, errNoTime
	}
	var t Instant
	if len(text) < len("2006-01-02T15:04:05") {
		return t, errTimeForm
	}
	year, ok1 := digits4(text)
	month, ok2 := digits2(text[5:])
	day, ok3 := digits2(text[8:])
	hour, ok4 := digits2(text[11:])
	minute, ok5 := digits2(text[14:])
	second, ok6 := digits2(text[17:])
	if !(ok1 && ok2 && ok3 && ok4 && ok5 && ok6) || text[4] != '-' || text[7] != '-' ||
		text[13] != ':' || text[16] != ':' || (text[10]|0x20 != 't' && text[10] != ' ') {
		return t, errTimeForm
	}
	if month < 1 || month > 12 || day < 1 || day > daysIn(year, month) || hour > 23 || minute > 59 || second > 60 {
		return t, errTimeRange
	}
	rest := text[19:]
	if rest != "" && rest[0] == '.' {
		var ok bool
		if t.nsec, rest, ok = cutFraction(rest[1:]); !ok {
			return Instant{}, errTimeForm
		}
	}
	offset, err := parseOffset(rest)
	if err != nil {
		return Instant{}, err
	}
	t.offset = int16(offset)
	leap := second == 60
	if leap {
		second = 59
		t.nsec += 1e9
	}
	t.sec = (DaysFromCivil(year, month, day)*24+int64(hour))*3600 + int64(minute-offset)*60 + int64(second)
	if leap && !lastSecondOfMonth(t.sec) {
		return Instant{}, errTimeRange
	}
	t.set = true
	return t, nil
}

// lastSecondOfMonth reports whether sec is 23:59:59 UTC on the last day of a month.
func lastSecondOfMonth(sec int64) bool {
	next := time.Unix(sec+1, 0).UTC()
	return next.Day() == 1 && next.Hour() == 0 && next.Minute() == 0 && next.Second() == 0
}

func digits2(s string) (int, bool) {
	a, b := s[0]-'0', s[1]-'0'
	return int(a)*10 + int(b), a <= 9 && b <= 9
}

func digits4(s string) (int, bool) {
	hi, ok1 := digits2(s)
	lo, ok2 := digits2(s[2:])
	return hi*100 + lo, ok1 && ok2
}

// cutFraction reads the digits after the point of a second.
func cutFraction(s string) (nsec uint32, rest string, ok bool) {
	scale := uint32(1e8)
	i := 0
	for ; i < len(s) && s[i]-'0' <= 9; i++ {
		nsec += uint32(s[i]-'0') * scale
		scale /= 10
	}
	return nsec, s[i:], i > 0
}

// parseOffset reads Z or +hh:mm and returns minutes east of UTC.
func parseOffset(s string) (int, error) {
	switch {
	case s == "":
		return 0, errOffsetMissing
	case s == "Z" || s == "z":
		return 0, nil
	case len(s) != len("+00:00") || s[0] != '+' && s[0] != '-' || s[3] != ':':
		return 0, errTimeForm
	}
	hour, ok1 := digits2(s[1:])
	minute, ok2 := digits2(s[4:])
	switch {
	case !ok1 || !ok2:
		return 0, errTimeForm
	case hour > 23 || minute > 59:
		return 0, errTimeRange
	case s == "-00:00":
		return 0, errOffsetUnknown
	case s[0] == '-':
		return -(hour*60 + minute), nil
	}
	return hour*60 + minute, nil
}

func daysIn(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// DaysFromCivil returns the days from 1970-01-01 to a date of the proleptic
// Gregorian calendar, negative before it. The date must exist.
func DaysFromCivil(year, month, day int) int64 {
	// The year is counted from March, so that the leap day comes last in it.
	if month <= 2 {
		year--
		month += 12
	}
	era := year / 400
	if year < 0 {
		era = (year - 399) / 400
	}
	yearOfEra := year - era*400
	dayOfYear := (153*(month-3)+2)/5 + day - 1
	dayOfEra := yearOfEra*365 + yearOfEra/4 - yearOfEra/100 + dayOfYear
	return int64(era)*146097 + int64(dayOfEra) - 719468
}

// NewInstant returns the instant of Unix second sec and nanosecond nsec (1e9 and
// more within a leap second, as Nanosecond gives it), written with an offset of so
// many minutes east of UTC.
func NewInstant(sec int64, nsec, offsetMinutes int) Instant {
	return Instant{sec: sec, nsec: uint32(nsec), offset: int16(offsetMinutes), set: true}
}

// InstantOf returns t with the offset of its location, cut to whole minutes.
func InstantOf(t time.Time) Instant {
	_, offset := t.Zone()
	return NewInstant(t.Unix(), t.Nanosecond(), offset/60)
}

// IsSet reports whether t is a time; the zero Instant is none.
func (t Instant) IsSet() bool { return t.set }

// Compare returns -1, 0 or +1 as t stands before, at or after u. The offset does
// not count.
func (t Instant) Compare(u Instant) int {
	switch {
	case t.sec < u.sec:
		return -1
	case t.sec > u.sec:
		return 1
	case t.nsec < u.nsec:
		return -1
	case t.nsec > u.nsec:
		return 1
	}
	return 0
}

// Before reports whether t stands before u.
func (t Instant) Before(u Instant) bool {
	return t.sec < u.sec || t.sec == u.sec && t.nsec < u.nsec
}

// Sub returns t - u, cut to the range of a Duration (292 years).
func (t Instant) Sub(u Instant) time.Duration {
	sec := t.sec - u.sec
	const most = math.MaxInt64/int64(time.Second) - 2
	if sec > most {
		return math.MaxInt64
	}
	if sec < -most {
		return math.MinInt64
	}
	return time.Duration(sec)*time.Second + time.Duration(int64(t.nsec)-int64(u.nsec))
}

// Add returns t moved by d, with the same offset.
func (t Instant) Add(d time.Duration) Instant {
	n := int64(t.nsec) + int64(d%time.Second)
	sec := t.sec + int64(d/time.Second)
	if n < 0 {
		n += 1e9
		sec--
	} else if n >= 1e9 {
		n -= 1e9
		sec++
	}
	t.sec, t.nsec = sec, uint32(n)
	return t
}

// Unix returns the seconds since 1970-01-01T00:00:00Z; those of :59 for a leap second.
func (t Instant) Unix() int64 { return t.sec }

// Nanosecond returns the nanoseconds since Unix: 0 to 1e9-1, and 1e9 to 2e9-1
// within a leap second.
func (t Instant) Nanosecond() int { return int(t.nsec) }

// Offset returns the minutes east of UTC with which t was written.
func (t Instant) Offset() int { return int(t.offset) }

// Second returns the second of the minute, 0 to 60.
func (t Instant) Second() int {
	s := int(((t.sec % 60) + 60) % 60)
	if t.nsec >= 1e9 {
		s++
	}
	return s
}

// Date returns the calendar date of t where it was written.
func (t Instant) Date() Date {
	if !t.set {
		return Date{}
	}
	return DateOf(t.Time())
}

// Time returns t as a time.Time with a fixed offset; a leap second becomes the
// second after it.
func (t Instant) Time() time.Time {
	if !t.set {
		return time.Time{}
	}
	u := time.Unix(t.sec, int64(t.nsec))
	if t.offset == 0 {
		return u.UTC()
	}
	return u.In(time.FixedZone("", int(t.offset)*60))
}

// String returns the RFC 3339 form, "" for the zero Instant.
func (t Instant) String() string {
	if !t.set {
		return ""
	}
	if t.nsec < 1e9 {
		return t.Time().Format(time.RFC3339Nano)
	}
	u := t
	u.nsec -= 1e9
	text := u.Time().Format(time.RFC3339Nano)
	return text[:17] + "60" + text[19:]
}

// Clock returns the time of day where it was written, as in "14:03:20".
func (t Instant) Clock() string {
	text := t.String()
	if text == "" {
		return ""
	}
	return text[11:19]
}

// A Date is a calendar date without a zone. The zero Date is none.
type Date struct {
	days int32 // since 1970-01-01
	set  bool
}

// ParseDate reads a date as in "2026-03-02" (RFC 3339 full-date).
func ParseDate(text string) (Date, error) {
	if len(text) != len("2006-01-02") || text[4] != '-' || text[7] != '-' {
		return Date{}, errDateForm
	}
	year, ok1 := digits4(text)
	month, ok2 := digits2(text[5:])
	day, ok3 := digits2(text[8:])
	if !ok1 || !ok2 || !ok3 {
		return Date{}, errDateForm
	}
	if month < 1 || month > 12 || day < 1 || day > daysIn(year, month) {
		return Date{}, errTimeRange
	}
	return Date{days: int32(DaysFromCivil(year, month, day)), set: true}, nil
}

var errDateForm = errors.New("not a date of the form 2006-01-02")

// DateOf returns the date of t in its location.
func DateOf(t time.Time) Date {
	year, month, day := t.Date()
	return Date{days: int32(DaysFromCivil(year, int(month), day)), set: true}
}

// IsSet reports whether d is a date; the zero Date is none.
func (d Date) IsSet() bool { return d.set }

// After reports whether d is later than e.
func (d Date) After(e Date) bool { return d.days > e.days }

// DaysSince returns the days from e to d, negative where d is the earlier one.
func (d Date) DaysSince(e Date) int { return int(d.days - e.days) }

// AddDays returns the date n days after d.
func (d Date) AddDays(n int) Date { return Date{days: d.days + int32(n), set: d.set} }

// String returns the form "2006-01-02", "" for the zero Date.
func (d Date) String() string {
	if !d.set {
		return ""
	}
	return time.Unix(int64(d.days)*86400, 0).UTC().Format(time.DateOnly)
}
