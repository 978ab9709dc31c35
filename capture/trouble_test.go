package capture

import (
	"errors"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"nilvolt/record"
)

// hasNotice waits for a notice with the text.
func (r *runner) hasNotice(text string) {
	r.t.Helper()
	r.until("the notice "+text, func(*Update) bool {
		for _, n := range r.notices {
			if strings.Contains(n.Text, text) {
				return true
			}
		}
		return false
	})
}

func oneIndicator(ports *fakePorts) Config {
	return Config{Serial: ports, Ports: []PortConfig{{Role: Indicator, Name: "A"}}}
}

// What the next reading counts as is told when it is typed, and stands until the reading
// has come. A conductor that the job sheet does not have is told too, and taken: the rule
// conductor-unexpected is a caution.
func TestNextReadingIsTold(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	cfg := oneIndicator(&ports)
	cfg.Header.Columns = "event,indicator,volts,waveform"
	r := run(t, cfg)
	r.say("test L-N")
	r.hasNotice("the next reading counts as test L-N, unless")
	r.say("prove PU-1 230")
	r.hasNotice("the next readings count as prove PU-1 230, unless")
	if slices.ContainsFunc(r.notices, func(n Notice) bool { return n.Urgent }) {
		t.Errorf("%+v", r.notices)
	}
	r.say("test L-Q7")
	r.hasNotice("the next reading counts as test L-Q7, unless")
	r.hasNotice("L-Q7 names a conductor that the job sheet does not have")
	if next := r.last.Next; next.Meaning() != "the next reading counts as test L-Q7, unless its line says otherwise" {
		t.Errorf("then %+v", next)
	}
	vi.send("test,VI-1,231,ac\n")
	if ev := r.untilEvents(1).Record.Events[0]; ev.Pair.String() != "L-Q7" || r.last.Next.hasPair() {
		t.Errorf("%+v, then %+v", ev, r.last.Next)
	}
	r.end()
}

// What was begun goes on after a crash, with nothing lost that was shown.
func TestSessionGoesOnAfterACrash(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	r := run(t, oneIndicator(&ports))
	sendAll(vi, goodLines[:4])
	r.untilEvents(3)
	vi.send("test,VI-1,E") // the rest never comes
	r.hasNotice("half a line came")
	r.kill()
	f, err := os.OpenFile(r.cfg.Journal, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString("1234abcd line 2026-0"); err != nil { // the power went while a line was written
		t.Fatal(err)
	}
	f.Close()
	again := run(t, Config{Journal: r.cfg.Journal, Serial: &ports, Ports: r.cfg.Ports})
	if !again.s.Resumed() {
		t.Error("the session does not say that it goes on")
	}
	again.hasNotice("was broken off")
	vi.send(goodLines[0])
	sendAll(vi, goodLines[4:])
	u := again.untilEvents(3 + 3 + 2) // those before, two tests and a proof in doubt for the two pieces, those after
	if len(u.AllUnread) != 2 || failedRules(u.Judgement) != "reading-unreadable prove-failed" {
		t.Errorf("unread %+v, %v", u.AllUnread, failedRules(u.Judgement))
	}
	st := again.end()
	if diff := cmp.Diff(st.Record(), replayFile(t, r.cfg.Journal).Record(), recordCmp); diff != "" {
		t.Error(diff)
	}
}

func TestSessionIsRefused(t *testing.T) {
	var ports fakePorts
	ports.plug(PortInfo{Name: "A"})
	r := run(t, oneIndicator(&ports))
	start := func(record, port string, clock func() (time.Time, time.Duration)) error {
		s, err := Start(Config{Journal: r.cfg.Journal, Header: Header{Record: record}, Serial: &ports, Ports: []PortConfig{{Role: Indicator, Name: port}}, Clock: clock})
		if err == nil {
			s.journal.Close()
		}
		return err
	}
	r.until("the begin", func(*Update) bool { return true })
	if err := start("R1", "A", nil); !errors.Is(err, ErrInUse) {
		t.Errorf("a second session on the journal: %v", err)
	}
	r.kill()
	if err := start("R2", "A", nil); err == nil || !strings.Contains(err.Error(), "record R1, not of R2") {
		t.Errorf("another record: %v", err)
	}
	back := func() (time.Time, time.Duration) { return time.Now().Add(-time.Hour), 0 }
	if err := start("R1", "A", back); err == nil || !strings.Contains(err.Error(), "set the clock") {
		t.Errorf("a clock that was set back: %v", err)
	}
	if err := start("R1", "B", nil); !errors.Is(err, errGone) {
		t.Errorf("a port that there is not: %v", err)
	}
	again := run(t, Config{Journal: r.cfg.Journal, Serial: &ports, Ports: r.cfg.Ports})
	again.end()
	var ended *EndedError
	if err := start("R1", "A", nil); !errors.As(err, &ended) {
		t.Errorf("a session that is over: %v", err)
	}
	if err := os.WriteFile(r.cfg.Journal, []byte("Dear diary\nno journal\n"), 0o666); err != nil {
		t.Fatal(err)
	}
}

// The device is known by its serial number wherever it turns up, and another one at
// the same port is not taken for it.
func TestReconnectUnderAnotherName(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A", Serial: "S1"})
	r := run(t, oneIndicator(&ports))
	sendAll(vi, goodLines[:3])
	r.untilEvents(2)
	vi.send("test,VI-1,E,L,23")
	ports.pull("A")
	r.hasNotice("the indicator is gone")
	if u := r.until("the half line", func(u *Update) bool { return len(u.AllUnread) == 1 }); u.AllUnread[0].Text != "test,VI-1,E,L,23" {
		t.Errorf("kept %+v", u.AllUnread[0])
	}
	ports.plug(PortInfo{Name: "A", Serial: "S2"}) // another instrument
	r.hasNotice("there is a new port, A")
	vi = ports.plug(PortInfo{Name: "B", Serial: "S1"})
	sendAll(vi, goodLines)
	u := r.untilEvents(2 + 2 + 5)
	if u.Judgement.Status != record.Compliant {
		t.Errorf("%v: %s", u.Judgement.Status, failedRules(u.Judgement))
	}
	r.end()
}

// A device without a serial number is taken to be back at its port; anywhere else it
// has to be named.
func TestReconnectWithoutASerialNumber(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	r := run(t, oneIndicator(&ports))
	vi.send(header)
	ports.pull("A")
	r.hasNotice("the indicator is gone")
	vi = ports.plug(PortInfo{Name: "A"})
	r.hasNotice("nothing tells whether it is the same instrument")
	sendAll(vi, goodLines[:2])
	r.untilEvents(1)
	ports.pull("A")
	vi = ports.plug(PortInfo{Name: "B"})
	r.say("use indicator C") // a slip
	r.hasNotice("cannot be opened")
	r.say("use indicator B")
	sendAll(vi, goodLines[:3])
	r.untilEvents(3)
	r.say("use source D")
	r.hasNotice("no port of the source")
	r.end()
}

// A port that works is left only for one that can be opened.
func TestUseTriesFirst(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	r := run(t, oneIndicator(&ports))
	sendAll(vi, goodLines[:2])
	r.untilEvents(1)
	for name, want := range map[string]string{
		"B": "cannot be opened: no such device; the indicator is still read at A", // a slip
		"A": "cannot be opened: A: it is read already; the indicator is still read at A",
	} {
		r.say("use indicator " + name)
		r.hasNotice(want)
	}
	vi.send(goodLines[2])
	r.untilEvents(2)
	if slices.ContainsFunc(r.notices, func(n Notice) bool { return strings.Contains(n.Text, "gone") }) {
		t.Errorf("the port that worked is left: %+v", r.notices)
	}
	vi = ports.plug(PortInfo{Name: "B"})
	r.say("use indicator B")
	r.hasNotice("the indicator is gone (another port was named)")
	sendAll(vi, goodLines[:1])
	sendAll(vi, goodLines[3:])
	if u := r.untilEvents(5); u.Judgement.Status != record.Compliant {
		t.Errorf("%v: %s", u.Judgement.Status, failedRules(u.Judgement))
	}
	ports.pull("B")
	r.hasNotice("the indicator is gone (EOF)")
	r.say("use indicator C")
	r.hasNotice("the indicator is still gone")
	r.end()
}

// An instrument that stayed on while its cable was out, or the program down, does not
// send its header again. Another instrument has to.
func TestHeaderHoldsForTheSameDevice(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A", Serial: "S1"})
	r := run(t, oneIndicator(&ports))
	sendAll(vi, goodLines[:2])
	r.untilEvents(1)
	ports.pull("A")
	vi = ports.plug(PortInfo{Name: "B", Serial: "S1"})
	vi.send(goodLines[2])
	r.untilEvents(2)
	r.kill()
	again := run(t, Config{Journal: r.cfg.Journal, Serial: &ports, Ports: []PortConfig{{Role: Indicator, Name: "B"}}})
	vi.send(goodLines[3])
	again.untilEvents(3)
	again.kill()
	vi = ports.plug(PortInfo{Name: "C", Serial: "S3"})
	other := run(t, Config{Journal: r.cfg.Journal, Serial: &ports, Ports: []PortConfig{{Role: Indicator, Name: "C"}}})
	vi.send(goodLines[4])
	u := other.until("the line without a header", func(u *Update) bool { return len(u.AllUnread) == 1 })
	if why := u.AllUnread[0].Problems[0].Message; !strings.Contains(why, "no header has come yet") {
		t.Errorf("refused since %s", why)
	}
}

// An indicator at the port of the proving unit is no evidence: what it garbles would
// count for nothing.
func TestSwappedPorts(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "B"})
	ports.plug(PortInfo{Name: "A"})
	r := run(t, Config{Serial: &ports, Ports: []PortConfig{{Role: Indicator, Name: "A"}, {Role: Source, Name: "B"}}})
	sendAll(vi, goodLines)
	r.hasNotice("with the ports of --indicator and --source swapped")
	if st := r.end(); len(st.Unread()) != 3 || len(st.Record().Events) != 0 {
		t.Errorf("could not read %+v, read %+v", st.Unread(), st.Record().Events)
	}
}

// Two ports are read at once, and one may go while the other stays.
func TestTwoPorts(t *testing.T) {
	var ports fakePorts
	vi, pu := ports.plug(PortInfo{Name: "A"}), ports.plug(PortInfo{Name: "B"})
	r := run(t, Config{Serial: &ports, Ports: []PortConfig{{Role: Indicator, Name: "A"}, {Role: Source, Name: "B"}}})
	pu.send("source,expected\n")
	vi.send(header)
	vi.send("prove,VI-1,,,230,ac\n")
	r.untilEvents(1)
	pu.send("PU-1,400\n") // it tells a moment later
	u := r.until("what the unit tells", func(u *Update) bool { return u.Record.Events[0].HasExpected || len(r.notices) > 2 })
	if ev := u.Record.Events[0]; ev.Source != "PU-1" || ev.Expected != 400 {
		t.Errorf("proof %+v", ev)
	}
	ports.pull("B")
	r.hasNotice("the source is gone")
	vi.send("test,VI-1,N,L,0.1,ac\n")
	r.untilEvents(2)
	r.end()
}

// A fakeClock shows what a test sets.
type fakeClock struct {
	mu   sync.Mutex
	wall time.Time
	mono time.Duration
}

func (c *fakeClock) now() (time.Time, time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.wall, c.mono
}

func (c *fakeClock) move(wall, mono time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wall, c.mono = c.wall.Add(wall), c.mono+mono
}

// Times go on with the larger step of the two clocks, and never back; a jump is told.
func TestClockJumps(t *testing.T) {
	for _, test := range []struct {
		wall, mono, want time.Duration
		notice           string
	}{
		{10 * time.Second, 10 * time.Second, 10 * time.Second, ""},
		{10500 * time.Millisecond, 10 * time.Second, 10 * time.Second, ""},
		{time.Hour, time.Second, time.Hour, "jumped ahead by 59m59s"},          // it slept, or was set
		{-time.Hour, time.Second, time.Second, "is 1h0m1s behind what it was"}, // it was set back
	} {
		c := &fakeClock{wall: wall0}
		var ports fakePorts
		vi := ports.plug(PortInfo{Name: "A"})
		cfg := oneIndicator(&ports)
		cfg.Clock = c.now
		r := run(t, cfg)
		sendAll(vi, goodLines[:2])
		first := r.untilEvents(1).Record.Events[0].Time
		c.move(test.wall, test.mono)
		vi.send(goodLines[2])
		second := r.untilEvents(2).Record.Events[1].Time
		if got := second.Sub(first); got != test.want {
			t.Errorf("clock %v, monotonic %v: %v passed, want %v", test.wall, test.mono, got, test.want)
		}
		if test.notice != "" {
			r.hasNotice(test.notice)
		} else if len(r.notices) > 0 {
			t.Errorf("clock %v, monotonic %v: %+v", test.wall, test.mono, r.notices)
		}
		r.end()
	}
}

// Lines with times of their own count from their arrival; one whose time does not fit
// is no reading taken now.
func TestOwnTimes(t *testing.T) {
	c := &fakeClock{wall: wall0}
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	cfg := oneIndicator(&ports)
	cfg.Clock = c.now
	r := run(t, cfg)
	line := func(off time.Duration) {
		wall, _ := c.now()
		vi.send("test,VI-1,N,L,0.4," + wall.Add(off).Truncate(time.Second).Format(time.RFC3339) + "\n")
		c.move(time.Second, time.Second)
	}
	vi.send("event,indicator,from,to,volts,time\n")
	n := 0
	for _, test := range []struct {
		off  time.Duration
		read bool
	}{
		{100 * time.Second, true}, // its clock is a little fast
		{99 * time.Second, true},  // whole seconds
		{90 * time.Second, false}, // held back for ten seconds
		{-24 * time.Hour, false},  // of yesterday
		{time.Hour, false},        // of tomorrow
		{100 * time.Second, true}, // and live again
		{-121 * time.Second, false},
	} {
		line(test.off)
		if test.read {
			n++
		}
		r.until("the line", func(u *Update) bool {
			return len(u.AllUnread) > 0 && !test.read || test.read && len(u.Events) > 0
		})
		r.last = nil
	}
	st := r.end()
	if got := len(st.Record().Events); len(st.Unread()) != 4 || got < n {
		t.Errorf("%d events, could not read %+v", got, st.Unread())
	}
}

func TestWrongSpeed(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	cfg := oneIndicator(&ports)
	cfg.Ports[0].Settings = DefaultSettings()
	r := run(t, cfg)
	vi.send("\x80\xf8\x00\x1e\xe6\x00\x80\x98\xfe\x60\x00\x06\xe0\xf8\x00\xfe\x60\x1e\x80\x98\xfe\x60\x00\x06\xe0\xf8\x00\xfe\x60\x1e\xf8\x00\xfe\x60\x1e")
	r.hasNotice("looks like the wrong speed")
	r.hasNotice("(9600 8N1)")
	r.end()
}

// A changingDisk is a file on a disk that others fill and empty.
type changingDisk struct {
	journalFile
	full atomic.Bool
}

func (d *changingDisk) Write(p []byte) (int, error) {
	if !d.full.Load() {
		return d.journalFile.Write(p)
	}
	n, err := d.journalFile.Write(p[:len(p)/2]) // there was room for half of it
	if err != nil {
		return n, err
	}
	return n, &os.PathError{Op: "write", Path: "J", Err: syscall.ENOSPC}
}

// A disk that is full stops nothing but the showing: what arrives is held, and written
// when there is room.
func TestDiskFullDuringASession(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	disk := &changingDisk{}
	r := run(t, oneIndicator(&ports), func(s *Session) {
		disk.journalFile = s.journal.file
		s.journal.file = disk
	})
	sendAll(vi, goodLines[:2])
	r.untilEvents(1)
	disk.full.Store(true)
	vi.send(goodLines[2])
	r.hasNotice("the disk is full")
	sendAll(vi, goodLines[3:])
	if len(r.last.Record.Events) != 1 {
		t.Error("what is not on the disk was shown")
	}
	disk.full.Store(false)
	r.hasNotice("there is room on the disk again")
	if u := r.untilEvents(5); u.Judgement.Status != record.Compliant {
		t.Errorf("%v", u.Judgement.Status)
	}
	st := r.end()
	if diff := cmp.Diff(st.Record(), replayFile(t, r.cfg.Journal).Record(), recordCmp); diff != "" {
		t.Error(diff)
	}
}

// After any other error of the disk the session ends, since nobody knows what is kept.
func TestDiskFails(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	r := run(t, oneIndicator(&ports), func(s *Session) {
		s.journal.file = &smallDisk{room: 1 << 20, syncErr: errors.New("input/output error")}
	})
	vi.send(header)
	err := <-r.ended
	r.ended <- err
	if err == nil || !strings.Contains(err.Error(), "input/output error") {
		t.Errorf("ended with %v", err)
	}
}
