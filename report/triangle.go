package report

import (
	"slices"

	"nilvolt/record"
	"nilvolt/verify"
)

// A Triangle is the required pairs of one point of the equipment as they are drawn: a
// row for each conductor, and position of its switch, a column for each conductor
// behind it, and where they meet what the record shows of that pair.
type Triangle struct {
	Point   string // blank where the equipment has one point only
	Rows    []TriangleRow
	Columns []record.Conductor
	Cells   map[TriangleRow]map[record.Conductor]verify.PairState
	Dead    int // how many pairs are dead and proved
	Pairs   int
}

// A TriangleRow is a conductor, in one position of its switch if that matters.
type TriangleRow struct {
	Conductor record.Conductor
	Position  record.Switch
}

// String returns the conductor with its position, as in "SL1 on".
func (r TriangleRow) String() string {
	if r.Position == record.SwitchUnknown {
		return r.Conductor.String()
	}
	return r.Conductor.String() + " " + r.Position.String()
}

// Triangles sorts pairs, which stand in the order of [verify.Judgement.Pairs], by the
// point that they were required at.
func Triangles(pairs []verify.PairState) []*Triangle {
	var all []*Triangle
	for _, p := range pairs {
		i := slices.IndexFunc(all, func(t *Triangle) bool { return t.Point == p.Tested.Point })
		if i < 0 {
			i = len(all)
			all = append(all, &Triangle{Point: p.Tested.Point, Cells: map[TriangleRow]map[record.Conductor]verify.PairState{}})
		}
		all[i].add(p)
	}
	for _, t := range all {
		t.sortColumns()
	}
	return all
}

func (t *Triangle) add(p verify.PairState) {
	row := TriangleRow{p.Tested.Pair.A, p.Tested.Switch}
	if t.Cells[row] == nil {
		t.Cells[row] = map[record.Conductor]verify.PairState{}
		t.Rows = append(t.Rows, row)
	}
	column := p.Tested.Pair.B
	if !slices.Contains(t.Columns, column) {
		t.Columns = append(t.Columns, column)
	}
	t.Cells[row][column] = p
	t.Pairs++
	if p.State == verify.Good {
		t.Dead++
	}
}

// sortColumns brings the columns into the order of the rows. A conductor that begins
// no row is behind every other in the order of pairs.
func (t *Triangle) sortColumns() {
	place := func(c record.Conductor) int {
		if i := slices.IndexFunc(t.Rows, func(r TriangleRow) bool { return r.Conductor == c }); i >= 0 {
			return i
		}
		return len(t.Rows)
	}
	slices.SortStableFunc(t.Columns, func(a, b record.Conductor) int { return place(a) - place(b) })
}
