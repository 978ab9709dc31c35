package ledger

import (
	"context"
	"database/sql"
	"time"

	"nilvolt/record"
)

// A Share is what was added to a ledger behind one leaf and up to another. It reads
// one state of the ledger; the caller must call [Share.Close].
type Share struct {
	After int64 // leaves below this one are left out
	Upto  int64 // so are this one and those behind it
	tx    *sql.Tx
	ctx   context.Context
}

// Share returns what was added to the ledger behind its first so many leaves.
func (l *Ledger) Share(ctx context.Context, after int64) (*Share, error) {
	tx, err := l.snapshot(ctx)
	if err != nil {
		return nil, err
	}
	s := &Share{After: after, tx: tx, ctx: ctx}
	if err := tx.QueryRowContext(ctx, `SELECT leaves FROM ledger WHERE leaf = 0`).Scan(&s.Upto); err != nil {
		tx.Rollback()
		return nil, err
	}
	return s, nil
}

// Close ends the reading.
func (s *Share) Close() error { return s.tx.Rollback() }

// A SharedVersion is a version of a record.
type SharedVersion struct {
	Number  int   // 1 for the first version of the record
	Started int64 // Unix seconds
	Record  *record.Record
}

// Versions calls do for the versions that were added, in the order in which the
// records began.
func (s *Share) Versions(do func(*SharedVersion) error) error {
	return each(s.ctx, s.tx, func(rows *sql.Rows) error {
		var v SharedVersion
		var id string
		var evidence []byte
		err := rows.Scan(&id, &v.Number, &v.Started, &evidence)
		if err != nil {
			return err
		}
		if v.Record, err = decodeEvidence(id, evidence); err != nil {
			return err
		}
		return do(&v)
	}, `SELECT record, number, started, evidence FROM version WHERE leaf >= $1 AND leaf < $2 ORDER BY started, leaf`, s.After, s.Upto)
}

// A SharedJudgement is a judgement, with what is known of its version and of the
// judging that it came of.
type SharedJudgement struct {
	Judgement
	Record     string
	Number     int
	Started    int64 // Unix seconds
	Ended      int64
	Readings   int
	Site       string
	Technician string
	Upload     int // 1 for the first upload
	Uploaded   time.Time
	Judged     time.Time
	Cause      Cause
	Rules      string
}

// Judgements calls do for the judgements that were added, in the order in which their
// records began.
func (s *Share) Judgements(do func(*SharedJudgement) error) error {
	numbers, err := uploadNumbers(s.ctx, s.tx)
	if err != nil {
		return err
	}
	return each(s.ctx, s.tx, func(rows *sql.Rows) error {
		var g SharedJudgement
		var uploaded, judged, cause string
		var upload int64
		var err error
		g.Judgement, err = scanJudgement(rows, &g.Record, &g.Number, &g.Started, &g.Ended, &g.Readings, &g.Site,
			&g.Technician, &upload, &uploaded, &judged, &cause, &g.Rules)
		if err != nil {
			return err
		}
		g.Cause, g.Upload = Cause(cause), numbers[upload]
		if g.Uploaded, err = time.Parse(time.RFC3339Nano, uploaded); err != nil {
			return err
		}
		if g.Judged, err = time.Parse(time.RFC3339Nano, judged); err != nil {
			return err
		}
		return do(&g)
	}, `SELECT `+judgementColumns+`, v.record, v.number, v.started, v.ended, v.readings, v.site, v.technician, v.upload,
			u.made, g.made, g.cause, g.rules
		FROM judgement j JOIN version v ON v.leaf = j.version JOIN upload u ON u.leaf = v.upload JOIN judging g ON g.leaf = j.judging
		WHERE j.leaf >= $1 AND j.leaf < $2 ORDER BY v.started, v.leaf, j.leaf`, s.After, s.Upto)
}
