package ingest

import (
	"context"
	"errors"
	"testing"

	"nilvolt/formats"
)

// An endless gives zero bytes for ever, as some devices do, and counts them.
type endless struct{ read int }

func (e *endless) Read(p []byte) (int, error) {
	clear(p)
	e.read += len(p)
	return len(p), nil
}

// What is no text is refused by its start: it is not written to the disk first, which
// an endless stream would fill.
func TestEndlessStream(t *testing.T) {
	stream := &endless{}
	s, err := Open(context.Background(), []string{"-"}, Options{Stdin: stream, TempDir: t.TempDir()})
	if err == nil {
		t.Fatal("opened", s.Close())
	}
	if _, ok := errors.AsType[*formats.RowError](err); !ok {
		t.Errorf("%T: %v", err, err)
	}
	if stream.read > 1<<20 {
		t.Errorf("read %d bytes first", stream.read)
	}
}
