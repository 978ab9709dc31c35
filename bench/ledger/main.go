// Ledger measures how fast nilvolt keeps readings, beside the bare driver: the time
// of nilvolt ingest into a new ledger, and that of putting the same rows into tables
// without an index in one transaction, which nothing that keeps them can undercut.
// Then it measures review list and audit on that ledger. All sizes in turn, SQLite
// first and PostgreSQL, where it is installed, beside it.
//
//	go run ./bench/ledger                          10^5 and 10^6 readings
//	go run ./bench/ledger -sizes 100000,10000000   other sizes
//
// Exit status: 0 when an ingest of 10^6 readings into SQLite took at most 4 times as
// long as the bare driver, 1 when not, 2 when something could not be run.
package main

import (
	"context"
	"database/sql"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"nilvolt/ledger/ledgertest"
)

// target is how many times the bare driver's time an ingest of targetSize readings
// may take.
const (
	target     = 4.0
	targetSize = 1_000_000
)

func main() {
	sizes := flag.String("sizes", "100000,1000000", "how many `readings`, several sizes separated by commas")
	flag.Parse()
	met, err := run(context.Background(), *sizes)
	switch {
	case err != nil:
		fmt.Fprintln(os.Stderr, "bench/ledger:", err)
		os.Exit(2)
	case !met:
		os.Exit(1)
	}
}

// run measures all sizes on both databases.
func run(ctx context.Context, sizes string) (met bool, err error) {
	dir, err := os.MkdirTemp("", "nilvolt-bench-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(dir)
	b := &bench{dir: dir, program: filepath.Join(dir, "nilvolt")}
	if _, err := b.time(ctx, "go", "build", "-o", b.program, "./cmd/nilvolt"); err != nil {
		return false, err
	}
	server, startErr := ledgertest.Start()
	if startErr == nil {
		defer func() { _ = server.Stop() }()
	} else {
		fmt.Println("without PostgreSQL:", startErr)
	}
	fmt.Println("readings    database    ingest s  bare driver s  ratio  review list s  audit s     MB")
	met = true
	for text := range strings.SplitSeq(sizes, ",") {
		size, err := strconv.Atoi(text)
		if err != nil {
			return false, err
		}
		readings := filepath.Join(dir, text+".csv")
		if _, err := b.time(ctx, "go", "run", "./bench", "generate", "-rows", text, readings); err != nil {
			return false, err
		}
		ratio, err := b.sqlite(ctx, size, readings)
		if err != nil {
			return false, err
		}
		met = met && (size != targetSize || ratio <= target)
		if startErr == nil {
			if err := b.postgres(ctx, size, readings, server.URL); err != nil {
				return false, err
			}
		}
	}
	return met, nil
}

// A bench is a folder to measure in.
type bench struct {
	dir     string
	program string
}

// time runs a program and returns how long it took. Exit status 1 is a verdict.
func (b *bench) time(ctx context.Context, name string, args ...string) (time.Duration, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Stderr = &strings.Builder{}
	begun := time.Now()
	err := cmd.Run()
	took := time.Since(begun)
	if exit, ok := errors.AsType[*exec.ExitError](err); ok && exit.ExitCode() == 1 && name == b.program {
		err = nil
	}
	if err != nil {
		err = fmt.Errorf("%s %s: %w\n%s", name, strings.Join(args, " "), err, cmd.Stderr)
	}
	return took, err
}

// commands measures ingest, review list and audit.
func (b *bench) commands(ctx context.Context, readings, where, key string) (ingest, review, audit time.Duration, err error) {
	if ingest, err = b.time(ctx, b.program, "ingest", readings, "--ledger", where, "--key", key, "--format", "json"); err != nil {
		return
	}
	// The generated readings begin in this week.
	if review, err = b.time(ctx, b.program, "review", "list", "--ledger", where, "--week", "2026-W02"); err != nil {
		return
	}
	audit, err = b.time(ctx, b.program, "audit", "--ledger", where)
	return
}

// sqlite measures one size on SQLite.
func (b *bench) sqlite(ctx context.Context, size int, readings string) (ratio float64, err error) {
	where := filepath.Join(b.dir, strconv.Itoa(size)+".db")
	ingest, review, audit, err := b.commands(ctx, readings, where, where+".key")
	if err != nil {
		return 0, err
	}
	bare, err := b.bare(ctx, where)
	if err != nil {
		return 0, err
	}
	info, err := os.Stat(where)
	if err != nil {
		return 0, err
	}
	ratio = ingest.Seconds() / bare.Seconds()
	fmt.Printf("%-10d  sqlite      %8.2f  %13.2f  %5.2f  %13.2f  %7.2f  %5d\n",
		size, ingest.Seconds(), bare.Seconds(), ratio, review.Seconds(), audit.Seconds(), info.Size()>>20)
	return ratio, nil
}

// postgres measures one size on PostgreSQL.
func (b *bench) postgres(ctx context.Context, size int, readings, server string) error {
	db, err := sql.Open("pgx", server)
	if err != nil {
		return err
	}
	defer db.Close()
	name := "bench" + strconv.Itoa(size)
	if _, err := db.ExecContext(ctx, `CREATE DATABASE `+name); err != nil {
		return err
	}
	where := strings.Replace(server, "/postgres?", "/"+name+"?", 1)
	ingest, review, audit, err := b.commands(ctx, readings, where, filepath.Join(b.dir, name+".key"))
	if err != nil {
		return err
	}
	var bytes int64
	if err := db.QueryRowContext(ctx, `SELECT pg_database_size($1)`, name).Scan(&bytes); err != nil {
		return err
	}
	fmt.Printf("%-10d  postgresql  %8.2f  %13s  %5s  %13.2f  %7.2f  %5d\n",
		size, ingest.Seconds(), "", "", review.Seconds(), audit.Seconds(), bytes>>20)
	return nil
}
