package ledger

import (
	"bytes"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/record"
)

// asText lets cmp compare conductors and instants, whose fields are not exported.
var asText = cmp.Options{
	cmp.Comparer(func(a, b record.Conductor) bool { return a == b }),
	cmp.Comparer(func(a, b record.Instant) bool { return a == b }),
}

func drawConductor(t *rapid.T) record.Conductor {
	c, err := record.ParseConductor(rapid.SampledFrom([]string{"", "L", "L1", "L2", "L3", "N", "E", "PEN", "L+", "L-", "SL1", "X9"}).Draw(t, "conductor"))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func drawInstant(t *rapid.T) record.Instant {
	if rapid.IntRange(0, 9).Draw(t, "no time") == 0 {
		return record.Instant{}
	}
	return record.NewInstant(rapid.Int64Range(-62135596800, 253402300799).Draw(t, "sec"),
		rapid.IntRange(0, 2e9-1).Draw(t, "nsec"), rapid.IntRange(-23*60-59, 23*60+59).Draw(t, "offset"))
}

func drawPos(t *rapid.T) record.Pos {
	return record.Pos{
		File: rapid.SampledFrom([]string{"", "a.csv", "b.csv"}).Draw(t, "file"),
		Line: rapid.IntRange(0, 1<<40).Draw(t, "line"), Column: rapid.IntRange(0, 1<<20).Draw(t, "column"),
	}
}

func drawCode[T ~uint8](t *rapid.T) T { return T(rapid.Uint8().Draw(t, "code")) }

func drawVolts(t *rapid.T) record.Volts { return record.Volts(rapid.Float64().Draw(t, "volts")) }

func drawEvent(t *rapid.T) record.Event {
	text := rapid.StringN(0, 8, -1)
	v := record.Event{
		Time: drawInstant(t), Kind: drawCode[record.Kind](t), Waveform: drawCode[record.Waveform](t),
		Switch: drawCode[record.Switch](t), Side: drawCode[record.Side](t),
		Placed: rapid.Bool().Draw(t, "placed"), Ambiguous: rapid.Bool().Draw(t, "ambiguous"),
		HasExpected: rapid.Bool().Draw(t, "has expected"), HasSeq: rapid.Bool().Draw(t, "has seq"),
		Indicator: text.Draw(t, "indicator"), Source: text.Draw(t, "source"),
		Pair: record.Pair{A: drawConductor(t), B: drawConductor(t)},
		Volts: record.Reading{
			Text:  text.Draw(t, "volts text"),
			State: rapid.SampledFrom([]record.ReadingState{record.Absent, record.Unreadable, record.Overflow, record.Shown}).Draw(t, "state"),
		},
		Stage: record.Stage{
			Text:  text.Draw(t, "stage text"),
			State: rapid.SampledFrom([]record.StageState{record.StageAbsent, record.StageUnreadable, record.StageNone, record.StageLit}).Draw(t, "stage"),
		},
		Point: text.Draw(t, "point"), Note: text.Draw(t, "note"), Pos: drawPos(t),
	}
	if v.Volts.State == record.Shown {
		v.Volts.Volts = drawVolts(t)
	}
	if v.Stage.State == record.StageLit {
		v.Stage.Volts = drawVolts(t)
	}
	if v.HasExpected {
		v.Expected = drawVolts(t)
	}
	if rapid.Bool().Draw(t, "has clock") {
		v.Clock = &record.Clock{Ahead: time.Duration(rapid.Int64().Draw(t, "ahead")), Within: time.Duration(rapid.Int64().Draw(t, "within"))}
	}
	if v.HasSeq {
		v.Seq = rapid.Int64().Draw(t, "seq")
	}
	return v
}

func drawJob(t *rapid.T) record.Job {
	text := rapid.StringN(0, 8, -1)
	list := func(name string) []record.Conductor {
		var out []record.Conductor
		for range rapid.IntRange(0, 4).Draw(t, name) {
			out = append(out, drawConductor(t))
		}
		return out
	}
	return record.Job{
		Record: text.Draw(t, "record"), Site: text.Draw(t, "site"), Circuit: text.Draw(t, "circuit"),
		Technician: text.Draw(t, "technician"), Supply: drawCode[record.Supply](t), Nominal: drawVolts(t),
		Earthing: drawCode[record.Earthing](t), Conductors: list("conductors"), Switched: list("switched"),
		Device: text.Draw(t, "device"), Poles: drawCode[record.Poles](t), OnLoad: drawCode[record.YesNo](t),
		Category: drawCode[record.Category](t), SupplySideLive: drawCode[record.YesNo](t),
		Indicator: text.Draw(t, "indicator"), Start: drawInstant(t), End: drawInstant(t), Pos: drawPos(t),
	}
}

func drawRecord(t *rapid.T) *record.Record {
	rec := &record.Record{ID: "R1", Events: []record.Event{}}
	for range rapid.IntRange(0, 3).Draw(t, "jobs") {
		rec.Jobs = append(rec.Jobs, drawJob(t))
	}
	for range rapid.IntRange(0, 6).Draw(t, "events") {
		rec.Events = append(rec.Events, drawEvent(t))
	}
	return rec
}

func TestEvidenceRoundTrip(t *testing.T) {
	e := &encoder{}
	rapid.Check(t, func(t *rapid.T) {
		rec := drawRecord(t)
		data, digest := e.encode(nil, rec)
		got, err := decodeEvidence("R1", data)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(rec, got, asText); diff != "" {
			t.Fatal(diff)
		}
		again, sameDigest := e.encode([]byte("before"), got)
		if !bytes.Equal(again[len("before"):], data) || digest != sameDigest {
			t.Fatal("encoded again it differs")
		}
	})
}

// The digest is of what the rows say, not of where they stood, and every field
// counts.
func TestDigest(t *testing.T) {
	e := &encoder{}
	rapid.Check(t, func(t *rapid.T) {
		rec := drawRecord(t)
		_, before := e.encode(nil, rec)
		for i := range rec.Events {
			rec.Events[i].Pos = drawPos(t)
		}
		if _, moved := e.encode(nil, rec); moved != before {
			t.Fatal("another place gives another digest")
		}
		if len(rec.Events) == 0 {
			return
		}
		v := &rec.Events[rapid.IntRange(0, len(rec.Events)-1).Draw(t, "which")]
		old := *v
		*v = drawEvent(t)
		v.Pos = old.Pos
		if _, changed := e.encode(nil, rec); (changed == before) != (old == *v) {
			t.Fatalf("%v and %v", old, *v)
		}
	})
}

// FuzzEvidence holds that damaged bytes are refused or are the evidence of what
// they decode to, and never stop the program.
func FuzzEvidence(f *testing.F) {
	e := &encoder{}
	rapid.Check(f, func(t *rapid.T) {
		data, _ := e.encode(nil, drawRecord(t))
		f.Add(data)
	})
	f.Fuzz(func(t *testing.T, data []byte) {
		rec, err := decodeEvidence("R1", data)
		if err != nil {
			return
		}
		again, _ := new(encoder).encode(nil, rec)
		second, err := decodeEvidence("R1", again)
		if err != nil {
			t.Fatal(err)
		}
		if third, _ := new(encoder).encode(nil, second); !bytes.Equal(third, again) {
			t.Fatalf("%x\n%x", again, third)
		}
	})
}
