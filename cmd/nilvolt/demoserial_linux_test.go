package main

import (
	"bufio"
	"bytes"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/term"

	"nilvolt/fixtures/instruments"
)

// Whoever listens at the ports of the demo gets all that is sent, also when nothing is
// read before the last Enter.
func TestDemoByHandSendsAll(t *testing.T) {
	scenario, err := instruments.Find("fault")
	if err != nil {
		t.Fatal(err)
	}
	var want string
	actions := scenario.Actions(1)
	for _, a := range actions {
		if a.Place == instruments.Indicator {
			want += a.Text
		}
	}
	enters, keys := io.Pipe()
	read, printed := io.Pipe()
	ended := make(chan error, 1)
	dir := filepath.Join(t.TempDir(), "demo")
	go func() {
		c := &console{in: enters, out: bufio.NewWriter(printed), err: io.Discard}
		err := runDemoSerial(t.Context(), &demoOptions{serial: true, scenario: "fault", seed: 1, pace: 1, byHand: true}, dir, c)
		printed.CloseWithError(err)
		ended <- err
	}()
	lines := bufio.NewScanner(read)
	until := func(what string) string {
		for lines.Scan() {
			if strings.Contains(lines.Text(), what) {
				return lines.Text()
			}
		}
		t.Fatalf("%q is not printed", what)
		return ""
	}
	name := regexp.MustCompile(`--indicator (\S+)`).FindStringSubmatch(until("nilvolt capture"))[1]
	port, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	if _, err := term.MakeRaw(int(port.Fd())); err != nil {
		t.Fatal(err)
	}
	go func() { _, _ = keys.Write(bytes.Repeat([]byte("\n"), len(actions))) }()
	until("that was all")
	got := make([]byte, len(want))
	if n, err := io.ReadFull(port, got); err != nil {
		t.Errorf("%v behind %q", err, got[:n])
	}
	if string(got) != want {
		t.Errorf("%q came, and not %q", got, want)
	}
	select {
	case err := <-ended:
		t.Fatalf("the ports are taken away while somebody listens: %v", err)
	default:
	}
	port.Close()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
