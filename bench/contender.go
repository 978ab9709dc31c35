package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// A contender is a program that is measured on a file of readings.
type contender struct {
	name  string
	title string // as the table calls it
	// args returns the command line that reads the file input and writes its
	// output to the file out.
	args func(input, out string) []string
	// toStdout says that the output goes to standard output instead of to out.
	toStdout bool
	// judges says that it writes a verdict a record.
	judges bool
}

// prepare builds or installs the contenders named; dir takes the programs built.
func prepare(ctx context.Context, dir string, names []string) ([]contender, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	root, err := moduleRoot(ctx)
	if err != nil {
		return nil, err
	}
	var programs []contender
	for _, name := range names {
		c := contender{name: name, toStdout: true}
		switch name {
		case "wc":
			c.title = "wc -l"
			c.args = func(input, _ string) []string { return []string{"wc", "-l", input} }
		case "csv":
			c.title = "encoding/csv"
			c.args = func(input, _ string) []string { return []string{self, "read", input} }
		case "duckdb":
			folder := filepath.Join(root, "bench", "duckdb")
			if err := installDuckDB(ctx, folder); err != nil {
				return nil, err
			}
			c.title, c.judges, c.toStdout = "DuckDB", true, false
			c.args = func(input, out string) []string {
				return []string{"node", filepath.Join(folder, "judge.mjs"), input, out}
			}
		case "nilvolt":
			program := filepath.Join(dir, "nilvolt")
			if err := command(ctx, root, "go", "build", "-o", program, "./cmd/nilvolt"); err != nil {
				return nil, err
			}
			c.title, c.judges = "nilvolt", true
			c.args = func(input, _ string) []string {
				return []string{program, "verify", "--stream", "--format", "json", input}
			}
		default:
			return nil, fmt.Errorf("no contender %q; there are wc, csv, duckdb and nilvolt", name)
		}
		programs = append(programs, c)
	}
	return programs, nil
}

// moduleRoot returns the folder of this module, in which go run was called.
func moduleRoot(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "go", "list", "-m", "-f", "{{.Path}} {{.Dir}}").Output()
	if err != nil {
		return "", fmt.Errorf("go list -m: %w", err)
	}
	dir, found := strings.CutPrefix(strings.TrimSpace(string(out)), "nilvolt ")
	if !found {
		return "", errors.New("call it from within the folder of the project: go run ./bench")
	}
	return dir, nil
}

// installDuckDB fetches DuckDB for node once, as the lock file pins it.
func installDuckDB(ctx context.Context, folder string) error {
	for _, program := range []string{"node", "npm"} {
		if _, err := exec.LookPath(program); err != nil {
			return fmt.Errorf("DuckDB needs %s: install it, or measure without: -contenders wc,csv,nilvolt", program)
		}
	}
	if _, err := os.Stat(filepath.Join(folder, "node_modules", "@duckdb", "node-api")); err == nil {
		return nil
	}
	return command(ctx, folder, "npm", "ci", "--no-audit", "--no-fund", "--ignore-scripts")
}

// command runs a command in folder and returns its output only when it goes wrong.
func command(ctx context.Context, folder string, args ...string) error {
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	cmd.Dir = folder
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", strings.Join(args, " "), err, out)
	}
	return nil
}

// runRead reads a file with encoding/csv and prints the number of rows.
func runRead(args []string) error {
	if len(args) != 1 {
		return errors.New("read takes one file")
	}
	f, err := os.Open(args[0])
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.ReuseRecord = true
	for rows := 0; ; rows++ {
		switch _, err := r.Read(); {
		case errors.Is(err, io.EOF):
			fmt.Println(rows)
			return nil
		case err != nil:
			return err
		}
	}
}

// runGenerate writes the readings to a file and what they are to be judged as to
// w, as JSON.
func runGenerate(args []string, w io.Writer) error {
	flags := flag.NewFlagSet("generate", flag.ContinueOnError)
	rows := flags.Int("rows", 10_000_000, "how many `rows`, at least")
	shuffle := flags.Bool("shuffle", false, "put the rows in random order")
	if err := flags.Parse(args); err != nil {
		return flag.ErrHelp
	}
	if flags.NArg() != 1 {
		return errors.New("generate takes the file to write")
	}
	f, err := os.Create(flags.Arg(0))
	if err != nil {
		return err
	}
	write := generate
	if *shuffle {
		write = generateShuffled
	}
	t, err := write(f, *rows)
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	return json.NewEncoder(w).Encode(t)
}

// generateApart is runGenerate in a process of its own.
func generateApart(ctx context.Context, readings string, rows int, shuffle bool) (tally, error) {
	var out bytes.Buffer
	err := runApart(ctx, &out, "generate", fmt.Sprintf("-rows=%d", rows), fmt.Sprintf("-shuffle=%t", shuffle), readings)
	if err != nil {
		return tally{}, err
	}
	var t tally
	err = json.Unmarshal(out.Bytes(), &t)
	return t, err
}

// runApart lets the benchmark call itself. What a process starts inherits the peak
// memory that it had itself, so the one that measures must stay small.
func runApart(ctx context.Context, out io.Writer, args ...string) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, self, args...)
	cmd.Stdout, cmd.Stderr = out, os.Stderr
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("%s: %w", args[0], err)
	}
	return nil
}
