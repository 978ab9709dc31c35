package report

import (
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot/vg"
)

// An InstrumentChart is the picture of the error of one instrument over time. Weeks
// count from Origin, errors are percent of the expected voltage.
type InstrumentChart struct {
	Title  string    // what there is to know, in a line
	Text   string    // what can be seen, for who cannot
	Origin time.Time // week 0
	AsOf   float64   // week: what is known ends here

	Readings  []ChartReading
	Failed    []float64    // weeks of failed proofs, with a number or without
	Level     []ChartPoint // the level with its faults, from point to point
	Limits    float64      // what a good reading may be off the level, percent; 0 for no limits
	Tolerance float64      // percent on both sides; 0 where there is none
	Flags     []ChartFlag
	Forecast  []ChartBand // by week, from AsOf on; nil where there is none
	Note      string      // written across a plot that has nothing else to show
}

// A ChartReading is what a proof says of the instrument, apart from its partner's error.
type ChartReading struct {
	Week, Percent float64
	Partner       string // the instrument on the other side
	Gross         bool   // left out as a gross reading
}

// A ChartPoint is a point of a line.
type ChartPoint struct{ Week, Percent float64 }

// A ChartBand is where the error is likely to be in a week.
type ChartBand struct{ Week, Low, Middle, High float64 }

// A ChartFlag marks a week: a service, the start of a fault, a due date.
type ChartFlag struct {
	Week float64
	// From and To are the ends of the time in which it may have been; equal to Week
	// where that is known.
	From, To float64
	Word     string
	Fault    bool // drawn heavier than the rest
}

// The size of a chart: it can be read on a phone held upright, and half a page takes it.
const (
	chartWidth  = 150 * vg.Millimeter
	chartHeight = 95 * vg.Millimeter
)

// manyPartners is how many partners have a shape of their own.
const manyPartners = 4

// partners returns the partners that have a shape of their own, those with most readings
// first.
func (c *InstrumentChart) partners() []string {
	count := map[string]int{}
	var list []string
	for _, r := range c.Readings {
		if count[r.Partner] == 0 {
			list = append(list, r.Partner)
		}
		count[r.Partner]++
	}
	slices.SortFunc(list, func(a, b string) int {
		if count[a] != count[b] {
			return count[b] - count[a]
		}
		return strings.Compare(a, b)
	})
	return list[:min(len(list), manyPartners)]
}

// span returns the first and the last week of the picture.
func (c *InstrumentChart) span() (from, to float64) {
	from, to = c.AsOf-1, c.AsOf
	for _, r := range c.Readings {
		from = min(from, r.Week)
	}
	if len(c.Failed) > 0 {
		from = min(from, c.Failed[0])
	}
	for _, b := range c.Forecast {
		to = max(to, b.Week)
	}
	return from, to
}

// reach returns the lowest and the highest error of the picture: all that is known, and
// the tolerance. Of a forecast it shows what lies within twice the tolerance.
func (c *InstrumentChart) reach() (low, high float64) {
	for _, p := range c.Level {
		low, high = min(low, p.Percent-c.Limits), max(high, p.Percent+c.Limits)
	}
	for _, r := range c.Readings {
		if !r.Gross {
			low, high = min(low, r.Percent), max(high, r.Percent)
		}
	}
	low, high = min(low, -c.Tolerance), max(high, c.Tolerance)
	if low == 0 && high == 0 {
		low, high = -1, 1
	}
	room := 0.08 * (high - low)
	return low - room, high + room
}

// at returns the day of a week.
func (c *InstrumentChart) at(week float64) time.Time {
	return c.Origin.Add(time.Duration(week * 7 * 24 * float64(time.Hour)))
}

// weekOf returns the week of a day.
func (c *InstrumentChart) weekOf(t time.Time) float64 { return t.Sub(c.Origin).Hours() / (7 * 24) }

// percentSteps are the distances of the lines of the grid.
var percentSteps = []float64{0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000}

// percentStep returns the distance of lines that divides a range into six parts at most.
func percentStep(low, high float64) float64 {
	for _, s := range percentSteps {
		if (high-low)/s <= 6 {
			return s
		}
	}
	return math.Pow(10, math.Ceil(math.Log10((high-low)/6)))
}
