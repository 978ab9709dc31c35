package report

import "fmt"

// blocks sets blocks one below the other.
func (p *sheetOfPaper) blocks(list []block) {
	for i, b := range list {
		if h, ok := b.(heading); ok {
			p.heading(h, list[i+1:])
			continue
		}
		p.block(b)
	}
}

func (p *sheetOfPaper) block(b block) {
	switch b := b.(type) {
	case heading:
		p.heading(b, nil)
	case paragraph:
		p.paragraph(b)
	case verdict:
		p.verdict(b)
	case facts:
		p.facts(b)
	case points:
		p.points(b)
	case table:
		p.table(&b)
	case figure:
		p.figure(b)
	case beside:
		p.beside(b)
	case signatures:
		p.signatures(b)
	case keep:
		p.need(p.measure(b.blocks, p.width))
		p.blocks(b.blocks)
	case newPage:
		if !p.dry {
			p.newPage()
		}
	default:
		panic(fmt.Sprintf("report: a %T is no block", b)) // a mistake of this package
	}
}

// text sets words in lines from y on and moves y below them. The words are torn apart
// where the page ends.
func (p *sheetOfPaper) text(w words, points, x, width float64, i ink) {
	size := points * millimetres
	for _, line := range lay(w, size, width) {
		p.need(size * leading)
		p.write(x, p.y+size, line, w, points, i)
		p.y += size * leading
	}
}

// heightOf returns the height of words in lines.
func heightOf(w words, points, width float64) float64 {
	size := points * millimetres
	return float64(len(lay(w, size, width))) * size * leading
}

// heading sets a heading; it stays with the beginning of what comes next.
func (p *sheetOfPaper) heading(h heading, next []block) {
	points, above, below := sizeInner, 1.6, 0.8
	switch h.level {
	case 1:
		points, above, below = sizeTitle, 0.0, 1.5
	case 2:
		points, above, below = sizePart, 1.7, 0.6
	}
	w := bold(h.text)
	if p.y == marginTop {
		above = 0
	}
	follow := 0.0
	if len(next) > 0 && !p.dry {
		follow = p.measure(next[:1], p.width)
		if tears(next[0]) {
			follow = min(follow, 25)
		}
	}
	p.need(above + heightOf(w, points, p.width) + below + follow)
	if p.y > marginTop {
		p.y += above
	}
	p.arrive(h.id)
	if !p.dry {
		p.useFont(strong, points)
		p.level = min(h.level-1, p.level+1)
		p.pdf.Bookmark(visible(h.text.String()), p.level, p.y)
	}
	p.text(w, points, p.x, p.width, black)
	p.y += below
}

// tears reports whether a block goes on on the next page where this one ends.
func tears(b block) bool {
	switch b.(type) {
	case figure, beside, verdict, keep:
		return false
	}
	return true
}

func bold(w words) words {
	out := append(words(nil), w...)
	for i := range out {
		out[i].bold = true
	}
	return out
}

func (p *sheetOfPaper) paragraph(b paragraph) {
	p.arrive(b.id)
	if b.small {
		p.text(b.text, sizeSmall, p.x, p.width, dark)
	} else {
		p.text(b.text, sizeText, p.x, p.width, black)
	}
	p.y += 1.2
}

// verdict sets the judgement in its frame.
func (p *sheetOfPaper) verdict(v verdict) {
	const points, pad = 15.0, 2.2
	word := words{{text: v.word, bold: true}}
	size := points * millimetres
	wordWidth := widthOf(word, size)
	beside := p.width - wordWidth - 3*pad - 2
	textPoints := sizeInner
	height := max(size*1.15, heightOf(v.text, textPoints, beside)) + 2*pad
	p.need(height)
	frame, background, front := 0.3, noInk, black
	switch v.grave {
	case heavy:
		frame = 1.1
	case gravid:
		frame, background, front = 1.1, black, white
	case light:
	}
	p.area(p.x, p.y, p.width, height, background, frame)
	top := p.y
	p.write(p.x+pad+0.5, top+height/2+size*0.36, lay(word, size, p.width)[0], word, points, front)
	p.y = top + (height-heightOf(v.text, textPoints, beside))/2 - 0.3
	for _, line := range lay(v.text, textPoints*millimetres, beside) {
		p.write(p.x+wordWidth+2*pad+2.5, p.y+textPoints*millimetres, line, v.text, textPoints, front)
		p.y += textPoints * millimetres * leading
	}
	p.y = top + height + 2
}

// facts sets names and values in columns, filled line by line.
func (p *sheetOfPaper) facts(f facts) {
	n := max(f.columns, 1)
	const gap, inner = 5.0, 3.0
	column := (p.width - gap*float64(n-1)) / float64(n)
	name := 0.0
	for _, one := range f.list {
		name = max(name, widthOf(say("%s", one.name), sizeSmall*millimetres))
	}
	name = min(name+0.1, column*0.45)
	for start := 0; start < len(f.list); start += n {
		line := f.list[start:min(start+n, len(f.list))]
		height := 0.0
		for _, one := range line {
			height = max(height, heightOf(say("%s", one.name), sizeSmall, name), heightOf(one.value, sizeText, column-name-inner))
		}
		p.need(height)
		top := p.y
		for i, one := range line {
			x := p.x + float64(i)*(column+gap)
			p.y = top + (sizeText-sizeSmall)*millimetres
			p.text(say("%s", one.name), sizeSmall, x, name, dark)
			p.y = top
			p.text(one.value, sizeText, x+name+inner, column-name-inner, black)
		}
		p.y = top + height + 0.5
	}
	p.y += 1
}

// points sets a list.
func (p *sheetOfPaper) points(l points) {
	const gap = 2.0
	indent := 0.0
	for _, one := range l.list {
		indent = max(indent, widthOf(stress(one.mark), sizeText*millimetres)+gap)
	}
	for _, one := range l.list {
		height := heightOf(one.text, sizeText, p.width-indent)
		for _, below := range one.below {
			height += heightOf(below, sizeSmall, p.width-indent)
		}
		p.need(min(height, 60))
		p.arrive(one.id)
		mark := stress(one.mark)
		p.write(p.x, p.y+sizeText*millimetres, lay(mark, sizeText*millimetres, p.width)[0], mark, sizeText, black)
		p.text(one.text, sizeText, p.x+indent, p.width-indent, black)
		for _, below := range one.below {
			p.text(below, sizeSmall, p.x+indent, p.width-indent, dark)
		}
		p.y += 0.9
	}
	p.y += 0.6
}

// figure sets a drawing, made smaller where it is too wide or too high.
func (p *sheetOfPaper) figure(f figure) {
	d := f.drawing
	caption := 0.0
	if len(f.caption) > 0 {
		caption = heightOf(f.caption, sizeSmall, p.width) + 0.8
	}
	scale := min(1, p.width/d.width, (bodyHeight-caption-2)/d.height)
	p.need(d.height*scale + caption + 1.5)
	p.arrive(f.id)
	p.draw(d, p.x, p.y, scale)
	p.y += d.height*scale + 0.8
	if caption > 0 {
		p.text(f.caption, sizeSmall, p.x, p.width, dark)
	}
	p.y += 1.5
}

// beside sets two columns, one below the other where they do not fit on a page.
func (p *sheetOfPaper) beside(b beside) {
	const gap = 6.0
	x, width := p.x, p.width
	left := (width - gap) * b.share
	right := width - gap - left
	height := max(p.measure(b.left, left), p.measure(b.right, right))
	if height > bodyHeight {
		p.blocks(b.left)
		p.blocks(b.right)
		return
	}
	p.need(height)
	top := p.y
	p.width = left
	p.blocks(b.left)
	lower := p.y
	p.x, p.width, p.y = x+left+gap, right, top
	p.blocks(b.right)
	p.x, p.width, p.y = x, width, max(lower, p.y)
}

// signatures sets lines to be signed.
func (p *sheetOfPaper) signatures(s signatures) {
	const height = 9.6
	shares := []struct {
		name  string
		share float64
	}{{"name", 0.36}, {"date and time", 0.24}, {"signature", 0.40}}
	for _, who := range s.who {
		p.need(height)
		const label = 38.0
		top := p.y
		p.y = top + height - 3.9 - sizeText*millimetres
		p.text(stress(who), sizeText, p.x, label-3, black)
		x := p.x + label
		for _, part := range shares {
			width := (p.width - label) * part.share
			p.rule(x, top+height-3.3, x+width-4, top+height-3.3, 0.2, black)
			p.y = top + height - 3.1
			p.text(say("%s", part.name), sizeSmall, x, width, dark)
			x += width
		}
		p.y = top + height
	}
	p.y += 1
}
