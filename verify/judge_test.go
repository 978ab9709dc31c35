package verify

import (
	"time"

	"nilvolt/record"
)

// plainRecord is a compliant single-phase record without steps.
func plainRecord() *record.Record {
	row := func(line int, clock string, k record.Kind, a, b record.Conductor, volts string) record.Event {
		t, err := record.ParseInstant("2026-03-02T" + clock + "Z")
		if err != nil {
			panic(err)
		}
		r, err := record.ParseReading(volts)
		if err != nil {
			panic(err)
		}
		e := record.Event{
			Time: t, Kind: k, Indicator: "VI-3", Pair: record.Pair{A: a, B: b}, Placed: true, Volts: r,
			Pos: record.Pos{File: "site.csv", Line: line},
		}
		if k.IsProof() {
			e.Source, e.Expected, e.HasExpected = "PU-1", 230, true
		}
		return e
	}
	none := record.Conductor{}
	return &record.Record{
		ID:   "R7",
		Jobs: []record.Job{{Record: "R7", Supply: record.SinglePhase}},
		Events: []record.Event{
			row(2, "08:00:00", record.Prove, none, none, "229.8"),
			row(3, "08:01:00", record.Test, record.N, record.L, "0.3"),
			row(4, "08:01:20", record.Test, record.E, record.L, "0.2"),
			row(5, "08:01:40", record.Test, record.E, record.N, "0.0"),
			row(6, "08:03:00", record.Reprove, none, none, "229.1"),
		},
	}
}

func secondsOf(n int64) time.Duration { return time.Duration(n) * time.Second }
