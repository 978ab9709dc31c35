// Package ledgertest tests a ledger on the databases that it runs on: the suite
// that each of them must pass, and a PostgreSQL to run it on.
package ledgertest

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"
)

// PostgresVariable names the environment variable with the URL of a PostgreSQL
// server in whose databases the tests may do as they like. Without it a server is
// started, from the programs of PostgreSQL that are installed.
const PostgresVariable = "NILVOLT_TEST_POSTGRES"

// Main runs the tests of a package with a PostgreSQL server beside them, and
// returns the exit code. It takes the place of m.Run in a TestMain.
func Main(m *testing.M) int {
	if os.Getenv(PostgresVariable) != "" {
		return m.Run()
	}
	server, err := Start()
	if err != nil {
		if os.Getenv("CI") != "" {
			fmt.Fprintln(os.Stderr, "postgresql is needed here:", err)
			return 1
		}
		fmt.Fprintln(os.Stderr, "note: tests without postgresql:", err)
		return m.Run()
	}
	defer server.Stop()
	if err := os.Setenv(PostgresVariable, server.URL); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return m.Run()
}

// Postgres makes an empty database and returns its URL. Without a server the test
// is skipped, unless CI is set.
func Postgres(t testing.TB) string {
	t.Helper()
	server := os.Getenv(PostgresVariable)
	if server == "" && os.Getenv("CI") != "" {
		t.Fatal(PostgresVariable + " is not set")
	}
	if server == "" {
		t.Skip("no postgresql")
	}
	return newDatabase(t, server)
}

func newDatabase(t testing.TB, server string) string {
	t.Helper()
	db, err := sql.Open("pgx", server)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	name := "t" + rand.Text()
	if _, err := db.ExecContext(context.Background(), `CREATE DATABASE "`+name+`"`); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		db, err := sql.Open("pgx", server)
		if err != nil {
			t.Error(err)
			return
		}
		defer db.Close()
		if _, err := db.ExecContext(context.Background(), `DROP DATABASE "`+name+`" WITH (FORCE)`); err != nil {
			t.Error(err)
		}
	})
	return replaceDatabase(server, name)
}

// replaceDatabase returns the URL of another database on the same server.
func replaceDatabase(server, name string) string {
	u, err := url.Parse(server)
	if err != nil {
		return server
	}
	u.Path = "/" + name
	return u.String()
}

// A Server is a PostgreSQL server of our own on a free port of the loopback.
type Server struct {
	URL  string // of its database "postgres"
	dir  string
	bin  string
	port int
	as   *syscall.SysProcAttr // whom it runs as: it refuses to run as root
}

// Start makes and starts a server, whose data lie in a temporary folder.
func Start() (*Server, error) {
	s := &Server{}
	var err error
	if s.bin, err = programs(); err != nil {
		return nil, err
	}
	if s.dir, err = os.MkdirTemp("", "nilvolt-postgres-"); err != nil {
		return nil, err
	}
	if err := s.prepare(); err != nil {
		os.RemoveAll(s.dir)
		return nil, err
	}
	if err := s.Restart(); err != nil {
		os.RemoveAll(s.dir)
		return nil, err
	}
	return s, nil
}

// programs returns the folder with initdb and pg_ctl.
func programs() (string, error) {
	// Debian keeps them out of the way of several versions.
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin")
	if err != nil {
		return "", err
	}
	if len(found) > 0 {
		return slices.Max(found), nil
	}
	path, err := exec.LookPath("initdb")
	if err != nil {
		return "", errors.New("initdb is not installed: apt-get install postgresql")
	}
	return filepath.Dir(path), nil
}

func (s *Server) prepare() error {
	if os.Getuid() == 0 {
		who, err := user.Lookup("postgres")
		if err != nil {
			return err
		}
		uid, err1 := strconv.Atoi(who.Uid)
		gid, err2 := strconv.Atoi(who.Gid)
		if err := errors.Join(err1, err2, os.Chown(s.dir, uid, gid)); err != nil {
			return err
		}
		s.as = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	s.port = listener.Addr().(*net.TCPAddr).Port
	if err := listener.Close(); err != nil {
		return err
	}
	s.URL = fmt.Sprintf("postgres://nilvolt@127.0.0.1:%d/postgres?sslmode=disable", s.port)
	return s.run("initdb", "-D", s.data(), "-U", "nilvolt", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
}

func (s *Server) data() string { return filepath.Join(s.dir, "data") }

// run runs one of the programs of PostgreSQL.
func (s *Server) run(program string, args ...string) error {
	cmd := exec.Command(filepath.Join(s.bin, program), args...)
	cmd.Dir, cmd.SysProcAttr = s.dir, s.as
	// A file, not a pipe: the server keeps it open behind pg_ctl.
	out, err := os.CreateTemp(s.dir, "output-*")
	if err != nil {
		return err
	}
	defer out.Close()
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Run(); err != nil {
		text, _ := os.ReadFile(out.Name())
		return fmt.Errorf("%s: %w\n%s", program, err, text)
	}
	return nil
}

// Restart starts the server, and before it stops one that runs, at once and without
// waiting for anybody.
func (s *Server) Restart() error {
	return s.run("pg_ctl", "restart", "-D", s.data(), "-m", "immediate", "-w", "-l", filepath.Join(s.dir, "log"), "-o",
		fmt.Sprintf("-c listen_addresses=127.0.0.1 -p %d -k %s -c fsync=off", s.port, s.dir))
}

// Stop stops the server and removes its data.
func (s *Server) Stop() error {
	return errors.Join(s.run("pg_ctl", "stop", "-D", s.data(), "-m", "immediate", "-w"), os.RemoveAll(s.dir))
}

// Database makes an empty database on the server and returns its URL.
func (s *Server) Database(t testing.TB) string { return newDatabase(t, s.URL) }

// Now is a clock for tests that stands still.
func Now() time.Time { return time.Date(2026, 3, 16, 7, 0, 0, 0, time.UTC) }
