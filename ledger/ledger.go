package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

// Options say how a ledger is opened.
type Options struct {
	// Create makes a ledger where there is none.
	Create bool
	// KeyFile is the path of the file with the private key, which is needed to
	// write, and made together with a new ledger. Blank is the path of the ledger
	// with ".key" behind it; for a database by URL there is no such default.
	KeyFile string
	// Now is the clock, and Random the source of a new key. Both must be set.
	Now    func() time.Time
	Random io.Reader
	// Waiting is called once when another process keeps a write waiting for more than a
	// moment; may be nil.
	Waiting func()
}

// A Ledger is an open ledger. It may be used by several goroutines, and by several
// processes at once.
type Ledger struct {
	db       *sql.DB
	dialect  dialect
	options  Options
	origin   string
	verifier string // the public key
}

// ErrNoLedger says that a database exists and holds no ledger.
var ErrNoLedger = errors.New("no ledger: nothing was ingested into it yet")

// ErrNoFolder says that the folder for a new ledger is not there.
var ErrNoFolder = errors.New("its folder is not there")

// Errors of key files.
var (
	ErrOtherKey   = errors.New("the key of another ledger")
	ErrNotKeyFile = errors.New("not a key file")
)

// ErrNoKey says that a ledger is written to and no key file is named.
var ErrNoKey = errors.New("the ledger's key file is not named")

// Open opens the ledger at where, a path or a postgres:// URL. A ledger of an older
// schema is upgraded; a newer one is a *NewerError. Without Options.Create a path
// where there is nothing is an fs.ErrNotExist, and a database without a ledger is
// ErrNoLedger. The caller must call [Ledger.Close].
func Open(ctx context.Context, where string, o Options) (*Ledger, error) {
	if o.KeyFile == "" && !IsURL(where) {
		o.KeyFile = where + ".key"
	}
	db, d, err := openDatabase(where, o.Create)
	if err != nil {
		return nil, err
	}
	l := &Ledger{db: db, dialect: d, options: o}
	if err := l.open(ctx); err != nil {
		db.Close()
		if !IsURL(where) && !errors.Is(err, fs.ErrNotExist) {
			err = fmt.Errorf("%s: %w", where, err)
		}
		return nil, err
	}
	return l, nil
}

func (l *Ledger) open(ctx context.Context) error {
	all, err := l.dialect.migrations()
	if err != nil {
		return err
	}
	version, err := schemaVersion(ctx, l.db, l.dialect)
	switch {
	case err != nil:
		return err
	case version > len(all):
		return &NewerError{version, len(all)}
	case version == 0 && !l.options.Create:
		return ErrNoLedger
	case version < len(all):
		if err := l.migrate(ctx, all); err != nil {
			return err
		}
	}
	err = l.readSelf(ctx, l.db)
	if errors.Is(err, sql.ErrNoRows) && l.options.Create {
		err = l.found(ctx)
	}
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNoLedger
	}
	return err
}

func (l *Ledger) migrate(ctx context.Context, all [][]string) error {
	tx, err := begin(ctx, l.db)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if err := upgrade(ctx, tx, l.dialect, all, l.options.Now()); err != nil {
		return err
	}
	return tx.Commit()
}

// readSelf reads what the ledger says of itself.
func (l *Ledger) readSelf(ctx context.Context, q querier) error {
	return q.QueryRowContext(ctx, `SELECT origin, verifier FROM ledger WHERE leaf = 0`).Scan(&l.origin, &l.verifier)
}

// found writes the first leaf of a new ledger, unless another process was faster.
func (l *Ledger) found(ctx context.Context) error {
	if l.options.KeyFile == "" {
		return ErrNoKey
	}
	k, err := makeKey(l.options.KeyFile, l.options.Random)
	if err != nil {
		return err
	}
	sqlTx, err := begin(ctx, l.db)
	if err != nil {
		return err
	}
	defer sqlTx.Rollback()
	if l.dialect.lockSchema != "" {
		if _, err := sqlTx.ExecContext(ctx, l.dialect.lockSchema); err != nil {
			return err
		}
	}
	if err := l.readSelf(ctx, sqlTx); !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	t := &Tx{ctx: ctx, tx: sqlTx, dialect: l.dialect, ledger: l, key: k, now: l.options.Now(), tree: newTree(0, nil)}
	l.origin, l.verifier = k.signer.Name(), k.verifier
	made := stamp(t.now)
	if _, err := t.leaf(ledgerLeaf(l.origin, l.verifier, made)); err != nil {
		return err
	}
	err = t.exec(`INSERT INTO ledger (leaf, origin, verifier, made, leaves, longest) VALUES (0, $1, $2, $3, 1, 0)`,
		l.origin, l.verifier, made)
	if err != nil {
		return err
	}
	return t.commit()
}

func ledgerLeaf(origin, verifier, made string) leaf {
	return newLeaf(kindLedger).text(origin).text(verifier).text(made)
}

// Close closes the ledger.
func (l *Ledger) Close() error { return l.db.Close() }

// Origin returns the name of the ledger in its checkpoints.
func (l *Ledger) Origin() string { return l.origin }

// VerifierKey returns the public key of the ledger as it says itself. Who keeps a
// copy elsewhere can tell when somebody has put another in its place.
func (l *Ledger) VerifierKey() string { return l.verifier }

// A Tx is a transaction that writes. It serves one goroutine.
type Tx struct {
	ctx     context.Context
	tx      *sql.Tx
	dialect dialect
	ledger  *Ledger
	key     *key
	now     time.Time
	tree    *tree
	began   int64 // how many leaves the tree had before
	longest int64 // seconds that the longest version lasts
	// Versions from this row on have no judgement yet.
	unjudged int64
	failed   error // of the first write that failed; none is tried after it
}

// exec writes. After SQLite has failed to write, for want of room say, it may have
// ended the transaction by itself, and what is written then stands alone. So the
// first failure is the last.
func (t *Tx) exec(query string, args ...any) error {
	if t.failed == nil {
		_, t.failed = t.tx.ExecContext(t.ctx, query, args...)
	}
	return t.failed
}

// Update calls do with the ledger locked against other writers, adds what it wrote
// to the log, signs the new checkpoint, and commits. After an error of do, or any
// other, the ledger is as it was.
func (l *Ledger) Update(ctx context.Context, do func(*Tx) error) error {
	k, err := l.openKey()
	if err != nil {
		return err
	}
	waits := time.AfterFunc(2*time.Second, func() {
		if l.options.Waiting != nil {
			l.options.Waiting()
		}
	})
	defer waits.Stop()
	sqlTx, err := begin(ctx, l.db)
	if err != nil {
		return err
	}
	defer sqlTx.Rollback()
	// The first write takes the lock: the whole file of SQLite, the row of
	// PostgreSQL. What is read afterwards no other writer can change.
	if _, err := sqlTx.ExecContext(ctx, `UPDATE ledger SET leaves = leaves WHERE leaf = 0`); err != nil {
		return err
	}
	waits.Stop()
	t := &Tx{ctx: ctx, tx: sqlTx, dialect: l.dialect, ledger: l, key: k, now: l.options.Now(), unjudged: math.MaxInt64}
	var leaves int64
	if err := sqlTx.QueryRowContext(ctx, `SELECT leaves, longest FROM ledger WHERE leaf = 0`).Scan(&leaves, &t.longest); err != nil {
		return err
	}
	t.tree, t.began = newTree(leaves, tileLoader(ctx, sqlTx)), leaves
	if err := do(t); err != nil {
		return err
	}
	if t.failed != nil {
		return t.failed
	}
	if t.tree.leaves == leaves {
		return nil // nothing was written
	}
	return t.commit()
}

// openKey reads the key file and sees that it is this ledger's.
func (l *Ledger) openKey() (*key, error) {
	if l.options.KeyFile == "" {
		return nil, ErrNoKey
	}
	k, err := readKey(l.options.KeyFile)
	if err != nil {
		return nil, err
	}
	if k.verifier != l.verifier {
		return nil, fmt.Errorf("%s: %w, %s; this one is %s", l.options.KeyFile, ErrOtherKey, k.signer.Name(), l.origin)
	}
	return k, nil
}

// leaf appends a leaf to the tree and returns its place.
func (t *Tx) leaf(l leaf) (int64, error) { return t.tree.add(tlog.RecordHash(l)) }

// manyLeaves are so many that what PostgreSQL believes of the tables is far from true
// when they were added. It finds out by itself, but only a minute later, and until then
// looks up a few rows by reading all.
const manyLeaves = 5000

// commit writes the new hashes and the checkpoint over them, and commits.
func (t *Tx) commit() error {
	if t.tree.leaves-t.began > manyLeaves && t.dialect.analyze != "" {
		if err := t.exec(t.dialect.analyze); err != nil {
			return err
		}
	}
	if err := t.writeTiles(); err != nil {
		return err
	}
	root, err := t.tree.root(t.tree.leaves)
	if err != nil {
		return err
	}
	signed, err := Checkpoint{t.ledger.origin, t.tree.leaves, root}.sign(t.key.signer)
	if err != nil {
		return err
	}
	err = t.exec(`INSERT INTO checkpoint (leaves, made, note) VALUES ($1, $2, $3)`, t.tree.leaves, stamp(t.now), signed)
	if err != nil {
		return err
	}
	err = t.exec(`UPDATE ledger SET leaves = $1, longest = $2 WHERE leaf = 0`, t.tree.leaves, t.longest)
	if err != nil {
		return err
	}
	return t.tx.Commit()
}
