package main

import (
	"bufio"
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write what the commands print into the scripts; read the difference before it is committed")

func TestMain(m *testing.M) {
	testscript.Main(tidying{m}, map[string]func(){"nilvolt": main})
}

// tidying runs the tests and removes what they have built.
type tidying struct{ m *testing.M }

func (t tidying) Run() int {
	code := t.m.Run()
	if path, ok := built.Load().(string); ok {
		os.RemoveAll(filepath.Dir(path))
	}
	return code
}

// built is the path of the program that buildPlain has built, a string.
var built atomic.Value

// plainProgram returns the path of nilvolt without the race detector, which makes a
// process start many times slower: some tests start hundreds.
func plainProgram(t *testing.T) string {
	t.Helper()
	path, err := buildPlain()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// buildPlain builds it once.
var buildPlain = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "nilvolt-test-")
	if err != nil {
		return "", err
	}
	if err := os.Chmod(dir, 0o755); err != nil { // some tests run it as somebody else
		return "", err
	}
	path := filepath.Join(dir, "nilvolt")
	built.Store(path)
	out, err := exec.Command("go", "build", "-buildvcs=false", "-o", path, ".").CombinedOutput()
	if err != nil {
		err = fmt.Errorf("%w: %s", err, out)
	}
	return path, err
})

// TestScripts runs the command lines of testdata, which are the specification of
// the commands.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       *update,
		Setup: func(env *testscript.Env) error {
			demo, err := filepath.Abs("../../fixtures/demo")
			env.Setenv("DEMO", demo)
			env.Setenv("TZ", "UTC")
			return err
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"code":     scriptCode,
			"exits":    scriptExits,
			"generate": scriptGenerate,
			"plain":    scriptPlain,
			"verifier": scriptVerifier,
		},
	})
}

// scriptExits runs a program and asks for its exit code, as in
//
//	exits 2 nilvolt verify x.csv
func scriptExits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM [ARG...]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		exit, ok := errors.AsType[*exec.ExitError](err)
		if !ok {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}

// scriptPlain lets the lines below it run nilvolt without the race detector. For a script
// of what one goroutine computes: it is many times slower with it.
func scriptPlain(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) > 0 {
		ts.Fatalf("usage: plain")
	}
	path, err := buildPlain()
	ts.Check(err)
	ts.Setenv("PATH", filepath.Dir(path)+string(filepath.ListSeparator)+ts.Getenv("PATH"))
}

// scriptVerifier sets $VERIFIER to the public key of a ledger, as in
// verifier site.db.
func scriptVerifier(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: verifier LEDGER")
	}
	_, public, found := strings.Cut(strings.TrimSpace(ts.ReadFile(args[0]+".key")), "\n")
	if !found {
		ts.Fatalf("no public key beside %s", args[0])
	}
	ts.Setenv("VERIFIER", public)
}

// scriptCode sets $CODE to the text of the code on a sheet, as in code record-R7.html.
func scriptCode(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: code PAGE")
	}
	_, text, found := strings.Cut(ts.ReadFile(args[0]), "nilvolt-sheet-1/")
	if !found {
		ts.Fatalf("no code in %s", args[0])
	}
	ts.Setenv("CODE", "nilvolt-sheet-1/"+text[:strings.IndexByte(text, '<')])
}

// generate writes files that are too large or too odd to stand in a script.
var generate = map[string]func(w *bytes.Buffer, n int){
	// n bytes in one line, behind a sound header
	"line": func(w *bytes.Buffer, n int) {
		w.WriteString("record,time,event,indicator,volts\nR1,2026-03-02T09:00:00Z,test,VI-1,")
		w.Write(bytes.Repeat([]byte("9"), n))
		w.WriteString("\n")
	},
	// n rows whose volts are no number
	"badrows": func(w *bytes.Buffer, n int) {
		w.WriteString("record,time,event,indicator,pair,volts\n")
		for i := range n {
			fmt.Fprintf(w, "R%d,2026-03-02T09:00:00Z,test,VI-1,L-N,1O%d\n", i, i)
		}
	},
	// n bytes of every value, as a program or a picture holds them
	"rubbish": func(w *bytes.Buffer, n int) {
		x := uint32(1)
		for range n {
			x = x*1664525 + 1013904223 // Numerical Recipes, 7.1
			w.WriteByte(byte(x >> 24))
		}
	},
	// a last line without an end, in which n is the start of a longer number
	"cut": func(w *bytes.Buffer, n int) {
		fmt.Fprintf(w, "record,time,event,indicator,pair,volts\nR1,2026-03-02T09:00:00Z,test,VI-1,L-N,%d", n)
	},
	// a NUL where n of volts should stand
	"nul": func(w *bytes.Buffer, n int) {
		fmt.Fprintf(w, "record,time,event,indicator,pair,volts\nR1,2026-03-02T09:00:00Z,test,VI-1,L-N,%d\x00\n", n)
	},
	// n compliant single-phase records, up to 1000, no two with the same readings
	"records": func(w *bytes.Buffer, n int) {
		w.WriteString("record,time,event,indicator,source,from,to,volts,expected,supply\n")
		for i := range n {
			at := fmt.Sprintf("R%d,2026-03-%02dT%02d:%02d:", i, 1+i/1440%28, i/60%24, i%60)
			fmt.Fprintf(w, "%s00Z,prove,VI-1,PU-1,,,229.8,230,single-phase\n", at)
			fmt.Fprintf(w, "%s10Z,test,VI-1,,E,L,0.%d,,single-phase\n", at, i%10)
			fmt.Fprintf(w, "%s20Z,test,VI-1,,N,L,0.%d,,single-phase\n", at, i/10%10)
			fmt.Fprintf(w, "%s30Z,test,VI-1,,E,N,0.%d,,single-phase\n", at, i/100%10)
			fmt.Fprintf(w, "%s40Z,reprove,VI-1,PU-1,,,230.1,230,single-phase\n", at)
		}
	},
}

// scriptGenerate writes a file, as in
//
//	generate badrows 10000 bad.csv
func scriptGenerate(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 || generate[args[0]] == nil {
		ts.Fatalf("usage: generate KIND N FILE")
	}
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	var text bytes.Buffer
	generate[args[0]](&text, n)
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), text.Bytes(), 0o666))
}

// TestExamplesOfTheHelpAreRealCommands holds the examples of every command to
// the command line itself.
func TestExamplesOfTheHelpAreRealCommands(t *testing.T) {
	c := &console{out: bufio.NewWriter(io.Discard), err: io.Discard, getenv: func(string) string { return "" }}
	root := newRoot(c)
	commands := root.Commands()
	for _, sub := range root.Commands() {
		commands = append(commands, sub.Commands()...)
	}
	examples := 0
	for _, cmd := range commands {
		for line := range strings.Lines(cmd.Example) {
			examples++
			args := strings.Fields(line)
			if args[0] != "nilvolt" {
				t.Errorf("%s: %q does not begin with the program", cmd.CommandPath(), line)
			}
			found, rest, err := newRoot(c).Find(args[1:])
			if err != nil || !found.Runnable() {
				t.Errorf("%q names no command: %v", line, err)
				continue
			}
			if err := found.ParseFlags(rest); err != nil {
				t.Errorf("%q: %v", line, err)
			}
		}
	}
	if examples < 5 {
		t.Errorf("only %d examples", examples)
	}
}
