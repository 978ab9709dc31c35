package formats

import "nilvolt/record"

// A clock reads times of day on a date that it has seen before, which most rows
// of a log have, without working out the date again.
type clock struct {
	date     [11]byte // as in "2026-03-02T"
	midnight int64    // Unix seconds of 00:00:00 UTC of that date
	zone     [6]byte  // as in "+01:00"
	minutes  int      // the same east of UTC
}

// read reads a time at text[i] that has the cached date, no fraction and either Z
// or the cached offset. It returns the end of the time.
func (c *clock) read(text string, i int) (t record.Instant, end int, ok bool) {
	const size = len("2026-03-02T09:15:00+01:00")
	if len(text)-i < size {
		return t, 0, false
	}
	s := text[i : i+size]
	if s[:11] != string(c.date[:]) || s[13] != ':' || s[16] != ':' {
		return t, 0, false
	}
	h1, h0, m1, m0, s1, s0 := s[11]-'0', s[12]-'0', s[14]-'0', s[15]-'0', s[17]-'0', s[18]-'0'
	hour, minute, second := h1*10+h0, m1*10+m0, s1*10+s0
	if h1 > 2 || h0 > 9 || hour > 23 || m1 > 5 || m0 > 9 || s1 > 5 || s0 > 9 {
		return t, 0, false
	}
	sec := c.midnight + int64(hour)*3600 + int64(minute)*60 + int64(second)
	if s[19] == 'Z' {
		return record.NewInstant(sec, 0, 0), i + 20, true
	}
	if s[19:] == string(c.zone[:]) {
		return record.NewInstant(sec-int64(c.minutes)*60, 0, c.minutes), i + size, true
	}
	return t, 0, false
}

// learn caches date and offset of text, which record.ParseInstant has accepted.
func (c *clock) learn(text string) {
	number := func(s string) (n int) {
		for i := range len(s) {
			n = n*10 + int(s[i]-'0')
		}
		return n
	}
	copy(c.date[:], text)
	c.midnight = record.DaysFromCivil(number(text[:4]), number(text[5:7]), number(text[8:10])) * 86400
	zone := text[max(0, len(text)-len(c.zone)):]
	if sign := zone[0]; sign == '+' || sign == '-' {
		copy(c.zone[:], zone)
		c.minutes = number(zone[1:3])*60 + number(zone[4:])
		if sign == '-' {
			c.minutes = -c.minutes
		}
	}
}

// fastTime decodes the time at text[i].
func (d *Decoder) fastTime(text string, i int) (end int) {
	if i < len(text) && text[i] == '"' {
		if t, end, ok := d.clock.read(text, i+1); ok && text[end] == '"' {
			d.state.event.Time = t
			return end + 1
		}
	} else if t, end, ok := d.clock.read(text, i); ok {
		d.state.event.Time = t
		return end
	}
	inner, end := innerText(text, i, d.layout.Comma)
	if !d.set(TimeColumn, inner) {
		return refused
	}
	if d.state.event.Time.IsSet() {
		d.clock.learn(trim(inner))
	}
	return end
}
