package ledger

import (
	"context"
	"database/sql"
	"slices"
	"strings"
	"time"

	"nilvolt/record"
)

// Filings gives the kept records to be counted. It reads one state of the ledger; the
// caller must call [Filings.Close].
type Filings struct {
	Checkpoint Checkpoint
	Made       time.Time // of the checkpoint

	tx        *sql.Tx
	ctx       context.Context
	decisions map[int64][]Decision
	marks     map[int64]*Item    // only their marks
	versions  map[string][]rival // of records that have several
}

// A rival is a version of a record that has several.
type rival struct {
	version, readings int64
	status            string
}

// A Filing is a version to be counted.
type Filing struct {
	Item // its judgement without the findings; UploadNo and UploadBy are not filled in
	// Stands says that this version stands for its record: of all its versions the one
	// with the worst judgement, and of these the newest. Versions that a job sheet alone
	// made are left out once readings came.
	Stands     bool
	Indicators []string // sorted, as the next
	Sources    []string // proving units
}

// A FilingSpan says which versions are wanted, in Unix seconds: those that began at From
// or later, and those handed in at HandedFrom or later; none that began at To or later,
// and none handed in then unless it began at From or later. With them come all from
// before To that are not compliant or marked as in doubt, since they may wait.
type FilingSpan struct{ From, HandedFrom, To int64 }

// Filings begins to read.
func (l *Ledger) Filings(ctx context.Context) (*Filings, error) {
	tx, err := l.snapshot(ctx)
	if err != nil {
		return nil, err
	}
	f := &Filings{tx: tx, ctx: ctx, decisions: map[int64][]Decision{}, marks: map[int64]*Item{}, versions: map[string][]rival{}}
	if err := f.load(l.VerifierKey()); err != nil {
		tx.Rollback()
		return nil, err
	}
	return f, nil
}

// Close ends the reading.
func (f *Filings) Close() error { return f.tx.Rollback() }

// load reads what is small: the checkpoint, decisions, marks, and which records have
// several versions.
func (f *Filings) load(key string) error {
	var made, note string
	err := f.tx.QueryRowContext(f.ctx, `SELECT made, note FROM checkpoint ORDER BY leaves DESC LIMIT 1`).Scan(&made, &note)
	if err != nil {
		return err
	}
	if f.Checkpoint, err = OpenCheckpoint(note, key); err != nil {
		return err
	}
	if f.Made, err = time.Parse(time.RFC3339Nano, made); err != nil {
		return err
	}
	err = each(f.ctx, f.tx, func(rows *sql.Rows) error {
		var d Decision
		var kind string
		err := rows.Scan(&d.ID, &d.Made, &d.By, &d.Version, &d.Judgement, &kind, &d.Reason)
		d.Kind = DecisionKind(kind)
		f.decisions[d.Version] = append(f.decisions[d.Version], d)
		return err
	}, `SELECT leaf, made, by_whom, version, judgement, kind, reason FROM decision ORDER BY leaf`)
	if err != nil {
		return err
	}
	var marked []any
	err = each(f.ctx, f.tx, func(rows *sql.Rows) error {
		var version int64
		err := rows.Scan(&version)
		marked = append(marked, version)
		f.marks[version] = &Item{}
		return err
	}, `SELECT DISTINCT version FROM mark`)
	if err != nil {
		return err
	}
	for chunk := range slices.Chunk(marked, mostInList) {
		if err := addMarks(f.ctx, f.tx, f.marks, parameters(1, len(chunk)), chunk); err != nil {
			return err
		}
	}
	return each(f.ctx, f.tx, func(rows *sql.Rows) error {
		var id string
		var r rival
		err := rows.Scan(&id, &r.version, &r.readings, &r.status)
		f.versions[id] = append(f.versions[id], r)
		return err
	}, `SELECT v.record, v.leaf, v.readings, j.status FROM version v JOIN judgement j ON `+newestJudgement+`
		WHERE v.record IN (SELECT record FROM version WHERE number > 1) ORDER BY v.record, v.number`)
}

// Each calls do for the versions of a span, in the order in which they began. What do
// gets is not used again.
func (f *Filings) Each(s FilingSpan, do func(*Filing) error) error {
	first, last, err := f.uploads(s.HandedFrom, s.To)
	if err != nil {
		return err
	}
	var now *Filing
	finish := func() error {
		if now == nil || !f.complete(now) {
			return nil
		}
		return do(now)
	}
	err = each(f.ctx, f.tx, func(rows *sql.Rows) error {
		next := &Filing{}
		var failed string
		var instrument, role sql.NullString
		j := &next.Judgement
		err := rows.Scan(&next.Version, &next.Record, &next.Number, &next.Upload, &next.UploadMade, &next.Started, &next.Ended,
			&next.Readings, &next.Site, &next.Technician, &j.ID, &j.Status, &failed, &instrument, &role)
		if err != nil {
			return err
		}
		if now == nil || now.Version != next.Version {
			if err := finish(); err != nil {
				return err
			}
			now = next
			j.Version, j.Failed = next.Version, strings.Fields(failed)
		}
		switch role.String {
		case "indicator":
			now.Indicators = append(now.Indicators, instrument.String)
		case "source":
			now.Sources = append(now.Sources, instrument.String)
		}
		return nil
	}, `SELECT v.leaf, v.record, v.number, v.upload, p.made, v.started, v.ended, v.readings, v.site, v.technician,
			j.leaf, j.status, j.failed, g.instrument, g.role
		FROM version v JOIN upload p ON p.leaf = v.upload JOIN judgement j ON `+newestJudgement+`
			LEFT JOIN usage g ON g.version = v.leaf
		WHERE v.started < $2 AND v.leaf IN (
			SELECT leaf FROM version WHERE started >= $1 AND started < $2
			UNION SELECT leaf FROM version WHERE leaf > $3 AND leaf < $4
			UNION SELECT version FROM judgement WHERE status <> 'compliant'
			UNION SELECT version FROM mark)
		ORDER BY v.started, v.leaf`, s.From, s.To, first, last)
	if err != nil {
		return err
	}
	return finish()
}

// uploads returns between which leaves the versions stand that were handed in from one
// time up to another.
func (f *Filings) uploads(from, to int64) (first, last int64, err error) {
	inside := false
	err = each(f.ctx, f.tx, func(rows *sql.Rows) error {
		var leaf int64
		var text string
		if err := rows.Scan(&leaf, &text); err != nil {
			return err
		}
		made, err := time.Parse(time.RFC3339Nano, text)
		if err != nil {
			return err
		}
		switch in := made.Unix() >= from && made.Unix() < to; {
		case in && first == 0:
			first, inside, last = leaf, true, f.Checkpoint.Leaves
		case in && !inside: // a clock was set back in between: what lies there comes along
			inside, last = true, f.Checkpoint.Leaves
		case !in && inside:
			inside, last = false, leaf
		}
		return nil
	}, `SELECT leaf, made FROM upload ORDER BY leaf`)
	return first, last, err
}

// complete adds what was loaded before, and reports whether the version is to be looked
// at: one that a job sheet alone made is not, once readings came.
func (f *Filings) complete(v *Filing) bool {
	v.Decisions = f.decisions[v.Version]
	if m := f.marks[v.Version]; m != nil {
		v.Marks = m.Marks
	}
	slices.Sort(v.Indicators)
	slices.Sort(v.Sources)
	standing, superseded := standing(f.versions[v.Record])
	v.Stands = standing == 0 || standing == v.Version
	return !superseded || v.Readings > 0
}

// standing returns which of several versions stands for the record, 0 where there is
// only one, and whether those without readings are superseded.
func standing(list []rival) (version int64, superseded bool) {
	superseded = slices.ContainsFunc(list, func(r rival) bool { return r.readings > 0 })
	worst := -1
	for _, r := range list {
		if superseded && r.readings == 0 {
			continue
		}
		if rank := rankOf(r.status); rank >= worst {
			worst, version = rank, r.version
		}
	}
	return version, superseded
}

// rankOf returns how bad a status is. One that is not known is as bad as can be.
func rankOf(status string) int {
	switch status {
	case record.Compliant.String():
		return 0
	case record.NonCompliant.String():
		return 1
	}
	return 2
}
