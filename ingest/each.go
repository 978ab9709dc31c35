package ingest

import (
	"cmp"
	"context"
	"errors"
	"strings"

	"nilvolt/formats"
	"nilvolt/record"
)

// A Visitor is given records, one after the other, and appends what it has to say
// of each to out. The record and all its strings are valid only during the call.
type Visitor func(rec *record.Record, out []byte) []byte

// Each gives every record to a visitor, whole and once. There is a visitor for each
// worker, made by newVisitor; each is called by one goroutine at a time. What the
// visitors append is handed to emit, in the order in which the records first
// appear in the files, followed by that of the records of the job sheets that have
// no row with their id, in the order of the sheets. (If the hashes of two
// scattered record ids collide, 1 in 2^64 for each pair, the later of the two comes
// right behind the earlier.)
//
// A record's events are in the order of the files and of the rows in them; a row
// that several files have is there once. When rows are bad the error is a
// *formats.BadRows, and the records that they may belong to are not visited; where quotes
// do not pair up, no record is. Each may be called several times.
func (s *Set) Each(ctx context.Context, newVisitor func() Visitor, emit func([]byte) error) error {
	s.jobs.forget()
	tasks := s.tasks()
	workers := make([]*worker, s.options.Workers)
	for i := range workers {
		workers[i] = newWorker(s, newVisitor())
	}
	bad := &badRows{}
	total, done, taken, records, withheld := s.size(), int64(0), 0, 0, 0
	next := make([]task, len(workers))
	p := pipeline[*result]{
		take: func(w int) (bool, error) {
			if taken == len(tasks) {
				return false, nil
			}
			next[w] = tasks[taken]
			taken++
			return true, nil
		},
		work: func(w int, r *result) (*result, error) {
			if r == nil {
				r = &result{}
			}
			*r = result{out: r.out[:0], size: next[w].end - next[w].start}
			return r, workers[w].do(&next[w], r)
		},
		done: func(r *result) error {
			done += r.size
			if s.options.Progress != nil {
				s.options.Progress(done, total)
			}
			bad.merge(&r.bad)
			records += r.records
			withheld += r.withheld
			if len(r.out) == 0 {
				return nil
			}
			return emit(r.out)
		},
	}
	if err := p.run(ctx, len(workers)); err != nil {
		return err
	}
	if err := s.checkUnchanged(); err != nil {
		return err
	}
	if s.torn || withheld > 0 {
		return cmp.Or(bad.err(), errWithheld)
	}
	if err := workers[0].jobsOnly(ctx, emit); err != nil {
		return err
	}
	s.records = records + workers[0].out.records
	return bad.err()
}

// errWithheld says what no mistake in a row has told: a record that is not visited is
// never passed over in silence.
var errWithheld = errors.New("rows are in doubt, and none of them has a mistake that could be named; see that the file is whole and hand it in again")

// A task is a segment to be decoded.
type task struct {
	segment
	input    int
	end      int64
	endDoubt bool // the next segment is doubtful
}

// tasks lists the segments of all inputs.
func (s *Set) tasks() []task {
	var tasks []task
	for i, in := range s.inputs {
		for k, seg := range in.segments {
			t := task{segment: seg, input: i, end: in.size}
			if k+1 < len(in.segments) {
				t.end = in.segments[k+1].start
				t.endDoubt = in.segments[k+1].doubtful
			}
			tasks = append(tasks, t)
		}
	}
	return tasks
}

// A result is what came of a task.
type result struct {
	out     []byte
	bad     badRows
	size    int64
	records int
	// withheld counts the records that were not visited.
	withheld int
}

// A worker decodes segments. Its buffers are used again and again.
type worker struct {
	set      *Set
	visit    Visitor
	decoders []*formats.Decoder // of the segments, by input
	distant  []*formats.Decoder // of rows that are fetched, by input
	used     []*formats.Decoder // those of distant that have seen text since resetFar
	buf      []byte
	far      []byte // rows that are fetched
	farUsed  int
	rec      record.Record
	events   []record.Event // room for those of the record under way, and for more
	count    int            // how many the record has
	origins  []origin       // where the input of the events changes
	out      *result

	// The record under way.
	id      string
	spoiled bool // not to be visited
	skip    bool // scattered: dealt with where its first row stands
	jobRow  int
}

func newWorker(s *Set, visit Visitor) *worker {
	return &worker{
		set: s, visit: visit,
		decoders: make([]*formats.Decoder, len(s.inputs)),
		distant:  make([]*formats.Decoder, len(s.inputs)),
	}
}

// decoderOf returns the decoder of an input in list.
func (w *worker) decoderOf(list []*formats.Decoder, input int) *formats.Decoder {
	if list[input] == nil {
		in := w.set.inputs[input]
		list[input] = formats.NewDecoder(in.layout, in.name)
	}
	return list[input]
}

// do decodes a segment and visits its records.
func (w *worker) do(t *task, out *result) error {
	w.out = out
	in := w.set.inputs[t.input]
	if t.tooLong {
		out.bad.add(t.input, tooLongError(record.Pos{File: in.name, Line: int(t.line)}))
		return nil
	}
	w.buf = grow(w.buf, int(t.end-t.start))
	if err := in.readAt(w.buf, t.start); err != nil {
		return err
	}
	d := w.decoderOf(w.decoders, t.input)
	d.Reset()
	w.begin("", false)
	return w.rows(t, d, textOf(w.buf))
}

// rows decodes the rows of a segment.
func (w *worker) rows(t *task, d *formats.Decoder, text string) error {
	line := int(t.line)
	doubt := t.doubtful // whether the next record to begin is in doubt
	for i := 0; i < len(text); {
		n, lines, outcome := d.Next(w.limit(text, i), line, w.event())
		last := d.Last()
		kept := outcome == formats.Decoded && last.ID != "" && !w.skip
		switch {
		case kept && last.ID == w.id:
			w.keep(last)
			doubt = false
		case outcome == formats.NoRow:
		default:
			if last.ID != w.id && last.ID != "" {
				w.spoiled = w.spoiled || !last.Clean
				if err := w.change(t, last.ID, doubt, t.start+int64(i)); err != nil {
					return err
				}
			}
			doubt = w.take(t.input, d, outcome, line) || doubt && last.ID == ""
			kept = outcome == formats.Decoded && last.ID != "" && !w.skip
		}
		i, line = i+n, line+lines
		if kept { // most rows follow one that they are like
			n, rows := d.Alike(text[i:], line, w.events[w.count:])
			i, line, w.count = i+n, line+rows, w.count+rows
		}
	}
	w.spoiled = w.spoiled || t.endDoubt
	return w.finish()
}

// change ends the record under way and begins another, whose first row stands at
// offset. The next event, which is that of the row, stays the next.
func (w *worker) change(t *task, id string, doubtful bool, offset int64) error {
	if err := w.finish(); err != nil {
		return err
	}
	w.resetFar()
	if w.set.scattered != nil {
		if g := w.set.scattered.find(w.set.options.hash(id)); g != nil {
			if w.set.scattered.pieces[g.first].holds(t.input, offset) {
				if err := w.gather(g, id); err != nil {
					return err
				}
			}
			w.begin(id, false)
			w.skip = true
			return nil
		}
	}
	w.events[0] = w.events[w.count]
	w.begin(id, doubtful)
	w.enter(t.input)
	return nil
}

// limit returns the text from i on, up to the longest that a row may be.
func (w *worker) limit(text string, i int) string {
	text = text[i:]
	if len(text) > w.set.options.longest {
		text = text[:w.set.options.longest]
	}
	return text
}

// event returns room for the next event.
func (w *worker) event() *record.Event {
	if w.count == len(w.events) {
		w.events = append(w.events, make([]record.Event, 16+len(w.events))...)
	}
	return &w.events[w.count]
}

// begin starts a record.
func (w *worker) begin(id string, doubtful bool) {
	w.id, w.spoiled, w.skip, w.jobRow = id, doubtful, false, 0
	w.count = 0
	w.rec.Jobs = w.rec.Jobs[:0]
	w.origins = w.origins[:0]
	if id != "" && len(w.set.jobs.rows) > 0 {
		w.rec.Jobs = append(w.rec.Jobs, w.set.jobs.take(id)...)
	}
}

// take adds the row that d has decoded into the next event to the record under
// way. It reports whether the row leaves the record that follows in doubt.
func (w *worker) take(input int, d *formats.Decoder, outcome formats.Outcome, line int) (doubt bool) {
	last := d.Last()
	if outcome == formats.BadRow {
		if last.ID == "" || !w.skip {
			w.report(input, d, line)
		}
		w.spoiled = w.spoiled || last.ID != "" || !last.Clean
		return !last.Clean
	}
	if last.ID == "" || w.skip {
		return false
	}
	w.keep(last)
	return false
}

// keep adds the next event, which is decoded, to the record under way.
func (w *worker) keep(last *formats.Last) {
	if last.HasJob && last.JobRow != w.jobRow {
		w.addJob(last, &w.events[w.count].Pos)
	}
	w.count++
}

// report adds the problems of the row that d has found bad.
func (w *worker) report(input int, d *formats.Decoder, line int) {
	pos := record.Pos{File: w.set.inputs[input].name, Line: line}
	for _, p := range d.Problems() {
		e := p.At(pos)
		e.Text = strings.Clone(e.Text[:min(len(e.Text), 200)])
		w.out.bad.add(input, e)
	}
}

// addJob adds what the job columns of a row say, unless one of the last rows of
// the record has said the same.
func (w *worker) addJob(last *formats.Last, pos *record.Pos) {
	const lookBack = 8
	job := last.Job
	w.jobRow = last.JobRow
	for i := len(w.rec.Jobs) - 1; i >= max(0, len(w.rec.Jobs)-lookBack); i-- {
		if sameJob(&w.rec.Jobs[i], job) {
			return
		}
	}
	w.rec.Jobs = append(w.rec.Jobs, *job)
	added := &w.rec.Jobs[len(w.rec.Jobs)-1]
	added.Record, added.Pos = w.id, *pos
}

// finish ends the record under way and visits it.
func (w *worker) finish() error {
	if w.id == "" || w.skip {
		return nil
	}
	w.out.records++
	w.rec.Events = w.events[:w.count:w.count] // what is behind them stays
	err := w.addMatched()
	if w.spoiled || w.set.torn {
		w.out.withheld++
	} else if err == nil {
		w.rec.ID = w.id
		w.out.out = w.visit(&w.rec, w.out.out)
	}
	w.id = ""
	return err
}
