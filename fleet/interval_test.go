package fleet

import (
	"math"
	"testing"
)

func TestStaircase(t *testing.T) {
	r := DefaultReview()
	for _, c := range []struct {
		name  string
		days  int
		found float64
		want  int
	}{
		{"small error", 364, 2, 455},
		{"80 % of the tolerance, limit included", 364, -4, 455},
		{"between", 364, 4.5, 364},
		{"at the tolerance", 364, 5, 364},
		{"out of tolerance", 364, -5.1, 182},
		{"not a number", 364, math.NaN(), 182},
		{"never under the least", 40, 9, 30},
		{"never over ten years", 3600, 0, 3652},
	} {
		if got := r.Staircase(c.days, c.found, 5); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}

// On a steady drift the usual staircase comes to rest where the error is found between
// 80 and 100 % of the tolerance.
func TestStaircaseComesToRest(t *testing.T) {
	r := DefaultReview()
	for _, rate := range []float64{0.02, 0.05, 0.1, 0.25} { // percent a week
		days := 90
		for range 60 {
			days = r.Staircase(days, rate*float64(days)/daysPerWeek, 5)
		}
		if share := rate * float64(days) / daysPerWeek / 5; share < 0.8 || share > 1 {
			t.Errorf("%v %% a week: at rest at %v of the tolerance", rate, share)
		}
	}
}

// A staircase without a middle finds a share R of services in tolerance that solves
// R ln(1+a) + (1-R) ln(1-b) = 0, whatever the drift. Source: the reactive method A1 of
// NCSLI RP-1, from memory; the shares were computed with scipy 1.10.1.
func TestStaircaseInTheLongRun(t *testing.T) {
	for _, c := range []struct{ a, b, want float64 }{
		{0.1, 0.5, 0.8791}, {0.1, 0.55, 0.8934}, {0.1, 0.7, 0.9266}, {0.05, 0.5, 0.9342}, {0.2, 0.5, 0.7917},
	} {
		r := Review{Within: 1, Longer: 1 + c.a, Shorter: 1 - c.b, Least: 1, Most: 1 << 40}
		const services, rate = 20000, 1e-8
		days, in := 1<<20, 0
		for range services {
			found := rate * float64(days)
			if found <= 5 {
				in++
			}
			days = r.Staircase(days, found, 5)
		}
		if share := float64(in) / services; !near(share, c.want, 0.002) {
			t.Errorf("a %v, b %v: %v in tolerance, want %v", c.a, c.b, share, c.want)
		}
	}
}

func TestControlChartInterval(t *testing.T) {
	r := DefaultReview()
	for _, c := range []struct {
		name                     string
		drift, driftError, noise float64
		want                     int
	}{
		{"drift alone: 5 % at 0.25 % a week are 20 weeks", 0.25, 0, 0, 140},
		{"drift the other way", -0.25, 0, 0, 140},
		// 1.959964 x 0.6 % = 1.17598 %, and 3.82402 / 0.25 weeks.
		{"noise takes its part", 0.25, 0, 0.6, 107},
		// 5 / (0.25 + 1.959964 x 0.05) weeks.
		{"so does what is not known of the drift", 0.25, 0.05, 0, 100},
		{"no drift: ten years", 0, 0, 0, 3652},
		{"noise beyond the tolerance: the least", 0.25, 0, 6, 30},
	} {
		if got := r.ControlChart(c.drift, c.driftError, c.noise, 5, 0.95); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}
