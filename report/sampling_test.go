package report

import (
	"crypto/sha256"
	"fmt"
	"math"
	"slices"
	"testing"
)

// Source of the chances: the sum of C(bad, x) C(lot-bad, n-x) / C(lot, n) in exact
// fractions of Python 3.11.
func TestPlanPasses(t *testing.T) {
	for _, c := range []struct {
		lot, bad, size, accept int
		want                   float64
	}{
		{100, 1, 13, 0, 0.87},
		{250, 3, 32, 0, 0.6618795180722892},
		{1000, 10, 80, 2, 0.9607516815523858},
		{1000, 50, 80, 2, 0.2186447254041694},
		{1000, 100, 80, 2, 0.008598981173940895},
		{20, 1, 5, 0, 0.75},
		{2, 1, 2, 0, 0},
		{3000, 150, 125, 3, 0.11851869808486727},
		{600000, 6000, 1250, 21, 0.9910023719626466},
		{9, 1, 13, 0, 0}, // the whole lot is checked
		{9, 0, 13, 0, 1},
		{0, 0, 13, 0, 1},
	} {
		p := SamplingPlan{Size: c.size, Accept: c.accept}
		if got := p.Passes(c.lot, c.bad); math.Abs(got-c.want) > 1e-8 {
			t.Errorf("%d bad of %d, %d drawn, %d accepted: %.12f, want %.12f", c.bad, c.lot, c.size, c.accept, got, c.want)
		}
	}
}

// A plan for an AQL of 1 % passes lots with 1 % bad mostly. Source: ISO 2859-1 is made
// so that lots of the AQL pass with a chance of 87 to 99 % (from memory of its tables of
// operating characteristics).
func TestPlansPassWhatTheyAreMeantFor(t *testing.T) {
	for lot := 100; lot < 2_000_000; lot = (lot/80 + 1) * 100 {
		p := PlanFor(lot)
		one, five, ten := p.Passes(lot, lot/100), p.Passes(lot, lot/20), p.Passes(lot, lot/10)
		if one < 0.86 || one > 0.9999 || five >= one || ten >= five {
			t.Errorf("lot of %d, sample of %d, accept %d: passes %.3f %.3f %.3f", lot, p.Size, p.Accept, one, five, ten)
		}
	}
}

func TestDrawing(t *testing.T) {
	records := make([]*Filed, 6000)
	for i := range records {
		records[i] = &Filed{Record: fmt.Sprintf("R%d", i), Version: 1 + i%2}
	}
	draw := func(seed string, list []*Filed) (names []string) {
		d := urn{seed: seed}
		for _, f := range list {
			d.add(f)
		}
		for _, f := range d.sample(PlanFor(len(list))).Records {
			names = append(names, f.Name())
		}
		return names
	}
	seed := seedOf("site", ISOWeek{2026, 12})
	got := draw(seed, records)
	if len(got) != 200 {
		t.Fatalf("drew %d of 6000", len(got))
	}
	backwards := slices.Clone(records)
	slices.Reverse(backwards)
	if !slices.Equal(got, draw(seed, backwards)) {
		t.Error("the order in which records come changes the sample")
	}
	if slices.Equal(got, draw(seedOf("site", ISOWeek{2026, 13}), records)) {
		t.Error("another week draws the same places")
	}
	// By hand: the smallest SHA-256 over seed, slash and name come first, which
	// sha256sum tells as well.
	var sums []string
	for _, f := range records {
		sums = append(sums, fmt.Sprintf("%x %s", sha256.Sum256([]byte("site 2026-W12/"+f.Name())), f.Name()))
	}
	slices.Sort(sums)
	for i, name := range got {
		if want := sums[i][65:]; name != want {
			t.Fatalf("draw %d is %s, want %s", i, name, want)
		}
	}
}

// Every record is as likely as any other: over many weeks each tenth of the records is
// drawn equally often. Source: the chi-square distribution with 9 degrees of freedom is
// above 27.88 once in a thousand times (tables).
func TestDrawingIsFair(t *testing.T) {
	var drawn [10]float64
	total := 0.0
	for week := range 200 {
		d := urn{seed: seedOf("site", ISOWeek{2000, 1}.Add(week))}
		for i := range 400 {
			d.add(&Filed{Record: fmt.Sprintf("R%03d", i), Version: 1, Readings: i})
		}
		for _, f := range d.sample(SamplingPlan{Size: 20}).Records {
			drawn[f.Readings/40]++
			total++
		}
	}
	chi := 0.0
	for _, n := range drawn {
		chi += (n - total/10) * (n - total/10) / (total / 10)
	}
	if chi > 27.88 {
		t.Errorf("chi-square %.1f of %v", chi, drawn)
	}
}
