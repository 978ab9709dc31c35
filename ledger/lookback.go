package ledger

import (
	"context"
	"database/sql"
	"slices"
)

// A LookBack is a look back at the records that rest on an instrument which failed.
// Times are RFC 3339, blank where they are not known.
type LookBack struct {
	ID               int64
	Made             string // RFC 3339, UTC
	By               string
	Instrument       string
	Good             string // the last good proof before the failure
	Earliest, Latest string // the failure began between these two
	Found            string // when it was seen
	Reason           string // what is wrong with the instrument
}

func (b *LookBack) leaf() leaf {
	return newLeaf(kindLookBack).text(b.Made).text(b.By).text(b.Instrument).text(b.Good).text(b.Earliest).text(b.Latest).
		text(b.Found).text(b.Reason)
}

// A Mark is what a look back says of a version: certain or in doubt. It stays; what is
// to be done about it people decide.
type Mark struct {
	ID       int64
	LookBack LookBack
	Version  int64
	Doubt    string
}

// The grades of a mark.
const (
	MarkCertain = "certain"
	MarkInDoubt = "in doubt"
)

func markLeaf(lookBack, version int64, doubt string) leaf {
	return newLeaf(kindMark).int(lookBack).int(version).text(doubt)
}

// Mark keeps a look back with what it says of versions, and returns how many marks were
// added. A version gets none that has this mark for the instrument already, or a worse one.
// Where no mark is left the look back is not kept either.
func (t *Tx) Mark(b LookBack, doubts map[int64]string) (added int, err error) {
	before, err := t.standing(b.Instrument)
	if err != nil {
		return 0, err
	}
	var versions []int64
	for version, doubt := range doubts {
		if was := before[version]; was != doubt && was != MarkCertain {
			versions = append(versions, version)
		}
	}
	if len(versions) == 0 {
		return 0, nil
	}
	slices.Sort(versions)
	b.Made = stamp(t.now)
	if b.ID, err = t.leaf(b.leaf()); err != nil {
		return 0, err
	}
	err = t.exec(`INSERT INTO lookback (leaf, made, by_whom, instrument, good, earliest, latest, found, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		b.ID, b.Made, b.By, b.Instrument, b.Good, b.Earliest, b.Latest, b.Found, b.Reason)
	if err != nil {
		return 0, err
	}
	rows := newInserter(t, "mark", "leaf", "lookback", "version", "doubt")
	for _, version := range versions {
		row, err := t.leaf(markLeaf(b.ID, version, doubts[version]))
		if err != nil {
			return 0, err
		}
		if err := rows.add(row, b.ID, version, doubts[version]); err != nil {
			return 0, err
		}
	}
	return len(versions), rows.flush()
}

// standing returns the marks that count for an instrument, by version.
func (t *Tx) standing(instrument string) (map[int64]string, error) {
	out := map[int64]string{}
	return out, each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var version int64
		var doubt string
		err := rows.Scan(&version, &doubt)
		out[version] = doubt
		return err
	}, `SELECT m.version, m.doubt FROM mark m JOIN lookback b ON b.leaf = m.lookback WHERE b.instrument = $1 ORDER BY m.leaf`,
		instrument)
}

// lookBackColumns are what scanLookBack reads.
const lookBackColumns = `b.leaf, b.made, b.by_whom, b.instrument, b.good, b.earliest, b.latest, b.found, b.reason`

func scanLookBack(rows *sql.Rows, more ...any) (LookBack, error) {
	var b LookBack
	err := rows.Scan(append([]any{&b.ID, &b.Made, &b.By, &b.Instrument, &b.Good, &b.Earliest, &b.Latest, &b.Found, &b.Reason}, more...)...)
	return b, err
}

// addMarks gives versions the marks that count: the newest for each instrument.
func addMarks(ctx context.Context, q querier, byVersion map[int64]*Item, in string, versions []any) error {
	return each(ctx, q, func(rows *sql.Rows) error {
		var m Mark
		var err error
		if m.LookBack, err = scanLookBack(rows, &m.ID, &m.Version, &m.Doubt); err != nil {
			return err
		}
		i := byVersion[m.Version]
		i.Marks = slices.DeleteFunc(i.Marks, func(old Mark) bool { return old.LookBack.Instrument == m.LookBack.Instrument })
		i.Marks = append(i.Marks, m)
		return nil
	}, `SELECT `+lookBackColumns+`, m.leaf, m.version, m.doubt FROM mark m JOIN lookback b ON b.leaf = m.lookback
		WHERE m.version IN (`+in+`) ORDER BY m.leaf`, versions...)
}

// LookBacks returns all looks back, the first one first.
func (l *Ledger) LookBacks(ctx context.Context) ([]LookBack, error) {
	var list []LookBack
	err := each(ctx, l.db, func(rows *sql.Rows) error {
		b, err := scanLookBack(rows)
		list = append(list, b)
		return err
	}, `SELECT `+lookBackColumns+` FROM lookback b ORDER BY b.leaf`)
	return list, err
}
