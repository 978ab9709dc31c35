package ledger

import (
	"bytes"
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// A dialect is what SQLite and PostgreSQL do not have in common.
type dialect struct {
	driver string
	// hasSchema counts the tables called schema_version.
	hasSchema string
	// lockSchema keeps others from making or upgrading the schema at the same time;
	// blank where every transaction does so.
	lockSchema string
	// analyze tells the planner of queries how many rows the tables have by now; blank
	// where it does without.
	analyze string
}

var (
	sqliteDialect = dialect{
		driver:    "sqlite",
		hasSchema: `SELECT COUNT(*) FROM sqlite_master WHERE type = 'table' AND name = 'schema_version'`,
	}
	postgresDialect = dialect{
		driver:     "pgx",
		hasSchema:  `SELECT COUNT(*) FROM pg_tables WHERE schemaname = current_schema() AND tablename = 'schema_version'`,
		lockSchema: `SELECT pg_advisory_xact_lock(7453911042)`, // any number, the same for all
		analyze:    `ANALYZE version, usage, proof, judgement`,
	}
)

// IsURL reports whether where is the URL of a PostgreSQL database, not a path.
func IsURL(where string) bool {
	return strings.HasPrefix(where, "postgres://") || strings.HasPrefix(where, "postgresql://")
}

// openDatabase opens the database at where. A file that does not exist is an
// fs.ErrNotExist, unless it may be made.
func openDatabase(where string, create bool) (*sql.DB, dialect, error) {
	if IsURL(where) {
		db, err := sql.Open(postgresDialect.driver, where)
		return db, postgresDialect, err
	}
	mode := "rw"
	info, err := os.Stat(where)
	switch {
	case err == nil && info.IsDir():
		return nil, sqliteDialect, fmt.Errorf("%s: a folder; name a file in it", where)
	case err == nil && info.Size() == 0 && !create: // opening it would write into it
		return nil, sqliteDialect, fmt.Errorf("%s: %w", where, ErrNoLedger)
	case errors.Is(err, fs.ErrNotExist) && create:
		mode = "rwc"
		if _, err := os.Stat(filepath.Dir(where)); errors.Is(err, fs.ErrNotExist) {
			return nil, sqliteDialect, fmt.Errorf("%s: %w", where, ErrNoFolder)
		}
	case err != nil:
		return nil, sqliteDialect, err
	}
	pragmas := []string{
		"busy_timeout(250)", // for longer waits see begin
		"synchronous(FULL)", // a commit is on the disk, not only in the system's memory
		"foreign_keys(1)",
		"temp_store(memory)", // journals of single statements, which are small
		"cache_size(-65536)", // KiB; else pages of a long transaction are written again and again
	}
	if create {
		// It stays with the file. What is only looked at may be somebody else's database,
		// and is not written into.
		pragmas = append(pragmas, "journal_mode(WAL)")
	}
	db, err := openFile(where, url.Values{"mode": {mode}, "_txlock": {"immediate"}, "_pragma": pragmas})
	if err == nil || create || !isReadOnly(err) {
		return db, sqliteDialect, err
	}
	// On a medium that cannot be written to, the file is all there is, unless a log
	// of writes lies beside it.
	if info, statErr := os.Stat(where + "-wal"); statErr == nil && info.Size() > 0 {
		return nil, sqliteDialect, err
	}
	db, err = openFile(where, url.Values{"mode": {"ro"}, "immutable": {"1"}})
	return db, sqliteDialect, err
}

// openFile opens a file of SQLite and looks whether it is one.
func openFile(where string, query url.Values) (*sql.DB, error) {
	abs, err := filepath.Abs(where)
	if err != nil {
		return nil, err
	}
	name := url.URL{Scheme: "file", Path: filepath.ToSlash(abs), RawQuery: query.Encode()}
	db, err := sql.Open(sqliteDialect.driver, name.String())
	if err != nil {
		return nil, err
	}
	var tables int
	if err := db.QueryRow(`SELECT COUNT(*) FROM sqlite_master`).Scan(&tables); err != nil {
		db.Close()
		return nil, fmt.Errorf("%s: %w", where, err)
	}
	return db, nil
}

// isReadOnly reports whether err says that a file, or what lies beside it while it
// is used, cannot be written.
func isReadOnly(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && (e.Code()&0xff == sqlite3.SQLITE_CANTOPEN || e.Code()&0xff == sqlite3.SQLITE_READONLY)
}

// begin begins a transaction that writes. It waits for others as long as ctx does.
func begin(ctx context.Context, db *sql.DB) (*sql.Tx, error) {
	for {
		tx, err := db.BeginTx(ctx, nil)
		if err == nil || !isBusy(err) {
			return tx, err
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
	}
}

// isBusy reports whether err says that another process writes.
func isBusy(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && e.Code()&0xff == sqlite3.SQLITE_BUSY // extended codes stand above the byte
}

// snapshot begins a transaction that only reads, and reads one state.
func (l *Ledger) snapshot(ctx context.Context) (*sql.Tx, error) {
	o := &sql.TxOptions{ReadOnly: true}
	if l.dialect.driver == postgresDialect.driver {
		o.Isolation = sql.LevelRepeatableRead // SQLite knows no other than serial
	}
	return l.db.BeginTx(ctx, o)
}

//go:embed schema/*.sql
var schemas embed.FS

// migrations returns the statements that take a schema to each version, the first
// to version 1.
func (d *dialect) migrations() ([][]string, error) {
	entries, err := schemas.ReadDir("schema")
	if err != nil {
		return nil, err
	}
	var all [][]string
	for _, entry := range entries { // sorted by name
		text, err := schemas.ReadFile("schema/" + entry.Name())
		if err != nil {
			return nil, err
		}
		var statements []string
		if d.driver == sqliteDialect.driver {
			text = bytes.ReplaceAll(text, []byte("-- sqlite: "), nil)
		}
		for statement := range strings.SplitSeq(string(text), ";\n") {
			if strings.TrimSpace(statement) != "" {
				statements = append(statements, statement)
			}
		}
		all = append(all, statements)
	}
	return all, nil
}

// A NewerError says that a ledger was written by a later program.
type NewerError struct {
	Version, Known int // of the schema: what the ledger has, what this program knows
}

func (e *NewerError) Error() string {
	return fmt.Sprintf("the ledger has schema %d and this program knows schemas up to %d", e.Version, e.Known)
}

// upgrade brings the schema to the version that this program knows.
func upgrade(ctx context.Context, tx *sql.Tx, d dialect, all [][]string, now time.Time) error {
	if d.lockSchema != "" {
		if _, err := tx.ExecContext(ctx, d.lockSchema); err != nil {
			return err
		}
	}
	version, err := schemaVersion(ctx, tx, d)
	if err != nil {
		return err
	}
	if version > len(all) {
		return &NewerError{version, len(all)}
	}
	if version == 0 {
		if _, err := tx.ExecContext(ctx, `CREATE TABLE schema_version (version INTEGER PRIMARY KEY, made TEXT NOT NULL)`); err != nil {
			return err
		}
	}
	for ; version < len(all); version++ {
		for _, statement := range all[version] {
			if _, err := tx.ExecContext(ctx, statement); err != nil {
				return fmt.Errorf("schema %d: %w", version+1, err)
			}
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO schema_version (version, made) VALUES ($1, $2)`, version+1, stamp(now))
		if err != nil {
			return err
		}
	}
	return nil
}

// A querier is a database or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// schemaVersion returns the version of the schema, 0 where there is none.
func schemaVersion(ctx context.Context, q querier, d dialect) (int, error) {
	var tables, version int
	if err := q.QueryRowContext(ctx, d.hasSchema).Scan(&tables); err != nil || tables == 0 {
		return 0, err
	}
	err := q.QueryRowContext(ctx, `SELECT COALESCE(MAX(version), 0) FROM schema_version`).Scan(&version)
	return version, err
}

// stamp is how the time of a write is kept.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }
