package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
)

// copiedTables are all tables with what they refer to before them.
var copiedTables = []string{
	"ledger", "tile", "checkpoint", "content", "content_part", "upload", "upload_file", "version", "usage", "proof",
	"judging", "judgement", "decision", "event", "lookback", "mark",
}

// ErrExists says that there is something already where a copy is to be made.
var ErrExists = errors.New("there is something already; a copy is made where there is nothing")

// Copy copies the ledger to a place where there is none, a path or a postgres://
// URL: a backup, and also the way back, and from one database to the other. Others
// may go on writing meanwhile; the copy is the ledger at one moment. It is made
// whole or not at all. The private key is not part of it.
func (l *Ledger) Copy(ctx context.Context, where string) error {
	if IsURL(where) {
		return l.copyTo(ctx, where)
	}
	if _, err := os.Lstat(where); err == nil {
		return fmt.Errorf("%s: %w", where, ErrExists)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	part := where + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := l.copyTo(ctx, part); err != nil {
		os.Remove(part)
		return fmt.Errorf("%s: %w", where, err)
	}
	// Link, not rename: it fails where somebody has made the file meanwhile.
	if err := os.Link(part, where); err != nil {
		os.Remove(part)
		return err
	}
	return os.Remove(part)
}

func (l *Ledger) copyTo(ctx context.Context, where string) error {
	db, d, err := openDatabase(where, true)
	if err != nil {
		return err
	}
	return errors.Join(l.copyRows(ctx, db, d), db.Close())
}

func (l *Ledger) copyRows(ctx context.Context, db *sql.DB, d dialect) error {
	all, err := d.migrations()
	if err != nil {
		return err
	}
	from, err := l.snapshot(ctx)
	if err != nil {
		return err
	}
	defer from.Rollback()
	to, err := begin(ctx, db)
	if err != nil {
		return err
	}
	defer to.Rollback()
	switch version, err := schemaVersion(ctx, to, d); {
	case err != nil:
		return err
	case version != 0:
		return ErrExists
	}
	if err := upgrade(ctx, to, d, all, l.options.Now()); err != nil {
		return err
	}
	writer := &Tx{ctx: ctx, tx: to, dialect: d}
	for _, table := range copiedTables {
		if err := copyTable(ctx, from, writer, table); err != nil {
			return fmt.Errorf("table %s: %w", table, err)
		}
	}
	return to.Commit()
}

// copyTable copies the rows of one table.
func copyTable(ctx context.Context, from querier, to *Tx, table string) error {
	columns, err := columnsOfTable(ctx, from, table)
	if err != nil {
		return err
	}
	rows := newInserter(to, table, columns...)
	if table == "content_part" {
		rows.perCall = 1 // megabytes each
	}
	err = each(ctx, from, func(r *sql.Rows) error {
		row := make([]any, len(columns))
		into := make([]any, len(columns))
		for i := range row {
			into[i] = &row[i]
		}
		if err := r.Scan(into...); err != nil {
			return err
		}
		return rows.add(row...)
	}, `SELECT `+strings.Join(columns, ", ")+` FROM `+table)
	if err != nil {
		return err
	}
	return rows.flush()
}

func columnsOfTable(ctx context.Context, q querier, table string) ([]string, error) {
	rows, err := q.QueryContext(ctx, `SELECT * FROM `+table+` WHERE 1 = 0`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	return columns, errors.Join(err, rows.Err())
}
