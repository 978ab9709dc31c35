package report

import (
	"time"
)

// A Document is what a report says, before it is PDF or HTML. The zero Document is
// empty.
type Document struct {
	title   string // of the file
	subject string // one line more on what it is
	head    words  // running head of every page
	foot    words  // running foot, before the page number
	made    time.Time
	blocks  []block
}

// A block is a part of a document: one of the types below.
type block any

func (d *Document) add(blocks ...block) { d.blocks = append(d.blocks, blocks...) }

// A heading begins a part; level 1 is the title of the document, 2 a part, 3 a part of
// a part. Its id, where it has one, is what #id leads to.
type heading struct {
	level int
	text  words
	id    string
}

// A paragraph is running text.
type paragraph struct {
	text  words
	small bool // a remark
	id    string
}

// A verdict is the judgement, seen first: a word in a frame, the heavier the worse.
type verdict struct {
	word  string
	text  words // one line beside it
	grave gravity
}

// A gravity says how heavily something is set.
type gravity uint8

const (
	light  gravity = iota // a thin frame
	heavy                 // a heavy frame
	gravid                // white on black: there is danger to life
)

// Facts are names with what they stand for, in so many columns.
type facts struct {
	columns int // 1 where it is 0
	list    []fact
}

type fact struct {
	name  string
	value words
}

// A points is a list, each point with its mark before it.
type points struct {
	list []point
}

// A point is one point of a list: what stands first, then small lines below it.
type point struct {
	mark  string // such as "1" or "–"
	text  words
	below []words // each a small paragraph
	id    string
}

// A table has a line of heads, repeated on every page, and rows that are never torn
// apart where a page has room for them.
type table struct {
	caption words
	columns []column
	rows    []row
	small   bool
	stack   bool // on a narrow screen its cells stand one below the other, each with its head
	id      string
	// folds lets a table of narrow columns stand in two columns on paper, where it is
	// long: down the left one, then down the right one, page by page.
	folds bool
}

// A column says how the cells below one head are set.
type column struct {
	head  string
	align align
	// weight is the share of the room that is left by the columns of weight 0, which
	// are as wide as their widest cell.
	weight float64
}

// A row is the cells of one line of a table.
type row struct {
	cells  []words
	strong bool // a line that must not be overlooked: set on grey
	id     string
}

// A figure is a drawing with its caption. What it shows stands as text beside it
// elsewhere in the document, or in the drawing's own text.
type figure struct {
	drawing *drawing
	narrow  *drawing // the same for a narrow screen; nil where it is not needed
	caption words
	id      string
}

// A beside is two columns of blocks; share is that of the left one, 0 to 1. On a
// narrow screen the right one comes below.
type beside struct {
	left, right []block
	share       float64
}

// Signatures are lines to be signed by hand: who, then name, date and signature.
type signatures struct {
	who []string
}

// A keep holds blocks together on one page where they fit on one.
type keep struct {
	blocks []block
}

// A newPage begins a new page, on paper and in print.
type newPage struct{}
