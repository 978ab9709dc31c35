package report

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"
	"pgregory.net/rapid"
)

func dateAt(text string) time.Time {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return t
}

// readCalendar reads a calendar with a library of another hand.
func readCalendar(t interface{ Fatal(...any) }, data []byte) *ical.Calendar {
	c, err := ical.NewDecoder(bytes.NewReader(data)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestCalendar(t *testing.T) {
	c := Calendar{Name: "Service plan", Origin: "nilvolt-1", AsOf: dateAt("2026-05-31"), Entries: []CalendarEntry{
		{
			UID: "service/VI-03/2026-01-16", First: dateAt("2026-06-01"), Days: 7, Summary: "Service VI-03; drifts, 0.25 % a week",
			Description: "due 2026-08-01\nC:\\bench",
		},
	}}
	const want = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//nilvolt//service plan//EN\r\nCALSCALE:GREGORIAN\r\nMETHOD:PUBLISH\r\n" +
		"NAME:Service plan\r\nBEGIN:VEVENT\r\nUID:service/VI-03/2026-01-16@nilvolt-1\r\nDTSTAMP:20260531T000000Z\r\nSEQUENCE:20604\r\n" +
		"DTSTART;VALUE=DATE:20260601\r\nDTEND;VALUE=DATE:20260608\r\nSUMMARY:Service VI-03\\; drifts\\, 0.25 % a week\r\n" +
		"DESCRIPTION:due 2026-08-01\\nC:\\\\bench\r\nTRANSP:TRANSPARENT\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
	if got := string(c.Bytes()); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	c.Entries = nil
	if events := readCalendar(t, c.Bytes()).Events(); len(events) != 1 {
		t.Errorf("%d events of a calendar without entries", len(events))
	}
}

// Whatever stands in an entry comes back out of another hand's reader, and the lines
// are as RFC 5545, 3.1, has them.
func TestCalendarComesBack(t *testing.T) {
	texts := rapid.StringOf(rapid.OneOf(rapid.Rune(), rapid.SampledFrom([]rune("\\;,:\n\" äß漢字\U0001f50c"))))
	rapid.Check(t, func(t *rapid.T) {
		e := CalendarEntry{
			UID: rapid.StringMatching(`[A-Z0-9/;,\\é-]{1,90}`).Draw(t, "uid"), First: dateAt("2024-02-26").AddDate(0, 0, rapid.IntRange(0, 3000).Draw(t, "day")),
			Days: rapid.IntRange(1, 9).Draw(t, "days"), Summary: texts.Draw(t, "summary"), Description: texts.Draw(t, "description"),
		}
		data := Calendar{Name: "n", Origin: "o", AsOf: dateAt("2026-05-31"), Entries: []CalendarEntry{e}}.Bytes()
		for line := range strings.SplitSeq(strings.TrimSuffix(string(data), "\r\n"), "\r\n") {
			if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
				t.Fatalf("a line of %d octets: %q", len(line), line)
			}
			if !strings.Contains(line, "\ufffd") && strings.ToValidUTF8(line, "\ufffd") != line {
				t.Fatalf("a line that ends within a character: %q", line)
			}
		}
		event := readCalendar(t, data).Events()[0]
		text := func(name string) string {
			p := event.Props.Get(name)
			if p == nil {
				return ""
			}
			s, err := p.Text()
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		plain := func(s string) string {
			return strings.Map(func(r rune) rune {
				if r < ' ' && r != '\n' || r == 0x7f {
					return -1
				}
				return r
			}, s)
		}
		if got, want := text("UID"), e.UID+"@o"; got != want {
			t.Fatalf("UID %q, want %q", got, want)
		}
		if got := text("SUMMARY"); got != plain(e.Summary) {
			t.Fatalf("summary %q, want %q", got, e.Summary)
		}
		if got := text("DESCRIPTION"); got != plain(e.Description) {
			t.Fatalf("description %q, want %q", got, e.Description)
		}
		start, err1 := event.DateTimeStart(time.UTC)
		end, err2 := event.DateTimeEnd(time.UTC)
		if err1 != nil || err2 != nil || !start.Equal(e.First) || !end.Equal(e.First.AddDate(0, 0, e.Days)) {
			t.Fatalf("%v to %v: %v %v", start, end, err1, err2)
		}
	})
	if !slices.Equal(Calendar{Name: "n"}.Bytes(), Calendar{Name: "n"}.Bytes()) {
		t.Error("the same calendar gives other bytes")
	}
}
