package ledger

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// What is only looked at is not written into, whosever database it is.
func TestForeignDatabase(t *testing.T) {
	name := filepath.Join(t.TempDir(), "foreign.db")
	db, err := openFile(name, nil)
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.ExecContext(t.Context(), `CREATE TABLE book (title TEXT)`)
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), name, Options{}); !errors.Is(err, ErrNoLedger) {
		t.Errorf("opened: %v", err)
	}
	if after, err := os.ReadFile(name); err != nil || !bytes.Equal(before, after) {
		t.Errorf("it was written into (%v)", err)
	}
	if err := os.WriteFile(name, []byte("Dear diary"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), name, Options{}); TroubleOf(err) != NoDatabase {
		t.Errorf("a letter: %v", err)
	}
}
