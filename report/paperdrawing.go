package report

import "codeberg.org/go-pdf/fpdf"

// draw draws a picture with its upper left corner at x, y.
func (p *sheetOfPaper) draw(d *drawing, x, y, scale float64) {
	if p.dry {
		return
	}
	for _, m := range d.marks {
		switch m := m.(type) {
		case path:
			p.drawPath(m, x, y, scale)
		case circle:
			if style := p.stroke(m.fill, m.stroke, m.width*scale); style != "" {
				p.pdf.Circle(x+m.x*scale, y+m.y*scale, m.r*scale, style)
			}
		case label:
			p.drawLabel(m, x, y, scale)
		}
	}
}

// stroke sets the inks and returns how the library calls what is to be done.
func (p *sheetOfPaper) stroke(fill, stroke ink, width float64) string {
	style := ""
	if fill != noInk {
		p.pdf.SetFillColor(fill.grey(), fill.grey(), fill.grey())
		style = "F"
	}
	if stroke != noInk {
		p.pdf.SetDrawColor(stroke.grey(), stroke.grey(), stroke.grey())
		p.pdf.SetLineWidth(width)
		style += "D"
	}
	return style
}

func (p *sheetOfPaper) drawPath(m path, x, y, scale float64) {
	style := p.stroke(m.fill, m.stroke, m.width*scale)
	if style == "" || len(m.points) == 0 {
		return
	}
	if m.dash != nil {
		dash := make([]float64, len(m.dash))
		for i := range dash {
			dash[i] = m.dash[i] * scale
		}
		p.pdf.SetDashPattern(dash, 0)
		defer p.pdf.SetDashPattern(nil, 0)
	}
	points := make([]fpdf.PointType, len(m.points))
	for i, at := range m.points {
		points[i] = fpdf.PointType{X: x + at[0]*scale, Y: y + at[1]*scale}
	}
	p.pdf.MoveTo(points[0].X, points[0].Y)
	for _, at := range points[1:] {
		p.pdf.LineTo(at.X, at.Y)
	}
	if m.closed {
		p.pdf.ClosePath()
	}
	p.pdf.DrawPath(style)
}

func (p *sheetOfPaper) drawLabel(m label, x, y, scale float64) {
	size := m.size * scale
	w := widthOf(m.words, size)
	line := lay(m.words, size, w+1)[0]
	shift := -offset(m.align, 0, line.width)
	at, base := x+m.x*scale, y+m.y*scale
	if m.turned {
		p.pdf.TransformBegin()
		p.pdf.TransformRotate(90, at, base)
		defer p.pdf.TransformEnd()
	}
	p.write(at-shift, base, line, m.words, size/millimetres, m.ink)
}
