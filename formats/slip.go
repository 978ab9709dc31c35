package formats

import (
	"fmt"
	"strings"
)

// slipOf returns the column of the set that the name of an unknown column is taken for
// by a slip: one letter more, less, other or changed with its neighbour, or blanks where
// none belong. The header does not have that column itself. NoColumn means none, and
// columns that decide nothing and names under four letters are not looked at.
func (s *columnSet) slipOf(name string, seen map[string]int) Column {
	name = strings.ReplaceAll(foldName(name), "_", "")
	for c := NoColumn + 1; c < NumColumns; c++ {
		want := strings.ReplaceAll(c.String(), "_", "")
		if s.has(c) && len(want) >= 4 && !c.isFreeText() && seen[c.String()] == 0 && isSlip(name, want) {
			return c
		}
	}
	return NoColumn
}

// isSlip reports whether a becomes b by at most one insertion, deletion, substitution or
// exchange of neighbours (F. J. Damerau, 1964).
func isSlip(a, b string) bool {
	for a != "" && b != "" && a[0] == b[0] {
		a, b = a[1:], b[1:]
	}
	for a != "" && b != "" && a[len(a)-1] == b[len(b)-1] {
		a, b = a[:len(a)-1], b[:len(b)-1]
	}
	swapped := len(a) == 2 && len(b) == 2 && a[0] == b[1] && a[1] == b[0]
	return len(a) <= 1 && len(b) <= 1 || swapped
}

// slips says which unknown columns of a header are canonical ones with a slip in the
// name: to pass over them would leave out what speaks against a record.
func (l *Layout) slips(header []Field, set *columnSet, seen map[string]int) []*Problem {
	var problems []*Problem
	for i, f := range header {
		if l.Columns[i] != NoColumn || strings.TrimSpace(f.Text) == "" {
			continue
		}
		if c := set.slipOf(f.Text, seen); c != NoColumn {
			problems = append(problems, &Problem{
				Column: f.Column, Field: "header", Text: f.Text,
				Message: fmt.Sprintf("no column of %s, and nearly %s", set.what, c),
				Mend:    fmt.Sprintf("write %s; if it is something else, read the file through a map with  ignore: [%q]", c, strings.TrimSpace(f.Text)),
			})
		}
	}
	return problems
}
