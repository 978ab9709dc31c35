package ingest

import (
	"context"
	"errors"
	"io"
	"runtime"

	"nilvolt/formats"
	"nilvolt/record"
)

// Options say how files are read. The zero Options read canonical files on all
// cores, without job sheets.
type Options struct {
	Jobs     []record.Job // rows of the job sheets, in order
	Map      *formats.Map // how the files are read; nil if they are canonical
	Workers  int          // 0 is one a core
	TempDir  string       // for temporary files; blank is the system's
	At       []string     // where the files lie, when the paths only name them; nil: at the paths
	Stdin    io.Reader    // what the file "-" is
	Progress func(done, total int64)

	// For tests; 0 is the default.
	blockSize int
	longest   int
	hashLimit int
	hash      func(id string) uint64
}

// A Stray is a row without a record id that belongs to no record, or that fits
// several and so is good evidence in none.
type Stray struct {
	Pos       record.Pos
	Indicator string         // blank if the row has none
	Source    string         // of an output: the proving unit
	Time      record.Instant // when it was recorded
	Kind      record.Kind
	Records   []string // those that it fits, in the order of the job sheet; nil if none
	Own       bool     // it fits one, but only by rows of its own file
}

// A Set is files of readings, open to be read. Its methods are not safe for
// concurrent use.
type Set struct {
	options   Options
	inputs    []*input
	jobs      *jobSheet
	scattered *scattered // nil when every record lies in one stretch
	loose     *looseRows
	torn      bool // quotes do not pair up: which rows there are is in doubt, wherever the file is cut
	clocks    []Clock
	rows      int64
	skipped   int64
	records   int
}

// Open opens the files at the paths, "-" being standard input, and finds out where
// their records lie. What cannot be read in place is written to a temporary file
// first: standard input, other encodings than UTF-8, workbooks, Parquet.
//
// A file without a row is an error. Mistakes in the form of a file or its header
// are a *formats.BadRows or a *formats.RowError; those in rows are left to
// [Set.Each]. On success the caller must call [Set.Close].
func Open(ctx context.Context, paths []string, o Options) (*Set, error) {
	s := &Set{options: o.withDefaults()}
	if err := s.open(ctx, paths); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func (o Options) withDefaults() Options {
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if o.blockSize == 0 {
		o.blockSize = 256 << 10
	}
	if o.longest == 0 {
		o.longest = headBytes
	}
	if o.hashLimit == 0 {
		o.hashLimit = hashLimit
	}
	if o.hash == nil {
		o.hash = newHash()
	}
	return o
}

func (s *Set) open(ctx context.Context, paths []string) error {
	for i, path := range paths {
		in := &input{name: path}
		if s.options.At != nil {
			path = s.options.At[i]
		}
		if err := in.open(ctx, path, &s.options); err != nil {
			return err
		}
		s.inputs = append(s.inputs, in)
	}
	if err := s.openParquet(); err != nil {
		return err
	}
	err := s.eachInput(func(in *input) error { return in.prepare(ctx, &s.options) })
	if err != nil {
		return err
	}
	s.jobs = newJobSheet(s.allJobs())
	return s.index(ctx)
}

// eachInput calls do for every input, and puts together what is wrong with the form
// of several.
func (s *Set) eachInput(do func(*input) error) error {
	bad := &formats.BadRows{}
	for _, in := range s.inputs {
		err := do(in)
		var rows *formats.BadRows
		var row *formats.RowError
		switch {
		case errors.As(err, &rows):
			bad.Merge(rows)
		case errors.As(err, &row):
			bad.Add(row)
		case err != nil:
			return err
		}
	}
	return bad.Err()
}

// Close closes the files and removes the temporary ones.
func (s *Set) Close() error {
	var errs []error
	for _, in := range s.inputs {
		errs = append(errs, in.closer.Close())
	}
	s.inputs = nil
	return errors.Join(errs...)
}

// Rows returns how many rows the files have, headers, blank lines and rows that a
// column map skips not counted.
func (s *Set) Rows() int64 { return s.rows }

// Skipped returns how many rows the column map skips: comments, footers, and
// rows whose function is not voltage. Empty lines are not counted.
func (s *Set) Skipped() int64 { return s.skipped }

// Records returns how many records there are, those of the job sheets that have no
// row included. It is known when [Set.Each] has gone over all of them.
func (s *Set) Records() int { return s.records }

// Clocks returns what was found out of the clocks of the logs without record ids that
// show proofs which records or other logs show too, in the order of the input. The
// caller must not change it.
func (s *Set) Clocks() []Clock { return s.clocks }

// Strays returns the rows without a record id that fit no record or several, in
// the order of the input. The caller must not change them.
func (s *Set) Strays() []Stray { return s.loose.strays }
