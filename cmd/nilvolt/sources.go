package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"nilvolt/ledger"
)

// sources are the files of readings of one call. Each is read several times: to judge
// its rows, to take its hash, and to be kept. It must be the same file each time.
type sources struct {
	names []string // as they were given
	at    []string // where they lie: what can be read only once lies in a temporary file
	infos []fs.FileInfo
	temp  []string // temporary files, to be removed
}

// gather lists the files that the arguments stand for, and puts aside what can be read
// only once: standard input and pipes. On success the caller must call close.
func gather(ctx context.Context, args []string, f *inputFlags, c *console) (*sources, error) {
	files, err := readingsIn(args, f)
	if err != nil {
		return nil, err
	}
	s := &sources{}
	for _, name := range files {
		if err := s.add(ctx, name, c); err != nil {
			s.close()
			return nil, err
		}
	}
	return s, nil
}

// add adds a file.
func (s *sources) add(ctx context.Context, name string, c *console) error {
	if name == "-" {
		if slices.Contains(s.names, name) {
			return hint("name it once", "standard input, -, stands there twice")
		}
		return s.spool(ctx, name, c.in)
	}
	info, err := os.Stat(name)
	if err != nil {
		return err
	}
	if info.Mode().IsRegular() {
		s.names, s.at, s.infos = append(s.names, name), append(s.at, name), append(s.infos, info)
		return nil
	}
	pipe, err := os.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(s.spool(ctx, name, pipe), pipe.Close())
}

// readingsIn lists the files of readings that arguments stand for. A folder stands for
// the files in it and in those in it, sorted, but for those whose name begins with a dot
// and those that the flags say are something else.
func readingsIn(args []string, f *inputFlags) ([]string, error) {
	var files []string
	others := f.infos()
	for i, arg := range args {
		if arg == "-" && slices.Contains(args[:i], arg) {
			return nil, hint("name - once", "standard input can be read once only")
		}
		if arg == "-" {
			files = append(files, arg)
			continue
		}
		found, err := filesIn(arg, others)
		if err != nil {
			return nil, err
		}
		files = append(files, found...)
	}
	return files, nil
}

// filesIn returns the files of a folder as readingsIn says, or the file itself.
func filesIn(path string, others []fs.FileInfo) ([]string, error) {
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
		case hidden || entry.IsDir():
			return nil
		}
		info, err := os.Stat(name) // of a link, what it leads to
		if err == nil && info.Mode().IsRegular() && !slices.ContainsFunc(others, func(other fs.FileInfo) bool { return os.SameFile(info, other) }) {
			files = append(files, name)
		}
		return err
	})
	if err == nil && len(files) == 0 {
		err = hint("name the folder that the readings lie in", "%s: no file of readings in the folder", path)
	}
	return files, err
}

// spool copies what can be read only once to a temporary file.
func (s *sources) spool(ctx context.Context, name string, in io.Reader) error {
	f, err := os.CreateTemp("", "nilvolt-*")
	if err != nil {
		return err
	}
	s.temp = append(s.temp, f.Name())
	stop := context.AfterFunc(ctx, func() { f.Close() }) // ends the copy with an error
	defer stop()
	if _, err := io.Copy(f, in); err != nil {
		if name == "-" {
			name = "standard input"
		}
		return errors.Join(fmt.Errorf("%s: %w", name, err), f.Close())
	}
	if err := f.Close(); err != nil {
		return err
	}
	info, err := os.Stat(f.Name())
	s.names, s.at, s.infos = append(s.names, name), append(s.at, f.Name()), append(s.infos, info)
	return err
}

// close removes the temporary files.
func (s *sources) close() {
	for _, name := range s.temp {
		os.Remove(name)
	}
}

// open opens a file, which must be the one that was found first, and as it was then.
func (s *sources) open(i int) (io.ReadCloser, error) {
	f, err := os.Open(s.at[i])
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	was := s.infos[i]
	if err == nil && (!os.SameFile(info, was) || info.Size() != was.Size() || !info.ModTime().Equal(was.ModTime())) {
		err = fmt.Errorf("%s: changed while it was read; read it again when nothing writes to it", s.names[i])
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// manifest lists all files of the call, in the parts that they play.
func (s *sources) manifest(o *ingestOptions, in *inputs) ledger.Manifest {
	m := ledger.Manifest{By: o.by, Zone: o.zone}
	for i, name := range s.names {
		m.Files = append(m.Files, ledger.File{Role: ledger.Readings, Name: name, Open: func() (io.ReadCloser, error) { return s.open(i) }})
	}
	for _, f := range in.files {
		m.Files = append(m.Files, ledger.File{Role: f.role, Name: f.name, Open: func() (io.ReadCloser, error) {
			return io.NopCloser(strings.NewReader(string(f.data))), nil
		}})
	}
	return m
}
