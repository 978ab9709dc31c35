package ingest

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/formats"
	"nilvolt/record"
)

// readAll returns the records of the files, whole, in order.
func readAll(t *testing.T, paths []string, o Options) (list []*record.Record, s *Set) {
	t.Helper()
	s, err := Open(t.Context(), paths, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	o.Workers = 1
	s.options.Workers = 1
	err = s.Each(t.Context(), func() Visitor {
		return func(rec *record.Record, out []byte) []byte {
			list = append(list, cloneRecord(rec))
			return out
		}
	}, func([]byte) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	return list, s
}

// cloneRecord copies a record with all its texts, through the form that keeps all.
func cloneRecord(rec *record.Record) *record.Record {
	c := &record.Record{ID: string([]byte(rec.ID))}
	c.Jobs = append(c.Jobs, rec.Jobs...)
	for i := range c.Jobs {
		j := &c.Jobs[i]
		for _, text := range []*string{&j.Record, &j.Site, &j.Circuit, &j.Technician, &j.Device, &j.Indicator} {
			*text = string([]byte(*text))
		}
	}
	c.Events = append(c.Events, rec.Events...)
	for i := range c.Events {
		e := &c.Events[i]
		for _, text := range []*string{&e.Indicator, &e.Source, &e.Volts.Text, &e.Stage.Text, &e.Point, &e.Note} {
			*text = string([]byte(*text))
		}
	}
	return c
}

var wholeNouns = cmp.Options{
	cmp.Comparer(func(a, b record.Instant) bool { return a == b }),
	cmp.Comparer(func(a, b record.Conductor) bool { return a == b }),
}

// Records with job columns, from a job sheet, without rows, and with rows that fit two
// records, are the same from Parquet as from the files that they came in.
func TestParquetGivesTheSameRecords(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	site := write("site.csv", "record,time,event,indicator,pair,volts,supply\n"+
		"R1,2026-03-02T09:00:00Z,test,VI-1,L-N,0.30,single-phase\n"+
		"R2,2026-03-02T09:00:00+01:00,test,VI-1,L-N,OL,\n"+
		"R1,2026-03-02T09:00:01Z,test,VI-1,L-E,---,three-phase\n")
	log := write("log.csv", "time,event,indicator,from,to,volts,note\n"+
		"2026-03-02T10:00:00Z,test,VI-9,L,N,60,\"said \"\"off\"\"\"\n")
	sheet := "record,site,indicator,start,end\n" +
		"R2,Mill,VI-9,2026-03-02T09:30:00Z,2026-03-02T10:30:00Z\n" +
		"R3,Mill,VI-9,2026-03-02T09:30:00Z,2026-03-02T10:30:00Z\n" +
		"R4,Weir,,,\n"
	jobs, err := formats.ReadJobs([]byte(sheet), "jobs.csv", nil)
	if err != nil {
		t.Fatal(err)
	}
	want, _ := readAll(t, []string{site, log}, Options{Jobs: jobs})
	var b bytes.Buffer
	w := formats.NewReadingsWriter(&b)
	for _, rec := range want {
		if err := w.Write(rec, 1); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	got, _ := readAll(t, []string{write("x.parquet", b.String())}, Options{})
	if diff := cmp.Diff(want, got, wholeNouns); diff != "" {
		t.Errorf("from CSV (-) and from Parquet (+):\n%s", diff)
	}
	if len(want) != 4 || len(want[1].Events) != 2 || !want[1].Events[1].Ambiguous {
		t.Errorf("the case is not the one that is meant: %+v", want)
	}
	piped, _ := readAll(t, []string{"-"}, Options{Stdin: &b})
	if diff := cmp.Diff(want, piped, wholeNouns); diff != "" {
		t.Errorf("from CSV (-) and from Parquet on standard input (+):\n%s", diff)
	}
}

// Over several files the newest version of a record counts, in whatever order the
// files are given.
func TestParquetVersionsOverFiles(t *testing.T) {
	dir := t.TempDir()
	file := func(name string, version int, volts string, ids ...string) string {
		var b bytes.Buffer
		w := formats.NewReadingsWriter(&b)
		for _, id := range ids {
			reading, err := record.ParseReading(volts)
			if err != nil {
				t.Fatal(err)
			}
			err = w.Write(&record.Record{ID: id, Events: []record.Event{{
				Time: record.NewInstant(1772443200, 0, 0), Kind: record.Test, Indicator: "VI-1",
				Pair: record.Pair{A: record.L, B: record.N}, Volts: reading, Pos: record.Pos{File: name, Line: 2},
			}}}, version)
			if err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b.Bytes(), 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	first, second := file("1.parquet", 1, "0.1", "R1", "R2"), file("2.parquet", 2, "230", "R2")
	for _, paths := range [][]string{{first, second}, {second, first}} {
		list, s := readAll(t, paths, Options{})
		got := map[string]string{}
		for _, rec := range list {
			for _, ev := range rec.Events {
				got[rec.ID] += ev.Volts.Text + " "
			}
		}
		if diff := cmp.Diff(map[string]string{"R1": "0.1 ", "R2": "230 "}, got); diff != "" || s.Superseded() != 1 {
			t.Errorf("%d superseded, want 1:\n%s", s.Superseded(), diff)
		}
	}
}
