package ingest

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"nilvolt/formats"
	"nilvolt/record"
)

const (
	sniffBytes = 64 << 10 // what Sniff looks at
	headBytes  = 1 << 20  // what Bind looks at, and the longest row
)

// An input is one file of readings, in a form that can be read in place.
type input struct {
	name     string // as the user gave it
	path     string // of the file that is watched for changes; blank for a spool
	file     io.ReaderAt
	closer   io.Closer
	size     int64
	changed  time.Time // modification time
	layout   *formats.Layout
	quotes   bool // it may hold quotes: a line end need not end a row
	segments []segment
	rows     int64
	parquet  *parquetInput // nil for other files
}

// open opens the file, or standard input for "-", spooling what cannot be read at
// any place.
func (in *input) open(ctx context.Context, path string, o *Options) error {
	if path == "-" {
		if o.Stdin == nil {
			return errors.New("-: there is no standard input")
		}
		return in.spoolStream(ctx, o, o.Stdin)
	}
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	info, err := file.Stat()
	switch {
	case err != nil:
		file.Close()
		return err
	case info.IsDir():
		file.Close()
		return fmt.Errorf("%s: a folder; name the files in it", path)
	case !info.Mode().IsRegular():
		defer file.Close()
		return in.spoolStream(ctx, o, file)
	}
	in.path, in.file, in.closer = path, file, file
	in.size, in.changed = info.Size(), info.ModTime()
	return nil
}

// spoolStream keeps what a stream gives, once its start was seen to be readings: a
// device without an end does not fill the disk first.
func (in *input) spoolStream(ctx context.Context, o *Options, stream io.Reader) error {
	start := bufio.NewReaderSize(stream, sniffBytes)
	head, err := start.Peek(sniffBytes)
	if err != nil && !errors.Is(err, io.EOF) {
		return in.wrap(err)
	}
	if _, err := formats.Sniff(head, in.name, o.Map); err != nil {
		return err
	}
	return in.spool(ctx, o, func(w io.Writer) error {
		_, err := io.Copy(w, start)
		return err
	})
}

// spool writes a temporary file, which takes the place of what in had open.
func (in *input) spool(ctx context.Context, o *Options, write func(io.Writer) error) error {
	temp, err := newTempFile(o.TempDir)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(&contextWriter{ctx, temp}, 256<<10)
	err = write(w)
	if err == nil {
		err = w.Flush()
	}
	var info os.FileInfo
	if err == nil {
		info, err = temp.Stat()
	}
	if err != nil {
		return errors.Join(in.wrap(err), temp.Close())
	}
	in.file, in.closer, in.size = temp, temp, info.Size()
	return nil
}

// A contextWriter fails when its context is done.
type contextWriter struct {
	ctx context.Context
	w   io.Writer
}

func (c *contextWriter) Write(p []byte) (int, error) {
	if err := context.Cause(c.ctx); err != nil {
		return 0, err
	}
	return c.w.Write(p)
}

// wrap puts the name of the file before an error, unless the error names it
// already.
func (in *input) wrap(err error) error {
	var row *formats.RowError
	var rows *formats.BadRows
	var path *os.PathError
	if errors.As(err, &row) || errors.As(err, &rows) || errors.As(err, &path) || errors.Is(err, context.Canceled) {
		return err
	}
	return fmt.Errorf("%s: %w", in.name, err)
}

// prepare brings the file, which is open, into a form that can be read in place, and
// reads its header.
func (in *input) prepare(ctx context.Context, o *Options) error {
	head, err := in.head(sniffBytes)
	if err != nil {
		return err
	}
	form, err := formats.Sniff(head, in.name, o.Map)
	if err != nil {
		return err
	}
	if !form.InPlace() {
		err := in.replace(ctx, o, func(w io.Writer, file io.ReaderAt, size int64) error {
			if in.parquet != nil {
				return in.parquet.recode(w)
			}
			return formats.Recode(w, io.NewSectionReader(file, 0, size), form)
		})
		if err != nil {
			return err
		}
	}
	if head, err = in.head(headBytes); err != nil {
		return err
	}
	if in.parquet != nil {
		in.quotes = true
		in.layout, err = formats.BindParquet(string(head), in.name)
		return err
	}
	if in.layout, err = formats.Bind(string(head), in.name, o.Map); err != nil {
		return err
	}
	in.quotes = !in.layout.IsPlain() || bytes.IndexByte(head[:min(len(head), o.blockSize)], '"') >= 0
	return nil
}

// replace puts a temporary file, written from the file, in its place.
func (in *input) replace(ctx context.Context, o *Options, write func(w io.Writer, file io.ReaderAt, size int64) error) error {
	raw, file, size := in.closer, in.file, in.size
	err := in.spool(ctx, o, func(w io.Writer) error { return write(w, file, size) })
	if err != nil {
		return err
	}
	in.path = ""
	return raw.Close()
}

// head returns the first n bytes of the file, or all if it has fewer.
func (in *input) head(n int) ([]byte, error) {
	buf := make([]byte, min(int64(n), in.size))
	return buf, in.readAt(buf, 0)
}

// readAt fills buf from offset.
func (in *input) readAt(buf []byte, offset int64) error {
	n, err := in.file.ReadAt(buf, offset)
	switch {
	case n == len(buf):
		return nil
	case err == io.EOF:
		return in.changedError()
	}
	return in.wrap(err)
}

func (in *input) changedError() error {
	return fmt.Errorf("%s: changed while it was read; read it again when nothing writes to it", in.name)
}

// checkUnchanged returns an error if the file has changed since it was opened.
func (in *input) checkUnchanged() error {
	if in.path == "" {
		return nil
	}
	info, err := in.file.(*os.File).Stat()
	if err != nil {
		return err
	}
	if info.Size() != in.size || !info.ModTime().Equal(in.changed) {
		return in.changedError()
	}
	return nil
}

// A block is whole rows of an input, or one row that is too long to be read.
type block struct {
	input   int
	start   int64
	size    int64
	lines   int64 // line ends, of a row that is too long
	tooLong bool
	quotes  bool // it may hold quotes; false only when it surely does not
	unread  bool // its text is still to be read; see blocks.wholeLines
}

// blocks cuts an input into blocks of about size bytes, from its first row on.
type blocks struct {
	in      *input
	index   int
	size    int
	longest int // bytes of a row, line end included
	offset  int64
	end     []byte // of a block; see wholeLines
}

// next reads the next block into buf, or leaves that to the caller where the block
// says so; false at the end of the input.
func (b *blocks) next(buf []byte) ([]byte, block, bool, error) {
	left := b.in.size - b.offset
	blk := block{input: b.index, start: b.offset}
	if left <= 0 {
		return buf, blk, false, nil
	}
	if !b.in.quotes {
		size, err := b.wholeLines(left)
		if err != nil || size > 0 {
			blk.size, blk.unread = size, true
			b.offset += size
			return buf, blk, err == nil, err
		}
	}
	longest := min(int64(b.longest), left)
	for n := min(int64(b.size), longest); ; n = min(2*n, longest) {
		buf = grow(buf, int(n))
		if err := b.in.readAt(buf, b.offset); err != nil {
			return buf, blk, false, err
		}
		blk.quotes = bytes.IndexByte(buf, '"') >= 0
		whole := len(buf)
		switch {
		case n == left:
		case blk.quotes:
			whole = formats.WholeRows(buf, b.in.layout.Comma)
		default: // every row ends with its line
			whole = bytes.LastIndexByte(buf, '\n') + 1
		}
		if whole > 0 {
			blk.size = int64(whole)
			b.offset += blk.size
			return buf[:whole], blk, true, nil
		}
		if n == longest {
			return b.overlong(buf, blk)
		}
	}
}

// wholeLines returns the size of the next block of a file without quotes, where every
// row ends with its line: then only the end of the block need be looked at. It is 0 if no
// line ends there.
func (b *blocks) wholeLines(left int64) (size int64, err error) {
	size = int64(min(b.size, b.longest))
	if size >= left {
		return left, nil
	}
	b.end = grow(b.end, int(min(size, lineRoom)))
	if err := b.in.readAt(b.end, b.offset+size-int64(len(b.end))); err != nil {
		return 0, err
	}
	line := bytes.LastIndexByte(b.end, '\n') + 1
	if line == 0 {
		return 0, nil
	}
	return size - int64(len(b.end)-line), nil
}

// lineRoom is how much of the end of a block is looked at for the end of a line.
const lineRoom = 4 << 10

// errQuotes says that a file that was taken for one without quotes has one.
var errQuotes = errors.New("a quote where there was none before")

// readBlock reads the text of a block that is still to be read into buf.
func (in *input) readBlock(buf []byte, b *block) ([]byte, error) {
	buf = grow(buf, int(b.size))
	if err := in.readAt(buf, b.start); err != nil {
		return buf, err
	}
	if bytes.IndexByte(buf, '"') >= 0 {
		return buf, errQuotes
	}
	return buf, nil
}

// overlong makes a block of the row at the start of buf, which does not end within
// the longest that a row may be.
func (b *blocks) overlong(buf []byte, blk block) ([]byte, block, bool, error) {
	_, n, _, _ := formats.SplitRow(string(buf), b.in.layout.Comma, nil)
	if buf[n-1] == '\n' {
		// A quoted field without an end; the line on which it begins is the row.
		blk.size = int64(n)
		b.offset += blk.size
		return buf[:n], blk, true, nil
	}
	blk.tooLong = true
	for blk.start+blk.size < b.in.size {
		buf = buf[:min(int64(cap(buf)), b.in.size-blk.start-blk.size)]
		if err := b.in.readAt(buf, blk.start+blk.size); err != nil {
			return buf, blk, false, err
		}
		k := len(buf)
		if blk.size+int64(k) > int64(n) {
			from := max(0, int64(n)-blk.size)
			if end := bytes.IndexByte(buf[from:], '\n'); end >= 0 {
				k = int(from) + end + 1
			}
		}
		blk.size += int64(k)
		blk.lines += int64(bytes.Count(buf[:k], []byte{'\n'}))
		if buf[k-1] == '\n' && blk.size > int64(n) {
			break
		}
	}
	b.offset += blk.size
	return buf[:0], blk, true, nil
}

// tooLongError says that a row is too long.
func tooLongError(pos record.Pos) *formats.RowError {
	return &formats.RowError{
		Pos: pos, Message: "a line longer than 1 MiB",
		Mend: "the file is damaged or no log of readings: export it again",
	}
}
