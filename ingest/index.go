package ingest

import (
	"context"
	"errors"

	"nilvolt/formats"
	"nilvolt/record"
)

// A segment is a part of an input that one worker decodes at a time. It begins
// where a run begins, so that no run crosses its end.
type segment struct {
	start int64 // bytes into the input
	line  int64
	// doubtful says that the row on either side of the start is not clean, so that
	// the records on both sides of it are in doubt.
	doubtful bool
	// tooLong says that the segment is one row that is too long to be read.
	tooLong bool
}

// index finds out where the records lie.
//
// Blocks of files without quotes are read by several at once. Whether there are quotes
// is known at the end only, so that the first quote that is found behind the first block
// makes the work begin anew.
func (s *Set) index(ctx context.Context) error {
	err := s.indexOnce(ctx)
	if !errors.Is(err, errQuotes) {
		return err
	}
	s.rows, s.skipped, s.scattered, s.torn = 0, 0, nil, false
	for _, in := range s.inputs {
		in.quotes, in.segments, in.rows = true, nil, 0
	}
	return s.indexOnce(ctx)
}

// indexOnce walks over all rows; twice when there are scattered records.
func (s *Set) indexOnce(ctx context.Context) (err error) {
	h := &hashes{limit: s.options.hashLimit, dir: s.options.TempDir}
	defer func() { err = errors.Join(err, h.close()) }()
	first := &indexer{set: s, hashes: h}
	if err := first.walk(ctx, false); err != nil {
		return err
	}
	if err := s.checkRows(); err != nil {
		return err
	}
	list, err := h.repeated(s.options.Workers)
	if err != nil {
		return err
	}
	if len(list) > 0 {
		s.scattered = newScattered(list)
		second := &indexer{set: s}
		if err := second.walk(ctx, true); err != nil {
			return err
		}
	}
	return s.match(ctx, first.loose)
}

// checkRows returns an error if a file has no row.
func (s *Set) checkRows() error {
	bad := &formats.BadRows{}
	for _, in := range s.inputs {
		s.rows += in.rows
		if in.rows == 0 && in.parquet == nil { // which may hold job sheets alone, and is known to be whole
			bad.Add(&formats.RowError{
				Pos: record.Pos{File: in.name}, Message: "no row behind the header",
				Mend: "see whether the file is complete; a file without rows is no evidence",
			})
		}
	}
	return bad.Err()
}

// An indexer takes the scans of all blocks in order. With hashes set it makes
// segments and collects the hashes of the runs, else the pieces of scattered
// records.
type indexer struct {
	set    *Set
	hashes *hashes

	input   int // of the blocks that come now; -1 before the first
	line    int64
	open    run    // the last run, which the next block may continue
	openID  string // its record id; blank when there is none
	pending bool   // the last scan's tailDoubt
	broken  bool   // a row that is too long came last
	loose   []loose
}

// walk scans all inputs.
func (x *indexer) walk(ctx context.Context, exact bool) error {
	s := x.set
	x.input = -1
	feed := &feed{set: s}
	workers := make([]struct {
		scanner scanner
		buf     []byte
		block   block
	}, s.options.Workers)
	total, done := s.size(), int64(0)
	p := pipeline[*scan]{
		take: func(w int) (ok bool, err error) {
			worker := &workers[w]
			worker.buf, worker.block, ok, err = feed.next(worker.buf)
			return ok, err
		},
		work: func(w int, sc *scan) (*scan, error) {
			worker := &workers[w]
			if sc == nil {
				sc = &scan{}
			}
			if worker.block.unread {
				var err error
				if worker.buf, err = s.inputs[worker.block.input].readBlock(worker.buf, &worker.block); err != nil {
					return sc, err
				}
			}
			sc.block = worker.block
			if worker.scanner.in != s.inputs[sc.input] {
				worker.scanner = s.newScanner(sc.input, exact)
			}
			worker.scanner.look(sc, textOf(worker.buf))
			return sc, nil
		},
		done: func(sc *scan) error {
			done += sc.size
			if s.options.Progress != nil {
				s.options.Progress(done, total)
			}
			return x.add(sc)
		},
	}
	if err := p.run(ctx, s.options.Workers); err != nil {
		return err
	}
	if err := x.finish(); err != nil {
		return err
	}
	return s.checkUnchanged()
}

// A feed hands out the blocks of all inputs, one after the other.
type feed struct {
	set    *Set
	index  int
	blocks *blocks
}

// next reads the next block into buf; false when there is none.
func (f *feed) next(buf []byte) (text []byte, b block, ok bool, err error) {
	for ; f.index < len(f.set.inputs); f.index++ {
		if f.blocks == nil {
			in := f.set.inputs[f.index]
			f.blocks = &blocks{
				in: in, index: f.index, offset: in.layout.FirstRow,
				size: f.set.options.blockSize, longest: f.set.options.longest,
			}
		}
		buf, b, ok, err = f.blocks.next(buf)
		if ok || err != nil {
			return buf, b, ok, err
		}
		f.blocks = nil
	}
	return buf, b, false, nil
}

// size returns the bytes behind the headers of all inputs.
func (s *Set) size() (total int64) {
	for _, in := range s.inputs {
		total += in.size - in.layout.FirstRow
	}
	return total
}

func (s *Set) checkUnchanged() error {
	for _, in := range s.inputs {
		if err := in.checkUnchanged(); err != nil {
			return err
		}
	}
	return nil
}

func (s *Set) newScanner(index int, exact bool) scanner {
	in := s.inputs[index]
	return scanner{
		in: in, index: index, decoder: formats.NewDecoder(in.layout, in.name),
		hash: s.options.hash, longest: s.options.longest, exact: exact,
	}
}

// add takes up the next scan.
func (x *indexer) add(sc *scan) error {
	in := x.set.inputs[sc.input]
	if sc.input != x.input {
		if err := x.finish(); err != nil {
			return err
		}
		x.input = sc.input
		x.line = int64(in.layout.FirstLine)
		x.beginSegment(sc.start, x.line, false, false)
	}
	if sc.tooLong {
		return x.addTooLong(sc)
	}
	x.set.torn = x.set.torn || sc.torn
	for i := range sc.runs {
		sc.runs[i].line += x.line
	}
	for i := range sc.loose {
		sc.loose[i].line += x.line
	}
	if x.hashes != nil {
		x.loose = append(x.loose, sc.loose...)
		in.rows += sc.rows
		x.set.skipped += sc.skipped
	}
	err := x.addRuns(sc)
	x.line += sc.lines
	return err
}

// addRuns takes up the runs of a scan, the first of which may go on with the last
// of the scan before.
func (x *indexer) addRuns(sc *scan) error {
	if sc.headDoubt && x.openID != "" {
		x.open.doubtful = true
	}
	if len(sc.runs) == 0 {
		x.pending = x.pending || sc.tailDoubt || sc.headDoubt
		if x.broken && sc.rows > 0 {
			x.beginSegment(sc.start, x.line, true, false)
			x.broken = false
		}
		return nil
	}
	runs := sc.runs
	begins := 0 // the run at which a segment may begin
	if x.broken {
		x.beginSegment(sc.start, x.line, true, false)
		x.broken, begins = false, -1
		runs[0].doubtful = true
	}
	if x.pending {
		runs[0].edge, runs[0].doubtful = true, true
	}
	if x.openID == sc.firstID {
		x.open.end = runs[0].end
		x.open.doubtful = x.open.doubtful || runs[0].doubtful
		runs = runs[1:]
	}
	if begins == 0 && len(runs) > 0 {
		x.beginSegment(runs[0].start, runs[0].line, runs[0].edge, false)
	}
	for i := range runs {
		if err := x.closeRun(); err != nil {
			return err
		}
		x.open, x.openID = runs[i], sc.lastID
	}
	x.pending = sc.tailDoubt
	return nil
}

// addTooLong takes up a row that is too long to be read. It ends the run before
// it, whatever comes behind it.
func (x *indexer) addTooLong(sc *scan) error {
	if x.openID != "" {
		x.open.doubtful = true
	}
	if err := x.closeRun(); err != nil {
		return err
	}
	x.beginSegment(sc.start, x.line, true, true)
	x.line += sc.block.lines
	x.pending, x.broken = true, true
	if x.hashes != nil {
		x.set.inputs[sc.input].rows++
	}
	return nil
}

// beginSegment notes the start of a segment.
func (x *indexer) beginSegment(start, line int64, doubtful, tooLong bool) {
	if x.hashes == nil {
		return
	}
	in := x.set.inputs[x.input]
	if n := len(in.segments); n > 0 && in.segments[n-1].start == start {
		in.segments[n-1].doubtful = in.segments[n-1].doubtful || doubtful
		in.segments[n-1].tooLong = tooLong
		return
	}
	in.segments = append(in.segments, segment{start: start, line: line, doubtful: doubtful, tooLong: tooLong})
}

// closeRun hands the open run over: nothing continues it.
func (x *indexer) closeRun() error {
	if x.openID == "" {
		return nil
	}
	x.openID = ""
	if x.hashes != nil {
		return x.hashes.add(x.open.hash)
	}
	return x.set.scattered.add(x.input, &x.open)
}

// finish ends the input.
func (x *indexer) finish() error {
	err := x.closeRun()
	x.pending, x.broken = false, false
	return err
}
