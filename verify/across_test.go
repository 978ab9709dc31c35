package verify

import (
	"strings"
	"testing"

	"nilvolt/record"
)

// judgeAll judges records with the rules across them.
func judgeAll(p *Policy, records ...*record.Record) []record.Status {
	survey := NewSurvey(p, nil)
	for _, r := range records {
		survey.Add(r)
	}
	across := NewAcross(survey)
	var out []record.Status
	for _, r := range records {
		out = append(out, NewJudge(p, nil, across).Judge(r).Status)
	}
	return out
}

// failedProof is a record of which only a failed proof of VI-3 at 08:02 is kept.
func failedProof() *record.Record {
	r := plainRecord()
	r.ID = "R8"
	r.Events = r.Events[4:]
	r.Events[0].Time = r.Events[0].Time.Add(-60e9)
	r.Events[0].Volts = record.Reading{Text: "3.1", Volts: 3.1, State: record.Shown}
	return r
}

func TestProofFailedElsewhere(t *testing.T) {
	p := DefaultPolicy()
	if got := judgeAll(p, plainRecord()); got[0] != record.Compliant {
		t.Fatalf("alone: %v", got[0])
	}
	if got := judgeAll(p, plainRecord(), failedProof()); got[0] != record.NonCompliant {
		t.Errorf("with a failure between its proofs: %v", got[0])
	}
	for name, move := range map[string]int64{"before": -180, "after": 3600} {
		other := failedProof()
		other.Events[0].Time = other.Events[0].Time.Add(secondsOf(move))
		if got := judgeAll(p, plainRecord(), other); got[0] != record.Compliant {
			t.Errorf("with a failure %s its proofs: %v", name, got[0])
		}
	}
	for name, at := range map[string]int{"at the prove": 0, "at the reprove": 4} {
		other := failedProof()
		other.Events[0].Time = plainRecord().Events[at].Time
		if got := judgeAll(p, plainRecord(), other); got[0] != record.NonCompliant {
			t.Errorf("with a failure %s: %v", name, got[0])
		}
	}
}

func TestSharedProofs(t *testing.T) {
	p := DefaultPolicy()
	tests := plainRecord()
	tests.Events = tests.Events[1:4]
	proofs := plainRecord()
	proofs.ID = "R8"
	proofs.Events = []record.Event{proofs.Events[0], proofs.Events[4]}
	proofs.Events[1].Time = proofs.Events[1].Time.Add(secondsOf(300)) // a series of its own
	if got := judgeAll(p, tests, proofs); got[0] != record.NonCompliant {
		t.Errorf("not shared: %v", got[0])
	}
	p.SharedProofs = true
	if got := judgeAll(p, tests, proofs); got[0] != record.Compliant {
		t.Errorf("shared: %v", got[0])
	}
	proofs.Events[1].Volts = record.Reading{Text: "---", State: record.Unreadable}
	if got := judgeAll(p, tests, proofs); got[0] != record.NonCompliant {
		t.Errorf("shared and failed: %v", got[0])
	}
}

func TestCopiedReadings(t *testing.T) {
	a, b := plainRecord(), plainRecord()
	b.ID = "R8"
	for i := range b.Events {
		b.Events[i].Time = b.Events[i].Time.Add(secondsOf(86400))
	}
	survey := NewSurvey(DefaultPolicy(), nil)
	other := NewSurvey(DefaultPolicy(), nil)
	survey.Add(a)
	other.Add(b)
	across := NewAcross(survey, other)
	for rec, names := range map[*record.Record]string{a: "R8", b: "R7"} {
		found := false
		for _, f := range NewJudge(DefaultPolicy(), nil, across).Judge(rec).Findings {
			found = found || f.Rule == record.CopiedReadings && strings.Contains(f.Message, names)
		}
		if !found {
			t.Errorf("%s is not said to repeat %s", rec.ID, names)
		}
	}
}

// A record that was handed in twice in other words is no copy of itself, and whose
// readings a copy repeats does not hang on the order in which records come.
func TestCopiesAreOfOtherRecords(t *testing.T) {
	p := DefaultPolicy()
	copied := func(ids ...string) string {
		survey := NewSurvey(p, nil)
		for _, id := range ids {
			r := plainRecord()
			r.ID = id
			survey.Add(r)
			if key, ok := survey.CopyKey(); !ok || key == [16]byte{} {
				t.Fatalf("key of %s: %x %v", id, key, ok)
			}
		}
		r := plainRecord()
		for _, f := range NewJudge(p, nil, NewAcross(survey)).Judge(r).Findings {
			if f.Rule == record.CopiedReadings {
				return f.Message
			}
		}
		return ""
	}
	if got := copied("R7", "R7"); got != "" {
		t.Errorf("versions of one record: %s", got)
	}
	if a, b := copied("R9", "R7", "R8"), copied("R8", "R9", "R7"); a != b || !strings.Contains(a, "R8") {
		t.Errorf("%q\n%q", a, b)
	}
}
