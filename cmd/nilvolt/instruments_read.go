package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"nilvolt/fleet"
	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/verify"
)

// A fleetRecord is all that a ledger holds of the instruments up to a day.
type fleetRecord struct {
	asOf     record.Instant // the end of that day, UTC
	day      record.Date
	proofs   []packedProof // by time
	register record.Register
	services map[string][]record.Date // by instrument, ascending: the days that registers gave as serviced
	policy   *verify.Policy           // by which the newest record was judged
	names    []string                 // what instruments are called here, by number
	numbers  map[string]int32         // how a reading writes an instrument -> its number
	mu       sync.Mutex               // of proofs while they are read
	later    int                      // records that began behind that day, left out
}

// spellings returns how readings write an instrument.
func (f *fleetRecord) spellings(instrument string) []string {
	var list []string
	for written, n := range f.numbers {
		if f.names[n] == instrument {
			list = append(list, written)
		}
	}
	slices.Sort(list)
	return list
}

// readFleet reads the instruments of a ledger as of a day; the zero day is that of the
// last reading.
func readFleet(ctx context.Context, l *ledger.Ledger, day record.Date, now time.Time) (*fleetRecord, error) {
	f := &fleetRecord{day: day, policy: verify.DefaultPolicy()}
	if !day.IsSet() {
		last, err := lastReading(ctx, l, now)
		if err != nil {
			return nil, err
		}
		f.day = record.DateOf(time.Unix(last, 0).UTC())
	}
	f.asOf = endOf(f.day)
	var err error
	if f.later, err = l.CountLater(ctx, f.asOf.Unix()); err != nil {
		return nil, err
	}
	if err := f.readRegister(ctx, l); err != nil {
		return nil, err
	}
	if err := f.nameInstruments(ctx, l); err != nil {
		return nil, err
	}
	return f, f.readProofs(ctx, l)
}

// endOf returns the last second of a day, UTC.
func endOf(day record.Date) record.Instant {
	t, _ := time.Parse(time.DateOnly, day.AddDays(1).String())
	return record.NewInstant(t.Unix()-1, 0, 0)
}

// lastReading returns when the last reading was taken, Unix seconds. Clocks that are
// more than a day ahead do not count where others are not.
func lastReading(ctx context.Context, l *ledger.Ledger, now time.Time) (int64, error) {
	for _, before := range []time.Time{now.AddDate(0, 0, 1), now.AddDate(1000, 0, 0)} {
		if last, err := l.LastReading(ctx, before.Unix()); last != 0 || err != nil {
			return last, err
		}
	}
	return 0, hint("nilvolt ingest adds readings", "the ledger holds no reading")
}

// A registerEntry is a row of the register as registerRow writes it.
type registerEntry struct {
	Instrument   string    `json:"instrument"`
	Kind         string    `json:"kind"`
	Senses       string    `json:"senses"`
	Stages       []float64 `json:"stages"`
	MaxVolts     float64   `json:"max_volts"`
	Category     string    `json:"category"`
	Tolerance    float64   `json:"tolerance"`
	Output       []float64 `json:"output"`
	Serviced     string    `json:"serviced"`
	IntervalDays int       `json:"interval_days"`
	Withdrawn    string    `json:"withdrawn"`
	Reference    string    `json:"reference"`
}

// instrument returns the entry as an instrument of the register.
func (e *registerEntry) instrument() (*record.Instrument, error) {
	volts := func(list []float64) (out []record.Volts) {
		for _, v := range list {
			out = append(out, record.Volts(v))
		}
		return out
	}
	i := &record.Instrument{
		ID: e.Instrument, Stages: volts(e.Stages), MaxVolts: record.Volts(e.MaxVolts), Tolerance: e.Tolerance,
		Outputs: volts(e.Output), IntervalDays: e.IntervalDays,
	}
	date := func(text string) (d record.Date, err error) {
		if text != "" {
			d, err = record.ParseDate(text)
		}
		return d, err
	}
	var errs [6]error
	i.Kind, errs[0] = record.ParseInstrumentKind(e.Kind)
	i.Senses, errs[1] = record.ParseWaveform(e.Senses)
	i.Category, errs[2] = record.ParseCategory(e.Category)
	i.Serviced, errs[3] = date(e.Serviced)
	i.Withdrawn, errs[4] = date(e.Withdrawn)
	i.Reference, errs[5] = record.ParseYesNo(e.Reference)
	return i, errors.Join(errs[:]...)
}

// readRegister takes of each instrument the last entry that names no service behind the
// day, else the first one, and the days of service of all.
func (f *fleetRecord) readRegister(ctx context.Context, l *ledger.Ledger) error {
	events, err := l.RegisterEvents(ctx)
	if err != nil {
		return err
	}
	f.register, f.services = record.Register{}, map[string][]record.Date{}
	for id, list := range events {
		for _, e := range list {
			var entry registerEntry
			if err := json.Unmarshal([]byte(e.Detail), &entry); err != nil {
				return fmt.Errorf("event %d of the ledger: %w", e.ID, err)
			}
			i, err := entry.instrument()
			if err != nil {
				return fmt.Errorf("event %d of the ledger: %w", e.ID, err)
			}
			if i.Serviced.IsSet() && i.Serviced.After(f.day) {
				if f.register[id] == nil {
					f.register[id] = i
				}
				continue
			}
			f.register[id] = i
			if i.Serviced.IsSet() && !slices.Contains(f.services[id], i.Serviced) {
				f.services[id] = append(f.services[id], i.Serviced)
			}
		}
		slices.SortFunc(f.services[id], compareDates)
	}
	return nil
}

func compareDates(a, b record.Date) int { return strings.Compare(a.String(), b.String()) }

// nameInstruments makes one instrument of ids that differ in case only: as the register
// writes it, else as the first reading does in the order of the alphabet. No source and
// the live source are instruments here too.
func (f *fleetRecord) nameInstruments(ctx context.Context, l *ledger.Ledger) error {
	written, err := l.Instruments(ctx)
	if err != nil {
		return err
	}
	registered := map[string]string{}
	for id := range f.register {
		registered[strings.ToLower(id)] = id
	}
	f.names, f.numbers = []string{"", record.Live}, map[string]int32{"": 0, record.Live: 1}
	byFolded := map[string]int32{}
	for _, id := range written {
		folded := strings.ToLower(id)
		n, known := byFolded[folded]
		if !known {
			n = int32(len(f.names))
			byFolded[folded] = n
			f.names = append(f.names, cmp.Or(registered[folded], id))
		}
		f.numbers[id] = n
	}
	return nil
}

// number returns the number of an instrument as a reading writes it.
func (f *fleetRecord) number(written string) int32 {
	n, known := f.numbers[written]
	if !known && strings.EqualFold(written, record.Live) {
		return 1
	}
	return n // one that another process has added meanwhile counts as none
}

// readProofs reads all proofs up to the day. Workers decode and judge the records, while
// one goroutine reads them.
func (f *fleetRecord) readProofs(ctx context.Context, l *ledger.Ledger) error {
	const together = 256 // records that travel from goroutine to goroutine at once
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	most, err := l.CountProofs(ctx)
	if err != nil {
		return err
	}
	f.proofs = make([]packedProof, 0, most)
	judges := &keptJudges{files: keptFiles{ctx, l}, by: map[ledger.Context]judgeBy{}}
	work := make(chan []*ledger.KeptRecord, runtime.GOMAXPROCS(0))
	errs := make([]error, runtime.GOMAXPROCS(0))
	var group sync.WaitGroup
	for n := range errs {
		group.Go(func() {
			w := proofReader{fleet: f, judges: judges}
			for list := range work {
				if errs[n] == nil {
					errs[n] = w.read(list)
				}
				if errs[n] != nil {
					cancel()
				}
			}
		})
	}
	var list []*ledger.KeptRecord
	var last ledger.Context
	err = l.Newest(ctx, f.asOf.Unix(), nil, func(k *ledger.KeptRecord) error {
		last = k.Context
		if list = append(list, k); len(list) == together {
			work <- list
			list = nil
		}
		return nil
	})
	work <- list
	close(work)
	group.Wait()
	if workerErr := errors.Join(errs...); workerErr != nil {
		return workerErr
	}
	if err != nil {
		return err
	}
	if last != (ledger.Context{}) {
		by, err := judges.of(last)
		if err != nil {
			return err
		}
		f.policy = by.policy
	}
	// In the order of time. A proof that stands in several records was made once.
	slices.SortFunc(f.proofs, packedProof.compare)
	f.proofs = slices.CompactFunc(f.proofs, func(a, b packedProof) bool { return a.compare(b) == 0 })
	return nil
}

// add takes in the proofs of several records.
func (f *fleetRecord) add(proofs []packedProof) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.proofs = append(f.proofs, proofs...)
}

// A packedProof is a proof in half the room, since millions are held.
type packedProof struct {
	sec               int64
	nsec              int32
	indicator, source int32 // numbers of instruments
	form              fleet.Form
	passed, retried   bool
	expected          float64
	shown             float64 // volts, or the highest lit step
	next              float64 // the step above it
}

// compare orders proofs by time, and then by all that they show.
func (p packedProof) compare(q packedProof) int {
	return cmp.Or(cmp.Compare(p.sec, q.sec), cmp.Compare(p.nsec, q.nsec), cmp.Compare(p.indicator, q.indicator),
		cmp.Compare(p.source, q.source), cmp.Compare(p.form, q.form), cmp.Compare(p.shown, q.shown), cmp.Compare(p.expected, q.expected))
}

// pack returns a proof with the numbers of its instruments.
func (f *fleetRecord) pack(p *fleet.Proof) packedProof {
	out := packedProof{
		sec: p.Time.Unix(), nsec: int32(p.Time.Nanosecond()), indicator: f.number(p.Indicator), source: f.number(p.Source),
		form: p.Form, passed: p.Passed, retried: p.Retried, expected: p.Expected, shown: p.Volts, next: p.Next,
	}
	if p.Form == fleet.Stepped {
		out.shown = p.Lit
	}
	return out
}

// all gives all proofs in the order of time.
func (f *fleetRecord) all(yield func(fleet.Proof) bool) {
	for i := range f.proofs {
		p := &f.proofs[i]
		out := fleet.Proof{
			Indicator: f.names[p.indicator], Source: f.names[p.source], Time: record.NewInstant(p.sec, int(p.nsec), 0),
			Expected: p.expected, Next: p.next, Form: p.form, Passed: p.passed, Retried: p.retried,
		}
		if p.form == fleet.Stepped {
			out.Lit = p.shown
		} else {
			out.Volts = p.shown
		}
		if !yield(out) {
			return
		}
	}
}

// keptJudges makes judges by what kept records were judged by last.
type keptJudges struct {
	mu    sync.Mutex
	files keptFiles
	by    map[ledger.Context]judgeBy
}

func (k *keptJudges) of(c ledger.Context) (judgeBy, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	by, known := k.by[c]
	if known {
		return by, nil
	}
	by, err := loadContext(k.files, c)
	k.by[c] = by
	return by, err
}

// A proofReader takes the proofs out of kept records. It serves one goroutine.
type proofReader struct {
	fleet  *fleetRecord
	judges *keptJudges
	own    map[ledger.Context]*verify.Judge
	found  []verify.Proof
	proofs []packedProof
}

// judge returns a judge of the reader's own.
func (r *proofReader) judge(c ledger.Context) (*verify.Judge, error) {
	if j := r.own[c]; j != nil {
		return j, nil
	}
	by, err := r.judges.of(c)
	if err != nil {
		return nil, err
	}
	if r.own == nil {
		r.own = map[ledger.Context]*verify.Judge{}
	}
	r.own[c] = verify.NewJudge(by.policy, by.register, nil)
	return r.own[c], nil
}

func (r *proofReader) read(list []*ledger.KeptRecord) error {
	r.proofs = r.proofs[:0]
	for _, k := range list {
		rec, err := k.Record()
		if err != nil {
			return fmt.Errorf("record %s: %w", k.ID(), err)
		}
		judge, err := r.judge(k.Context)
		if err != nil {
			return err
		}
		r.found = judge.Proofs(r.found[:0], rec)
		for i := range r.found {
			found := &r.found[i]
			if r.fleet.asOf.Before(found.Time) {
				continue
			}
			p, _ := fleet.ProofOf("", found.Event, found.Steps, found.Passes, found.Retried)
			p.Expected = float64(found.Expected)
			r.proofs = append(r.proofs, r.fleet.pack(&p))
		}
	}
	r.fleet.add(r.proofs)
	return nil
}
