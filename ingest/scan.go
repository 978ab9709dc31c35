package ingest

import (
	"hash/maphash"
	"strings"
	"unsafe"

	"nilvolt/formats"
	"nilvolt/record"
)

// A run is a stretch of rows with one record id. Rows without an id, and rows
// whose form hides theirs, do not end it.
type run struct {
	hash       uint64
	start, end int64 // bytes into the input
	line       int64 // of the first row; within a scan, counted from its start
	edge       bool  // whose row the one before the run is, is in doubt
	doubtful   bool  // a row in it or beside it may belong to another record, or the reverse
}

// A scan is what a first look at a block tells.
type scan struct {
	block
	rows, lines     int64
	skipped         int64 // rows that the column map skips
	runs            []run
	firstID, lastID string  // of the first and the last run
	headDoubt       bool    // a row before the first run, or its first row, is not clean
	tailDoubt       bool    // a row behind the last run is not clean
	torn            bool    // a row that is not clean has a quote
	loose           []loose // rows without a record id
}

// A loose row has no record id.
type loose struct {
	input     int
	start     int64 // bytes into the input
	size      int
	line      int64 // within a scan, counted from its start
	time      record.Instant
	indicator string
	kind      record.Kind
	source    string // of a proof or an output
	bad       bool   // the row has a mistake; time and indicator are set where they could be read
}

// A scanner looks at blocks of one input.
type scanner struct {
	in      *input
	index   int
	decoder *formats.Decoder
	hash    func(id string) uint64
	longest int
	// exact says that every row is looked at, to see whether it is clean. Else only
	// those are on which a segment may begin, and the last.
	exact     bool
	indicator string // of the last loose row, not to keep it once a row
	source    string // the same
}

// newHash returns the hash of record ids.
func newHash() func(id string) uint64 {
	seed := maphash.MakeSeed()
	return func(id string) uint64 { return maphash.String(seed, id) }
}

// textOf returns the bytes of buf as a string without copying them. It holds until
// buf is overwritten: whoever keeps a part of it for longer copies it. This is the
// one place where ingest does so.
func textOf(buf []byte) string {
	if len(buf) == 0 {
		return ""
	}
	return unsafe.String(&buf[0], len(buf))
}

// A scanState is a scan under way.
type scanState struct {
	*scanner
	scan    *scan
	text    string
	quotes  bool   // the text holds a quote, or is not plain
	current string // id of the current run, outer blanks removed
	raw     string // the same as it was written without quotes; "" when there is none
	prefix  string // the same with its delimiter, quotes and all, where rows begin with it; "" when that is not known
	begin   int    // where the prefix stands
	pending bool   // a row that is not clean came behind the current run's last
	last    int    // where the last row begins, empty ones left out
}

// look fills sc with what the text of its block tells. sc may have been used before.
func (s *scanner) look(sc *scan, text string) {
	st := scanState{scanner: s, scan: sc, text: text}
	st.quotes = !s.in.layout.IsPlain() || sc.quotes
	s.decoder.Reset()
	*sc = scan{block: sc.block, runs: sc.runs[:0], loose: sc.loose[:0]}
	for i := 0; i < len(text); {
		i = st.follow(st.row(i))
	}
	if !s.exact && len(text) > 0 && !s.decoder.Form(text[st.last:]).Clean {
		st.unclean(text[st.last:])
	}
	sc.tailDoubt = st.pending
	sc.lastID = strings.Clone(st.current)
}

// row looks at the row at i and returns where it ends. Rows of the current run are
// what most are, so they are known by their first bytes, or by the record field
// where that is not the first.
func (st *scanState) row(i int) int {
	end := strings.IndexByte(st.text[i:], '\n')
	if end < 0 {
		end = len(st.text)
	} else {
		end += i
	}
	next := min(end+1, len(st.text))
	check := st.checks()
	// Behind an even number of quotes the row ends with its line.
	if !check && st.prefix != "" && !st.byWords() && strings.HasPrefix(st.text[i:end], st.prefix) &&
		(!st.quotes || strings.Count(st.text[i:end], `"`)%2 == 0) {
		st.last = i
		st.goOn(next, 1, int64(next-end))
		return next
	}
	row := strings.TrimSuffix(st.text[i:end], "\r")
	if st.quotes && (!st.in.layout.IsPlain() || strings.IndexByte(row, '"') >= 0) {
		return st.quotedRow(i)
	}
	field, known := st.in.layout.RecordField(row)
	if (check || st.prefix == "") && field == st.raw && field != "" && (!check || st.in.layout.CleanRow(row)) {
		st.last = i
		st.goOn(next, 1, int64(next-end))
		return next
	}
	id := formats.TrimBlanks(field)
	if check || id == "" || !known {
		form := st.decoder.Form(st.text[i:next])
		st.add(i, &form)
		id, known = form.ID, form.Known
	} else {
		line := st.scan.lines
		st.last = i
		st.scan.rows++
		st.scan.lines += int64(next - end)
		st.take(i, next, line, id, true)
	}
	if known && id != "" {
		st.raw = field
		if st.in.layout.RecordIndex() == 0 && len(field) < len(row) {
			st.prefix, st.begin = row[:len(field)+1], i
		}
	}
	return next
}

// goOn takes up rows of the current run, which end at next.
func (st *scanState) goOn(next int, rows, lines int64) {
	st.scan.rows += rows
	st.scan.lines += lines
	st.scan.runs[len(st.scan.runs)-1].end = st.scan.start + int64(next)
	st.pending = false
}

// checks reports whether it is to be seen whether the row that comes is clean.
func (st *scanState) checks() bool { return st.exact || len(st.scan.runs) < 3 }

// byWords reports whether two words hold the prefix, and no row goes on behind its
// line. Then follow knows the rows of the current run.
func (st *scanState) byWords() bool {
	return !st.quotes && len(st.prefix) > 0 && len(st.prefix) <= 2*wordSize
}

// follow passes over rows of the current run from i on and returns where they end.
// It does for most of them what row does for any.
func (st *scanState) follow(i int) int {
	const size = 2 * wordSize
	text, rows := st.text, int64(0)
	if !st.byWords() || st.checks() || i > len(text)-size {
		return i
	}
	begin := text[st.begin:]
	firstMask, secondMask := lowBytes(len(st.prefix)), lowBytes(len(st.prefix)-wordSize)
	first, second := word(begin)&firstMask, word(begin[wordSize:])&secondMask
	for i <= len(text)-size && word(text[i:])&firstMask == first && word(text[i+wordSize:])&secondMask == second {
		end := strings.IndexByte(text[i:], '\n')
		if end < 0 {
			break
		}
		st.last = i
		i += end + 1
		rows++
	}
	if rows > 0 {
		st.goOn(i, rows, rows)
	}
	return i
}

// quotedRow looks at a row that holds a quote, or is not plain.
func (st *scanState) quotedRow(i int) (next int) {
	form := st.decoder.Form(st.text[i:min(len(st.text), i+st.longest)])
	st.add(i, &form)
	if form.Known && form.ID != "" && form.Clean {
		st.prefix, st.begin = st.text[i:i+form.Prefix], i
	}
	return i + form.Size
}

// add takes up the row at i.
func (st *scanState) add(i int, form *formats.RowForm) {
	sc := st.scan
	line := sc.lines
	sc.lines += int64(form.Lines)
	if form.Empty {
		if form.Skipped {
			sc.skipped++
		}
		return
	}
	sc.rows++
	st.last = i
	if !form.Clean {
		st.unclean(st.text[i : i+form.Size])
	}
	switch {
	case form.ID != "":
	case form.Known || !st.in.layout.IsPlain():
		st.addLoose(i, line, form.Size)
		return
	default:
		return
	}
	st.take(i, i+form.Size, line, form.ID, form.Clean)
}

// take takes up the row from i to next, which has a record id: it goes on with the
// current run or begins another.
func (st *scanState) take(i, next int, line int64, id string, clean bool) {
	sc := st.scan
	end := sc.start + int64(next)
	if n := len(sc.runs); n > 0 && id == st.current {
		sc.runs[n-1].end = end
	} else {
		if n == 0 {
			sc.firstID = strings.Clone(id)
		}
		sc.runs = append(sc.runs, run{
			hash: st.hash(id), start: sc.start + int64(i), end: end, line: line,
			edge: st.pending, doubtful: st.pending,
		})
		st.current = id
	}
	st.raw, st.prefix = "", ""
	st.pending = !clean
}

// unclean marks what stands before a row that is not clean, and what will follow.
func (st *scanState) unclean(row string) {
	st.scan.torn = st.scan.torn || strings.IndexByte(row, '"') >= 0
	if n := len(st.scan.runs); n > 0 {
		st.scan.runs[n-1].doubtful = true
	} else {
		st.scan.headDoubt = true
	}
	st.pending = true
}

// addLoose decodes a row without a record id.
func (st *scanState) addLoose(i int, line int64, size int) {
	var ev record.Event
	_, _, outcome := st.decoder.Next(st.text[i:i+size], 1, &ev)
	if outcome == formats.NoRow {
		return
	}
	if ev.Indicator != st.indicator {
		st.indicator = strings.Clone(ev.Indicator)
	}
	if ev.Source != st.source {
		st.source = strings.Clone(ev.Source)
	}
	st.scan.loose = append(st.scan.loose, loose{
		input: st.index, start: st.scan.start + int64(i), size: size, line: line,
		time: ev.Time, indicator: st.indicator, source: st.source, kind: ev.Kind, bad: outcome == formats.BadRow,
	})
}

const wordSize = 8 // bytes

// lowBytes masks the first n bytes of a word; all if it has fewer, and none if n is
// negative.
func lowBytes(n int) uint64 { return 1<<(8*max(n, 0)) - 1 }

// word returns the first eight bytes of text.
func word(text string) uint64 {
	_ = text[7]
	return uint64(text[0]) | uint64(text[1])<<8 | uint64(text[2])<<16 | uint64(text[3])<<24 |
		uint64(text[4])<<32 | uint64(text[5])<<40 | uint64(text[6])<<48 | uint64(text[7])<<56
}
