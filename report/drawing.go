package report

import "image/color"

// A drawing is a picture of our own, put together once and written as SVG and into
// the PDF. Lengths are millimetres, from the upper left corner to the right and down.
// Its ink is grey or black: what it says it says by shape, pattern and word.
type drawing struct {
	width, height float64
	title         string // what it is
	text          string // what can be seen on it, for who cannot
	marks         []any  // path, circle, label; later ones lie above
}

// An ink is how dark something is drawn, from none over light to black.
type ink uint8

const (
	noInk ink = iota
	white
	faint // a background
	pale  // lines that guide the eye
	mid
	dark
	black
)

// grey returns the ink as a grey, 0 for black to 255 for white.
func (i ink) grey() int {
	return [...]int{255, 255, 238, 190, 128, 72, 0}[i]
}

// gray returns the ink as a colour.
func (i ink) gray() color.Gray { return color.Gray{Y: uint8(i.grey())} }

// A path is straight lines from point to point.
type path struct {
	points [][2]float64
	closed bool
	fill   ink
	stroke ink
	width  float64   // of the stroke
	dash   []float64 // lengths of dashes and gaps; nil for a whole line
}

// A circle is a circle.
type circle struct {
	x, y, r float64
	fill    ink
	stroke  ink
	width   float64 // of the stroke
}

// An align says on which side of its place a text stands.
type align uint8

const (
	atLeft align = iota
	atCentre
	atRight
)

// A label is a line of text; y is that of its base line, size the height of its
// letters with their ascenders, roughly.
type label struct {
	x, y, size float64
	words      words
	align      align
	ink        ink
	turned     bool // it runs upwards
}

func (d *drawing) add(marks ...any) { d.marks = append(d.marks, marks...) }

// line adds a line.
func (d *drawing) line(x1, y1, x2, y2, width float64, i ink) {
	d.add(path{points: [][2]float64{{x1, y1}, {x2, y2}}, stroke: i, width: width})
}

// box adds a rectangle.
func (d *drawing) box(x, y, w, h float64, fill, stroke ink, width float64) {
	d.add(path{points: [][2]float64{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}, closed: true, fill: fill, stroke: stroke, width: width})
}
