package report

import (
	"bytes"
	"fmt"
	"strings"
	"sync"

	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// A Picture is a drawing that stands alone.
type Picture struct{ drawing *drawing }

// SVG returns the picture as a file of its own.
func (p Picture) SVG() []byte {
	text := p.drawing.svg("picture")
	size := fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" font-family="%s"`,
		short(p.drawing.width), short(p.drawing.height), "DejaVu Sans Condensed, Arial Narrow, Arial, sans-serif")
	return []byte(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" + strings.Replace(text, "<svg", size, 1))
}

// pictureDots is how many dots a PNG has to the inch: its words can be read on a screen
// and on paper.
const pictureDots = 150

// PNG returns the picture as an image of dots, black on white.
func (p Picture) PNG() ([]byte, error) {
	d := p.drawing
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(d.width)*vg.Millimeter, vg.Length(d.height)*vg.Millimeter), vgimg.UseDPI(pictureDots))
	r := raster{c, d.height}
	for _, m := range d.marks {
		switch m := m.(type) {
		case path:
			r.path(m)
		case circle:
			r.circle(m)
		case label:
			r.label(m)
		}
	}
	var out bytes.Buffer
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(&out)
	return out.Bytes(), err
}

// A raster draws the marks of a drawing in dots.
type raster struct {
	canvas *vgimg.Canvas
	height float64 // of the drawing
}

func (r raster) place(x, y float64) vg.Point {
	return vg.Point{X: vg.Length(x) * vg.Millimeter, Y: vg.Length(r.height-y) * vg.Millimeter}
}

// trace fills a path and draws along it.
func (r raster) trace(p vg.Path, fill, stroke ink, width float64, dash []float64) {
	if fill != noInk {
		r.canvas.SetColor(fill.gray())
		r.canvas.Fill(p)
	}
	if stroke == noInk {
		return
	}
	pattern := make([]vg.Length, len(dash))
	for i, v := range dash {
		pattern[i] = vg.Length(v) * vg.Millimeter
	}
	r.canvas.SetColor(stroke.gray())
	r.canvas.SetLineWidth(vg.Length(width) * vg.Millimeter)
	r.canvas.SetLineDash(pattern, 0)
	r.canvas.Stroke(p)
}

func (r raster) path(m path) {
	var p vg.Path
	for i, at := range m.points {
		if i == 0 {
			p.Move(r.place(at[0], at[1]))
		} else {
			p.Line(r.place(at[0], at[1]))
		}
	}
	if m.closed {
		p.Close()
	}
	r.trace(p, m.fill, m.stroke, m.width, m.dash)
}

func (r raster) circle(m circle) {
	var p vg.Path
	centre := r.place(m.x, m.y)
	p.Move(r.place(m.x+m.r, m.y))
	p.Arc(centre, vg.Length(m.r)*vg.Millimeter, 0, fullTurn)
	p.Close()
	r.trace(p, m.fill, m.stroke, m.width, nil)
}

// rasterFonts are the embedded fonts, read once.
var rasterFonts = sync.OnceValue(func() (fonts [numFaces]*opentype.Font) {
	for f := range numFaces {
		parsed, err := opentype.Parse(f.file())
		if err != nil {
			panic(err) // it is part of the program
		}
		fonts[f] = parsed
	}
	return fonts
})

// label draws a line of text, each run of one font by itself.
func (r raster) label(m label) {
	line := lay(m.words, m.size, widthOf(m.words, m.size)+1)[0]
	r.canvas.Push()
	defer r.canvas.Pop()
	r.canvas.Translate(r.place(m.x, m.y))
	if m.turned {
		r.canvas.Rotate(fullTurn / 4)
	}
	x := offset(m.align, 0, line.width)
	r.canvas.SetColor(m.ink.gray())
	for start := 0; start < len(line.glyphs); {
		var text strings.Builder
		end, width := start, 0
		for ; end < len(line.glyphs) && line.glyphs[end].face == line.glyphs[start].face; end++ {
			text.WriteRune(line.glyphs[end].r)
			width += line.glyphs[end].width
		}
		f := font.Face{Font: font.Font{Size: vg.Length(m.size) * vg.Millimeter}, Face: rasterFonts()[line.glyphs[start].face]}
		r.canvas.FillString(f, vg.Point{X: vg.Length(x) * vg.Millimeter}, text.String())
		x += float64(width) * m.size / 1000
		start = end
	}
}
