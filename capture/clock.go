package capture

import (
	"fmt"
	"time"

	"nilvolt/record"
)

const (
	// jump is by how much the computer's clock may differ from the one that never
	// jumps before it is told: far more than a clock that is steered drifts in a day.
	jump = time.Second
	// mostOff is how far a line's own time may lie from its arrival. It is the limit at
	// which two clocks disagree (docs/rules.md, clock-disagrees).
	mostOff = 2 * time.Minute
	// mostLate is how much later than other lines of its port a line may come, by its
	// own time: beyond it the instrument held it back. Common practice: instruments
	// write whole seconds, and send within one or two.
	mostLate = 5 * time.Second
)

// A clock gives the times of a session. They never go back, and move on by the larger
// of what the computer's clock and the one that never jumps say: a proof must not
// look younger than it is, neither when the clock was set back nor when the computer
// slept and only its own clock went on.
type clock struct {
	set  bool
	base time.Time     // time = base + monotonic time
	told time.Duration // by how much the wall clock was off the monotonic one when it was told last
	last record.Instant
}

// at returns the time of an entry.
func (c *clock) at(e Entry, s *State) record.Instant {
	wallBase := e.Wall.Round(0).Add(-e.Mono)
	switch {
	case !c.set || e.Kind == Resume:
		c.base, c.set, c.told = wallBase, true, 0
	default:
		if off := wallBase.Sub(c.base); off > jump {
			s.tell(e, c.last, true, "the computer's clock jumped ahead by %v, or the computer slept: times follow it", off.Round(time.Second))
			c.base, c.told = wallBase, 0
		} else if off < -jump && (off-c.told).Abs() > jump {
			s.tell(e, c.last, true, "the computer's clock is %v behind what it was: the times of this session go on as if it had not been set back", (-off).Round(time.Second))
			c.told = off
		}
	}
	t := record.InstantOf(c.base.Add(e.Mono).Truncate(time.Millisecond).In(e.Wall.Location()))
	if c.last.IsSet() && t.Before(c.last) {
		t = c.last
	}
	c.last = t
	return t
}

// parsesAsTime reports whether text is a time as canonical rows have it.
func parsesAsTime(text string) bool {
	_, err := record.ParseInstant(text)
	return err == nil
}

// ownTime holds the time that a line tells against its arrival. It returns what is
// wrong, blank if nothing is.
func (s *State) ownTime(p *port, own string, at record.Instant) string {
	t, err := record.ParseInstant(own)
	if err != nil || s.header.AnyTime {
		return ""
	}
	off := t.Sub(at)
	if off.Abs() > mostOff {
		return fmt.Sprintf("its own time, %s, is not the time at which it came: it is no reading taken now, or the instrument's clock is wrong; "+
			"set the clock, or begin with --any-time; readings that were stored are read as a file", own)
	}
	if late := p.prompt - off; p.timed && late > mostLate {
		return fmt.Sprintf("by its own time, %s, it was held back for %v: nobody knows what was done in between", own, late.Round(time.Second))
	}
	if off > p.prompt || !p.timed {
		p.prompt, p.timed = off, true
	}
	return ""
}
