package formats

import (
	"slices"
	"strings"

	"nilvolt/record"
)

// A likeness knows rows that are like the row before: dead tests of which only the
// time of day, the conductors and the volts are others. It does so in a layout where
// volts stands behind from and to, and the time somewhere before them.
type likeness struct {
	from, tail int // the columns from, and behind volts; both the number of columns in another layout

	size     int               // of what stands before the conductors, in bytes; 0 when no row is known
	words    [likeWords]uint64 // that text, the time of day left out
	masks    [likeWords]uint64 // the bytes that count in it
	masked   [2]int            // the size and the clock that masks are of
	clock    int               // where the time of day stands in it; 0 when that is not known
	midnight int64             // Unix seconds of 00:00:00
	offset   int               // of the time, in minutes
	volts    byte              // what ends the volts
	end      string            // what stands behind them, line end included
	endWord  uint64            // the first bytes of it
	endMask  uint64            // those that count
}

const (
	likeWords = 8
	likeSize  = 8 * likeWords // of what stands before the conductors, at most
	likeRoom  = likeSize + 32 // rows nearer to the end of the text are left to Next
)

// likeMasks are the masks of texts, by their size.
var likeMasks = func() (masks [likeSize + 1][likeWords]uint64) {
	for n := range masks {
		for i := range n {
			masks[n][i/8] |= 0xff << (i % 8 * 8)
		}
	}
	return masks
}()

// newLikeness finds out whether rows of some columns can be alike.
func newLikeness(columns []Column) likeness {
	for i := range columns {
		if i+2 < len(columns) && columns[i] == FromColumn && columns[i+1] == ToColumn && columns[i+2] == VoltsColumn &&
			slices.Contains(columns[:i], TimeColumn) {
			return likeness{from: i, tail: i + 3}
		}
	}
	return likeness{from: len(columns), tail: len(columns)}
}

// learn takes up the row at the start of text, which is of size bytes and which d has
// just decoded. Its conductors stand at head, its columns behind volts at tail.
func (d *Decoder) learn(text string, head, tail, size int) {
	l, s := &d.like, &d.state
	if s.event.Kind != record.Test || l.clock == 0 || s.line > 0 || s.pair.IsSet() ||
		head > likeSize || len(text) < likeRoom || len(text)-tail < 8 {
		return
	}
	l.size, l.offset = head, s.event.Time.Offset()
	l.midnight = d.clock.midnight - int64(l.offset)*60
	if l.masked != [2]int{head, l.clock} {
		l.masked = [2]int{head, l.clock}
		l.masks = likeMasks[head]
		at, shift := l.clock/8, l.clock%8*8
		l.masks[at] &^= (1<<64 - 1) << shift
		l.masks[at+1] &^= (1<<64 - 1) >> (64 - shift)
	}
	for k := range l.words {
		l.words[k] = word(text[8*k:]) & l.masks[k]
	}
	l.volts, l.end = d.fast[l.tail-1].end, text[tail:size]
	l.endMask = likeMasks[min(len(l.end), 8)][0]
	l.endWord = word(text[tail:]) & l.endMask
}

// Alike decodes rows of which only the time of day, the conductors and the volts
// differ from the row that was decoded last, into events: those at the start of text,
// the first of which begins on the given line, as far as events has room. It returns
// how many bytes and how many rows it took, which may be none. What Last tells holds
// for each.
func (d *Decoder) Alike(text string, line int, events []record.Event) (n, rows int) {
	l, comma := &d.like, d.layout.Comma
	if l.size == 0 {
		return 0, 0
	}
	w, m := &l.words, &l.masks
	for ; rows < len(events) && len(text)-n >= likeRoom; rows++ {
		row := text[n:][:likeRoom] // of known size, so that its words need no check
		if (word(row)&m[0]^w[0])|(word(row[8:])&m[1]^w[1])|(word(row[16:])&m[2]^w[2])|(word(row[24:])&m[3]^w[3])|
			(word(row[32:])&m[4]^w[4])|(word(row[40:])&m[5]^w[5])|(word(row[48:])&m[6]^w[6])|(word(row[56:])&m[7]^w[7]) != 0 {
			break
		}
		second, ok := secondOfDay(word(row[l.clock:]))
		if !ok {
			break
		}
		i := l.size
		from, size := shortConductor(word(row[i:]), comma)
		i += size + 1
		to, size := shortConductor(word(row[i:]), comma)
		i += size + 1
		if from == to || !from.IsSet() || !to.IsSet() {
			break
		}
		value := word(row[i:])
		volts, size := tenths(value, l.volts)
		if size == 0 {
			if volts, size = decimal(value, l.volts); size == 0 {
				break
			}
		}
		shown := row[i : i+size]
		i += size + 1
		if word(row[i:])&l.endMask != l.endWord || len(l.end) > 8 && !strings.HasPrefix(text[n+i:], l.end) {
			break
		}
		ev := &events[rows]
		*ev = d.state.event
		ev.Time = record.NewInstant(l.midnight+second, 0, l.offset)
		ev.Pair = record.Pair{A: from, B: to}
		ev.Volts = record.Reading{Text: shown, Volts: volts, State: record.Shown}
		ev.Pos.Line = line + rows
		n += i + len(l.end)
	}
	return n, rows
}
