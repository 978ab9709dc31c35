package ledger

import (
	"context"
	"database/sql"
	"strconv"
	"strings"
)

// mostParameters is how many values one statement may carry: below the limits of
// SQLite (32,766) and PostgreSQL (65,535), and enough that more gain nothing.
const mostParameters = 2000

// An inserter puts rows into a table, many in one statement.
type inserter struct {
	tx      *Tx
	table   string
	columns []string
	perCall int // rows a full statement carries
	full    *sql.Stmt
	args    []any
}

func newInserter(tx *Tx, table string, columns ...string) *inserter {
	return &inserter{tx: tx, table: table, columns: columns, perCall: mostParameters / len(columns)}
}

// add puts down a row, which may be written later. The values must stay as they are
// until flush.
func (i *inserter) add(values ...any) error {
	i.args = append(i.args, values...)
	if len(i.args) < i.perCall*len(i.columns) {
		return nil
	}
	t := i.tx
	if i.full == nil && t.failed == nil {
		i.full, t.failed = t.tx.PrepareContext(t.ctx, i.statement(i.perCall))
	}
	if t.failed == nil {
		_, t.failed = i.full.ExecContext(t.ctx, i.args...)
	}
	i.args = i.args[:0]
	return t.failed
}

// flush writes the rows that are left.
func (i *inserter) flush() error {
	if len(i.args) == 0 {
		return i.tx.failed
	}
	err := i.tx.exec(i.statement(len(i.args)/len(i.columns)), i.args...)
	i.args = i.args[:0]
	return err
}

// statement returns the statement for so many rows.
func (i *inserter) statement(rows int) string {
	var b strings.Builder
	b.WriteString("INSERT INTO " + i.table + " (" + strings.Join(i.columns, ", ") + ") VALUES ")
	for r := range rows {
		if r > 0 {
			b.WriteString(", ")
		}
		b.WriteString("(")
		if i.tx.dialect.driver == sqliteDialect.driver {
			// SQLite takes $1 for a name, and its driver looks each name up among all.
			b.WriteString(strings.TrimSuffix(strings.Repeat("?, ", len(i.columns)), ", "))
		} else {
			b.WriteString(parameters(1+r*len(i.columns), len(i.columns)))
		}
		b.WriteString(")")
	}
	return b.String()
}

// parameters returns n parameters from the given number on, as in "$3, $4, $5".
func parameters(first, n int) string {
	var b strings.Builder
	for i := range n {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString("$" + strconv.Itoa(first+i))
	}
	return b.String()
}

// mostInList is how many values a list in a query carries.
const mostInList = 500

// each calls scan for every row of a query.
func each(ctx context.Context, q querier, scan func(*sql.Rows) error, query string, args ...any) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
