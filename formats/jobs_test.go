package formats

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"nilvolt/record"
)

var equalNouns = cmp.Options{
	cmp.Comparer(func(a, b record.Instant) bool { return a.String() == b.String() }),
	cmp.Comparer(func(a, b record.Date) bool { return a == b }),
	cmp.Comparer(func(a, b record.Conductor) bool { return a == b }),
	cmpopts.IgnoreTypes(record.Pos{}),
}

func TestReadJobs(t *testing.T) {
	const sheet = `record,site,circuit,technician,supply,nominal,earthing,conductors,switched,device,poles,onload,category,supply_side_live,indicator,start,end
R1,Mill,"Pump, east",K. Ruhl,three-phase,400,TN-S,,,60947-3,4P,yes,III,,VI-3,2026-03-02T08:00:00Z,2026-03-02T10:00:00Z
 R2 ,,,,Single-Phase,230,tn-c-s,L N PE,SL1 SL2,,1P,No,,yes,,,
,,,,,,,,,,,,,,,,
R1,Mill,,,,,,,,,,,,,,,
`
	got, err := ReadJobs([]byte(sheet), "jobs.csv", nil)
	if err != nil {
		t.Fatal(errorText(err))
	}
	at := func(text string) record.Instant {
		instant, err := record.ParseInstant(text)
		if err != nil {
			t.Fatal(err)
		}
		return instant
	}
	named := func(text string) record.Conductor {
		c, err := record.ParseConductor(text)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	want := []record.Job{
		{
			Record: "R1", Site: "Mill", Circuit: "Pump, east", Technician: "K. Ruhl", Supply: record.ThreePhase, Nominal: 400,
			Earthing: record.TNS, Device: "60947-3", Poles: record.Poles4, OnLoad: record.Yes, Category: record.CategoryIII,
			Indicator: "VI-3", Start: at("2026-03-02T08:00:00Z"), End: at("2026-03-02T10:00:00Z"),
		},
		{
			Record: "R2", Supply: record.SinglePhase, Nominal: 230, Earthing: record.TNCS,
			Conductors: []record.Conductor{record.L, record.N, record.E},
			Switched:   []record.Conductor{named("SL1"), named("SL2")},
			Poles:      record.Poles1, OnLoad: record.No, SupplySideLive: record.Yes,
		},
		{Record: "R1", Site: "Mill"},
	}
	if diff := cmp.Diff(want, got, equalNouns); diff != "" {
		t.Error(diff)
	}
	if got[2].Pos != (record.Pos{File: "jobs.csv", Line: 5}) {
		t.Errorf("the third job stands at %v", got[2].Pos)
	}
}

func TestReadJobsRefuses(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"no record column", "site,supply\nMill,dc\n", `jobs.csv:1: header "record": no such column, and job sheets need it`},
		{"headers only", "record,supply\n", "jobs.csv: no row behind the header"},
		{"no id", "record,supply\n,dc\n", "jobs.csv:2:1: record blank: a job without a record id"},
		{
			"every mistake is told", "record,supply,nominal,earthing,conductors\nR1,mains,23O,TX,L&N\nR2,dc,-110,,\n",
			`jobs.csv:2:4: supply "mains": unknown word` + "\n" +
				`jobs.csv:2:10: nominal "23O": not a number` + "\n" +
				`jobs.csv:2:14: earthing "TX": unknown word` + "\n" +
				`jobs.csv:2:17: conductors "L&N": not a conductor name` + "\n" +
				`jobs.csv:3:7: nominal "-110": a voltage that is not above 0`,
		},
		{"too few fields", "record,supply,site\nR1,dc\n", "jobs.csv:2: 2 fields where the header has 3 fields"},
		{"too many fields", "record,supply\nR1,dc,x\n", `jobs.csv:2:7: "x": 3 fields where the header has 2 fields`},
		{"a note beyond the header", "record,supply\nR1,dc,,see below\n", `jobs.csv:2:8: "see below": 4 fields where the header has 2 fields`},
		{"local time", "record,start\nR1,2026-03-02T08:00:00\n", `jobs.csv:2:4: start "2026-03-02T08:00:00": time without an offset`},
		{
			"end before start", "record,start,end\nR1,2026-03-02T08:00:00Z,2026-03-02T08:00:00+01:00\n",
			`jobs.csv:2:25: end "2026-03-02T08:00:00+01:00": the end comes before the start`,
		},
		{
			"cut at the end", "record,nominal\nR1,23", `jobs.csv:2:4: nominal "23": the last line of the file has no line end, so it may be cut short`,
		},
		{"open quote", "record,site\nR1,\"Mill\nR2,x\n", `jobs.csv:2:4: "\"Mill\n": quoted field without an end`},
		{"not utf-8", "record,site\nR1,M\xfchle\n", "jobs.csv:2:5: the byte 0xfc is not UTF-8"},
		{"empty", "", "jobs.csv: the file is empty"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			jobs, err := ReadJobs([]byte(tt.text), "jobs.csv", nil)
			if err == nil {
				t.Fatalf("no error, but %v", jobs)
			}
			if diff := cmp.Diff(tt.want, errorText(err)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestReadJobsWithoutFinalLineEnd(t *testing.T) {
	for _, text := range []string{"record,site\nR1,Mill", "record,supply\nR1,\"dc\"", "record,onload\nR1,no"} {
		if jobs, err := ReadJobs([]byte(text), "jobs.csv", nil); err != nil || len(jobs) != 1 {
			t.Errorf("%q: %v, %v", text, jobs, err)
		}
	}
}

func TestReadRegister(t *testing.T) {
	const text = `instrument,kind,senses,stages,max_volts,category,tolerance,output,serviced,interval_days,withdrawn,reference
VI-1,indicator,both,690 12 24 50 120 230 400,1000,IV,10,,2025-05-18,365,,
PU-1,Proving-Unit,,,,,5 %,50 230,,,2026-02-01,Yes
`
	got, err := ReadRegister([]byte(text), "instruments.csv", nil)
	if err != nil {
		t.Fatal(errorText(err))
	}
	day := func(text string) record.Date {
		d, err := record.ParseDate(text)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	want := record.Register{
		"VI-1": {
			ID: "VI-1", Kind: record.Indicator, Senses: record.BothWaveforms, Stages: []record.Volts{12, 24, 50, 120, 230, 400, 690},
			MaxVolts: 1000, Category: record.CategoryIV, Tolerance: 10, Serviced: day("2025-05-18"), IntervalDays: 365,
		},
		"PU-1": {ID: "PU-1", Kind: record.ProvingUnit, Tolerance: 5, Outputs: []record.Volts{50, 230}, Withdrawn: day("2026-02-01"), Reference: record.Yes},
	}
	if diff := cmp.Diff(want, got, equalNouns); diff != "" {
		t.Error(diff)
	}
	if due := got["VI-1"].Due(); due != day("2026-05-18") {
		t.Errorf("due on %v", due)
	}
}

func TestReadRegisterRefuses(t *testing.T) {
	const header = "instrument,kind,stages,tolerance,serviced,interval_days,reference,note\n"
	tests := []struct{ name, row, want string }{
		{"no id", ",indicator,,,,,,\n", "i.csv:2:1: instrument blank: an instrument without an id"},
		{"no kind", "VI-1,,,,,,,\n", "i.csv:2:6: kind blank: an instrument of no kind"},
		{"wrong kind", "VI-1,meter,,,,,,\n", `i.csv:2:6: kind "meter": unknown word`},
		{"twice", "VI-1,indicator,,,,,,\nVI-1,indicator,,,,,,\n", `i.csv:3:1: instrument "VI-1": this instrument stands on line 2 already`},
		{"twice, in another case", "VI-1,indicator,,,,,,\nvi-1,indicator,,,,,,\n", `i.csv:3:1: instrument "vi-1": this instrument stands on line 2 already`},
		{"unseen", "VI-1\u200b,indicator,,,,,,\n", `i.csv:2:1: instrument "VI-1\u200b": a name with a character that cannot be seen (U+200B)`},
		{"the live source", "Live,proving-unit,,,,,,\n", `i.csv:2:1: instrument "Live": the word for a known live source, not an instrument`},
		{"step below 0", "VI-1,indicator,12 -24,,,,,\n", `i.csv:2:16: stages "12 -24": not a voltage above 0`},
		{"step twice", "VI-1,indicator,12 12.0,,,,,\n", `i.csv:2:16: stages "12 12.0": a voltage stands twice`},
		{"tolerance 0", "VI-1,indicator,,0,,,,\n", `i.csv:2:17: tolerance "0": not a percentage above 0`},
		{"no such day", "VI-1,indicator,,,2026-02-29,,,\n", `i.csv:2:18: serviced "2026-02-29": no such date or time of day`},
		{"no days", "VI-1,indicator,,,,yearly,,\n", `i.csv:2:19: interval_days "yearly": not a number of days`},
		{"no answer", "PU-1,proving-unit,,,,,perhaps,\n", `i.csv:2:23: reference "perhaps": unknown word`},
		{"an indicator as reference", "VI-1,indicator,,,,,yes,\n", `i.csv:2:20: reference "yes": an indicator cannot be the reference`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ReadRegister([]byte(header+tt.row), "i.csv", nil)
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(tt.want, errorText(err)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// Of a word that is not known the mend names the words of a column map, whatever the
// column and the file.
func TestMendNamesWords(t *testing.T) {
	const want = "; a column map can translate other words, under  words:  of "
	m := mustMap(t, "for: jobs\ncolumns:\n  supply: Netz\n---\nfor: instruments\ncolumns:\n  kind: Art\n")
	_, err := ReadJobs([]byte("record,Netz\nR1,einphasig\n"), "jobs.csv", m)
	bad, ok := errors.AsType[*BadRows](err)
	if !ok || bad.Total != 1 || !strings.HasSuffix(bad.First[0].Mend, want+"supply") {
		t.Errorf("supply: %v", errorText(err))
	}
	_, err = ReadRegister([]byte("instrument,Art\nVI-1,Prüfer\n"), "instruments.csv", m)
	bad, ok = errors.AsType[*BadRows](err)
	if !ok || bad.Total != 1 || !strings.HasSuffix(bad.First[0].Mend, want+"kind") {
		t.Errorf("kind: %v", errorText(err))
	}
	var ev record.Event
	var job record.Job
	row := Row{TimeColumn: {Text: "2026-03-02T10:15:00Z"}, EventColumn: {Text: "Messung"}}
	_, _, problems := DecodeRow(&row, record.Pos{}, &ev, &job)
	if len(problems) != 1 || !strings.HasSuffix(problems[0].Mend, want+"event") {
		t.Errorf("event: %v", problems)
	}
}
