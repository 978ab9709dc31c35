package report

import (
	"cmp"
	"math"
	"slices"
)

// A FleetPicture shows who was proved on whom, and how often: a row for each indicator,
// a column for each proving unit, and a disc where they met, whose area is the number of
// proofs.
type FleetPicture struct {
	Title      string // what there is to know, in a line
	Text       string // what can be seen, for who cannot
	Indicators []FleetMember
	Units      []FleetMember
	Pairs      []FleetPair
}

// A FleetMember is an instrument of the picture.
type FleetMember struct {
	ID    string
	Word  string // its state; blank where there is nothing to say
	Heavy bool   // the word is set in bold
	Part  int    // instruments of different parts cannot be compared; below 0 for none
}

// A FleetPair is two instruments that were proved on each other.
type FleetPair struct {
	Indicator, Unit string
	Proofs          int
}

// The most rows and columns of a fleet picture: more could not be read. Those with most
// proofs are shown.
const (
	mostRows    = 120
	mostColumns = 40
)

// Lengths of a fleet picture, in millimetres.
const (
	fleetCell  = 6.0
	fleetText  = 3.4
	fleetTitle = 4.4
	fleetEdge  = 2.0
	fleetGap   = 3.0 // between parts
)

// A fleetGrid is where the rows and columns stand.
type fleetGrid struct {
	rows, columns []FleetMember
	at            map[string]float64 // the middle of a row or column
	left, top     float64            // of the field
	right, bottom float64
	proofs        map[string]int
	most          int // proofs of one pair
}

// Picture returns the picture.
func (f *FleetPicture) Picture() Picture {
	g := f.layOut()
	d := &drawing{title: f.Title, text: f.Text}
	sums := 10.0
	d.width = max(g.right+sums+fleetEdge, 80)
	title := lay(stress(f.Title), fleetTitle, d.width-2*fleetEdge)
	above := float64(len(title))*fleetTitle*1.3 + fleetEdge
	g.shift(above)
	d.height = g.bottom + 14 + fleetEdge
	d.box(0, 0, d.width, d.height, white, noInk, 0)
	for i, line := range title {
		d.add(label{x: fleetEdge, y: fleetEdge + fleetTitle*(1+1.3*float64(i)), size: fleetTitle, words: stress(textOf(line)), ink: black})
	}
	f.drawNames(d, g)
	f.drawPairs(d, g)
	return Picture{d}
}

// textOf returns the characters of a line.
func textOf(l textLine) string {
	var out []rune
	for _, g := range l.glyphs {
		out = append(out, g.r)
	}
	return string(out)
}

// layOut chooses the rows and columns and gives them their places.
func (f *FleetPicture) layOut() *fleetGrid {
	g := &fleetGrid{at: map[string]float64{}, proofs: map[string]int{}}
	for _, p := range f.Pairs {
		g.proofs["i"+p.Indicator] += p.Proofs
		g.proofs["u"+p.Unit] += p.Proofs
		g.most = max(g.most, p.Proofs)
	}
	g.rows = mostProved(f.Indicators, mostRows, func(id string) int { return g.proofs["i"+id] })
	g.columns = mostProved(f.Units, mostColumns, func(id string) int { return g.proofs["u"+id] })
	for _, m := range g.rows {
		g.left = max(g.left, widthOf(memberWords(m), fleetText))
	}
	for _, m := range g.columns {
		g.top = max(g.top, widthOf(memberWords(m), fleetText))
	}
	g.left += fleetEdge + 2
	g.top += fleetEdge + 2
	g.right = lineUp(g.columns, g.left, func(m FleetMember, at float64) { g.at["u"+m.ID] = at })
	g.bottom = lineUp(g.rows, g.top, func(m FleetMember, at float64) { g.at["i"+m.ID] = at })
	return g
}

// shift moves all down by a length.
func (g *fleetGrid) shift(by float64) {
	g.top, g.bottom = g.top+by, g.bottom+by
	for _, m := range g.rows {
		g.at["i"+m.ID] += by
	}
}

// mostProved returns so many members with most proofs, part by part, in the order of their ids.
func mostProved(list []FleetMember, most int, proofs func(string) int) []FleetMember {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b FleetMember) int { return proofs(b.ID) - proofs(a.ID) })
	list = list[:min(len(list), most)]
	slices.SortStableFunc(list, func(a, b FleetMember) int {
		part := func(m FleetMember) int {
			if m.Part < 0 {
				return math.MaxInt
			}
			return m.Part
		}
		return cmp.Or(cmp.Compare(part(a), part(b)), cmp.Compare(a.ID, b.ID))
	})
	return list
}

// lineUp gives members their places from a start on and returns the end.
func lineUp(list []FleetMember, start float64, at func(FleetMember, float64)) float64 {
	for i, m := range list {
		if i > 0 && m.Part != list[i-1].Part {
			start += fleetGap
		}
		at(m, start+fleetCell/2)
		start += fleetCell
	}
	return start
}

// memberWords is what stands beside a row or above a column.
func memberWords(m FleetMember) words {
	w := given(m.ID)
	switch {
	case m.Word == "":
		return w
	case m.Heavy:
		return w.and(say("  "), stress(m.Word))
	}
	return w.and(say("  " + m.Word))
}

// drawNames draws the names, the lines that lead the eye, and the sums.
func (f *FleetPicture) drawNames(d *drawing, g *fleetGrid) {
	low := fleetText * 0.35 // from the middle of letters to their base line
	for _, m := range g.rows {
		y := g.at["i"+m.ID]
		d.line(g.left, y, g.right, y, 0.15, pale)
		d.add(label{x: g.left - 2, y: y + low, size: fleetText, words: memberWords(m), align: atRight, ink: black},
			label{x: g.right + 2, y: y + low, size: fleetText, words: say("%d", g.proofs["i"+m.ID]), ink: dark})
	}
	for _, m := range g.columns {
		x := g.at["u"+m.ID]
		d.line(x, g.top, x, g.bottom, 0.15, pale)
		d.add(label{x: x + low, y: g.top - 2, size: fleetText, words: memberWords(m), ink: black, turned: true},
			label{x: x + low, y: g.bottom + 2, size: fleetText, words: say("%d", g.proofs["u"+m.ID]), align: atRight, ink: dark, turned: true})
	}
}

// drawPairs draws the discs.
func (f *FleetPicture) drawPairs(d *drawing, g *fleetGrid) {
	for _, p := range f.Pairs {
		x, known := g.at["u"+p.Unit]
		y, also := g.at["i"+p.Indicator]
		if known && also && p.Proofs > 0 {
			r := 0.47 * fleetCell * math.Sqrt(float64(p.Proofs)/float64(g.most))
			d.add(circle{x: x, y: y, r: max(r, 0.25), fill: mid, stroke: black, width: 0.2})
		}
	}
}
