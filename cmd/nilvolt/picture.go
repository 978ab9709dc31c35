package main

import (
	"slices"
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// The pair picture is a triangle: a row for each conductor (and position of its
// switch), a column for each conductor behind it, and where they meet what the
// record shows of that pair. Dead stands in small letters and recedes;
// everything else stands in capitals.
//
//	      N        E
//	L     dead     MISSING
//	N              dead
//
// Where the words do not fit, a letter stands for each, with a legend.

// mostRows is how many rows a picture may have; beyond it nobody sees anything
// at a glance, and the findings name the pairs.
const mostRows = 60

// A face is how a state looks in a picture.
type face struct {
	state  verify.State
	word   string
	letter string
	ink    ink
}

var faces = [...]face{
	{verify.Good, "dead", "d", plainInk},
	{verify.Missing, "MISSING", "M", missingInk},
	{verify.LiveRead, "LIVE", "L", dangerInk},
	{verify.Residual, "RESIDUAL", "R", wrongInk},
	{verify.Unproved, "UNPROVED", "U", missingInk},
	{verify.Unread, "UNREADABLE", "X", missingInk},
	{verify.CannotShow, "NOT SHOWN", "N", missingInk},
}

// faceOf returns the face of s; one that it does not know never looks dead.
func faceOf(s verify.State) face {
	for _, f := range faces {
		if f.state == s {
			return f
		}
	}
	return face{s, strings.ToUpper(s.String()), "?", wrongInk}
}

// A pictureRow is a conductor, in one position of its switch if that matters.
type pictureRow struct {
	conductor record.Conductor
	position  record.Switch
}

func (r pictureRow) String() string {
	if r.position == record.SwitchUnknown {
		return r.conductor.String()
	}
	return r.conductor.String() + " " + r.position.String()
}

// A triangle is the pairs of one point of the equipment.
type triangle struct {
	point   string
	rows    []pictureRow
	columns []record.Conductor
	cells   map[pictureRow]map[record.Conductor]verify.State
	dead    int // how many pairs are dead and proved
	pairs   int
}

// triangles sorts pairs by the point that they were required at.
func triangles(pairs []verify.PairState) []*triangle {
	var all []*triangle
	for _, p := range pairs {
		i := slices.IndexFunc(all, func(t *triangle) bool { return t.point == p.Tested.Point })
		if i < 0 {
			i = len(all)
			all = append(all, &triangle{point: p.Tested.Point, cells: map[pictureRow]map[record.Conductor]verify.State{}})
		}
		all[i].add(p)
	}
	for _, t := range all {
		t.sortColumns()
	}
	return all
}

func (t *triangle) add(p verify.PairState) {
	row := pictureRow{p.Tested.Pair.A, p.Tested.Switch}
	if t.cells[row] == nil {
		t.cells[row] = map[record.Conductor]verify.State{}
		t.rows = append(t.rows, row)
	}
	column := p.Tested.Pair.B
	if !slices.Contains(t.columns, column) {
		t.columns = append(t.columns, column)
	}
	t.cells[row][column] = p.State
	t.pairs++
	if p.State == verify.Good {
		t.dead++
	}
}

// sortColumns brings the columns into the order of the rows. A conductor that
// begins no row is behind every other in the order of pairs.
func (t *triangle) sortColumns() {
	place := func(c record.Conductor) int {
		if i := slices.IndexFunc(t.rows, func(r pictureRow) bool { return r.conductor == c }); i >= 0 {
			return i
		}
		return len(t.rows)
	}
	slices.SortStableFunc(t.columns, func(a, b record.Conductor) int { return place(a) - place(b) })
}

// withLive returns the pairs as they are to be drawn. A live reading wipes the
// slate, so that its pair is missing until it is tested again; in a picture it
// must be seen as live.
func withLive(pairs []verify.PairState, findings []record.Finding) []verify.PairState {
	pairs = slices.Clone(pairs)
	for _, f := range findings {
		if f.Rule != record.LiveFoundRule {
			continue
		}
		for _, live := range f.Tested {
			for i := range pairs {
				t := &pairs[i].Tested
				if pairs[i].State == verify.Missing && t.Pair.Same(live.Pair) &&
					(live.Switch == record.SwitchUnknown || live.Switch == t.Switch) &&
					(live.Point == "" || live.Point == t.Point) {
					pairs[i].State = verify.LiveRead
				}
			}
		}
	}
	return pairs
}

// picture returns the lines of the pair picture, indented by indent columns.
func (t theme) picture(pairs []verify.PairState, indent int) string {
	var b strings.Builder
	all := triangles(pairs)
	var whole []string
	for _, tri := range all {
		if len(all) > 1 && tri.dead == tri.pairs {
			whole = append(whole, t.clean(tri.point))
			continue
		}
		if len(all) > 1 {
			b.WriteString(strings.Repeat(" ", indent) + "at " + t.clean(pointName(tri.point)) + "\n")
		}
		t.drawTriangle(&b, tri, indent)
	}
	if len(whole) > 0 {
		lead := strings.Repeat(" ", indent)
		t.hang(&b, lead, "every pair dead and proved at "+strings.Join(whole, ", "), plainInk)
	}
	return b.String()
}

func pointName(point string) string {
	if point == "" {
		return "no named point"
	}
	return point
}

func (t theme) drawTriangle(b *strings.Builder, tri *triangle, indent int) {
	label, word := 0, 0
	for _, r := range tri.rows {
		label = max(label, columnsOf(t.clean(r.String())))
		for _, s := range tri.cells[r] {
			word = max(word, len(faceOf(s).word))
		}
	}
	for _, c := range tri.columns {
		word = max(word, columnsOf(t.clean(c.String())))
	}
	left := indent + label + 2
	switch {
	case len(tri.rows) > mostRows || len(tri.columns) > mostRows:
		lead := strings.Repeat(" ", indent)
		t.hang(b, lead, number(tri.dead)+" of "+plural(tri.pairs, "pair")+" dead and proved: too many for a picture", plainInk)
	case left+len(tri.columns)*(word+2) <= t.width:
		t.drawWords(b, tri, indent, label, word)
	default:
		t.drawLetters(b, tri, indent, label)
	}
}

func (t theme) drawWords(b *strings.Builder, tri *triangle, indent, label, word int) {
	lead := strings.Repeat(" ", indent)
	var head strings.Builder
	head.WriteString(lead + pad("", label))
	for _, c := range tri.columns {
		head.WriteString("  " + pad(t.clean(c.String()), word))
	}
	b.WriteString(t.paint(quietInk, strings.TrimRight(head.String(), " ")) + "\n")
	for _, r := range tri.rows {
		b.WriteString(lead + t.paint(quietInk, pad(t.clean(r.String()), label)))
		gap := 2 // blanks before the next word
		for _, c := range tri.columns {
			s, ok := tri.cells[r][c]
			if !ok {
				gap += word + 2
				continue
			}
			f := faceOf(s)
			b.WriteString(strings.Repeat(" ", gap) + t.paint(f.ink, f.word))
			gap = word - len(f.word) + 2
		}
		b.WriteByte('\n')
	}
}

// drawLetters writes the names of the columns downwards and a letter a pair, in
// groups of five where blanks between all of them do not fit.
func (t theme) drawLetters(b *strings.Builder, tri *triangle, indent, label int) {
	lead := strings.Repeat(" ", indent)
	group := 5
	if indent+label+2+2*len(tri.columns) <= t.width {
		group = 1
	}
	t.letterHead(b, tri, lead+pad("", label+2), group)
	used := map[verify.State]bool{}
	for _, r := range tri.rows {
		b.WriteString(lead + t.paint(quietInk, pad(t.clean(r.String()), label)) + "  ")
		blank := ""
		for i, c := range tri.columns {
			s, ok := tri.cells[r][c]
			if !ok {
				blank += gapBefore(i, group) + " "
				continue
			}
			used[s] = true
			f := faceOf(s)
			b.WriteString(blank + gapBefore(i, group) + t.paint(f.ink, f.letter))
			blank = ""
		}
		b.WriteByte('\n')
	}
	var legend []string
	for _, f := range faces {
		if used[f.state] {
			legend = append(legend, f.letter+" = "+strings.ToLower(f.word))
		}
	}
	t.hang(b, lead, strings.Join(legend, ", "), quietInk)
}

// letterHead writes the names of the columns downwards.
func (t theme) letterHead(b *strings.Builder, tri *triangle, lead string, group int) {
	tallest := 0
	for _, c := range tri.columns {
		tallest = max(tallest, len(t.clean(c.String())))
	}
	for n := range tallest {
		var line strings.Builder
		line.WriteString(lead)
		for i, c := range tri.columns {
			line.WriteString(gapBefore(i, group) + letterAt(t.clean(c.String()), n))
		}
		b.WriteString(t.paint(quietInk, strings.TrimRight(line.String(), " ")) + "\n")
	}
}

// gapBefore returns the blank between two groups of columns.
func gapBefore(column, group int) string {
	if column > 0 && column%group == 0 {
		return " "
	}
	return ""
}

// letterAt returns the n-th letter of name, a blank behind its end.
func letterAt(name string, n int) string {
	for _, r := range name {
		if n == 0 {
			return string(r)
		}
		n--
	}
	return " "
}
