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
	likeRoom  = likeSize + 32 // rows nearer to the end of the text are not looked at
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
	l.masks = likeMasks[head]
	at, shift := l.clock/8, l.clock%8*8
	l.masks[at] &^= (1<<64 - 1) << shift
	l.masks[at+1] &^= (1<<64 - 1) >> (64 - shift)
	for k := range l.words {
		l.words[k] = word(text[8*k:]) & l.masks[k]
	}
	l.volts, l.end = d.fast[l.tail-1].end, text[tail:size]
	l.endMask = likeMasks[min(len(l.end), 8)][0]
	l.endWord = word(text[tail:]) & l.endMask
}

// likeRow decodes a row into ev if it is like the row before; n is 0 if it is not.
func (d *Decoder) likeRow(text string, line int, ev *record.Event) (n int) {
	l := &d.like
	if l.size == 0 || len(text) < likeRoom {
		return 0
	}
	w, m := &l.words, &l.masks
	if (word(text)&m[0]^w[0])|(word(text[8:])&m[1]^w[1])|(word(text[16:])&m[2]^w[2])|(word(text[24:])&m[3]^w[3])|
		(word(text[32:])&m[4]^w[4])|(word(text[40:])&m[5]^w[5])|(word(text[48:])&m[6]^w[6])|(word(text[56:])&m[7]^w[7]) != 0 {
		return 0
	}
	second, ok := secondOfDay(word(text[l.clock:]))
	if !ok {
		return 0
	}
	i, comma := l.size, d.layout.Comma
	from, size := shortConductor(word(text[i:]), comma)
	i += size + 1
	to, size := shortConductor(word(text[i:]), comma)
	i += size + 1
	if from == to || !from.IsSet() || !to.IsSet() {
		return 0
	}
	volts, size := decimal(word(text[i:]), l.volts)
	if size == 0 {
		return 0
	}
	shown := text[i : i+size]
	i += size + 1
	if word(text[i:])&l.endMask != l.endWord || len(l.end) > 8 && !strings.HasPrefix(text[i:], l.end) {
		return 0
	}
	*ev = d.state.event
	ev.Time = record.NewInstant(l.midnight+second, 0, l.offset)
	ev.Pair = record.Pair{A: from, B: to}
	ev.Volts = record.Reading{Text: shown, Volts: volts, State: record.Shown}
	ev.Pos.Line = line
	return i + len(l.end)
}
