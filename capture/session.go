package capture

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"nilvolt/record"
	"nilvolt/verify"
)

// Config says what a session captures, from where, and how it is judged.
type Config struct {
	Journal string // path of the journal; it is made, or gone on with
	Header  Header
	Ports   []PortConfig

	// Jobs are the rows of the job sheet for the record.
	Jobs     []record.Job
	Policy   *verify.Policy
	Register record.Register // nil where none was given

	// Waveform is what an indicator that is asked measures, ac or dc.
	Waveform record.Waveform
	// AnswerWithin is how long it may take to answer; zero is 5 s.
	AnswerWithin time.Duration

	// Show is called with each change, by one goroutine, after what it tells is on the
	// disk. The Update is not changed afterwards.
	Show func(*Update)

	Serial Ports // zero is SerialPorts()
	// Clock returns what the computer's clock shows, and the time since some moment by a
	// clock that never jumps. Zero is the computer's.
	Clock func() (wall time.Time, mono time.Duration)
	// Retry is how long to wait before looking for a lost port again; zero is 300 ms.
	Retry time.Duration
}

// A PortConfig is a port that a session reads.
type PortConfig struct {
	Role     Role
	Name     string
	Settings Settings
}

// An Update is what has changed, and where the record stands.
type Update struct {
	Events  []record.Event // that are new, in order
	Unread  []Unread       // lines that are new and could not be read
	Notices []Notice       // that are new

	// Record is the evidence so far, with the rows of the job sheet.
	Record *record.Record
	// Judgement is what verify says of it, but for the rules across records.
	Judgement *verify.Judgement

	AllUnread []Unread // all lines that could not be read
	Seen      int      // how many of the record's events the technician has said to have seen
	Next      Next     // what was said of the next reading
	Ended     bool
}

// A Session captures one record. Its methods but Run may be called at any time from
// any goroutine.
type Session struct {
	cfg     Config
	journal *Journal
	state   *State
	intake  *intake
	split   [numRoles]splitter
	links   [numRoles]*link
	ask     asker
	shown   Shown
	extra   []Notice // that stand in no journal
	resumed bool
	ending  bool // the technician has ended it; what has arrived at the ports is still taken
	open    int  // how many ports are still read
}

// EndedError says that the journal is that of a session which is over.
type EndedError struct{ Journal string }

// Error says so.
func (e *EndedError) Error() string { return e.Journal + ": the session of this journal is over" }

// Start opens the journal and the ports. A journal of the same record whose session
// was broken off is gone on with. The session begins with Run, which must be called.
func Start(cfg Config) (*Session, error) {
	cfg.defaults()
	if err := cfg.Header.check(); err != nil {
		return nil, err
	}
	s := &Session{cfg: cfg, intake: newIntake()}
	opened, err := s.openPorts()
	if err == nil {
		err = s.openJournal(opened)
	}
	if err != nil {
		s.closePorts()
		return nil, err
	}
	return s, nil
}

// openJournal opens the journal and begins the session, or goes on with it.
func (s *Session) openJournal(opened []Entry) error {
	j, c, err := OpenJournal(s.cfg.Journal)
	if err != nil {
		return err
	}
	s.journal = j
	if err := s.begin(c, opened); err != nil {
		return errors.Join(err, j.Close())
	}
	return nil
}

// defaults puts in what is left zero.
func (c *Config) defaults() {
	if c.AnswerWithin == 0 {
		c.AnswerWithin = 5 * time.Second
	}
	if c.Retry == 0 {
		c.Retry = 300 * time.Millisecond
	}
	if c.Serial == nil {
		c.Serial = SerialPorts()
	}
	if c.Clock == nil {
		start := time.Now()
		c.Clock = func() (time.Time, time.Duration) {
			now := time.Now()
			return now, now.Sub(start)
		}
	}
	if c.Policy == nil {
		c.Policy = verify.DefaultPolicy()
	}
	c.Header.Version = journalVersion
	c.Header.Polled = c.Header.Polled || c.Waveform != record.WaveformUnknown
}

// begin replays what the journal holds and looks whether the session can begin.
func (s *Session) begin(c *Contents, opened []Entry) error {
	s.state = NewState(s.cfg.Journal) // it may go on
	for _, e := range c.Entries {
		s.state.Apply(e)
	}
	s.shown.skip(s.state)
	switch {
	case s.state.Ended():
		return &EndedError{s.cfg.Journal}
	case s.state.Begun() && s.state.header.Record != s.cfg.Header.Record:
		return fmt.Errorf("%s: the journal is of record %s, not of %s", s.cfg.Journal, s.state.header.Record, s.cfg.Header.Record)
	}
	kind := Begin
	if s.state.Begun() {
		kind, s.resumed = Resume, true
	}
	wall, _ := s.cfg.Clock()
	if last := s.state.clock.last; record.InstantOf(wall).Before(last) {
		return fmt.Errorf("%s: its last line is of %s, and the computer's clock shows %s: set the clock, or wait until it is past that time",
			s.cfg.Journal, last, record.InstantOf(wall.Truncate(time.Second)))
	}
	header, err := json.Marshal(s.cfg.Header)
	if err != nil {
		return err
	}
	var entries []Entry
	if c.Torn != "" {
		entries = append(entries, s.entry(Torn, NoRole, strconv.Itoa(len(c.Torn))))
	}
	entries = append(append(entries, s.entry(kind, NoRole, string(header))), opened...)
	if err := s.journal.Append(entries); err != nil {
		return err
	}
	for _, e := range entries {
		s.state.Apply(e)
	}
	return nil
}

// entry returns an entry of now.
func (s *Session) entry(kind Kind, role Role, data string) Entry {
	wall, mono := s.cfg.Clock()
	return Entry{Kind: kind, Wall: wall, Mono: mono, Port: role, Data: data}
}

// Resumed reports whether the session goes on with a journal that was there.
func (s *Session) Resumed() bool { return s.resumed }

// Say hands the session what the technician did or said.
func (s *Session) Say(in Input) {
	wall, mono := s.cfg.Clock()
	s.intake.put(arrival{input: &in, wall: wall, mono: mono})
}

// Run captures until the technician ends the session (nil), ctx is done (its error),
// or the journal cannot be written (that error). Then the journal and the ports are
// closed.
func (s *Session) Run(ctx context.Context) error {
	inner, stop := context.WithCancel(ctx)
	for _, l := range s.links {
		if l != nil {
			s.open++
			l.start(inner)
		}
	}
	err := s.loop(ctx)
	stop()
	s.intake.close()
	s.closePorts()
	for _, l := range s.links {
		if l != nil {
			<-l.done
		}
	}
	return errors.Join(err, s.journal.Close())
}

// loop takes what arrives, writes it, and shows it.
func (s *Session) loop(ctx context.Context) error {
	s.show()
	for {
		if err := s.ask.step(ctx, s); err != nil {
			return err
		}
		entries := s.entries(s.intake.take(ctx, s.ask.timer(s)))
		if ctx.Err() != nil { // what arrived is kept, and the session can be gone on with
			return errors.Join(ctx.Err(), s.commit(ctx, append(entries, s.halves()...)))
		}
		entries = s.ask.timeout(s, entries)
		over := s.ending && s.open == 0
		if over {
			entries = append(entries, s.entry(End, NoRole, ""))
		}
		if err := s.commit(ctx, entries); err != nil {
			return err
		}
		s.show()
		if over {
			return nil
		}
	}
}

// entries makes entries of arrivals.
func (s *Session) entries(list []arrival) (entries []Entry) {
	for _, a := range list {
		add := func(kind Kind, data string) {
			entries = append(entries, Entry{Kind: kind, Wall: a.wall, Mono: a.mono, Port: a.role, Data: data})
		}
		var cuts []cut
		switch {
		case a.data != nil:
			cuts = s.split[a.role].feed(a.data)
		case a.idle || a.lost != nil || a.over:
			cuts = s.split[a.role].idle()
		case a.open != nil:
			add(Open, a.open.text())
		case a.note != nil:
			s.extra = append(s.extra, *a.note)
		case a.input != nil && s.heed(a.input):
			add(Said, a.input.String())
		}
		for _, c := range cuts {
			kind := Part
			if c.whole {
				kind = Line
			}
			add(kind, c.data)
		}
		if a.lost != nil {
			add(Lost, a.lost.Error())
		}
		if a.over {
			s.open--
		}
	}
	return entries
}

// halves makes entries of what arrived of lines that have no end yet.
func (s *Session) halves() (entries []Entry) {
	for role := range s.split {
		for _, c := range s.split[role].idle() {
			e := s.entry(Part, Role(role), c.data)
			if c.whole {
				e.Kind = Line
			}
			entries = append(entries, e)
		}
	}
	return entries
}

// heed acts on an input, and reports whether it is to be kept.
func (s *Session) heed(in *Input) bool {
	switch in.Verb {
	case UsePort:
		l := s.links[in.Role]
		if l == nil {
			s.note("no port of the %s is read in this session", in.Role)
			return false
		}
		if err := l.use(in.Words); err != nil {
			still := "still gone"
			if at := l.place(); at != "" {
				still = "still read at " + at
			}
			s.note("the port cannot be opened: %v; the %s is %s (nilvolt capture --list lists the ports)", err, in.Role, still)
		}
		return true
	case NextReading:
		if !s.ask.want(s, in) {
			return false
		}
		s.remark(&in.Next)
		return true
	case Finish:
		if s.ending {
			return false
		}
		s.ending = true
		for _, l := range s.links {
			if l != nil {
				close(l.ending)
			}
		}
		return true
	default:
		return in.Verb != NoVerb
	}
}

// remark tells of a pair that names a conductor which the job sheet does not have. A
// reading of it is taken all the same, as the rules have it (conductor-unexpected): it may
// be live.
func (s *Session) remark(next *Next) {
	ev, err := next.suppose()
	if err != nil || !next.hasPair() {
		return
	}
	rec := &record.Record{ID: s.cfg.Header.Record, Jobs: s.state.Record().Jobs, Events: []record.Event{ev}}
	for _, f := range verify.NewJudge(s.cfg.Policy, s.cfg.Register, nil).Judge(WithJobs(rec, s.cfg.Jobs)).Findings {
		if f.Rule == record.ConductorUnexpected {
			s.note("%s; if it was a slip, say test again with the right pair before the reading is taken", f.Message)
		}
	}
}

// note tells what stands in no journal.
func (s *Session) note(format string, args ...any) {
	s.extra = append(s.extra, Notice{Urgent: true, Text: fmt.Sprintf(format, args...)})
}

// commit writes entries and applies them. While the disk is full it waits: what
// arrives meanwhile is held, and nothing of it is shown.
func (s *Session) commit(ctx context.Context, entries []Entry) error {
	if len(entries) == 0 {
		return nil
	}
	err := s.journal.Append(entries)
	for told := false; ; told = true {
		if _, full := errors.AsType[*FullError](err); !full {
			break
		}
		if !told {
			s.note("the disk is full (%v): nothing that arrives now is kept or shown; make room on it, the session then goes on", err)
			s.show()
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("%s: %w", s.cfg.Journal, err)
		case <-time.After(s.cfg.Retry):
		}
		if err = s.journal.Flush(); err == nil {
			s.note("there is room on the disk again: all that arrived meanwhile is kept")
		}
	}
	if err != nil {
		return fmt.Errorf("%s: %w", s.cfg.Journal, err)
	}
	for _, e := range entries {
		s.state.Apply(e)
	}
	return nil
}

// show tells what has changed.
func (s *Session) show() {
	if s.cfg.Show == nil {
		s.state.TakeFresh()
		return
	}
	u := s.shown.Update(s.state, s.cfg.Jobs, verify.NewJudge(s.cfg.Policy, s.cfg.Register, nil))
	u.Notices = append(u.Notices, s.extra...)
	s.extra = nil
	s.cfg.Show(u)
}

// A Shown is how much of a state was shown. The zero Shown is nothing.
type Shown struct {
	unread, notices int
	part            [numRoles]int // lines of the journal where half a line began
}

// skip takes all that is in a state as shown.
func (n *Shown) skip(st *State) {
	st.TakeFresh()
	n.unread, n.notices = len(st.unread), len(st.notices)
}

// Update returns what is new in a state since the last call, and where its record
// stands by the judge, with the rows of the job sheet.
func (n *Shown) Update(st *State, jobs []record.Job, judge *verify.Judge) *Update {
	u := &Update{
		Events: st.TakeFresh(), Unread: st.Unread()[n.unread:], Notices: slices.Clone(st.Notices()[n.notices:]),
		Record: WithJobs(st.Record(), jobs), AllUnread: st.Unread(), Seen: st.Seen(), Next: st.Next(), Ended: st.Ended(),
	}
	n.unread, n.notices = len(st.unread), len(st.notices)
	u.Notices = append(u.Notices, n.halves(st)...)
	u.Judgement = judge.Judge(u.Record)
	return u
}

// halves tells of half a line that has come and whose end is waited for. Of one that was
// cut off before it could be shown there is nothing to wait for.
func (n *Shown) halves(st *State) (notices []Notice) {
	for role := Indicator; role < numRoles; role++ {
		p := &st.ports[role]
		if p.part == "" || p.tooLong || p.partAt == n.part[role] {
			continue
		}
		n.part[role] = p.partAt
		notices = append(notices, Notice{
			Line: p.partAt, Time: p.partTime, Text: fmt.Sprintf("half a line came from the %s: it counts when its end has come", role),
		})
	}
	return notices
}

// WithJobs returns rec with the rows of the job sheet that are its own before those
// that came with the readings.
func WithJobs(rec *record.Record, sheet []record.Job) *record.Record {
	var jobs []record.Job
	for _, job := range sheet {
		if job.Record == rec.ID {
			jobs = append(jobs, job)
		}
	}
	return &record.Record{ID: rec.ID, Jobs: append(jobs, rec.Jobs...), Events: rec.Events}
}

// State returns the state. It must not be called before Run has returned.
func (s *Session) State() *State { return s.state }
