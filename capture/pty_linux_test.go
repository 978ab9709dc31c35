package capture

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nilvolt/fixtures/instruments"
	"nilvolt/record"
)

// newRig returns a rig that is taken away at the end of the test.
func newRig(t *testing.T) instruments.Rig {
	t.Helper()
	rig, err := instruments.NewRig()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { rig.Close() })
	return rig
}

// ptyConfig is a session at the ports of a rig.
func ptyConfig(rig instruments.Rig, journal string) Config {
	return Config{
		Journal: journal, Header: Header{Record: "R1"},
		Ports: []PortConfig{
			{Role: Indicator, Name: rig.Name(instruments.Indicator), Settings: DefaultSettings()},
			{Role: Source, Name: rig.Name(instruments.Source), Settings: DefaultSettings()},
		},
	}
}

// A flood on both ports at once is in the journal to the last byte. Two ports at
// 115,200 baud bring at most 2 x 11,520 bytes a second (8N1: ten bits a byte); here
// they are sent as fast as the system takes them. A line is sent at once as a burst
// with others, so lines arrive in any pieces.
func TestFloodOnBothPorts(t *testing.T) {
	rig := newRig(t)
	cfg := ptyConfig(rig, filepath.Join(t.TempDir(), "J"))
	for i := range cfg.Ports {
		cfg.Ports[i].Settings.Baud = 115200
	}
	const lines = 5000
	r := run(t, cfg)
	var want [numRoles]bytes.Buffer
	start := time.Now()
	failed := make(chan error, 2)
	for _, place := range []instruments.Place{instruments.Indicator, instruments.Source} {
		role := map[instruments.Place]Role{instruments.Indicator: Indicator, instruments.Source: Source}[place]
		fmt.Fprint(&want[role], "event,indicator,source,from,to,volts,seq\n")
		for i := range lines {
			if role == Indicator {
				fmt.Fprintf(&want[role], "test,VI-1,,N,L,0.%d,%d\n", i%10, i)
			} else {
				fmt.Fprintf(&want[role], "prove,,PU-1,,,%d,%d\n", 200+i%100, i)
			}
		}
		go func() {
			random := rand.New(rand.NewPCG(1, uint64(role)))
			for rest := want[role].Bytes(); len(rest) > 0; {
				n := min(len(rest), 1+random.IntN(400))
				if err := rig.Send(place, rest[:n]); err != nil {
					failed <- err
					return
				}
				rest = rest[n:]
			}
			failed <- nil
		}()
	}
	for range 2 {
		if err := <-failed; err != nil {
			t.Fatal(err)
		}
	}
	r.untilEvents(lines)
	rate := float64(want[Indicator].Len()+want[Source].Len()) / time.Since(start).Seconds()
	st := r.end()
	data, err := os.ReadFile(cfg.Journal)
	if err != nil {
		t.Fatal(err)
	}
	c, err := ReadJournal(data, "J")
	if err != nil {
		t.Fatal(err)
	}
	var got [numRoles]strings.Builder
	for _, e := range c.Entries {
		if e.Kind == Line || e.Kind == Part {
			got[e.Port].WriteString(e.Data)
		}
	}
	for role := Indicator; role < numRoles; role++ {
		if got[role].String() != want[role].String() {
			t.Errorf("%v: %d bytes in the journal of %d that were sent", role, got[role].Len(), want[role].Len())
		}
	}
	for i, ev := range st.Record().Events {
		if ev.Seq != int64(i) {
			t.Fatalf("event %d is the reading %d", i, ev.Seq)
		}
	}
	if len(st.Unread()) > 0 {
		t.Errorf("could not read %+v", st.Unread()[0])
	}
	if rate < 2*11520 {
		t.Errorf("%.0f bytes a second are less than two ports bring", rate)
	}
	t.Logf("%.0f bytes a second", rate)
}

// A port is open once.
func TestPortIsOpenOnce(t *testing.T) {
	rig := newRig(t)
	name := rig.Name(instruments.Indicator)
	p, err := SerialPorts().Open(name, DefaultSettings())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := SerialPorts().Open(name, DefaultSettings()); err == nil || !strings.Contains(err.Error(), ErrInUse.Error()) {
		t.Errorf("opened twice: %v", err)
	}
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	if p, err = SerialPorts().Open(name, DefaultSettings()); err != nil {
		t.Fatal(err)
	}
	p.Close()
}

func TestSettings(t *testing.T) {
	for _, s := range []Settings{{9600, 8, "", "1"}, {9600, 8, "nought", "1"}, {9600, 9, "none", "1"}, {9600, 4, "none", "1"}, {9600, 8, "none", "3"}, {0, 8, "none", "1"}, {-1, 8, "none", "1"}} {
		if _, err := SerialPorts().Open("/dev/null", s); err == nil {
			t.Errorf("%+v was taken", s)
		}
	}
	if got := (Settings{19200, 7, "even", "2"}).String(); got != "19200 7E2" {
		t.Errorf("written %q", got)
	}
}

// A cable that is pulled and put in again, at a port of another name.
func TestUnplugAndUse(t *testing.T) {
	rig := newRig(t)
	r := run(t, ptyConfig(rig, filepath.Join(t.TempDir(), "J")))
	send := func(text string) {
		if err := rig.Send(instruments.Indicator, []byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	send(header)
	send(goodLines[1])
	r.untilEvents(1)
	if err := rig.Unplug(instruments.Indicator); err != nil {
		t.Fatal(err)
	}
	r.hasNotice("the indicator is gone")
	if err := rig.Plug(instruments.Indicator); err != nil {
		t.Fatal(err)
	}
	r.say("use indicator " + rig.Name(instruments.Indicator))
	r.hasNotice("is read again")
	for _, line := range goodLines {
		if line != goodLines[1] {
			send(line)
		}
	}
	if u := r.untilEvents(5); u.Judgement.Status != record.Compliant {
		t.Errorf("%v", u.Judgement.Status)
	}
	r.end()
}

// A meter that is asked over a wire.
func TestPolledOverAWire(t *testing.T) {
	rig := newRig(t)
	wire, ok := rig.(interface {
		Near(p instruments.Place) *os.File
	})
	if !ok {
		t.Fatal("the rig has no wire")
	}
	meter := &instruments.Meter{Identity: "Example works,M1,VI-31,1.0", Volts: func(string) string { return "+1.2E-01" }}
	near := wire.Near(instruments.Indicator)
	go func() { _ = meter.Serve(near) }() // ends with the rig
	cfg := ptyConfig(rig, filepath.Join(t.TempDir(), "J"))
	cfg.Ports = cfg.Ports[:1]
	cfg.Waveform = record.AC
	r := run(t, cfg)
	r.say("test L-N")
	if ev := r.untilEvents(1).Record.Events[0]; ev.Volts.Volts != 0.12 || ev.Indicator != "VI-31" {
		t.Errorf("%+v", ev)
	}
	r.end()
}

// TestMain runs a session instead of the tests where the environment says so: as a
// process of its own, to be killed.
func TestMain(m *testing.M) {
	if journal := os.Getenv("CAPTURE_CHILD"); journal != "" {
		os.Exit(captureChild(journal, os.Getenv("CAPTURE_PORT")))
	}
	os.Exit(m.Run())
}

// captureChild captures and prints the counter of every reading once it is shown.
func captureChild(journal, port string) int {
	s, err := Start(Config{
		Journal: journal, Header: Header{Record: "R1", Columns: strings.TrimSpace(killHeader)},
		Ports: []PortConfig{{Role: Indicator, Name: port, Settings: DefaultSettings()}},
		Show: func(u *Update) {
			for _, ev := range u.Events {
				if ev.HasSeq {
					fmt.Println(ev.Seq)
				}
			}
		},
	})
	if err == nil {
		fmt.Println("ready")
		err = s.Run(context.Background())
	}
	fmt.Fprintln(os.Stderr, err)
	return 1
}

const killHeader = "event,indicator,pair,volts,seq\n"

// Killed at any moment, again and again, the journal holds every reading that was
// shown, and the next session goes on with it. Where the kills fall is up to the
// machine; the property holds for all of them.
func TestKilledAtAnyMoment(t *testing.T) {
	kills := 40
	if testing.Short() {
		kills = 5
	}
	rig := newRig(t)
	journal := filepath.Join(t.TempDir(), "J")
	random := rand.New(rand.NewPCG(1, 2))
	stop := make(chan struct{})
	defer close(stop)
	sent := make(chan struct{}, 1000) // a reading is only sent when the last ones were shown or lost
	go func() {
		for seq := 0; ; seq++ {
			select {
			case <-stop:
				return
			case <-sent:
			}
			_ = rig.Send(instruments.Indicator, fmt.Appendf(nil, "test,VI-1,L-N,0.4,%d\n", seq)) // nobody listens between two sessions
		}
	}()
	shown := map[string]bool{}
	for kill := range kills {
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), "CAPTURE_CHILD="+journal, "CAPTURE_PORT="+rig.Name(instruments.Indicator))
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		var complaint bytes.Buffer
		child.Stderr = &complaint
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		if !lines.Scan() || lines.Text() != "ready" {
			_ = child.Wait() // its exit is what is told
			t.Fatalf("kill %d: the session did not begin: %s", kill, complaint.String())
		}
		for range 20 {
			sent <- struct{}{}
		}
		for range random.IntN(20) {
			if !lines.Scan() {
				t.Fatalf("kill %d: %s", kill, complaint.String())
			}
			shown[lines.Text()] = true
		}
		if err := child.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		for lines.Scan() { // what was printed before the kill was shown too
			shown[lines.Text()] = true
		}
		_ = child.Wait() // killed, as it should be
	}
	kept := map[string]bool{}
	for _, ev := range replayFile(t, journal).Record().Events {
		if ev.HasSeq {
			if seq := fmt.Sprint(ev.Seq); kept[seq] {
				t.Errorf("reading %s is there twice", seq)
			}
			kept[fmt.Sprint(ev.Seq)] = true
		}
	}
	for seq := range shown {
		if !kept[seq] {
			t.Errorf("reading %s was shown and is not in the journal", seq)
		}
	}
	if len(shown) < kills {
		t.Errorf("only %d readings were shown", len(shown))
	}
	t.Logf("%d kills, %d readings shown, %d kept", kills, len(shown), len(kept))
}
