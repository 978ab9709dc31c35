package fleet

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nilvolt/record"
)

// day returns noon of a day of March 2026, the zero Instant for 0.
func day(d int) record.Instant {
	if d == 0 {
		return record.Instant{}
	}
	return record.NewInstant(record.DaysFromCivil(2026, 3, d)*86400+12*3600, 0, 0)
}

func TestLookBack(t *testing.T) {
	use := func(id string, first, last int) Use {
		return Use{Record: id, Site: "Plant", Technician: "T1", First: day(first), Last: day(last)}
	}
	uses := []Use{use("R1", 2, 3), use("R2", 5, 6), use("R3", 6, 9), use("R4", 10, 10), use("R5", 14, 15), use("R6", 0, 0)}
	for _, c := range []struct {
		name    string
		good    []int
		failure Failure
		want    string
	}{
		{
			"failed proof: what ended by the last good proof is clear",
			[]int{3, 6, 2},
			Failure{Found: day(12)},
			"R5 certain, R6 in doubt, R3 in doubt, R4 in doubt, R1 clear, R2 clear",
		},
		{
			"good proofs after the failure clear nothing",
			[]int{13, 20},
			Failure{Found: day(12)},
			"R5 certain, R6 in doubt, R1 in doubt, R2 in doubt, R3 in doubt, R4 in doubt",
		},
		{
			"no good proof at all", nil,
			Failure{Found: day(12)},
			"R5 certain, R6 in doubt, R1 in doubt, R2 in doubt, R3 in doubt, R4 in doubt",
		},
		{
			"step between the 5th and the 10th: passed proofs clear nothing",
			[]int{4, 8, 11},
			Failure{Found: day(14), Earliest: day(5), Latest: day(10)},
			"R4 certain, R5 certain, R6 in doubt, R2 in doubt, R3 in doubt, R1 clear",
		},
		{"nothing is known", []int{4}, Failure{}, "R6 in doubt, R1 in doubt, R2 in doubt, R3 in doubt, R4 in doubt, R5 in doubt"},
	} {
		var good []record.Instant
		for _, d := range c.good {
			good = append(good, day(d))
		}
		var got []string
		for _, g := range LookBack(uses, good, c.failure) {
			got = append(got, g.Record+" "+g.Doubt.String())
		}
		if s := strings.Join(got, ", "); s != c.want {
			t.Errorf("%s:\ngot  %s\nwant %s", c.name, s, c.want)
		}
	}
}

// A proof that was not passed never clears a record, and no record is lost.
func TestLookBackFewerGoodProofsNeverClearMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.IntRange(1, 28)
		var uses []Use
		for range rapid.IntRange(0, 6).Draw(t, "uses") {
			first := days.Draw(t, "first")
			uses = append(uses, Use{First: day(first), Last: day(rapid.IntRange(first, 28).Draw(t, "last"))})
		}
		var good []record.Instant
		for range rapid.IntRange(1, 5).Draw(t, "proofs") {
			good = append(good, day(days.Draw(t, "good")))
		}
		failure := Failure{Found: day(days.Draw(t, "found"))}
		clear := func(g []record.Instant) (n int) {
			graded := LookBack(uses, g, failure)
			if len(graded) != len(uses) {
				t.Fatalf("%d of %d uses", len(graded), len(uses))
			}
			for _, u := range graded {
				if u.Doubt == Clear {
					n++
				}
				if u.Doubt == Clear && !u.Last.Before(failure.Found) {
					t.Fatal("a record after the failure is clear")
				}
			}
			return n
		}
		if clear(good[1:]) > clear(good) {
			t.Fatal("fewer good proofs clear more")
		}
	})
}
