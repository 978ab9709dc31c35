// Ledger measures how fast nilvolt keeps readings, beside the bare driver: the time
// of nilvolt ingest into a new ledger, and that of putting the same rows into tables
// without an index in one transaction, which nothing that keeps them can undercut.
// Then it measures review list of one week, audit, and verify --ledger on that ledger.
// SQLite first and PostgreSQL, where it is installed, beside it; then how each grows
// from one size to the next.
//
//	go run ./bench/ledger                          10^5, 10^6 and 10^7 readings
//	go run ./bench/ledger -sizes 100000,1000000    other sizes
//
// Up to 10^6 the figures are medians of three rounds, ingest and bare driver in turn.
// On two quiet cores the three sizes take about a quarter of a minute, two minutes and a
// quarter of an hour; 10^7 readings want some 10 GB in the folder for temporary files.
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
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
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
	sizes := flag.String("sizes", "100000,1000000,10000000", "how many `readings`, several sizes separated by commas")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM) // no server is left behind
	defer stop()
	met, err := run(ctx, *sizes)
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
	fmt.Println("readings  database    ingest s  bare driver s  ratio  review list s  audit s  verify --ledger s      MB")
	met = true
	last := map[string]result{}
	for text := range strings.SplitSeq(sizes, ",") {
		begun := time.Now()
		size, err := strconv.Atoi(text)
		if err != nil {
			return false, err
		}
		readings := filepath.Join(dir, text+".csv")
		if _, err := b.time(ctx, "go", "run", "./bench", "generate", "-rows", text, readings); err != nil {
			return false, err
		}
		r, err := b.sqlite(ctx, size, readings)
		if err != nil {
			return false, err
		}
		r.print(last["sqlite"])
		last["sqlite"] = r
		met = met && (size != targetSize || r.ratio() <= target)
		if startErr == nil {
			r, err := b.postgres(ctx, size, readings, server.URL)
			if err != nil {
				return false, err
			}
			r.print(last["postgresql"])
			last["postgresql"] = r
		}
		fmt.Printf("          (%s in all)\n", time.Since(begun).Round(time.Second))
	}
	return met, nil
}

// A result is what one size took on one database.
type result struct {
	size                                int
	database                            string
	ingest, bare, review, audit, verify time.Duration // bare is 0 where it was not measured
	bytes                               int64
}

// ratio is how many times the bare driver's time an ingest took.
func (r *result) ratio() float64 { return r.ingest.Seconds() / r.bare.Seconds() }

// print prints the result, and how many times that of a smaller size it is.
func (r *result) print(smaller result) {
	bare := [2]string{}
	if r.bare > 0 {
		bare = [2]string{fmt.Sprintf("%.2f", r.bare.Seconds()), fmt.Sprintf("%.2f", r.ratio())}
	}
	fmt.Printf("%-8d  %-10s  %8.2f  %13s  %5s  %13.2f  %7.2f  %17.2f  %6d\n", r.size, r.database,
		r.ingest.Seconds(), bare[0], bare[1], r.review.Seconds(), r.audit.Seconds(), r.verify.Seconds(), r.bytes>>20)
	if smaller.size == 0 {
		return
	}
	times := func(now, before time.Duration) string { return fmt.Sprintf("x%.1f", now.Seconds()/before.Seconds()) }
	fmt.Printf("%-8s  %-10s  %8s  %13s  %5s  %13s  %7s  %17s\n", fmt.Sprintf("x%.1f", float64(r.size)/float64(smaller.size)), "",
		times(r.ingest, smaller.ingest), "", "", times(r.review, smaller.review), times(r.audit, smaller.audit), times(r.verify, smaller.verify))
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

// rounds is how often a size is measured.
func rounds(size int) int {
	if size <= targetSize {
		return 3
	}
	return 1
}

func median(list []time.Duration) time.Duration {
	slices.Sort(list)
	return list[len(list)/2]
}

// looks measures the commands that look at a ledger.
func (b *bench) looks(ctx context.Context, r *result, where, key string) (err error) {
	// The generated readings begin in this week.
	if r.review, err = b.time(ctx, b.program, "review", "list", "--ledger", where, "--week", "2026-W02"); err != nil {
		return err
	}
	if r.audit, err = b.time(ctx, b.program, "audit", "--ledger", where); err != nil {
		return err
	}
	r.verify, err = b.time(ctx, b.program, "verify", "--ledger", where, "--key", key)
	return err
}

func (b *bench) ingest(ctx context.Context, readings, where, key string) (time.Duration, error) {
	return b.time(ctx, b.program, "ingest", readings, "--ledger", where, "--key", key, "--format", "json")
}

// sqlite measures one size on SQLite.
func (b *bench) sqlite(ctx context.Context, size int, readings string) (r result, err error) {
	r.size, r.database = size, "sqlite"
	var ingests, bares []time.Duration
	where := ""
	for round := range rounds(size) {
		if where != "" {
			_ = os.Remove(where)
		}
		where = filepath.Join(b.dir, fmt.Sprintf("%d-%d.db", size, round))
		ingest, err := b.ingest(ctx, readings, where, where+".key")
		if err != nil {
			return r, err
		}
		bare, err := b.bare(ctx, where)
		if err != nil {
			return r, err
		}
		ingests, bares = append(ingests, ingest), append(bares, bare)
	}
	r.ingest, r.bare = median(ingests), median(bares)
	if err := b.looks(ctx, &r, where, where+".key"); err != nil {
		return r, err
	}
	info, err := os.Stat(where)
	if err != nil {
		return r, err
	}
	r.bytes = info.Size()
	return r, os.Remove(where)
}

// postgres measures one size on PostgreSQL.
func (b *bench) postgres(ctx context.Context, size int, readings, server string) (r result, err error) {
	r.size, r.database = size, "postgresql"
	db, err := sql.Open("pgx", server)
	if err != nil {
		return r, err
	}
	defer db.Close()
	var ingests []time.Duration
	var name, where, key string
	for round := range rounds(size) {
		name = fmt.Sprintf("bench%dr%d", size, round)
		if _, err := db.ExecContext(ctx, `CREATE DATABASE `+name); err != nil {
			return r, err
		}
		where, key = strings.Replace(server, "/postgres?", "/"+name+"?", 1), filepath.Join(b.dir, name+".key")
		ingest, err := b.ingest(ctx, readings, where, key)
		if err != nil {
			return r, err
		}
		ingests = append(ingests, ingest)
	}
	r.ingest = median(ingests)
	if err := b.looks(ctx, &r, where, key); err != nil {
		return r, err
	}
	return r, db.QueryRowContext(ctx, `SELECT pg_database_size($1)`, name).Scan(&r.bytes)
}
