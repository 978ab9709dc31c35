package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"sync"
	"time"

	"nilvolt/formats"
	"nilvolt/ingest"
	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/verify"
)

// A keeper judges the records of a set of files and keeps them in a ledger.
//
// It goes over the records twice, as verify does: first it keeps their evidence and
// surveys them for the rules across records, to which it adds what the ledger holds
// of the same time and instruments; then it judges them. Last come records that
// were kept before and on which the new ones throw light.
type keeper struct {
	in       *inputs
	set      *ingest.Set
	manifest ledger.Manifest
	out      *keptOutput

	withoutRows bool // keep the records of the job sheet that have no row as well

	upload   *ledger.Upload
	kept     []ledger.Kept // in the order of the input
	tally    *tally
	changes  []ledger.Change  // of records that were kept before
	contests []ledger.Contest // worse versions of the records handed in, live ones first
	overlaps []ledger.Overlap // of the new versions
}

// margins are how far from a record's own time a proof of another may lie that
// matters to it: the longest that a policy may allow before a reading and behind it.
var margins = ledger.Margins{
	Before: int64((verify.MaxProveAge + verify.MaxSeriesGap) / time.Second),
	After:  int64((verify.MaxProveAge + verify.MaxSeriesGap) / time.Second),
}

// keep does all within one transaction.
func (k *keeper) keep(ctx context.Context, tx *ledger.Tx) error {
	var err error
	if k.upload, err = tx.Upload(k.manifest); err != nil {
		return err
	}
	k.upload.WithoutRows = k.withoutRows
	surveys, err := k.addVersions(ctx)
	if err != nil {
		return err
	}
	neighbours, err := k.upload.Neighbours(margins)
	if err != nil {
		return err
	}
	across, err := k.across(tx, surveys)
	if err != nil {
		return err
	}
	if err := k.judge(ctx, tx, across); err != nil {
		return err
	}
	mine := k.versions()
	neighbours = slices.DeleteFunc(neighbours, func(v int64) bool { return mine[v] })
	if err := k.judgeKept(tx, neighbours); err != nil {
		return err
	}
	if err := k.contest(tx); err != nil {
		return err
	}
	if k.overlaps, err = k.upload.Overlaps(); err != nil {
		return err
	}
	if k.in.register == nil {
		return nil
	}
	details := map[string]string{}
	for id, i := range k.in.register {
		if details[id], err = registerRow(i); err != nil {
			return err
		}
	}
	return tx.NoteRegister(k.manifest.By, slices.Sorted(maps.Keys(details)), details, k.upload.ID)
}

// addVersions keeps the evidence of all records and surveys them.
func (k *keeper) addVersions(ctx context.Context) ([]*verify.Survey, error) {
	var mu sync.Mutex
	var surveys []*verify.Survey
	var packed carrier[*ledger.Packed]
	err := k.set.Each(ctx, func() ingest.Visitor {
		s := verify.NewSurvey(k.in.policy, k.in.register)
		mu.Lock()
		surveys = append(surveys, s)
		mu.Unlock()
		var packer ledger.Packer
		return func(rec *record.Record, out []byte) []byte {
			s.Add(rec)
			var copyKey *[16]byte
			if key, ok := s.CopyKey(); ok {
				copyKey = &key
			}
			return packed.put(out, packer.Pack(rec, copyKey))
		}
	}, func(chunk []byte) error {
		list, err := packed.take(chunk)
		if err != nil {
			return err
		}
		kept, err := k.upload.Add(list)
		k.kept = append(k.kept, kept...)
		return err
	})
	if err != nil {
		return nil, err
	}
	return surveys, k.upload.Flush()
}

// versions returns the rows of the records whose rows came with this call. What only
// its job sheets name did not: that of it which is kept is looked at as ever.
func (k *keeper) versions() map[int64]bool {
	mine := make(map[int64]bool, len(k.kept))
	for _, kept := range k.kept {
		if kept.Outcome != ledger.JobOnly && kept.Outcome != ledger.NoRow {
			mine[kept.Version] = true
		}
	}
	return mine
}

// across adds to the surveys of the new records what was kept before and has to do
// with them, and puts them together.
func (k *keeper) across(tx *ledger.Tx, surveys []*verify.Survey) (*verify.Across, error) {
	if !k.upload.Earlier() {
		return verify.NewAcross(surveys...), nil
	}
	mine := k.versions()
	around, err := tx.Around(slices.Sorted(maps.Keys(mine)), margins)
	if err != nil {
		return nil, err
	}
	around = slices.DeleteFunc(around, func(v int64) bool { return mine[v] })
	s := verify.NewSurvey(k.in.policy, k.in.register)
	err = tx.Records(around, func(_ int64, rec *record.Record) error {
		s.Add(rec)
		return nil
	})
	return verify.NewAcross(append(surveys, s)...), err
}

// A judgedRecord is a record with its verdict, and what the output says of it.
type judgedRecord struct {
	verdict *ledger.Verdict // nil if it was not judged: none of its rows is among those handed in
	text    []byte
	err     error
}

// judge judges the records of the files.
func (k *keeper) judge(ctx context.Context, tx *ledger.Tx, across *verify.Across) error {
	var mu sync.Mutex
	var tallies []*tally
	var judged carrier[judgedRecord]
	bench := tx.Bench(ledger.Ingest, k.upload.ID, k.upload.Context(), verify.RulesVersion)
	next := 0
	unjudged := map[string]bool{}
	for _, kept := range k.kept {
		if kept.Outcome == ledger.JobOnly || kept.Outcome == ledger.NoRow {
			unjudged[kept.Record] = true
		}
	}
	err := k.set.Each(ctx, func() ingest.Visitor {
		j := verify.NewJudge(k.in.policy, k.in.register, across)
		t := k.out.tally()
		write := k.out.appender()
		mu.Lock()
		tallies = append(tallies, t)
		mu.Unlock()
		return func(rec *record.Record, out []byte) []byte {
			if unjudged[rec.ID] {
				return judged.put(out, judgedRecord{})
			}
			judgement := j.Judge(rec)
			t.add(judgement)
			var r judgedRecord
			r.text = write(nil, rec, judgement)
			r.verdict, r.err = ledger.NewVerdict(judgement.Status, judgement.Findings)
			return judged.put(out, r)
		}
	}, func(chunk []byte) error {
		list, err := judged.take(chunk)
		if err != nil {
			return err
		}
		if next+len(list) > len(k.kept) {
			return errCarrier
		}
		kept := k.kept[next : next+len(list)]
		next += len(list)
		return k.keepVerdicts(bench, kept, list)
	})
	k.tally = k.out.tally()
	for _, t := range tallies {
		k.tally.merge(t)
	}
	if err != nil {
		return err
	}
	return bench.Flush()
}

// keepVerdicts keeps the verdicts of some records and hands them to the output.
func (k *keeper) keepVerdicts(bench *ledger.Bench, kept []ledger.Kept, list []judgedRecord) error {
	verdicts := make([]ledger.Judged, 0, len(list))
	for i, r := range list {
		if r.err != nil {
			return r.err
		}
		if r.verdict != nil {
			verdicts = append(verdicts, ledger.Judged{Version: kept[i].Version, Verdict: r.verdict})
		}
	}
	changes, err := bench.Judge(verdicts)
	if err != nil {
		return err
	}
	k.changes = append(k.changes, changes...)
	for i, r := range list {
		if err := k.out.add(r.text, kept[i], k.upload.Number, r.verdict); err != nil {
			return err
		}
	}
	return nil
}

// judgeKept judges versions again that were kept before, each by what it was judged
// by last.
func (k *keeper) judgeKept(tx *ledger.Tx, versions []int64) error {
	contexts, err := tx.Contexts(versions)
	if err != nil {
		return err
	}
	for _, c := range inOrder(contexts) {
		by, err := loadContext(tx, c)
		if err != nil {
			return err
		}
		around, err := tx.Around(contexts[c], margins)
		if err != nil {
			return err
		}
		bench := tx.Bench(ledger.Neighbour, k.upload.ID, c, verify.RulesVersion)
		changes, err := judgeVersions(tx, contexts[c], around, by, bench, func(int64, *verify.Judgement) {})
		if err != nil {
			return err
		}
		k.changes = append(k.changes, changes...)
	}
	return nil
}

// contest looks for worse versions of the records that were handed in, on which nobody has
// decided: by these the records count, as everywhere else.
func (k *keeper) contest(tx *ledger.Tx) error {
	var err error
	if k.contests, err = tx.Contests(k.kept); err != nil {
		return err
	}
	slices.SortStableFunc(k.contests, func(a, b ledger.Contest) int {
		return cmp.Compare(lateness(parseStatus(a.Worse.Judgement.Status)), lateness(parseStatus(b.Worse.Judgement.Status)))
	})
	for _, c := range k.contests {
		k.tally.outrank(parseStatus(c.Version.Judgement.Status), parseStatus(c.Worse.Judgement.Status))
	}
	return nil
}

// inOrder returns the contexts in an order that is always the same.
func inOrder(contexts map[ledger.Context][]int64) []ledger.Context {
	return slices.SortedFunc(maps.Keys(contexts), func(a, b ledger.Context) int {
		return slices.Compare([]int64{a.Policy, a.Register, a.Map}, []int64{b.Policy, b.Register, b.Map})
	})
}

// judgeBy is what records are judged by.
type judgeBy struct {
	policy   *verify.Policy
	register record.Register
}

// A contentReader gives files that a ledger keeps.
type contentReader interface {
	Content(row int64) ([]byte, error)
}

// loadContext reads the policy and the register that a ledger keeps.
func loadContext(tx contentReader, c ledger.Context) (by judgeBy, err error) {
	by.policy = verify.DefaultPolicy()
	read := func(row int64) (data []byte) {
		if err == nil && row != 0 {
			data, err = tx.Content(row)
		}
		return data
	}
	policy, register, columnMap := read(c.Policy), read(c.Register), read(c.Map)
	if err != nil {
		return by, err
	}
	if c.Policy != 0 {
		if by.policy, err = verify.ParsePolicy(keptName(c.Policy), policy); err != nil {
			return by, err
		}
	}
	if c.Register == 0 {
		return by, nil
	}
	var m *formats.Map
	if c.Map != 0 {
		if m, err = formats.ParseMap(keptName(c.Map), columnMap); err != nil {
			return by, err
		}
	}
	by.register, err = formats.ReadRegister(register, keptName(c.Register), m)
	return by, err
}

// keptName is how a file of the ledger is called in errors.
func keptName(row int64) string { return "file " + strconv.FormatInt(row, 10) + " of the ledger" }

// judgeVersions judges kept versions; around are all whose proofs and readings
// matter to the rules across records. seen is told every judgement.
func judgeVersions(
	tx *ledger.Tx, versions, around []int64, by judgeBy, bench *ledger.Bench, seen func(int64, *verify.Judgement),
) ([]ledger.Change, error) {
	survey := verify.NewSurvey(by.policy, by.register)
	err := tx.Records(around, func(_ int64, rec *record.Record) error {
		survey.Add(rec)
		return nil
	})
	if err != nil {
		return nil, err
	}
	judge := verify.NewJudge(by.policy, by.register, verify.NewAcross(survey))
	var changes []ledger.Change
	var list []ledger.Judged
	flush := func() error {
		some, err := bench.Judge(list)
		changes = append(changes, some...)
		list = list[:0]
		return err
	}
	err = tx.Records(versions, func(version int64, rec *record.Record) error {
		judgement := judge.Judge(rec)
		seen(version, judgement)
		verdict, err := ledger.NewVerdict(judgement.Status, judgement.Findings)
		if err != nil {
			return err
		}
		list = append(list, ledger.Judged{Version: version, Verdict: verdict})
		if len(list) < 1000 {
			return nil
		}
		return flush()
	})
	if err == nil {
		err = flush()
	}
	if err == nil {
		err = bench.Flush()
	}
	return changes, err
}

// registerRow returns a row of the register as JSON, in the words of the register.
func registerRow(i *record.Instrument) (string, error) {
	volts := func(list []record.Volts) []float64 {
		out := make([]float64, len(list))
		for n, v := range list {
			out[n] = float64(v)
		}
		return out
	}
	row := map[string]any{
		"instrument": i.ID, "kind": i.Kind.String(), "senses": i.Senses.String(), "stages": volts(i.Stages),
		"max_volts": float64(i.MaxVolts), "category": i.Category.String(), "tolerance": i.Tolerance, "output": volts(i.Outputs),
		"serviced": i.Serviced.String(), "interval_days": i.IntervalDays, "withdrawn": i.Withdrawn.String(),
	}
	if i.Reference != record.Unstated { // rows that were kept before the column was known stay as they are
		row["reference"] = i.Reference.String()
	}
	text, err := json.Marshal(row)
	return string(text), err
}

// conclude prints the end of the output and returns the verdict over all.
func (k *keeper) conclude(c *console) error {
	strays := k.set.Strays()
	if err := k.out.finish(k, len(strays)); err != nil {
		return err
	}
	if err := c.out.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	listClocks(c, k.set)
	listStrays(c, strays)
	listTwins(c, func(yield func(string) bool) {
		for i := range k.kept {
			if !yield(k.kept[i].Record) {
				return
			}
		}
	})
	listSuperseded(c, k.set)
	listChanges(c, k.changes)
	listOverlaps(c, k.overlaps)
	k.tally.counts(c.err, k.set.Rows(), len(strays))
	missing := k.out.counts[ledger.NoRow]
	if k.tally.compliant != k.tally.records() || k.tally.records() == 0 || len(strays) > 0 || missing > 0 {
		return errNotCompliant
	}
	return nil
}
