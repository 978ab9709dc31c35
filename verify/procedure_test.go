package verify_test

import (
	"strings"
	"testing"

	"nilvolt/record"
)

// Worked records in the sequence that the trade uses: inspect, ask leave, switch
// off, lock, label; prove, test, prove. Sources: prove before and after each test
// on any known voltage source, NFPA 70E-2021, 120.5(7), CSA Z462 4.2.5(g); every
// active conductor, the neutral included, DGUV Information 203-001 and NF C
// 18-510; an indicator proved before and after, HSE GS38, 4th edition (from
// memory); the order of the steps, EN 50110-1.
func TestProcedure(t *testing.T) {
	full := socket
	full.Device, full.Poles = "60898", record.Poles2
	lighting := socket
	lighting.Switched = []record.Conductor{must(record.ParseConductor("SL1"))}
	for _, c := range []told{
		{
			"prove, test, prove, with every step", full, `
			07:50 inspect
			07:51 identify
			07:52 permission
			07:58 shed-load
			07:59 isolate
			08:00 lock
			08:01 label
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 PU-1 230.1/230
			08:10 begin`,
			record.Compliant, "", "",
		},
		{
			"tested, not proved before", socket, `
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 PU-1 230.1/230`,
			record.NonCompliant, "prove-missing", "not-recorded",
		},
		{
			"the label does not decide: two proofs called reprove", socket, `
			08:02 reprove VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 PU-1 230.1/230`,
			record.Compliant, "", "",
		},
		{
			"the neutral left out", socket, `
			08:02 prove   VI-1 PU-1 229.8/230
			08:04 test    VI-1 E-L 0.1
			08:06 reprove VI-1 PU-1 230.1/230`,
			record.NonCompliant, "pair-missing", "",
		},
		{
			"proved dead-live-dead on a known live source", socket, `
			08:02 prove   VI-1 live 241/-
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 live 240/-`,
			record.Compliant, "", "",
		},
		{
			"a failed reprove, tested again", socket, `
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 PU-1 0/230
			08:07 prove   VI-1 PU-1 230/230
			08:08 test    VI-1 N-L 0.3
			08:09 test    VI-1 E-L 0.1
			08:10 test    VI-1 E-N 0
			08:11 reprove VI-1 PU-1 230/230`,
			record.Compliant, "", "proof-retried",
		},
		{
			"a failed reprove, tested again with a good indicator", socket, `
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 PU-1 0/230
			08:07 prove   VI-2 PU-1 230/230
			08:08 test    VI-2 N-L 0.3
			08:09 test    VI-2 E-L 0.1
			08:10 test    VI-2 E-N 0
			08:11 reprove VI-2 PU-1 230/230`,
			record.Compliant, "", "",
		},
		{
			"live found, isolated again, all tested again", socket, `
			08:00 isolate
			08:00 lock
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 231
			08:10 isolate
			08:11 lock
			08:12 prove   VI-1 PU-1 230/230
			08:13 test    VI-1 N-L 0.3
			08:14 test    VI-1 E-L 0.1
			08:15 test    VI-1 E-N 0
			08:16 reprove VI-1 PU-1 230/230`,
			record.Compliant, "", "",
		},
		{
			"live found, and only that pair tested again", socket, `
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 E-L 0.1
			08:04 test    VI-1 E-N 0
			08:05 test    VI-1 N-L 231
			08:13 test    VI-1 N-L 0.3
			08:16 reprove VI-1 PU-1 230/230`,
			record.LiveFound, "live-found pair-missing", "live-unexplained",
		},
		{
			"power back at the end of the work", socket, `
			08:00 isolate
			08:00 lock
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 PU-1 230.1/230
			08:10 begin
			11:00 restore
			11:01 test    VI-1 N-L 231`,
			record.Compliant, "", "",
		},
		{
			"power back and off again without a test", socket, `
			08:00 isolate
			08:00 lock
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 reprove VI-1 PU-1 230.1/230
			11:00 restore
			11:05 isolate
			11:05 lock
			11:06 begin`,
			record.NonCompliant, "began-early pair-missing", "",
		},
		{
			"a lighting circuit with its switch in both positions", lighting, `
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:06 test    VI-1 N-SL1 0 @on
			08:06 test    VI-1 E-SL1 0 @on
			08:07 test    VI-1 N-SL1 0 @off
			08:07 test    VI-1 E-SL1 0 @off
			08:08 reprove VI-1 PU-1 230.1/230`,
			record.Compliant, "", "",
		},
		{
			"a lighting circuit with its switch off only", lighting, `
			08:02 prove   VI-1 PU-1 229.8/230
			08:03 test    VI-1 N-L 0.3
			08:04 test    VI-1 E-L 0.1
			08:05 test    VI-1 E-N 0
			08:07 test    VI-1 N-SL1 0 @off
			08:07 test    VI-1 E-SL1 0 @off
			08:08 reprove VI-1 PU-1 230.1/230`,
			record.NonCompliant, "switch-position-missing", "",
		},
	} {
		c.run(t, usual(), nil)
	}
}

// If the procedure is interrupted, the whole sequence is begun again: Queensland
// Electrical Work code of practice 2010, 6.5.1. The pauses that are told are this
// program's own: 15 min, and 60 min for a failure.
func TestInterruption(t *testing.T) {
	for _, c := range []struct {
		again, name       string
		status            record.Status
		failures, caution string
	}{
		{"08:18", "just 15 min", record.Compliant, "", ""},
		{"08:18:01", "more than 15 min", record.Compliant, "", "interrupted"},
		{"09:02", "59 min", record.Compliant, "", "interrupted"},
		{"09:03:01", "more than 60 min, the proof too old as well", record.NonCompliant, "interrupted prove-stale", ""},
	} {
		told := told{c.name, socket, `
			08:02 prove   VI-1 PU-1 230/230
			08:03 test    VI-1 N-L 0.3
			` + c.again + ` test VI-1 E-L 0.1
			` + c.again + ` test VI-1 E-N 0
			` + c.again + ` reprove VI-1 PU-1 230/230`, c.status, c.failures, c.caution}
		set := usual()
		set.reproveDelay = 2 * 3600e9
		told.run(t, set, nil)
	}
}

// The first probe goes on earth, so that the free one is not live through the
// indicator (a certification body's page); on a pair of line and neutral, on
// neutral (common practice).
func TestFirstProbe(t *testing.T) {
	for _, c := range []struct{ pairs, wrong string }{
		{"N-L E-L E-N", ""},
		{"N-L L-E E-N", "E-L"},
		{"L-N E-L E-N", "L-N"},
		{"N-L E-L N-E", "E-N"},
	} {
		rows := "08:00 prove VI-1 PU-1 230/230"
		for p := range strings.FieldsSeq(c.pairs) {
			rows += "\n08:01 test VI-1 " + p + " 0"
		}
		rec := worked(t, "R1", socket, rows+"\n08:02 reprove VI-1 PU-1 230/230")
		wrong := ""
		for _, f := range judged(t, []record.Record{rec}, usual(), nil)[0].findings {
			if f.rule == record.ProbeOrder {
				wrong = strings.Join(f.pairs, " ")
			}
		}
		if wrong != c.wrong {
			t.Errorf("%s: %q placed wrong, want %q", c.pairs, wrong, c.wrong)
		}
	}
}

// A leap second stands between :59 and :00: RFC 3339, 5.7. A live reading in it
// comes before the tests of the next second.
func TestLeapSecond(t *testing.T) {
	for _, c := range []struct{ live, want string }{
		{"23:59:60", "compliant"}, {"23:59:59", "compliant"},
	} {
		text := `
			23:58 prove VI-1 PU-1 230/230
			` + c.live + ` test VI-1 N-L 231`
		rec := worked(t, "R1", socket, text)
		for i, p := range []string{"N-L", "E-L", "E-N"} {
			e := rec.Events[1]
			e.Time = must(record.ParseInstant("2026-04-01T00:00:00Z"))
			e.Pair, e.Volts, e.Pos.Line = must(record.ParsePair(p)), shown(0), 4+i
			rec.Events = append(rec.Events, e)
		}
		last := rec.Events[0]
		last.Time = must(record.ParseInstant("2026-04-01T00:00:01Z"))
		rec.Events = append(rec.Events, last)
		rec.Events[0], rec.Events[1] = rec.Events[1], rec.Events[0]
		if v := judged(t, []record.Record{rec}, usual(), nil)[0]; says(v) != c.want {
			t.Errorf("live at %s: %v, want %s", c.live, v.lines(), c.want)
		}
	}
}
