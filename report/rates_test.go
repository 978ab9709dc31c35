package report

import (
	"math"
	"testing"
)

// Source: the examples of R's fisher.test: the tea that a lady tasted (Fisher, The
// Design of Experiments, 1935), of whose 4 cups with milk first she named 3, one-sided
// p = 0.2429, and convictions of twins (2 of 15 and 10 of 13), one-sided p = 0.0004652.
func TestHypergeometric(t *testing.T) {
	if p := 1 - hypergeometric(2, 8, 4, 4); math.Abs(p-0.2429) > 5e-5 {
		t.Errorf("tea: %.6f", p)
	}
	if p := hypergeometric(2, 30, 12, 17); math.Abs(p-0.0004652) > 5e-8 {
		t.Errorf("twins: %.8f", p)
	}
}

func TestChange(t *testing.T) {
	for _, c := range []struct {
		name        string
		now, before Count
		rows        int
		want        Change
	}{
		{"first week", Count{Records: 20, Failing: 20}, Count{}, 1, CannotTell},
		{"nothing came", Count{}, Count{Records: 20, Failing: 20}, 1, CannotTell},
		{"one of two, after two of forty", Count{Records: 2, Failing: 1}, Count{Records: 40, Failing: 2}, 1, CannotTell},
		{"much more", Count{Records: 20, Failing: 10}, Count{Records: 200, Failing: 10}, 1, Higher},
		{"much less", Count{Records: 200}, Count{Records: 200, Failing: 20}, 1, Lower},
		// The twins: p = 0.0005 on one side, which one in 40 lines stands and one in 60 does not.
		{"one of 40", Count{Records: 17, Failing: 2}, Count{Records: 13, Failing: 10}, 40, Lower},
		{"one of 60", Count{Records: 17, Failing: 2}, Count{Records: 13, Failing: 10}, 60, CannotTell},
	} {
		if got := change(c.now, c.before, c.rows); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
