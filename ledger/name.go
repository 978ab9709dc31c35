package ledger

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// A NameError says that a word of a name mixes letters of several scripts. Some look
// alike, and one person could sign as two.
type NameError struct {
	Word    string
	Scripts []string // as Unicode calls them, sorted
}

// Error says so.
func (e *NameError) Error() string {
	return fmt.Sprintf("%q mixes letters of %s, which may look alike", e.Word, strings.Join(e.Scripts, " and "))
}

// checkName refuses a name with a word that mixes scripts. Source: UTS #39, 5.1,
// mixed-script detection, by the property Script; the scripts that Chinese, Japanese
// and Korean are written in together are no mixture.
func checkName(name string) error {
	notWord := func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsMark(r) && !unicode.IsDigit(r) }
	for word := range strings.FieldsFuncSeq(norm.NFKC.String(name), notWord) {
		var scripts []string
		for _, r := range word {
			for script, table := range unicode.Scripts {
				if script != "Common" && script != "Inherited" && unicode.Is(table, r) && !slices.Contains(scripts, script) {
					scripts = append(scripts, script)
				}
			}
		}
		if len(scripts) > 1 && !slices.ContainsFunc(writtenTogether, func(set []string) bool { return isSubset(scripts, set) }) {
			slices.Sort(scripts)
			return &NameError{word, scripts}
		}
	}
	return nil
}

// writtenTogether are the sets of scripts that one language is written in (UTS #39, 5.1).
var writtenTogether = [][]string{{"Han", "Hiragana", "Katakana"}, {"Han", "Bopomofo"}, {"Han", "Hangul"}}

func isSubset(list, of []string) bool {
	return !slices.ContainsFunc(list, func(s string) bool { return !slices.Contains(of, s) })
}

// sameName reports whether two names may be one person's: neither case, width and blanks
// nor anything else but letters, their marks and digits makes two people of one.
func sameName(a, b string) bool { return foldName(a) == foldName(b) }

// foldName returns what of a name tells people apart.
func foldName(name string) string {
	// Folded twice: a letter without case may become one with case, and the other way round.
	name = norm.NFKC.String(cases.Fold().String(norm.NFKC.String(cases.Fold().String(name))))
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsMark(r) || unicode.IsDigit(r) {
			return r
		}
		return -1
	}, name)
}
