package fleet

import (
	"cmp"
	"slices"

	"nilvolt/record"
)

// secondsPerWeek turns the difference of two instants into weeks.
const secondsPerWeek = 7 * 24 * 3600

// Weeks returns the time from origin to t in weeks. Leap seconds do not count.
func Weeks(t, origin record.Instant) float64 {
	whole := float64(t.Unix() - origin.Unix())
	return (whole + float64(t.Nanosecond()-origin.Nanosecond())/1e9) / secondsPerWeek
}

// A Point is the relative error of one numeric proof.
type Point struct {
	Indicator string
	Unit      string  // the proving unit
	Expected  float64 // volts that the unit puts out, above 0
	Week      float64 // time in weeks from the origin
	Percent   float64 // relative error
}

// An Interval is what a stepped indicator says of its relative error.
type Interval struct {
	Indicator, Unit string
	Expected        float64 // volts, above 0
	Week            float64
	Low, High       float64 // percent; at least Low, less than High; High may be +Inf
}

// A Count is how the proofs of one instrument went. A proof counts for its
// indicator and for its proving unit.
type Count struct {
	Proofs     int // all of them
	Failed     int // did not pass; retried and unreadable ones among them
	Retried    int // failed, and a later one of the series passed
	Unreadable int // without a value
	OnLive     int // on a known live source, whose voltage is nobody's error
	Unknown    int // without a source or an expected voltage
}

// A Series is what the proofs of a fleet say, sorted out. The points and
// intervals are in order of time.
type Series struct {
	Points    []Point
	Intervals []Interval
	Counts    map[string]Count // by id of indicator and of proving unit
}

// NewSeries sorts proofs out: relative errors of numeric proofs on proving
// units, intervals of stepped ones, and counts of all. Proofs that failed keep
// their points, since an instrument that has drifted out of tolerance fails.
// Proofs on a known live source, without a source, on the indicator itself or
// without an expected voltage give a count and no point.
func NewSeries(proofs []Proof, origin record.Instant) *Series {
	s := &Series{Counts: make(map[string]Count)}
	for i := range proofs {
		p := &proofs[i]
		s.count(p)
		if !p.between() {
			continue
		}
		week := Weeks(p.Time, origin)
		if percent, ok := p.Error(); ok {
			s.Points = append(s.Points, Point{p.Indicator, p.Source, p.Expected, week, percent})
		}
		if low, high, ok := p.ErrorInterval(); ok {
			s.Intervals = append(s.Intervals, Interval{p.Indicator, p.Source, p.Expected, week, low, high})
		}
	}
	slices.SortStableFunc(s.Points, func(a, b Point) int { return cmp.Compare(a.Week, b.Week) })
	slices.SortStableFunc(s.Intervals, func(a, b Interval) int { return cmp.Compare(a.Week, b.Week) })
	return s
}

// between reports whether p compares an indicator with a proving unit.
func (p *Proof) between() bool {
	return p.Indicator != "" && p.Source != "" && p.Source != record.Live &&
		p.Source != p.Indicator && p.Time.IsSet()
}

func (s *Series) count(p *Proof) {
	for _, id := range []string{p.Indicator, p.Source} {
		if id == "" || id == record.Live || id == p.Indicator && id == p.Source {
			continue
		}
		c := s.Counts[id]
		c.add(p)
		s.Counts[id] = c
	}
}

// add counts one proof.
func (c *Count) add(p *Proof) {
	c.Proofs++
	if !p.Passed {
		c.Failed++
	}
	if p.Retried {
		c.Retried++
	}
	if p.Form == NoValue {
		c.Unreadable++
	}
	if p.Source == record.Live {
		c.OnLive++
	}
	if p.Source == "" || p.Source != record.Live && !(p.Expected > 0) {
		c.Unknown++
	}
}
