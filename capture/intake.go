package capture

import (
	"context"
	"sync"
	"time"
)

// An arrival is something that comes to a session from outside.
type arrival struct {
	role  Role
	data  []byte // nil where it is something else
	idle  bool   // nothing came for a while
	open  *Opened
	lost  error
	over  bool // the port is read no more
	input *Input
	note  *Notice
	wall  time.Time
	mono  time.Duration
}

// mostHeld is how many bytes wait at most to be written: five minutes of two ports at
// 115,200 baud take a tenth of it. Only a disk that is full for longer makes the
// ports wait.
const mostHeld = 64 << 20

// An intake holds what has arrived until the session takes it: all that came while
// the journal was written goes into its next write, with one sync.
type intake struct {
	mu    sync.Mutex
	room  *sync.Cond
	list  []arrival
	held  int
	ready chan struct{} // holds a token while list may not be empty
	done  bool
}

func newIntake() *intake {
	in := &intake{ready: make(chan struct{}, 1)}
	in.room = sync.NewCond(&in.mu)
	return in
}

// put adds an arrival. It waits while too much is held.
func (in *intake) put(a arrival) {
	in.mu.Lock()
	for in.held > mostHeld && !in.done {
		in.room.Wait()
	}
	in.list = append(in.list, a)
	in.held += len(a.data)
	in.mu.Unlock()
	select {
	case in.ready <- struct{}{}:
	default:
	}
}

// take returns all that has arrived, and waits for the first. It returns nil when ctx
// is done or wait, which is not waited for if it is not positive, is over.
func (in *intake) take(ctx context.Context, wait <-chan time.Time) []arrival {
	for {
		in.mu.Lock()
		list := in.list
		in.list, in.held = nil, 0
		in.room.Broadcast()
		in.mu.Unlock()
		if len(list) > 0 {
			return list
		}
		select {
		case <-ctx.Done():
			return nil
		case <-wait:
			return nil
		case <-in.ready:
		}
	}
}

// close lets those who wait in put go on.
func (in *intake) close() {
	in.mu.Lock()
	in.done = true
	in.room.Broadcast()
	in.mu.Unlock()
}
