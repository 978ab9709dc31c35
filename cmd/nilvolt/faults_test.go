package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	mathrand "math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"nilvolt/ledger"
	"nilvolt/ledger/ledgertest"
)

// A faultPlace is a ledger that processes of nilvolt work on.
type faultPlace struct {
	where string
	key   string
	dir   string // of the files handed in

	through []string        // a program that runs nilvolt; nil: it is run at once
	prepare func(*exec.Cmd) // what else a process needs; may be nil
}

// writeReadings writes a file of n compliant records, whose ids begin with a prefix
// and which were made with an indicator of their own.
func (p *faultPlace) writeReadings(t *testing.T, prefix string, n int) string {
	t.Helper()
	name := filepath.Join(p.dir, prefix+".csv")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriter(f)
	var text bytes.Buffer
	generate["records"](&text, n)
	for i, line := range strings.SplitAfter(text.String(), "\n") {
		if i > 0 && line != "" {
			w.WriteString(prefix + "-")
		}
		w.WriteString(strings.Replace(line, ",VI-1,", ",VI-"+prefix+",", 1))
	}
	if err := errors.Join(w.Flush(), f.Close()); err != nil {
		t.Fatal(err)
	}
	return name
}

// command is a process of nilvolt that ingests a file.
func (p *faultPlace) command(t *testing.T, name string) (*exec.Cmd, *bytes.Buffer) {
	t.Helper()
	args := append(slices.Clone(p.through), plainProgram(t), "ingest", name, "--ledger", p.where, "--key", p.key, "--format", "csv")
	cmd := exec.Command(args[0], args[1:]...)
	if p.prepare != nil {
		p.prepare(cmd)
	}
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	return cmd, &out
}

// ingest ingests a file and returns the exit code.
func (p *faultPlace) ingest(t *testing.T, name string) (code int, out string) {
	t.Helper()
	cmd, buf := p.command(t, name)
	return exitOf(t, cmd.Run()), buf.String()
}

// exitOf returns the exit code of a process, -1 if a signal ended it.
func exitOf(t *testing.T, err error) int {
	t.Helper()
	if err == nil {
		return 0
	}
	exit, ok := errors.AsType[*exec.ExitError](err)
	if !ok {
		t.Fatal(err)
	}
	return exit.ExitCode()
}

// open opens the ledger.
func (p *faultPlace) open(t *testing.T) *ledger.Ledger {
	t.Helper()
	l, err := ledger.Open(context.Background(), p.where, ledger.Options{KeyFile: p.key, Now: time.Now, Random: rand.Reader})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

// check holds the ledger to what was acknowledged: it is clean, every file that was
// is there, and none is there twice. n is how many records a file has.
func (p *faultPlace) check(t *testing.T, acknowledged map[string]bool, n int) {
	t.Helper()
	l := p.open(t)
	r, err := l.Audit(context.Background(), ledger.AuditOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !r.Clean() {
		t.Fatalf("the audit found %q", r.Complaints)
	}
	uploads, err := l.Uploads(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	times := map[string]int{}
	for _, u := range uploads {
		times[u.Files[0].Name]++
	}
	for name, count := range times {
		if count > 1 {
			t.Errorf("%s is kept %d times", name, count)
		}
	}
	for name := range acknowledged {
		if times[name] != 1 {
			t.Errorf("%s was acknowledged and is kept %d times", name, times[name])
		}
	}
	if want := int64(n * len(uploads)); r.Rows["version"] != want || r.Rows["judgement"] < want {
		t.Errorf("%d uploads of %d records, and %d versions and %d judgements", len(uploads), n, r.Rows["version"], r.Rows["judgement"])
	}
}

// faultPlaces are ledgers on both databases.
func faultPlaces(t *testing.T) map[string]*faultPlace {
	sqliteDir, postgresDir := t.TempDir(), t.TempDir()
	places := map[string]*faultPlace{
		"sqlite": {where: filepath.Join(sqliteDir, "l.db"), key: filepath.Join(sqliteDir, "key"), dir: sqliteDir},
	}
	if server := startPostgres(t); server != nil {
		places["postgres"] = &faultPlace{where: server.Database(t), key: filepath.Join(postgresDir, "key"), dir: postgresDir}
	}
	return places
}

// startPostgres starts a server for one test, nil where there is no PostgreSQL and
// no need for one.
func startPostgres(t *testing.T) *ledgertest.Server {
	t.Helper()
	server, err := ledgertest.Start()
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Log(err)
		return nil
	}
	t.Cleanup(func() {
		if err := server.Stop(); err != nil {
			t.Error(err)
		}
	})
	return server
}

// seed makes the moments of TestKilled the same each time, as far as a process runs
// as fast each time.
var seed = flag.Uint64("seed", 1, "of the random moments at which ingest is killed")

// TestKilled ends ingest at hundreds of random moments, without warning and with an
// interrupt in turn.
func TestKilled(t *testing.T) {
	kills := map[string]int{"sqlite": 300, "postgres": 200}
	if testing.Short() {
		kills = map[string]int{"sqlite": 40, "postgres": 20}
	}
	for name, p := range faultPlaces(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			killOften(t, p, kills[name])
		})
	}
}

func killOften(t *testing.T, p *faultPlace, kills int) {
	const records = 60
	random := mathrand.New(mathrand.NewPCG(*seed, 1))
	acknowledged := map[string]bool{}
	whole := p.pace(t, acknowledged, records)
	var lost []string
	for n := range kills {
		file := p.writeReadings(t, fmt.Sprintf("f%d", n), records)
		cmd, out := p.command(t, file)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		signal := os.Kill
		if n%4 == 3 {
			signal = os.Interrupt
		}
		timer := time.AfterFunc(time.Duration(random.Int64N(int64(whole)*3/2)), func() { _ = cmd.Process.Signal(signal) })
		// What it prints is as good as its exit code: whoever reads the first result may
		// take the upload for kept.
		if code := exitOf(t, cmd.Wait()); code == 0 || strings.Contains(out.String(), ",new,") {
			acknowledged[file] = true
		} else {
			lost = append(lost, file)
		}
		timer.Stop()
		if n%50 == 49 {
			p.check(t, acknowledged, records)
		}
	}
	t.Logf("%d of %d came through", kills-len(lost), kills)
	if len(lost) < kills/4 {
		t.Errorf("only %d were ended before they were done", len(lost))
	}
	// Handed in again, each is kept once, those that were kept before they were ended
	// included.
	for _, i := range random.Perm(len(lost))[:min(len(lost), 40)] {
		if code, out := p.ingest(t, lost[i]); code != 0 {
			t.Fatalf("exit code %d: %s", code, out)
		}
		acknowledged[lost[i]] = true
	}
	p.check(t, acknowledged, records)
}

// pace keeps some files and returns how long one takes that nobody disturbs, the
// shortest.
func (p *faultPlace) pace(t *testing.T, acknowledged map[string]bool, records int) time.Duration {
	t.Helper()
	var times []time.Duration
	for n := range 4 {
		file := p.writeReadings(t, fmt.Sprintf("first%d", n), records)
		begun := time.Now()
		if code, out := p.ingest(t, file); code != 0 {
			t.Fatal(out)
		}
		times = append(times, time.Since(begun))
		acknowledged[file] = true
	}
	return slices.Min(times)
}

// TestAtOnce hands one file and others in from several processes at once.
func TestAtOnce(t *testing.T) {
	for name, p := range faultPlaces(t) {
		t.Run(name, func(t *testing.T) {
			const records = 200
			same := p.writeReadings(t, "same", records)
			acknowledged := map[string]bool{same: true}
			commands := make([]*exec.Cmd, 0, 8)
			outputs := make([]*bytes.Buffer, 0, 8)
			for n := range 8 {
				file := same
				if n%2 == 1 {
					file = p.writeReadings(t, fmt.Sprintf("own%d", n), records)
					acknowledged[file] = true
				}
				cmd, out := p.command(t, file)
				commands, outputs = append(commands, cmd), append(outputs, out)
			}
			var group sync.WaitGroup
			errs := make([]error, len(commands))
			for i, cmd := range commands {
				group.Go(func() { errs[i] = cmd.Run() })
			}
			group.Wait()
			already := 0
			for i, err := range errs {
				if err != nil {
					t.Errorf("%v: %s", err, outputs[i])
				}
				if strings.Contains(outputs[i].String(), "kept already") {
					already++
				}
			}
			if already != 3 {
				t.Errorf("%d of four were told that the file is kept already", already)
			}
			p.check(t, acknowledged, records)
		})
	}
}

// TestServerRestarted stops PostgreSQL at random moments of an ingest, as a power
// cut would, and starts it again.
func TestServerRestarted(t *testing.T) {
	server := startPostgres(t)
	if server == nil {
		t.Skip("no postgresql")
	}
	dir := t.TempDir()
	p := &faultPlace{where: server.Database(t), key: filepath.Join(dir, "key"), dir: dir}
	const records = 2000
	begun := time.Now()
	first := p.writeReadings(t, "first", records)
	if code, out := p.ingest(t, first); code != 0 {
		t.Fatal(out)
	}
	whole := time.Since(begun)
	acknowledged := map[string]bool{first: true}
	broken := 0
	for n := range 8 {
		file := p.writeReadings(t, fmt.Sprintf("f%d", n), records)
		cmd, out := p.command(t, file)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		restarted := make(chan error)
		time.AfterFunc(whole*time.Duration(n+1)/8, func() { restarted <- server.Restart() })
		code := exitOf(t, cmd.Wait())
		if err := <-restarted; err != nil {
			t.Fatal(err)
		}
		switch code {
		case 0:
			acknowledged[file] = true
		case 2:
			broken++
			if !strings.Contains(out.String(), "nothing was kept") {
				t.Errorf("told: %s", out)
			}
		default:
			t.Errorf("exit code %d: %s", code, out)
		}
		p.check(t, acknowledged, records)
	}
	if broken == 0 {
		t.Error("no ingest was disturbed")
	}
}

// TestDamagedPage overwrites every page of a ledger's file in turn.
func TestDamagedPage(t *testing.T) {
	const pageSize = 4096 // SQLite's default
	dir := t.TempDir()
	p := &faultPlace{where: filepath.Join(dir, "l.db"), key: filepath.Join(dir, "key"), dir: dir}
	if code, out := p.ingest(t, p.writeReadings(t, "a", 40)); code != 0 {
		t.Fatal(out)
	}
	good, err := os.ReadFile(p.where)
	if err != nil {
		t.Fatal(err)
	}
	damaged := filepath.Join(dir, "damaged.db")
	pages := 0
	for start := 0; start < len(good); start += pageSize {
		pages++
		bad := slices.Clone(good)
		if _, err := rand.Read(bad[start : start+pageSize]); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(damaged, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if clean := auditIsClean(damaged); clean {
			t.Errorf("page %d is damaged and the audit is clean", pages)
		}
	}
	if pages < 20 {
		t.Errorf("only %d pages", pages)
	}
}

// auditIsClean reports whether a ledger can be opened and its audit finds nothing.
func auditIsClean(where string) bool {
	l, err := ledger.Open(context.Background(), where, ledger.Options{Now: time.Now, Random: rand.Reader})
	if err != nil {
		return false
	}
	defer l.Close()
	r, err := l.Audit(context.Background(), ledger.AuditOptions{})
	return err == nil && r.Clean()
}
