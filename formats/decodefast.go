package formats

import (
	"strings"

	"nilvolt/record"
)

// The fast loop over plain rows. A field whose text is that of the row before is
// passed over; the forms that most fields have are decoded where they stand; any
// other field is left to [rowState.set], and any row with a mistake, a line break
// or a doubled quote in it to Decoder.slow. Both ways give the same.

// A fastField is a column of a plain file.
type fastField struct {
	column Column
	way    way
	end    byte              // what ends the field: the delimiter, or LF for the last of a row
	repeat repeat            // the field of the row before; for byRepeat and those after it
	filled bool              // the field of the row before is a job column's and not blank
	id     *string           // for byID: where it goes
	to     *record.Conductor // for byConductor: where it goes
}

// A way says how a field is decoded.
type way uint8

const (
	byTime way = iota
	byVolts
	byConductor
	byRepeat // by rowState.set, when it changes
	byID     // the text as it stands, when it changes
	byEvent
	byExpected
)

// fastFields says how the columns of d's layout are decoded.
func (d *Decoder) fastFields() []fastField {
	fields := make([]fastField, len(d.layout.Columns))
	for i, c := range d.layout.Columns {
		f := &fields[i]
		f.column, f.way, f.end = c, byRepeat, d.layout.Comma
		switch c {
		case TimeColumn:
			f.way = byTime
		case VoltsColumn:
			f.way = byVolts
		case FromColumn:
			f.way, f.to = byConductor, &d.state.from
		case ToColumn:
			f.way, f.to = byConductor, &d.state.to
		case RecordColumn:
			f.way, f.id = byID, &d.state.id
		case IndicatorColumn:
			f.way, f.id = byID, &d.state.event.Indicator
		case SourceColumn:
			f.way, f.id = byID, &d.state.event.Source
		case EventColumn:
			f.way = byEvent
		case ExpectedColumn:
			f.way = byExpected
		}
	}
	if n := len(fields); n > 0 {
		fields[n-1].end = '\n'
	}
	return fields
}

// fastRow decodes a plain row of one line and without mistakes into d.state; ok
// is false for any other row.
func (d *Decoder) fastRow(text string) (n int, ok bool) {
	i := 0
	for k := range d.fast {
		f := &d.fast[k]
		var end int
		switch f.way {
		case byTime:
			end = d.fastTime(text, i)
		case byVolts:
			end = d.fastVolts(text, i, f.end)
		case byConductor:
			end = d.fastConductor(text, i, f)
		default:
			if f.repeat.begins(text[i:]) && (f.repeat.short || f.repeat.ends(text[i:])) {
				i += f.repeat.size
			} else if i = d.changed(text, i, f); i == refused {
				return 0, false
			}
			continue
		}
		if i = pass(text, end, f.end); i == refused {
			return 0, false
		}
	}
	return i, d.state.finish()
}

// refused stands for the end of a field that cannot be decoded.
const refused = -1

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

// changed decodes a field that is not that of the row before, and goes past its
// end.
func (d *Decoder) changed(text string, i int, f *fastField) (next int) {
	var end int
	switch f.way {
	case byID:
		end = d.fastID(text, i, f)
	case byEvent:
		end = d.fastEvent(text, i, f)
	case byExpected:
		end = d.fastExpected(text, i, f)
	default:
		end = d.field(text, i, f)
	}
	if next = pass(text, end, f.end); next == refused {
		f.repeat = repeat{}
		return refused
	}
	f.repeat.learn(text[i:next])
	return next
}

// fastID decodes an id in ASCII without blanks.
func (d *Decoder) fastID(text string, i int, f *fastField) (end int) {
	end = i
	for end < len(text) {
		c := text[end]
		if c-'!' > '~'-'!' || c == '"' || c == d.layout.Comma {
			break
		}
		end++
	}
	if end == len(text) || text[end] != f.end || f.column == SourceColumn && end-i == len(record.Live) && text[i]|0x20 == record.Live[0] {
		return d.field(text, i, f)
	}
	*f.id = text[i:end]
	return end
}

// fastEvent decodes the common words.
func (d *Decoder) fastEvent(text string, i int, f *fastField) (end int) {
	for kind := record.Prove; kind <= record.Reprove; kind++ {
		word := kind.String()
		if end = i + len(word); end < len(text) && text[end] == f.end && text[i:end] == word {
			d.state.event.Kind = kind
			return end
		}
	}
	return d.field(text, i, f)
}

// fastExpected decodes the value at text[i], or that there is none.
func (d *Decoder) fastExpected(text string, i int, f *fastField) (end int) {
	ev := &d.state.event
	if i < len(text) && text[i] == f.end {
		ev.Expected, ev.HasExpected = 0, false
		return i
	}
	volts, end := decimal(text, i, f.end)
	if end == refused {
		return d.field(text, i, f)
	}
	ev.Expected, ev.HasExpected = volts, true
	return end
}

// fastVolts decodes the value at text[i]. Anything else that a display shows is
// left to record.ParseReading.
func (d *Decoder) fastVolts(text string, i int, sep byte) (end int) {
	volts, end := decimal(text, i, sep)
	if end == refused {
		return d.decode(VoltsColumn, text, i)
	}
	d.state.event.Volts = record.Reading{Text: text[i:end], Volts: volts, State: record.Shown}
	return end
}

// decimal reads digits with a point in them or none, up to sep; refused is the end
// of any other text.
func decimal(text string, i int, sep byte) (volts record.Volts, end int) {
	const most = 15 // digits, so that they and the power of ten are exact
	mantissa, point := uint64(0), -1
	for end = i; end < len(text); end++ {
		if digit := text[end] - '0'; digit <= 9 {
			mantissa = mantissa*10 + uint64(digit)
		} else if text[end] == '.' && point < 0 && end > i {
			point = end
		} else {
			break
		}
	}
	if end == len(text) || text[end] != sep || end == i || end-i > most || point == end-1 {
		return 0, refused
	}
	value := float64(mantissa)
	if point >= 0 {
		value /= powersOfTen[end-point-1]
	}
	return record.Volts(value), end
}

var powersOfTen = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// The conductors whose names have one letter, and those that begin with L, by
// their second.
var (
	oneLetter = [256]record.Conductor{'L': record.L, 'N': record.N, 'E': record.E, 'M': record.M}
	lines     = [256]record.Conductor{'1': record.L1, '2': record.L2, '3': record.L3, '+': record.LPlus, '-': record.LMinus}
)

// fastConductor decodes the conductor at text[i].
func (d *Decoder) fastConductor(text string, i int, f *fastField) (end int) {
	if len(text)-i > 2 {
		switch {
		case text[i] == f.end:
			*f.to = record.Conductor{}
			return i
		case text[i+1] == f.end:
			if *f.to = oneLetter[text[i]]; f.to.IsSet() {
				return i + 1
			}
		case text[i+2] == f.end && text[i] == 'L':
			if *f.to = lines[text[i+1]]; f.to.IsSet() {
				return i + 2
			}
		}
	}
	return d.decode(f.column, text, i)
}

// fastTime decodes the time at text[i].
func (d *Decoder) fastTime(text string, i int) (end int) {
	if i < len(text) && text[i] == '"' {
		if t, end, ok := d.clock.read(text, i+1); ok && text[end] == '"' {
			d.state.event.Time = t
			return end + 1
		}
	} else if t, end, ok := d.clock.read(text, i); ok {
		d.state.event.Time = t
		return end
	}
	inner, end := innerText(text, i, d.layout.Comma)
	if !d.set(TimeColumn, inner) {
		return refused
	}
	if d.state.event.Time.IsSet() {
		d.clock.learn(trim(inner))
	}
	return end
}

// decode decodes the field at text[i], which is of column c.
func (d *Decoder) decode(c Column, text string, i int) (end int) {
	inner, end := innerText(text, i, d.layout.Comma)
	if !d.set(c, inner) {
		return refused
	}
	return end
}

// field decodes a field of any text, and counts job columns.
func (d *Decoder) field(text string, i int, f *fastField) (end int) {
	inner, end := innerText(text, i, d.layout.Comma)
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
	return end
}

// innerText returns the text of the field at text[i], quotes taken off, and where
// the field ends. What stands at the end shows whether it was a whole field: of a
// quoted one with a doubled quote, a line break or a NUL in it nothing is taken.
func innerText(text string, i int, comma byte) (inner string, end int) {
	if i >= len(text) || text[i] != '"' {
		end = fieldEnd(text, i, comma)
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

// A repeat knows a field, its end included, when it comes again. The zero repeat
// knows none.
type repeat struct {
	size        int
	first, last uint64 // the first and the last 8 bytes; of a short one, first is all
	mask        uint64 // of first
	short       bool   // no more than 8 bytes
	text        string // of one that has more than first and last
}

// learn takes up the text of a field with its end, which is not blank.
func (r *repeat) learn(text string) {
	const size = 8 // of a word
	n := len(text)
	// Field by field: a whole repeat would be made elsewhere and copied.
	r.size, r.short = n, n <= size
	if n < size {
		r.mask, r.first = 1<<(8*n)-1, 0
		for k := range n {
			r.first |= uint64(text[k]) << (8 * k)
		}
		return
	}
	r.mask, r.first, r.last = 1<<64-1, word(text), word(text[n-size:])
	if r.text = ""; n > 2*size {
		r.text = text
	}
}

// begins reports whether text may begin with the field; false also where it has
// less than 8 bytes.
func (r *repeat) begins(text string) bool {
	return len(text) >= 8 && word(text)&r.mask == r.first && r.size > 0
}

// ends reports whether text, which begins as the field, goes on as it does.
func (r *repeat) ends(text string) bool {
	n := r.size
	return n <= len(text) && word(text[n-8:]) == r.last && (r.text == "" || text[:n] == r.text)
}

// word returns the first eight bytes of text.
func word(text string) uint64 {
	_ = text[7]
	return uint64(text[0]) | uint64(text[1])<<8 | uint64(text[2])<<16 | uint64(text[3])<<24 |
		uint64(text[4])<<32 | uint64(text[5])<<40 | uint64(text[6])<<48 | uint64(text[7])<<56
}
