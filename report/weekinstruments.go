package report

import (
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"nilvolt/fleet"
	"nilvolt/record"
)

// mostCharts is how many instruments to watch have their picture; the rest has a line.
const mostCharts = 8

// dueWithin is how many days ahead a weekly report looks for service.
const dueWithin = 28

// SetInstruments fills in the instruments to watch and those due for service, as they
// stood at the end of the week; proofs are those that f was made of, services the days on
// which each instrument was serviced.
func (w *Week) SetInstruments(f *fleet.Fleet, proofs iter.Seq[fleet.Proof], services map[string][]record.Date) {
	w.Watch, w.Service = nil, nil
	until := record.DateOf(w.End).AddDays(dueWithin)
	for i := range f.Instruments {
		a := &f.Instruments[i]
		if toWatch(a) {
			x := Watched{
				Instrument: a.Instrument, Kind: InstrumentKind(a.Kind), State: InstrumentState(a.State),
				Why: sentences(append([]string{InstrumentSummary(f, a)}, InstrumentAdvice(a)...)),
			}
			if len(w.Watch) < mostCharts {
				x.chart = ChartOf(f, a, services[a.Instrument])
			}
			w.Watch = append(w.Watch, x)
		}
		if due := a.Due(); due.Date.IsSet() && !due.Date.After(until) && a.State != fleet.StateWithdrawn {
			s := Service{Instrument: a.Instrument, Kind: InstrumentKind(a.Kind), Due: dateTime(due.Date), Late: a.Overdue(f.AsOf.Date())}
			for _, d := range a.Dues {
				if !d.Date.After(until) {
					s.Why = append(s.Why, DueWords(d.Reason))
				}
			}
			w.Service = append(w.Service, s)
		}
	}
	w.countFailed(f, proofs)
	slices.SortStableFunc(w.Service, func(a, b Service) int { return a.Due.Compare(b.Due) })
}

// countFailed counts the failed proofs of the instruments to watch by week.
func (w *Week) countFailed(f *fleet.Fleet, proofs iter.Seq[fleet.Proof]) {
	failed := map[string]map[float64]int{}
	for i := range w.Watch {
		w.Watch[i].failed = map[float64]int{}
		failed[w.Watch[i].Instrument] = w.Watch[i].failed
	}
	if len(failed) == 0 {
		return
	}
	for p := range proofs {
		if p.Passed || p.Time.Before(f.Since) {
			continue
		}
		week := math.Floor(f.Week(p.Time))
		for _, id := range []string{p.Indicator, p.Source} {
			if of := failed[id]; of != nil {
				of[week]++
			}
		}
	}
}

// toWatch reports whether an instrument is to be watched. One that is only overdue
// stands among those due for service, and one of which too little is known nowhere,
// unless it is under suspicion or the register does not know it.
func toWatch(a *fleet.Assessment) bool {
	switch a.State {
	case fleet.StateFailing, fleet.StateStepped, fleet.StateDrifting, fleet.StateWatch:
		return true
	case fleet.StateCannotTell:
		return len(a.Rivals) > 0 || len(a.Faults) > 0 || slices.Contains(a.Unknown, fleet.UnknownStranger)
	case fleet.StateSteady, fleet.StateOverdue, fleet.StateWithdrawn:
	}
	return false
}

// sentences begins each text with a capital and ends it with a full stop.
func sentences(list []string) (out []string) {
	for _, text := range list {
		if text == "" {
			continue
		}
		out = append(out, strings.ToUpper(text[:1])+text[1:]+".")
	}
	return out
}

// dateTime returns a date as the midnight with which it begins, zero for none.
func dateTime(d record.Date) time.Time {
	if !d.IsSet() {
		return time.Time{}
	}
	t, _ := time.Parse(time.DateOnly, d.String()) // a date that is set is one
	return t
}

// Sizes of the small picture of an instrument, in millimetres.
const (
	smallWidth  = 84.0
	smallHeight = 34.0
)

// small draws the instrument's error by week, its level, tolerance and faults, and how
// many of its proofs failed; nil where there is no reading.
func (x *Watched) small() *drawing {
	const left, right, top, bottom = 11.0, smallWidth - 1, 4.0, smallHeight - 9
	c := x.chart
	weeks := c.byWeek()
	if len(weeks) == 0 {
		return nil
	}
	low, high := -1.2*c.Tolerance, 1.2*c.Tolerance
	for _, k := range weeks {
		low, high = min(low, k.low), max(high, k.high)
	}
	if low == high {
		low, high = low-1, high+1
	}
	from, to := weeks[0].week, max(c.AsOf, weeks[len(weeks)-1].week+1)
	at := func(week float64) float64 { return left + (right-left)*(week-from)/(to-from) }
	y := func(percent float64) float64 { return bottom - (bottom-top)*(percent-low)/(high-low) }
	d := &drawing{width: smallWidth, height: smallHeight, title: "Error of the instrument by week, percent", text: c.Text}
	mark := func(percent float64, dash []float64, text string) {
		d.add(path{points: [][2]float64{{left, y(percent)}, {right, y(percent)}}, stroke: mid, width: 0.2, dash: dash},
			label{x: left - 1.2, y: y(percent) + weekChartText/3, size: weekChartText, words: say("%s", text), align: atRight, ink: dark})
	}
	mark(0, nil, "0 %")
	if c.Tolerance > 0 {
		for _, limit := range []float64{-c.Tolerance, c.Tolerance} {
			mark(limit, []float64{1.2, 1}, fmt.Sprintf("%+g %%", limit))
		}
	}
	for _, f := range c.Flags {
		if f.Fault && f.Week >= from && f.Week <= to {
			d.line(at(f.Week), top, at(f.Week), bottom, 0.5, black)
			d.add(besideLine(at(f.Week), top-1, f.Word))
		}
	}
	for _, k := range weeks {
		middle := at(k.week + 0.5)
		d.line(middle, y(k.low), middle, y(k.high), 0.3, dark)
		d.add(circle{x: middle, y: y(k.mean), r: 0.6, fill: dark})
	}
	if len(c.Level) > 1 {
		line := path{stroke: black, width: 0.5}
		for _, p := range c.Level {
			line.points = append(line.points, [2]float64{at(max(from, p.Week)), y(min(high, max(low, p.Percent)))})
		}
		d.add(line)
	}
	for _, week := range slices.Sorted(maps.Keys(x.failed)) {
		if week >= from && week < to {
			d.add(label{x: at(week + 0.5), y: bottom + 3, size: weekChartText, words: say("%d", x.failed[week]), align: atCentre, ink: black})
			d.text += fmt.Sprintf(" %s failed in the week of %s.", counted(x.failed[week], "proof"), c.at(week).Format("2 January 2006"))
		}
	}
	if len(x.failed) > 0 {
		d.add(label{x: left - 1.2, y: bottom + 3, size: weekChartText, words: say("failed"), align: atRight, ink: black})
	}
	d.add(
		label{x: left, y: bottom + 7, size: weekChartText, words: say("%s", c.at(from).Format("2 Jan 2006")), ink: dark},
		label{x: right, y: bottom + 7, size: weekChartText, words: say("%s", c.at(to).Format("2 Jan 2006")), align: atRight, ink: dark},
	)
	return d
}

// besideLine is a word at a vertical line, to the side where there is room for it.
func besideLine(x, y float64, word string) label {
	l := label{x: x, y: y, size: weekChartText, words: say("%s", word), ink: black}
	if x > smallWidth*0.6 {
		l.align = atRight
	}
	return l
}

// A weekOfReadings is what the readings of a week say: lowest, highest, mean.
type weekOfReadings struct {
	week            float64
	low, high, mean float64
	n               int
}

// byWeek puts the readings of each week together; gross ones are left out.
func (c *InstrumentChart) byWeek() (list []weekOfReadings) {
	for _, r := range c.Readings {
		if r.Gross {
			continue
		}
		week := math.Floor(r.Week)
		i, found := slices.BinarySearchFunc(list, week, func(k weekOfReadings, week float64) int { return int(k.week - week) })
		if !found {
			list = slices.Insert(list, i, weekOfReadings{week: week, low: r.Percent, high: r.Percent})
		}
		k := &list[i]
		k.low, k.high = min(k.low, r.Percent), max(k.high, r.Percent)
		k.mean += (r.Percent - k.mean) / float64(k.n+1)
		k.n++
	}
	return list
}
