package ingest

import (
	"context"
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

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

// Quotes behind the first block make all blocks be read anew, once, and nothing be counted
// twice.
func TestLateQuotes(t *testing.T) {
	text := header + "\n"
	for second := range 40 {
		text += row("R1", second) + "\n\n"
	}
	text += row("R2", 41) + "\"two\n\nlines\"\n" + row("R1", 42) + "\n" + row("R3", 43) + "\n"
	path := write(t, t.TempDir(), "a.csv", text)
	want := reference(t, []string{path})
	for _, size := range []int{70, 200, 1 << 20} {
		s := closed(t, open(t, Options{blockSize: size}, path))
		got, err := collectSet(t, s)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("blocks of %d bytes: %s", size, diff)
		}
		if s.Rows() != 43 || s.Records() != 3 || !s.inputs[0].quotes {
			t.Errorf("blocks of %d bytes: %d rows, %d records, quotes %v", size, s.Rows(), s.Records(), s.inputs[0].quotes)
		}
	}
}
