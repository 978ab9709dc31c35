package formats

import (
	"math/bits"
	"strings"

	"nilvolt/record"
)

// The fast way through plain rows. Most rows are dead tests that differ from the row
// before in the time of day, the conductors and the volts only: Alike takes those.
// fastRow takes any other, field by field: the usual forms where they stand, and what is
// not usual by [rowState.set]; for columns in the documented order fastReading does so in
// one stroke. A row with a mistake, a line break or a doubled quote in it is left to
// Decoder.slow. All give the same.

// A fastField is a column of a plain file.
type fastField struct {
	column Column
	usual  way               // of its column
	way    way               // of the next field: bySet while before is known, else the usual
	end    byte              // what ends the field: the delimiter, or LF for the last of a row
	id     *string           // for byID: where it goes
	size   int               // for byID: of the id of the row before, if that has no more than 8 bytes; else 0
	word   uint64            // its bytes
	mask   uint64            // those of word that count
	to     *record.Conductor // for byConductor: where it goes
	before string            // the field of the row before, its end included, if that was for bySet or in quotes; else ""
	blank  bool              // before is the end alone
	filled bool              // the field of the row before is a job column's and not blank
}

// A way says how a field is decoded.
type way uint8

const (
	bySet way = iota // by rowState.set, when it changes
	byTime
	byVolts
	byConductor
	byID // the text as it stands
	byEvent
	byExpected
)

// fastFields says how the columns of d's layout are decoded.
func (d *Decoder) fastFields() []fastField {
	fields := make([]fastField, len(d.layout.Columns))
	for i, c := range d.layout.Columns {
		f := &fields[i]
		f.column, f.end = c, d.layout.Comma
		switch c {
		case TimeColumn:
			f.usual = byTime
		case VoltsColumn:
			f.usual = byVolts
		case FromColumn:
			f.usual, f.to = byConductor, &d.state.from
		case ToColumn:
			f.usual, f.to = byConductor, &d.state.to
		case RecordColumn:
			f.usual, f.id = byID, &d.state.id
		case IndicatorColumn:
			f.usual, f.id = byID, &d.state.event.Indicator
		case SourceColumn:
			f.usual, f.id = byID, &d.state.event.Source
		case EventColumn:
			f.usual = byEvent
		case ExpectedColumn:
			f.usual = byExpected
		}
	}
	if n := len(fields); n > 0 {
		fields[n-1].end = '\n'
	}
	return fields
}

// fastRow decodes a plain row of one line and without mistakes into d.state; ok
// is false for any other row.
//
// The columns from, to and volts are decoded apart, for learn to know where they stand.
func (d *Decoder) fastRow(text string) (n int, ok bool) {
	d.like.size, d.like.clock = 0, 0
	head, tail := d.fastReading(text)
	if tail == refused {
		if head = d.fastStretch(text, 0, d.head); head == refused {
			return 0, false
		}
		if tail = d.fastStretch(text, head, d.readings); tail == refused {
			return 0, false
		}
	}
	if n = d.fastStretch(text, tail, d.tail); n == refused || !d.state.finish() {
		return 0, false
	}
	d.learn(text, head, tail, n)
	return n, true
}

// readingOrder is the order of columns that fastReading is for: that in which they are
// documented.
var readingOrder = []Column{
	RecordColumn, TimeColumn, EventColumn, IndicatorColumn, SourceColumn, FromColumn, ToColumn, VoltsColumn,
}

// fastReading decodes a row of readingOrder up to its volts, if all of that has the usual
// forms. It returns where the conductors stand and where the volts end; refused for both
// where it leaves the row to fastStretch, which does the same in a loop.
func (d *Decoder) fastReading(text string) (head, tail int) {
	const (
		before = 8 * 8 // more than what follows the record takes, up to the source
		behind = 3 * 8 // more than conductors and volts take
	)
	if !d.ordered || d.quoted {
		return refused, refused
	}
	fields, comma := d.fast[:8], d.layout.Comma
	i := fields[0].fastID(text, 0, comma)
	if i == refused || len(text)-i < before {
		return refused, refused
	}
	t, size := d.clock.read(text[i:])
	if size == 0 || text[i+size] != comma {
		return refused, refused
	}
	clock := i + clockAt
	i += size + 1
	kind, size := usualKind(word(text[i:]))
	if size == 0 || text[i+size] != comma {
		return refused, refused
	}
	if i = fields[3].fastID(text, i+size+1, comma); i == refused {
		return refused, refused
	}
	if i = fields[4].fastID(text, i, comma); i == refused || len(text)-i < behind {
		return refused, refused
	}
	row, at := text[i:][:behind], 2
	var from, to record.Conductor
	if w := word(row); byte(w) != comma || byte(w>>8) != comma {
		from, size = shortConductor(w, comma)
		at = size + 1
		to, size = shortConductor(word(row[at:]), comma)
		at += size + 1
		if !from.IsSet() || !to.IsSet() {
			return refused, refused
		}
	}
	volts, size := decimal(word(row[at:]), fields[7].end)
	if size == 0 {
		return refused, refused
	}
	ev := &d.state.event
	ev.Time, ev.Kind, d.state.from, d.state.to, d.like.clock = t, kind, from, to, clock
	ev.Volts = record.Reading{Text: row[at : at+size], Volts: volts, State: record.Shown}
	return i, i + at + size + 1
}

// refused stands for the end of a field that cannot be decoded.
const refused = -1

// fastStretch decodes fields that follow each other, the first at text[i], and goes
// past the last. The usual forms are decoded here, all in one, since calls are what
// takes the time; [Decoder.field] does the others.
func (d *Decoder) fastStretch(text string, i int, fields []fastField) (next int) {
	ev := &d.state.event
	for k := range fields {
		f := &fields[k]
		if len(text)-i >= 2*8 {
			w, end := word(text[i:]), f.end
			switch f.way {
			case byID:
				if next := f.fastID(text, i, end); next != refused {
					i = next
					continue
				}
			case byEvent:
				if kind, size := usualKind(w); size > 0 && text[i+size] == end {
					ev.Kind = kind
					i += size + 1
					continue
				}
			case byTime:
				if t, size := d.clock.read(text[i:]); size > 0 && size < len(text)-i && text[i+size] == end {
					ev.Time, d.like.clock = t, i+clockAt
					i += size + 1
					continue
				}
			case byVolts:
				if volts, size := decimal(w, end); size > 0 {
					ev.Volts = record.Reading{Text: text[i : i+size], Volts: volts, State: record.Shown}
					i += size + 1
					continue
				}
			case byConductor:
				if byte(w) == end {
					*f.to = record.Conductor{}
					i++
					continue
				}
				if c, size := shortConductor(w, end); c.IsSet() {
					*f.to = c
					i += size + 1
					continue
				}
			case byExpected:
				if byte(w) == end {
					ev.Expected, ev.HasExpected = 0, false
					i++
					continue
				}
				if volts, size := decimal(w, end); size > 0 {
					ev.Expected, ev.HasExpected = volts, true
					i += size + 1
					continue
				}
			default:
				if byte(w) == end && f.blank {
					i++
					continue
				}
			}
		}
		if i = d.field(text, i, f); i == refused {
			return refused
		}
	}
	return i
}

// pass goes past the end of a field at text[i], which is the delimiter, or LF or
// CRLF for the last field of a row.
func pass(text string, i int, end byte) (next int) {
	if uint(i) < uint(len(text)) && text[i] == end {
		return i + 1
	}
	if end == '\n' && i != refused && strings.HasPrefix(text[i:], "\r\n") {
		return i + 2
	}
	return refused
}

// forget lets go of the row before.
func (f *fastField) forget() { f.way, f.before, f.blank, f.size = f.usual, "", false, 0 }

// fastID decodes the id at text[i], if it is of the usual characters and not long, and
// goes past its end; refused is the end of any other.
func (f *fastField) fastID(text string, i int, end byte) (next int) {
	if len(text)-i <= 2*8 {
		return refused
	}
	w := word(text[i:])
	if f.size > 0 && w&f.mask == f.word && text[i+f.size] == end { // the same as before
		return i + f.size + 1
	}
	size := usualBytes(w, end)
	if size == 8 {
		size += usualBytes(word(text[i+8:]), end)
	}
	id := text[i : i+size]
	if text[i+size] != end || f.column == SourceColumn && mayBeLive(id) {
		return refused
	}
	*f.id = id
	f.learn(w, size)
	return i + size + 1
}

// learn takes up an id of some bytes, which w begins with.
func (f *fastField) learn(w uint64, size int) {
	if f.size = 0; size <= 8 {
		f.size, f.mask = size, likeMasks[size][0]
		f.word = w & f.mask
	}
}

// usualBytes returns how many bytes w begins with that are not end and one of those
// from '-' to 'z', which most ids are made of.
func usualBytes(w uint64, end byte) int {
	const ones, high = 0x0101010101010101, 0x8080808080808080
	usual := (w + (0x80-'-')*ones) &^ (w + (0x7f-'z')*ones) &^ w // right up to the first that is not
	return bits.TrailingZeros64(^(usual&((w^uint64(end)*ones)+0x7f*ones))&high) / 8
}

// mayBeLive reports whether an id may be the word for a live source.
func mayBeLive(id string) bool { return len(id) == len(record.Live) && id[0]|0x20 == record.Live[0] }

// usualKind reads the word of a reading; size is 0 where w begins otherwise.
func usualKind(w uint64) (kind record.Kind, size int) {
	switch {
	case w<<32 == 't'<<32|'e'<<40|'s'<<48|'t'<<56:
		return record.Test, len("test")
	case w<<24 == 'p'<<24|'r'<<32|'o'<<40|'v'<<48|'e'<<56:
		return record.Prove, len("prove")
	case w<<8 == 'r'<<8|'e'<<16|'p'<<24|'r'<<32|'o'<<40|'v'<<48|'e'<<56:
		return record.Reprove, len("reprove")
	}
	return record.KindUnknown, 0
}

// tenths reads one digit, the point, one digit and the end behind them, which is what
// most dead tests show. It returns how many bytes stand before the end; 0 for any other
// text.
func tenths(w uint64, end byte) (volts record.Volts, size int) {
	ones, parts := byte(w)-'0', byte(w>>16)-'0'
	if byte(w>>8) != '.' || byte(w>>24) != end || ones > 9 || parts > 9 {
		return 0, 0
	}
	return record.Volts(int(ones)*10+int(parts)) / 10, 3
}

// decimal reads digits with a point among them or none, and the end behind them, all
// within the eight bytes of w. It returns how many bytes stand before the end; 0 for
// any other text.
func decimal(w uint64, end byte) (volts record.Volts, size int) {
	mantissa, decimals := 0, 0
	for digit := byte(w) - '0'; digit <= 9; digit = byte(w) - '0' {
		mantissa = mantissa*10 + int(digit)
		size++
		w >>= 8
	}
	if size == 0 {
		return 0, 0
	}
	if byte(w) == '.' {
		w >>= 8
		for digit := byte(w) - '0'; digit <= 9; digit = byte(w) - '0' {
			mantissa = mantissa*10 + int(digit)
			decimals++
			w >>= 8
		}
		if decimals == 0 {
			return 0, 0
		}
		size += 1 + decimals
	}
	if byte(w) != end {
		return 0, 0
	}
	return record.Volts(mantissa) / powersOfTen[decimals%len(powersOfTen)], size
}

// powersOfTen are exact, and so are the mantissas that they divide.
var powersOfTen = [8]record.Volts{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7}

// The conductors whose names have one letter, and those that begin with L, by
// their second.
var (
	oneLetter = [256]record.Conductor{'L': record.L, 'N': record.N, 'E': record.E, 'M': record.M}
	lines     = [256]record.Conductor{'1': record.L1, '2': record.L2, '3': record.L3, '+': record.LPlus, '-': record.LMinus}
)

// shortConductor reads the conductor that w begins with, and the end behind it. It
// returns the zero Conductor where that is not one with a short name.
func shortConductor(w uint64, end byte) (c record.Conductor, size int) {
	if byte(w>>8) == end {
		return oneLetter[byte(w)], 1
	}
	if byte(w>>16) == end && byte(w) == 'L' {
		return lines[byte(w>>8)], 2
	}
	return record.Conductor{}, 0
}

// field decodes a field of any text, and counts job columns.
func (d *Decoder) field(text string, i int, f *fastField) (next int) {
	if f.before != "" && i < len(text) && text[i] == f.before[0] && strings.HasPrefix(text[i:], f.before) {
		return i + len(f.before)
	}
	inner, end := innerText(text, i, d.layout.Comma)
	next = pass(text, end, f.end)
	if next == refused {
		return refused
	}
	f.forget()
	if f.usual == byTime {
		if t, size := d.clock.read(inner); size > 0 && size == len(inner) {
			d.state.event.Time = t
			return next
		}
	}
	if !d.set(f.column, inner) {
		return refused
	}
	if f.column.IsJob() {
		d.jobRow++
		if f.filled {
			d.jobTexts--
		}
		if f.filled = !isBlank(inner); f.filled {
			d.jobTexts++
		}
	}
	if f.usual == byTime && d.state.event.Time.IsSet() {
		d.clock.learn(trim(inner))
	}
	if f.usual == bySet || text[i] == '"' {
		f.way, f.before, f.blank = bySet, text[i:next], next == i+1
		d.quoted = d.quoted || f.usual != bySet
	}
	return next
}

// innerText returns the text of the field at text[i], quotes taken off, and where
// the field ends. What stands at the end shows whether it was a whole field: of a
// quoted one with a doubled quote, a line break or a NUL in it nothing is taken.
func innerText(text string, i int, comma byte) (inner string, end int) {
	if i >= len(text) || text[i] != '"' {
		end = i
		if len(text)-i >= 2*8 {
			if end += usualBytes(word(text[i:]), comma); end == i+8 {
				end += usualBytes(word(text[end:]), comma)
			}
		}
		end = fieldEnd(text, end, comma)
		return text[i:end], end
	}
	for end = i + 1; end < len(text) && text[end] != '\n' && text[end] != 0; end++ {
		if text[end] == '"' {
			return text[i+1 : end], end + 1
		}
	}
	return "", i
}

// fieldEnd returns the place at or after i of the first byte that ends an
// unquoted field or has no business in it.
func fieldEnd(text string, i int, comma byte) int {
	for i < len(text) {
		c := text[i]
		if c == comma || c <= '"' && (c == '\n' || c == '"' || c == '\r' || c == 0) {
			break
		}
		i++
	}
	return i
}

// word returns the first eight bytes of text.
func word(text string) uint64 {
	_ = text[7]
	return uint64(text[0]) | uint64(text[1])<<8 | uint64(text[2])<<16 | uint64(text[3])<<24 |
		uint64(text[4])<<32 | uint64(text[5])<<40 | uint64(text[6])<<48 | uint64(text[7])<<56
}
