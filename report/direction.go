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
	var p bidi.Paragraph
	if _, err := p.SetString(string(text)); err != nil {
		return out
	}
	order, err := p.Order()
	if err != nil {
		return out
	}
	base := baseLevel(text)
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
		switch classOf(r) {
		case bidi.L:
			return 0
		case bidi.R, bidi.AL:
			return 1
		}
	}
	return 0
}

func classOf(r rune) bidi.Class {
	p, _ := bidi.LookupRune(r)
	return p.Class()
}

// isNumeric reports whether place k of a run that ends at end belongs to a number:
// a digit, or a sign within or behind one.
func isNumeric(text []rune, k, end int) bool {
	switch classOf(text[k]) {
	case bidi.EN, bidi.AN:
		return true
	case bidi.ET, bidi.NSM:
		return k > 0
	case bidi.ES, bidi.CS:
		next := k + 1
		return next <= end && (classOf(text[next]) == bidi.EN || classOf(text[next]) == bidi.AN)
	}
	return false
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
