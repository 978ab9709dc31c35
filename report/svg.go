package report

import (
	"fmt"
	"html"
	"strings"
)

// svg returns the drawing as SVG that stands in a page. id must be no other's on it.
func (d *drawing) svg(id string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %s %s" style="max-width:%smm" role="img" aria-labelledby="%s-t %s-d">`,
		short(d.width), short(d.height), short(d.width), id, id)
	fmt.Fprintf(&b, "<title id=\"%s-t\">%s</title><desc id=\"%s-d\">%s</desc>\n", id, escaped(d.title), id, escaped(d.text))
	for _, m := range d.marks {
		switch m := m.(type) {
		case path:
			svgPath(&b, m)
		case circle:
			fmt.Fprintf(&b, `<circle cx="%s" cy="%s" r="%s"%s/>`+"\n", short(m.x), short(m.y), short(m.r), svgInk(m.fill, m.stroke, m.width))
		case label:
			svgLabel(&b, m)
		}
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// escaped makes text fit for a page, with what cannot be seen as code points.
func escaped(text string) string { return html.EscapeString(visible(text)) }

// short writes a number of millimetres.
func short(v float64) string {
	text := fmt.Sprintf("%.2f", v)
	text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	if text == "-0" {
		return "0"
	}
	return text
}

func (i ink) css() string {
	if i == noInk {
		return "none"
	}
	return fmt.Sprintf("#%02x%02x%02x", i.grey(), i.grey(), i.grey())
}

func svgInk(fill, stroke ink, width float64) string {
	text := ` fill="` + fill.css() + `"`
	if stroke != noInk {
		text += ` stroke="` + stroke.css() + `" stroke-width="` + short(width) + `"`
	}
	return text
}

func svgPath(b *strings.Builder, m path) {
	if len(m.points) == 0 {
		return
	}
	b.WriteString(`<path d="`)
	for i, at := range m.points {
		b.WriteString([2]string{"L", "M"}[bit(i == 0)] + short(at[0]) + " " + short(at[1]))
	}
	if m.closed {
		b.WriteString("Z")
	}
	b.WriteString(`"` + svgInk(m.fill, m.stroke, m.width))
	if m.dash != nil {
		dash := make([]string, len(m.dash))
		for i, v := range m.dash {
			dash[i] = short(v)
		}
		b.WriteString(` stroke-dasharray="` + strings.Join(dash, " ") + `"`)
	}
	b.WriteString("/>\n")
}

func svgLabel(b *strings.Builder, m label) {
	anchor := [...]string{"start", "middle", "end"}[m.align]
	turn := ""
	if m.turned {
		turn = fmt.Sprintf(` transform="rotate(-90 %s %s)"`, short(m.x), short(m.y))
	}
	fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s" fill="%s"%s>`, short(m.x), short(m.y), short(m.size), anchor, m.ink.css(), turn)
	for _, s := range m.words {
		text := escaped(s.text)
		if s.bold {
			text = `<tspan font-weight="bold">` + text + `</tspan>`
		}
		b.WriteString(text)
	}
	b.WriteString("</text>\n")
}
