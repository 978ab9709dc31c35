package formats

import (
	"fmt"
	"slices"
	"strings"
)

// What a column holds can be guessed from its cells where its name says nothing.
// Such a guess is never sure: it is written as a comment, ready to be used.

// everyCell reports whether a column has cells, and all of them are so.
func (g *guesser) everyCell(at int, is func(cell string) bool) bool {
	cells := g.cells(at)
	return len(cells) > 0 && !slices.ContainsFunc(cells, func(cell string) bool { return !is(cell) })
}

// byCells returns the columns not spoken of yet whose cells are all so.
func (g *guesser) byCells(is func(cell string) bool) []int {
	var ats []int
	for at, used := range g.used {
		if !used && g.everyCell(at, is) {
			ats = append(ats, at)
		}
	}
	return ats
}

func isEventCell(cell string) bool {
	_, known := guessWord(EventColumn, cell)
	return known
}

func isConductorCell(cell string) bool {
	_, known := guessWord(FromColumn, cell)
	return known
}

// isCount reports whether a cell is a number of things.
func isCount(cell string) bool { return cell != "" && strings.Trim(cell, "0123456789") == "" }

func isPairCell(cell string) bool {
	parts := pairParts(cell)
	return len(parts) != 1 && !slices.ContainsFunc(parts, func(part string) bool { return !isConductorCell(part) })
}

// guessEventByCells proposes the column whose cells are events.
func (g *guesser) guessEventByCells() {
	ats := g.byCells(isEventCell)
	if len(ats) != 1 {
		g.doubt("#   event: {value: test}", "no column tells the event: give one for all rows if they are all of one kind")
		return
	}
	g.propose(EventColumn, ats[0], "its name does not say so, but every cell is an event")
}

// guessPairByCells proposes the column whose cells are pairs, or the two columns
// whose cells are conductors.
func (g *guesser) guessPairByCells() {
	if ats := g.byCells(isPairCell); len(ats) == 1 {
		g.found[PairColumn] = ats
		g.propose(PairColumn, ats[0], "its name does not say so, but every cell is a pair of conductors")
		return
	}
	if ats := g.byCells(isConductorCell); len(ats) == 2 {
		g.found[FromColumn], g.found[ToColumn] = ats[:1], ats[1:]
		const why = "its name does not say so, but every cell is a conductor; from is the probe placed first"
		g.propose(FromColumn, ats[0], why)
		g.propose(ToColumn, ats[1], why)
		return
	}
	g.doubt("#   pair: ?", "no column tells the conductors of a dead test")
}

// propose writes a column of words as a comment.
func (g *guesser) propose(c Column, at int, why string) {
	g.used[at] = true
	source, options := g.ref(at), g.wordOptions(c, at)
	if options != "" {
		source = fmt.Sprintf("{column: %s, %s}", source, options)
	}
	g.doubt(fmt.Sprintf("#   %s: %s", c, source), g.describe(at)+": "+why)
}

// wordOptions are the translations of a column of words, and what divides a pair.
func (g *guesser) wordOptions(c Column, at int) string {
	var options []string
	if words, _ := g.translations(c, g.cells(at)); len(words) > 0 {
		options = append(options, "words: {"+strings.Join(words, ", ")+"}")
	}
	if c == PairColumn {
		if separator := g.pairSeparator(at); separator != "" {
			options = append(options, "separator: "+yamlQuote(separator))
		}
	}
	return strings.Join(options, ", ")
}
