package capture

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// A Contents is what a journal holds.
type Contents struct {
	Entries []Entry
	// Torn is what stands behind the last whole line: a line that was being written
	// when the power went, the program was killed or the disk was full. Nothing of it
	// was shown to anybody.
	Torn string

	sum     string // checksum of the last whole line
	line    int    // the number of lines, one that is torn included
	unended bool   // the last line is whole but for its line end
}

// A DamageError says that a journal is not as it was written.
type DamageError struct {
	File    string
	Line    int
	Message string
}

// Error returns file:line and what is wrong.
func (e *DamageError) Error() string { return fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.Message) }

// ReadJournal reads the text of the journal called name. A piece at the end that is
// no whole line is no mistake; anything else that is not as it was written is a
// *DamageError.
func ReadJournal(data []byte, name string) (*Contents, error) {
	c := &Contents{sum: firstSum}
	for text := string(data); text != ""; {
		line, rest, whole := strings.Cut(text, "\n")
		e, sum, err := parseEntry(line, c.sum)
		if err != nil && !errors.Is(err, errNotWhole) {
			return nil, &DamageError{name, c.line + 1, err.Error()}
		}
		if err != nil {
			torn, more, mended, err := c.tornAt(text)
			switch {
			case err != nil:
				return nil, &DamageError{name, c.line + 1, err.Error()}
			case !mended:
				c.Torn = torn
				c.line += strings.Count(torn, "\n") + 1
				return c, nil
			}
			c.line += strings.Count(torn, "\n")
			text = more
			continue
		}
		c.line++
		e.Line = c.line
		c.Entries, c.sum, c.unended, text = append(c.Entries, e), sum, !whole, rest
	}
	return c, nil
}

var errDamaged = errors.New("the line is not as it was written, and lines that are follow it")

// tornAt looks at text, which begins with what is no whole line. It is torn when it
// is all that is left, or when a Torn entry follows that tells of it (mended); more
// is then the text from that entry on. If whole lines follow it that hang
// together, the journal was damaged later.
func (c *Contents) tornAt(text string) (torn, more string, mended bool, err error) {
	at, before := 0, ""
	for at < len(text) {
		line, _, _ := strings.Cut(text[at:], "\n")
		if at > 0 {
			if e, _, err := parseEntry(line, c.sum); err == nil && e.Kind == Torn && e.Data == strconv.Itoa(at-1) {
				return text[:at], text[at:], true, nil
			}
			if before != "" {
				if _, _, err := parseEntry(line, before); err == nil {
					return "", "", false, errDamaged
				}
			}
		}
		before = ""
		if len(line) > sumDigits && line[sumDigits] == ' ' {
			before = line[:sumDigits]
		}
		at += len(line) + 1
	}
	return text, "", false, nil
}

// A journalFile is what a journal writes to.
type journalFile interface {
	io.Writer
	Sync() error
	Close() error
}

// A Journal is an append-only file of what arrived, open for writing. What it has
// taken is on the disk. It is not safe for concurrent use.
type Journal struct {
	file    journalFile
	sum     string // of the last line
	line    int    // how many there are
	pending []byte // lines that are not written yet, since the disk was full
	broken  error  // nobody knows what is on the disk
}

// ErrInUse is the error of opening a journal, or a port, that another process has open.
var ErrInUse = errors.New("in use by another process")

// OpenJournal opens the journal at path for writing, and makes it where there is
// none. It returns what it holds already. Another process that has it open is
// ErrInUse.
func OpenJournal(path string) (*Journal, *Contents, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o666)
	if err != nil {
		return nil, nil, err
	}
	j, c, err := openJournal(f, path)
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return j, c, nil
}

func openJournal(f *os.File, path string) (*Journal, *Contents, error) {
	if err := lock(f); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", path, err)
	}
	data, err := io.ReadAll(f)
	if err != nil {
		return nil, nil, err
	}
	if len(data) == 0 { // the name must be on the disk before anything rests on it
		if err := syncFolder(filepath.Dir(path)); err != nil {
			return nil, nil, err
		}
	}
	return goOn(f, data, path)
}

// goOn returns the journal for a file that holds data already.
func goOn(f journalFile, data []byte, name string) (*Journal, *Contents, error) {
	c, err := ReadJournal(data, name)
	if err != nil {
		return nil, nil, err
	}
	j := &Journal{file: f, sum: c.sum, line: c.line}
	if c.Torn != "" || c.unended {
		j.pending = append(j.pending, '\n') // a Torn entry must follow a torn line
	}
	return j, c, nil
}

// Append writes entries and returns when they are on the disk, and sets their Line.
//
// A *FullError says that the disk was full: the entries are kept, and Flush writes
// what is missing once there is room. After any other error nobody knows what is on
// the disk, and the journal takes nothing more.
func (j *Journal) Append(entries []Entry) error {
	for i := range entries {
		j.line++
		entries[i].Line = j.line
		j.pending, j.sum = entries[i].append(j.pending, j.sum)
	}
	return j.Flush()
}

// A FullError says that a journal could not be written since the disk is full.
type FullError struct{ err error }

// Error returns what the system said.
func (e *FullError) Error() string { return e.err.Error() }

// Unwrap returns the error of the system.
func (e *FullError) Unwrap() error { return e.err }

// Flush writes what an earlier call could not, and returns when it is on the disk.
func (j *Journal) Flush() error {
	if j.broken != nil {
		return j.broken
	}
	for len(j.pending) > 0 {
		n, err := j.file.Write(j.pending)
		j.pending = j.pending[n:]
		if err != nil {
			if isFull(err) {
				return &FullError{err}
			}
			j.broken = err
			return err
		}
	}
	j.pending = nil
	if err := j.file.Sync(); err != nil {
		// What a failed sync has left out, a later one may pass over in silence.
		j.broken = err
		return err
	}
	return nil
}

// Close closes the file.
func (j *Journal) Close() error { return j.file.Close() }
