package report

import (
	"bytes"
	"fmt"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// The page, in millimetres. The left margin leaves room for the holes of a binder.
const (
	pageWidth    = 210.0
	pageHeight   = 297.0
	marginLeft   = 20.0
	marginRight  = 14.0
	marginTop    = 16.0 // the running head stands in it
	marginBottom = 14.0 // the running foot stands in it
	bodyWidth    = pageWidth - marginLeft - marginRight
	bodyHeight   = pageHeight - marginTop - marginBottom
)

// Sizes of text, in points of 1/72 inch.
const (
	sizeText  = 8.5
	sizeSmall = 7.0
	sizeTitle = 16.0
	sizePart  = 10.5
	sizeInner = 9.0
)

const (
	leading     = 1.25 // from line to line, in sizes
	millimetres = 25.4 / 72
)

// A sheetOfPaper sets a document on pages.
type sheetOfPaper struct {
	pdf   *fpdf.Fpdf
	x     float64 // left side of the column that is being set
	width float64 // of that column
	y     float64 // upper side of what comes next
	dry   bool    // measure only: nothing is drawn and no page begun
	links map[string]int
	fonts [numFaces]bool // those that the PDF has
	level int            // of the latest heading in the outline, -1 before the first
}

// PDF returns the document as PDF: A4, its fonts embedded, the same bytes for the same
// document. An error is one of the library.
func (d *Document) PDF() ([]byte, error) {
	pdf := fpdf.New("P", "mm", "A4", "")
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.SetCreationDate(d.made.UTC())
	pdf.SetModificationDate(d.made.UTC())
	pdf.SetCatalogSort(true)
	pdf.SetTitle(visible(d.title), true)
	pdf.SetSubject(visible(d.subject), true)
	pdf.SetProducer("nilvolt", true)
	pdf.SetCreator("nilvolt", true)
	pdf.SetLang("en")
	p := &sheetOfPaper{pdf: pdf, x: marginLeft, width: bodyWidth, links: map[string]int{}, level: -1}
	p.findLinks(d.blocks)
	p.newPage()
	p.blocks(d.blocks)
	p.running(d)
	var out bytes.Buffer
	if err := pdf.Output(&out); err != nil {
		return nil, fmt.Errorf("PDF: %w", err)
	}
	return out.Bytes(), nil
}

// newPage begins a page.
func (p *sheetOfPaper) newPage() {
	if !p.dry {
		p.pdf.AddPage()
	}
	p.y = marginTop
}

// room is how much of the page is left.
func (p *sheetOfPaper) room() float64 { return pageHeight - marginBottom - p.y }

// need begins a page where fewer millimetres than that are left on this one.
func (p *sheetOfPaper) need(height float64) {
	if !p.dry && height > p.room() && p.y > marginTop {
		p.newPage()
	}
}

// measure returns the height of blocks in a column of a width.
func (p *sheetOfPaper) measure(blocks []block, width float64) float64 {
	q := *p
	const below = marginTop + 1 // not at the top, where a heading leaves no room above it
	q.dry, q.width, q.y = true, width, below
	q.blocks(blocks)
	return q.y - below
}

// running writes the running heads and feet, when the number of pages is known. They
// are marked as artifacts, so that who reads the text leaves them out.
func (p *sheetOfPaper) running(d *Document) {
	pages := p.pdf.PageCount()
	for n := 1; n <= pages; n++ {
		p.pdf.SetPage(n)
		p.pdf.SetFillColor(255, 255, 255) // the library takes the last page's for that of every page
		p.pdf.RawWriteStr("/Artifact <</Type /Pagination>> BDC")
		const size = sizeSmall * millimetres
		number := say("page %d of %d", n, pages)
		for _, line := range []struct {
			y     float64
			left  words
			right words
		}{
			{marginTop - 5, d.head, nil},
			{pageHeight - marginBottom + 6.5, d.foot, number},
		} {
			space := bodyWidth - widthOf(line.right, size) - 4
			if left := lay(line.left, size, space); len(line.left) > 0 {
				p.write(marginLeft, line.y, left[0], line.left, sizeSmall, dark)
			}
			if line.right != nil {
				right := lay(line.right, size, bodyWidth)[0]
				p.write(pageWidth-marginRight-right.width, line.y, right, line.right, sizeSmall, dark)
			}
		}
		p.rule(marginLeft, marginTop-3.6, pageWidth-marginRight, marginTop-3.6, 0.15, mid)
		p.rule(marginLeft, pageHeight-marginBottom+3.2, pageWidth-marginRight, pageHeight-marginBottom+3.2, 0.15, mid)
		p.pdf.RawWriteStr("EMC")
	}
}

// useFont sets the font; the PDF gets it when it is used for the first time.
func (p *sheetOfPaper) useFont(f face, points float64) {
	name := [numFaces]string{"regular", "strong", "wide"}[f]
	if !p.fonts[f] {
		p.pdf.AddUTF8FontFromBytes(name, "", f.file())
		p.fonts[f] = true
	}
	p.pdf.SetFont(name, "", points)
}

// write writes a line of text with its base line at y.
func (p *sheetOfPaper) write(x, y float64, l textLine, w words, points float64, i ink) {
	if p.dry {
		return
	}
	grey := i.grey()
	p.pdf.SetTextColor(grey, grey, grey)
	size := points * millimetres
	for start := 0; start < len(l.glyphs); {
		end := start + 1
		first := &l.glyphs[start]
		width := first.width
		for ; end < len(l.glyphs); end++ {
			g := &l.glyphs[end]
			if g.face != first.face || g.span != first.span || g.level%2 != first.level%2 {
				break
			}
			width += g.width
		}
		run := float64(width) * size / 1000
		p.writeRun(x, y, l.glyphs[start:end], points)
		if href := w[first.span].href; href != "" {
			p.rule(x, y+size*0.12, x+run, y+size*0.12, 0.15, i)
			p.link(x, y-size*0.8, run, size, href)
		}
		x += run
		start = end
	}
}

// writeRun writes glyphs of one font and direction. A form of a letter carries the
// letter itself as its text, so that who searches or copies finds that.
func (p *sheetOfPaper) writeRun(x, y float64, run []glyph, points float64) {
	p.useFont(run[0].face, points)
	size := points * millimetres
	for start := 0; start < len(run); {
		end, width := start, 0
		var text strings.Builder
		for ; end < len(run) && !run[end].isForm(); end++ {
			text.WriteRune(run[end].r)
			width += run[end].width
		}
		if end > start {
			p.pdf.Text(x, y, text.String())
		} else {
			p.pdf.RawWriteStr("/Span <</ActualText <" + utf16Hex(run[start].was) + ">>> BDC")
			p.pdf.Text(x, y, string(run[start].r))
			p.pdf.RawWriteStr("EMC")
			width = run[start].width
			end++
		}
		x += float64(width) * size / 1000
		start = end
	}
}

// utf16Hex writes text as PDF wants it in hexadecimal: UTF-16 with its mark.
func utf16Hex(text string) string {
	var b strings.Builder
	b.WriteString("FEFF")
	for _, r := range text {
		fmt.Fprintf(&b, "%04X", r) // all are of the basic plane
	}
	return b.String()
}

// rule draws a line.
func (p *sheetOfPaper) rule(x1, y1, x2, y2, width float64, i ink) {
	if p.dry {
		return
	}
	grey := i.grey()
	p.pdf.SetDrawColor(grey, grey, grey)
	p.pdf.SetLineWidth(width)
	p.pdf.Line(x1, y1, x2, y2)
}

// area fills a rectangle, with a frame where width is not 0.
func (p *sheetOfPaper) area(x, y, w, h float64, fill ink, width float64) {
	if p.dry {
		return
	}
	style := ""
	if fill != noInk {
		p.pdf.SetFillColor(fill.grey(), fill.grey(), fill.grey())
		style = "F"
	}
	if width > 0 {
		p.pdf.SetDrawColor(0, 0, 0)
		p.pdf.SetLineWidth(width)
		style += "D"
	}
	p.pdf.Rect(x, y, w, h, style)
}

// findLinks gives every id of the blocks a place to lead to.
func (p *sheetOfPaper) findLinks(blocks []block) {
	for _, id := range idsOf(blocks) {
		p.links[id] = p.pdf.AddLink()
	}
}

// arrive notes that id is here.
func (p *sheetOfPaper) arrive(id string) {
	if link, ok := p.links[id]; ok && id != "" && !p.dry {
		p.pdf.SetLink(link, p.y, -1)
	}
}

// link makes a rectangle lead to another file, or to an id of this one.
func (p *sheetOfPaper) link(x, y, w, h float64, href string) {
	if p.dry {
		return
	}
	id, inside := strings.CutPrefix(href, "#")
	if !inside {
		p.pdf.LinkString(x, y, w, h, href)
	} else if link, ok := p.links[id]; ok {
		p.pdf.Link(x, y, w, h, link)
	}
}

// idsOf returns the ids of blocks and of what they hold, in order.
func idsOf(blocks []block) []string {
	var ids []string
	add := func(id string) {
		if id != "" {
			ids = append(ids, id)
		}
	}
	for _, b := range blocks {
		switch b := b.(type) {
		case heading:
			add(b.id)
		case paragraph:
			add(b.id)
		case figure:
			add(b.id)
		case points:
			for i := range b.list {
				add(b.list[i].id)
			}
		case table:
			add(b.id)
			for i := range b.rows {
				add(b.rows[i].id)
			}
		case beside:
			ids = append(append(ids, idsOf(b.left)...), idsOf(b.right)...)
		case keep:
			ids = append(ids, idsOf(b.blocks)...)
		}
	}
	return ids
}
