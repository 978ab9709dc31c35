package report

import (
	"slices"

	"golang.org/x/text/unicode/bidi"
)

// mark is the left-to-right mark, with which a text begins that is to run from left to
// right whatever stands first in it.
const mark = '\u200e'

// levels returns the embedding level of each character of a paragraph: even from left
// to right, odd from right to left. Own text runs from left to right, other text as its
// first letter does. Signs that embed or isolate do not occur: they are shown as their
// code points.
//
// The library tells directions only. Without such signs the level follows: within text
// from left to right it is 2 for numbers behind a letter from right to left, else 0 or 1.
// Source: Unicode Standard Annex 9, rules P2, P3, W1 to W7, N1, N2, I1, I2.
func levels(text []rune, own bool) []uint8 {
	out := make([]uint8, len(text))
	shift := 0
	if own {
		text = append([]rune{mark}, text...)
		shift = 1
	}
	base := baseLevel(text)
	text = settleBrackets(text, base)
	var p bidi.Paragraph
	if _, err := p.SetString(string(text)); err != nil {
		return out
	}
	order, err := p.Order()
	if err != nil {
		return out
	}
	for i := range order.NumRuns() {
		run := order.Run(i)
		start, end := run.Pos()
		number := base == 0 && i > 0
		for k := start; k <= end; k++ {
			level := uint8(1)
			if run.Direction() == bidi.LeftToRight {
				number = number && isNumeric(text, k, end)
				level = 2*base + 2*uint8(bit(number))
			}
			if k >= shift && k-shift < len(out) {
				out[k-shift] = level
			}
		}
	}
	return out
}

// baseLevel is the level of the paragraph: that of its first letter.
func baseLevel(text []rune) uint8 {
	for _, r := range text {
		if level, ok := strongLevel(r); ok {
			return level
		}
	}
	return 0
}

// strongLevel is the level of a letter, and whether r is one.
func strongLevel(r rune) (uint8, bool) {
	c := classOf(r)
	return uint8(bit(c == bidi.R || c == bidi.AL)), c == bidi.L || c == bidi.R || c == bidi.AL
}

// settleBrackets puts a letter in the place of each of two brackets that belong
// together, of the direction in which they are to run: that of the text where a letter
// of it stands between them, else that of the letters between them where the letter
// before them is of it too. The library takes no two brackets for a pair.
// Source: Unicode Standard Annex 9, rule N0.
func settleBrackets(text []rune, base uint8) []rune {
	out := slices.Clone(text)
	for _, pair := range bracketPairs(text) {
		between := map[uint8]bool{}
		for _, r := range text[pair[0]+1 : pair[1]] {
			if level, ok := strongLevel(r); ok {
				between[level] = true
			} else if c := classOf(r); c == bidi.EN || c == bidi.AN {
				between[1] = true
			}
		}
		if len(between) == 0 {
			continue
		}
		before := base
		for _, r := range slices.Backward(out[:pair[0]]) {
			if level, ok := strongLevel(r); ok {
				before = level
				break
			}
		}
		level := base
		if !between[base] && before != base {
			level = before
		}
		letter := [2]rune{'a', '\u05d0'}[level]
		out[pair[0]], out[pair[1]] = letter, letter
	}
	return out
}

// bracketPairs returns the places of brackets that belong together, by the first one.
// Source: Unicode Standard Annex 9, definition BD16.
func bracketPairs(text []rune) [][2]int {
	var open []int
	var pairs [][2]int
	for i, r := range text {
		p, _ := bidi.LookupRune(r)
		switch {
		case p.IsOpeningBracket():
			open = append(open, i)
		case p.IsBracket():
			for k, at := range slices.Backward(open) {
				if mirrored(text[at]) == r {
					pairs = append(pairs, [2]int{at, i})
					open = open[:k]
					break
				}
			}
		}
	}
	slices.SortFunc(pairs, func(a, b [2]int) int { return a[0] - b[0] })
	return pairs
}

func classOf(r rune) bidi.Class {
	p, _ := bidi.LookupRune(r)
	return p.Class()
}

// isNumeric reports whether place k of a run that ends at end belongs to a number:
// a digit, or a sign within or behind one.
func isNumeric(text []rune, k, end int) bool {
	isDigit := func(r rune) bool { c := classOf(r); return c == bidi.EN || c == bidi.AN }
	c := classOf(text[k])
	return isDigit(text[k]) || c == bidi.ET || c == bidi.NSM ||
		(c == bidi.ES || c == bidi.CS) && k < end && isDigit(text[k+1])
}

// visual returns the places of a line's characters in the order in which they are
// seen, from left to right.
// Source: Unicode Standard Annex 9, rule L2.
func visual(levels []uint8) []int {
	order := make([]int, len(levels))
	highest := uint8(0)
	for i, l := range levels {
		order[i] = i
		highest = max(highest, l)
	}
	for level := highest; level >= 1; level-- {
		for i := 0; i < len(levels); {
			if levels[order[i]] < level {
				i++
				continue
			}
			end := i
			for end < len(levels) && levels[order[end]] >= level {
				end++
			}
			slices.Reverse(order[i:end])
			i = end
		}
	}
	return order
}

// mirrored returns the sign that stands for r in text from right to left.
// Source: Unicode Standard Annex 9, rule L4.
func mirrored(r rune) rune {
	switch r {
	case '<':
		return '>'
	case '>':
		return '<'
	case '«':
		return '»'
	case '»':
		return '«'
	}
	for _, m := range bidi.ReverseString(string(r)) {
		return m
	}
	return r
}
