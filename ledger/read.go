package ledger

import (
	"context"
	"database/sql"
	"slices"
)

// A KeptUpload is an upload as it is kept.
type KeptUpload struct {
	ID     int64
	Number int    // 1 for the first
	Made   string // RFC 3339, UTC
	By     string
	Zone   string
	Files  []UploadFile
}

// Context returns what the records of the upload were judged by when they came.
func (u *KeptUpload) Context() Context {
	one := func(role Role) int64 {
		for _, f := range u.Files {
			if f.Role == role {
				return f.Content
			}
		}
		return 0
	}
	return Context{Policy: one(Policy), Register: one(Instruments), Map: one(Map)}
}

// Uploads returns all uploads, the first one first.
func (l *Ledger) Uploads(ctx context.Context) ([]KeptUpload, error) { return uploads(ctx, l.db) }

func uploads(ctx context.Context, q querier) ([]KeptUpload, error) {
	var list []KeptUpload
	at := map[int64]int{}
	err := each(ctx, q, func(rows *sql.Rows) error {
		var u KeptUpload
		err := rows.Scan(&u.ID, &u.Made, &u.By, &u.Zone)
		at[u.ID] = len(list)
		u.Number = len(list) + 1
		list = append(list, u)
		return err
	}, `SELECT leaf, made, by_whom, zone FROM upload ORDER BY leaf`)
	if err != nil {
		return nil, err
	}
	return list, each(ctx, q, func(rows *sql.Rows) error {
		var upload int64
		var f UploadFile
		var role string
		err := rows.Scan(&upload, &role, &f.Name, &f.Content)
		f.Role = Role(role)
		if i, ok := at[upload]; ok { // one that was added meanwhile is left out
			list[i].Files = append(list[i].Files, f)
		}
		return err
	}, `SELECT upload, role, name, content FROM upload_file ORDER BY upload, number`)
}

// uploadNumbers returns the numbers by which people call the uploads, by row: 1 is
// the first.
func uploadNumbers(ctx context.Context, q querier) (map[int64]int, error) {
	numbers := map[int64]int{}
	return numbers, each(ctx, q, func(rows *sql.Rows) error {
		var row int64
		err := rows.Scan(&row)
		numbers[row] = len(numbers) + 1
		return err
	}, `SELECT leaf FROM upload ORDER BY leaf`)
}

// FileName returns how a kept file was called when it was first handed in, blank if it
// came with no upload, and its SHA-256.
func (l *Ledger) FileName(ctx context.Context, row int64) (name string, sum Hash, err error) {
	var digest []byte
	err = l.db.QueryRowContext(ctx, `SELECT c.sha256, COALESCE((SELECT f.name FROM upload_file f WHERE f.content = c.leaf
		ORDER BY f.upload, f.number LIMIT 1), '') FROM content c WHERE c.leaf = $1`, row).Scan(&digest, &name)
	copy(sum[:], digest)
	return name, sum, err
}

// Known returns which of the records have a version in the ledger.
func (l *Ledger) Known(ctx context.Context, records []string) (map[string]bool, error) {
	known := map[string]bool{}
	for chunk := range slices.Chunk(records, mostInList) {
		args := make([]any, len(chunk))
		for i, id := range chunk {
			args[i] = id
		}
		err := each(ctx, l.db, func(rows *sql.Rows) error {
			var id string
			err := rows.Scan(&id)
			known[id] = true
			return err
		}, `SELECT DISTINCT record FROM version WHERE record IN (`+parameters(1, len(args))+`)`, args...)
		if err != nil {
			return nil, err
		}
	}
	return known, nil
}

// Events returns what happened to an instrument, the first event first.
func (l *Ledger) Events(ctx context.Context, instrument string) ([]Event, error) {
	var list []Event
	err := each(ctx, l.db, func(rows *sql.Rows) error {
		e, err := scanEvent(rows)
		list = append(list, e)
		return err
	}, `SELECT `+eventColumns+` FROM event WHERE instrument = $1 ORDER BY leaf`, instrument)
	return list, err
}
