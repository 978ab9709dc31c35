package ledger

import (
	"context"
	"database/sql"
)

// A KeptUpload is an upload as it is kept.
type KeptUpload struct {
	ID    int64
	Made  string // RFC 3339, UTC
	By    string
	Zone  string
	Files []UploadFile
}

// Uploads returns all uploads, the first one first.
func (l *Ledger) Uploads(ctx context.Context) ([]KeptUpload, error) {
	var list []KeptUpload
	at := map[int64]int{}
	err := each(ctx, l.db, func(rows *sql.Rows) error {
		var u KeptUpload
		err := rows.Scan(&u.ID, &u.Made, &u.By, &u.Zone)
		at[u.ID] = len(list)
		list = append(list, u)
		return err
	}, `SELECT leaf, made, by_whom, zone FROM upload ORDER BY leaf`)
	if err != nil {
		return nil, err
	}
	return list, each(ctx, l.db, func(rows *sql.Rows) error {
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
