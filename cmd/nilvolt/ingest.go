package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"nilvolt/ingest"
	"nilvolt/ledger"
)

// ingestOptions are the flags of ingest.
type ingestOptions struct {
	inputFlags
	ledgerFlags
	by          string
	format      string
	all         bool
	withoutRows bool
}

func newIngest(c *console) *cobra.Command {
	o := &ingestOptions{}
	cmd := &cobra.Command{
		Use:   "ingest READINGS... --ledger WHERE",
		Short: "Judge files of readings and keep them in a ledger",
		Long: `Judge every isolation record of the files, as nilvolt verify does, and keep it all:
the files as they came, the records, and what was found in them. A folder stands
for all files in it, "-" is standard input. The ledger is made on first use.

One call is one upload: it is kept whole or, after any error, not at all. The same
files twice are kept once. A record that is kept already with the same content is
left as it is; one with other content becomes a new version, and both stay.

A record that only the job sheet names, and of which no row was ever handed in, is
planned, or was done and its readings are still to come. It is counted and told, and
never passes; nilvolt review list --missing lists all such records. With
--jobs-without-rows each is kept as a record that proves nothing, for QA to decide on.

The rules across records look at the whole ledger. Where an upload throws light on
records that were kept before, those are judged again, and the change is told.

Exit status: 0 when every record complies and every row belongs to one record,
1 when not, 2 when input could not be read; then nothing was kept.`,
		Example: `  nilvolt ingest site.csv --jobs jobs.csv --instruments instruments.csv --ledger site.db
  nilvolt ingest week-12/ --map logger.yaml --ledger postgres://db.example/nilvolt --key nilvolt.key --format json`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return hint("name one or more files or folders, or - for standard input", "ingest needs readings to keep")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(o.format); err != nil {
				return err
			}
			return runIngest(cmd.Context(), o, args, c)
		},
	}
	f := cmd.Flags()
	o.inputFlags.register(f)
	o.ledgerFlags.register(f, true)
	f.StringVar(&o.by, "by", "", "the `name` of who hands the files in")
	f.BoolVar(&o.all, "all", false, "in text, list and explain every record")
	f.BoolVar(&o.withoutRows, "jobs-without-rows", false, "keep the records of the job sheet that have no row as well")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json or csv")
	completeFlags(cmd)
	return cmd
}

// errNothingKept is said beside the reason when an upload failed.
var errNothingKept = errors.New("nothing was kept")

// runIngest keeps the readings and prints what came of it.
func runIngest(ctx context.Context, o *ingestOptions, args []string, c *console) error {
	in, err := o.load()
	if err != nil {
		return errors.Join(err, errNothingKept)
	}
	s, err := gather(ctx, args, c)
	if err != nil {
		return errors.Join(err, errNothingKept)
	}
	defer s.close()
	bar := newProgress(c, 3) // index, evidence, verdicts
	defer bar.stop()
	set, err := ingest.Open(ctx, s.paths, ingest.Options{
		Jobs: in.jobs, Map: in.readingsMap, Stdin: s.stdin, Progress: bar.update,
	})
	if err != nil {
		return errors.Join(err, errNothingKept)
	}
	defer set.Close()
	l, err := o.open(ctx, c, true)
	if err != nil {
		return errors.Join(err, errNothingKept)
	}
	defer l.Close()
	k := &keeper{in: in, set: set, manifest: s.manifest(o, in), out: newKeptOutput(o, c), withoutRows: o.withoutRows}
	defer func() { _ = k.out.lines.close() }() // what is left of it harms nobody
	err = l.Update(ctx, func(tx *ledger.Tx) error { return k.keep(ctx, tx) })
	bar.stop()
	if err != nil {
		return errors.Join(ledgerError(err), errNothingKept)
	}
	return k.conclude(c)
}

// sources are the files of readings of one call.
type sources struct {
	paths []string
	stdin *os.File // what "-" gave, in a temporary file; nil if it is not among paths
}

// gather lists the files that the arguments stand for, and puts standard input
// aside, since it is read more than once.
func gather(ctx context.Context, args []string, c *console) (*sources, error) {
	s := &sources{}
	for _, arg := range args {
		if arg == "-" {
			if err := s.spool(ctx, c.in); err != nil {
				s.close()
				return nil, err
			}
			s.paths = append(s.paths, arg)
			continue
		}
		files, err := filesIn(arg)
		if err != nil {
			s.close()
			return nil, err
		}
		s.paths = append(s.paths, files...)
	}
	return s, nil
}

// filesIn returns the files of a folder and of those in it, sorted, those whose
// name begins with a dot left out; or the file itself.
func filesIn(path string) ([]string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return []string{path}, nil
	}
	var files []string
	err = filepath.WalkDir(path, func(name string, entry fs.DirEntry, err error) error {
		hidden := strings.HasPrefix(entry.Name(), ".") && name != path
		switch {
		case err != nil:
			return err
		case hidden && entry.IsDir():
			return fs.SkipDir
		case !hidden && entry.Type().IsRegular():
			files = append(files, name)
		}
		return nil
	})
	if err == nil && len(files) == 0 {
		err = hint("name the folder that the readings lie in", "%s: no file in the folder", path)
	}
	return files, err
}

// spool copies standard input to a temporary file.
func (s *sources) spool(ctx context.Context, in io.Reader) error {
	if s.stdin != nil {
		return hint("name it once", "standard input, -, stands there twice")
	}
	f, err := os.CreateTemp("", "nilvolt-*")
	if err != nil {
		return err
	}
	s.stdin = f
	stop := context.AfterFunc(ctx, func() { f.Close() }) // ends the copy with an error
	defer stop()
	if _, err := io.Copy(f, in); err != nil {
		return fmt.Errorf("standard input: %w", err)
	}
	_, err = f.Seek(0, io.SeekStart)
	return err
}

// close removes what spool has written.
func (s *sources) close() {
	if s.stdin != nil {
		s.stdin.Close()
		os.Remove(s.stdin.Name())
	}
}

// manifest lists all files of the call, in the parts that they play.
func (s *sources) manifest(o *ingestOptions, in *inputs) ledger.Manifest {
	m := ledger.Manifest{By: o.by, Zone: o.zone}
	for _, path := range s.paths {
		name := path
		if path == "-" {
			name = s.stdin.Name()
		}
		m.Files = append(m.Files, ledger.File{Role: ledger.Readings, Name: path, Open: func() (io.ReadCloser, error) { return os.Open(name) }})
	}
	for _, f := range in.files {
		m.Files = append(m.Files, ledger.File{Role: f.role, Name: f.name, Open: func() (io.ReadCloser, error) {
			return io.NopCloser(strings.NewReader(string(f.data))), nil
		}})
	}
	return m
}
