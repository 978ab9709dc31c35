package capture

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"nilvolt/record"
)

// fakePorts are ports of a computer that a test plugs and pulls.
type fakePorts struct {
	mu    sync.Mutex
	list  []PortInfo
	ports map[string]*fakePort
}

var errGone = errors.New("no such device")

func (f *fakePorts) plug(info PortInfo) *fakePort {
	f.mu.Lock()
	defer f.mu.Unlock()
	p := &fakePort{in: make(chan []byte, 1000), gone: make(chan struct{}), wrote: make(chan string, 100)}
	if f.ports == nil {
		f.ports = map[string]*fakePort{}
	}
	f.ports[info.Name] = p
	f.list = append(f.list, info)
	return p
}

func (f *fakePorts) pull(name string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	close(f.ports[name].gone)
	delete(f.ports, name)
	f.list = slices.DeleteFunc(f.list, func(p PortInfo) bool { return p.Name == name })
}

func (f *fakePorts) Open(name string, _ Settings) (Port, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if p := f.ports[name]; p != nil {
		return p, nil
	}
	return nil, errGone
}

func (f *fakePorts) List() ([]PortInfo, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.list), nil
}

// A fakePort gives what a test sends. An empty piece is a pause.
type fakePort struct {
	in    chan []byte
	gone  chan struct{}
	wrote chan string
	rest  []byte
}

func (p *fakePort) send(text string) { p.in <- []byte(text) }

func (p *fakePort) Read(b []byte) (int, error) {
	if len(p.rest) == 0 {
		select {
		case p.rest = <-p.in: // what was sent before the plug was pulled arrives
		default:
			select {
			case p.rest = <-p.in:
			case <-p.gone:
				return 0, io.EOF
			case <-time.After(20 * time.Millisecond): // as a port that times out
				return 0, nil
			}
		}
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

func (p *fakePort) Write(b []byte) (int, error) {
	p.wrote <- string(b)
	return len(b), nil
}

func (p *fakePort) Close() error { return nil }

// A runner runs a session and gathers what it shows.
type runner struct {
	t       *testing.T
	s       *Session
	cfg     Config
	updates chan *Update
	stop    context.CancelFunc
	ended   chan error
	last    *Update
	notices []Notice
	events  []record.Event
}

var jobR1 = record.Job{Record: "R1", Supply: record.SinglePhase, Nominal: 230}

// run starts a session on the ports. prepare may change it before it runs.
func run(t *testing.T, cfg Config, prepare ...func(*Session)) *runner {
	t.Helper()
	if cfg.Journal == "" {
		cfg.Journal = filepath.Join(t.TempDir(), "R1.journal")
	}
	if cfg.Header.Record == "" {
		cfg.Header.Record = "R1"
	}
	if cfg.Jobs == nil {
		cfg.Jobs = []record.Job{jobR1}
	}
	cfg.Retry = time.Millisecond
	r := &runner{t: t, updates: make(chan *Update, 10000), ended: make(chan error, 1)}
	cfg.Show = func(u *Update) { r.updates <- u }
	s, err := Start(cfg)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range prepare {
		p(s)
	}
	ctx, stop := context.WithCancel(context.Background())
	r.s, r.cfg, r.stop = s, cfg, stop
	go func() { r.ended <- s.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		select {
		case err := <-r.ended:
			r.ended <- err
		case <-time.After(10 * time.Second):
			t.Error("the session does not end")
		}
	})
	return r
}

// until waits for an update after which ok holds.
func (r *runner) until(what string, ok func(u *Update) bool) *Update {
	r.t.Helper()
	for {
		if r.last != nil && ok(r.last) {
			return r.last
		}
		select {
		case u := <-r.updates:
			r.last = u
			r.notices = append(r.notices, u.Notices...)
			r.events = append(r.events, u.Events...)
		case err := <-r.ended:
			r.ended <- err
			r.t.Fatalf("waiting for %s: the session ended: %v", what, err)
		case <-time.After(10 * time.Second):
			r.t.Fatalf("waiting for %s in vain; notices %+v", what, r.notices)
		}
	}
}

// untilEvents waits until the record has n events.
func (r *runner) untilEvents(n int) *Update {
	r.t.Helper()
	return r.until(fmt.Sprintf("%d events", n), func(u *Update) bool { return len(u.Record.Events) >= n })
}

// say hands the session what the technician says.
func (r *runner) say(text string) {
	r.t.Helper()
	in, err := ParseInput(text)
	if err != nil {
		r.t.Fatal(err)
	}
	r.s.Say(in)
}

// end ends the session and returns its state.
func (r *runner) end() *State {
	r.t.Helper()
	r.say("end")
	r.until("the end", func(u *Update) bool { return u.Ended })
	err := <-r.ended
	r.ended <- err
	if err != nil {
		r.t.Fatal(err)
	}
	return r.s.State()
}

// kill ends the session as a crash does: nothing more is written.
func (r *runner) kill() {
	r.stop()
	err := <-r.ended
	r.ended <- err
}
