package report

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// A CalendarEntry is an entry of a calendar that takes whole days.
type CalendarEntry struct {
	// UID tells the entry from all others of the calendar, and is the same whenever the
	// same thing is meant: an entry that comes again takes the place of the old one.
	UID         string
	First       time.Time // its day counts
	Days        int       // at least 1
	Summary     string
	Description string // may have several lines
}

// A Calendar is what the service plan is as a calendar.
type Calendar struct {
	Name    string    // for people
	Origin  string    // whose calendar it is; makes the UIDs those of one ledger
	AsOf    time.Time // its day is that of which the calendar knows; another of a later day takes its place
	Entries []CalendarEntry
}

// daysWritten is how a date is written in a calendar.
const daysWritten = "20060102"

// Bytes returns the calendar as an iCalendar stream. The same values give the same
// bytes. A calendar must hold something: without entries it holds one that says so.
//
// Source: RFC 5545 (iCalendar), 3.1 (lines of up to 75 octets, folded), 3.3.11
// (escapes), 3.4, 3.6.1 (events); RFC 7986, 5.1 (NAME).
func (c Calendar) Bytes() []byte {
	entries := slices.Clone(c.Entries)
	if len(entries) == 0 {
		entries = []CalendarEntry{{UID: "nothing", First: c.AsOf, Days: 1, Summary: c.Name + ": nothing to do"}}
	}
	var w calendarWriter
	w.line("BEGIN:VCALENDAR")
	w.line("VERSION:2.0")
	w.line("PRODID:-//nilvolt//service plan//EN")
	w.line("CALSCALE:GREGORIAN")
	w.line("METHOD:PUBLISH")
	w.line("NAME:" + calendarText(c.Name))
	for _, e := range entries {
		w.line("BEGIN:VEVENT")
		w.line("UID:" + calendarText(e.UID+"@"+c.Origin))
		w.line("DTSTAMP:" + c.AsOf.UTC().Format(daysWritten) + "T000000Z")
		// It grows from day to day, so that what comes later takes the place of the old.
		w.line(fmt.Sprintf("SEQUENCE:%d", max(0, c.AsOf.Unix()/(24*60*60))))
		w.line("DTSTART;VALUE=DATE:" + e.First.Format(daysWritten))
		w.line("DTEND;VALUE=DATE:" + e.First.AddDate(0, 0, max(1, e.Days)).Format(daysWritten)) // the day behind the last
		w.line("SUMMARY:" + calendarText(e.Summary))
		if e.Description != "" {
			w.line("DESCRIPTION:" + calendarText(e.Description))
		}
		w.line("TRANSP:TRANSPARENT") // it takes nobody's time for itself
		w.line("END:VEVENT")
	}
	w.line("END:VCALENDAR")
	return w.Bytes()
}

// calendarText writes a value of the type TEXT.
func calendarText(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f {
			return -1 // control characters have no place in a content line
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd"))
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(text)
}

// A calendarWriter writes content lines.
type calendarWriter struct{ bytes.Buffer }

// line writes a content line, folded between characters.
func (w *calendarWriter) line(text string) {
	const most = 75 // octets without the line break
	for first := true; ; first = false {
		room := most
		if !first {
			w.WriteByte(' ')
			room--
		}
		n := min(len(text), room)
		for n < len(text) && !utf8.RuneStart(text[n]) {
			n--
		}
		w.WriteString(text[:n] + "\r\n")
		if text = text[n:]; text == "" {
			return
		}
	}
}
