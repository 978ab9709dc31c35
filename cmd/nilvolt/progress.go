package main

import (
	"io"
	"sync"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

// A progress shows how far a long reading has come, on a terminal. It stays
// silent until the work turns out to be long. A nil progress shows nothing.
type progress struct {
	w      io.Writer
	now    func() time.Time
	begun  time.Time
	passes int64 // how often the input is gone over

	mu     sync.Mutex
	screen *mpb.Progress
	bar    *mpb.Bar
	passed int64 // passes that are over
	last   int64 // done at the last update
}

const (
	longFile = 64 << 20 // bytes that show a bar at once
	longTime = time.Second
)

// newProgress returns the progress of a command that goes over its input so many
// times, nil where standard error is no terminal.
func newProgress(c *console, passes int) *progress {
	if !c.errIsTerminal || c.getenv("TERM") == "dumb" {
		return nil
	}
	return &progress{w: c.err, now: c.now, begun: c.now(), passes: int64(passes)}
}

// update says that done bytes of total are read. Each pass over the input counts
// anew, from which it is known that one is over.
func (p *progress) update(done, total int64) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if done < p.last {
		p.passed++
	}
	p.last = done
	if p.bar == nil {
		if total < longFile && p.now().Sub(p.begun) < longTime {
			return
		}
		p.screen = mpb.New(mpb.WithOutput(p.w), mpb.WithWidth(40))
		// Begun without a total it does not complete of itself, should there be a
		// pass more than was thought.
		p.bar = p.screen.New(0, mpb.BarStyle().Lbound(" ").Filler("=").Tip("=").Padding(" ").Rbound(" "),
			mpb.PrependDecorators(decor.Name("reading")),
			mpb.AppendDecorators(decor.Percentage()))
	}
	p.bar.SetTotal(p.passes*total, false)
	p.bar.SetCurrent(min(p.passed*total+done, p.passes*total))
}

// stop takes the bar away, before anything else is printed.
func (p *progress) stop() {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		p.bar.Abort(true)
		p.screen.Wait()
		p.bar, p.screen = nil, nil
	}
}
