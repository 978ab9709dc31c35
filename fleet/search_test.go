package fleet

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The findings of each week, in the order in which they were taken in, with sizes in
// standard errors and margins, as the other program has them. It asks for 4.11
// standard errors and for one reading on each side of a step.
func TestForwardSearchOfTheFixture(t *testing.T) {
	points, want := readFixture(t)
	for _, week := range want.ByWeek {
		m := forward(points, SearchOptions{Until: week.W, Critical: 4.11, side: 1, plain: true})
		got := [][5]any{}
		for _, f := range m.fits {
			got = append(got, [5]any{
				m.l.parties[f.party].id, f.kind.String(), f.start, math.Round(f.t*100) / 100, math.Round(f.margin*10) / 10,
			})
		}
		if diff := cmp.Diff(week.Found, got); diff != "" {
			t.Errorf("week %v (-want +got):\n%s", week.W, diff)
		}
	}
	m := forward(points, SearchOptions{Until: 13, Critical: 4.11, side: 1, plain: true})
	for k, w := range want.Forward {
		f := m.fits[k]
		if m.l.parties[f.party].id != w.Instrument || f.kind.String() != w.Kind || f.start != w.AtWeek ||
			!near(f.t, w.T, 6e-4) || !near(f.margin, w.Margin, 6e-3) {
			t.Errorf("%+v, want %+v", f, w)
		}
	}
}

// What was put into the fixture comes out: who, what, since when and how much.
func TestWatchFindsWhatWasPutIn(t *testing.T) {
	points, _ := readFixture(t)
	f := Watch(points, SearchOptions{Until: 13})
	truth := map[string]Fault{
		"I00": {Kind: Drift, Size: 0.25}, "U4": {Kind: Drift, Size: -0.30, Unit: true}, "I07": {Kind: Step, Size: 3, Start: 6},
	}
	if len(f.Faults) != 3 {
		t.Fatalf("%d faults: %+v", len(f.Faults), f.Faults)
	}
	for _, got := range f.Faults {
		want := truth[got.Instrument]
		if got.Kind != want.Kind || got.Unit != want.Unit || got.Start != want.Start || !got.Confirmed ||
			got.Earliest > want.Start || got.Latest < want.Start || !near(got.Size, want.Size, 3*got.Error) {
			t.Errorf("%+v", got)
		}
	}
	if !near(f.Noise, 0.6, 0.05) || len(f.Parts) != 1 || f.Parts[0].Alone || len(f.Levels) != 35 || f.Rank != 37 {
		t.Errorf("noise %v, parts %+v, %d levels, rank %d", f.Noise, f.Parts, len(f.Levels), f.Rank)
	}
}

// The own part of an instrument's errors is its line and noise, whatever happens to
// those that it was proved on.
func TestOwnPartIsFreeOfTheOthersFaults(t *testing.T) {
	points, _ := readFixture(t)
	f := Search(points, SearchOptions{Until: 13})
	for _, id := range []string{"I04", "I13", "I22"} { // at home on U4, which drifts
		own := f.Own(id, false)
		var early, late []float64
		for _, p := range own {
			if p.Week < 6.5 {
				early = append(early, p.Percent)
			} else {
				late = append(late, p.Percent)
			}
		}
		if shift := math.Abs(Median(late) - Median(early)); len(own) < 15 || shift > 0.6 { // U4 itself shifts by 2 %
			t.Errorf("%s: %d points, shifts by %.2f %%", id, len(own), shift)
		}
	}
	if f.Own("I99", false) != nil || f.Own("U4", false) != nil {
		t.Error("an instrument that is not there has points")
	}
}

func TestGrossReadingsAreSpikes(t *testing.T) {
	points, _ := readFixture(t)
	gross := []int{100, 300, 301, 555, 779}
	for _, i := range gross {
		points[i].Percent += 5
	}
	f := Watch(points, SearchOptions{Until: 13})
	var got []Point
	for _, s := range f.Spikes {
		got = append(got, s.Point)
	}
	for _, i := range gross {
		if !slices.Contains(got, points[i]) {
			t.Errorf("row %d is no spike", i)
		}
	}
	if len(got) != len(gross) || len(f.Faults) != 3 {
		t.Errorf("%d spikes, %d faults", len(got), len(f.Faults))
	}
}

// Where the start lies within the window, a drift is reported from there.
func TestDriftStart(t *testing.T) {
	points, _ := readFixture(t)
	for i := range points {
		if points[i].Indicator == "I12" {
			points[i].Percent += 1.2 * max(0, points[i].Week-7)
		}
	}
	f := Search(points, SearchOptions{Until: 13})
	i := slices.IndexFunc(f.Faults, func(f Fault) bool { return f.Instrument == "I12" })
	if i < 0 || f.Faults[i].Kind != Drift || f.Faults[i].Earliest > 7 || f.Faults[i].Latest < 7 ||
		!near(f.Faults[i].Size, 1.2, 3*f.Faults[i].Error) || len(f.Faults) != 4 {
		t.Errorf("%+v", f.Faults)
	}
}

// Names, units of the error and a shift of all indicators do not change what is found.
func TestSearchInvariants(t *testing.T) {
	points, _ := readFixture(t)
	want := Search(points, SearchOptions{Until: 13}).Faults
	rapid.Check(t, func(t *rapid.T) {
		factor := rapid.SampledFrom([]float64{-2, -1, 0.125, 1, 8}).Draw(t, "factor")
		shift := rapid.Float64Range(-20, 20).Draw(t, "shift")
		suffix := rapid.StringMatching(`[a-z]{0,3}`).Draw(t, "suffix")
		changed := slices.Clone(points)
		for i := range changed {
			p := &changed[i]
			p.Percent = p.Percent*factor + shift
			p.Indicator, p.Unit = "x"+suffix+p.Indicator, "x"+suffix+p.Unit
		}
		got := Search(changed, SearchOptions{Until: 13}).Faults
		if len(got) != len(want) {
			t.Fatalf("%d faults, want %d", len(got), len(want))
		}
		for i, f := range got {
			w := want[i]
			if f.Kind != w.Kind || f.Start != w.Start || !near(f.T, w.T, 1e-6) || !near(f.Size, w.Size*factor, 1e-6) ||
				f.Unit != w.Unit || !strings.HasSuffix(f.Instrument, suffix+w.Instrument) {
				t.Fatalf("%+v, want %+v", f, w)
			}
		}
	})
}

// key is what a search found, to the digits that two ways of solving share.
func (f *Findings) key() (s []string) {
	for _, f := range f.Faults {
		s = append(s, fmt.Sprintf("%s %v %v [%v %v] %.6f %.6f %.4f %.4f", f.Instrument, f.Kind, f.Start, f.Earliest, f.Latest,
			f.Size, f.Error, f.T, f.Margin)) // rivals may tie
	}
	slices.Sort(s)
	for _, p := range f.Spikes {
		s = append(s, fmt.Sprintf("%s %s %v", p.Indicator, p.Unit, p.Week))
	}
	for _, l := range f.Levels {
		s = append(s, fmt.Sprintf("%s %v %.6f", l.Instrument, l.Unit, l.Percent))
	}
	return append(s, fmt.Sprint(f.Rank, f.DF))
}

// The short way of large fleets finds what whole rounds find.
func TestLargeFleetsAreSearchedAsSmallOnes(t *testing.T) {
	for _, outside := range []float64{0, 0.05} {
		points := largeFleet(10, 60_000, outside)
		short := Search(points, SearchOptions{Until: sceneWeeks})
		whole := Search(points, SearchOptions{Until: sceneWeeks, large: 1 << 30})
		sparse := Search(points, SearchOptions{Until: sceneWeeks, dense: -1})
		found := func(f *Findings) (s []string) {
			for _, f := range f.Faults {
				s = append(s, fmt.Sprintf("%s %v %v %.6f %.6f %v", f.Instrument, f.Kind, f.Start, f.Size, f.Error, f.Clear))
			}
			slices.Sort(s)
			return s
		}
		if diff := cmp.Diff(found(whole), found(short)); diff != "" || len(whole.Faults) < 5 {
			t.Errorf("outside %v, %d faults (-whole +short):\n%s", outside, len(whole.Faults), diff)
		}
		if diff := cmp.Diff(found(whole), found(sparse)); diff != "" {
			t.Errorf("outside %v (-whole +sparse):\n%s", outside, diff)
		}
	}
}

// Solving for levels each time finds what the inverted matrix finds, on random fleets
// with few and many crossed proofs, gross readings, parts and references.
func TestSparsePartsAreSearchedAsDenseOnes(t *testing.T) {
	faults, spikes := 0, 0
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 8))
		s := scene{
			home: []float64{0, 0.5, 0.8, 0.95, 1}[rng.IntN(5)], weekly: 20 + rng.IntN(60), noise: 0.6, faulty: true,
			gross: []float64{0, 0.02}[rng.IntN(2)],
		}
		points := s.points(rng)
		for i := range points { // two voltages
			if rng.IntN(3) == 0 {
				points[i].Expected = 440
			}
		}
		o := SearchOptions{Until: sceneWeeks}
		if rng.IntN(2) == 0 {
			o.References = []string{"U2"}
		}
		dense := Search(points, o)
		o.dense = -1
		sparse := Search(points, o)
		faults, spikes = faults+len(dense.Faults), spikes+len(dense.Spikes)
		if diff := cmp.Diff(dense.key(), sparse.key()); diff != "" {
			t.Errorf("seed %d, %+v (-dense +sparse):\n%s", seed, s, diff)
		}
	}
	if faults < 60 || spikes < 100 {
		t.Errorf("%d faults and %d spikes only", faults, spikes)
	}
}

func TestTooFewPointsFindNothing(t *testing.T) {
	for n := range 5 {
		f := Watch(crossed[:n], SearchOptions{Until: 10})
		if len(f.Faults) != 0 || len(f.Spikes) != 0 {
			t.Errorf("%d points: %+v", n, f)
		}
	}
}
