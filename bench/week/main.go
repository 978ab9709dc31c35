// Week measures how long a year of weekly reports takes: it makes up a year of records,
// keeps them in a ledger with nilvolt ingest, and writes the reports of all weeks with
// nilvolt report, once as they are and once more to see that the bytes are the same.
//
//	go run ./bench/week                     a million readings, SQLite
//	go run ./bench/week -readings 100000    fewer
//	go run ./bench/week -keep DIR           leave ledger and reports in a folder
//
// Exit status: 0 when the year took less than a minute and gave the same bytes twice, 1
// when not, 2 when something could not be run.
package main

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// target is how long a year of reports on a million readings may take.
const target = time.Minute

func main() {
	readings := flag.Int("readings", 1_000_000, "how many `readings` the year has")
	keep := flag.String("keep", "", "`folder` in which ledger and reports are left")
	flag.Parse()
	took, err := run(context.Background(), *readings, *keep)
	switch {
	case err != nil:
		fmt.Fprintln(os.Stderr, "bench/week:", err)
		os.Exit(2)
	case took > target:
		os.Exit(1)
	}
}

// run makes the year and measures.
func run(ctx context.Context, readings int, keep string) (took time.Duration, err error) {
	dir := keep
	if dir == "" {
		if dir, err = os.MkdirTemp("", "nilvolt-week-"); err != nil {
			return 0, err
		}
		defer os.RemoveAll(dir)
	} else if err := os.MkdirAll(dir, 0o777); err != nil {
		return 0, err
	}
	program, year, ledger := filepath.Join(dir, "nilvolt"), filepath.Join(dir, "year.csv"), filepath.Join(dir, "year.db")
	if _, err := timed(ctx, "go", "build", "-o", program, "./cmd/nilvolt"); err != nil {
		return 0, err
	}
	rows, records, err := writeYear(year, readings)
	if err != nil {
		return 0, err
	}
	took, err = timed(ctx, program, "ingest", year, "--ledger", ledger, "--format", "csv")
	if err != nil {
		return 0, err
	}
	fmt.Printf("ingest: %d rows in %d records, %.1f s\n", rows, records, took.Seconds())
	var digests [2][sha256.Size]byte
	for i, name := range []string{"reports", "again"} {
		out := filepath.Join(dir, name)
		took, err = timed(ctx, program, "report", "--week", "2026-W01..2026-W52", "--zone", "UTC", "--ledger", ledger, "--out", out)
		if err != nil {
			return 0, err
		}
		files := 0
		if files, digests[i], err = digest(out); err != nil {
			return 0, err
		}
		fmt.Printf("52 weekly reports: %.1f s, %d files\n", took.Seconds(), files)
	}
	if digests[0] != digests[1] {
		return 0, errors.New("the same ledger gave other bytes")
	}
	return took, nil
}

// timed runs a program and returns how long it took. That records are not compliant is
// no mistake.
func timed(ctx context.Context, program string, args ...string) (time.Duration, error) {
	cmd := exec.CommandContext(ctx, program, args...)
	begin := time.Now()
	text, err := cmd.CombinedOutput()
	if exit, ok := errors.AsType[*exec.ExitError](err); ok && exit.ExitCode() == 1 && args[0] == "ingest" {
		err = nil
	}
	if err != nil {
		err = fmt.Errorf("%s %s: %w\n%.2000s", filepath.Base(program), args[0], err, text)
	}
	return time.Since(begin), err
}

// digest returns how many files a folder holds, and one hash over all of them.
func digest(dir string) (files int, sum [sha256.Size]byte, err error) {
	h := sha256.New()
	err = filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		fmt.Fprintf(h, "%s %d\n", entry.Name(), len(data))
		h.Write(data)
		files++
		return err
	})
	h.Sum(sum[:0])
	return files, sum, err
}

// The crew: everybody has an indicator of their own, and proves it on one of two units.
const (
	technicians = 30
	sites       = 12
	seed        = 20260101
)

// A year writes records of the working days of 2026.
type year struct {
	out    *bufio.Writer
	random *rand.Rand
	rows   int
	now    time.Time
}

// writeYear writes a year with so many readings.
func writeYear(path string, readings int) (rows, records int, err error) {
	f, err := os.Create(path)
	if err != nil {
		return 0, 0, err
	}
	y := &year{out: bufio.NewWriterSize(f, 1<<20), random: rand.New(rand.NewPCG(seed, 0))}
	y.out.WriteString("record,time,event,indicator,source,from,to,volts,expected,site,technician,supply\n") // errors come out of Flush
	monday := time.Date(2025, time.December, 29, 7, 0, 0, 0, time.UTC)
	const meanReadings = 8.5 // of a record, see record
	each := max(1, int(float64(readings)/meanReadings/(52*5*technicians)))
	for day := 0; y.rows < readings && day < 52*7; day++ {
		if day%7 > 4 {
			continue
		}
		for who := range technicians {
			y.now = monday.AddDate(0, 0, day).Add(time.Duration(y.random.IntN(600)) * time.Second)
			for n := range each {
				y.record(records, who)
				records++
				y.now = monday.AddDate(0, 0, day).Add(time.Duration((n+1)*30+y.random.IntN(10)) * time.Minute)
			}
		}
	}
	return y.rows, records, errors.Join(y.out.Flush(), f.Close())
}

// record writes one record: half of them on single-phase circuits with 5 readings, half
// on three-phase ones with 12. One in twenty has a fault.
func (y *year) record(number, who int) {
	conductors, supply := []string{"L", "N", "E"}, "single-phase"
	if y.random.IntN(2) == 1 {
		conductors, supply = []string{"L1", "L2", "L3", "N", "E"}, "three-phase"
	}
	fault := y.random.IntN(100)
	job := fmt.Sprintf("site %d,Technician %02d,%s", y.random.IntN(sites)+1, who+1, supply)
	id, indicator, unit := fmt.Sprintf("Y%06d", number), fmt.Sprintf("VI-%02d", who+1), fmt.Sprintf("PU-%02d", (who+y.random.IntN(2))%10+1)
	row := func(event, source, pair, volts, expected string) {
		fmt.Fprintf(y.out, "%s,%s,%s,%s,%s,%s,%s,%s,%s\n", id, y.now.Format(time.RFC3339), event, indicator, source, pair, volts, expected, job)
		y.now = y.now.Add(time.Duration(5+y.random.IntN(15)) * time.Second)
		job = ",,"
		y.rows++
	}
	proof := func() string { return fmt.Sprintf("%.1f", 230*(1+0.006*y.random.NormFloat64())) }
	if fault != 0 {
		row("prove", unit, ",", proof(), "230")
	}
	for i, a := range conductors {
		for k, b := range conductors[i+1:] {
			volts := fmt.Sprintf("%.2f", 2*y.random.Float64())
			switch {
			case i > 0 || k > 0:
			case fault == 1:
				volts = "23.4"
			case fault == 2 && number%20 == 0:
				volts = "229.1"
			case fault == 3:
				continue
			}
			row("test", "", a+","+b, volts, "")
		}
	}
	if fault != 4 {
		row("reprove", unit, ",", proof(), "230")
	}
}
