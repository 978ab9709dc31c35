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
	w     io.Writer
	now   func() time.Time
	begun time.Time

	mu     sync.Mutex
	screen *mpb.Progress
	bar    *mpb.Bar
}

const (
	longFile = 64 << 20 // bytes that show a bar at once
	longTime = time.Second
)

// newProgress returns the progress of a command, nil where standard error is no
// terminal.
func newProgress(c *console) *progress {
	if !c.errIsTerminal || c.getenv("TERM") == "dumb" {
		return nil
	}
	return &progress{w: c.err, now: c.now, begun: c.now()}
}

// update says that done bytes of total are read. Several workers may call it.
// Each pass over the input counts anew.
func (p *progress) update(done, total int64) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar == nil {
		if total < longFile && p.now().Sub(p.begun) < longTime {
			return
		}
		p.screen = mpb.New(mpb.WithOutput(p.w), mpb.WithWidth(40))
		// Begun without a total it does not complete of itself: the next pass over
		// the input begins at 0 again.
		p.bar = p.screen.New(0, mpb.BarStyle().Lbound(" ").Filler("=").Tip("=").Padding(" ").Rbound(" "),
			mpb.PrependDecorators(decor.Name("reading")),
			mpb.AppendDecorators(decor.Percentage(), decor.Name("  "), decor.CountersKibiByte("% .1f of % .1f")))
	}
	p.bar.SetTotal(total, false)
	p.bar.SetCurrent(done)
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
