package report

import (
	"fmt"
	"math"
	"strings"
)

// Sizes of the charts, in millimetres.
const (
	weekChartWidth  = 84.0
	weekChartHeight = 46.0
	weekChartText   = 2.6 // height of the letters
)

// rateChart draws the rate of each week with its interval; nil where no week has a
// record.
func (w *Week) rateChart() *drawing {
	const left, right, top, bottom = 10.0, weekChartWidth - 1, 3.0, weekChartHeight - 6
	most := 0.0
	for _, p := range w.History {
		if p.Records > 0 {
			_, high := p.Interval()
			// Weeks of few records must not squeeze the others flat.
			most = max(most, p.Rate(), min(high, 3*p.Rate()+0.05))
		}
	}
	if most == 0 {
		return nil
	}
	step := niceStep(most / 4)
	most = min(1, step*math.Ceil(most/step))
	d := &drawing{width: weekChartWidth, height: weekChartHeight, title: "Share of records that are not compliant, by week"}
	y := func(rate float64) float64 { return bottom - (bottom-top)*min(rate, most)/most }
	for rate := 0.0; rate < most+step/2; rate += step {
		d.line(left, y(rate), right, y(rate), 0.15, pale)
		d.add(label{x: left - 1.2, y: y(rate) + weekChartText/3, size: weekChartText, words: say("%.4g %%", 100*rate), align: atRight, ink: dark})
	}
	var text []string
	for i, p := range w.History {
		x := left + (right-left)*(float64(i)+0.5)/float64(len(w.History))
		last := i == len(w.History)-1
		if last || i%4 == 0 && i < len(w.History)-2 {
			d.add(label{x: x, y: bottom + 4, size: weekChartText, words: say("W%02d", p.Week.Number), align: atCentre, ink: dark})
		}
		if p.Records == 0 {
			text = append(text, fmt.Sprintf("%v no record", p.Week))
			continue
		}
		text = append(text, fmt.Sprintf("%v %s", p.Week, intervalWords(p.Count)))
		low, high := p.Interval()
		width, radius, tone := 0.3, 0.8, dark
		if last {
			width, radius, tone = 0.7, 1.3, black
		}
		d.line(x, y(low), x, y(high), width, tone)
		if high > most { // it goes on above the picture
			d.add(path{points: [][2]float64{{x - 0.9, top - 0.4}, {x, top - 1.8}, {x + 0.9, top - 0.4}}, closed: true, fill: tone})
		}
		d.add(circle{x: x, y: y(p.Rate()), r: radius, fill: tone})
	}
	d.text = strings.Join(text, "; ") + "."
	return d
}

// niceStep returns the smallest of 1, 2, 5 times a power of ten that is not below x.
func niceStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, k := range []float64{1, 2, 5} {
		if k*power >= x*(1-1e-9) {
			return k * power
		}
	}
	return 10 * power
}

// mostBars is how many bars a Pareto chart has; the rest is one more.
const mostBars = 9

// paretoChart draws how often each rule failed, the most frequent on top, with the line
// of what the bars make together; nil where none failed.
func (w *Week) paretoChart() *drawing {
	bars := w.Pareto()
	if len(bars) == 0 {
		return nil
	}
	var text []string
	total := 0
	for _, b := range bars {
		total += b.Count
		text = append(text, fmt.Sprintf("%s %d (%s %% so far)", b.Name, b.Count, percent(b.UpTo)))
	}
	if n := len(bars); n > mostBars+1 {
		rest := Bar{Name: fmt.Sprintf("%d other rules", n-mostBars), UpTo: 1}
		for _, b := range bars[mostBars:] {
			rest.Count += b.Count
		}
		bars = append(bars[:mostBars:mostBars], rest)
	}
	const left, right, top = 33.0, weekChartWidth - 4, 1.0
	pitch := (weekChartHeight - 6 - top) / float64(mostBars+1)
	bottom := top + pitch*float64(len(bars))
	d := &drawing{width: weekChartWidth, height: bottom + 6, title: "How often each rule failed", text: strings.Join(text, "; ") + "."}
	x := func(share float64) float64 { return left + (right-left)*share }
	for _, share := range []float64{0, 0.5, 1} {
		d.line(x(share), top, x(share), bottom, 0.15, pale)
		d.add(label{x: x(share), y: bottom + 4, size: weekChartText, words: say("%.0f %%", 100*share), align: atCentre, ink: dark})
	}
	line := path{stroke: black, width: 0.3}
	var dots []any
	for i, b := range bars {
		at := top + pitch*float64(i)
		share := float64(b.Count) / float64(total)
		d.box(x(0), at+pitch*0.15, x(share)-x(0), pitch*0.7, pale, dark, 0.2)
		d.add(label{x: left - 1.2, y: at + pitch/2 + weekChartText/3, size: weekChartText, words: say("%s", b.Name), align: atRight, ink: black})
		count := label{x: x(share) + 1, y: at + pitch/2 + weekChartText/3, size: weekChartText, words: say("%d", b.Count), ink: black}
		if i == 0 { // beside the first dot of the line, which stands at the end of its bar
			count.x, count.align = x(share)-1.8, atRight
		}
		d.add(count)
		line.points = append(line.points, [2]float64{x(b.UpTo), at + pitch/2})
		dots = append(dots, circle{x: x(b.UpTo), y: at + pitch/2, r: 0.7, fill: white, stroke: black, width: 0.3})
	}
	d.add(line)
	d.add(dots...)
	return d
}
