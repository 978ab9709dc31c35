package report

// The room around the text of a cell, and the lines of a table.
const (
	cellSide  = 1.0
	cellAbove = 0.32
	thinRule  = 0.12
)

// table sets a table. Its head is repeated on every page.
func (p *sheetOfPaper) table(t *table) {
	size := sizeText
	if t.small {
		size = sizeSmall
	}
	if t.folds && !p.dry {
		p.fold(t, size)
		return
	}
	widths := p.columnWidths(t, size)
	p.arrive(t.id)
	if len(t.caption) > 0 {
		p.need(heightOf(t.caption, sizeSmall, p.width) + 12)
		p.text(t.caption, sizeSmall, p.x, p.width, dark)
	}
	head := make([]words, len(t.columns))
	hasHead := false
	for i, c := range t.columns {
		head[i] = stress(c.head)
		hasHead = hasHead || c.head != ""
	}
	headHeight := cellsHeight(head, widths, sizeSmall)
	first := 0.0
	if len(t.rows) > 0 {
		first = min(cellsHeight(t.rows[0].cells, widths, size), bodyHeight/2)
	}
	p.need(headHeight + first)
	setHead := func() {
		if hasHead {
			p.cells(t, head, widths, sizeSmall, headHeight)
			p.rule(p.x, p.y, p.x+p.width, p.y, 0.35, black)
		}
	}
	setHead()
	for i := range t.rows {
		r := &t.rows[i]
		height := cellsHeight(r.cells, widths, size)
		if !p.dry && height > p.room() && p.y > marginTop {
			p.newPage()
			setHead()
		}
		p.arrive(r.id)
		if r.strong && height <= p.room() {
			p.area(p.x, p.y+thinRule/2, p.width, height-thinRule/2, faint, 0)
		}
		p.cells(t, r.cells, widths, size, height)
		p.rule(p.x, p.y, p.x+p.width, p.y, thinRule, pale)
	}
	p.y += 2
}

// fold sets a table in two columns: as many rows as there is room for on the left, as
// many on the right, and so on from page to page; the last ones are shared out evenly.
func (p *sheetOfPaper) fold(t *table, size float64) {
	const gap = 6.0
	x, width := p.x, p.width
	p.width = (width - gap) / 2
	p.arrive(t.id)
	widths := p.columnWidths(t, size)
	part := *t
	part.folds, part.id = false, ""
	for rows := t.rows; len(rows) > 0; {
		p.need(20)
		left := rowsWithin(rows, widths, size, p.room()-10)
		right := rowsWithin(rows[left:], widths, size, p.room()-10)
		if left+right == len(rows) {
			left, right = (len(rows)+1)/2, len(rows)/2
		}
		top, lower := p.y, p.y
		for i, n := range []int{left, right} {
			if part.rows = rows[:n]; n > 0 {
				p.x, p.y = x+float64(i)*(p.width+gap), top
				p.table(&part)
				lower = max(lower, p.y)
			}
			rows = rows[n:]
		}
		p.x, p.y = x, lower
		if len(rows) > 0 {
			p.newPage()
		}
	}
	p.x, p.width = x, width
}

// rowsWithin returns how many rows have room in a height, one at least.
func rowsWithin(rows []row, widths []float64, points, height float64) int {
	n := 0
	for n < len(rows) {
		if height -= cellsHeight(rows[n].cells, widths, points); height < 0 && n > 0 {
			break
		}
		n++
	}
	return n
}

// cells sets one line of a table. A line higher than a page goes on on the next.
func (p *sheetOfPaper) cells(t *table, cells []words, widths []float64, points, height float64) {
	size := points * millimetres
	if !p.dry && height > p.room() {
		p.tallCells(t, cells, widths, points)
		return
	}
	x := p.x
	for i, w := range cells {
		room := widths[i] - 2*cellSide
		y := p.y + cellAbove
		for _, line := range lay(w, size, room) {
			p.write(x+cellSide+offset(t.columns[i].align, room, line.width), y+size, line, w, points, black)
			y += size * leading
		}
		x += widths[i]
	}
	p.y += height
}

// tallCells sets a line of a table that is higher than a page: as many lines of its
// cells as there is room for, then the rest on the next page.
func (p *sheetOfPaper) tallCells(t *table, cells []words, widths []float64, points float64) {
	size := points * millimetres
	lines := make([][]textLine, len(cells))
	most := 0
	for i, w := range cells {
		lines[i] = lay(w, size, widths[i]-2*cellSide)
		most = max(most, len(lines[i]))
	}
	p.y += cellAbove
	for n := range most {
		p.need(size * leading)
		x := p.x
		for i, w := range cells {
			if n < len(lines[i]) {
				room := widths[i] - 2*cellSide
				p.write(x+cellSide+offset(t.columns[i].align, room, lines[i][n].width), p.y+size, lines[i][n], w, points, black)
			}
			x += widths[i]
		}
		p.y += size * leading
	}
	p.y += cellAbove
}

// offset is how far a line stands from the left side of its room.
func offset(a align, room, width float64) float64 {
	switch a {
	case atCentre:
		return (room - width) / 2
	case atRight:
		return room - width
	case atLeft:
	}
	return 0
}

// cellsHeight returns the height of one line of a table.
func cellsHeight(cells []words, widths []float64, points float64) float64 {
	height := 0.0
	for i, w := range cells {
		height = max(height, heightOf(w, points, widths[i]-2*cellSide))
	}
	return height + 2*cellAbove
}

// columnWidths shares the width of the page among the columns: those of weight 0 get
// what their widest cell needs, the others the rest by weight. Where the first take
// too much they are all made narrower.
func (p *sheetOfPaper) columnWidths(t *table, points float64) []float64 {
	widths := make([]float64, len(t.columns))
	fixed, weights := 0.0, 0.0
	for i, c := range t.columns {
		weights += c.weight
		if c.weight > 0 {
			continue
		}
		widths[i] = widthOf(stress(c.head), sizeSmall*millimetres)
		for k := range t.rows {
			widths[i] = max(widths[i], widthOf(t.rows[k].cells[i], points*millimetres))
		}
		widths[i] += 2*cellSide + 0.1
		fixed += widths[i]
	}
	most := p.width
	if weights > 0 {
		most = p.width * 0.7
	}
	if fixed > most {
		narrow(widths, fixed-most)
		fixed = most
	}
	for i, c := range t.columns {
		if c.weight > 0 {
			widths[i] = (p.width - fixed) * c.weight / weights
		}
	}
	return widths
}

// narrow takes so much from the widths, from the widest first.
func narrow(widths []float64, excess float64) {
	for excess > 0.01 {
		widest, second := 0, 0.0
		for i, w := range widths {
			if w > widths[widest] {
				widest = i
			}
		}
		same := 0
		for _, w := range widths {
			if w > widths[widest]-0.01 {
				same++
			} else {
				second = max(second, w)
			}
		}
		take := min(excess/float64(same), widths[widest]-second)
		limit := widths[widest] - 0.01
		for i, w := range widths {
			if w > limit {
				widths[i] -= take
			}
		}
		excess -= take * float64(same)
	}
}
