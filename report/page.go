package report

import (
	_ "embed"
	"fmt"
	"strings"
)

//go:embed page.css
var pageStyle string

// HTML returns the document as one page that needs nothing beside it and runs no
// script. It prints as the PDF does.
func (d *Document) HTML() []byte {
	w := &page{}
	fmt.Fprintf(&w.b, `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="description" content="%s">
<title>%s</title>
<style>
%s</style>
</head>
<body>
<main>
`, escaped(d.subject), escaped(d.title), pageStyle)
	w.blocks(d.blocks)
	w.b.WriteString("</main>\n")
	if len(d.foot) > 0 {
		w.b.WriteString(`<p class="foot">` + w.words(d.foot) + "</p>\n")
	}
	w.b.WriteString("</body>\n</html>\n")
	return []byte(w.b.String())
}

// A page writes blocks as HTML.
type page struct {
	b        strings.Builder
	pictures int
}

func (w *page) blocks(list []block) {
	for _, b := range list {
		w.block(b)
	}
}

func (w *page) block(b block) {
	switch b := b.(type) {
	case heading:
		fmt.Fprintf(&w.b, "<h%d%s>%s</h%d>\n", b.level, idOf(b.id), w.words(b.text), b.level)
	case paragraph:
		class := ""
		if b.small {
			class = ` class="small"`
		}
		fmt.Fprintf(&w.b, "<p%s%s>%s</p>\n", class, idOf(b.id), w.words(b.text))
	case verdict:
		class := [...]string{"light", "heavy", "gravid"}[b.grave]
		fmt.Fprintf(&w.b, "<p class=\"verdict %s\"><strong>%s</strong> <span>%s</span></p>\n", class, escaped(b.word), w.words(b.text))
	case facts:
		fmt.Fprintf(&w.b, "<dl style=\"--columns:%d\">\n", max(b.columns, 1))
		for _, f := range b.list {
			fmt.Fprintf(&w.b, "<div><dt>%s</dt><dd>%s</dd></div>\n", escaped(f.name), w.words(f.value))
		}
		w.b.WriteString("</dl>\n")
	case points:
		w.points(b)
	case table:
		w.table(&b)
	case figure:
		w.pictures++
		fmt.Fprintf(&w.b, "<figure%s>\n%s", idOf(b.id), b.drawing.svg(fmt.Sprintf("picture%d", w.pictures)))
		if len(b.caption) > 0 {
			w.b.WriteString("<figcaption>" + w.words(b.caption) + "</figcaption>\n")
		}
		w.b.WriteString("</figure>\n")
	case beside:
		fmt.Fprintf(&w.b, "<div class=\"beside\" style=\"--left:%s%%\">\n<div>\n", short(100*b.share))
		w.blocks(b.left)
		w.b.WriteString("</div>\n<div>\n")
		w.blocks(b.right)
		w.b.WriteString("</div>\n</div>\n")
	case signatures:
		w.b.WriteString("<div class=\"signatures\">\n")
		for _, who := range b.who {
			fmt.Fprintf(&w.b, "<strong>%s</strong><span>name</span><span>date and time</span><span>signature</span>\n", escaped(who))
		}
		w.b.WriteString("</div>\n")
	case keep:
		w.b.WriteString("<div class=\"keep\">\n")
		w.blocks(b.blocks)
		w.b.WriteString("</div>\n")
	case newPage:
		w.b.WriteString("<div class=\"new-page\"></div>\n")
	default:
		panic(fmt.Sprintf("report: a %T is no block", b)) // a mistake of this package
	}
}

func (w *page) points(l points) {
	w.b.WriteString("<ol class=\"points\">\n")
	for _, p := range l.list {
		fmt.Fprintf(&w.b, "<li%s><span class=\"mark\">%s</span><div>%s", idOf(p.id), escaped(p.mark), w.words(p.text))
		for _, below := range p.below {
			w.b.WriteString("<div class=\"below\">" + w.words(below) + "</div>")
		}
		w.b.WriteString("</div></li>\n")
	}
	w.b.WriteString("</ol>\n")
}

func (w *page) table(t *table) {
	class := ""
	if t.small {
		class = ` class="small"`
	}
	fmt.Fprintf(&w.b, "<table%s%s>\n", class, idOf(t.id))
	if len(t.caption) > 0 {
		w.b.WriteString("<caption>" + w.words(t.caption) + "</caption>\n")
	}
	w.b.WriteString("<thead><tr>")
	classes := make([]string, len(t.columns))
	for i, c := range t.columns {
		class := [...]string{"", "centre", "right"}[c.align]
		if c.weight == 0 {
			class = strings.TrimSpace(class + " fit")
		}
		if class != "" {
			classes[i] = ` class="` + class + `"`
		}
		fmt.Fprintf(&w.b, "<th scope=\"col\"%s>%s</th>", classes[i], escaped(c.head))
	}
	w.b.WriteString("</tr></thead>\n<tbody>\n")
	for i := range t.rows {
		r := &t.rows[i]
		class := ""
		if r.strong {
			class = ` class="strong"`
		}
		fmt.Fprintf(&w.b, "<tr%s%s>", class, idOf(r.id))
		for k, cell := range r.cells {
			fmt.Fprintf(&w.b, "<td%s data-head=\"%s\">%s</td>", classes[k], escaped(t.columns[k].head), w.words(cell))
		}
		w.b.WriteString("</tr>\n")
	}
	w.b.WriteString("</tbody>\n</table>\n")
}

// words writes words; what comes from a record stands apart from the text around it
// in its direction.
func (w *page) words(list words) string {
	var b strings.Builder
	for _, s := range list {
		text := escaped(s.text)
		if s.data && !isPlain(s.text) {
			text = "<bdi>" + text + "</bdi>"
		}
		if s.bold {
			text = "<strong>" + text + "</strong>"
		}
		if s.href != "" {
			text = `<a href="` + escaped(s.href) + `">` + text + `</a>`
		}
		b.WriteString(text)
	}
	return b.String()
}

func idOf(id string) string {
	if id == "" {
		return ""
	}
	return ` id="` + escaped(id) + `"`
}
