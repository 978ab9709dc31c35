// Bench measures how fast nilvolt judges a long file of readings, beside three
// yardsticks that read the same bytes:
//
//	wc       wc -l, which only counts the lines
//	csv      encoding/csv, which reads all fields and judges nothing
//	duckdb   the same judgement as one SQL query, DuckDB with two threads
//	nilvolt  nilvolt verify --stream --format json
//
// It generates the file, runs all of them in turn for several rounds, and prints the
// medians, the ratios and whether each target is met. It also compares the verdicts
// of DuckDB, of nilvolt and of the generator, record by record. The outputs of the
// measured runs go to the null device.
//
//	go run ./bench                      10 million rows, five rounds
//	go run ./bench -rows 1000000        a shorter file
//	go run ./bench -shuffle             the rows in random order
//	go run ./bench -variants            foreign forms of the same readings
//	go run ./bench generate FILE        only write the readings
//
// It needs a Unix with wc, and node with npm for DuckDB (installed into
// bench/duckdb on first use). Exit status: 0 when all targets are met and all
// verdicts agree, 1 when not, 2 when something could not be run.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
)

// options are the flags of the command line.
type options struct {
	rows       int
	rounds     int
	dir        string // where the readings are written; blank is a temporary folder
	shuffle    bool
	variants   bool
	contenders string // names separated by commas
}

func (o *options) addFlags(flags *flag.FlagSet) {
	flags.IntVar(&o.rows, "rows", 10_000_000, "how many `rows` to generate, at least")
	flags.IntVar(&o.rounds, "rounds", 5, "how many times each contender `runs`")
	flags.StringVar(&o.dir, "dir", "", "`folder` to keep the generated files in (default: a temporary one, removed at the end)")
	flags.BoolVar(&o.shuffle, "shuffle", false, "put the rows in random order")
	flags.BoolVar(&o.variants, "variants", false, "measure foreign forms of the readings instead: a map, UTF-16, a workbook")
	flags.StringVar(&o.contenders, "contenders", "wc,csv,duckdb,nilvolt", "`names` of what is run")
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	err := run(ctx, os.Args[1:])
	stop()
	switch {
	case err == nil:
	case errors.Is(err, flag.ErrHelp):
		os.Exit(2)
	case errors.Is(err, errNotMet):
		os.Exit(1)
	default:
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(2)
	}
}

// errNotMet says that the benchmark ran and that a target was missed; the table
// has told which.
var errNotMet = errors.New("a target was missed")

// run does what args say. The words read, generate and variants are also how the
// benchmark calls itself, to be measured or to use memory in a process apart.
func run(ctx context.Context, args []string) error {
	if len(args) > 0 {
		switch args[0] {
		case "read":
			return runRead(args[1:])
		case "generate":
			return runGenerate(args[1:], os.Stdout)
		case "variants":
			return runVariants(args[1:])
		}
	}
	var o options
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	o.addFlags(flags)
	if err := flags.Parse(args); err != nil {
		return flag.ErrHelp // flags has printed what is wrong
	}
	if flags.NArg() > 0 || o.rows < 1 || o.rounds < 1 {
		return fmt.Errorf("unknown arguments %q, or rows or rounds below 1; see go run ./bench -h", flags.Args())
	}
	return benchmark(ctx, o)
}

// benchmark prepares the folder and the programs and measures.
func benchmark(ctx context.Context, o options) (err error) {
	dir := o.dir
	if dir == "" {
		if dir, err = os.MkdirTemp("", "nilvolt-bench-"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	} else if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	var names []string
	for name := range strings.SplitSeq(o.contenders, ",") {
		names = append(names, strings.TrimSpace(name))
	}
	if o.variants {
		names = []string{"nilvolt"}
	}
	programs, err := prepare(ctx, dir, names)
	if err != nil {
		return err
	}
	fmt.Println(machine())
	if o.variants {
		return measureVariants(ctx, o, programs, dir)
	}
	return measureReadings(ctx, o, programs, filepath.Join(dir, "readings.csv"))
}

// measureReadings generates the readings, measures all contenders on them and
// compares the verdicts.
func measureReadings(ctx context.Context, o options, programs []contender, readings string) error {
	want, err := generateApart(ctx, readings, o.rows, o.shuffle)
	if err != nil {
		return err
	}
	size, err := warm(readings)
	if err != nil {
		return err
	}
	order := "contiguous records"
	if o.shuffle {
		order = "rows in random order"
	}
	fmt.Printf("%d rows, %d records, %d bytes (%.1f a row), %s; medians of %d interleaved rounds\n\n",
		want.Rows, want.Records, size, float64(size)/float64(want.Rows), order, o.rounds)
	inputs := make([]string, len(programs))
	for i := range inputs {
		inputs[i] = readings
	}
	results, err := measureRounds(ctx, programs, inputs, o.rounds)
	if err != nil {
		return err
	}
	printTable(os.Stdout, results)
	targets := contiguousTargets
	if o.shuffle {
		targets = shuffledTargets
	}
	met := printTargets(os.Stdout, targets(results, want.Rows))
	agreed, err := compareVerdicts(ctx, os.Stdout, programs, readings, want)
	if err != nil {
		return err
	}
	if !met || !agreed {
		return errNotMet
	}
	return nil
}
