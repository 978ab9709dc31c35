package capture

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

// A link is the connection to one instrument: the port that is read now, and how it
// is found again when it is gone.
type link struct {
	cfg    PortConfig
	serial Ports
	retry  time.Duration
	clock  func() (time.Time, time.Duration)
	intake *intake
	ending chan struct{} // closed when the session is to end
	done   chan struct{}

	mu     sync.Mutex
	port   Port // nil while it is gone
	info   PortInfo
	named  *namedPort // the port that the technician named; nil where it is read already, or none was
	closed bool
}

// A namedPort is a port that the technician named. It is open.
type namedPort struct {
	port Port
	info PortInfo
}

// Opened says which port was opened.
type Opened struct {
	Name     string `json:"port"`
	Settings string `json:"settings"`
	Serial   string `json:"serial,omitempty"` // serial number of the device, where it is known
}

// text returns what stands in the journal.
func (o *Opened) text() string {
	data, err := json.Marshal(o)
	if err != nil {
		panic(err) // strings only
	}
	return string(data)
}

// parseOpened reads it; what is no such text is a name.
func parseOpened(text string) (o Opened) {
	if err := json.Unmarshal([]byte(text), &o); err != nil {
		o = Opened{Name: text}
	}
	return o
}

// sameDevice reports whether what is at two ports is surely, or as far as anybody can
// know, one device.
func (o *Opened) sameDevice(p *Opened) bool {
	return o.Serial == p.Serial && (o.Serial != "" || o.Name == p.Name)
}

// openPorts opens the ports of the session, and returns the entries that say so.
func (s *Session) openPorts() (entries []Entry, err error) {
	for _, pc := range s.cfg.Ports {
		l := &link{cfg: pc, serial: s.cfg.Serial, retry: s.cfg.Retry, clock: s.cfg.Clock, intake: s.intake, ending: make(chan struct{}), done: make(chan struct{})}
		if s.links[pc.Role] != nil {
			return nil, fmt.Errorf("two ports of the %s", pc.Role)
		}
		port, err := s.cfg.Serial.Open(pc.Name, pc.Settings)
		if err != nil {
			return nil, err
		}
		l.port, l.info = port, l.describe(pc.Name)
		s.links[pc.Role] = l
		entries = append(entries, s.entry(Open, pc.Role, l.opened(l.info).text()))
	}
	return entries, nil
}

// closePorts closes all ports.
func (s *Session) closePorts() {
	for _, l := range s.links {
		if l != nil {
			l.close()
		}
	}
}

func (l *link) close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.closed = true
	if l.port != nil {
		l.port.Close()
	}
	if l.named != nil {
		l.named.port.Close()
	}
}

// opened says that the port was opened.
func (l *link) opened(info PortInfo) *Opened {
	return &Opened{Name: info.Name, Settings: l.cfg.Settings.String(), Serial: info.Serial}
}

// describe returns what the system knows of a port; its name if nothing else. A link
// to a port, as some systems make them for every device, is the port.
func (l *link) describe(name string) PortInfo {
	target, err := filepath.EvalSymlinks(name)
	if err != nil {
		target = name
	}
	if list, err := l.serial.List(); err == nil {
		if i := slices.IndexFunc(list, func(p PortInfo) bool { return p.Name == name || p.Name == target }); i >= 0 {
			return list[i]
		}
	}
	return PortInfo{Name: name}
}

// start reads the port until the session ends or ctx is done.
func (l *link) start(ctx context.Context) {
	go func() {
		defer close(l.done)
		for {
			err := l.read(ctx)
			switch {
			case ctx.Err() != nil:
				return
			case errors.Is(err, errEnding):
				l.put(arrival{over: true})
				return
			}
			l.put(arrival{lost: err})
			if !l.findAgain(ctx) {
				l.put(arrival{over: true})
				return
			}
		}
	}()
}

// Reasons for which a port is read no more: the session ends, or the technician says that
// the instrument is at another one.
var (
	errEnding = errors.New("the session ends")
	errMoved  = errors.New("another port was named")
)

// drainWithin is how long a port is read at most after the session was ended, so that
// what has arrived by then is in it.
const drainWithin = 500 * time.Millisecond

// put hands the session something of this port.
func (l *link) put(a arrival) {
	a.role = l.cfg.Role
	a.wall, a.mono = l.clock()
	l.intake.put(a)
}

// read hands on what arrives until the port is gone or ctx is done.
func (l *link) read(ctx context.Context) error {
	l.mu.Lock()
	port := l.port
	l.mu.Unlock()
	if port == nil {
		return io.ErrUnexpectedEOF
	}
	buf := make([]byte, 4096)
	quiet := true
	var until time.Duration // when the session ends: how long to read on
	for ctx.Err() == nil {
		select {
		case <-l.ending:
			if _, now := l.clock(); until == 0 {
				until = now + drainWithin
			} else if now > until {
				return errEnding
			}
		default:
		}
		n, err := port.Read(buf)
		if n > 0 {
			l.put(arrival{data: slices.Clone(buf[:n])})
			quiet = false
		}
		if err == nil && l.isMoved() {
			err = errMoved
		}
		if err != nil {
			l.mu.Lock()
			port.Close()
			l.port = nil
			l.mu.Unlock()
			return err
		}
		if n == 0 && until != 0 {
			return errEnding
		}
		if n == 0 && !quiet {
			l.put(arrival{idle: true})
			quiet = true
		}
	}
	return ctx.Err()
}

// write sends text to the instrument.
func (l *link) write(text string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.port == nil {
		return io.ErrClosedPipe
	}
	_, err := l.port.Write([]byte(text))
	return err
}

// use opens the port that the instrument is at now. Where that cannot be, everything
// stays as it is.
func (l *link) use(name string) error {
	info := l.describe(name)
	if at := l.place(); at != "" && at == info.Name {
		return fmt.Errorf("%s: it is read already", name)
	}
	port, err := l.serial.Open(name, l.cfg.Settings)
	if err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.named != nil {
		l.named.port.Close()
	}
	l.named = &namedPort{port, info}
	return nil
}

// place returns the name of the port that is read, blank while it is gone.
func (l *link) place() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.port == nil {
		return ""
	}
	return l.info.Name
}

// isMoved reports whether another port is to be read.
func (l *link) isMoved() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.named != nil
}

// findAgain waits until the instrument is back and opens its port. It is where the
// technician says; or it is known by the serial number of the device, wherever it turns
// up; where it has none, it is taken to be back at the same port. A port that turns up
// otherwise is asked about. It reports whether it is: not so when the session ends before.
func (l *link) findAgain(ctx context.Context) bool {
	before, _ := l.serial.List()
	told := map[string]bool{}
	for {
		if l.takeNamed() {
			return true
		}
		if name := l.candidate(before, told); name != "" && l.reopen(name) {
			return true
		}
		select {
		case <-ctx.Done():
			return false
		case <-l.ending:
			return false
		case <-time.After(l.retry):
		}
	}
}

// candidate returns the name of a port to be tried; blank if there is none.
func (l *link) candidate(before []PortInfo, told map[string]bool) string {
	l.mu.Lock()
	known := l.info
	l.mu.Unlock()
	list, _ := l.serial.List()
	for _, p := range list {
		switch {
		case known.Serial != "" && p.Serial == known.Serial && p.VID == known.VID && p.PID == known.PID:
			return p.Name
		case known.Serial == "" && p.Name == known.Name && p.Serial == "" && p.VID == known.VID && p.PID == known.PID:
			return p.Name
		}
	}
	for _, p := range list {
		isNew := !slices.ContainsFunc(before, func(b PortInfo) bool { return b == p })
		if isNew && !told[p.Name] {
			told[p.Name] = true
			l.tell("there is a new port, %s: if the %s is there, say  use %s %s", p.Name, l.cfg.Role, l.cfg.Role, p.Name)
		}
	}
	return ""
}

// takeNamed reads the port that the technician named, and reports whether there is one.
func (l *link) takeNamed() bool {
	l.mu.Lock()
	named := l.named
	l.named = nil
	l.mu.Unlock()
	if named != nil {
		l.take(named.port, named.info)
	}
	return named != nil
}

// reopen opens a port, and reports whether it could.
func (l *link) reopen(name string) bool {
	port, err := l.serial.Open(name, l.cfg.Settings)
	if err != nil {
		return false
	}
	l.take(port, l.describe(name))
	return true
}

// take takes a port that was opened for the one to be read.
func (l *link) take(port Port, info PortInfo) {
	l.mu.Lock()
	l.port, l.info = port, info
	closed := l.closed
	l.mu.Unlock()
	if closed {
		port.Close()
		return
	}
	l.put(arrival{open: l.opened(info)})
	if info.Serial == "" {
		l.tell("the %s is read again, at %s; nothing tells whether it is the same instrument: look", l.cfg.Role, info.Name)
	}
}

// tell gives notice of something to the technician.
func (l *link) tell(format string, args ...any) {
	l.put(arrival{note: &Notice{Urgent: true, Text: strings.TrimSpace(fmt.Sprintf(format, args...))}})
}
