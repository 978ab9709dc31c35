package report

import (
	"fmt"
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// The pair picture is a triangle. What was shown dead and proved is a white field and
// recedes; everything else is dark, or crossed out, and has its word in capitals. Where
// words do not fit, a letter stands for each, with a legend.

// mostConductors is how many rows and columns a picture may have; beyond it nobody
// sees anything at a glance.
const mostConductors = 60

// A face of a state is how it is written in a picture.
type stateFace struct {
	word   string
	letter string
	fill   ink
	text   ink
	cross  bool // a line from corner to corner: there is nothing
}

func faceOf(s verify.State) stateFace {
	switch s {
	case verify.Good:
		return stateFace{"dead", "d", white, dark, false}
	case verify.Missing:
		return stateFace{"MISSING", "M", white, black, true}
	case verify.LiveRead:
		return stateFace{"LIVE", "L", black, white, false}
	case verify.Residual:
		return stateFace{"RESIDUAL", "R", dark, white, false}
	case verify.Unproved:
		return stateFace{"UNPROVED", "U", pale, black, false}
	case verify.Unread:
		return stateFace{"UNREADABLE", "X", pale, black, false}
	case verify.CannotShow:
		return stateFace{"NOT SHOWN", "N", pale, black, false}
	}
	return stateFace{strings.ToUpper(s.String()), "?", black, white, false} // never like dead
}

// StateWord returns the word of a state in pictures and the letter where there is no
// room for it. Dead stands in small letters and recedes; everything else in capitals.
func StateWord(s verify.State) (word, letter string) {
	f := faceOf(s)
	return f.word, f.letter
}

// States are all states, in the order in which a legend tells them.
var States = []verify.State{
	verify.Good, verify.Missing, verify.LiveRead, verify.Residual, verify.Unproved, verify.Unread, verify.CannotShow,
}

// pairPictures draws the pairs, a picture a point; points where every pair is dead and
// proved are named in the words that come back instead, where there are several.
func pairPictures(pairs []verify.PairState, most float64) (blocks []block) {
	all := Triangles(pairs)
	var whole []string
	for _, t := range all {
		switch {
		case len(all) > 1 && t.Dead == t.Pairs:
			whole = append(whole, pointName(t.Point))
			continue
		case len(t.Rows) > mostConductors || len(t.Columns) > mostConductors:
			blocks = append(blocks, tooManyPairs(t))
			continue
		}
		f := figure{drawing: t.draw(most)}
		if len(all) > 1 {
			f.caption = say("At ").and(given(pointName(t.Point)), say("."))
		}
		blocks = append(blocks, f)
	}
	if len(whole) > 0 {
		blocks = append(blocks, paragraph{text: say("Every pair dead and proved at ").and(given(strings.Join(whole, ", ")), say("."))})
	}
	return blocks
}

func pointName(point string) string {
	if point == "" {
		return "no named point"
	}
	return point
}

// tooManyPairs lists in words what a picture would show.
func tooManyPairs(t *Triangle) block {
	var bad []string
	for _, r := range t.Rows {
		for _, c := range t.Columns {
			if p, ok := t.Cells[r][c]; ok && p.State != verify.Good {
				bad = append(bad, p.Tested.String()+" "+faceOf(p.State).word)
			}
		}
	}
	text := say("%d of %d pairs dead and proved: too many for a picture.", t.Dead, t.Pairs)
	if len(bad) > 0 {
		text = text.and(say(" Not so: "), given(strings.Join(bad, ", ")), say("."))
	}
	return paragraph{text: text}
}

// draw draws the triangle, at most so many millimetres wide.
func (t *Triangle) draw(most float64) *drawing {
	const size = 2.8 // of the names
	label := 0.0
	for _, r := range t.Rows {
		label = max(label, widthOf(given(r.String()), size))
	}
	label = min(label, most/4) + 2
	cell := (most - label) / float64(len(t.Columns))
	words := cell >= t.wordsNeed()
	height, head := 6.4, size+1.2
	if words {
		cell = min(cell, 26)
	} else {
		cell = min(cell, 6)
		height = cell
		for _, c := range t.Columns {
			head = max(head, min(widthOf(given(c.String()), size), 22)+1.6)
		}
	}
	d := &drawing{
		width: label + cell*float64(len(t.Columns)), height: head + height*float64(len(t.Rows)) + 0.3,
		title: "Pair picture", text: t.inWords(),
	}
	for i, c := range t.Columns {
		at := label + cell*(float64(i)+0.5)
		if words {
			d.add(named(given(c.String()), at, head-1.2, size, cell, atCentre, false))
		} else {
			d.add(named(given(c.String()), at+size*0.35, head-1, min(size, cell*0.8), head, atLeft, true))
		}
	}
	for i, r := range t.Rows {
		top := head + height*float64(i)
		d.add(named(given(r.String()), 0, top+height/2+size*0.35, min(size, height*0.8), label-1, atLeft, false))
		for k, c := range t.Columns {
			if p, ok := t.Cells[r][c]; ok {
				d.pair(p, label+cell*float64(k), top, cell, height, words)
			}
		}
	}
	if !words {
		t.legend(d, size)
	}
	return d
}

// named is a label whose text is cut where it is too long.
func named(w words, x, y, size, room float64, a align, turned bool) label {
	return label{x: x, y: y, size: size, words: fit(w, size, room), align: a, ink: black, turned: turned}
}

// fit cuts words where they are wider than the room, with an ellipsis in the place of
// what is cut. A picture's words stand whole elsewhere in the document.
func fit(w words, size, room float64) words {
	if len(w) == 0 || widthOf(w, size) <= room {
		return w
	}
	one := w[0]
	runes := []rune(one.text)
	for n := len(runes) - 1; n > 0; n-- {
		one.text = string(runes[:n]) + "…"
		if widthOf(words{one}, size) <= room {
			return words{one}
		}
	}
	return words{{text: "…"}}
}

// wordsNeed is how wide a cell must be for the words of its states.
func (t *Triangle) wordsNeed() float64 {
	need := 8.0
	for _, row := range t.Cells {
		for _, p := range row {
			need = max(need, widthOf(stress(faceOf(p.State).word), 2.5)+1.5)
		}
	}
	return need
}

// pair draws one pair into its field.
func (d *drawing) pair(p verify.PairState, x, y, w, h float64, inWords bool) {
	f := faceOf(p.State)
	stroke := 0.2
	if p.State != verify.Good {
		stroke = 0.5
	}
	d.box(x, y, w, h, f.fill, black, stroke)
	if !inWords {
		if f.cross {
			d.line(x, y, x+w, y+h, 0.15, mid)
		}
		d.add(label{x: x + w/2, y: y + h/2 + h*0.22, size: h * 0.62, words: words{{text: f.letter, bold: p.State != verify.Good}}, align: atCentre, ink: f.text})
		return
	}
	if f.cross {
		d.line(x, y, x+w, y+h, 0.2, pale)
		d.line(x+w, y, x, y+h, 0.2, pale)
	}
	line := y + h/2 + 0.9
	if p.Printed != "" {
		line = y + h/2 - 0.3
		d.add(label{x: x + w/2, y: y + h - 1, size: 2.3, words: fit(given(printed(p.Printed)), 2.3, w-1), align: atCentre, ink: f.text})
	}
	d.add(label{x: x + w/2, y: line, size: 2.5, words: words{{text: f.word, bold: p.State != verify.Good}}, align: atCentre, ink: f.text})
}

// printed is what an indicator showed, in its field: a number with its unit, or a word.
func printed(text string) string {
	if strings.EqualFold(text, record.StageNone.String()) {
		return "no step lit"
	}
	return inVolts(text)
}

// legend says what the letters stand for.
func (t *Triangle) legend(d *drawing, size float64) {
	used := map[verify.State]bool{}
	for _, row := range t.Cells {
		for _, p := range row {
			used[p.State] = true
		}
	}
	x, y := 0.0, d.height+size+0.6
	for _, s := range States {
		if !used[s] {
			continue
		}
		w := say("%s = %s", faceOf(s).letter, faceOf(s).word)
		width := widthOf(w, size) + 4
		if x > 0 && x+width > d.width {
			x, y = 0, y+size*1.4
		}
		d.add(label{x: x, y: y, size: size, words: w, ink: black})
		x += width
	}
	d.height = y + 1
}

// inWords says what the picture shows.
func (t *Triangle) inWords() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d of %d pairs dead and proved.", t.Dead, t.Pairs)
	for _, r := range t.Rows {
		for _, c := range t.Columns {
			if p, ok := t.Cells[r][c]; ok && p.State != verify.Good {
				fmt.Fprintf(&b, " %s %s.", p.Tested, faceOf(p.State).word)
			}
		}
	}
	return b.String()
}
