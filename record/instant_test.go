package record

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Source: RFC 3339, 5.8 (the examples) and 4.3 (the offset -00:00); the Unix times
// were computed with GNU date.
func TestParseInstantRFC3339(t *testing.T) {
	for _, c := range []struct {
		text string
		unix int64
		nsec uint32
	}{
		{"1985-04-12T23:20:50.52Z", 482196050, 520000000},
		{"1996-12-19T16:39:57-08:00", 851042397, 0},
		{"1937-01-01T12:00:27.87+00:20", -1041337173, 870000000},
		{"1985-04-12t23:20:50.52z", 482196050, 520000000},
		{"1985-04-12 23:20:50.52Z", 482196050, 520000000},
		{"2026-03-02T08:00:00.123456789Z", 1772438400, 123456789},
		{"0000-02-29T00:00:00Z", -62162121600, 0},
	} {
		got, err := ParseInstant(c.text)
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		if got.Unix() != c.unix || got.nsec != c.nsec {
			t.Errorf("%s: got %d.%09d, want %d.%09d", c.text, got.Unix(), got.nsec, c.unix, c.nsec)
		}
	}
	for _, text := range []string{
		"", "2026-03-02", "2026-03-02T08:00:00", "2026-03-02T08:00:00-00:00", "2026-02-29T08:00:00Z",
		"2026-13-02T08:00:00Z", "2026-03-02T24:00:00Z", "2026-03-02T08:60:00Z", "2026-03-02T08:00:61Z",
		"2026-03-02T08:00:00.Z", "2026-03-02T08:00:00+0100", "2026-03-02T08:00:00+24:00", "2026-03-02T08:00:00Zx",
		"2026/03/02T08:00:00Z", "2026-03-02T08:00:60Z", "2026-03-02T23:59:60Z", "20260302T080000Z", " 2026-03-02T08:00:00Z",
	} {
		if got, err := ParseInstant(text); err == nil || got.IsSet() {
			t.Errorf("%q was taken as %v", text, got)
		}
	}
}

// Source: RFC 3339, 5.8: 1990-12-31T23:59:60Z and 1990-12-31T15:59:60-08:00 are the
// same leap second; 5.7 for where one can stand.
func TestLeapSecond(t *testing.T) {
	parse := func(text string) Instant {
		got, err := ParseInstant(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		return got
	}
	before, leap, after := parse("1990-12-31T23:59:59Z"), parse("1990-12-31T23:59:60Z"), parse("1991-01-01T00:00:00Z")
	if !before.Before(leap) || !leap.Before(after) {
		t.Error("the leap second does not stand between :59 and :00")
	}
	if west := parse("1990-12-31T15:59:60-08:00"); west.Compare(leap) != 0 {
		t.Errorf("%v and %v differ", west, leap)
	}
	if d := leap.Sub(before); d != time.Second {
		t.Errorf("leap second less second before: %v", d)
	}
	if again := NewInstant(leap.Unix(), leap.Nanosecond(), leap.Offset()); again != leap {
		t.Errorf("%v put together again is %v", leap, again)
	}
	if leap.Second() != 60 || leap.String() != "1990-12-31T23:59:60Z" {
		t.Errorf("second %d, text %s", leap.Second(), leap)
	}
}

// The standard library is the reference for all but leap seconds.
func TestInstantAgainstTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sec := rapid.Int64Range(-62135596800, 253402300799).Draw(t, "sec")
		nsec := rapid.Int64Range(0, 999999999).Draw(t, "nsec")
		offset := rapid.IntRange(-14*60, 14*60).Draw(t, "offset")
		ref := time.Unix(sec, nsec).In(time.FixedZone("", offset*60))
		if y := ref.Year(); y < 0 || y > 9999 {
			t.Skip("no RFC 3339 year")
		}
		text := ref.Format(time.RFC3339Nano)
		got, err := ParseInstant(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if !got.Time().Equal(ref) || got.String() != text || got.Second() != ref.Second() {
			t.Fatalf("%s became %v", text, got)
		}
		if d := DateOf(ref); got.Date() != d || d.String() != ref.Format(time.DateOnly) {
			t.Fatalf("date of %s: %v", text, got.Date())
		}
		add := time.Duration(rapid.Int64Range(-1e15, 1e15).Draw(t, "add"))
		if moved := got.Add(add); !moved.Time().Equal(ref.Add(add)) || moved.Sub(got) != add {
			t.Fatalf("%s + %v = %v", text, add, moved)
		}
	})
}
