package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"nilvolt/fleet"
	"nilvolt/record"
)

// How far a chart looks ahead, in weeks.
const (
	leastAhead = 13
	mostAhead  = 52
)

// ChartOf returns the chart of an instrument; services are the days on which it was
// serviced.
func ChartOf(f *fleet.Fleet, a *fleet.Assessment, services []record.Date) *InstrumentChart {
	c := &InstrumentChart{
		Title: chartTitle(f, a), Origin: f.Since.Time().UTC(), AsOf: f.Week(f.AsOf), Tolerance: a.Tolerance,
	}
	begin := math.Inf(1)
	for _, r := range f.Readings(a) {
		c.Readings = append(c.Readings, ChartReading{Week: r.Week, Percent: r.Own, Partner: r.Partner, Gross: r.Spike})
		if !r.Before {
			begin = min(begin, r.Week)
		}
	}
	for _, at := range a.Failed {
		if !at.Before(f.Since) {
			c.Failed = append(c.Failed, f.Week(at))
		}
	}
	slices.Sort(c.Failed)
	if a.Measured && begin < c.AsOf {
		c.Level, c.Limits = levelLine(f, a, begin, c.AsOf), 3*f.Noise
		if math.IsNaN(c.Limits) {
			c.Limits = 0
		}
	}
	c.Note = chartNote(a, len(c.Readings))
	c.Forecast = forecastBand(f, a, c.AsOf)
	c.flags(f, a, services)
	c.Text = c.Title + ". " + c.words()
	return c
}

// chartTitle is what there is to know, in a line or two.
func chartTitle(f *fleet.Fleet, a *fleet.Assessment) string {
	title := a.Instrument + ": "
	if a.State != fleet.StateDrifting && a.State != fleet.StateStepped { // whose summary says it
		title += InstrumentState(a.State) + ", "
	}
	title += InstrumentSummary(f, a)
	const soon = 104 // weeks: what lies beyond helps nobody to plan
	if a.Confirmed() && a.NotBefore.IsSet() && !a.OutOfTolerance() && f.Week(a.NotBefore) < f.Week(f.AsOf)+soon {
		title += "; not out of tolerance before " + utcDay(a.NotBefore)
	}
	return title
}

// chartNote says why a chart has no reading.
func chartNote(a *fleet.Assessment, readings int) string {
	switch {
	case readings > 0:
		return ""
	case a.Steps > 0 && a.StepLow < a.StepHigh:
		return fmt.Sprintf("it shows steps: with its unit's its error lies from %s to %s", limitWords(a.StepLow), limitWords(a.StepHigh))
	case a.Steps > 0:
		return "it shows steps, not always the right one: see its failed proofs"
	}
	return "no proof of the last half year tells of its error"
}

// limitWords writes a limit that may be none.
func limitWords(v float64) string {
	if math.IsInf(v, 0) {
		return "no limit"
	}
	return signedTenth(v) + " %"
}

// levelLine returns the error without noise, week by week, steps as steps.
func levelLine(f *fleet.Fleet, a *fleet.Assessment, from, to float64) []ChartPoint {
	const justBefore = 1e-6
	line := []ChartPoint{{from, f.ErrorAt(a, from)}}
	for week := math.Floor(from) + 1; week < to; week++ {
		line = append(line, ChartPoint{week - justBefore, f.ErrorAt(a, week-justBefore)}, ChartPoint{week, f.ErrorAt(a, week)})
	}
	return append(line, ChartPoint{to, f.ErrorAt(a, to)})
}

// forecastBand returns where the error is likely to be after the assessment: level, drift
// and wander with what they are uncertain by, 90 %.
func forecastBand(f *fleet.Fleet, a *fleet.Assessment, asOf float64) []ChartBand {
	if a.Forecast == nil || a.State == fleet.StateWithdrawn {
		return nil
	}
	const z = 1.6448536269514722 // the 95 % point of the normal distribution
	c, ahead := a.Forecast, float64(leastAhead)
	for _, t := range []record.Instant{a.NotBefore, a.Likely} {
		if t.IsSet() {
			ahead = max(ahead, f.Week(t)-asOf+2)
		}
	}
	ahead = min(ahead, mostAhead)
	var band []ChartBand
	for week := asOf; week <= asOf+ahead; week++ {
		h := max(0, week-f.Week(a.Last))
		middle := c.Level + c.Drift*h
		half := z * math.Sqrt(c.LevelError*c.LevelError+c.DriftError*c.DriftError*h*h+c.Wander*c.Wander*h)
		band = append(band, ChartBand{week, middle - half, middle, middle + half})
	}
	return band
}

// flags marks services, faults, the day of the assessment, and what is to come.
func (c *InstrumentChart) flags(f *fleet.Fleet, a *fleet.Assessment, services []record.Date) {
	add := func(week, from, to float64, word string, fault bool) {
		c.Flags = append(c.Flags, ChartFlag{Week: week, From: from, To: to, Word: word, Fault: fault})
	}
	on := func(d record.Date) float64 { return c.weekOf(timeOf(d)) }
	for _, d := range services {
		add(on(d), on(d), on(d), "serviced "+d.String(), false)
	}
	for i := range a.Faults {
		d := &a.Faults[i]
		if !d.Confirmed {
			continue
		}
		word := "step"
		if d.Kind == fleet.Drift {
			word = "drift begins"
			if d.Older {
				word = "drift, from here or before"
			}
		}
		week := f.Week(d.Began)
		if first, _ := c.span(); d.Kind == fleet.Drift && !d.Seen.IsSet() { // it goes on within the picture
			week = max(week, first)
		}
		add(week, f.Week(d.BeganEarliest), f.Week(d.BeganLatest), word, true)
	}
	if r := &a.Rate; r.TooOften {
		add(f.Week(r.Began), f.Week(r.Began), f.Week(r.Began), "fails too often", true)
	}
	add(c.AsOf, c.AsOf, c.AsOf, "as of "+utcDay(f.AsOf), false)
	if d := a.Due().Date; d.IsSet() && a.State != fleet.StateWithdrawn {
		add(on(d), on(d), on(d), "service by "+d.String(), false)
	}
	from, to := c.span()
	c.Flags = slices.DeleteFunc(c.Flags, func(f ChartFlag) bool { return f.Week < from-1e-9 || f.Week > to })
	slices.SortStableFunc(c.Flags, func(a, b ChartFlag) int {
		switch {
		case a.Week < b.Week:
			return -1
		case a.Week > b.Week:
			return 1
		}
		return 0
	})
}

// timeOf returns the beginning of a day, UTC.
func timeOf(d record.Date) time.Time {
	t, _ := time.Parse(time.DateOnly, d.String())
	return t
}

// words says what can be seen on the chart.
func (c *InstrumentChart) words() string {
	var b strings.Builder
	from, to := c.span()
	fmt.Fprintf(&b, "The error in percent from %s to %s, %d proofs", c.at(from).Format(time.DateOnly), c.at(to).Format(time.DateOnly), len(c.Readings))
	if names := c.partners(); len(names) > 0 {
		b.WriteString(", most of them with " + strings.Join(names, ", "))
	}
	b.WriteString(".")
	if n := len(c.Level); n > 0 {
		fmt.Fprintf(&b, " The level goes from %s %% to %s %%.", signedTenth(c.Level[0].Percent), signedTenth(c.Level[n-1].Percent))
	}
	if n := len(c.Forecast); n > 0 {
		last := c.Forecast[n-1]
		fmt.Fprintf(&b, " In %s it will be from %s %% to %s %%, with a chance of 90 %%.", c.at(last.Week).Format("January 2006"), signedTenth(last.Low), signedTenth(last.High))
	}
	if n := len(c.Failed); n > 0 {
		fmt.Fprintf(&b, " %s failed, from %s to %s.", counted(n, "proof"), c.at(c.Failed[0]).Format(time.DateOnly), c.at(c.Failed[n-1]).Format(time.DateOnly))
	}
	for _, f := range c.Flags {
		fmt.Fprintf(&b, " %s: %s.", c.at(f.Week).Format(time.DateOnly), f.Word)
	}
	if c.Note != "" {
		b.WriteString(" " + c.Note + ".")
	}
	return b.String()
}

// FleetPictureOf returns the picture of a fleet.
func FleetPictureOf(f *fleet.Fleet) *FleetPicture {
	p := &FleetPicture{}
	proofs, first := 0, f.AsOf
	for _, pair := range f.Pairs() {
		p.Pairs = append(p.Pairs, FleetPair(pair))
		proofs += pair.Proofs
	}
	for i := range f.Instruments {
		a := &f.Instruments[i]
		if a.Part < 0 {
			continue
		}
		if a.First.IsSet() && a.First.Before(first) {
			first = a.First
		}
		m := FleetMember{ID: a.Instrument, Part: a.Part}
		if a.State != fleet.StateSteady {
			m.Word, m.Heavy = InstrumentState(a.State), a.State != fleet.StateWatch && a.State != fleet.StateWithdrawn
		}
		if a.Kind == record.ProvingUnit {
			p.Units = append(p.Units, m)
		} else {
			p.Indicators = append(p.Indicators, m)
		}
	}
	if first.Before(f.Since) {
		first = f.Since
	}
	p.Title = fmt.Sprintf("Who was proved on whom, %s to %s: %s of %s on %s",
		utcDay(first), utcDay(f.AsOf), counted(proofs, "proof"), counted(len(p.Indicators), "indicator"), counted(len(p.Units), "unit"))
	p.Text = p.Title + ". " + partWords(f) + " The area of a disc is the number of proofs; the numbers at the end are the proofs of each row and column."
	return p
}

// partWords says into how many parts a fleet falls.
func partWords(f *fleet.Fleet) string {
	if len(f.Parts) < 2 {
		return "All can be compared with each other."
	}
	return fmt.Sprintf("They fall into %d parts that cannot be compared with each other.", len(f.Parts))
}

// PlanCalendar returns a service plan as a calendar; origin tells the ledger from others.
func PlanCalendar(f *fleet.Fleet, p fleet.ServicePlan, origin string) Calendar {
	c := Calendar{Name: "Service plan", Origin: origin, AsOf: f.AsOf.Time().UTC()}
	for _, s := range append(slices.Clone(p.Services), p.Left...) {
		e := CalendarEntry{First: timeOf(s.From), Days: 7, Summary: "Service " + s.Instrument}
		serviced := "never"
		if s.Registered != nil && s.Registered.Serviced.IsSet() {
			serviced = s.Registered.Serviced.String()
		}
		e.UID = "service/" + s.Instrument + "/" + serviced
		lines := []string{InstrumentKind(s.Kind) + ", " + InstrumentState(s.State) + ": " + InstrumentSummary(f, s.Assessment)}
		for _, d := range s.Reasons {
			lines = append(lines, "by "+d.Date.String()+": "+DueWords(d.Reason))
		}
		if s.Late {
			lines = append(lines, "keep it out of use from that day until it has been serviced")
		}
		if s.Week < 0 {
			e.First, e.Days = timeOf(s.Due().Date), 1
			e.Summary = "No place on the bench for " + s.Instrument
			lines = append(lines, "due within the plan, and no week has room; keep it out of use from that day on")
		}
		e.Description = strings.Join(lines, "\n")
		c.Entries = append(c.Entries, e)
	}
	return c
}
