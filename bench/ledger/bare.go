package main

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// tables are those in which an ingest puts rows.
var tables = []string{"content_part", "version", "usage", "proof", "judgement"}

// rowsPerCall is how many rows the bare driver is given in one statement.
const rowsPerCall = 100

// A table is the rows of a ledger's table, in memory.
type table struct {
	name    string
	columns int
	rows    []any // one value after the other
}

// bare puts the rows of a ledger into a new file of SQLite, in one transaction with
// the same durability, and returns how long that took.
func (b *bench) bare(ctx context.Context, ledger string) (time.Duration, error) {
	from, err := sql.Open("sqlite", ledger)
	if err != nil {
		return 0, err
	}
	defer from.Close()
	var all []*table
	for _, name := range tables {
		t, err := readTable(ctx, from, name)
		if err != nil {
			return 0, err
		}
		all = append(all, t)
	}
	path := filepath.Join(b.dir, "bare"+strconv.FormatInt(time.Now().UnixNano(), 10)+".db")
	begun := time.Now()
	to, err := sql.Open("sqlite", "file:"+path+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate")
	if err != nil {
		return 0, err
	}
	err = errors.Join(write(ctx, to, all), to.Close())
	return time.Since(begun), err
}

func readTable(ctx context.Context, db *sql.DB, name string) (*table, error) {
	rows, err := db.QueryContext(ctx, `SELECT * FROM `+name)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	t := &table{name: name, columns: len(columns)}
	for rows.Next() {
		row := make([]any, len(columns))
		into := make([]any, len(columns))
		for i := range row {
			into[i] = &row[i]
		}
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		t.rows = append(t.rows, row...)
	}
	return t, rows.Err()
}

func write(ctx context.Context, db *sql.DB, all []*table) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for _, t := range all {
		if err := t.write(ctx, tx); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// write makes the table, without an index, and puts its rows in.
func (t *table) write(ctx context.Context, tx *sql.Tx) error {
	var columns, marks []string
	for i := range t.columns {
		columns = append(columns, "c"+strconv.Itoa(i))
		marks = append(marks, "?")
	}
	if _, err := tx.ExecContext(ctx, `CREATE TABLE `+t.name+` (`+strings.Join(columns, ", ")+`)`); err != nil {
		return err
	}
	row := "(" + strings.Join(marks, ", ") + ")"
	statement := func(n int) string {
		return `INSERT INTO ` + t.name + ` VALUES ` + strings.TrimSuffix(strings.Repeat(row+", ", n), ", ")
	}
	whole, err := tx.PrepareContext(ctx, statement(rowsPerCall))
	if err != nil {
		return err
	}
	defer func() { _ = whole.Close() }() // the commit tells
	rest := t.rows
	for size := rowsPerCall * t.columns; len(rest) >= size; rest = rest[size:] {
		if _, err := whole.ExecContext(ctx, rest[:size]...); err != nil {
			return err
		}
	}
	if len(rest) > 0 {
		_, err = tx.ExecContext(ctx, statement(len(rest)/t.columns), rest...)
	}
	return err
}
