package ledger

import (
	"context"
	"database/sql"
	"slices"

	"nilvolt/record"
)

// A KeptRecord is the newest version of a record that has readings, as it is kept.
type KeptRecord struct {
	Version    int64 // its row
	Number     int   // 1 for the first version of the record
	Site       string
	Technician string
	Context    Context // what it was judged by last
	Status     string  // of its newest judgement

	id       string
	evidence []byte
}

// ID returns the id of the record.
func (k *KeptRecord) ID() string { return k.id }

// Record returns the record. It may be called from any goroutine.
func (k *KeptRecord) Record() (*record.Record, error) { return decodeEvidence(k.id, k.evidence) }

// Newest calls do for the newest version with readings of every record that began at
// until (Unix seconds) or before, in the order in which they were kept; with
// instruments only for those that name one of these as indicator or proving source.
// No more than one record is held in memory.
func (l *Ledger) Newest(ctx context.Context, until int64, instruments []string, do func(*KeptRecord) error) error {
	where, args := "", []any{until}
	if len(instruments) > 0 {
		where = ` AND v.leaf IN (SELECT version FROM usage WHERE instrument IN (` + parameters(2, len(instruments)) + `))`
		for _, id := range instruments {
			args = append(args, id)
		}
	}
	return each(ctx, l.db, func(rows *sql.Rows) error {
		k := &KeptRecord{}
		var policy, register, columnMap sql.NullInt64
		err := rows.Scan(&k.Version, &k.id, &k.Number, &k.Site, &k.Technician, &k.evidence, &k.Status, &policy, &register, &columnMap)
		if err != nil {
			return err
		}
		k.Context = Context{policy.Int64, register.Int64, columnMap.Int64}
		return do(k)
	}, `SELECT v.leaf, v.record, v.number, v.site, v.technician, v.evidence, j.status, g.policy, g.register, g.map
		FROM version v JOIN judgement j ON `+newestJudgement+` JOIN judging g ON g.leaf = j.judging
		WHERE v.readings > 0 AND v.started <= $1
			AND NOT EXISTS (SELECT 1 FROM version n WHERE n.record = v.record AND n.number > v.number AND n.readings > 0)`+
		where+` ORDER BY v.leaf`, args...)
}

// CountLater returns how many versions with readings began after a time, Unix seconds.
func (l *Ledger) CountLater(ctx context.Context, after int64) (n int, err error) {
	err = l.db.QueryRowContext(ctx, `SELECT COUNT(*) FROM version WHERE started > $1 AND readings > 0`, after).Scan(&n)
	return n, err
}

// CountProofs returns how many proofs are kept, those of older versions included.
func (l *Ledger) CountProofs(ctx context.Context) (n int, err error) {
	err = l.db.QueryRowContext(ctx, `SELECT COUNT(*) FROM proof`).Scan(&n)
	return n, err
}

// Instruments returns the ids of all indicators and proving sources that a kept reading
// names, as it writes them, sorted.
func (l *Ledger) Instruments(ctx context.Context) ([]string, error) {
	var list []string
	// From one id to the next by the index, since there are few ids and many rows.
	err := each(ctx, l.db, func(rows *sql.Rows) error {
		var id string
		err := rows.Scan(&id)
		list = append(list, id)
		return err
	}, `WITH RECURSIVE ids(id) AS (
			SELECT MIN(instrument) FROM usage
			UNION ALL SELECT (SELECT MIN(u.instrument) FROM usage u WHERE u.instrument > ids.id) FROM ids WHERE ids.id IS NOT NULL
		) SELECT id FROM ids WHERE id IS NOT NULL`)
	slices.Sort(list)
	return list, err
}

// LastReading returns when the last record with readings that began before a time ended,
// and 0 where there is none. Both are Unix seconds.
func (l *Ledger) LastReading(ctx context.Context, before int64) (int64, error) {
	var last sql.NullInt64
	err := l.db.QueryRowContext(ctx, `SELECT MAX(ended) FROM version WHERE readings > 0 AND started < $1 AND started >= (
		SELECT COALESCE(MAX(v.started), 0) FROM version v WHERE v.readings > 0 AND v.started < $1)
		- (SELECT longest FROM ledger WHERE leaf = 0)`, before).Scan(&last)
	return last.Int64, err
}

// RegisterEvents returns what the registers that were handed in said of each instrument,
// the first entry first.
func (l *Ledger) RegisterEvents(ctx context.Context) (map[string][]Event, error) {
	out := map[string][]Event{}
	err := each(ctx, l.db, func(rows *sql.Rows) error {
		e, err := scanEvent(rows)
		out[e.Instrument] = append(out[e.Instrument], e)
		return err
	}, `SELECT `+eventColumns+` FROM event WHERE word <> $1 ORDER BY leaf`, string(SentToStore))
	return out, err
}

// eventColumns are what scanEvent reads.
const eventColumns = `leaf, made, by_whom, instrument, word, detail, cause`

func scanEvent(rows *sql.Rows) (Event, error) {
	var e Event
	var word string
	err := rows.Scan(&e.ID, &e.Made, &e.By, &e.Instrument, &word, &e.Detail, &e.Cause)
	e.Word = EventWord(word)
	return e, err
}
