package formats

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"nilvolt/record"
)

// One map file for the readings, the job sheet and the register of a firm.
const firmMap = `
files: "*.log"
delimiter: tab
---
for: jobs
delimiter: semicolon
decimal: comma
zone: Europe/Berlin
layout: dd.MM.yyyy HH:mm
columns:
  record: Auftrag
  supply: {column: Netz, words: {Drehstrom: three-phase, Wechselstrom: single-phase}}
  nominal: {column: Spannung, unit: kV}
  conductors: {column: Leiter, separator: ",", words: {Erde: E, Außenleiter 1: L1}}
  indicator: Prüfer
  start: {date: Tag, clock: Beginn}
---
for: instruments
columns:
  instrument: No
  kind: {column: What, words: {Tester: indicator, Box: proving-unit}}
  stages: {column: Steps, separator: "/"}
  output: {column: Gives, separator: "/"}
  serviced: {column: Checked, layout: MMM d yyyy}
  max_volts: {column: Up to}
  tolerance: {column: Within}
`

func TestMappedJobs(t *testing.T) {
	m := mustMap(t, firmMap)
	const sheet = "Auftrag;Netz;Spannung;Leiter;Prüfer;Tag;Beginn\n" +
		"R1;Drehstrom;0,4;Außenleiter 1, N,Erde;VI-7;02.03.2026;08:00\n" +
		"R2;wechselstrom;230 V;;;;\n"
	got, err := ReadJobs([]byte(sheet), "jobs.csv", m)
	if err != nil {
		t.Fatal(errorText(err))
	}
	start, err := record.ParseInstant("2026-03-02T08:00:00+01:00")
	if err != nil {
		t.Fatal(err)
	}
	want := []record.Job{
		{Record: "R1", Supply: record.ThreePhase, Nominal: 400, Conductors: []record.Conductor{record.L1, record.N, record.E}, Indicator: "VI-7", Start: start},
		{Record: "R2", Supply: record.SinglePhase, Nominal: 230},
	}
	if diff := cmp.Diff(want, got, equalNouns); diff != "" {
		t.Error(diff)
	}
	_, err = ReadJobs([]byte(strings.ReplaceAll(sheet, "Außenleiter 1,", "Phase 1,")), "jobs.csv", m)
	if want := `jobs.csv:2:18: conductors "Phase 1, N,Erde": not a conductor name: "Phase 1"`; err == nil || errorText(err) != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestMappedRegister(t *testing.T) {
	const register = "No,What,Steps,Gives,Checked,Up to,Within\n" +
		"VI-7,Tester,12 V/50 V/120 V,,Mar 2 2026,1 kV,10 %\n" +
		"PU-1,Box,,50/230,,,5\n"
	got, err := ReadRegister([]byte(register), "instruments.csv", mustMap(t, firmMap))
	if err != nil {
		t.Fatal(errorText(err))
	}
	serviced, err := record.ParseDate("2026-03-02")
	if err != nil {
		t.Fatal(err)
	}
	want := record.Register{
		"VI-7": {ID: "VI-7", Kind: record.Indicator, Stages: []record.Volts{12, 50, 120}, MaxVolts: 1000, Tolerance: 10, Serviced: serviced},
		"PU-1": {ID: "PU-1", Kind: record.ProvingUnit, Outputs: []record.Volts{50, 230}, Tolerance: 5},
	}
	if diff := cmp.Diff(want, got, equalNouns); diff != "" {
		t.Error(diff)
	}
}

// A file that no part of the map is for must be canonical.
func TestMapIsForFiles(t *testing.T) {
	m := mustMap(t, firmMap)
	if l, err := Bind("time\tevent\n", "shed/a.log", m); err != nil || l.Comma != '\t' {
		t.Errorf("a.log: %v, %v", l, err)
	}
	if l, err := Bind("time,event\n", "a.csv", m); err != nil || !l.IsPlain() {
		t.Errorf("a.csv: %v, %v", l, err)
	}
	if _, err := Bind("time\tevent\n", "a.csv", m); err == nil {
		t.Error("a file divided by tabs is canonical")
	}
}

// One map reads a log and the workbook of the same log: the numbers of a sheet
// are written with the map's decimal mark, its dates in a form of their own.
func TestMapOfWorkbook(t *testing.T) {
	const mapText = "delimiter: semicolon\ndecimal: comma\nzone: Europe/Berlin\nlayout: dd.MM.yyyy HH:mm:ss\nheader: {contains: Tag;Zeit}\n" +
		"columns:\n  time: {date: Tag, clock: Zeit}\n  event: {value: test}\n  indicator: {preamble: 'Gerät[;:] *(\\S+)'}\n  pair: Leiter\n  volts: U\n"
	const csv = "Gerät: VI-7\nTag;Zeit;Leiter;U\n02.03.2026;10:15:30;L-N;0,5\n"
	book := excelizeBook(t, func(f *excelize.File) error {
		for i, row := range [][]any{{"Gerät", "VI-7"}, {"Tag", "Zeit", "Leiter", "U"}, {46083, 46083 + 36930.0/86400, "L-N", 0.5}} {
			if err := f.SetSheetRow("Sheet1", "A"+itoa(i+1), &row); err != nil {
				return err
			}
		}
		for cell, format := range map[string]string{"A3": "dd.mm.yyyy", "B3": "hh:mm:ss"} {
			style, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
			if err != nil {
				return err
			}
			if err := f.SetCellStyle("Sheet1", cell, cell, style); err != nil {
				return err
			}
		}
		return nil
	})
	want := "time=2026-03-02T10:15:30+01:00 event=test indicator=VI-7 pair=L-N volts=0.5"
	for name, file := range map[string]string{"f.csv": csv, "f.xlsx": string(book)} {
		if diff := cmp.Diff(want, readRows(mapText, name, file)); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}

// Bytes that are no UTF-8 far behind what Sniff looks at are found all the same.
func TestEncodingBehindHead(t *testing.T) {
	file := append([]byte("record,site\n"), bytes.Repeat([]byte("R1,mill\n"), headBytes/8)...)
	file = append(file, "R2,m\xfchle\n"...)
	_, err := ReadJobs(file, "jobs.csv", nil)
	if want := "jobs.csv:8194:5: the byte 0xfc is not UTF-8"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}
