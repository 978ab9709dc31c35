package ledger

import (
	"cmp"
	"context"
	"database/sql"
	"maps"
	"slices"
	"strings"

	"nilvolt/record"
)

// The rules across records need more than the records that came in: a proof that
// fails throws doubt on records of the same indicator that lie around it, kept or
// new, and readings may repeat those of a record kept years ago. Nothing here
// compares all pairs: records of one indicator are found by its times, copies by
// their key, both through an index.

// note notes when a new version used its indicators.
func (u *Upload) note(d *derived) {
	if u.earliest == 0 && u.latest == 0 {
		u.earliest, u.latest = d.started, d.ended
	}
	u.earliest, u.latest = min(u.earliest, d.started), max(u.latest, d.ended)
	for _, s := range d.usage {
		if s.role == roleIndicator {
			u.spans.add(s.instrument, s.started, s.ended)
		}
	}
}

// Margins are how far before and behind a record's own time a proof of another
// record may still matter to it, in seconds.
type Margins struct{ Before, After int64 }

// Neighbours returns the versions kept before this upload that have to do with its
// new ones: they used the same indicator within the margins of them, or their
// readings are the same. Those of repeated readings are there once for each key: a
// record that is known as a copy needs no second one to be so.
func (u *Upload) Neighbours(m Margins) ([]int64, error) {
	if u.tx.tree.leaves == u.first {
		return nil, nil // nothing is new
	}
	found := map[int64]bool{}
	u.spans.widen(m.Before, m.After)
	if err := u.tx.overlapping(u.spans, u.first, found); err != nil {
		return nil, err
	}
	if err := u.copied(found); err != nil {
		return nil, err
	}
	return slices.Sorted(maps.Keys(found)), nil
}

// Earlier reports whether the ledger holds any version from before this upload.
func (u *Upload) Earlier() bool { return u.earlier }

// overlapping adds to found the versions below a row that used an indicator within
// its spans.
func (t *Tx) overlapping(s spans, below int64, found map[int64]bool) error {
	for _, id := range slices.Sorted(maps.Keys(s)) {
		list := s[id]
		from, to := list[0].from, list[len(list)-1].to
		err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
			var version, started, ended int64
			if err := rows.Scan(&version, &started, &ended); err != nil {
				return err
			}
			if s.touches(id, started, ended) {
				found[version] = true
			}
			return nil
		}, `SELECT version, started, ended FROM usage
			WHERE instrument = $1 AND role = $2 AND started BETWEEN $3 AND $4 AND ended >= $5 AND version < $6`,
			id, roleIndicator, from-t.longest, to, from, below)
		if err != nil {
			return err
		}
	}
	return nil
}

// copied adds to found the first kept version of each key that a new version has.
func (u *Upload) copied(found map[int64]bool) error {
	return each(u.tx.ctx, u.tx.tx, func(rows *sql.Rows) error {
		var version int64
		if err := rows.Scan(&version); err != nil {
			return err
		}
		found[version] = true
		return nil
	}, `WITH keys AS (SELECT DISTINCT copy_key AS k FROM version WHERE leaf >= $1 AND copy_key IS NOT NULL),
		firsts AS (SELECT (SELECT MIN(leaf) FROM version WHERE copy_key = k) AS one FROM keys)
		SELECT one FROM firsts WHERE one < $1`, u.first)
}

// Around returns all versions, new ones included, that have to do with the given
// ones, themselves included.
func (t *Tx) Around(versions []int64, m Margins) ([]int64, error) {
	found := map[int64]bool{}
	s := spans{}
	for chunk := range slices.Chunk(versions, mostInList) {
		args := make([]any, len(chunk))
		for i, v := range chunk {
			args[i], found[v] = v, true
		}
		in := parameters(1, len(args))
		err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
			var instrument, role string
			var from, to int64
			if err := rows.Scan(&instrument, &role, &from, &to); err != nil {
				return err
			}
			if role == roleIndicator {
				s.add(instrument, from, to)
			}
			return nil
		}, `SELECT instrument, role, started, ended FROM usage WHERE version IN (`+in+`)`, args...)
		if err != nil {
			return nil, err
		}
		if err := t.copies(in, args, found); err != nil {
			return nil, err
		}
	}
	s.widen(m.Before, m.After)
	if err := t.overlapping(s, t.tree.leaves, found); err != nil {
		return nil, err
	}
	return slices.Sorted(maps.Keys(found)), nil
}

// copies adds to found, of each key that the versions listed have, the first version
// and the first of another record: two are enough to name one to any third.
func (t *Tx) copies(in string, args []any, found map[int64]bool) error {
	return each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var one int64
		var other sql.NullInt64
		if err := rows.Scan(&one, &other); err != nil {
			return err
		}
		found[one] = true
		if other.Valid {
			found[other.Int64] = true
		}
		return nil
	}, `WITH keys AS (SELECT DISTINCT copy_key AS k FROM version WHERE leaf IN (`+in+`) AND copy_key IS NOT NULL),
		firsts AS (SELECT k, (SELECT MIN(leaf) FROM version WHERE copy_key = k) AS one FROM keys)
		SELECT one, (SELECT v.leaf FROM version v WHERE v.copy_key = k
			AND v.record <> (SELECT w.record FROM version w WHERE w.leaf = one) ORDER BY v.leaf LIMIT 1)
		FROM firsts`, args...)
}

// Contexts returns the versions by what they were judged by last.
func (t *Tx) Contexts(versions []int64) (map[Context][]int64, error) {
	out := map[Context][]int64{}
	for chunk := range slices.Chunk(versions, mostInList) {
		args := make([]any, len(chunk))
		for i, v := range chunk {
			args[i] = v
		}
		err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
			var version int64
			var policy, register, columnMap sql.NullInt64
			if err := rows.Scan(&version, &policy, &register, &columnMap); err != nil {
				return err
			}
			c := Context{policy.Int64, register.Int64, columnMap.Int64}
			out[c] = append(out[c], version)
			return nil
		}, `SELECT v.leaf, g.policy, g.register, g.map FROM version v
			JOIN judgement j ON `+newestJudgement+` JOIN judging g ON g.leaf = j.judging
			WHERE v.leaf IN (`+parameters(1, len(args))+`) ORDER BY v.leaf`, args...)
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Records calls do with the records of versions, in the order given.
func (t *Tx) Records(versions []int64, do func(version int64, rec *record.Record) error) error {
	for chunk := range slices.Chunk(versions, mostInList) {
		args := make([]any, len(chunk))
		order := map[int64]int{}
		for i, v := range chunk {
			args[i], order[v] = v, i
		}
		records := make([]*record.Record, len(chunk))
		err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
			var version int64
			var id string
			var evidence []byte
			if err := rows.Scan(&version, &id, &evidence); err != nil {
				return err
			}
			rec, err := decodeEvidence(id, evidence)
			records[order[version]] = rec
			return err
		}, `SELECT leaf, record, evidence FROM version WHERE leaf IN (`+parameters(1, len(args))+`)`, args...)
		if err != nil {
			return err
		}
		for i, rec := range records {
			if rec == nil {
				continue
			}
			if err := do(chunk[i], rec); err != nil {
				return err
			}
		}
	}
	return nil
}

// Versions returns the rows of all kept versions, in order.
func (t *Tx) Versions() ([]int64, error) {
	var list []int64
	err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var v int64
		err := rows.Scan(&v)
		list = append(list, v)
		return err
	}, `SELECT leaf FROM version ORDER BY leaf`)
	return list, err
}

// An Overlap is two records of different sites that were made at the same time by
// one technician or with one indicator.
type Overlap struct {
	Who             string // technician or instrument
	Instrument      bool
	Record, Other   string
	Site, Elsewhere string
	Started         int64 // when the later of the two began, Unix seconds
}

// A stay is somebody's or something's time at a site.
type stay struct {
	who, record, site string
	started, ended    int64
}

// Overlaps returns the overlaps in which one of the upload's new versions takes
// part, each record with one other at most.
func (u *Upload) Overlaps() ([]Overlap, error) {
	if u.tx.tree.leaves == u.first {
		return nil, nil
	}
	return overlaps(u.tx.ctx, u.tx.tx, u.earliest-u.tx.longest, u.latest, u.first)
}

// Overlaps returns the overlaps of records that began between two times.
func (l *Ledger) Overlaps(ctx context.Context, from, to int64) ([]Overlap, error) {
	var longest int64
	if err := l.db.QueryRowContext(ctx, `SELECT longest FROM ledger WHERE leaf = 0`).Scan(&longest); err != nil {
		return nil, err
	}
	list, err := overlaps(ctx, l.db, from-longest, to, 0)
	return slices.DeleteFunc(list, func(o Overlap) bool { return o.Started < from }), err
}

// overlaps goes once through the stays of each technician and instrument in the
// order of time. Only overlaps with a version from row first on count.
func overlaps(ctx context.Context, q querier, from, to, first int64) ([]Overlap, error) {
	// What was only planned was nowhere.
	technicians := `SELECT technician, record, site, started, ended, leaf FROM version
		WHERE started BETWEEN $1 AND $2 AND technician <> '' AND site <> '' AND readings > 0 ORDER BY technician, started, leaf`
	// A proving unit stands in one place and serves all who come by.
	instruments := `SELECT s.instrument, v.record, v.site, s.started, s.ended, v.leaf FROM usage s JOIN version v ON v.leaf = s.version
		WHERE s.started BETWEEN $1 AND $2 AND s.role = 'indicator' AND v.site <> '' ORDER BY s.instrument, s.started, v.leaf`
	var out []Overlap
	for _, query := range []string{technicians, instruments} {
		w := sweep{instrument: query == instruments}
		err := each(ctx, q, func(rows *sql.Rows) error {
			var s stay
			var row int64
			if err := rows.Scan(&s.who, &s.record, &s.site, &s.started, &s.ended, &row); err != nil {
				return err
			}
			w.add(s, row >= first)
			return nil
		}, query, from, to)
		if err != nil {
			return nil, err
		}
		out = append(out, w.found...)
	}
	slices.SortStableFunc(out, func(a, b Overlap) int {
		return cmp.Or(cmp.Compare(a.Started, b.Started), strings.Compare(a.Record, b.Record))
	})
	return out, nil
}

// A sweep takes stays ordered by who and time. Of the sites where somebody is still
// staying it remembers the two from which they leave last, of new versions and of
// all: whoever comes to a third site overlaps with one of these, if with any.
type sweep struct {
	instrument bool
	found      []Overlap
	latest     [2][2]stay // of all versions, of new ones; the one that ends last first
}

func (w *sweep) add(s stay, isNew bool) {
	if w.latest[0][0].who != s.who {
		w.latest = [2][2]stay{}
	}
	against := w.latest[0]
	if !isNew {
		against = w.latest[1]
	}
	for _, other := range against {
		if other.who == s.who && other.site != s.site && other.ended >= s.started && other.record != s.record {
			w.found = append(w.found, Overlap{
				Who: s.who, Instrument: w.instrument, Record: s.record, Other: other.record,
				Site: s.site, Elsewhere: other.site, Started: s.started,
			})
			break
		}
	}
	w.latest[0] = remember(w.latest[0], s)
	if isNew {
		w.latest[1] = remember(w.latest[1], s)
	}
}

// remember returns the two stays at different sites that end last.
func remember(two [2]stay, s stay) [2]stay {
	switch {
	case two[0].who == "":
		two[0] = s
	case two[0].site == s.site:
		if s.ended > two[0].ended {
			two[0] = s
		}
	case s.ended > two[0].ended:
		two[0], two[1] = s, two[0]
	case two[1].who == "" || s.ended > two[1].ended:
		two[1] = s
	}
	return two
}
