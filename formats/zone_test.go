package formats

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nilvolt/record"
)

// Local times around clock changes. The rules are those of the IANA time zone
// database, named beside each case.
func TestLocalTimes(t *testing.T) {
	tests := []struct{ zone, local, want string }{
		// Rule EU: forward at 01:00 UTC on the last Sunday of March, back on that of October.
		{"Europe/Berlin", "2026-03-29 01:59:59", "2026-03-29T01:59:59+01:00"},
		{"Europe/Berlin", "2026-03-29 02:00:00", "a local time that never was: clocks in Europe/Berlin were put forward over it"},
		{"Europe/Berlin", "2026-03-29 02:30:00", "a local time that never was: clocks in Europe/Berlin were put forward over it"},
		{"Europe/Berlin", "2026-03-29 03:00:00", "2026-03-29T03:00:00+02:00"},
		{"Europe/Berlin", "2026-10-25 01:59:59", "2026-10-25T01:59:59+02:00"},
		{"Europe/Berlin", "2026-10-25 02:00:00", "a local time that was twice in Europe/Berlin, at offset +02:00 and at +01:00"},
		{"Europe/Berlin", "2026-10-25 02:59:59", "a local time that was twice in Europe/Berlin, at offset +02:00 and at +01:00"},
		{"Europe/Berlin", "2026-10-25 03:00:00", "2026-10-25T03:00:00+01:00"},
		{"Europe/London", "2026-10-25 01:30:00", "a local time that was twice in Europe/London, at offset +01:00 and at +00:00"},
		{"Europe/London", "2026-12-25 01:30:00", "2026-12-25T01:30:00Z"},
		// Rule US: forward at 2:00 on the second Sunday of March, back at 2:00 on the first of November.
		{"America/New_York", "2026-03-08 02:30:00", "a local time that never was: clocks in America/New_York were put forward over it"},
		{"America/New_York", "2026-11-01 01:30:00", "a local time that was twice in America/New_York, at offset -04:00 and at -05:00"},
		{"America/New_York", "2026-11-01 02:00:00", "2026-11-01T02:00:00-05:00"},
		// Rule LH: half an hour, forward at 2:00 on the first Sunday of October, back at 2:00 on that of April.
		{"Australia/Lord_Howe", "2026-10-04 02:15:00", "a local time that never was: clocks in Australia/Lord_Howe were put forward over it"},
		{"Australia/Lord_Howe", "2026-10-04 02:30:00", "2026-10-04T02:30:00+11:00"},
		{"Australia/Lord_Howe", "2026-04-05 01:45:00", "a local time that was twice in Australia/Lord_Howe, at offset +11:00 and at +10:30"},
		{"Australia/Lord_Howe", "2026-04-05 02:00:00", "2026-04-05T02:00:00+10:30"},
		// Zone Asia/Pyongyang: from +08:30 to +09:00 for good on 2018-05-04 at 23:30.
		{"Asia/Pyongyang", "2018-05-04 23:45:00", "a local time that never was: clocks in Asia/Pyongyang were put forward over it"},
		{"Asia/Pyongyang", "2018-05-05 00:00:00", "2018-05-05T00:00:00+09:00"},
		// Zone America/Caracas: from -04:00 to -04:30 on 2007-12-09 at 3:00, back on 2016-05-01 at 2:30.
		{"America/Caracas", "2007-12-09 02:45:00", "a local time that was twice in America/Caracas, at offset -04:00 and at -04:30"},
		{"America/Caracas", "2016-05-01 02:45:00", "a local time that never was: clocks in America/Caracas were put forward over it"},
		// Zone Pacific/Apia: the whole of 2011-12-30 was left out.
		{"Pacific/Apia", "2011-12-30 12:00:00", "a local time that never was: clocks in Pacific/Apia were put forward over it"},
		{"Pacific/Apia", "2011-12-31 00:00:00", "2011-12-31T00:00:00+14:00"},
		// Zone Africa/Casablanca: back to +00:00 for Ramadan of 2026, from 2026-02-15 3:00 to 2026-03-22 2:00.
		{"Africa/Casablanca", "2026-02-15 02:30:00", "a local time that was twice in Africa/Casablanca, at offset +01:00 and at +00:00"},
		{"Africa/Casablanca", "2026-03-22 02:30:00", "a local time that never was: clocks in Africa/Casablanca were put forward over it"},
		{"UTC", "2026-03-29 02:30:00", "2026-03-29T02:30:00Z"},
		{"+05:45", "2026-03-29 02:30:00", "2026-03-29T02:30:00+05:45"},
		{"-03:30", "2026-03-29 02:30:00", "2026-03-29T02:30:00-03:30"},
		{"UTC", "2026-02-29 02:30:00", "no such date or time of day"},
		{"UTC", "2026-04-31 02:30:00", "no such date or time of day"},
		{"UTC", "2026-04-30 24:00:00", "no such date or time of day"},
	}
	layout, err := parseLayout("yyyy-MM-dd HH:mm:ss")
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range tests {
		zone, err := loadZone(tt.zone)
		if err != nil {
			t.Fatal(tt.zone, err)
		}
		c, ok := layout.scan(tt.local)
		if !ok {
			t.Fatalf("%s does not follow the layout", tt.local)
		}
		got, err := c.rfc3339(zone)
		if err != nil {
			got = err.Error()
		}
		if got != tt.want {
			t.Errorf("%s %s: got %q, want %q", tt.zone, tt.local, got, tt.want)
		}
	}
}

// What a clock in some zone showed at a moment reads as that moment, or is said
// to be ambiguous; it never reads as another one. The oracle is package time.
func TestLocalTimesOfAnyZone(t *testing.T) {
	zones := []string{
		"Europe/Berlin", "Europe/Dublin", "America/New_York", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu",
		"Africa/Casablanca", "Pacific/Apia", "Pacific/Chatham", "Antarctica/Troll", "America/Caracas", "Asia/Tehran", "Asia/Gaza",
	}
	rapid.Check(t, func(t *rapid.T) {
		zone, err := loadZone(rapid.SampledFrom(zones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		moment := time.Unix(rapid.Int64Range(0, 2e9).Draw(t, "unix"), 0).In(zone)
		if end := moment; rapid.Bool().Draw(t, "near a change") {
			if _, end = moment.ZoneBounds(); !end.IsZero() {
				moment = end.Add(time.Duration(rapid.IntRange(-7200, 7200).Draw(t, "seconds")) * time.Second)
			}
		}
		c := civilOf(moment)
		text, err := c.rfc3339(zone)
		if err != nil {
			if !strings.Contains(err.Error(), "was twice") {
				t.Fatalf("%v: %v", moment, err)
			}
			return
		}
		got, err := record.ParseInstant(text)
		if err != nil || got.Unix() != moment.Unix() {
			t.Fatalf("%v reads as %s, %v", moment, text, err)
		}
	})
}

// Layouts against package time, whose layouts are written otherwise.
func TestLayouts(t *testing.T) {
	moment := time.Date(2026, 3, 2, 21, 5, 9, 250e6, time.FixedZone("", 3600))
	for ours, theirs := range map[string]string{
		"yyyy-MM-dd'T'HH:mm:ss.SXXX": "2006-01-02T15:04:05.000Z07:00",
		"d.M.yy H:mm:ss,S X":         "2.1.06 15:04:05,000 Z0700",
		"EEE MMM d HH:mm:ss.S yyyy":  "Mon Jan 2 15:04:05.000 2006",
		"MMMM d, yyyy h:mm:ss.S a":   "January 2, 2006 3:04:05.000 PM",
		"yyyyMMddHHmmss.S":           "20060102150405.000",
	} {
		l, err := parseLayout(ours)
		if err != nil {
			t.Fatalf("%s: %v", ours, err)
		}
		text := moment.Format(theirs)
		c, ok := l.scan(text)
		if c.am, c.pm = false, false; !ok {
			t.Errorf("%q does not follow %s", text, ours)
		}
		want := civilOf(moment)
		if l.has['X'] {
			want.hasOffset, want.offset = true, 60
		}
		if c != want {
			t.Errorf("%q by %s is %+v", text, ours, c)
		}
	}
	for _, tt := range []struct{ layout, text string }{
		{"dd.MM.yyyy", "2.3.2026"},
		{"d.M.yyyy", "2.3.26"},
		{"d.M.yyyy", "2.3.2026 "},
		{"d.M.yyyy HH:mm", "2.3.2026 9:05"},
		{"d.M.yyyy hh:mm a", "2.3.2026 13:05 pm"},
		{"d.M.yyyy hh:mm a", "2.3.2026 00:05 am"},
		{"d.M.yyyy HH:mm XXX", "2.3.2026 09:05 -00:00"},
		{"d.M.yyyy HH:mm XXX", "2.3.2026 09:05"},
		{"d MMM yyyy", "2 Foo 2026"},
	} {
		l, err := parseLayout(tt.layout)
		if err != nil {
			t.Fatalf("%s: %v", tt.layout, err)
		}
		if c, ok := l.scan(tt.text); ok {
			t.Errorf("%q follows %s: %+v", tt.text, tt.layout, c)
		}
	}
}

func TestInZone(t *testing.T) {
	m, err := (*Map)(nil).InZone("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	l, err := Bind("time,event\n", "f.csv", m)
	if err != nil {
		t.Fatal(errorText(err))
	}
	for text, want := range map[string]string{
		"2026-03-02 10:15:00":           "time=2026-03-02T10:15:00+01:00 event=lock",
		"2026-03-02T10:15:00":           "time=2026-03-02T10:15:00+01:00 event=lock",
		"2026-03-02T10:15:00Z":          "time=2026-03-02T10:15:00Z event=lock",
		"1990-12-31T23:59:60Z":          "time=1990-12-31T23:59:60Z event=lock", // RFC 3339, 5.8
		"2026-03-02T10:15:00-00:00":     "f.csv:2: time \"2026-03-02T10:15:00-00:00\": offset -00:00 says that the offset is not known",
		"2026-03-29 02:30:00":           "f.csv:2: time \"2026-03-29 02:30:00\": a local time that never was: clocks in Europe/Berlin were put forward over it",
		"2026-03-02T10:15:00.123+05:30": "time=2026-03-02T10:15:00.123+05:30 event=lock",
	} {
		if got := rowText(l, []Field{{Text: text}, {Text: "lock"}}, record.Pos{File: "f.csv", Line: 2}); got != want {
			t.Errorf("%s: got %q, want %q", text, got, want)
		}
	}
	for _, name := range []string{"", "Local", "CET", "Europe/Atlantis", "../etc/passwd"} {
		if _, err := (*Map)(nil).InZone(name); err == nil {
			t.Errorf("the zone %q is taken", name)
		}
	}
}
