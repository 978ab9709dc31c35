package verify_test

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/record"
	"nilvolt/verify"
)

// What docs/rules.md, section 3, says of single proofs: the tolerance of 10 %, the
// only output of a unit, steps, self-tests; and of series, in which a proof may be
// tried again until the indicator makes a dead test or 5 minutes have passed.
func TestProofs(t *testing.T) {
	register := record.Register{
		"PU-1": {ID: "PU-1", Kind: record.ProvingUnit, Outputs: []record.Volts{230}},
		"VI-9": {ID: "VI-9", Kind: record.Indicator, Stages: []record.Volts{50, 120, 230}},
	}
	for _, c := range []struct {
		name, rows string
		want       []string
	}{
		{"within tolerance, and not", `
			08:00 prove VI-1 PU-1 253/230
			08:01 test VI-1 N-L 0
			08:02 reprove VI-1 PU-1 253.1/230`, []string{"230 passes", "230 fails"}},
		{"tried again on the same unit", `
			08:00 prove VI-1 PU-1 12/230
			08:01 prove VI-2 PU-1 230/230
			08:04 prove VI-1 PU-1 230/230`, []string{"230 fails, retried", "230 passes", "230 passes"}},
		{"tried again too late", `
			08:00 prove VI-1 PU-1 12/230
			08:06 prove VI-1 PU-1 230/230`, []string{"230 fails", "230 passes"}},
		{"tried again after a dead test", `
			08:00 prove VI-1 PU-1 12/230
			08:01 test VI-1 N-L 0
			08:02 prove VI-1 PU-1 230/230`, []string{"230 fails", "230 passes"}},
		{"on another unit", `
			08:00 prove VI-1 PU-1 12/230
			08:01 prove VI-1 PU-2 230/230`, []string{"230 fails", "230 passes"}},
		{"the only output of the register", `
			08:00 prove VI-1 PU-1 231`, []string{"230 passes"}},
		{"nobody says what the source puts out", `
			08:00 prove VI-1 PU-2 231`, []string{"0 passes"}},
		{"rows out of order", `
			08:04 prove VI-1 PU-1 230/230
			08:00 prove VI-1 PU-1 ---/230`, []string{"230 passes", "230 fails, retried"}},
		{"behind a closing restore", `
			08:00 restore
			08:04 prove VI-1 PU-1 100/230`, []string{"230 fails"}},
		{"a self-test", `
			08:00 prove VI-1 vi-1 230/230`, []string{"230 fails"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec := worked(t, "R1", socket, c.rows)
			var got []string
			for _, p := range verify.NewJudge(verify.DefaultPolicy(), register, nil).Proofs(nil, &rec) {
				word := map[bool]string{true: "passes", false: "fails"}[p.Passes]
				if p.Retried {
					word += ", retried"
				}
				got = append(got, fmt.Sprintf("%v %s", float64(p.Expected), word))
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
	rec := worked(t, "R1", socket, "\n08:00 prove VI-9 PU-1 -/230 stage=230")
	p := verify.NewJudge(verify.DefaultPolicy(), register, nil).Proofs(nil, &rec)
	if len(p) != 1 || !p[0].Passes || len(p[0].Steps) != 3 {
		t.Errorf("a stepped indicator: %+v", p)
	}
}
