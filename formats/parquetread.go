package formats

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"

	"nilvolt/record"
)

// A Parquet is an open Parquet file of readings, as an export has written it.
type Parquet struct {
	name    string
	file    *parquet.File
	highest int // version of a record in it
}

const (
	mendParquet = "export the readings again; files of other programs are read as CSV text"
	mendDamaged = "the file is damaged: export the readings again into an empty folder"
)

// OpenParquet opens a Parquet file of size bytes. A file that is damaged, or that
// [ReadingsWriter] has not written, is a *RowError.
func OpenParquet(r io.ReaderAt, size int64, name string) (*Parquet, error) {
	p := &Parquet{name: name}
	err := p.guard(func() (err error) {
		if err := checkTrailer(r, size); err != nil {
			return err
		}
		p.file, err = parquet.OpenFile(r, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
		if err != nil {
			return err
		}
		if err := p.check(); err != nil {
			return err
		}
		return p.checkPages(r, size)
	})
	return p, err
}

// checkTrailer sees that the footer lies within the file, which the library does not.
func checkTrailer(r io.ReaderAt, size int64) error {
	const length = 8 // of the trailer: the length of the footer, and the magic bytes
	var trailer [length]byte
	if size < int64(len(parquetMagic))+length {
		return errCutShort
	}
	if _, err := r.ReadAt(trailer[:], size-length); err != nil {
		return err
	}
	footer := int64(binary.LittleEndian.Uint32(trailer[:]))
	if string(trailer[4:]) != parquetMagic || footer > size-length-int64(len(parquetMagic)) {
		return errCutShort
	}
	return nil
}

var (
	errCutShort = errors.New("it was cut short, or its end is damaged")
	errPages    = errors.New("it is damaged: the digest of its pages differs")
)

// checkPages sees that the pages are those that were written, before any is unpacked:
// the library may not come to an end with damaged ones.
func (p *Parquet) checkPages(r io.ReaderAt, size int64) error {
	text, _ := p.file.Lookup(metaPages)
	digits, _, _ := strings.Cut(text, " ")
	end, err := strconv.ParseInt(digits, 10, 64)
	if err != nil || end < 0 || end > size {
		return errPages
	}
	h := sha256.New()
	if _, err := io.Copy(h, io.NewSectionReader(r, 0, end)); err != nil {
		return err
	}
	if pagesText(end, h) != text {
		return errPages
	}
	for _, group := range p.file.Metadata().RowGroups {
		for i := range group.Columns {
			c := &group.Columns[i].MetaData
			within := c.DataPageOffset >= 0 && c.DictionaryPageOffset >= 0 && c.TotalCompressedSize >= 0 &&
				c.DataPageOffset <= end && c.DictionaryPageOffset <= end && c.TotalCompressedSize <= end
			if c.Codec != format.Zstd || !within {
				return errors.New("its footer is damaged")
			}
		}
	}
	return nil
}

// guard calls do, and makes errors and panics of the library errors of the file.
func (p *Parquet) guard(do func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = formError(p.name, 0, fmt.Sprintf("not a Parquet file that can be read: %v", r), mendDamaged)
		}
	}()
	err = do()
	if err == nil {
		return nil
	}
	if _, ok := errors.AsType[*RowError](err); ok {
		return err
	}
	if failed, ok := errors.AsType[*writeError](err); ok {
		return failed.error
	}
	return formError(p.name, 0, "not a Parquet file that can be read: "+err.Error(), mendDamaged)
}

// A writeError is an error of where the rows are written to.
type writeError struct{ error }

// check sees that the file is a table of readings of this program.
func (p *Parquet) check() error {
	table, ours := p.file.Lookup(metaTable)
	version, _ := p.file.Lookup(metaVersion)
	switch {
	case !ours:
		return formError(p.name, 0, "a Parquet file that nilvolt export has not written", mendParquet)
	case table != "readings":
		return formError(p.name, 0, "a Parquet file of "+clip(table)+", not of readings", "name the files in the folder readings of the export")
	case version != tablesVersion:
		return formError(p.name, 0, "a Parquet file of tables of version "+clip(version)+", and this program knows "+tablesVersion,
			"use the nilvolt that wrote it, or a later one")
	case !parquet.EqualNodes(p.file.Schema(), parquet.SchemaOf(readingRow{})):
		return formError(p.name, 0, "its columns are not those of readings", mendParquet)
	}
	text, _ := p.file.Lookup(metaVersions)
	highest, err := strconv.ParseInt(text, 10, 32)
	if err != nil || highest < 1 {
		return formError(p.name, 0, "its footer does not tell the versions in it", mendDamaged)
	}
	p.highest = int(highest)
	return nil
}

// Newest adds to newest the records of which the file has a version beyond the first,
// with the highest one: rows of lower versions are superseded.
func (p *Parquet) Newest(newest map[string]int32) error {
	if p.highest <= 1 {
		return nil
	}
	return p.each(func(r *readingRow) error {
		if r.Version > max(1, newest[r.Record]) {
			newest[strings.Clone(r.Record)] = r.Version
		}
		return nil
	})
}

// each reads all rows.
func (p *Parquet) each(use func(*readingRow) error) error {
	return p.guard(func() error {
		r := parquet.NewGenericReader[readingRow](p.file)
		defer func() { _ = r.Close() }() // it closes no file
		rows := make([]readingRow, 512)
		for {
			n, err := r.Read(rows)
			for i := range rows[:n] {
				if err := use(&rows[i]); err != nil {
					return err
				}
			}
			clear(rows)
			switch {
			case errors.Is(err, io.EOF):
				return nil
			case err != nil:
				return err
			case n == 0:
				return io.ErrNoProgress
			}
		}
	})
}

// Recode writes the events as lines of CSV for [BindParquet] to w: a header, then row
// n of the file as line n+1. Rows of job sheets are blank lines, and are returned; rows
// of a version below that in newest are blank lines, and are counted as superseded.
//
// What was written is whole only when there is no error: the rows are checked against
// the digest in the footer at the end.
func (p *Parquet) Recode(w io.Writer, newest map[string]int32) (jobs []record.Job, superseded int64, err error) {
	digest := newRowDigest()
	write := func(line []byte) error {
		if _, err := w.Write(line); err != nil {
			return &writeError{err}
		}
		return nil
	}
	header := Row{}
	for _, c := range parquetOrder {
		header[c].Text = c.String()
	}
	if err := write(appendRow(nil, &header)); err != nil {
		return nil, 0, p.guard(func() error { return err })
	}
	number := 0
	bad := &BadRows{}
	err = p.each(func(r *readingRow) error {
		number++
		row, line := digest.add(r)
		switch {
		case newest[r.Record] > r.Version:
			superseded++
			line = []byte("\n")
		case r.Event == "":
			for c := range row {
				row[c].Text = strings.Clone(row[c].Text) // the library may use its memory again
			}
			job, problems := decodeJob(&row, record.Pos{File: row[FileColumn].Text, Line: int(r.Line)})
			for _, problem := range problems {
				bad.Add(problem.At(record.Pos{File: p.name, Line: number + 1}))
			}
			jobs = append(jobs, job)
			line = []byte("\n")
		}
		return write(line)
	})
	if err != nil {
		return nil, 0, err
	}
	if want, _ := p.file.Lookup(metaDigest); digest.sum(p.highest) != want {
		return nil, 0, formError(p.name, 0, "its rows are not those that were written: the digest in its footer differs", mendDamaged)
	}
	return jobs, superseded, bad.Err()
}

// parquetColumnSet is what a file written by [Parquet.Recode] has.
var parquetColumnSet = &columnSet{
	kind:     readingsFile,
	what:     "readings",
	has:      func(c Column) bool { return readingColumns.has(c) || c >= AmbiguousColumn && c <= LineColumn },
	required: []Column{TimeColumn, EventColumn, FileColumn, LineColumn},
}

// BindParquet is [Bind] for what [Parquet.Recode] has written.
func BindParquet(head, name string) (*Layout, error) {
	return bindCanonical(head, name, parquetColumnSet)
}
