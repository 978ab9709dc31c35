package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// An interrupt blames no file.
func TestInterruptedIngest(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "site.csv")
	if err := os.WriteFile(file, []byte("record,time,event,indicator\nR1,2026-07-16T08:00:00Z,inspect,\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var diagnostics bytes.Buffer
	c := &console{
		in: strings.NewReader(""), out: bufio.NewWriter(io.Discard), err: &diagnostics,
		getenv: func(string) string { return "" }, now: time.Now,
	}
	code := execute(ctx, c, []string{"ingest", file, "--ledger", filepath.Join(dir, "site.db")})
	const want = "nilvolt: interrupted\nnilvolt: nothing was kept\n"
	if got := diagnostics.String(); code != exitUnread || got != want {
		t.Errorf("exit code %d, want %d; it said\n%s\nwant\n%s", code, exitUnread, got, want)
	}
}

// What cannot be written is not told as what cannot be read.
func TestCannotWrite(t *testing.T) {
	for cause, want := range map[error]string{
		syscall.EACCES:  "right to write",
		syscall.EEXIST:  "not there yet",
		syscall.ENOTDIR: "name a folder",
		syscall.EISDIR:  "name a file",
		syscall.ENOENT:  "check the name",
		syscall.ENOSPC:  "make room",
	} {
		t.Run(cause.Error(), func(t *testing.T) {
			var diagnostics bytes.Buffer
			c := &console{err: &diagnostics, getenv: func(string) string { return "" }}
			c.diagnose(cannotWrite(&fs.PathError{Op: "open", Path: "out.pdf", Err: cause}))
			got := diagnostics.String()
			if begin := fmt.Sprintf("nilvolt: out.pdf: %v\n    mend: ", cause); !strings.HasPrefix(got, begin) || !strings.Contains(got, want) {
				t.Errorf("it said %q, want %q with %q", got, begin, want)
			}
		})
	}
}
