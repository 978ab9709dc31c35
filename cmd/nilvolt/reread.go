package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"nilvolt/formats"
	"nilvolt/ingest"
	"nilvolt/ledger"
	"nilvolt/record"
)

// A rereader reads the uploads of a ledger anew, each from its files as they came and
// as ingest would, one at a time. It needs room on the disk for the readings of the
// largest one.
type rereader struct {
	tx      *ledger.Tx
	uploads []ledger.KeptUpload
	sizes   map[int64]int64 // bytes of the kept files

	report func(done, total int64) // may be nil
	passes int64                   // how often all is gone over
	total  int64                   // bytes of the readings of all uploads, in all passes
	begun  int64                   // of those, what is read but for the upload under way
}

func newRereader(tx *ledger.Tx, passes int, report func(done, total int64)) (*rereader, error) {
	r := &rereader{tx: tx, passes: int64(passes), report: report}
	var err error
	if r.uploads, err = tx.Uploads(); err != nil {
		return nil, err
	}
	if r.sizes, err = tx.Sizes(); err != nil {
		return nil, err
	}
	for i := range r.uploads {
		r.total += r.passes * r.size(&r.uploads[i])
	}
	return r, nil
}

// size returns how many bytes the readings of an upload have.
func (r *rereader) size(u *ledger.KeptUpload) (n int64) {
	for _, f := range u.Files {
		if f.Role == ledger.Readings {
			n += r.sizes[f.Content]
		}
	}
	return n
}

// An unreadableError says that the files of an upload cannot be read any more as they
// could when they came.
type unreadableError struct{ err error }

func (e *unreadableError) Error() string { return e.err.Error() }
func (e *unreadableError) Unwrap() error { return e.err }

// place returns where the first mistake stands.
func (e *unreadableError) place() record.Pos {
	if row, ok := errors.AsType[*formats.RowError](e.err); ok {
		return row.Pos
	}
	if rows, ok := errors.AsType[*formats.BadRows](e.err); ok {
		return rows.First[0].Pos
	}
	return record.Pos{}
}

// unreadable marks what lies in the files, and leaves all else as it is.
func unreadable(err error) error {
	_, row := errors.AsType[*formats.RowError](err)
	_, rows := errors.AsType[*formats.BadRows](err)
	if row || rows {
		return &unreadableError{err}
	}
	return err
}

// read reads an upload. visitor makes the function that each worker calls with every
// record; take gets them in order, packed. Files that cannot be read any more are an
// *unreadableError.
func (r *rereader) read(
	ctx context.Context, u *ledger.KeptUpload, visitor func() func(*record.Record), take func([]*ledger.Packed) error,
) error {
	defer func() { r.begun += r.size(u) }()
	dir, err := os.MkdirTemp("", "nilvolt-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	in, err := keptInputs(r.tx, u)
	if err != nil {
		return unreadable(err)
	}
	names, at, err := r.unpack(u, dir)
	if err != nil {
		return err
	}
	set, err := ingest.Open(ctx, names, ingest.Options{
		Jobs: in.jobs, Map: in.readingsMap, At: at, TempDir: dir, Progress: r.progress(r.size(u)),
	})
	if err != nil {
		return unreadable(err)
	}
	defer func() { _ = set.Close() }() // it was only read
	var packed carrier[*ledger.Packed]
	err = set.Each(ctx, func() ingest.Visitor {
		visit := visitor()
		var packer ledger.Packer
		return func(rec *record.Record, out []byte) []byte {
			visit(rec)
			return packed.put(out, packer.Pack(rec, nil))
		}
	}, func(chunk []byte) error {
		list, err := packed.take(chunk)
		if err != nil {
			return err
		}
		return take(list)
	})
	return unreadable(err)
}

// progress returns the function that is told how far the two walks over an upload's
// readings, of so many bytes, have come.
func (r *rereader) progress(size int64) func(done, total int64) {
	if r.report == nil {
		return nil
	}
	var walks, last int64
	return func(done, total int64) {
		if done < last {
			walks++
		}
		last = done
		share := float64(walks*total+done) / float64(2*max(total, 1))
		r.report(r.begun+int64(min(share, 1)*float64(size)), r.total)
	}
}

// keptInputs reads the job sheets and the column maps of an upload.
func keptInputs(files contentReader, u *ledger.KeptUpload) (*inputs, error) {
	f := inputFlags{zone: u.Zone}
	for _, file := range u.Files {
		switch file.Role {
		case ledger.Jobs:
			f.jobs = append(f.jobs, file.Name)
		case ledger.Map:
			f.readingsMap = file.Name
		case ledger.JobsMap:
			f.jobsMap = file.Name
		case ledger.Readings, ledger.Policy, ledger.Instruments:
		}
	}
	in := &inputs{open: func(role ledger.Role, name string) ([]byte, error) {
		i := slices.IndexFunc(u.Files, func(file ledger.UploadFile) bool { return file.Role == role && file.Name == name })
		return files.Content(u.Files[i].Content)
	}}
	if err := f.loadMaps(in); err != nil {
		return nil, err
	}
	return in, f.loadJobs(in)
}

// unpack writes the readings of an upload into a folder, and returns how they were
// called and where they lie.
func (r *rereader) unpack(u *ledger.KeptUpload, dir string) (names, at []string, err error) {
	for _, file := range u.Files {
		if file.Role != ledger.Readings {
			continue
		}
		path := filepath.Join(dir, strconv.Itoa(len(at)))
		names, at = append(names, file.Name), append(at, path)
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return nil, nil, err
		}
		_, err = r.tx.Unpack(file.Content, f)
		if err = errors.Join(err, f.Close()); err != nil {
			return nil, nil, fmt.Errorf("%s of upload %d: %w", file.Name, u.Number, err)
		}
	}
	return names, at, nil
}
