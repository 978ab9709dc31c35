package formats

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // so that a zone means the same where the system has no zone database

	"nilvolt/record"
)

// loadZone returns the zone of an IANA name (Europe/Berlin), UTC, or a fixed
// offset (+01:00). The name Local is refused: it would mean another zone on
// another machine.
//
// The zone database is the one thing that this package takes from outside its
// arguments. It is a public table rather than an input, and is compiled into the
// program for machines that have none.
func loadZone(name string) (*time.Location, error) {
	if offset, rest, ok := scanOffset(name); ok && rest == "" && name != "Z" && name != "z" {
		return time.FixedZone(name, offset*60), nil
	}
	if strings.EqualFold(name, "utc") || name == "Z" {
		return time.UTC, nil
	}
	if name == "" || name == "Local" || !strings.Contains(name, "/") {
		return nil, errors.New("no name of a zone")
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return nil, errors.New("no such zone")
	}
	return zone, nil
}

const mendZone = "use a name of the IANA database, as in Europe/Berlin, or UTC, or an offset, as in +01:00"

var errNoDate = errors.New("no such date or time of day")

// A clockChangeError tells of a local time that a change of clocks makes occur
// twice or never.
type clockChangeError string

func (c clockChangeError) Error() string { return string(c) }

const mendClockChange = "nobody can tell which moment was meant: export the log in UTC or with offsets"

// rfc3339 writes c as RFC 3339 text. Where c has no offset it is a local time of
// zone; one that a clock change makes occur twice or never is an error.
func (c civil) rfc3339(zone *time.Location) (string, error) {
	if !c.exists() {
		return "", errNoDate
	}
	offset := c.offset
	if !c.hasOffset {
		offsets := zoneOffsets(c.wallSeconds(), zone)
		switch len(offsets) {
		case 0:
			return "", clockChangeError(fmt.Sprintf("a local time that never was: clocks in %v were put forward over it", zone))
		case 1:
			offset = offsets[0] / 60
			if offsets[0]%60 != 0 {
				return "", fmt.Errorf("a local time from before whole-minute offsets in %v", zone)
			}
		default:
			return "", clockChangeError(fmt.Sprintf("a local time that was twice in %v, at offset %s and at %s",
				zone, offsetText(offsets[0]/60), offsetText(offsets[1]/60)))
		}
	}
	return c.text(offset), nil
}

// exists reports whether date and time of day are ones. The second 60 is left to
// package record, which knows when it can be.
func (c civil) exists() bool {
	if c.year < 1 || c.month < 1 || c.month > 12 || c.day < 1 || c.hour > 23 || c.minute > 59 || c.second > 60 {
		return false
	}
	return time.Date(c.year, time.Month(c.month), c.day, 0, 0, 0, 0, time.UTC).Day() == c.day
}

// wallSeconds is the time that the clock on the wall shows, in seconds, as if it
// ran on UTC; a leap second counts as the second before it.
func (c civil) wallSeconds() int64 {
	days := record.DaysFromCivil(c.year, c.month, c.day)
	return days*86400 + int64(c.hour*3600+c.minute*60+min(c.second, 59))
}

// zoneOffsets returns the offsets (seconds east of UTC) at which a clock in zone
// showed wall: none where clocks were put forward over it, two where they were
// put back over it.
func zoneOffsets(wall int64, zone *time.Location) []int {
	// Every stretch of constant offset that can hold the moment is tried; no
	// zone was ever further than a day from UTC.
	const reach = 26 * time.Hour
	var offsets []int
	last := time.Unix(wall, 0).Add(reach)
	for at := time.Unix(wall, 0).Add(-reach).In(zone); at.Before(last); {
		_, offset := at.Zone()
		start, end := at.ZoneBounds()
		moment := time.Unix(wall-int64(offset), 0)
		if (start.IsZero() || !moment.Before(start)) && (end.IsZero() || moment.Before(end)) {
			offsets = append(offsets, offset)
		}
		if end.IsZero() {
			break
		}
		at = end
	}
	return offsets
}

func offsetText(minutes int) string { return string(appendOffset(nil, minutes)) }

func appendOffset(b []byte, minutes int) []byte {
	if minutes < 0 {
		b = append(b, '-')
		minutes = -minutes
	} else {
		b = append(b, '+')
	}
	b = appendPadded(b, minutes/60, 2)
	b = append(b, ':')
	return appendPadded(b, minutes%60, 2)
}

// text writes c as RFC 3339 with an offset of so many minutes.
func (c civil) text(offset int) string {
	b := make([]byte, 0, len("2006-01-02T15:04:05.999999999+00:00"))
	b = appendPadded(b, c.year, 4)
	b = append(b, '-')
	b = appendPadded(b, c.month, 2)
	b = append(b, '-')
	b = appendPadded(b, c.day, 2)
	b = append(b, 'T')
	b = appendPadded(b, c.hour, 2)
	b = append(b, ':')
	b = appendPadded(b, c.minute, 2)
	b = append(b, ':')
	b = appendPadded(b, c.second, 2)
	if c.nanosecond != 0 {
		b = append(b, '.')
		b = appendPadded(b, c.nanosecond, 9)
		for b[len(b)-1] == '0' {
			b = b[:len(b)-1]
		}
	}
	if offset == 0 {
		return string(append(b, 'Z'))
	}
	return string(appendOffset(b, offset))
}

// dateText writes the date of c, as in 2026-03-02.
func (c civil) dateText() string { return c.text(0)[:len("2006-01-02")] }

func appendPadded(b []byte, v, width int) []byte {
	digits := strconv.Itoa(v)
	for range width - len(digits) {
		b = append(b, '0')
	}
	return append(b, digits...)
}
