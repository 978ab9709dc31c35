package ledger

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/bits"
	"time"

	"nilvolt/record"
)

// errDamaged is what decoding says of bytes that no encoder has made.
var errDamaged = errors.New("damaged evidence")

// decodeEvidence returns the record whose evidence is given. Its texts do not
// point into data.
func decodeEvidence(id string, data []byte) (*record.Record, error) {
	if len(data) == 0 {
		return nil, errDamaged
	}
	if data[0] != evidenceVersion {
		return nil, fmt.Errorf("evidence of version %d, this program knows %d", data[0], evidenceVersion)
	}
	d := &decoder{rest: data[1:]}
	rec := &record.Record{ID: id}
	d.readWords()
	rec.Jobs = make([]record.Job, d.count())
	for i := range rec.Jobs {
		d.job(&rec.Jobs[i])
	}
	rec.Events = make([]record.Event, d.count())
	for i := range rec.Events {
		d.event(&rec.Events[i])
	}
	d.readWords()
	line := 0
	for i := range rec.Jobs {
		line = d.place(&rec.Jobs[i].Pos, line)
	}
	for i := range rec.Events {
		line = d.place(&rec.Events[i].Pos, line)
	}
	if len(d.rest) > 0 {
		d.bad = true
	}
	if len(rec.Jobs) == 0 {
		rec.Jobs = nil
	}
	if d.bad {
		return nil, errDamaged
	}
	return rec, nil
}

// A decoder reads evidence. After damage it reads zeros, and bad is set.
type decoder struct {
	rest  []byte
	words []string
	last  int64
	bad   bool
}

func (d *decoder) uint() uint64 {
	v, n := binary.Uvarint(d.rest)
	if n <= 0 {
		d.rest, d.bad = nil, true
		return 0
	}
	d.rest = d.rest[n:]
	return v
}

func (d *decoder) int() int64 {
	v, n := binary.Varint(d.rest)
	if n <= 0 {
		d.rest, d.bad = nil, true
		return 0
	}
	d.rest = d.rest[n:]
	return v
}

// count reads how many things follow, each of which takes a byte at least.
func (d *decoder) count() int {
	n := d.uint()
	if n > uint64(len(d.rest)) {
		d.bad = true
		return 0
	}
	return int(n)
}

func (d *decoder) readWords() {
	d.words = make([]string, d.count())
	d.last = 0
	for i := range d.words {
		n := d.count()
		d.words[i] = string(d.rest[:n])
		d.rest = d.rest[n:]
	}
}

func (d *decoder) text() string {
	n := d.uint()
	if n >= uint64(len(d.words)) {
		d.bad = true
		return ""
	}
	return d.words[n]
}

func (d *decoder) volts() record.Volts {
	return record.Volts(math.Float64frombits(bits.ReverseBytes64(d.uint())))
}

func (d *decoder) instant() record.Instant {
	if d.uint() == 0 {
		return record.Instant{}
	}
	d.last += d.int()
	nsec, offset := d.uint(), d.int()
	if nsec >= 2e9 || offset < -24*60 || offset > 24*60 {
		d.bad = true
		return record.Instant{}
	}
	return record.NewInstant(d.last, int(nsec), int(offset))
}

func (d *decoder) conductor() record.Conductor {
	c, err := record.ParseConductor(d.text())
	if err != nil {
		d.bad = true
	}
	return c
}

func (d *decoder) conductors() []record.Conductor {
	n := d.count()
	if n == 0 {
		return nil
	}
	list := make([]record.Conductor, n)
	for i := range list {
		list[i] = d.conductor()
	}
	return list
}

// code reads a code of an enumeration.
func code[T ~uint8](d *decoder) T {
	v := d.uint()
	if v > math.MaxUint8 {
		d.bad = true
		return 0
	}
	return T(v)
}

func (d *decoder) job(j *record.Job) {
	for _, text := range []*string{&j.Record, &j.Site, &j.Circuit, &j.Technician, &j.Device, &j.Indicator} {
		*text = d.text()
	}
	j.Nominal = d.volts()
	j.Supply, j.Earthing, j.Poles = code[record.Supply](d), code[record.Earthing](d), code[record.Poles](d)
	j.OnLoad, j.Category, j.SupplySideLive = code[record.YesNo](d), code[record.Category](d), code[record.YesNo](d)
	j.Conductors, j.Switched = d.conductors(), d.conductors()
	j.Start, j.End = d.instant(), d.instant()
}

func (d *decoder) event(v *record.Event) {
	flags := d.uint()
	v.Placed, v.Ambiguous = flags&flagPlaced != 0, flags&flagAmbiguous != 0
	v.HasExpected, v.HasSeq = flags&flagExpected != 0, flags&flagSeq != 0
	v.Time = d.instant()
	v.Kind, v.Waveform = code[record.Kind](d), code[record.Waveform](d)
	v.Switch, v.Side = code[record.Switch](d), code[record.Side](d)
	v.Volts.State, v.Stage.State = code[record.ReadingState](d), code[record.StageState](d)
	v.Indicator, v.Source = d.text(), d.text()
	v.Pair = record.Pair{A: d.conductor(), B: d.conductor()}
	v.Volts.Text, v.Stage.Text, v.Point, v.Note = d.text(), d.text(), d.text(), d.text()
	if v.Volts.State == record.Shown {
		v.Volts.Volts = d.volts()
	}
	if v.Stage.State == record.StageLit {
		v.Stage.Volts = d.volts()
	}
	if v.HasExpected {
		v.Expected = d.volts()
	}
	if v.HasSeq {
		v.Seq = d.int()
	}
	if flags&flagClock != 0 {
		v.Clock = &record.Clock{Ahead: time.Duration(d.int()), Within: time.Duration(d.int())}
	}
}

func (d *decoder) place(p *record.Pos, before int) int {
	p.File = d.text()
	p.Line = before + int(d.int())
	p.Column = int(d.uint())
	return p.Line
}
