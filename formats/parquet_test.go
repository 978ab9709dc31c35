package formats

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	arrow "github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
	"pgregory.net/rapid"

	"nilvolt/record"
)

// wholeNouns compares nouns with all that they hold.
var wholeNouns = cmp.Options{
	cmp.Comparer(func(a, b record.Instant) bool { return a == b }),
	cmp.Comparer(func(a, b record.Conductor) bool { return a == b }),
}

// writeReadings returns the Parquet file of records, each of version 1, whose row
// groups end after so many rows.
func writeReadings(t fataler, rowsInGroup int, records ...*record.Record) []byte {
	t.Helper()
	var b bytes.Buffer
	w := NewReadingsWriter(&b)
	w.table.most = rowsInGroup
	for _, rec := range records {
		if err := w.Write(rec, 1); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

type fataler interface {
	Helper()
	Fatal(args ...any)
}

// readRecords reads a Parquet file of readings to its end: records without their
// order of jobs, which are those of sheets first.
func readRecords(data []byte) (map[string]*record.Record, error) {
	p, err := OpenParquet(bytes.NewReader(data), int64(len(data)), "x.parquet")
	if err != nil {
		return nil, err
	}
	var text bytes.Buffer
	jobs, _, err := p.Recode(&text, nil)
	if err != nil {
		return nil, err
	}
	layout, err := BindParquet(text.String(), "x.parquet")
	if err != nil {
		return nil, err
	}
	records := map[string]*record.Record{}
	of := func(id string) *record.Record {
		if records[id] == nil {
			records[id] = &record.Record{ID: id}
		}
		return records[id]
	}
	for _, j := range jobs {
		of(j.Record).Jobs = append(of(j.Record).Jobs, j)
	}
	d := NewDecoder(layout, "x.parquet")
	rest, line := text.String()[layout.FirstRow:], layout.FirstLine
	for rest != "" {
		var ev record.Event
		n, lines, outcome := d.Next(rest, line, &ev)
		switch outcome {
		case BadRow:
			return nil, d.Problems()[0].At(record.Pos{File: "x.parquet", Line: line})
		case Decoded:
			rec := of(d.Last().ID)
			rec.Events = append(rec.Events, ev)
			if d.Last().HasJob {
				j := *d.Last().Job
				j.Record, j.Pos = rec.ID, ev.Pos
				rec.Jobs = append(rec.Jobs, j)
			}
		case NoRow:
		}
		rest, line = rest[n:], line+lines
	}
	return records, nil
}

// Whatever a record holds comes back as it was, with the places of its rows.
func TestParquetRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := map[string]*record.Record{}
		var list []*record.Record
		for i := range rapid.IntRange(1, 4).Draw(t, "records") {
			rec := drawRecord(t, fmt.Sprintf("R%d", i))
			want[rec.ID] = rec
			list = append(list, rec)
		}
		got, err := readRecords(writeReadings(t, rapid.IntRange(1, 20).Draw(t, "rows in group"), list...))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got, wholeNouns); diff != "" {
			t.Fatalf("written (-) and read (+):\n%s", diff)
		}
	})
}

// drawRecord draws a record: rows of a job sheet, then events, some of which have job
// columns beside them.
func drawRecord(t *rapid.T, id string) *record.Record {
	rec := &record.Record{ID: id}
	for i := range rapid.IntRange(0, 2).Draw(t, "sheet rows") {
		job := drawJob(t, id)
		job.Indicator = rapid.SampledFrom([]string{"", "VI-1"}).Draw(t, "job indicator")
		job.Pos = record.Pos{File: "jobs.csv", Line: 2 + i}
		rec.Jobs = append(rec.Jobs, job)
	}
	least := 0
	if len(rec.Jobs) == 0 {
		least = 1
	}
	for i := range rapid.IntRange(least, 8).Draw(t, "events") {
		ev := drawEvent(t)
		ev.Pos = record.Pos{File: rapid.SampledFrom([]string{"a.csv", "b, \"c\".csv"}).Draw(t, "file"), Line: 2 + 3*i}
		rec.Events = append(rec.Events, ev)
		if job := drawJob(t, id); rapid.Bool().Draw(t, "job columns") && job.Site != "" {
			job.Pos = ev.Pos
			rec.Jobs = append(rec.Jobs, job)
		}
	}
	return rec
}

// must returns what a parser of package record makes of text that is sound.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func drawTime(t *rapid.T) record.Instant {
	if rapid.IntRange(0, 9).Draw(t, "leap second") == 0 {
		return must(record.ParseInstant("1990-12-31T15:59:60.25-08:00")) // RFC 3339, 5.8
	}
	return record.NewInstant(rapid.Int64Range(-2e9, 8e9).Draw(t, "seconds"),
		rapid.SampledFrom([]int{0, 520_000_000, 123_456_789, 999_999_999}).Draw(t, "nanoseconds"),
		rapid.SampledFrom([]int{0, 60, -480, 345}).Draw(t, "offset"))
}

var drawnTexts = rapid.SampledFrom([]string{"", "", "VI-1", `a "quoted", text`, "two\nlines", "Größe µ", "=1+1"})

func drawEvent(t *rapid.T) record.Event {
	ev := record.Event{
		Time: drawTime(t), Kind: rapid.SampledFrom([]record.Kind{record.Prove, record.Test, record.Reprove, record.Isolate, record.Restore}).Draw(t, "kind"),
		Waveform:  rapid.SampledFrom([]record.Waveform{0, must(record.ParseWaveform("ac")), must(record.ParseWaveform("both"))}).Draw(t, "waveform"),
		Switch:    rapid.SampledFrom([]record.Switch{0, record.SwitchOn, record.SwitchB}).Draw(t, "switch"),
		Side:      rapid.SampledFrom([]record.Side{0, record.SupplySide, record.LoadSide}).Draw(t, "side"),
		Indicator: rapid.SampledFrom([]string{"VI-1", "VI,2"}).Draw(t, "indicator"),
		Source:    rapid.SampledFrom([]string{"", "PU-1", `PU "1", left`, "Größe µ", "=1+1"}).Draw(t, "source"), Point: drawnTexts.Draw(t, "point"), Note: drawnTexts.Draw(t, "note"),
		Ambiguous: rapid.Bool().Draw(t, "ambiguous"), HasSeq: rapid.Bool().Draw(t, "has seq"),
		Volts: must(record.ParseReading(rapid.SampledFrom([]string{
			"", "0", "0.0", "-0", "0.3", "0.30", "229.8", "-229.8", "4E-1", "1e300", "OL", ">600", "---", "9.9E37", "9.91E37", "\u22124",
		}).Draw(t, "volts"))),
		Stage: must(record.ParseStage(rapid.SampledFrom([]string{"", "none", "50", "50.0", "??"}).Draw(t, "stage"))),
	}
	if ev.HasSeq {
		ev.Seq = rapid.Int64().Draw(t, "seq")
	}
	if rapid.Bool().Draw(t, "has clock") {
		ev.Clock = &record.Clock{Ahead: time.Duration(rapid.Int64().Draw(t, "ahead")), Within: time.Duration(rapid.Int64Range(0, 1e12).Draw(t, "within"))}
	}
	if text := rapid.SampledFrom([]string{"", "230", "0", "-0.5"}).Draw(t, "expected"); text != "" {
		ev.Expected, ev.HasExpected = record.Volts(must(parseFloat(text))), true
	}
	ev.Pair = record.Pair{A: must(record.ParseConductor("SL-1")), B: must(record.ParseConductor("n"))}
	ev.Placed = rapid.Bool().Draw(t, "placed")
	if !ev.Kind.IsReading() && rapid.Bool().Draw(t, "no pair") {
		ev.Pair, ev.Placed = record.Pair{}, false
	}
	return ev
}

func parseFloat(text string) (float64, error) {
	v, ok := record.ParseNumber(text)
	if !ok {
		return 0, errors.New(text)
	}
	return v, nil
}

func drawJob(t *rapid.T, id string) record.Job {
	job := record.Job{
		Record: id, Site: drawnTexts.Draw(t, "site"), Circuit: drawnTexts.Draw(t, "circuit"), Device: drawnTexts.Draw(t, "device"),
		Supply:  rapid.SampledFrom([]record.Supply{0, record.SinglePhase, record.DC3Wire}).Draw(t, "supply"),
		Nominal: rapid.SampledFrom([]record.Volts{0, 230, 398.4}).Draw(t, "nominal"),
		OnLoad:  rapid.SampledFrom([]record.YesNo{0, record.Yes, record.No}).Draw(t, "on load"),
	}
	if rapid.Bool().Draw(t, "conductors") {
		job.Conductors = []record.Conductor{record.L1, record.E}
		job.Switched = []record.Conductor{must(record.ParseConductor("SL1"))}
	}
	if rapid.Bool().Draw(t, "start") {
		job.Start = drawTime(t)
		job.End = job.Start
	}
	return job
}

// someRecords returns records of eight rows with known sums.
func someRecords(n int) (list []*record.Record, volts float64) {
	for i := range n {
		rec := &record.Record{ID: fmt.Sprintf("R%d", i)}
		for k := range 8 {
			ev := record.Event{
				Time: record.NewInstant(1772443200+int64(60*i+k), 0, 60), Kind: record.Prove, Indicator: "VI-1", Source: "PU-1",
				Volts: must(record.ParseReading(fmt.Sprintf("%d.5", i%7))), Pos: record.Pos{File: "a.csv", Line: 2 + 8*i + k},
			}
			if k == 7 {
				ev.Volts = must(record.ParseReading("---"))
			} else {
				volts += float64(i%7) + 0.5
			}
			rec.Events = append(rec.Events, ev)
		}
		list = append(list, rec)
	}
	return list, volts
}

// Another implementation of the format, Apache Arrow's, finds as many rows and values
// with the same sum, and each record within one row group.
func TestParquetReadByAnother(t *testing.T) {
	const n = 1000
	records, want := someRecords(n)
	r, err := file.NewParquetReader(bytes.NewReader(writeReadings(t, 500, records...)))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if r.NumRows() != 8*n || r.NumRowGroups() < 10 {
		t.Errorf("%d rows in %d row groups, want %d in at least 10", r.NumRows(), r.NumRowGroups(), 8*n)
	}
	schema := r.MetaData().Schema
	var sum float64
	values, seen := 0, map[string]int{}
	for g := range r.NumRowGroups() {
		group := r.RowGroup(g)
		rows := group.NumRows()
		column, err := group.Column(schema.ColumnIndexByName("volts"))
		if err != nil {
			t.Fatal(err)
		}
		volts, levels := make([]float64, rows), make([]int16, rows)
		total, read, err := column.(*file.Float64ColumnChunkReader).ReadBatch(rows, volts, levels, nil)
		if err != nil || total != rows {
			t.Fatalf("%d of %d rows: %v", total, rows, err)
		}
		values += read
		for _, v := range volts[:read] {
			sum += v
		}
		for id := range idsOf(t, group, schema.ColumnIndexByName("record")) {
			if before, twice := seen[id]; twice {
				t.Errorf("%s stands in the row groups %d and %d", id, before, g)
			}
			seen[id] = g
		}
	}
	if values != 7*n || sum != want || len(seen) != n {
		t.Errorf("%d values with the sum %g in %d records, want %d, %g, %d", values, sum, len(seen), 7*n, want, n)
	}
}

func idsOf(t *testing.T, group *file.RowGroupReader, index int) map[string]bool {
	t.Helper()
	column, err := group.Column(index)
	if err != nil {
		t.Fatal(err)
	}
	values := make([]arrow.ByteArray, group.NumRows())
	if _, _, err := column.(*file.ByteArrayColumnChunkReader).ReadBatch(group.NumRows(), values, nil, nil); err != nil {
		t.Fatal(err)
	}
	ids := map[string]bool{}
	for _, v := range values {
		ids[string(v)] = true
	}
	return ids
}

// A damaged file is an error, or what was damaged did not matter and the rows are the
// same. There is nothing between.
func TestParquetDamage(t *testing.T) {
	records, _ := someRecords(3)
	sound := writeReadings(t, 10, records...)
	want, err := readRecords(sound)
	if err != nil {
		t.Fatal(err)
	}
	refused := 0
	for i := 0; i < len(sound); i += 7 {
		data := bytes.Clone(sound)
		data[i] ^= 1 << (i % 8)
		got, err := readRecords(data)
		if err != nil {
			refused++
		} else if diff := cmp.Diff(want, got, wholeNouns); diff != "" {
			t.Errorf("byte %d: read without an error, but otherwise:\n%s", i, diff)
		}
	}
	if refused < len(sound)/7/10 {
		t.Errorf("only %d of %d damages were noticed", refused, len(sound)/7)
	}
	for n := range 40 {
		if _, err := readRecords(sound[:len(sound)*n/40]); err == nil {
			t.Errorf("cut to %d fortieths, and no error", n)
		}
	}
}

// Rubbish of every kind comes to an end, in little memory: bytes changed, taken out and
// put in, at the footer most of all, where lengths and codecs stand.
func TestParquetRubbish(t *testing.T) {
	records, _ := someRecords(2)
	sound := writeReadings(t, 10, records...)
	want, err := readRecords(sound)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	for i := range 1000 {
		data := bytes.Clone(sound)
		for range 1 + random.IntN(4) {
			at := random.IntN(len(data))
			if random.IntN(2) == 0 {
				at = max(0, len(data)-1-random.IntN(3500))
			}
			switch random.IntN(4) {
			case 0:
				data[at] = byte(random.IntN(256))
			case 1:
				data[at] ^= 1 << random.IntN(8)
			case 2:
				data = slices.Delete(data, at, min(len(data), at+1+random.IntN(8)))
			case 3:
				long := []byte{byte(random.IntN(256)), 0xff, 0xff, 0xff, 0x0f} // a large number, in the footer's form
				data = slices.Insert(data, at, long[:1+random.IntN(5)]...)
			}
		}
		if got, err := readRecords(data); err == nil && !cmp.Equal(want, got, wholeNouns) {
			t.Errorf("case %d: read without an error, but otherwise:\n%s", i, cmp.Diff(want, got, wholeNouns))
		}
	}
}

func TestParquetOfOthers(t *testing.T) {
	var b bytes.Buffer
	w := parquet.NewGenericWriter[struct{ Record string }](&b)
	if _, err := w.Write([]struct{ Record string }{{"R1"}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	other := b.Bytes()
	var p bytes.Buffer
	proofs := NewProofsWriter(&p)
	if err := errors.Join(proofs.Write([]ProofRow{{Record: "R1"}}), proofs.Close()); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ name, data, want string }{
		{"of another program", string(other), "x.parquet: a Parquet file that nilvolt export has not written"},
		{"another table", p.String(), "x.parquet: a Parquet file of proofs, not of readings"},
		{"only the magic bytes", "PAR1", "x.parquet: not a Parquet file that can be read"},
	} {
		_, err := OpenParquet(strings.NewReader(tt.data), int64(len(tt.data)), "x.parquet")
		if err == nil || !strings.HasPrefix(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.want)
		}
	}
}

// Of two versions of a record only the newer one is read where both are known.
func TestParquetVersions(t *testing.T) {
	var b bytes.Buffer
	w := NewReadingsWriter(&b)
	records, _ := someRecords(2)
	for _, version := range []int{1, 2} {
		if err := w.Write(records[1], version); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Write(records[0], 1), w.Close()); err != nil {
		t.Fatal(err)
	}
	p, err := OpenParquet(bytes.NewReader(b.Bytes()), int64(b.Len()), "x.parquet")
	if err != nil {
		t.Fatal(err)
	}
	newest := map[string]int32{}
	if err := p.Newest(newest); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(map[string]int32{"R1": 2}, newest); diff != "" {
		t.Error(diff)
	}
	var text strings.Builder
	_, superseded, err := p.Recode(&text, newest)
	if err != nil || superseded != 8 || strings.Count(text.String(), "\nR1,") != 8 || strings.Count(text.String(), "\n") != 25 {
		t.Errorf("%d rows superseded, %v, want 8:\n%s", superseded, err, text.String())
	}
}

// A failing writer is told as it is, not as damage of the file.
func TestParquetFullDisk(t *testing.T) {
	records, _ := someRecords(1)
	data := writeReadings(t, 100, records...)
	p, err := OpenParquet(bytes.NewReader(data), int64(len(data)), "x.parquet")
	if err != nil {
		t.Fatal(err)
	}
	full := errors.New("disk full")
	r, w := io.Pipe()
	r.CloseWithError(full)
	if _, _, err := p.Recode(w, nil); !errors.Is(err, full) {
		t.Errorf("%v, want %v", err, full)
	}
}

// FuzzParquet: rubbish is an error or sound rows, and sound rows are the same when
// they are written and read again.
func FuzzParquet(f *testing.F) {
	records, _ := someRecords(2)
	f.Add(writeReadings(f, 10, records...))
	f.Add([]byte("PAR1PAR1"))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := readRecords(data)
		if err != nil {
			return
		}
		var list []*record.Record
		for _, rec := range got {
			list = append(list, rec)
		}
		again, err := readRecords(writeReadings(t, 10, list...))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(got, again, wholeNouns); diff != "" {
			t.Errorf("read (-) and written and read again (+):\n%s", diff)
		}
	})
}
