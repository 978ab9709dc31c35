package ledger

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

// mostComplaints is how many complaints an audit lists.
const mostComplaints = 100

// A Report is what an audit found.
type Report struct {
	Origin      string
	Leaves      int64 // of the log, as the newest checkpoint says
	Checkpoint  string
	Rows        map[string]int64 // how many rows of each table were checked
	Bytes       int64            // of files, unpacked
	Complaints  []string         // what was changed, removed or inserted; the first 100
	Total       int              // of all complaints
	ClockedBack []string         // where the clock stood earlier than before: no fault of the ledger
}

// Clean reports whether nothing was found wrong.
func (r *Report) Clean() bool { return r.Total == 0 }

func (r *Report) complain(format string, args ...any) {
	r.Total++
	if len(r.Complaints) < mostComplaints {
		r.Complaints = append(r.Complaints, fmt.Sprintf(format, args...))
	}
}

// An AuditOptions says what an audit holds the ledger against beside itself.
type AuditOptions struct {
	// VerifierKey is the public key as it was noted elsewhere; blank takes the
	// ledger's own word for it.
	VerifierKey string
	// Earlier are signed checkpoints that were kept elsewhere. The ledger must
	// extend them.
	Earlier []string
	// Progress is told the share of the leaves that are checked; may be nil.
	Progress func(done, total int64)
}

// Audit checks every kept byte against the log, and the log against its signed
// checkpoints. What it finds wrong stands in the report; an error means that the
// ledger could not be read.
func (l *Ledger) Audit(ctx context.Context, o AuditOptions) (*Report, error) {
	tx, err := l.snapshot(ctx)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	a := &audit{ctx: ctx, tx: tx, options: o, report: &Report{Origin: l.origin, Rows: map[string]int64{}}}
	if err := l.checkFile(ctx, tx, a.report); err != nil {
		return nil, err
	}
	if err := a.run(l); err != nil {
		return nil, err
	}
	return a.report, nil
}

// checkFile has SQLite check its own file: damage in an index, say, that no query
// below would meet.
func (l *Ledger) checkFile(ctx context.Context, q querier, r *Report) error {
	if l.dialect.driver != sqliteDialect.driver {
		return nil
	}
	return each(ctx, q, func(rows *sql.Rows) error {
		var text string
		err := rows.Scan(&text)
		if err == nil && text != "ok" {
			r.complain("the database file is damaged: %s", text)
		}
		return err
	}, `PRAGMA integrity_check(20)`)
}

// An audit is an audit under way.
type audit struct {
	ctx     context.Context
	tx      *sql.Tx
	options AuditOptions
	report  *Report

	leaves int64
	hashes []tlog.Hash // of the leaves, as the rows give them
	seen   []bool      // rows that give a leaf
	tree   *tree       // as the tiles have it
	trust  bool        // the tiles have the signed root

	encoder encoder
}

func (a *audit) run(l *Ledger) error {
	err := a.tx.QueryRowContext(a.ctx, `SELECT leaves FROM ledger WHERE leaf = 0`).Scan(&a.leaves)
	if errors.Is(err, sql.ErrNoRows) {
		a.report.complain("the row that says what the ledger is was removed")
		return nil
	}
	if err != nil {
		return err
	}
	signed, verifier, err := a.newestCheckpoint(l)
	if err != nil || signed.Leaves == 0 {
		return err
	}
	a.report.Leaves = signed.Leaves
	if a.leaves != signed.Leaves {
		a.report.complain("the ledger says that the log has %d leaves, its newest checkpoint %d", a.leaves, signed.Leaves)
		a.leaves = signed.Leaves
	}
	a.hashes, a.seen = make([]tlog.Hash, a.leaves), make([]bool, a.leaves)
	if err := a.loadTiles(); err != nil {
		return err
	}
	if a.trust, err = a.tilesHave(signed.Root); err != nil {
		return err
	}
	for _, check := range []func() error{
		a.self, a.contents, a.uploads, a.versions, a.judgings, a.judgements, a.decisions, a.events, a.lookBacks, a.marks,
	} {
		if err := check(); err != nil {
			return err
		}
	}
	if err := a.compare(signed); err != nil {
		return err
	}
	return a.checkpoints(verifier)
}

// newestCheckpoint opens the newest checkpoint; its Leaves are 0 if that fails,
// which is then complained of.
func (a *audit) newestCheckpoint(l *Ledger) (Checkpoint, string, error) {
	verifier := l.verifier
	if a.options.VerifierKey != "" && a.options.VerifierKey != verifier {
		a.report.complain("the ledger's public key is %s, and not the %s that was noted elsewhere", verifier, a.options.VerifierKey)
		verifier = a.options.VerifierKey
	}
	err := a.tx.QueryRowContext(a.ctx, `SELECT note FROM checkpoint ORDER BY leaves DESC LIMIT 1`).Scan(&a.report.Checkpoint)
	if errors.Is(err, sql.ErrNoRows) {
		a.report.complain("all signed checkpoints were removed")
		return Checkpoint{}, "", nil
	}
	if err != nil {
		return Checkpoint{}, "", err
	}
	signed, err := OpenCheckpoint(a.report.Checkpoint, verifier)
	if err != nil {
		a.report.complain("the newest checkpoint was changed: %v", err)
		return Checkpoint{}, "", nil
	}
	return signed, verifier, nil
}

// check takes up the leaf of a row; name is what people call it.
func (a *audit) check(table string, row int64, name string, l leaf) {
	a.report.Rows[table]++
	if a.options.Progress != nil && row%1024 == 0 {
		a.options.Progress(row, a.leaves)
	}
	if row < 0 || row >= a.leaves || a.seen[row] {
		a.report.complain("%s was inserted: the log has no place for it (row %d)", name, row)
		return
	}
	a.seen[row] = true
	a.hashes[row] = tlog.RecordHash(l)
	if !a.trust {
		return
	}
	if a.tree.tiles[tile{0, row / tileWidth}][row%tileWidth] != a.hashes[row] {
		a.report.complain("%s was changed (row %d of the log)", name, row)
	}
}

// compare holds the leaves against the signed root.
func (a *audit) compare(signed Checkpoint) error {
	missing := false
	for row, seen := range a.seen {
		if seen {
			continue
		}
		missing = true
		where, err := a.place(int64(row))
		if err != nil {
			return err
		}
		a.report.complain("an entry was removed%s (row %d of the log)", where, row)
	}
	rebuilt, root, err := rebuild(a.hashes)
	if err != nil {
		return err
	}
	if root != signed.Root && !missing && a.report.Total == 0 {
		a.report.complain("the log does not have the root that was signed: rows and hashes were changed together")
	}
	a.compareTiles(rebuilt, root == signed.Root)
	return nil
}

// loadTiles reads all hashes of the log.
func (a *audit) loadTiles() error {
	a.tree = newTree(a.leaves, func(tile) ([]tlog.Hash, error) { return nil, errTileGone })
	return each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var id tile
		var data []byte
		if err := rows.Scan(&id.level, &id.number, &data); err != nil {
			return err
		}
		a.report.Rows["tile"]++
		if len(data)%tlog.HashSize != 0 {
			a.report.complain("%s were changed: they are cut short", id)
		}
		a.tree.tiles[id] = parseHashes(data)
		return nil
	}, `SELECT level, number, hashes FROM tile ORDER BY level, number`)
}

var errTileGone = errors.New("no such tile")

// compareTiles holds the kept hashes against those that the rows give.
func (a *audit) compareTiles(rebuilt *tree, rowsAreRight bool) {
	for id, hashes := range a.tree.tiles {
		want, known := rebuilt.tiles[id]
		switch {
		case !known:
			a.report.complain("%s were inserted", id)
		case rowsAreRight && !slices.Equal(hashes, want):
			a.report.complain("%s were changed: they are not those of what is kept", id)
		}
	}
	for id := range rebuilt.tiles {
		if _, kept := a.tree.tiles[id]; !kept {
			a.report.complain("%s were removed", id)
		}
	}
}

// tilesHave reports whether the hashes of leaves, as the tiles have them, give the
// root. If so, a row with another hash was changed; if not, the tiles themselves
// may be what was changed.
func (a *audit) tilesHave(root tlog.Hash) (bool, error) {
	var leaves []tlog.Hash
	for n := int64(0); n*tileWidth < a.leaves; n++ {
		hashes := a.tree.tiles[tile{0, n}]
		if int64(len(hashes)) < min(tileWidth, a.leaves-n*tileWidth) {
			return false, nil
		}
		leaves = append(leaves, hashes...)
	}
	_, got, err := rebuild(leaves[:a.leaves])
	return got == root, err
}

// rebuild returns the tree over leaves, and its root.
func rebuild(leaves []tlog.Hash) (*tree, tlog.Hash, error) {
	t := newTree(0, nil)
	for _, h := range leaves {
		if _, err := t.add(h); err != nil {
			return nil, tlog.Hash{}, err
		}
	}
	root, err := t.root(t.leaves)
	return t, root, err
}

// place says in which upload a row that is gone had its place.
func (a *audit) place(row int64) (string, error) {
	var upload int64
	var made string
	err := a.tx.QueryRowContext(a.ctx, `SELECT COUNT(*), COALESCE(MAX(made), '') FROM upload WHERE leaf <= $1`, row).Scan(&upload, &made)
	if err == nil && upload == 0 {
		return ", before the first upload that is there", nil
	}
	return fmt.Sprintf(": it was written with upload %d of %s or after it", upload, made), err
}

// checkpoints holds every checkpoint, those that were kept elsewhere included,
// against the log.
func (a *audit) checkpoints(verifier string) error {
	check := func(name, signed string) {
		c, err := OpenCheckpoint(signed, verifier)
		if err != nil {
			a.report.complain("%s was changed: %v", name, err)
			return
		}
		if c.Leaves > a.leaves {
			a.report.complain("%s is over %d leaves and the log has %d: what came last was removed", name, c.Leaves, a.leaves)
			return
		}
		root, err := a.tree.root(c.Leaves)
		if err != nil || root != c.Root {
			a.report.complain("%s does not fit: the first %d leaves of the log were changed after it was signed", name, c.Leaves)
		}
	}
	var last time.Time
	err := each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var leaves int64
		var made, signed string
		if err := rows.Scan(&leaves, &made, &signed); err != nil {
			return err
		}
		a.report.Rows["checkpoint"]++
		check(fmt.Sprintf("checkpoint %d", leaves), signed)
		if c, err := OpenCheckpoint(signed, verifier); err == nil && c.Leaves != leaves {
			a.report.complain("checkpoint %d was changed: it is over %d leaves", leaves, c.Leaves)
		}
		at, err := time.Parse(time.RFC3339Nano, made)
		if err != nil {
			a.report.complain("checkpoint %d was changed: its time is %q", leaves, made)
		} else if at.Before(last) {
			a.report.ClockedBack = append(a.report.ClockedBack, fmt.Sprintf("%s follows %s", made, stamp(last)))
		}
		last = at
		return nil
	}, `SELECT leaves, made, note FROM checkpoint ORDER BY leaves`)
	for i, signed := range a.options.Earlier {
		check(fmt.Sprintf("checkpoint %d of those kept elsewhere", i+1), signed)
	}
	return err
}

// contents checks the files: their hash, and that of the parts as they are kept.
func (a *audit) contents() error {
	type row struct {
		leaf, size, parts int64
		sum, packed       []byte
	}
	var list []row
	err := each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var r row
		err := rows.Scan(&r.leaf, &r.sum, &r.size, &r.packed, &r.parts)
		list = append(list, r)
		return err
	}, `SELECT leaf, sha256, size, packed, parts FROM content ORDER BY leaf`)
	if err != nil {
		return err
	}
	for _, r := range list {
		a.check("content", r.leaf, fmt.Sprintf("the file with SHA-256 %x", r.sum), contentLeaf(r.sum, r.packed, r.size, r.parts))
		if err := a.parts(r.leaf, r.size, r.parts, r.sum, r.packed); err != nil {
			return err
		}
	}
	return a.orphans("content_part", "content", "content", "parts of files that belong to no file")
}

// parts checks the parts of one file.
func (a *audit) parts(row, size, parts int64, sum, packed []byte) error {
	whole := sha256.New()
	count := int64(0)
	err := each(a.ctx, a.tx, func(rows *sql.Rows) error {
		var data []byte
		var part int64
		if err := rows.Scan(&part, &data); err != nil {
			return err
		}
		if part != count {
			a.report.complain("part %d of the file with SHA-256 %x has the number %d", count, sum, part)
		}
		count++
		a.report.Rows["content_part"]++
		whole.Write(data)
		return nil
	}, `SELECT part, packed FROM content_part WHERE content = $1 ORDER BY part`, row)
	if err != nil {
		return err
	}
	if count != parts || !slices.Equal(whole.Sum(nil), packed) {
		a.report.complain("the kept bytes of the file with SHA-256 %x were changed or removed", sum)
		return nil
	}
	hash := sha256.New()
	got, err := unpack(a.ctx, a.tx, row, io.Writer(hash))
	if err != nil || got != size || !slices.Equal(hash.Sum(nil), sum) {
		a.report.complain("the file with SHA-256 %x has another: it was changed", sum)
	}
	a.report.Bytes += got
	return a.ctx.Err()
}

// orphans complains of rows that belong to no row of another table; words are what
// people call them.
func (a *audit) orphans(table, column, parent, words string) error {
	var count int64
	// NOT IN is quadratic on PostgreSQL once the parents outgrow its memory for a hash.
	err := a.tx.QueryRowContext(a.ctx,
		`SELECT COUNT(*) FROM `+table+` c WHERE NOT EXISTS (SELECT 1 FROM `+parent+` p WHERE p.leaf = c.`+column+`)`).Scan(&count)
	if err == nil && count > 0 {
		a.report.complain("%s: %d were inserted", words, count)
	}
	return err
}
