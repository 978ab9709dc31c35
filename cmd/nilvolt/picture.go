package main

import (
	"slices"
	"strings"

	"nilvolt/record"
	"nilvolt/report"
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
	word   string
	letter string
	ink    ink
}

// faceOf returns the face of s, its words those of the sheets on paper; one that it
// does not know never looks dead.
func faceOf(s verify.State) face {
	f := face{ink: wrongInk}
	f.word, f.letter = report.StateWord(s)
	switch s {
	case verify.Good:
		f.ink = plainInk
	case verify.LiveRead:
		f.ink = dangerInk
	case verify.Missing, verify.Unproved, verify.Unread, verify.CannotShow:
		f.ink = missingInk
	case verify.Residual:
	}
	return f
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
	all := report.Triangles(pairs)
	var whole []string
	for _, tri := range all {
		if len(all) > 1 && tri.Dead == tri.Pairs {
			whole = append(whole, t.clean(tri.Point))
			continue
		}
		if len(all) > 1 {
			b.WriteString(strings.Repeat(" ", indent) + "at " + t.clean(pointName(tri.Point)) + "\n")
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

func (t theme) drawTriangle(b *strings.Builder, tri *report.Triangle, indent int) {
	label, word := 0, 0
	for _, r := range tri.Rows {
		label = max(label, columnsOf(t.clean(r.String())))
		for _, p := range tri.Cells[r] {
			word = max(word, len(faceOf(p.State).word))
		}
	}
	for _, c := range tri.Columns {
		word = max(word, columnsOf(t.clean(c.String())))
	}
	left := indent + label + 2
	switch {
	case len(tri.Rows) > mostRows || len(tri.Columns) > mostRows:
		lead := strings.Repeat(" ", indent)
		t.hang(b, lead, number(tri.Dead)+" of "+plural(tri.Pairs, "pair")+" dead and proved: too many for a picture", plainInk)
	case left+len(tri.Columns)*(word+2) <= t.width:
		t.drawWords(b, tri, indent, label, word)
	default:
		t.drawLetters(b, tri, indent, label)
	}
}

func (t theme) drawWords(b *strings.Builder, tri *report.Triangle, indent, label, word int) {
	lead := strings.Repeat(" ", indent)
	var head strings.Builder
	head.WriteString(lead + pad("", label))
	for _, c := range tri.Columns {
		head.WriteString("  " + pad(t.clean(c.String()), word))
	}
	b.WriteString(t.paint(quietInk, strings.TrimRight(head.String(), " ")) + "\n")
	for _, r := range tri.Rows {
		b.WriteString(lead + t.paint(quietInk, pad(t.clean(r.String()), label)))
		gap := 2 // blanks before the next word
		for _, c := range tri.Columns {
			p, ok := tri.Cells[r][c]
			if !ok {
				gap += word + 2
				continue
			}
			f := faceOf(p.State)
			b.WriteString(strings.Repeat(" ", gap) + t.paint(f.ink, f.word))
			gap = word - len(f.word) + 2
		}
		b.WriteByte('\n')
	}
}

// drawLetters writes the names of the columns downwards and a letter a pair, in
// groups of five where blanks between all of them do not fit.
func (t theme) drawLetters(b *strings.Builder, tri *report.Triangle, indent, label int) {
	lead := strings.Repeat(" ", indent)
	group := 5
	if indent+label+2+2*len(tri.Columns) <= t.width {
		group = 1
	}
	t.letterHead(b, tri, lead+pad("", label+2), group)
	used := map[verify.State]bool{}
	for _, r := range tri.Rows {
		b.WriteString(lead + t.paint(quietInk, pad(t.clean(r.String()), label)) + "  ")
		blank := ""
		for i, c := range tri.Columns {
			p, ok := tri.Cells[r][c]
			if !ok {
				blank += gapBefore(i, group) + " "
				continue
			}
			used[p.State] = true
			f := faceOf(p.State)
			b.WriteString(blank + gapBefore(i, group) + t.paint(f.ink, f.letter))
			blank = ""
		}
		b.WriteByte('\n')
	}
	var legend []string
	for _, s := range report.States {
		if f := faceOf(s); used[s] {
			legend = append(legend, f.letter+" = "+strings.ToLower(f.word))
		}
	}
	t.hang(b, lead, strings.Join(legend, ", "), quietInk)
}

// letterHead writes the names of the columns downwards.
func (t theme) letterHead(b *strings.Builder, tri *report.Triangle, lead string, group int) {
	tallest := 0
	for _, c := range tri.Columns {
		tallest = max(tallest, len(t.clean(c.String())))
	}
	for n := range tallest {
		var line strings.Builder
		line.WriteString(lead)
		for i, c := range tri.Columns {
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
