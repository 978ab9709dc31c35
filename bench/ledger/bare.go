package main

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// tables are those in which an ingest puts rows.
var tables = []string{"content_part", "version", "usage", "proof", "judgement"}

// rowsPerCall is how many rows the bare driver is given in one statement.
const rowsPerCall = 100

// bare puts the rows of a ledger into a new file of SQLite, in one transaction with
// the same durability and as large a cache, and returns how long that took. The rows
// are read from the ledger in between, which does not count.
func (b *bench) bare(ctx context.Context, ledger string) (took time.Duration, err error) {
	from, err := sql.Open("sqlite", ledger)
	if err != nil {
		return 0, err
	}
	defer from.Close()
	path := filepath.Join(b.dir, "bare.db")
	defer func() {
		for _, suffix := range []string{"", "-wal", "-shm"} {
			_ = os.Remove(path + suffix) // it may not be there
		}
	}()
	w := &watch{}
	w.start()
	to, err := sql.Open("sqlite", "file:"+path+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=cache_size(-65536)&_txlock=immediate")
	if err != nil {
		return 0, err
	}
	tx, err := to.BeginTx(ctx, nil)
	if err != nil {
		return 0, errors.Join(err, to.Close())
	}
	w.stop()
	for _, name := range tables {
		if err := copyTable(ctx, from, tx, name, w); err != nil {
			return 0, errors.Join(err, tx.Rollback(), to.Close())
		}
	}
	w.start()
	err = errors.Join(tx.Commit(), to.Close())
	w.stop()
	return w.took, err
}

// A watch adds up times.
type watch struct {
	begun time.Time
	took  time.Duration
}

func (w *watch) start() { w.begun = time.Now() }
func (w *watch) stop()  { w.took += time.Since(w.begun) }

// copyTable makes a table without an index and puts the rows of another in. The watch
// runs while it writes.
func copyTable(ctx context.Context, from *sql.DB, to *sql.Tx, name string, w *watch) error {
	rows, err := from.QueryContext(ctx, `SELECT * FROM `+name)
	if err != nil {
		return err
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		return err
	}
	mark := "(" + strings.TrimSuffix(strings.Repeat("?, ", len(names)), ", ") + ")"
	statement := func(n int) string {
		return `INSERT INTO ` + name + ` VALUES ` + strings.TrimSuffix(strings.Repeat(mark+", ", n), ", ")
	}
	w.start()
	if _, err := to.ExecContext(ctx, `CREATE TABLE `+name+` (`+strings.Join(names, ", ")+`)`); err != nil {
		return err
	}
	whole, err := to.PrepareContext(ctx, statement(rowsPerCall))
	w.stop()
	if err != nil {
		return err
	}
	defer func() { _ = whole.Close() }() // the commit tells
	var batch []any
	for rows.Next() {
		row, into := make([]any, len(names)), make([]any, len(names))
		for i := range row {
			into[i] = &row[i]
		}
		if err := rows.Scan(into...); err != nil {
			return err
		}
		if batch = append(batch, row...); len(batch) < rowsPerCall*len(names) {
			continue
		}
		w.start()
		_, err := whole.ExecContext(ctx, batch...)
		w.stop()
		if err != nil {
			return err
		}
		batch = batch[:0]
	}
	if err := rows.Err(); err != nil || len(batch) == 0 {
		return err
	}
	w.start()
	_, err = to.ExecContext(ctx, statement(len(batch)/len(names)), batch...)
	w.stop()
	return err
}
