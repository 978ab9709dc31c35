package report

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// shown returns a line as it is seen, from left to right.
func shown(l textLine) string {
	var b strings.Builder
	for i := range l.glyphs {
		b.WriteRune(l.glyphs[i].r)
	}
	return b.String()
}

// The expected order is that of the examples of Unicode Standard Annex 9, written with
// Hebrew letters in the place of its capitals, and of a browser's rendering.
func TestDirection(t *testing.T) {
	tests := []struct {
		name  string
		words words
		want  string
	}{
		{"left to right", given("car 12"), "car 12"},
		{"right to left", given("\u05d0\u05d1\u05d2 \u05d3"), "\u05d3 \u05d2\u05d1\u05d0"},
		{"a number within", given("\u05d0\u05d1 12 \u05d2"), "\u05d2 12 \u05d1\u05d0"},
		{"left to right first", given("car \u05d0\u05d1 12"), "car 12 \u05d1\u05d0"},
		{"a number, then letters", given("\u05d0 12 car"), "car 12 \u05d0"},
		{"own text begins with a foreign name", words{{text: "\u05d0\u05d1 is it"}}, "\u05d1\u05d0 is it"},
		{"a foreign name within", say("is ").and(given("\u05d0\u05d1-1"), say(", 230 V")), "is 1-\u05d1\u05d0, 230 V"},
		{"a decimal", given("\u05d0 1.5 \u05d1"), "\u05d1 1.5 \u05d0"},
		// The two examples of rule N0, as far as they begin with a letter from right to left.
		{"brackets of the letters within", given("\u05d0\u05d1 book(s)"), "book(s) \u05d1\u05d0"},
		{"brackets of the text", given("\u05d0 smith (fab \u05d1) \u05d2"), "\u05d2 (\u05d1 fab) smith \u05d0"},
		{"brackets of own text", say("see (\u05d0\u05d1) 12"), "see (\u05d1\u05d0) 12"},
		{"brackets turn round", given("\u05d0 (\u05d1)"), "(\u05d1) \u05d0"},
	}
	for _, test := range tests {
		if got := shown(lay(test.words, 10, 1000)[0]); got != test.want {
			t.Errorf("%s: %q is seen as %q, want %q", test.name, test.words.String(), got, test.want)
		}
	}
}

// Source: the forms of Unicode 15, UnicodeData.txt: U+0628 initial FE91, U+064A medial
// FEF4, U+062A final FE96, U+062F final FEAA, lam with alef FEFB, alef FE8D alone.
func TestArabicJoins(t *testing.T) {
	tests := []struct{ text, want string }{
		{"\u0628\u064a\u062a", "\ufe91\ufef4\ufe96"},
		{"\u0628\u062f", "\ufe91\ufeaa"},
		{"\u0644\u0627", "\ufefb" + string(gone)},
		{"\u062f\u0627", "\ufea9\ufe8d"},             // dal joins nothing behind it
		{"\u0628\u064e\u062f", "\ufe91\u064e\ufeaa"}, // a vowel sign between them
		{"\u0628\u200c\u062f", "\ufe8f\u200c\ufea9"}, // kept apart
		{"\u0628\u200d", "\ufe91\u200d"},             // made to join
	}
	for _, test := range tests {
		runes := []rune(test.text)
		joinArabic(runes)
		if got := string(runes); got != test.want {
			t.Errorf("%+q joins to %+q, want %+q", test.text, got, test.want)
		}
	}
}

func TestVisible(t *testing.T) {
	tests := []struct{ text, want string }{
		{"plain", "plain"},
		{"e\u0301", "\u00e9"},
		{"a\u202eb", "a[U+202E]b"},
		{"a\nb", "a ↵ b"},
		{"a\x00", "a[U+0000]"},
		{"a\u200db", "a[U+200D]b"},
		{"\u0628\u200c\u062f", "\u0628\u200c\u062f"},
		{"bad\xff", "bad\ufffd"},
	}
	for _, test := range tests {
		if got := visible(test.text); got != test.want {
			t.Errorf("%+q is shown as %+q, want %+q", test.text, got, test.want)
		}
	}
}

// What no font has is not dropped.
func TestCharactersWithoutAGlyph(t *testing.T) {
	if got, want := shown(lay(given("\u0915😀x"), 10, 1000)[0]), "[U+0915][U+1F600]x"; got != want {
		t.Errorf("shown as %q, want %q", got, want)
	}
}

// No line is wider than its room unless a single letter is, nothing is lost but blanks
// where a line ends, and every glyph is one that a font has.
func TestLay(t *testing.T) {
	letters := rapid.StringOf(rapid.RuneFrom([]rune("ab Wi-/_.,()12 \u05d0\u05d1\u0644\u0627\u0628\u064e\u4f60\u3002\u0301😀\u202e\u200c\n")))
	rapid.Check(t, func(t *rapid.T) {
		text := letters.Draw(t, "text")
		w := words{{text: text, data: rapid.Bool().Draw(t, "data"), bold: rapid.Bool().Draw(t, "bold")}}
		width := rapid.Float64Range(3, 80).Draw(t, "width")
		var was strings.Builder
		for _, l := range lay(w, 3, width) {
			if l.width > width+0.001 && len(l.glyphs) > 1 && !hasMark(l) {
				t.Fatalf("%q is %.2f wide, more than %.2f", shown(l), l.width, width)
			}
			for i := range l.glyphs {
				was.WriteString(l.glyphs[i].was)
				if _, ok := l.glyphs[i].face.advance(l.glyphs[i].r); !ok {
					t.Fatalf("no glyph for %U", l.glyphs[i].r)
				}
			}
		}
		want := 0
		for _, g := range shape(w) {
			want += utf8.RuneCountInString(strings.ReplaceAll(g.was, " ", ""))
		}
		if got := utf8.RuneCountInString(strings.ReplaceAll(was.String(), " ", "")); got != want {
			t.Fatalf("%d characters of %d are left", got, want)
		}
	})
}

func hasMark(l textLine) bool {
	for i := range l.glyphs {
		if l.glyphs[i].width == 0 {
			return true
		}
	}
	return false
}
