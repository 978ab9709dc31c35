package formats

import "nilvolt/record"

// A clock reads times of day on a date that it has seen before, which most rows
// of a log have, without working out the date again.
type clock struct {
	dated    bool      // there is a date
	date     [2]uint64 // the first 8 and the last 8 bytes of a date as in "2026-03-02T"
	midnight int64     // Unix seconds of 00:00:00 UTC of that date
	zoned    bool      // there is an offset
	zone     [6]byte   // as in "+01:00"
	minutes  int       // the same east of UTC
}

// clockAt is where the time of day stands in a time.
const clockAt = len("2026-03-02T")

// read reads the time that text begins with, if that has the cached date, no fraction
// and either Z or the cached offset. size is 0 for any other.
func (c *clock) read(text string) (t record.Instant, size int) {
	const short, long = len("2026-03-02T09:15:00Z"), len("2026-03-02T09:15:00+01:00")
	if len(text) < short || !c.dated || word(text) != c.date[0] || word(text[3:]) != c.date[1] {
		return t, 0
	}
	second, ok := secondOfDay(word(text[clockAt:]))
	switch {
	case !ok:
		return t, 0
	case text[short-1] == 'Z':
		return record.NewInstant(c.midnight+second, 0, 0), short
	case c.zoned && len(text) >= long && text[short-1:long] == string(c.zone[:]):
		return record.NewInstant(c.midnight+second-int64(c.minutes)*60, 0, c.minutes), long
	}
	return t, 0
}

// secondOfDay reads "09:15:00", its eight bytes at once; not a leap second.
func secondOfDay(clock uint64) (second int64, ok bool) {
	const (
		zero   = 0x30303a30303a3030 // "00:00:00"
		limits = 0x76767f76767f7676 // what, added to a digit or to what should be 0, does not reach 0x80
		high   = 0x8080808080808080
	)
	digits := clock ^ zero // 0 to 9, and 0 for the colons
	if (digits|(digits+limits))&high != 0 {
		return 0, false
	}
	pairs := digits*10 + digits>>8 // no byte reaches 100
	hour, minute, sec := pairs&0xff, pairs>>24&0xff, pairs>>48&0xff
	return int64(hour*3600 + minute*60 + sec), hour < 24 && minute < 60 && sec < 60
}

// learn caches date and offset of text, which record.ParseInstant has accepted.
func (c *clock) learn(text string) {
	number := func(s string) (n int) {
		for i := range len(s) {
			n = n*10 + int(s[i]-'0')
		}
		return n
	}
	c.dated, c.date = true, [2]uint64{word(text), word(text[3:])}
	c.midnight = record.DaysFromCivil(number(text[:4]), number(text[5:7]), number(text[8:10])) * 86400
	zone := text[max(0, len(text)-len(c.zone)):]
	if sign := zone[0]; sign == '+' || sign == '-' {
		c.zoned = true
		copy(c.zone[:], zone)
		c.minutes = number(zone[1:3])*60 + number(zone[4:])
		if sign == '-' {
			c.minutes = -c.minutes
		}
	}
}
