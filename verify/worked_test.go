package verify_test

import (
	"slices"
	"strings"
	"testing"

	"nilvolt/record"
)

// A worked record is written as one would tell it, a row a line:
//
//	08:00 isolate
//	08:02 prove VI-1 PU-1 230/230        shown/expected, "-" for a blank one
//	08:03 test VI-1 N-L 0.3 dc @on #P1 load
//
// A reading is on ac unless a waveform is named, and of the first probe on the
// first conductor. "stage=50" is the highest lit step, "file=log" the file,
// "several" a row that fits several records.
func worked(t *testing.T, id string, job record.Job, text string) record.Record {
	t.Helper()
	rec := record.Record{ID: id}
	if job.Supply != record.SupplyUnknown || len(job.Conductors) > 0 {
		job.Record = id
		rec.Jobs = []record.Job{job}
	}
	for line := range strings.SplitSeq(strings.TrimSpace(text), "\n") {
		words := strings.Fields(line)
		if len(words) < 2 {
			continue
		}
		e := record.Event{Kind: must(record.ParseKind(words[1])), Pos: record.Pos{File: "site.csv", Line: len(rec.Events) + 2}}
		clock := words[0]
		if len(clock) == len("08:00") {
			clock += ":00"
		}
		e.Time = must(record.ParseInstant("2026-03-31T" + clock + "Z"))
		rest := words[2:]
		switch {
		case e.Kind.IsProof():
			e.Indicator, e.Source, e.Waveform = rest[0], strings.Trim(rest[1], "-"), record.AC
			volts, expected, _ := strings.Cut(rest[2], "/")
			e.Volts = must(record.ParseReading(strings.TrimSuffix(volts, "-")))
			e.Expected, e.HasExpected, _ = record.ParseVolts(expected)
			rest = rest[3:]
		case e.Kind == record.Test:
			e.Indicator, e.Pair, e.Waveform, e.Placed = rest[0], must(record.ParsePair(rest[1])), record.AC, true
			e.Volts = must(record.ParseReading(strings.TrimSuffix(rest[2], "-")))
			rest = rest[3:]
		}
		for _, word := range rest {
			tell(t, &e, word)
		}
		rec.Events = append(rec.Events, e)
	}
	return rec
}

// tell takes one of the words behind a row.
func tell(t *testing.T, e *record.Event, word string) {
	t.Helper()
	key, value, _ := strings.Cut(word, "=")
	switch {
	case word[0] == '@':
		e.Switch = must(record.ParseSwitch(word[1:]))
	case word[0] == '#':
		e.Point = word[1:]
	case word == "several":
		e.Ambiguous = true
	case word == "blank":
		e.Waveform = record.WaveformUnknown
	case word == "supply" || word == "load":
		e.Side = must(record.ParseSide(word))
	case key == "stage":
		e.Stage = must(record.ParseStage(value))
	case key == "file":
		e.Pos.File = value
	default:
		e.Waveform = must(record.ParseWaveform(word))
	}
}

// A told is a worked record with what is to be said of it.
type told struct {
	name     string
	job      record.Job
	rows     string
	status   record.Status
	failures string // the rules that fail, each once, in the order of the alphabet
	cautions string // cautions among those that stand
}

func (c *told) run(t *testing.T, set setting, reg record.Register) {
	t.Run(c.name, func(t *testing.T) {
		rec := worked(t, "R1", c.job, c.rows)
		c.check(t, judged(t, []record.Record{rec}, set, reg)[0])
	})
}

func (c *told) check(t *testing.T, v verdict) {
	t.Helper()
	var failures, cautions []string
	for _, f := range v.findings {
		if f.severity == record.Failure {
			failures = appendNew(failures, f.rule.String())
		} else {
			cautions = append(cautions, f.rule.String())
		}
	}
	slices.Sort(failures)
	if got := strings.Join(failures, " "); v.status != c.status || got != c.failures {
		t.Errorf("%v, failures %q; want %v, %q", v.status, got, c.status, c.failures)
	}
	for want := range strings.FieldsSeq(c.cautions) {
		if !slices.Contains(cautions, want) {
			t.Errorf("cautions %v, want %s", cautions, want)
		}
	}
}

// supplyOf is a job with everything that the readings are judged by.
func supplyOf(supply record.Supply, nominal record.Volts, earthing record.Earthing) record.Job {
	return record.Job{Supply: supply, Nominal: nominal, Earthing: earthing}
}

var socket = supplyOf(record.SinglePhase, 230, record.TNS)
