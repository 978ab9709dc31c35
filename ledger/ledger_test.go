package ledger_test

import (
	"os"
	"testing"

	"nilvolt/ledger/ledgertest"
)

func TestMain(m *testing.M) { os.Exit(ledgertest.Main(m)) }

func TestSQLite(t *testing.T)   { ledgertest.Run(t, ledgertest.SQLite) }
func TestPostgres(t *testing.T) { ledgertest.Run(t, ledgertest.PostgresPlace) }
