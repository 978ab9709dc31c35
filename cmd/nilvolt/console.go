package main

import (
	"bufio"
	"io"
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
	columns       int // width of the terminal on out; 0 when out is none

	getenv func(string) string
	now    func() time.Time
}

// newConsole returns the console of the process.
func newConsole() *console {
	c := &console{
		in: os.Stdin, out: bufio.NewWriterSize(os.Stdout, 64<<10), err: os.Stderr,
		outIsTerminal: term.IsTerminal(int(os.Stdout.Fd())),
		errIsTerminal: term.IsTerminal(int(os.Stderr.Fd())),
		getenv:        os.Getenv, now: time.Now,
	}
	if width, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil {
		c.columns = width
	}
	return c
}

// theme returns how text for people looks on the console: colour only on a
// terminal that can show it and whose owner wants it (NO_COLOR set to anything
// takes it away), marks beyond ASCII only where the locale is UTF-8.
func (c *console) theme() theme {
	const (
		usual     = 80  // where nobody can say how wide a line may be
		narrowest = 40  // below it a table is no table
		widest    = 110 // longer lines are hard to read
	)
	t := theme{width: usual, colour: c.outIsTerminal && c.getenv("NO_COLOR") == "" && c.getenv("TERM") != "dumb"}
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
