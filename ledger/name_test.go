package ledger

import (
	"errors"
	"testing"
)

// Source: UTS #39, 5.1, the examples of its table, from memory; and names of one person
// in one script for each word, which are no mixture.
func TestCheckName(t *testing.T) {
	for name, mixed := range map[string]bool{
		"Circle":                               false,
		"\u0421\u0456\u0433\u0441\u04c0\u0435": false, // all Cyrillic
		"\u0421ir\u0441l\u0435":                true,  // Cyrillic and Latin
		"Circ1e":                               false,
		"C\U0001d5c2\U0001d5cb\U0001d5bc\U0001d5c5\U0001d5be": false, // mathematical letters are compatible with Latin ones
		"\u3006\u5207":             false, // Han
		"\u306d\u30ac":             false, // Hiragana and Katakana
		"\u7530\u4e2d\u3055\u3093": false,
		"Ad\u0430":                 true,  // the last letter is Cyrillic
		"\u0391da":                 true,  // the first one is Greek
		"A. \u0410\u0434\u0430":    false, // a word each
		"Jos\u00e9 O\u2019Neill-\u00c5str\u00f6m": false,
		"Jose\u0301": false, // a mark belongs to any script
		"Ada 2":      false,
	} {
		err := checkName(name)
		if _, ok := errors.AsType[*NameError](err); ok != mixed {
			t.Errorf("%q: %v", name, err)
		}
	}
	if got := checkName("Ad\u0430").Error(); got != `"Adа" mixes letters of Cyrillic and Latin, which may look alike` {
		t.Error(got)
	}
}

func TestSameName(t *testing.T) {
	for _, c := range []struct {
		a, b string
		same bool
	}{
		{"Ada", " ada ", true},
		{"A. Reviewer", "A Reviewer", true},
		{"A. Reviewer", "AReviewer", true},
		{"Ada", "\uff21\uff44\uff41", true}, // fullwidth letters
		{"Ada", "A\u200bda", true},          // a space of no width
		{"Ada", "A\u00adda", true},          // a soft hyphen
		{"Jos\u00e9", "JOSE\u0301", true},
		{"Stra\u00dfer", "STRASSER", true},
		{"Jos\u00e9", "Jose", false},
		{"Ada", "Bo", false},
		{"Ada 1", "Ada 2", false},
	} {
		if got := sameName(c.a, c.b); got != c.same {
			t.Errorf("%q and %q: %v", c.a, c.b, got)
		}
	}
}
