package main

import (
	"bufio"
	"errors"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"golang.org/x/term"
)

// A console is what a command sees of the world around it. Results go to out,
// which the command's caller flushes; everything else a person is told goes to
// err.
type console struct {
	in  io.Reader
	out *bufio.Writer
	err io.Writer

	outIsTerminal bool
	errIsTerminal bool
	columns       int       // width of the terminal on out; 0 when out is none
	screen        io.Writer // the terminal on out where in is one too, for a screen; else nil

	getenv func(string) string
	now    func() time.Time
	zone   *time.Location // of times for people; nil is UTC
}

// newConsole returns the console of the process.
func newConsole() *console {
	c := &console{
		in: os.Stdin, out: bufio.NewWriterSize(results{os.Stdout}, 64<<10), err: os.Stderr,
		outIsTerminal: term.IsTerminal(int(os.Stdout.Fd())),
		errIsTerminal: term.IsTerminal(int(os.Stderr.Fd())),
		getenv:        os.Getenv, now: time.Now, zone: time.Local,
	}
	if c.outIsTerminal && term.IsTerminal(int(os.Stdin.Fd())) && os.Getenv("TERM") != "dumb" {
		c.screen = os.Stdout
	}
	if width, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil {
		c.columns = width
	}
	return c
}

// results is standard output, whose errors are told apart from those of input.
type results struct{ w io.Writer }

func (r results) Write(p []byte) (int, error) {
	n, err := r.w.Write(p)
	if err != nil {
		err = &outputError{err}
	}
	return n, err
}

// An outputError says that results could not be written.
type outputError struct{ err error }

func (e *outputError) Error() string {
	err := e.err
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		err = path.Err // its path is a name of the system's for standard output
	}
	return "standard output: " + err.Error()
}

func (e *outputError) Unwrap() error { return e.err }

// theme returns how text for people looks on the console: colour only on a
// terminal that can show it and whose owner wants it (NO_COLOR set to anything
// takes it away), marks beyond ASCII only where the locale is UTF-8.
func (c *console) theme() theme {
	const (
		usual     = 80  // where nobody can say how wide a line may be
		narrowest = 40  // below it a table is no table
		widest    = 110 // longer lines are hard to read
	)
	t := theme{width: usual, zone: c.location(), colour: c.outIsTerminal && c.getenv("NO_COLOR") == "" && c.getenv("TERM") != "dumb"}
	if c.columns > 0 {
		t.width = min(max(c.columns, narrowest), widest)
	}
	// POSIX: the first of these that is set and not empty decides.
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if locale := strings.ToUpper(c.getenv(name)); locale != "" {
			t.unicode = strings.Contains(locale, "UTF-8") || strings.Contains(locale, "UTF8")
			break
		}
	}
	return t
}
