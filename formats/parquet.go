package formats

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
	"reflect"
	"strconv"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"

	"nilvolt/record"
)

const (
	parquetMagic = "PAR1"

	// rowsInGroup is after how many rows a row group ends, behind the record that is
	// under way then: a record never spans two.
	rowsInGroup = 1 << 18

	// The names in the footer of the files.
	metaTable    = "nilvolt.table"
	metaVersion  = "nilvolt.version"  // of the tables
	metaUnits    = "nilvolt.units"    // a line a column: its name, a tab, its unit
	metaVersions = "nilvolt.versions" // of readings: the highest version of a record in the file
	metaDigest   = "nilvolt.sha256"   // of readings: over all rows as text
	metaPages    = "nilvolt.pages"    // how many bytes of the file come before its index, and their SHA-256

	tablesVersion = "1"
)

// A RecordRow is a row of the table of records: a judgement of a version of a record.
// Of several rows of one version, the one with the highest judgement counts.
type RecordRow struct {
	Record     string `parquet:"record,delta" unit:"id"`
	Version    int32  `parquet:"version,delta" unit:"number, from 1"`
	Judgement  int64  `parquet:"judgement,delta" unit:"number"`
	Judged     int64  `parquet:"judged,delta,timestamp(microsecond:utc)" unit:"µs, UTC"`
	Cause      string `parquet:"cause,dict" unit:"word"`
	Rules      string `parquet:"rules,dict" unit:"text"`
	Status     string `parquet:"status,dict" unit:"word"`
	Failed     string `parquet:"failed,optional,dict" unit:"rules"`
	Started    int64  `parquet:"started,delta,timestamp(microsecond:utc)" unit:"µs, UTC"`
	Ended      int64  `parquet:"ended,delta,timestamp(microsecond:utc)" unit:"µs, UTC"`
	Readings   int32  `parquet:"readings,dict" unit:"count"`
	Site       string `parquet:"site,optional,dict" unit:"text"`
	Technician string `parquet:"technician,optional,dict" unit:"text"`
	Upload     int64  `parquet:"upload,delta" unit:"number"`
	Uploaded   int64  `parquet:"uploaded,delta,timestamp(microsecond:utc)" unit:"µs, UTC"`
}

// A FindingRow is a row of the table of findings.
type FindingRow struct {
	Record    string `parquet:"record,delta" unit:"id"`
	Version   int32  `parquet:"version,delta" unit:"number, from 1"`
	Judgement int64  `parquet:"judgement,delta" unit:"number"`
	Rule      string `parquet:"rule,dict" unit:"word"`
	Severity  string `parquet:"severity,dict" unit:"word"`
	Indicator string `parquet:"indicator,optional,dict" unit:"id"`
	Pairs     string `parquet:"pairs,optional,dict" unit:"names"`
	Points    string `parquet:"points,optional,dict" unit:"names"`
	Lines     string `parquet:"lines,optional" unit:"file:line"`
	Message   string `parquet:"message" unit:"text"`
}

// A ProofRow is a row of the table of proofs: a reading of an indicator on a proving
// source.
type ProofRow struct {
	Record    string   `parquet:"record,delta" unit:"id"`
	Version   int32    `parquet:"version,delta" unit:"number, from 1"`
	Time      int64    `parquet:"time,delta,timestamp(millisecond:utc)" unit:"ms, UTC"`
	Indicator string   `parquet:"indicator,optional,dict" unit:"id"`
	Source    string   `parquet:"source,optional,dict" unit:"id"`
	Volts     *float64 `parquet:"volts,optional,dict" unit:"V"`
	VoltsText string   `parquet:"volts_text,optional,dict" unit:"text, in V where it is a number"`
	Expected  *float64 `parquet:"expected,optional,dict" unit:"V"`
	Stage     *float64 `parquet:"stage,optional,dict" unit:"V"`
	StageText string   `parquet:"stage_text,optional,dict" unit:"text, in V where it is a number"`
	Waveform  string   `parquet:"waveform,optional,dict" unit:"word"`
}

// ProofRows returns the proofs of a version of a record.
func ProofRows(rec *record.Record, version int) []ProofRow {
	var rows []ProofRow
	for i := range rec.Events {
		ev := &rec.Events[i]
		if !ev.Kind.IsProof() {
			continue
		}
		var r readingRow
		r.setEvent(ev)
		rows = append(rows, ProofRow{
			Record: rec.ID, Version: int32(version), Time: *r.Time, Indicator: r.Indicator, Source: r.Source,
			Volts: r.Volts, VoltsText: r.VoltsText, Expected: r.Expected, Stage: r.Stage, StageText: r.StageText,
			Waveform: r.Waveform,
		})
	}
	return rows
}

// A ParquetColumn is a column of a table as its struct tags have it.
type ParquetColumn struct{ Name, Unit string }

// ParquetTables returns the columns of each table of an export.
func ParquetTables() map[string][]ParquetColumn {
	return map[string][]ParquetColumn{
		"readings": parquetColumns[readingRow](),
		"records":  parquetColumns[RecordRow](),
		"findings": parquetColumns[FindingRow](),
		"proofs":   parquetColumns[ProofRow](),
	}
}

func parquetColumns[T any]() []ParquetColumn {
	var list []ParquetColumn
	for f := range reflect.TypeFor[T]().Fields() {
		name, _, _ := strings.Cut(f.Tag.Get("parquet"), ",")
		list = append(list, ParquetColumn{name, f.Tag.Get("unit")})
	}
	return list
}

// A TableWriter writes one Parquet file of rows of type T.
type TableWriter[T any] struct {
	w       *parquet.GenericWriter[T]
	pages   *hashedWriter
	most    int // rows after which a row group ends
	inGroup int
	rows    int64
}

// NewRecordsWriter returns a writer of the table of records.
func NewRecordsWriter(w io.Writer) *TableWriter[RecordRow] { return newTable[RecordRow](w, "records") }

// NewFindingsWriter returns a writer of the table of findings.
func NewFindingsWriter(w io.Writer) *TableWriter[FindingRow] {
	return newTable[FindingRow](w, "findings")
}

// NewProofsWriter returns a writer of the table of proofs.
func NewProofsWriter(w io.Writer) *TableWriter[ProofRow] { return newTable[ProofRow](w, "proofs") }

func newTable[T any](w io.Writer, table string) *TableWriter[T] {
	var units strings.Builder
	for _, c := range parquetColumns[T]() {
		units.WriteString(c.Name + "\t" + c.Unit + "\n")
	}
	pages := &hashedWriter{w: w, hash: sha256.New()}
	return &TableWriter[T]{pages: pages, most: rowsInGroup, w: parquet.NewGenericWriter[T](pages,
		parquet.WriteBufferSize(0), // what was flushed has come to pages
		parquet.Compression(&zstd.Codec{Level: zstd.SpeedBetterCompression, Concurrency: 1}),
		parquet.DefaultEncodingFor(parquet.Int64, &parquet.DeltaBinaryPacked), // optional ones have no tag for it
		parquet.CreatedBy("nilvolt", tablesVersion, ""),
		parquet.KeyValueMetadata(metaTable, table),
		parquet.KeyValueMetadata(metaVersion, tablesVersion),
		parquet.KeyValueMetadata(metaUnits, units.String()),
	)}
}

// Write writes all rows of one record. They do not span two row groups.
func (t *TableWriter[T]) Write(rows []T) error {
	n, err := t.w.Write(rows)
	t.rows += int64(n)
	t.inGroup += n
	if err == nil && t.inGroup >= t.most {
		t.inGroup = 0
		err = t.w.Flush()
	}
	return err
}

// Rows returns how many rows were written.
func (t *TableWriter[T]) Rows() int64 { return t.rows }

// Close writes the end of the file. It does not close what it writes to.
func (t *TableWriter[T]) Close() error {
	if err := t.w.Flush(); err != nil {
		return err
	}
	t.w.SetKeyValueMetadata(metaPages, pagesText(t.pages.size, t.pages.hash))
	return t.w.Close()
}

// A hashedWriter hashes what it passes on.
type hashedWriter struct {
	w    io.Writer
	hash hash.Hash
	size int64
}

func (h *hashedWriter) Write(p []byte) (int, error) {
	n, err := h.w.Write(p)
	h.hash.Write(p[:n])
	h.size += int64(n)
	return n, err
}

// pagesText is what the footer says of the bytes before the index.
func pagesText(size int64, h hash.Hash) string {
	return strconv.FormatInt(size, 10) + " " + hex.EncodeToString(h.Sum(nil))
}

// A ReadingsWriter writes a Parquet file of the readings of records, with their job
// sheets, from which the records can be judged as from the files that they came in.
type ReadingsWriter struct {
	table   *TableWriter[readingRow]
	digest  rowDigest
	rows    []readingRow
	inRow   map[record.Pos]*record.Job // jobs whose columns stood in the row of an event
	highest int                        // version
}

// NewReadingsWriter returns a writer of the table of readings.
func NewReadingsWriter(w io.Writer) *ReadingsWriter {
	return &ReadingsWriter{table: newTable[readingRow](w, "readings"), digest: newRowDigest(), inRow: map[record.Pos]*record.Job{}}
}

// Write writes a version of a record, which has a row of a job sheet or an event.
func (w *ReadingsWriter) Write(rec *record.Record, version int) error {
	w.rows = w.rows[:0]
	clear(w.inRow)
	at := make(map[record.Pos]bool, len(rec.Events))
	for i := range rec.Events {
		at[rec.Events[i].Pos] = true
	}
	for i := range rec.Jobs {
		j := &rec.Jobs[i]
		row := readingRow{Record: rec.ID, Version: int32(version)}
		row.setJob(j)
		if w.inRow[j.Pos] == nil && at[j.Pos] && j.Indicator == "" && row.hasJob() {
			w.inRow[j.Pos] = j
			continue
		}
		row.Indicator = j.Indicator
		row.setPos(j.Pos)
		w.rows = append(w.rows, row)
	}
	for i := range rec.Events {
		ev := &rec.Events[i]
		row := readingRow{Record: rec.ID, Version: int32(version)}
		row.setEvent(ev)
		if j := w.inRow[ev.Pos]; j != nil {
			row.setJob(j)
			delete(w.inRow, ev.Pos)
		}
		w.rows = append(w.rows, row)
	}
	for i := range w.rows {
		w.digest.add(&w.rows[i])
	}
	w.highest = max(w.highest, version)
	return w.table.Write(w.rows)
}

// Rows returns how many rows were written.
func (w *ReadingsWriter) Rows() int64 { return w.table.Rows() }

// Close writes the end of the file. It does not close what it writes to.
func (w *ReadingsWriter) Close() error {
	w.table.w.SetKeyValueMetadata(metaVersions, strconv.Itoa(w.highest))
	w.table.w.SetKeyValueMetadata(metaDigest, w.digest.sum(w.highest))
	return w.table.Close()
}

// parquetOrder is the order of columns in which a row of readings becomes text.
var parquetOrder = func() (order []Column) {
	for c := RecordColumn; c <= EndColumn; c++ {
		order = append(order, c)
	}
	return append(order, AmbiguousColumn, ClockColumn, FileColumn, LineColumn)
}()

// appendRow appends a row as a line of CSV.
func appendRow(out []byte, row *Row) []byte {
	for i, c := range parquetOrder {
		if i > 0 {
			out = append(out, ',')
		}
		out = appendField(out, row[c].Text)
	}
	return append(out, '\n')
}

// appendField appends a field of CSV, in quotes where RFC 4180 asks for them.
func appendField(out []byte, text string) []byte {
	if !strings.ContainsAny(text, ",\"\r\n") {
		return append(out, text...)
	}
	out = append(out, '"')
	out = append(out, strings.ReplaceAll(text, `"`, `""`)...)
	return append(out, '"')
}

// A rowDigest hashes rows as text, so that a reader knows that it has read all that
// was written, as it was written.
type rowDigest struct {
	hash hash.Hash
	line []byte
}

func newRowDigest() rowDigest { return rowDigest{hash: sha256.New()} }

// add hashes a row and returns it as text, valid until the next call.
func (d *rowDigest) add(r *readingRow) (Row, []byte) {
	row := r.texts()
	d.line = appendRow(d.line[:0], &row)
	n := len(d.line)
	d.line = strconv.AppendInt(d.line, int64(r.Version), 10)
	d.line = append(d.line, '\n')
	d.hash.Write(d.line)
	return row, d.line[:n]
}

// sum returns the hash over all rows, and over the highest version among them.
func (d *rowDigest) sum(highest int) string {
	d.hash.Write(strconv.AppendInt(nil, int64(highest), 10))
	return hex.EncodeToString(d.hash.Sum(nil))
}
