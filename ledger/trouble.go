package ledger

import (
	"errors"
	"io"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// A Trouble is what kept a database from doing its work, so that a person can be told
// what to do about it.
type Trouble int

// The troubles. The zero Trouble is none that is known.
const (
	NoTrouble   Trouble = iota
	NoRoom              // the disk is full, or writing to it failed
	Damaged             // the database is damaged
	NoDatabase          // the file is none, or its beginning is damaged
	NotWritable         // the file or its folder may not be written to
	Busy                // another process holds the database
	Unreachable         // the server does not answer, or broke off
	Refused             // the server does not let this user in
	TooLong             // an id is longer than the database can search by
)

// TroubleOf returns the trouble behind an error of a ledger.
func TroubleOf(err error) Trouble {
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		return sqliteTrouble(e.Code())
	}
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		return postgresTrouble(e.Code)
	}
	_, connect := errors.AsType[*pgconn.ConnectError](err)
	if connect || errors.Is(err, io.ErrUnexpectedEOF) {
		return Unreachable
	}
	return NoTrouble
}

// Source: SQLite, Result and Error Codes; extended codes stand above the low byte.
func sqliteTrouble(code int) Trouble {
	switch code {
	case sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_FSYNC, sqlite3.SQLITE_IOERR_TRUNCATE, sqlite3.SQLITE_IOERR_SHMSIZE:
		return NoRoom
	}
	switch code & 0xff {
	case sqlite3.SQLITE_FULL:
		return NoRoom
	case sqlite3.SQLITE_CORRUPT:
		return Damaged
	case sqlite3.SQLITE_NOTADB:
		return NoDatabase
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
		return NotWritable
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return Busy
	}
	return NoTrouble
}

// Source: PostgreSQL, Appendix A, error codes.
func postgresTrouble(code string) Trouble {
	switch {
	case code == "53100": // disk_full
		return NoRoom
	case strings.HasPrefix(code, "57P"), strings.HasPrefix(code, "08"): // shutdown, connection exceptions
		return Unreachable
	case strings.HasPrefix(code, "28"), code == "42501": // authorization, insufficient_privilege
		return Refused
	case code == "25006": // read_only_sql_transaction
		return NotWritable
	case code == "54000": // program_limit_exceeded
		return TooLong
	case strings.HasPrefix(code, "XX"): // internal error, data corrupted, index corrupted
		return Damaged
	}
	return NoTrouble
}
