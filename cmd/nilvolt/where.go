package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"

	"github.com/spf13/pflag"

	"nilvolt/ledger"
)

// ledgerFlags say which ledger a command works on.
type ledgerFlags struct {
	where string
	key   string
}

// register adds the flags; writes says that the command adds to the ledger.
func (f *ledgerFlags) register(flags *pflag.FlagSet, writes bool) {
	flags.StringVar(&f.where, "ledger", "", "the ledger: a `path`, or a postgres:// URL")
	if writes {
		flags.StringVar(&f.key, "key", "", "the ledger's private key `file`, in place of $NILVOLT_KEY; for a path the path with .key behind it")
	}
}

// open opens the ledger. create makes one where there is none.
func (f *ledgerFlags) open(ctx context.Context, c *console, create bool) (*ledger.Ledger, error) {
	if f.where == "" {
		return nil, hint("name it with --ledger, a path or a postgres:// URL", "no ledger is named")
	}
	key := f.key
	if key == "" {
		key = c.getenv("NILVOLT_KEY")
	}
	l, err := ledger.Open(ctx, f.where, ledger.Options{Create: create, KeyFile: key, Now: c.now, Random: rand.Reader, Waiting: c.waiting})
	return l, ledgerError(err)
}

// waiting says why nothing happens.
func (c *console) waiting() {
	fmt.Fprintln(c.err, "note: another process writes to the ledger; waiting for it to be done")
}

// ledgerError tells what to do about errors of a ledger.
func ledgerError(err error) error {
	var newer *ledger.NewerError
	switch {
	case errors.As(err, &newer):
		return hint("use the nilvolt that wrote it, or a later one", "%v", err)
	case errors.Is(err, ledger.ErrNoKey):
		return hint("name it with --key or in NILVOLT_KEY; it is made together with a new ledger", "%v", err)
	case errors.Is(err, ledger.ErrOtherKey), errors.Is(err, ledger.ErrNotKeyFile):
		return hint("name the key file that was made together with this ledger, with --key or in NILVOLT_KEY", "%v", err)
	case errors.Is(err, ledger.ErrNoFolder):
		return hint("check the name, or make the folder first", "%v", err)
	case errors.Is(err, ledger.ErrNoLedger):
		return hint("check the name; nilvolt ingest makes a new ledger", "%v", err)
	case errors.Is(err, ledger.ErrAltered):
		return hint("see what nilvolt audit finds, and bring back a backup with nilvolt restore", "%v", err)
	case isKeyMissing(err):
		return hint("bring back the ledger's key file from where its copy is kept; without it nothing can be added", "%v", err)
	}
	if mend := troubleMend(ledger.TroubleOf(err)); mend != "" {
		return hint(mend, "%v", err)
	}
	return err
}

// troubleMend says what to do about trouble of the database; blank where nobody can
// tell.
func troubleMend(t ledger.Trouble) string {
	switch t {
	case ledger.NoRoom:
		return "make room on the disk, or see that it works; what is kept is not touched by this"
	case ledger.Damaged:
		return "look at the disk, and bring back a backup with nilvolt restore"
	case ledger.NoDatabase:
		return "check the name: this is no ledger; if it was one, look at the disk, and bring back a backup with nilvolt restore"
	case ledger.NotWritable:
		return "see that you may write to the file and its folder"
	case ledger.Busy:
		return "another process works on the ledger; try again when it is done"
	case ledger.Unreachable:
		return "see that the server runs and that the URL is right, and try again"
	case ledger.Refused:
		return "see that the user of the URL may use the database"
	case ledger.TooLong:
		return "an id of a record or an instrument is thousands of letters long: see whether the columns are what they are taken for"
	case ledger.NoTrouble:
	}
	return ""
}

// isKeyMissing reports whether err is about a key file that is not there.
func isKeyMissing(err error) bool {
	path, ok := errors.AsType[*fs.PathError](err)
	return ok && errors.Is(err, fs.ErrNotExist) && len(path.Path) > 4 && path.Path[len(path.Path)-4:] == ".key"
}
