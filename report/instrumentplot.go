package report

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"
	"time"

	"golang.org/x/image/font"
	"gonum.org/v1/plot"
	fonts "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
)

// The greys of a chart.
var (
	chartBlack = color.Gray{0}
	chartDark  = color.Gray{80}
	chartMid   = color.Gray{130}
	chartPale  = color.Gray{200}
	chartFaint = color.Gray{232}
)

// shapes are those of the readings with each partner; the last one is for all others.
var shapes = [manyPartners + 1]vgdraw.GlyphDrawer{
	vgdraw.RingGlyph{}, vgdraw.TriangleGlyph{}, vgdraw.SquareGlyph{}, vgdraw.CrossGlyph{}, vgdraw.PlusGlyph{},
}

// Sizes of a chart, in points.
const (
	titleSize = 12
	wordSize  = 9.5
	glyphSize = 1.9
)

// chartText is how words are written.
func chartText(size vg.Length, c color.Color) text.Style {
	return text.Style{Color: c, Font: fonts.Font{Size: size}, Handler: plotWords{}, YAlign: text.YTop}
}

// Picture returns the chart as a picture: the title, the flags, the plot, and the shapes
// with their partners, one below the other.
func (c *InstrumentChart) Picture() Picture {
	canvas := newPlotCanvas(chartWidth, chartHeight)
	canvas.drawing.title, canvas.drawing.text = c.Title, c.Text
	canvas.drawing.box(0, 0, canvas.drawing.width, canvas.drawing.height, white, noInk, 0)
	area := vgdraw.Crop(vgdraw.New(canvas), 6, -8, 6, -6)
	top := c.drawTitle(area)
	bottom := c.drawShapes(area)
	p := c.plot()
	flags := c.layFlags(p.DataCanvas(area), p)
	whole := vgdraw.Crop(area, 0, 0, bottom, -top-flags.height)
	data := p.DataCanvas(whole)
	p.Draw(whole)
	c.drawFlags(flags, data)
	c.drawFailed(data, p)
	c.nameTolerance(data, p)
	return Picture{canvas.drawing}
}

// drawTitle writes the title in as many lines as it takes and returns their height.
func (c *InstrumentChart) drawTitle(area vgdraw.Canvas) vg.Length {
	style := chartText(titleSize, chartBlack)
	style.Font.Weight = font.WeightBold
	y := area.Max.Y
	for _, line := range breakText(c.Title, func(s string) bool { return style.Width(s) <= area.Max.X-area.Min.X }) {
		area.FillText(style, vg.Point{X: area.Min.X, Y: y}, line)
		y -= titleSize * 1.25
	}
	return area.Max.Y - y + 2
}

// breakText breaks text at blanks into lines that fit.
func breakText(text string, fits func(string) bool) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		if line != "" && !fits(line+" "+word) {
			lines = append(lines, line)
			line = word
			continue
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

// drawShapes writes which shape is whose at the foot and returns its height.
func (c *InstrumentChart) drawShapes(area vgdraw.Canvas) vg.Length {
	names := c.partners()
	others := false
	for _, r := range c.Readings {
		others = others || shapeOf(names, r.Partner) == manyPartners
	}
	if others {
		names = append(names, "others")
	}
	if len(names) == 0 {
		return 0
	}
	style := chartText(wordSize, chartBlack)
	style.YAlign = text.YCenter
	x, y := area.Min.X, area.Min.Y+wordSize/2
	area.FillText(style, vg.Point{X: x, Y: y}, "proofs with")
	x += style.Width("proofs with") + 10
	room := (area.Max.X-x)/vg.Length(len(names)) - 20
	for i, name := range names {
		name = shortened(name, func(s string) bool { return style.Width(s) <= room })
		if i == len(names)-1 && others {
			i = manyPartners
		}
		area.DrawGlyphNoClip(vgdraw.GlyphStyle{Color: chartBlack, Radius: glyphSize * 1.5, Shape: shapes[i]}, vg.Point{X: x, Y: y})
		area.FillText(style, vg.Point{X: x + 6, Y: y}, name)
		x += style.Width(name) + 20
	}
	return wordSize + 6
}

// shortened cuts a name at its end, where it does not fit.
func shortened(name string, fits func(string) bool) string {
	if fits(name) {
		return name
	}
	runes := []rune(name)
	for len(runes) > 1 && !fits(string(runes)+"…") {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}

// shapeOf returns the number of the shape of a partner.
func shapeOf(partners []string, partner string) int {
	for i, p := range partners {
		if p == partner {
			return i
		}
	}
	return manyPartners
}

// plot returns the plot of readings, level, limits, tolerance and forecast.
func (c *InstrumentChart) plot() *plot.Plot {
	p := plot.New()
	p.TextHandler = plotWords{}
	p.X.Min, p.X.Max = c.span()
	p.Y.Min, p.Y.Max = c.reach()
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Padding = 0
		axis.LineStyle = vgdraw.LineStyle{Color: chartMid, Width: 0.5}
		axis.Tick.LineStyle = axis.LineStyle
		axis.Tick.Label = chartText(wordSize, chartBlack)
	}
	p.X.Tick.Label.XAlign, p.X.Tick.Label.YAlign = text.XCenter, text.YTop
	p.Y.Tick.Label.XAlign, p.Y.Tick.Label.YAlign = text.XRight, text.YCenter
	p.X.Tick.Marker = plot.ConstantTicks(c.months(p.X.Min, p.X.Max))
	p.Y.Tick.Marker = plot.ConstantTicks(percentTicks(p.Y.Min, p.Y.Max))
	p.Add(chartPlotter(func(canvas vgdraw.Canvas, p *plot.Plot) { c.drawData(canvas, p) }))
	return p
}

// months returns the first days of months as ticks, so many that their names have room.
func (c *InstrumentChart) months(from, to float64) []plot.Tick {
	first := c.at(from).UTC()
	month := time.Date(first.Year(), first.Month(), 1, 0, 0, 0, 0, time.UTC)
	each := 1 + int((to-from)/(52*9/12.0)) // nine names of months have room
	var ticks []plot.Tick
	for n := 0; ; n++ {
		week := c.weekOf(month)
		if week > to {
			return ticks
		}
		if week >= from {
			label := ""
			if len(ticks)%each == 0 {
				label = month.Format("Jan")
				if len(ticks) == 0 || int(month.Month()) <= each {
					label = month.Format("Jan 2006")
				}
			}
			ticks = append(ticks, plot.Tick{Value: week, Label: label})
		}
		month = month.AddDate(0, 1, 0)
	}
}

// percentTicks returns lines of the grid with signs, as errors are written.
func percentTicks(low, high float64) []plot.Tick {
	step := percentStep(low, high)
	var ticks []plot.Tick
	for n := math.Ceil(low / step); n*step <= high; n++ {
		label := fmt.Sprintf("%s %%", signed(n*step))
		if n == 0 {
			label = "0 %"
		}
		ticks = append(ticks, plot.Tick{Value: n * step, Label: label})
	}
	return ticks
}

// signed writes a number with its sign, the minus as it is printed.
func signed(v float64) string { return strings.Replace(fmt.Sprintf("%+.4g", v), "-", "\u2212", 1) }

// A chartPlotter draws into the data area of a plot.
type chartPlotter func(canvas vgdraw.Canvas, p *plot.Plot)

// Plot does so.
func (f chartPlotter) Plot(canvas vgdraw.Canvas, p *plot.Plot) { f(canvas, p) }

// drawData draws all that has a week and a percentage, from the back to the front.
func (c *InstrumentChart) drawData(canvas vgdraw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&canvas)
	for _, f := range c.Flags {
		if f.Fault && f.To > f.From {
			from, to := x(max(f.From, p.X.Min)), x(min(f.To, p.X.Max))
			canvas.FillPolygon(chartFaint, []vg.Point{{X: from, Y: canvas.Min.Y}, {X: to, Y: canvas.Min.Y}, {X: to, Y: canvas.Max.Y}, {X: from, Y: canvas.Max.Y}})
		}
	}
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		canvas.StrokeLine2(vgdraw.LineStyle{Color: chartPale, Width: 0.4}, canvas.Min.X, y(t.Value), canvas.Max.X, y(t.Value))
	}
	c.drawForecast(canvas, p)
	c.drawTolerance(canvas, p)
	partners := c.partners()
	for _, r := range c.Readings {
		style := vgdraw.GlyphStyle{Color: chartMid, Radius: glyphSize, Shape: shapes[shapeOf(partners, r.Partner)]}
		canvas.DrawGlyph(style, vg.Point{X: x(r.Week), Y: y(r.Percent)})
	}
	if c.Note != "" {
		style := chartText(wordSize, chartBlack)
		style.XAlign, style.YAlign = text.XCenter, text.YBottom
		canvas.FillText(style, vg.Point{X: canvas.Center().X, Y: y(0) + 12}, c.Note)
	}
	level := make([]vg.Point, len(c.Level))
	low, high := make([]vg.Point, len(level)), make([]vg.Point, len(level))
	for i, at := range c.Level {
		level[i] = vg.Point{X: x(at.Week), Y: y(at.Percent)}
		low[i] = vg.Point{X: x(at.Week), Y: y(at.Percent - c.Limits)}
		high[i] = vg.Point{X: x(at.Week), Y: y(at.Percent + c.Limits)}
	}
	if c.Limits > 0 {
		canvas.StrokeLines(vgdraw.LineStyle{Color: chartDark, Width: 0.7, Dashes: []vg.Length{3, 2}}, canvas.ClipLinesXY(low, high)...)
	}
	canvas.StrokeLines(vgdraw.LineStyle{Color: chartBlack, Width: 2}, canvas.ClipLinesXY(level)...)
}

// drawForecast draws the band and its middle.
func (c *InstrumentChart) drawForecast(canvas vgdraw.Canvas, p *plot.Plot) {
	if len(c.Forecast) < 2 {
		return
	}
	x, y := p.Transforms(&canvas)
	var outline, middle []vg.Point
	for _, b := range c.Forecast {
		outline = append(outline, vg.Point{X: x(b.Week), Y: y(b.High)})
		middle = append(middle, vg.Point{X: x(b.Week), Y: y(b.Middle)})
	}
	for _, b := range slices.Backward(c.Forecast) {
		outline = append(outline, vg.Point{X: x(b.Week), Y: y(b.Low)})
	}
	canvas.FillPolygon(chartFaint, canvas.ClipPolygonXY(outline))
	canvas.StrokeLines(vgdraw.LineStyle{Color: chartMid, Width: 0.6}, canvas.ClipLinesXY(append(outline, outline[0]))...)
	canvas.StrokeLines(vgdraw.LineStyle{Color: chartBlack, Width: 1.2, Dashes: []vg.Length{5, 3}}, canvas.ClipLinesXY(middle)...)
}

// drawTolerance draws both ends of the tolerance, and where there is no error.
func (c *InstrumentChart) drawTolerance(canvas vgdraw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&canvas)
	canvas.StrokeLine2(vgdraw.LineStyle{Color: chartMid, Width: 0.8}, canvas.Min.X, y(0), canvas.Max.X, y(0))
	for _, end := range []float64{c.Tolerance, -c.Tolerance} {
		if c.Tolerance > 0 {
			canvas.StrokeLine2(vgdraw.LineStyle{Color: chartBlack, Width: 1.4}, canvas.Min.X, y(end), canvas.Max.X, y(end))
		}
	}
}

// nameTolerance writes what the ends of the tolerance are, on white.
func (c *InstrumentChart) nameTolerance(canvas vgdraw.Canvas, p *plot.Plot) {
	if !(c.Tolerance > 0) {
		return
	}
	_, y := p.Transforms(&canvas)
	style := chartText(wordSize, chartBlack)
	style.YAlign = text.YCenter
	for _, end := range []float64{c.Tolerance, -c.Tolerance} {
		word := fmt.Sprintf("tolerance %s %%", signed(end))
		at := vg.Point{X: canvas.Min.X + 4, Y: y(end) + wordSize*0.75}
		if end < 0 {
			at.Y = y(end) - wordSize*0.75
		}
		left, right := at.X-1, at.X+style.Width(word)+2
		low, high := max(at.Y-wordSize*0.5, canvas.Min.Y+1), min(at.Y+wordSize*0.5, canvas.Max.Y)
		canvas.FillPolygon(color.White, []vg.Point{{X: left, Y: low}, {X: right, Y: low}, {X: right, Y: high}, {X: left, Y: high}})
		canvas.FillText(style, at, word)
	}
}

// A flagLayout is how the words of the flags stand above the plot.
type flagLayout struct {
	words  []flagWord // of each flag
	height vg.Length
}

// A flagWord is the place of the word of a flag: beside its line, from where to where, and
// in which lane.
type flagWord struct {
	style          text.Style
	line, from, to vg.Length
	lane           int
}

// laneHeight is that of one lane.
const laneHeight = wordSize * 1.25

// clears reports whether a word can stand in a lane with another that has its place: neither
// touches it nor the line below it.
func (w *flagWord) clears(other *flagWord, lane int) bool {
	const gap = 8
	beside := w.from-gap >= other.to || other.from-gap >= w.to
	under := other.line <= w.from || other.line >= w.to
	return (lane != other.lane || beside) && (lane > other.lane || under)
}

// layFlags puts the word of each flag beside its line, to the left where there is no room to
// the right, and into the lowest lane where it is clear of the others. The lowest lane of all
// is that of the failed proofs, where there are any.
func (c *InstrumentChart) layFlags(data vgdraw.Canvas, p *plot.Plot) flagLayout {
	x, _ := p.Transforms(&data)
	l := flagLayout{words: make([]flagWord, len(c.Flags))}
	var right, left []*flagWord // of their lines
	for i, f := range c.Flags {
		w := &l.words[i]
		*w = flagWord{style: chartText(wordSize, chartBlack), line: x(f.Week)}
		w.style.YAlign = text.YBottom
		if f.Fault {
			w.style.Font.Weight = font.WeightBold
		}
		const gap = 2
		width := w.style.Width(f.Word)
		if w.from = w.line + gap; w.from+width <= data.Max.X {
			right = append(right, w)
		} else {
			w.from = w.line - gap - width
			left = append(left, w)
		}
		w.to = w.from + width
	}
	lowest := 0
	if len(c.Failed) > 0 {
		lowest = 1
	}
	lanes := lowest
	slices.Reverse(right) // so that a word which reaches over the next line stands above it
	var placed []*flagWord
	for _, w := range append(right, left...) {
		lane := lowest
		for slices.ContainsFunc(placed, func(other *flagWord) bool { return !w.clears(other, lane) }) {
			lane++
		}
		w.lane = lane
		lanes = max(lanes, lane+1)
		placed = append(placed, w)
	}
	l.height = vg.Length(lanes)*laneHeight + 2
	return l
}

// drawFlags draws the flags: a line through the plot, and the word above it.
func (c *InstrumentChart) drawFlags(l flagLayout, data vgdraw.Canvas) {
	for i, f := range c.Flags {
		line := vgdraw.LineStyle{Color: chartDark, Width: 0.8, Dashes: []vg.Length{2, 2}}
		if f.Fault {
			line = vgdraw.LineStyle{Color: chartBlack, Width: 1.4}
		}
		w := &l.words[i]
		foot := data.Max.Y + 2 + vg.Length(w.lane)*laneHeight
		data.StrokeLine2(line, w.line, data.Min.Y, w.line, foot+laneHeight/2)
		data.FillText(w.style, vg.Point{X: w.from, Y: foot}, f.Word)
	}
}

// drawFailed draws a bar for each failed proof in a lane above the plot: most of them have
// no number, or one far outside of the picture.
func (c *InstrumentChart) drawFailed(data vgdraw.Canvas, p *plot.Plot) {
	if len(c.Failed) == 0 {
		return
	}
	x, _ := p.Transforms(&data)
	style := chartText(wordSize, chartBlack)
	style.XAlign, style.YAlign = text.XRight, text.YBottom
	low := data.Max.Y + 2
	data.FillText(style, vg.Point{X: data.Min.X - 6, Y: low}, "failed")
	for _, week := range c.Failed {
		data.StrokeLine2(vgdraw.LineStyle{Color: chartBlack, Width: 1.2}, x(week), low+1, x(week), low+laneHeight-3)
	}
}

var _ plot.Plotter = chartPlotter(nil)
