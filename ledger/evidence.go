package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"math/bits"

	"nilvolt/record"
)

// The evidence of a record is its job rows and events as bytes. The first byte is
// the version of the encoding, 1; what follows it in version 1 is
//
//	evidence = version content places
//	content  = words count job... count event...
//	places   = words place...     one for each job, then one for each event
//	words    = count word...      every text that occurs, once
//	place    = file line column   line as the difference to the place before
//
// Counts, lengths and codes of enumerations are unsigned varints, differences and
// signed numbers zigzag varints (encoding/binary). A text is the number of its
// word. A number of volts is its IEEE 754 bits in reverse, as unsigned varint,
// which is short for round numbers. A time is its seconds, as the difference to the
// time before, its nanoseconds and its offset; a first byte 0 stands for no time.
//
// The content says nothing of where rows stood, so a record that comes again in
// another file has the same content, and the same digest.
const evidenceVersion = 1

// A Digest stands for the content of a record.
type Digest = [sha256.Size]byte

// digestDomain keeps the digests of contents apart from other hashes.
const digestDomain = "nilvolt/content/v1\x00"

// An encoder makes evidence. Its buffers are used again; it serves one goroutine.
type encoder struct {
	body  []byte
	words []byte
	index map[string]uint64
	last  int64 // seconds of the time before
}

// encode appends the evidence of rec to out and returns the digest of its content.
func (e *encoder) encode(out []byte, rec *record.Record) ([]byte, Digest) {
	out = append(out, evidenceVersion)
	start := len(out)
	e.reset()
	e.uint(uint64(len(rec.Jobs)))
	for i := range rec.Jobs {
		e.job(&rec.Jobs[i])
	}
	e.uint(uint64(len(rec.Events)))
	for i := range rec.Events {
		e.event(&rec.Events[i])
	}
	out = e.flush(out)
	hash := sha256.New()
	hash.Write([]byte(digestDomain))
	hash.Write(out[start:])
	var digest Digest
	hash.Sum(digest[:0])

	e.reset()
	line := 0
	for i := range rec.Jobs {
		line = e.place(&rec.Jobs[i].Pos, line)
	}
	for i := range rec.Events {
		line = e.place(&rec.Events[i].Pos, line)
	}
	out = e.flush(out)
	clear(e.index) // the texts may be gone after the call
	return out, digest
}

// reset begins a part with words of its own.
func (e *encoder) reset() {
	e.body, e.words, e.last = e.body[:0], e.words[:0], 0
	if e.index == nil {
		e.index = map[string]uint64{}
	}
	clear(e.index)
}

// flush appends the part: its words, then its body.
func (e *encoder) flush(out []byte) []byte {
	out = binary.AppendUvarint(out, uint64(len(e.index)))
	out = append(out, e.words...)
	return append(out, e.body...)
}

func (e *encoder) uint(v uint64) { e.body = binary.AppendUvarint(e.body, v) }
func (e *encoder) int(v int64)   { e.body = binary.AppendVarint(e.body, v) }

func (e *encoder) text(s string) {
	n, known := e.index[s]
	if !known {
		n = uint64(len(e.index))
		e.index[s] = n
		e.words = binary.AppendUvarint(e.words, uint64(len(s)))
		e.words = append(e.words, s...)
	}
	e.uint(n)
}

func (e *encoder) volts(v record.Volts) { e.uint(bits.ReverseBytes64(math.Float64bits(float64(v)))) }

func (e *encoder) instant(t record.Instant) {
	if !t.IsSet() {
		e.uint(0)
		return
	}
	e.uint(1)
	e.int(t.Unix() - e.last)
	e.last = t.Unix()
	e.uint(uint64(t.Nanosecond()))
	e.int(int64(t.Offset()))
}

func (e *encoder) conductors(list []record.Conductor) {
	e.uint(uint64(len(list)))
	for _, c := range list {
		e.text(c.String())
	}
}

func (e *encoder) job(j *record.Job) {
	for _, text := range []string{j.Record, j.Site, j.Circuit, j.Technician, j.Device, j.Indicator} {
		e.text(text)
	}
	e.volts(j.Nominal)
	for _, code := range []uint8{uint8(j.Supply), uint8(j.Earthing), uint8(j.Poles), uint8(j.OnLoad), uint8(j.Category), uint8(j.SupplySideLive)} {
		e.uint(uint64(code))
	}
	e.conductors(j.Conductors)
	e.conductors(j.Switched)
	e.instant(j.Start)
	e.instant(j.End)
}

// The flags of an event.
const (
	flagPlaced = 1 << iota
	flagAmbiguous
	flagExpected
	flagSeq
	flagClock
)

func (e *encoder) event(v *record.Event) {
	flags := uint64(0)
	for _, f := range []struct {
		set  bool
		flag uint64
	}{{v.Placed, flagPlaced}, {v.Ambiguous, flagAmbiguous}, {v.HasExpected, flagExpected}, {v.HasSeq, flagSeq}, {v.Clock != nil, flagClock}} {
		if f.set {
			flags |= f.flag
		}
	}
	e.uint(flags)
	e.instant(v.Time)
	for _, code := range []uint8{uint8(v.Kind), uint8(v.Waveform), uint8(v.Switch), uint8(v.Side), uint8(v.Volts.State), uint8(v.Stage.State)} {
		e.uint(uint64(code))
	}
	for _, text := range []string{
		v.Indicator, v.Source, v.Pair.A.String(), v.Pair.B.String(), v.Volts.Text, v.Stage.Text, v.Point, v.Note,
	} {
		e.text(text)
	}
	if v.Volts.State == record.Shown {
		e.volts(v.Volts.Volts)
	}
	if v.Stage.State == record.StageLit {
		e.volts(v.Stage.Volts)
	}
	if v.HasExpected {
		e.volts(v.Expected)
	}
	if v.HasSeq {
		e.int(v.Seq)
	}
	if v.Clock != nil {
		e.int(int64(v.Clock.Ahead))
		e.int(int64(v.Clock.Within))
	}
}

// place encodes where a row stood, and returns its line.
func (e *encoder) place(p *record.Pos, before int) int {
	e.text(p.File)
	e.int(int64(p.Line) - int64(before))
	e.uint(uint64(p.Column))
	return p.Line
}
