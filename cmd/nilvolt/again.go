package main

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"

	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/verify"
)

// checkAgain refuses what does not go with judging a ledger anew.
func (o *verifyOptions) checkAgain(args []string) error {
	switch {
	case len(args) > 0:
		return hint("nilvolt ingest adds readings to a ledger", "--ledger judges what is kept and takes no readings")
	case o.stream || o.explain != "" || len(o.jobs) > 0 || o.jobsMap != "":
		return hint("leave the other flags away", "--ledger goes with --policy, --instruments, --map and --format only")
	}
	return nil
}

// An again judges all that a ledger keeps anew. It reads every upload from its files as
// they came, twice: first it surveys the records for the rules across records and looks
// which version each of them is, then it judges them.
//
// Of a record that reads otherwise than when it was kept both readings are judged, and
// the stricter judgement stands. What cannot be read any more, or comes out of no file
// any more, never complies.
type again struct {
	in *inputs
	o  *verifyOptions

	tx       *ledger.Tx
	files    *rereader
	worse    map[int64]*unreadableError // uploads that cannot be read any more, by row
	versions []keptVersion              // by row
	contexts []*againContext

	changes  []ledger.Change
	odd      []oddRecord // that read otherwise
	standing ledger.Standing
}

// A keptVersion is how far the work on a version has come.
type keptVersion struct {
	row     int64
	context uint16
	same    bool // a file gives it, byte for byte
	judged  bool
	odd     bool          // it was judged by more than what is kept of it
	status  record.Status // so far
}

// An againContext is what some of the records are judged by.
type againContext struct {
	ledger.Context
	by      judgeBy
	mu      sync.Mutex
	surveys []*verify.Survey
	judge   *verify.Judge // of what is read anew
	kept    *verify.Judge // of what is kept
	benches map[ledger.Cause]*bench
}

// A bench is a bench of the ledger with the judgements that are on their way to it.
type bench struct {
	*ledger.Bench
	next []ledger.Judged
}

// An oddRecord is a record whose files say something else now than when it was kept.
type oddRecord struct {
	Record  string
	Version int // 0: the ledger has none of it
	Upload  int // with which it came, 1 for the first
	Reads   readsNow
	Status  record.Status // the stricter one
}

// A readsNow says what the files of a record give now.
type readsNow string

const (
	readsOtherwise  readsNow = "otherwise"  // other rows
	readsNew        readsNow = "new"        // a record that the ledger has not
	readsGone       readsNow = "gone"       // not this record
	readsUnreadable readsNow = "unreadable" // nothing
)

// runAgain judges all records of a ledger and prints what changed.
func runAgain(ctx context.Context, o *verifyOptions, c *console) error {
	in, err := o.load()
	if err != nil {
		return errors.Join(err, errNothingJudged)
	}
	l, err := o.open(ctx, c, false)
	if err != nil {
		return err
	}
	defer l.Close()
	bar := newProgress(c, 1)
	defer bar.stop()
	a := &again{in: in, o: o, worse: map[int64]*unreadableError{}}
	err = l.Update(ctx, func(tx *ledger.Tx) error { return a.run(ctx, tx, bar.update) })
	bar.stop()
	if err != nil {
		return errors.Join(ledgerError(err), errNothingJudged)
	}
	return a.conclude(c)
}

// run does it within one transaction.
func (a *again) run(ctx context.Context, tx *ledger.Tx, report func(done, total int64)) error {
	a.tx = tx
	var err error
	if a.files, err = newRereader(tx, 2, report); err != nil {
		return err
	}
	if err := a.loadVersions(); err != nil {
		return err
	}
	if err := a.survey(ctx); err != nil {
		return err
	}
	if err := a.judge(ctx); err != nil {
		return err
	}
	if err := a.judgeLeft(); err != nil {
		return err
	}
	if err := a.flush(); err != nil {
		return err
	}
	a.standing, err = tx.Standing()
	return err
}

// loadVersions lists all versions and what each is to be judged by.
func (a *again) loadVersions() error {
	all, err := a.tx.Versions()
	if err != nil {
		return err
	}
	contexts, err := a.tx.Contexts(all)
	if err != nil {
		return err
	}
	if contexts, err = a.given(contexts); err != nil {
		return err
	}
	a.versions = make([]keptVersion, len(all))
	for i, row := range all {
		a.versions[i].row = row
	}
	for n, c := range inOrder(contexts) {
		by, err := loadContext(a.tx, c)
		if err != nil {
			return err
		}
		a.contexts = append(a.contexts, &againContext{Context: c, by: by, benches: map[ledger.Cause]*bench{}})
		for _, row := range contexts[c] {
			v, err := a.version(row)
			if err != nil {
				return err
			}
			v.context = uint16(n)
		}
	}
	return nil
}

// errTorn says that queries contradict each other, as they do in a damaged database.
var errTorn = errors.New("the ledger names a version that it does not have: the database is damaged; see what nilvolt audit finds")

// version returns a version by its row.
func (a *again) version(row int64) (*keptVersion, error) {
	i, found := slices.BinarySearchFunc(a.versions, row, func(v keptVersion, row int64) int { return cmp.Compare(v.row, row) })
	if !found {
		return nil, errTorn
	}
	return &a.versions[i], nil
}

// contextOf returns what a version is judged by.
func (a *again) contextOf(v *keptVersion) *againContext { return a.contexts[v.context] }

// given puts the policy and register of the command line in the place of those by
// which records were judged last.
func (a *again) given(contexts map[ledger.Context][]int64) (map[ledger.Context][]int64, error) {
	rows := map[ledger.Role]int64{}
	for _, f := range a.in.files {
		row, err := a.tx.KeepFile(f.data)
		if err != nil {
			return nil, err
		}
		rows[f.role] = row
	}
	out := map[ledger.Context][]int64{}
	for _, c := range inOrder(contexts) {
		by := c
		if row, ok := rows[ledger.Policy]; ok {
			by.Policy = row
		}
		if row, ok := rows[ledger.Instruments]; ok {
			by.Register, by.Map = row, rows[ledger.Map]
		}
		out[by] = append(out[by], contexts[c]...)
	}
	return out, nil
}

// survey reads all uploads for the rules across records, and notes which versions they
// give. What is kept of the others counts as well.
func (a *again) survey(ctx context.Context) error {
	for i := range a.files.uploads {
		u := &a.files.uploads[i]
		var same []int64
		err := a.files.read(ctx, u, a.surveyor, func(list []*ledger.Packed) error {
			found, err := a.tx.Recognise(u.ID, list)
			for _, f := range found {
				if f.Same {
					same = append(same, f.Version)
				}
			}
			return err
		})
		if bad, ok := errors.AsType[*unreadableError](err); ok {
			a.worse[u.ID] = bad
			continue // one bad row leaves the whole upload in doubt
		}
		if err != nil {
			return err
		}
		for _, row := range same {
			v, err := a.version(row)
			if err != nil {
				return err
			}
			v.same = true
		}
	}
	survey := a.surveyor()
	err := a.tx.Records(a.rows(func(v *keptVersion) bool { return !v.same }), func(_ int64, rec *record.Record) error {
		survey(rec)
		return nil
	})
	for _, c := range a.contexts {
		across := verify.NewAcross(c.surveys...)
		c.judge, c.kept = verify.NewJudge(c.by.policy, c.by.register, across), verify.NewJudge(c.by.policy, c.by.register, across)
		c.surveys = nil
	}
	return err
}

// surveyor returns the function with which one worker surveys records, under all that
// records are judged by.
func (a *again) surveyor() func(*record.Record) {
	surveys := make([]*verify.Survey, len(a.contexts))
	for i, c := range a.contexts {
		surveys[i] = verify.NewSurvey(c.by.policy, c.by.register)
		c.mu.Lock()
		c.surveys = append(c.surveys, surveys[i])
		c.mu.Unlock()
	}
	return func(rec *record.Record) {
		for _, s := range surveys {
			s.Add(rec)
		}
	}
}

// rows returns the rows of some versions.
func (a *again) rows(wanted func(*keptVersion) bool) []int64 {
	var list []int64
	for i := range a.versions {
		if wanted(&a.versions[i]) {
			list = append(list, a.versions[i].row)
		}
	}
	return list
}

// judge judges what the uploads give.
func (a *again) judge(ctx context.Context) error {
	for i := range a.files.uploads {
		u := &a.files.uploads[i]
		if a.worse[u.ID] != nil {
			continue
		}
		none := func() func(*record.Record) { return func(*record.Record) {} }
		err := a.files.read(ctx, u, none, func(list []*ledger.Packed) error {
			found, err := a.tx.Recognise(u.ID, list)
			if err != nil {
				return err
			}
			return a.judgeSome(u, list, found)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// judgeSome judges some records of an upload.
func (a *again) judgeSome(u *ledger.KeptUpload, list []*ledger.Packed, found []ledger.Recognised) error {
	for i, p := range list {
		f := found[i]
		if f.Spare {
			continue
		}
		if err := a.judgeOne(u, p, f); err != nil {
			return err
		}
	}
	return nil
}

// judgeOne judges a record of an upload.
func (a *again) judgeOne(u *ledger.KeptUpload, p *ledger.Packed, f ledger.Recognised) error {
	rec, err := p.Record()
	if err != nil {
		return err
	}
	if f.Version == 0 {
		return a.judgeNew(u, rec)
	}
	v, err := a.version(f.Version)
	switch {
	case err != nil:
		return err
	case !f.Same:
		return a.judgeOtherwise(u, rec, f, v)
	case v.judged:
		return nil // another upload gave it
	}
	return a.keep(v, rulingOf(a.contextOf(v).judge.Judge(rec)), ledger.Again)
}

// judgeNew judges a record that the ledger has no version of, by what its upload was
// judged by, the command line going first.
func (a *again) judgeNew(u *ledger.KeptUpload, rec *record.Record) error {
	given, err := a.given(map[ledger.Context][]int64{u.Context(): nil})
	if err != nil {
		return err
	}
	by, err := loadContext(a.tx, inOrder(given)[0])
	if err != nil {
		return err
	}
	j := verify.NewJudge(by.policy, by.register, nil).Judge(rec)
	a.odd = append(a.odd, oddRecord{Record: rec.ID, Upload: u.Number, Reads: readsNew, Status: j.Status})
	return nil
}

// judgeOtherwise judges a record that reads otherwise than its version, and what is
// kept of the version; the stricter judgement stands.
func (a *again) judgeOtherwise(u *ledger.KeptUpload, rec *record.Record, f ledger.Recognised, v *keptVersion) error {
	c := a.contextOf(v)
	now := rulingOf(c.judge.Judge(rec))
	var stands ruling
	err := a.tx.Records([]int64{f.Version}, func(_ int64, kept *record.Record) error {
		stands = stricter(now, rulingOf(c.kept.Judge(kept)))
		return nil
	})
	if err != nil {
		return err
	}
	a.odd = append(a.odd, oddRecord{Record: rec.ID, Version: f.Number, Upload: u.Number, Reads: readsOtherwise, Status: stands.status})
	if v.odd && stands.status <= v.status {
		return nil // two uploads give it, both otherwise: the stricter of these stands
	}
	v.odd = true
	return a.keep(v, stands, ledger.Reread)
}

// judgeLeft judges the versions that no file gives any more, by what is kept of them.
func (a *again) judgeLeft() error {
	numbers := map[int64]int{}
	for _, u := range a.files.uploads {
		numbers[u.ID] = u.Number
	}
	left := a.rows(func(v *keptVersion) bool { return !v.judged })
	return a.tx.Records(left, func(row int64, rec *record.Record) error {
		v, err := a.version(row)
		if err != nil {
			return err
		}
		place, err := a.tx.Place(row)
		if err != nil {
			return err
		}
		kept := rulingOf(a.contextOf(v).kept.Judge(rec))
		bad := a.worse[place.Upload]
		if bad == nil {
			superseded, err := a.superseded(place)
			if err != nil {
				return err
			}
			if superseded {
				return a.keep(v, kept, ledger.Again)
			}
		}
		odd := oddRecord{Record: place.Record, Version: place.Number, Upload: numbers[place.Upload], Reads: readsGone}
		if bad != nil {
			odd.Reads = readsUnreadable
		}
		stands := stricter(unprovenRuling(odd, bad), kept)
		odd.Status = stands.status
		a.odd = append(a.odd, odd)
		return a.keep(v, stands, ledger.Reread)
	})
}

// superseded reports whether the upload with which a version came gives another version
// of the record now: it was handed in again after the reader was mended.
func (a *again) superseded(p ledger.Place) (bool, error) {
	others, err := a.tx.Siblings(p)
	return slices.ContainsFunc(others, func(row int64) bool {
		v, err := a.version(row)
		return err == nil && v.same
	}), err
}

// keep keeps the judgement of a version.
func (a *again) keep(v *keptVersion, r ruling, cause ledger.Cause) error {
	verdict, err := ledger.NewVerdict(r.status, r.findings)
	if err != nil {
		return err
	}
	c := a.contextOf(v)
	if v.judged { // what is on its way has to be there before it is compared
		if err := a.flush(); err != nil {
			return err
		}
	}
	to := c.benches[cause]
	if to == nil {
		to = &bench{Bench: a.tx.Bench(cause, 0, c.Context, verify.RulesVersion)}
		c.benches[cause] = to
	}
	v.judged, v.status = true, r.status
	to.next = append(to.next, ledger.Judged{Version: v.row, Verdict: verdict})
	if len(to.next) < 500 {
		return nil
	}
	return a.hand(to)
}

// hand hands the judgements that are on their way to the ledger.
func (a *again) hand(b *bench) error {
	changes, err := b.Judge(b.next)
	a.changes = append(a.changes, changes...)
	b.next = b.next[:0]
	return err
}

// flush writes the judgements that are on their way.
func (a *again) flush() error {
	for _, c := range a.contexts {
		for _, cause := range []ledger.Cause{ledger.Again, ledger.Reread} {
			b := c.benches[cause]
			if b == nil {
				continue
			}
			if err := errors.Join(a.hand(b), b.Flush()); err != nil {
				return err
			}
		}
	}
	return nil
}
