package main

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"syscall"

	"nilvolt/formats"
	"nilvolt/verify"
)

// Diagnostics go to standard error. A mistake in a file begins with its place,
// so that an editor can jump to it; everything else begins with the program's
// name. What to do about it stands indented below:
//
//	site.csv:41:12: volts "1O0": not a number
//	    mend: write digits only; the letter O looks like a zero

// diagnose writes err, and what to do about it where that is known.
func (c *console) diagnose(err error) {
	if err == nil || isVerdict(err) {
		return
	}
	var text strings.Builder
	plain := theme{width: 1 << 20, unicode: c.theme().unicode}
	plain.explainError(&text, err)
	fmt.Fprint(c.err, text.String())
}

// explainError writes err and each of the errors that were joined in it.
func (t theme) explainError(b *strings.Builder, err error) {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		for _, e := range joined.Unwrap() {
			t.explainError(b, e)
		}
		return
	}
	if rows, ok := errors.AsType[*formats.BadRows](err); ok {
		t.badRows(b, rows)
		return
	}
	text, mend := t.clean(err.Error()), ""
	if row, ok := errors.AsType[*formats.RowError](err); ok {
		text, mend = t.clean(row.Error()), row.Mend
	} else if policy, ok := errors.AsType[*verify.PolicyError](err); ok {
		text, mend = t.clean(policy.Error()), policy.Mend
	} else if output, ok := errors.AsType[*outputError](err); ok {
		text, mend = "nilvolt: "+t.clean(output.Error()), fileMend(err)
	} else if file, ok := errors.AsType[*fs.PathError](err); ok {
		text, mend = "nilvolt: "+t.clean(file.Path)+": "+file.Err.Error(), fileMend(file.Err)
	} else if hint, ok := errors.AsType[*hintError](err); ok {
		text, mend = "nilvolt: "+text, hint.mend
	} else {
		text = "nilvolt: " + text
	}
	fmt.Fprintln(b, text)
	if mend != "" {
		fmt.Fprintln(b, "    mend: "+t.clean(mend))
	}
}

// badRows lists the first bad rows and counts the others.
func (t theme) badRows(b *strings.Builder, rows *formats.BadRows) {
	for _, row := range rows.First {
		t.explainError(b, row)
	}
	if more := rows.Total - len(rows.First); more > 0 {
		fmt.Fprintf(b, "and %s\n", plural(more, "more bad row"))
	}
}

// fileMend says what to do about a file that cannot be opened or read.
func fileMend(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "check the name, and the folder that you are in"
	case errors.Is(err, fs.ErrPermission):
		return "ask for the right to read it, or copy it to where you may"
	case errors.Is(err, syscall.EISDIR):
		return "name the files in it, as in FOLDER/*.csv"
	case errors.Is(err, syscall.ENOSPC):
		return "make room on the disk"
	}
	return ""
}

// cannotWrite tells what to do about a file or a folder that cannot be written.
func cannotWrite(err error) error {
	path, ok := errors.AsType[*fs.PathError](err)
	if !ok {
		return err
	}
	mend := fileMend(err)
	switch {
	case errors.Is(err, fs.ErrPermission):
		mend = "ask for the right to write there, or name a place where you may"
	case errors.Is(err, fs.ErrExist):
		mend = "name one that is not there yet; nothing is written over it"
	case errors.Is(err, syscall.ENOTDIR):
		mend = "name a folder: a file stands where one is wanted"
	case errors.Is(err, syscall.EISDIR):
		mend = "name a file: a folder stands where one is wanted"
	}
	return hint(mend, "%s: %v", path.Path, path.Err)
}

// A hintError is an error of the command line with what to do about it.
type hintError struct {
	message string
	mend    string
}

func (e *hintError) Error() string { return e.message }

// hint returns an error of the command line with what to do about it.
func hint(mend, format string, args ...any) error {
	return &hintError{fmt.Sprintf(format, args...), mend}
}
