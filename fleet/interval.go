package fleet

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Review says how the interval from one service to the next is set anew. The two
// methods are the first of ILAC-G24:2022/OIML D 10, chapter on reviews of
// recalibration intervals, which prescribes no steps; those here are policy.
type Review struct {
	// Within is the share of the tolerance up to which an error lets the interval grow.
	Within float64
	// Longer and Shorter are what the interval is multiplied with when the error was
	// within that share, and when it was out of tolerance.
	Longer, Shorter float64
	// Least and Most bound the interval, in days.
	Least, Most int
}

// DefaultReview returns the usual staircase: a quarter longer within 80 % of the
// tolerance, half where it was out, from 30 days to the ten years beyond which no
// interval goes (NISTIR 6969, GMP 11).
func DefaultReview() Review {
	return Review{Within: 0.8, Longer: 1.25, Shorter: 0.5, Least: 30, Most: 3652}
}

// Staircase returns the next interval in days by the automatic or staircase method,
// from the interval that ends and the error that was found, both errors in percent.
// An error that is not a number counts as out of tolerance.
func (r Review) Staircase(days int, found, tolerance float64) int {
	next := float64(days)
	switch share := math.Abs(found) / tolerance; {
	case !(share <= 1):
		next *= r.Shorter
	case share <= r.Within:
		next *= r.Longer
	}
	return r.bound(next)
}

// ControlChart returns the next interval in days by the control chart method: the time
// in which an error that is 0 after service stays within the tolerance with the wanted
// confidence, from the drift in percent a week, its standard error, and the standard
// deviation of a reading.
func (r Review) ControlChart(drift, driftError, noise, tolerance, confidence float64) int {
	q := distuv.UnitNormal.Quantile((1 + confidence) / 2)
	within := func(days float64) bool {
		weeks := days / daysPerWeek
		return math.Abs(drift)*weeks+q*math.Hypot(driftError*weeks, noise) <= tolerance
	}
	low, high := 0.0, float64(r.Most)
	if within(high) {
		return r.bound(high)
	}
	for high-low > 1e-6 { // of a day
		if middle := (low + high) / 2; within(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return r.bound(low)
}

// bound rounds down to whole days within the bounds.
func (r Review) bound(days float64) int {
	return int(min(max(math.Floor(days+1e-6), float64(r.Least)), float64(r.Most)))
}
