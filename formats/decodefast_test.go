package formats

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nilvolt/record"
)

// A repeat knows the field that it has learnt and no other, but where the text ends
// within a word's length, where it knows none.
func TestRepeat(t *testing.T) {
	var none repeat
	if none.begins("R1,2026-03-02") {
		t.Error("the zero repeat knows a field")
	}
	rapid.Check(t, func(rt *rapid.T) {
		field := rapid.StringOfN(rapid.SampledFrom([]rune("ab,")), 1, 20, -1).Draw(rt, "field")
		other := []byte(field)
		if rapid.Bool().Draw(rt, "differs") {
			other[rapid.IntRange(0, len(other)-1).Draw(rt, "where")] ^= 1
		}
		text := string(other) + rapid.StringOfN(rapid.SampledFrom([]rune("ab,")), 0, 10, -1).Draw(rt, "rest")
		var r repeat
		r.learn(rapid.StringOfN(rapid.SampledFrom([]rune("ab,")), 1, 20, -1).Draw(rt, "before"))
		r.learn(field)
		got := r.begins(text) && (r.short || r.ends(text))
		if want := strings.HasPrefix(text, field) && len(text) >= 8; got != want {
			rt.Fatalf("%q in %q: %v, want %v", field, text, got, want)
		}
	})
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
