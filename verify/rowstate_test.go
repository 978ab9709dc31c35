package verify_test

import (
	"testing"

	"nilvolt/record"
	"nilvolt/verify"
)

// Every row is told once, what counts for a pair is the same row as that of the pair,
// and no row is good that makes no pair so.
func TestRows(t *testing.T) {
	for seed := range 300 {
		m := &maker{dice: newDice(seed), set: usual()}
		for _, rec := range m.call() {
			j := verify.NewJudge(verify.DefaultPolicy(), m.reg, nil).Judge(&rec)
			checkRows(t, &rec, j)
		}
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
}

func checkRows(t *testing.T, rec *record.Record, j *verify.Judgement) {
	t.Helper()
	rows, series := j.Rows(), j.Series()
	byEvent := map[*record.Event]verify.RowState{}
	for i, r := range rows {
		byEvent[r.Event] = r
		if i > 0 && r.Event.Time.Before(rows[i-1].Event.Time) {
			t.Errorf("%s: row %d stands before one that is earlier", rec.ID, i)
		}
	}
	if len(rows) != len(rec.Events) || len(byEvent) != len(rec.Events) {
		t.Fatalf("%s: %d rows told, %d of them different, of %d", rec.ID, len(rows), len(byEvent), len(rec.Events))
	}
	good := map[record.Pos]bool{}
	for _, p := range j.Pairs() {
		if p.Indicator == "" {
			continue
		}
		for i := range rec.Events {
			if e := &rec.Events[i]; e.Pos == p.Pos && !byEvent[e].Counts {
				t.Errorf("%s: %v counts for %v, the row says it does not", rec.ID, p.Pos, p.Tested)
			}
		}
		good[p.Pos] = good[p.Pos] || p.State == verify.Good
	}
	for _, r := range rows {
		switch {
		case r.State == verify.Good && (!good[r.Event.Pos] || !r.Dead || r.Aside):
			t.Errorf("%s: the row %v is good, no pair is so by it", rec.ID, r.Event.Pos)
		case r.Event.Kind.IsProof() != (r.Series >= 0) && !r.Aside:
			t.Errorf("%s: %v of %v is in series %d", rec.ID, r.Event.Kind, r.Event.Pos, r.Series)
		case r.Series >= 0 && series[r.Series].Indicator != r.Event.Indicator:
			t.Errorf("%s: %v is in a series of another indicator", rec.ID, r.Event.Pos)
		}
	}
}
