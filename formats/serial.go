package formats

import (
	"errors"
	"math"
	"strconv"
	"time"

	"nilvolt/record"
)

// Worksheets count days: in the 1900 system 1 is 1900-01-01, and 60 is a
// 1900-02-29 that never was, so that later days are one too high; in the 1904
// system 0 is 1904-01-01. Source: ECMA-376-1, 18.17.4.1 (date systems), and the
// leap-year note there.

var errSerial = errors.New("not a worksheet date")

// serialTime turns a worksheet date into a date and a time of day, to the
// millisecond, which is what the number can hold.
func serialTime(serial float64, from1904 bool) (civil, error) {
	const lastDay = 2958465 // 9999-12-31 in the 1900 system
	if from1904 {
		serial += 1462 // days from one system's 0 to the other's
	} else if serial < 61 {
		if serial >= 60 || serial < 1 {
			return civil{}, errSerial
		}
		serial++ // before the day that never was
	}
	if !(serial >= 0 && serial < lastDay+1) {
		return civil{}, errSerial
	}
	millis := int64(math.Round(serial * 86400e3))
	day := record.DaysFromCivil(1899, 12, 30)
	return civilOf(time.UnixMilli(day*86400e3 + millis).UTC()), nil
}

// civilOf takes t apart, without its offset.
func civilOf(t time.Time) civil {
	year, month, day := t.Date()
	hour, minute, second := t.Clock()
	return civil{
		year: year, month: int(month), day: day,
		hour: hour, minute: minute, second: second, nanosecond: t.Nanosecond(),
	}
}

// unixTime reads a number of seconds or milliseconds since 1970, in canonical
// text, without rounding.
func unixTime(text string, millis bool) (civil, error) {
	var n number
	n, rest, err := numberForm{}.cut(text)
	if err != nil || rest != "" || n.exponent != "" || n.negative {
		return civil{}, errNumberForm
	}
	if millis {
		n.whole, n.frac = shiftDigits(n.whole, n.frac, -3)
	}
	seconds, err := strconv.ParseInt(n.whole, 10, 64)
	const most = 253402300799 // 9999-12-31T23:59:59Z
	if err != nil || seconds > most {
		return civil{}, errors.New("beyond the year 9999: is it in other units?")
	}
	nanos := 0
	for i := range 9 {
		nanos *= 10
		if i < len(n.frac) {
			nanos += int(n.frac[i] - '0')
		}
	}
	c := civilOf(time.Unix(seconds, int64(nanos)).UTC())
	c.hasOffset = true
	return c, nil
}
