package formats

import (
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nilvolt/record"
)

// Oracle: record.ParseReading, for whatever decimal takes; and it takes what a display
// of up to seven characters shows.
func TestDecimal(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.StringOfN(rapid.SampledFrom([]rune("0123456789....-x, ")), 0, 9, -1).Draw(rt, "text")
		volts, size := decimal(word(text+",       "), ',')
		field, _, _ := strings.Cut(text, ",")
		want, err := record.ParseReading(field)
		plain := regexp.MustCompile(`^[0-9]{1,7}$|^[0-9]+[.][0-9]+$`).MatchString(field) && len(field) <= 7
		if plain != (size > 0) || plain && (err != nil || size != len(field) || volts != want.Volts) {
			rt.Fatalf("%q: %v and %d bytes, want %v %v", field, volts, size, want, err)
		}
	})
}

// Bytes that ids are not made of, and the delimiter, are found wherever they stand.
func TestUsualBytes(t *testing.T) {
	for _, end := range []byte(",;\t|\n") {
		for c := range 256 {
			for at := range 8 {
				text := []byte("VI-100_z")
				text[at] = byte(c)
				want := at
				if c >= '-' && c <= 'z' && byte(c) != end {
					want = 8
				}
				if got := usualBytes(word(string(text)), end); got != want {
					t.Errorf("%q before %q: %d, want %d", text, end, got, want)
				}
			}
		}
	}
}

// Oracle: record.ParseInstant, but for the second 60, which is left to it.
func TestSecondOfDay(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		digit := rapid.SampledFrom([]byte("0123456789:/;9\x00\xb0"))
		text := []byte("00:00:00")
		for i := range text {
			if text[i] != ':' || rapid.IntRange(0, 9).Draw(rt, "colon") == 0 {
				text[i] = digit.Draw(rt, "digit")
			}
		}
		second, ok := secondOfDay(word(string(text)))
		want, err := record.ParseInstant("1970-01-01T" + string(text) + "Z")
		if ok != (err == nil) || ok && second != want.Unix() {
			rt.Fatalf("%q: %d %v, want %v %v", text, second, ok, want, err)
		}
	})
	if _, ok := secondOfDay(word("23:59:60")); ok {
		t.Error("a leap second was read as any other")
	}
}

// A decoder that has seen no date and no offset yet takes none for known: bytes of any
// one value in their place are no time.
func TestTimeBeforeAnyIsKnown(t *testing.T) {
	layout, err := Bind("record,time,event,indicator,source,from,to,volts\n", "a.csv", nil)
	if err != nil {
		t.Fatal(err)
	}
	for b := range 256 {
		date, offset := strings.Repeat(string([]byte{byte(b)}), len("2026-03-02T")), strings.Repeat(string([]byte{byte(b)}), len("+01:00"))
		d := NewDecoder(layout, "a.csv")
		for _, row := range []string{
			"R1," + date + "08:05:02Z,prove,VI-1,PU-1,,,249.1\n",
			"R1,2026-03-02T08:05:02Z,prove,VI-1,PU-1,,,249.1\n",
			"R1,2026-03-02T08:05:02" + offset + ",prove,VI-1,PU-1,,,249.1\n",
		} {
			text := row + strings.Repeat(" ", 100) // which the fast way wants behind a row
			var ev record.Event
			_, _, outcome := d.Next(text, 2, &ev)
			if good := strings.Contains(row, "02T08:05:02Z,"); good != (outcome == Decoded) {
				t.Errorf("%q: outcome %d, %v", row, outcome, ev.Time)
			}
		}
	}
}
