package report

import (
	"image"
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
)

// A plotCanvas makes a drawing of what a plot draws, so that a plot goes where drawings
// go. Plots count points from the lower left corner; they use no other transforms here
// than shifts.
type plotCanvas struct {
	drawing *drawing
	state   plotState
	stack   []plotState
}

// A plotState is what holds until it is changed.
type plotState struct {
	ink   ink
	width vg.Length
	dash  []vg.Length
	shift vg.Point
}

// newPlotCanvas returns an empty canvas of a size in points.
func newPlotCanvas(width, height vg.Length) *plotCanvas {
	return &plotCanvas{
		drawing: &drawing{width: float64(width / vg.Millimeter), height: float64(height / vg.Millimeter)},
		state:   plotState{ink: black, width: 1},
	}
}

// place returns the place of a point on the drawing.
func (c *plotCanvas) place(p vg.Point) [2]float64 {
	p = p.Add(c.state.shift)
	return [2]float64{float64(p.X / vg.Millimeter), c.drawing.height - float64(p.Y/vg.Millimeter)}
}

// Size returns the size of the canvas.
func (c *plotCanvas) Size() (width, height vg.Length) {
	return vg.Length(c.drawing.width) * vg.Millimeter, vg.Length(c.drawing.height) * vg.Millimeter
}

// SetLineWidth sets the width of strokes.
func (c *plotCanvas) SetLineWidth(w vg.Length) { c.state.width = w }

// SetLineDash sets the dashes of strokes.
func (c *plotCanvas) SetLineDash(pattern []vg.Length, _ vg.Length) { c.state.dash = pattern }

// SetColor sets the ink that is nearest to a colour.
func (c *plotCanvas) SetColor(clr color.Color) { c.state.ink = inkOf(clr) }

// inkOf returns the ink that is nearest to a colour, black for none.
func inkOf(clr color.Color) ink {
	if clr == nil {
		return black
	}
	grey := int(color.GrayModel.Convert(clr).(color.Gray).Y)
	best := black
	for i := white; i <= black; i++ {
		if abs(i.grey()-grey) < abs(best.grey()-grey) {
			best = i
		}
	}
	return best
}

func abs(n int) int { return max(n, -n) }

// Rotate does nothing: no text of a chart is turned.
func (c *plotCanvas) Rotate(float64) {}

// Translate shifts what follows.
func (c *plotCanvas) Translate(by vg.Point) { c.state.shift = c.state.shift.Add(by) }

// Scale does nothing: charts are drawn in their own size.
func (c *plotCanvas) Scale(float64, float64) {}

// Push puts the state aside.
func (c *plotCanvas) Push() { c.stack = append(c.stack, c.state) }

// Pop takes it back.
func (c *plotCanvas) Pop() {
	last := len(c.stack) - 1
	c.state, c.stack = c.stack[last], c.stack[:last]
}

// Stroke draws lines along a path.
func (c *plotCanvas) Stroke(p vg.Path) {
	if c.state.width <= 0 {
		return
	}
	for _, m := range c.outlines(p) {
		m.stroke, m.width = c.state.ink, float64(c.state.width/vg.Millimeter)
		for _, d := range c.state.dash {
			m.dash = append(m.dash, float64(d/vg.Millimeter))
		}
		c.drawing.add(m)
	}
}

// Fill fills a path.
func (c *plotCanvas) Fill(p vg.Path) {
	for _, m := range c.outlines(p) {
		m.closed, m.fill = true, c.state.ink
		c.drawing.add(m)
	}
}

// fullTurn is that of a circle, in radians.
const fullTurn = 2 * math.Pi

// arcStep is how far two points of an arc are apart, in radians.
const arcStep = math.Pi / 8

// outlines returns the parts of a path, arcs as short lines.
func (c *plotCanvas) outlines(p vg.Path) []path {
	var list []path
	var points [][2]float64
	end := func(closed bool) {
		if len(points) > 1 {
			list = append(list, path{points: points, closed: closed})
		}
		points = nil
	}
	for _, part := range p {
		switch part.Type {
		case vg.MoveComp:
			end(false)
			points = append(points, c.place(part.Pos))
		case vg.LineComp, vg.CurveComp: // no plot here has curves
			points = append(points, c.place(part.Pos))
		case vg.ArcComp:
			steps := max(1, int(math.Ceil(math.Abs(part.Angle)/arcStep)))
			for n := range steps + 1 {
				sin, cos := math.Sincos(part.Start + part.Angle*float64(n)/float64(steps))
				points = append(points, c.place(vg.Point{X: part.Pos.X + part.Radius*vg.Length(cos), Y: part.Pos.Y + part.Radius*vg.Length(sin)}))
			}
		case vg.CloseComp:
			end(true)
		}
	}
	end(false)
	return list
}

// FillString does nothing: words are drawn by plotWords.
func (c *plotCanvas) FillString(font.Face, vg.Point, string) {}

// DrawImage does nothing: no chart holds an image.
func (c *plotCanvas) DrawImage(vg.Rectangle, image.Image) {}

// plotWords measures and draws the words of a plot as those of a drawing.
type plotWords struct{}

// The share of the size that letters take above their base line and below it.
const (
	aboveBase = 0.76
	belowBase = 0.24
)

// Cache returns none: the fonts are those of the drawing.
func (plotWords) Cache() *font.Cache { return nil }

// Extents returns the room that a line of text takes.
func (plotWords) Extents(f font.Font) font.Extents {
	return font.Extents{Ascent: f.Size * aboveBase, Descent: f.Size * belowBase, Height: f.Size}
}

// Lines returns the text: it is of one line.
func (plotWords) Lines(txt string) []string { return strings.Split(txt, "\n") }

// Box returns the room that a text takes.
func (plotWords) Box(txt string, f font.Font) (width, height, depth vg.Length) {
	return vg.Length(widthOf(plotText(txt, f), float64(f.Size))), f.Size * aboveBase, f.Size * belowBase
}

// Draw draws a text.
func (plotWords) Draw(canvas vg.Canvas, txt string, style text.Style, at vg.Point) {
	c := whole(canvas)
	if c == nil || txt == "" {
		return
	}
	size := style.Font.Size
	switch style.YAlign {
	case text.YTop:
		at.Y -= size * aboveBase
	case text.YCenter:
		at.Y -= size * aboveBase / 2
	case text.YBottom:
		at.Y += size * belowBase
	}
	place := c.place(at)
	align := map[text.XAlignment]align{text.XLeft: atLeft, text.XCenter: atCentre, text.XRight: atRight}[style.XAlign]
	c.drawing.add(label{
		x: place[0], y: place[1], size: float64(size / vg.Millimeter), words: plotText(txt, style.Font), align: align, ink: inkOf(style.Color),
	})
}

// whole returns the canvas of which another is a part, nil where it is none of ours.
func whole(canvas vg.Canvas) *plotCanvas {
	for {
		switch c := canvas.(type) {
		case *vgdraw.Canvas:
			canvas = c.Canvas
		case vgdraw.Canvas:
			canvas = c.Canvas
		case *plotCanvas:
			return c
		default:
			return nil
		}
	}
}

func plotText(txt string, f font.Font) words {
	return words{{text: txt, bold: f.Weight > 0, data: true}}
}
