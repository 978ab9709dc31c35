package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
)

// An exportFolder is a folder that exports go to. Its state says up to which leaf of
// the ledger everything is in it. A file gets its name when it is whole and on the
// disk, and the state is written last; so after a kill at any moment, files behind the
// state are those of an export that was not finished, and the next one writes them
// anew.
type exportFolder struct {
	dir   string
	lock  *os.File
	state exportState
}

// An exportState is what stands in the folder's state file.
type exportState struct {
	Ledger string `json:"ledger"` // its name
	Leaves int64  `json:"leaves"` // how many of its leaves are in the folder
}

const (
	stateName = "export.json"
	lockName  = ".export.lock"
)

// openExportFolder opens the folder, or makes it, and takes away what an export that
// was not finished has left.
func openExportFolder(dir, ledger string) (*exportFolder, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, cannotWrite(err)
	}
	lock, err := os.OpenFile(filepath.Join(dir, lockName), os.O_CREATE|os.O_RDWR, 0o666)
	if err != nil {
		return nil, cannotWrite(err)
	}
	f := &exportFolder{dir: dir, lock: lock}
	if err := f.open(ledger); err != nil {
		lock.Close()
		return nil, err
	}
	return f, nil
}

func (f *exportFolder) open(ledger string) error {
	if err := lockFile(f.lock); err != nil {
		return hint("wait until it is done", "%s: another export is writing into the folder", f.dir)
	}
	text, err := os.ReadFile(filepath.Join(f.dir, stateName))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return f.found(ledger)
	case err != nil:
		return err
	}
	if err := json.Unmarshal(text, &f.state); err != nil || f.state.Leaves < 0 {
		return hint("export into an empty folder", "%s: its %s is damaged", f.dir, stateName)
	}
	if f.state.Ledger != ledger {
		return hint("name another folder", "%s: holds the export of another ledger, %s; this one is %s", f.dir, f.state.Ledger, ledger)
	}
	return f.clean()
}

// found begins a new folder. One that holds something else is refused.
func (f *exportFolder) found(ledger string) error {
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if e.Name() != lockName && e.Name() != "."+stateName+".tmp" {
			return hint("name an empty folder, or one that was exported to before", "%s: holds other files", f.dir)
		}
	}
	f.state.Ledger = ledger
	return f.keep(0)
}

var exportName = regexp.MustCompile(`^([0-9]{12})-[0-9]{12}\.parquet$`)

// clean removes the files that lie behind the state.
func (f *exportFolder) clean() error {
	paths, err := filepath.Glob(filepath.Join(f.dir, "*", "month=*", "*"))
	if err != nil {
		return err
	}
	for _, path := range paths {
		name := filepath.Base(path)
		inner, temporary := strings.CutSuffix(strings.TrimPrefix(name, "."), ".tmp")
		m := exportName.FindStringSubmatch(inner)
		if m == nil {
			continue // none of ours
		}
		after, err := strconv.ParseInt(m[1], 10, 64)
		if err != nil {
			return err
		}
		if temporary || after >= f.state.Leaves {
			if err := os.Remove(path); err != nil {
				return err
			}
		}
	}
	return nil
}

// keep notes that everything up to a leaf is in the folder.
func (f *exportFolder) keep(leaves int64) error {
	f.state.Leaves = leaves
	text, err := json.Marshal(f.state)
	if err != nil {
		return err
	}
	file, err := createWhole(filepath.Join(f.dir, stateName))
	if err != nil {
		return err
	}
	defer file.abandon()
	if _, err := file.Write(append(text, '\n')); err != nil {
		return err
	}
	_, err = file.finish()
	return err
}

func (f *exportFolder) close() { f.lock.Close() }

// A wholeFile is a file that gets its name when it is whole and on the disk.
type wholeFile struct {
	*bufio.Writer
	path string
	temp *os.File // nil when the file is finished or abandoned
}

// createWhole creates the file at path under a temporary name.
func createWhole(path string) (*wholeFile, error) {
	dir, name := filepath.Split(path)
	temp, err := os.Create(filepath.Join(dir, "."+name+".tmp"))
	if err != nil {
		return nil, err
	}
	return &wholeFile{Writer: bufio.NewWriterSize(temp, 1<<20), path: path, temp: temp}, nil
}

// finish gives the file its name and returns its size in bytes.
func (w *wholeFile) finish() (size int64, err error) {
	if err := w.Flush(); err != nil {
		return 0, err
	}
	if err := w.temp.Sync(); err != nil {
		return 0, err
	}
	info, err := w.temp.Stat()
	if err != nil {
		return 0, err
	}
	temp := w.temp
	w.temp = nil
	if err := temp.Close(); err != nil {
		return 0, err
	}
	if err := os.Rename(temp.Name(), w.path); err != nil {
		return 0, err
	}
	return info.Size(), syncFolder(filepath.Dir(w.path))
}

// abandon removes the file, unless it is finished.
func (w *wholeFile) abandon() {
	if w.temp == nil {
		return
	}
	w.temp.Close()
	_ = os.Remove(w.temp.Name()) // the next export does it otherwise
	w.temp = nil
}

// An exportedTable is what an export has written of one table.
type exportedTable struct {
	name        string
	files       int
	rows, bytes int64
}

// A tableWriter writes one file of a table.
type tableWriter interface {
	Rows() int64
	Close() error
}

// A monthly writes one table, a file a month. The rows must come in order of time.
type monthly[W tableWriter] struct {
	exportedTable
	folder   *exportFolder
	fileName string
	create   func(io.Writer) W

	month  string // of the file that is open
	file   *wholeFile
	writer W
}

func newMonthly[W tableWriter](f *exportFolder, fileName, table string, create func(io.Writer) W) *monthly[W] {
	return &monthly[W]{exportedTable: exportedTable{name: table}, folder: f, fileName: fileName, create: create}
}

// at returns the writer of the file for records that began at a time in Unix seconds.
func (m *monthly[W]) at(started int64) (W, error) {
	month := monthOf(started)
	if m.file != nil && m.month == month {
		return m.writer, nil
	}
	var none W
	if err := m.finish(); err != nil {
		return none, err
	}
	dir := filepath.Join(m.folder.dir, m.name, month)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return none, err
	}
	path := filepath.Join(dir, m.fileName)
	if _, err := os.Stat(path); err == nil {
		return none, fmt.Errorf("%s: written already in this export", path) // records out of order: a defect
	}
	file, err := createWhole(path)
	if err != nil {
		return none, err
	}
	m.month, m.file, m.writer = month, file, m.create(file)
	return m.writer, nil
}

// finish ends the file that is open.
func (m *monthly[W]) finish() error {
	if m.file == nil {
		return nil
	}
	if err := m.writer.Close(); err != nil {
		return err
	}
	size, err := m.file.finish()
	if err != nil {
		return err
	}
	m.files++
	m.rows += m.writer.Rows()
	m.bytes += size
	m.file = nil
	return nil
}

// abandon removes the file that is open.
func (m *monthly[W]) abandon() {
	if m.file != nil {
		m.file.abandon()
	}
}
