package ledger

import (
	"errors"
	"fmt"
	"io"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"
)

// Source: the numbers of SQLite's result codes (SQLITE_FULL 13, SQLITE_IOERR_WRITE 778 =
// 10 | 3<<8, SQLITE_CORRUPT 11, SQLITE_NOTADB 26, SQLITE_READONLY 8, SQLITE_CANTOPEN 14,
// SQLITE_BUSY 5, SQLITE_IOERR_READ 266), and PostgreSQL's Appendix A.
func TestTrouble(t *testing.T) {
	for code, want := range map[int]Trouble{
		13: NoRoom, 778: NoRoom, 11: Damaged, 11 | 2<<8: Damaged, 26: NoDatabase, 8: NotWritable, 14: NotWritable, 5: Busy, 266: NoTrouble,
	} {
		if got := sqliteTrouble(code); got != want {
			t.Errorf("SQLite %d: %d, want %d", code, got, want)
		}
	}
	for code, want := range map[string]Trouble{
		"53100": NoRoom, "57P01": Unreachable, "08006": Unreachable, "28P01": Refused, "25006": NotWritable, "54000": TooLong, "XX001": Damaged, "23505": NoTrouble,
	} {
		err := fmt.Errorf("a statement: %w", &pgconn.PgError{Code: code})
		if got := TroubleOf(err); got != want {
			t.Errorf("PostgreSQL %s: %d, want %d", code, got, want)
		}
	}
	if TroubleOf(fmt.Errorf("read: %w", io.ErrUnexpectedEOF)) != Unreachable || TroubleOf(errors.New("x")) != NoTrouble || TroubleOf(nil) != NoTrouble {
		t.Error("errors of neither")
	}
}
