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
	proofs   []fleet.Proof // by time
	register record.Register
	services map[string][]record.Date // by instrument, ascending: the days that registers gave as serviced
	policy   *verify.Policy           // by which the newest record was judged
	ids      map[string]string        // how a reading writes an instrument -> what it is called here
	late     int                      // proofs behind that day, left out
}

// spellings returns how readings write an instrument.
func (f *fleetRecord) spellings(instrument string) []string {
	var list []string
	for written, id := range f.ids {
		if id == instrument {
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
// writes it, else as the first reading does in the order of the alphabet.
func (f *fleetRecord) nameInstruments(ctx context.Context, l *ledger.Ledger) error {
	written, err := l.Instruments(ctx)
	if err != nil {
		return err
	}
	names := map[string]string{}
	for id := range f.register {
		names[strings.ToLower(id)] = id
	}
	f.ids = map[string]string{}
	for _, id := range written {
		folded := strings.ToLower(id)
		if names[folded] == "" {
			names[folded] = id
		}
		f.ids[id] = names[folded]
	}
	return nil
}

// name returns what an instrument is called here, a string that all its proofs share.
func (f *fleetRecord) name(written string) string {
	if id, known := f.ids[written]; known {
		return id
	}
	if strings.EqualFold(written, record.Live) {
		return record.Live
	}
	return strings.Clone(written)
}

// readProofs reads all proofs up to the day. Workers decode and judge the records, while
// one goroutine reads them.
func (f *fleetRecord) readProofs(ctx context.Context, l *ledger.Ledger) error {
	const together = 256 // records that travel from goroutine to goroutine at once
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	judges := &keptJudges{files: keptFiles{ctx, l}, by: map[ledger.Context]judgeBy{}}
	work := make(chan []*ledger.KeptRecord, runtime.GOMAXPROCS(0))
	workers := make([]proofReader, max(1, runtime.GOMAXPROCS(0)))
	errs := make([]error, len(workers))
	var group sync.WaitGroup
	for n := range workers {
		group.Go(func() {
			w := &workers[n]
			w.fleet, w.judges = f, judges
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
	err := l.Newest(ctx, f.asOf.Unix(), nil, func(k *ledger.KeptRecord) error {
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
	f.gather(workers)
	return nil
}

// gather puts together what the workers have read, in the order of time. A proof that
// stands in several records was made once.
func (f *fleetRecord) gather(workers []proofReader) {
	total := 0
	for i := range workers {
		total += len(workers[i].proofs)
		f.late += workers[i].late
	}
	f.proofs = make([]fleet.Proof, 0, total)
	for i := range workers {
		f.proofs = append(f.proofs, workers[i].proofs...)
		workers[i].proofs = nil
	}
	slices.SortFunc(f.proofs, compareProofs)
	f.proofs = slices.CompactFunc(f.proofs, func(a, b fleet.Proof) bool { return compareProofs(a, b) == 0 })
}

// compareProofs orders proofs by time, and then by all that they show.
func compareProofs(a, b fleet.Proof) int {
	if c := a.Time.Compare(b.Time); c != 0 {
		return c
	}
	return cmp.Or(strings.Compare(a.Indicator, b.Indicator), strings.Compare(a.Source, b.Source), cmp.Compare(a.Form, b.Form),
		cmp.Compare(a.Volts, b.Volts), cmp.Compare(a.Lit, b.Lit), cmp.Compare(a.Expected, b.Expected))
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
	proofs []fleet.Proof
	late   int
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
			r.add(&r.found[i])
		}
	}
	return nil
}

// add takes in one proof. Which record it stands in is not kept, since millions are held.
func (r *proofReader) add(found *verify.Proof) {
	if r.fleet.asOf.Before(found.Time) {
		r.late++
		return
	}
	p, ok := fleet.ProofOf("", found.Event, found.Steps, found.Passes, found.Retried)
	if !ok {
		return
	}
	p.Indicator, p.Source = r.fleet.name(p.Indicator), r.fleet.name(p.Source)
	p.Expected = float64(found.Expected)
	r.proofs = append(r.proofs, p)
}
