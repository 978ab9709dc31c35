package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"

	"nilvolt/fixtures/instruments"
)

// The program itself on a terminal, with simulated instruments at its ports: Enter
// alone leads through the steps, the instruments do the rest, and the record complies.
func TestScreenOnTerminal(t *testing.T) {
	dir := t.TempDir()
	scenario, err := instruments.Find("good")
	if err != nil {
		t.Fatal(err)
	}
	path := func(name string) string { return filepath.Join(dir, name) }
	for name, text := range map[string]string{"jobs.csv": scenario.Jobs, "instruments.csv": instruments.Register} {
		if err := os.WriteFile(path(name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	rig, err := instruments.NewRig()
	if err != nil {
		t.Fatal(err)
	}
	defer rig.Close()
	cmd := exec.Command(plainProgram(t), "capture", "--indicator", rig.Name(instruments.Indicator), "--source", rig.Name(instruments.Source),
		"--record", instruments.Record, "--jobs", path("jobs.csv"), "--instruments", path("instruments.csv"), "--out", path("R1.csv"))
	cmd.Env = append(os.Environ(), "TERM=xterm", "NO_COLOR=1", "LC_ALL=C.UTF-8")
	terminal, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 24, Cols: 80})
	if err != nil {
		t.Fatal(err)
	}
	defer terminal.Close()
	var shown lockedBuffer
	go func() { _, _ = io.Copy(&shown, terminal) }() // ends with the program

	// until asks again and again until the journal holds what is waited for.
	until := func(what string, ask func()) {
		t.Helper()
		deadline := time.Now().Add(time.Minute)
		for {
			journal, _ := os.ReadFile(path("R1.journal"))
			if strings.Contains(string(journal), what) {
				return
			}
			if time.Now().After(deadline) {
				_ = cmd.Process.Kill()
				t.Fatalf("no %q in the journal:\n%s\nscreen:\n%s", what, journal, shown.String())
			}
			if ask != nil {
				ask()
			}
			time.Sleep(20 * time.Millisecond) // the program is another process: nothing else tells
		}
	}
	key := func(keys string) func() {
		return func() { _, _ = terminal.WriteString(keys) }
	}
	until(" open ", nil)
	until(`"label"`, key("\r"))
	for _, a := range scenario.Actions(1) {
		if a.Place == instruments.Technician || a.Deed != instruments.Send {
			continue
		}
		if err := instruments.Do(rig, a, nil); err != nil {
			t.Fatal(err)
		}
		until(strings.TrimSuffix(a.Text, "\r\n"), nil)
	}
	until(` end `, key("\x03e"))
	if err := cmd.Wait(); err != nil {
		t.Errorf("the record does not comply: %v\n%s", err, shown.String())
	}
	journal, err := os.ReadFile(path("R1.journal"))
	if err != nil {
		t.Fatal(err)
	}
	last := -1
	for _, step := range []string{"inspect", "identify", "permission", "isolate", "lock", "label"} {
		at := bytes.Index(journal, []byte(`"`+step+`"`))
		if at <= last {
			t.Errorf("the step %s is not in its place:\n%s", step, journal)
		}
		last = at
	}
}

// A lockedBuffer is a buffer for two goroutines.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
