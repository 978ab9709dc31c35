package report

import (
	_ "embed"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
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
%s%s</style>
</head>
<body>
<main>
`, escaped(d.subject), escaped(d.title), pageStyle, runningStyle(d))
	w.blocks(d.blocks)
	w.b.WriteString("</main>\n")
	if len(d.foot) > 0 {
		w.b.WriteString(`<footer class="foot">` + w.words(d.foot) + "</footer>\n")
	}
	w.b.WriteString("</body>\n</html>\n")
	return []byte(w.b.String())
}

// runningStyle puts the running head and foot on the pages that a browser prints.
func runningStyle(d *Document) string {
	return fmt.Sprintf("@page { @top-left { content: \"%s\" } @bottom-left { content: \"%s\" } }\n", styleText(d.head), styleText(d.foot))
}

// styleText writes words as a string of a style sheet: all but letters, digits and
// blanks as code points, so that nothing in it ends the string or the sheet.
func styleText(w words) string {
	var b strings.Builder
	for _, r := range visible(w.String()) {
		if r == ' ' || unicode.IsLetter(r) || unicode.IsDigit(r) {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, "\\%06x", r)
		}
	}
	return b.String()
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
		longest := 0
		for _, f := range b.list {
			longest = max(longest, utf8.RuneCountInString(f.name))
		}
		fmt.Fprintf(&w.b, "<dl style=\"--columns:%d;--name:%sem\">\n", max(b.columns, 1), short(float64(min(longest, 20))*0.5))
		for _, f := range b.list {
			fmt.Fprintf(&w.b, "<div><dt>%s</dt><dd>%s</dd></div>\n", escaped(f.name), w.words(f.value))
		}
		w.b.WriteString("</dl>\n")
	case points:
		w.points(b)
	case table:
		w.table(&b)
	case figure:
		w.figure(b)
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

// figure writes a drawing. On a narrow screen the drawing that was made for one takes
// its place, or it is as wide as it needs to be read, and moves.
func (w *page) figure(f figure) {
	attributes := ""
	if f.narrow == nil && f.drawing.width > 110 {
		attributes = ` class="wide" tabindex="0"` // moved by keys as well
	}
	fmt.Fprintf(&w.b, "<figure%s%s>\n", attributes, idOf(f.id))
	if f.narrow == nil {
		w.drawing(f.drawing)
	} else {
		w.b.WriteString("<div class=\"broad\">\n")
		w.drawing(f.drawing)
		w.b.WriteString("</div>\n<div class=\"narrow\">\n")
		w.drawing(f.narrow)
		w.b.WriteString("</div>\n")
	}
	if len(f.caption) > 0 {
		w.b.WriteString("<figcaption>" + w.words(f.caption) + "</figcaption>\n")
	}
	w.b.WriteString("</figure>\n")
}

func (w *page) drawing(d *drawing) {
	w.pictures++
	w.b.WriteString(d.svg(fmt.Sprintf("picture%d", w.pictures)))
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
	var kinds []string
	if t.small {
		kinds = append(kinds, "tight")
	}
	if t.stack || len(t.columns) > 6 { // too many for a narrow screen
		kinds = append(kinds, "many")
	}
	kind := ""
	if kinds != nil {
		kind = ` class="` + strings.Join(kinds, " ") + `"`
	}
	fmt.Fprintf(&w.b, "<table%s%s>\n", kind, idOf(t.id))
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
		text := breakable(unbroken(escaped(s.text)))
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

// shortPair is two conductors as sentences name them, which no line may tear apart.
var shortPair = regexp.MustCompile(`\b[\pL\pN+]{1,4}-[\pL\pN+-]{1,4}(@\w+)?\b`)

// unbroken keeps the names of pairs on one line.
func unbroken(text string) string {
	if !strings.Contains(text, "-") || strings.Contains(text, "/") {
		return text
	}
	return shortPair.ReplaceAllString(text, `<span class="fit">$0</span>`)
}

// A longWord is one that no line of a phone need have room for; a wordPart is as much of
// it as a line has. A character that is written as a name counts as one.
var (
	longWord = regexp.MustCompile(`(?:&[^;\s]+;|[^\s&<>]){25,}`)
	wordPart = regexp.MustCompile(`(?:&[^;\s]+;|[^\s&<>]\pM*){12}`)
)

// breakable lets a long word end on any line: a column of a table is as wide as the
// longest of its words that stays whole.
func breakable(text string) string {
	if len(text) < 25 {
		return text
	}
	return longWord.ReplaceAllStringFunc(text, func(word string) string { return wordPart.ReplaceAllString(word, "$0<wbr>") })
}

func idOf(id string) string {
	if id == "" {
		return ""
	}
	return ` id="` + escaped(id) + `"`
}
