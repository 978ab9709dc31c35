package capture

import (
	"context"
	"encoding/json"
	"strings"
	"time"

	"nilvolt/record"
)

// An asker asks an instrument that speaks the open queries of IEEE 488.2 and SCPI. It
// asks for a reading only when the technician says what it is of: one that is taken
// while the probes hang in the air would look dead.
//
// One query is under way at a time. A reading is followed by the question whether it
// went well. After an answer that did not come, everything is dropped until the
// instrument tells its identity again: else a late answer would be taken for that
// to the next query, of another pair.
type asker struct {
	greeted  bool // the identity was asked for since the port was opened
	wanted   bool // the technician wants a reading
	check    bool // the reading was answered, and not yet whether it went well
	late     bool // an answer did not come
	deadline time.Duration
}

// want takes that the technician says what the next reading is of. It reports whether
// that can be.
func (a *asker) want(s *Session, in *Input) bool {
	if !s.cfg.Header.Polled {
		return true
	}
	if a.busy(s) {
		s.note("the instrument is still being asked: wait for the reading, then say %s again", in)
		return false
	}
	if in.Next.Event == record.Test && !in.Next.hasPair() {
		s.note("say of which conductors: test L-N")
		return false
	}
	a.wanted = true
	return true
}

// busy reports whether a reading is under way.
func (a *asker) busy(s *Session) bool {
	q := s.state.poll.query
	return a.wanted || a.check || q != nil && (q.Purpose == AskReading || q.Purpose == AskError)
}

// step sends the next query, if there is one to be sent.
func (a *asker) step(ctx context.Context, s *Session) error {
	if !s.cfg.Header.Polled || s.state.poll.query != nil || s.state.Ended() {
		return nil
	}
	if !s.state.ports[Indicator].open {
		a.greeted, a.check = false, false
		return nil
	}
	switch {
	case a.check:
		a.check = false
		return a.send(ctx, s, Query{Purpose: AskError, Text: "SYSTem:ERRor?"})
	case !a.greeted:
		a.greeted, a.late = true, false
		return a.send(ctx, s, Query{Purpose: AskIdentity, Text: "*IDN?"})
	case a.late && a.wanted:
		a.late = false
		return a.send(ctx, s, Query{Purpose: AskAgain, Text: "*IDN?"})
	case a.wanted:
		a.wanted, a.check = false, true
		return a.send(ctx, s, Query{
			Purpose: AskReading, Text: "MEASure:VOLTage:" + strings.ToUpper(s.cfg.Waveform.String()) + "?", Waveform: s.cfg.Waveform.String(),
		})
	}
	return nil
}

// send puts a query into the journal, then sends it.
func (a *asker) send(ctx context.Context, s *Session, q Query) error {
	data, err := json.Marshal(q)
	if err != nil {
		panic(err) // strings only
	}
	if err := s.commit(ctx, []Entry{s.entry(Ask, Indicator, string(data))}); err != nil {
		return err
	}
	_, mono := s.cfg.Clock()
	a.deadline = mono + s.cfg.AnswerWithin
	if err := s.links[Indicator].write(q.Text + "\n"); err != nil {
		s.note("the query cannot be sent: %v", err)
	}
	return nil
}

// timer returns what fires when the answer is late, nil where none is waited for.
func (a *asker) timer(s *Session) <-chan time.Time {
	if s.state.poll.query == nil {
		return nil
	}
	_, mono := s.cfg.Clock()
	return time.After(max(a.deadline-mono, time.Millisecond))
}

// timeout adds that no answer came, where the time is over and none is among entries.
func (a *asker) timeout(s *Session, entries []Entry) []Entry {
	q := s.state.poll.query
	_, mono := s.cfg.Clock()
	if q == nil || mono < a.deadline {
		return entries
	}
	for _, e := range entries {
		if e.Kind == Line && e.Port == Indicator {
			return entries
		}
	}
	a.late, a.check = true, false
	if q.Purpose == AskIdentity || q.Purpose == AskAgain {
		a.greeted, a.wanted = q.Purpose == AskAgain, false
	}
	return append(entries, s.entry(Timeout, Indicator, q.Text))
}
