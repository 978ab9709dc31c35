package report

import "unicode"

// Joiner and non-joiner make letters join, or not, where they otherwise would not, or
// would; nothing is drawn for them.
const (
	nonJoiner = '\u200c'
	joiner    = '\u200d'
	tatweel   = '\u0640'
)

// gone stands where a character has become part of the one before it.
const gone rune = -1

const (
	lam  = '\u0644'
	alef = '\u0627'
)

// isArabic reports whether r is a letter that has forms, or a mark upon one.
func isArabic(r rune) bool { return r >= 0x0600 && r < 0x0700 }

// joinArabic puts in the place of each Arabic letter the form that it takes between
// its neighbours; a lam and its alef become one sign and gone.
// Source: The Unicode Standard, section 9.2, rules R1 to R7 of cursive joining.
func joinArabic(text []rune) {
	forms := make([]rune, len(text))
	copy(forms, text)
	for i, r := range text {
		form, ok := joined[r]
		if !ok || forms[i] == gone {
			continue
		}
		before := joinsOn(text, i)
		next := behind(text, i)
		if ligature, is := lamAlef[runeAt(text, next)]; r == lam && is && next == i+1 {
			forms[i], forms[next] = ligature[bit(before)], gone
			continue
		}
		forms[i] = pick(form, before, joinsBack(runeAt(text, next)))
	}
	copy(text, forms)
}

// pick returns the form for what joins before and behind, or the next best.
func pick(form [4]rune, before, after bool) rune {
	for _, i := range []int{bit(before) + 2*bit(after), bit(before), 0} {
		if form[i] != 0 {
			return form[i]
		}
	}
	return form[1]
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// joinsOn reports whether the letter before place i joins on to it.
func joinsOn(text []rune, i int) bool {
	for i--; i >= 0; i-- {
		r := text[i]
		if unicode.Is(unicode.Mn, r) {
			continue
		}
		form, ok := joined[r]
		return r == joiner || r == tatweel || ok && form[2] != 0
	}
	return false
}

// behind returns the place of the next letter behind i, marks left out.
func behind(text []rune, i int) int {
	for i++; i < len(text) && unicode.Is(unicode.Mn, text[i]); i++ {
	}
	return i
}

// joinsBack reports whether a letter joins to the one before it.
func joinsBack(r rune) bool {
	form, ok := joined[r]
	return r == joiner || r == tatweel || ok && form[1] != 0
}

func runeAt(text []rune, i int) rune {
	if i < len(text) {
		return text[i]
	}
	return 0
}
