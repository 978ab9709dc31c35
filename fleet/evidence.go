package fleet

import (
	"cmp"
	"iter"
	"maps"
	"math"
	"math/bits"
	"slices"
	"strings"
	"time"

	"nilvolt/record"
)

// Evidence is what an assessment goes by besides its settings.
type Evidence struct {
	// Proofs are all proofs, in any order; those without a time and those after AsOf are
	// left out. They are gone through once, once more where AsOf is not set, and once more
	// for each older window.
	Proofs   iter.Seq[Proof]
	Register record.Register // may be nil
	// Services are the days on which instruments were serviced, by id, as far as they are
	// known besides those of the register.
	Services map[string][]record.Date
	AsOf     record.Instant // the moment; where it is not set, the last proof
}

// earlier parts the id of an instrument from the day of a service before which it is
// meant: what was adjusted or mended then is, for the search, another instrument.
const earlier = "\x00"

// plainID returns the id without the day of a service.
func plainID(id string) string {
	id, _, _ = strings.Cut(id, earlier)
	return id
}

// A window is what the proofs say, sorted out for an assessment.
type window struct {
	settings Settings
	register record.Register
	services map[string][]record.Date // by instrument, ascending, up to asOf
	asOf     record.Instant
	origin   record.Instant   // Monday 00:00 UTC; week 0
	until    float64          // week just after asOf
	points   []Point          // of the window, in order of time
	trials   []trial          // of the window, and older ones of instruments not serviced since; in order of time
	tried    int              // how many of them were of the window
	ends     map[float64]bool // weeks with which older windows end, see older
	parties  map[role]*tracked
	tracked  []*tracked // by number
}

// A role is an instrument as it takes part in proofs.
type role struct {
	id   string
	unit bool
}

// tracked is what is counted of one role.
type tracked struct {
	role
	number      int32
	count       Count
	first, last record.Instant   // proofs
	failed      []record.Instant // proofs since the last service
	numeric     int              // points within the window and since the last service
	steps       int              // proofs of the window and since the last service that showed a step
	// lows are the highest lower limits, highs the lowest upper ones that these steps leave
	// for the error, percent; ascending. See minSide: fewer than that could be gross readings.
	lows, highs [minSide]float64
	days        []uint64 // days of the window on which it was used, a bit each
}

// A trial is a proof of which it is known whether it passed.
type trial struct {
	week float64
	of   [2]int32 // numbers of indicator and unit; -1 for none, and before its last service
	// failed is whether it did not pass.
	failed bool
}

// gather sorts the evidence out.
func gather(from Evidence, s Settings) *window {
	e := &window{settings: s, register: from.Register, asOf: from.AsOf, parties: map[role]*tracked{}, ends: map[float64]bool{}}
	if !e.asOf.IsSet() {
		for p := range from.Proofs {
			if p.Time.IsSet() && (!e.asOf.IsSet() || e.asOf.Before(p.Time)) {
				e.asOf = p.Time
			}
		}
	}
	e.setOrigin()
	e.setServices(from)
	for _, id := range slices.Sorted(maps.Keys(e.register)) {
		e.party(role{id, e.register[id].Kind == record.ProvingUnit})
	}
	for p := range from.Proofs {
		if p.Time.IsSet() && p.Time.Compare(e.asOf) <= 0 {
			e.add(&p)
		}
	}
	slices.SortStableFunc(e.points, func(a, b Point) int { return cmp.Compare(a.Week, b.Week) })
	slices.SortStableFunc(e.trials, func(a, b trial) int { return cmp.Compare(a.week, b.week) })
	return e
}

// setServices gathers the days of service up to asOf.
func (e *window) setServices(from Evidence) {
	e.services = map[string][]record.Date{}
	today := e.asOf.Date()
	add := func(id string, day record.Date) {
		if day.IsSet() && !day.After(today) && !slices.Contains(e.services[id], day) {
			e.services[id] = append(e.services[id], day)
		}
	}
	for id, days := range from.Services {
		for _, day := range days {
			add(id, day)
		}
	}
	for id, i := range from.Register {
		add(id, i.Serviced)
	}
	for _, days := range e.services {
		slices.SortFunc(days, func(a, b record.Date) int { return a.DaysSince(b) })
	}
}

// setOrigin puts week 0 on the Monday with which the window begins, in UTC.
func (e *window) setOrigin() {
	if !e.asOf.IsSet() {
		return
	}
	const day = 24 * 3600
	begin := e.asOf.Unix() - int64(e.settings.Window)*7*day
	days := int64(math.Floor(float64(begin) / day))
	days -= ((days+3)%7 + 7) % 7 // 1970-01-01 was a Thursday
	e.origin = record.NewInstant(days*day, 0, 0)
	e.until = math.Nextafter(Weeks(e.asOf, e.origin), math.Inf(1))
}

// instant returns the time of a week.
func (e *window) instant(week float64) record.Instant {
	return e.origin.Add(time.Duration(week * float64(7*24*time.Hour)))
}

func (e *window) party(r role) *tracked {
	t := e.parties[r]
	if t == nil {
		t = &tracked{role: r, number: int32(len(e.tracked))}
		for k := range minSide {
			t.lows[k], t.highs[k] = math.Inf(-1), math.Inf(1)
		}
		e.parties[r] = t
		e.tracked = append(e.tracked, t)
	}
	return t
}

func (e *window) add(p *Proof) {
	week := Weeks(p.Time, e.origin)
	var sides [2]*tracked
	if p.Indicator != "" {
		sides[0] = e.party(role{p.Indicator, false})
	}
	if p.Source != "" && p.Source != record.Live && p.Source != p.Indicator {
		sides[1] = e.party(role{p.Source, true})
	}
	for _, t := range sides {
		if t != nil {
			t.see(p, week)
			if !p.Passed && e.stands(t.id, p.Time) {
				t.failed = append(t.failed, p.Time)
			}
		}
	}
	if sides[0] == nil {
		return
	}
	e.try(p, week, sides)
	if sides[1] == nil {
		return
	}
	if low, high, ok := p.ErrorInterval(); ok && week >= 0 && e.stands(p.Indicator, p.Time) {
		sides[0].step(low, high)
	}
	point, ok := e.point(p, week)
	switch {
	case !ok:
	case week < 0:
		e.older(&point)
	default:
		e.points = append(e.points, point)
		for k, id := range [...]string{point.Indicator, point.Unit} {
			if id == sides[k].id {
				sides[k].numeric++
			}
		}
	}
}

func (e *window) try(p *Proof, week float64, sides [2]*tracked) {
	t := trial{week: week, of: [2]int32{-1, -1}, failed: !p.Passed}
	for k, side := range sides {
		if side != nil && e.stands(side.id, p.Time) {
			t.of[k] = side.number
		}
	}
	if week >= 0 {
		e.tried++
	}
	if week >= 0 || t.of != [2]int32{-1, -1} {
		e.trials = append(e.trials, t)
	}
}

// point returns the point of a numeric proof of an indicator on a unit, each under the id
// under which it takes part at that time.
func (e *window) point(p *Proof, week float64) (Point, bool) {
	percent, ok := p.Error()
	return Point{e.idAt(p.Indicator, p.Time), e.idAt(p.Source, p.Time), p.Expected, week, percent}, ok
}

// idAt returns the id under which an instrument takes part in a numeric proof.
func (e *window) idAt(id string, at record.Instant) string {
	if day := e.before(id, at); day.IsSet() {
		return id + earlier + day.String()
	}
	return id
}

// stands reports whether an instrument was not serviced since.
func (e *window) stands(id string, at record.Instant) bool { return !e.before(id, at).IsSet() }

// older notes which windows hold a point of before the window, if one of its instruments
// was not serviced since. They end every half window, on the same days whatever the moment
// of the assessment, so that what one of them once showed is seen ever after; what shows
// within half a window lies in one of them as a whole.
func (e *window) older(p *Point) {
	if plainID(p.Indicator) != p.Indicator && plainID(p.Unit) != p.Unit {
		return
	}
	half := math.Max(1, float64(e.settings.Window/2))
	monday := float64(e.origin.Unix() / secondsPerWeek)
	begin := math.Floor((monday+p.Week)/half)*half - monday
	for _, end := range [...]float64{begin + half, begin + 2*half} {
		if end < float64(e.settings.Window) {
			e.ends[end] = true
		}
	}
}

// pointsOf returns the points of an older window, in order of time.
func (e *window) pointsOf(proofs iter.Seq[Proof], begin, end float64) []Point {
	var points []Point
	for p := range proofs {
		if !p.between() {
			continue
		}
		week := Weeks(p.Time, e.origin)
		if week < begin || week >= end {
			continue
		}
		if point, ok := e.point(&p, week); ok {
			points = append(points, point)
		}
	}
	slices.SortStableFunc(points, func(a, b Point) int { return cmp.Compare(a.Week, b.Week) })
	return points
}

// before returns the day of the first service of an instrument that an instant lies
// before the end of; not set where there is none.
func (e *window) before(id string, at record.Instant) record.Date {
	days := e.services[id]
	if len(days) == 0 {
		return record.Date{}
	}
	today := at.Date()
	for _, day := range days {
		if !today.After(day) {
			return day
		}
	}
	return record.Date{}
}

// use returns the days of use of an instrument a day, since the first proof of the window.
// One that rests counts a day: it may be taken up again, and must not lie unserviced for ever.
func (e *window) use(t *tracked) float64 {
	used := 0
	for _, word := range t.days {
		used += bits.OnesCount64(word)
	}
	begin := 0.0
	if len(e.trials) > 0 {
		begin = math.Floor(max(0, e.trials[0].week) * daysPerWeek)
	}
	return float64(max(1, used)) / max(1, math.Ceil(e.until*daysPerWeek)-begin)
}

// step counts a proof that showed a step, with the limits that it leaves for the error.
func (t *tracked) step(low, high float64) {
	t.steps++
	if low > t.lows[0] {
		t.lows[0] = low
		slices.Sort(t.lows[:])
	}
	if last := minSide - 1; high < t.highs[last] {
		t.highs[last] = high
		slices.Sort(t.highs[:])
	}
}

// see counts one proof.
func (t *tracked) see(p *Proof, week float64) {
	t.count.add(p)
	if !t.first.IsSet() || p.Time.Before(t.first) {
		t.first = p.Time
	}
	if t.last.Before(p.Time) || !t.last.IsSet() {
		t.last = p.Time
	}
	if week < 0 {
		return
	}
	day := int(week * daysPerWeek)
	for len(t.days) <= day/64 {
		t.days = append(t.days, 0)
	}
	t.days[day/64] |= 1 << (day % 64)
}
