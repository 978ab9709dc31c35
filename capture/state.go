package capture

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"nilvolt/formats"
	"nilvolt/record"
)

// A Header says what a session is about and how its lines are read. With the journal
// behind it nothing else is needed to make the record again, but for the job sheet.
type Header struct {
	Version   int    `json:"version"` // of the journal's form: 1
	Record    string `json:"record"`  // the id of the record
	Indicator string `json:"indicator,omitempty"`
	Columns   string `json:"columns,omitempty"` // canonical header of lines that come without one
	Map       string `json:"map,omitempty"`     // the text of the column map
	MapName   string `json:"map_name,omitempty"`
	Zone      string `json:"zone,omitempty"`    // of local times, where the map names none
	Polled    bool   `json:"polled,omitempty"`  // the indicator is asked, by SCPI
	AnyTime   bool   `json:"anytime,omitempty"` // the lines' own times are not looked at
}

const journalVersion = 1

// A State is what a session has come to: a fold over the entries of its journal. The
// zero State is not usable; see [NewState].
type State struct {
	file    string // name of the journal, for the places of events
	before  int    // line of the entry before
	header  Header
	begun   bool
	ended   bool
	clock   clock
	ports   [numRoles]port
	next    Next
	events  []record.Event
	shared  bool           // events was handed out: what changes must be a copy
	fresh   []record.Event // that came since TakeFresh
	jobs    []record.Job
	other   []string  // ids of other records that lines named
	unit    *unitLine // what the proving unit said last; nil if nothing
	waiting []int     // places of the proofs since then, of which it said nothing
	unread  []Unread
	doubt   int // how many events there were when one was put in for a line that cannot be read
	seen    int // how many events the technician has said to have seen
	poll    poll

	notices []Notice
}

// A port is what is known of one of the two ports.
type port struct {
	open     bool
	at       Opened
	lines    *formats.Lines
	part     string         // what arrived since the last line end
	partAt   int            // line of the journal where it began
	partTime record.Instant // when
	tooLong  bool           // it was longer than a line can be; what is left of it is not read
	decoded  int            // lines since the port was opened
	bytes    int            // that arrived since then
	odd      int            // of them, no text
	asked    bool           // the wrong speed was told
	id       string         // of the instrument, as its lines name it
	prompt   time.Duration
	timed    bool // prompt is known
}

// An Unread is a line that could not be read.
type Unread struct {
	Line     int // of the journal
	Port     Role
	Time     record.Instant // of its arrival
	Text     string         // as it arrived, without the line end
	Problems []*formats.RowError
	// InDoubt says that readings were put into the record for what it may have been.
	InDoubt bool
}

// A Notice is something that the technician has to be told.
type Notice struct {
	Line   int            // of the journal, that it is about
	Time   record.Instant // zero where no line has come yet
	Urgent bool           // something has to be done about it
	Text   string         // a sentence, lower case, no full stop
}

// NewState returns the state before the first entry. file is what the journal is
// called in the places of events.
func NewState(file string) *State { return &State{file: file} }

// Replay returns the state after the contents of the journal called file, of which no
// more is to come.
func Replay(c *Contents, file string) *State {
	s := NewState(file)
	for _, e := range c.Entries {
		s.Apply(e)
	}
	s.BreakOff(c.Torn)
	return s
}

// Apply takes in the next entry.
func (s *State) Apply(e Entry) {
	at := s.clock.at(e, s)
	switch e.Kind {
	case Begin, Resume:
		s.begin(e)
	case Torn:
		s.torn(e)
	case Open:
		s.open(e)
	case Lost:
		s.endPart(e.Port, at, "the line was cut off when the port was lost")
		if e.Port == Indicator && s.poll.query == nil { // else it times out
			s.endPoll(at)
		}
		s.ports[e.Port].open = false
		s.tell(e, at, true, "the %s is gone (%s): nothing is read from it until it is back", e.Port, e.Data)
	case Line, Part:
		s.arrived(e, at)
	case Said:
		s.said(e, at)
	case Ask:
		s.asked(e)
	case Timeout:
		s.timeout(e, at)
	case End:
		s.endAll(at, "the session ended before the line did")
		s.ended = true
	case NoKind, numKinds:
	}
	s.before = e.Line
}

// begin takes a header.
func (s *State) begin(e Entry) {
	resumed := s.begun
	s.begun, s.ended = true, false
	if resumed {
		s.endAll(s.clock.last, "the session was broken off before the line ended")
		for role := Indicator; role < numRoles; role++ {
			s.ports[role].open = false
		}
	}
	before := s.header
	s.header = Header{}
	if err := json.Unmarshal([]byte(e.Data), &s.header); err != nil {
		s.tell(e, s.clock.last, true, "the header of the journal cannot be read (%v): no line can be read", err)
	}
	if s.header != before {
		for role := Indicator; role < numRoles; role++ {
			s.ports[role].lines = nil // lines are read in another way now
		}
	}
	if resumed {
		s.poll = poll{}
		s.tell(e, s.clock.last, false, "the session was broken off and goes on; what the instruments showed in between is not recorded")
	}
}

// open takes that a port was opened. An instrument that stayed on while its cable was
// out, or the program down, does not send its header again: of the same device the one
// from before holds.
func (s *State) open(e Entry) {
	before := &s.ports[e.Port]
	p := port{open: true, at: parseOpened(e.Data), lines: before.lines, id: before.id}
	if p.lines == nil || !p.at.sameDevice(&before.at) {
		p.lines = s.newLines(e.Port)
	}
	s.ports[e.Port] = p
}

// newLines returns the decoder of the lines of a port.
func (s *State) newLines(role Role) *formats.Lines {
	m, err := s.header.columnMap()
	if err != nil {
		s.notices = append(s.notices, Notice{Urgent: true, Text: "the column map of the journal cannot be read: " + err.Error()})
	}
	lines := formats.NewLines(role.String(), m)
	if s.header.Columns != "" && m == nil {
		lines.Next(s.header.Columns, record.Pos{File: s.file}, nil)
	}
	return lines
}

// columnMap returns the map that h holds, nil if there is none.
func (h *Header) columnMap() (m *formats.Map, err error) {
	if h.Map != "" {
		if m, err = formats.ParseMap(h.MapName, []byte(h.Map)); err != nil {
			return nil, err
		}
	}
	if h.Zone != "" {
		return m.InZone(h.Zone)
	}
	return m, nil
}

// BreakOff takes in that nothing more is in the journal, but for a piece at its end that
// is no whole line, if it is not blank. What that held arrived, was shown to nobody, and
// may have been any reading; so may what else had arrived in part when the session was
// broken off.
func (s *State) BreakOff(torn string) {
	if torn != "" {
		s.torn(Entry{Data: strconv.Itoa(len(torn))})
	}
	s.endAll(s.clock.last, "the session was broken off before the line ended")
}

// endAll ends what arrived in part only: lines without an end, and a reading that was
// asked for.
func (s *State) endAll(at record.Instant, why string) {
	for role := Indicator; role < numRoles; role++ {
		s.endPart(role, at, why)
	}
	s.endPoll(at)
}

// check reports what is wrong with the way in which lines are to be read.
func (h *Header) check() error {
	m, err := h.columnMap()
	if err != nil || h.Columns == "" || m != nil {
		return err
	}
	d := formats.NewLines("--columns", nil).Next(h.Columns, record.Pos{File: "--columns"}, nil)
	if len(d.Problems) > 0 {
		return fmt.Errorf("the columns %q are no header of readings: name some with commas between, as in  event,indicator,pair,volts", h.Columns)
	}
	return nil
}

// torn takes an entry that tells of such a piece before it.
func (s *State) torn(e Entry) {
	s.refuse(Unread{Line: s.before + 1, Port: Indicator, Time: s.clock.last},
		"a line of the journal is cut short; "+e.Data+" bytes of it are there")
}

// arrived takes data of a port.
func (s *State) arrived(e Entry, at record.Instant) {
	p := &s.ports[e.Port]
	p.count(e.Data)
	if p.part == "" {
		p.partAt, p.partTime = e.Line, at
	}
	line := p.part + e.Data
	if e.Kind == Part && isNoise(line) {
		p.part = "" // and a pause: it is not the start of a line
		s.hearSpeed(e, at)
		return
	}
	if e.Kind == Part {
		p.part = line
		if len(line) > MaxLine && !p.tooLong {
			p.tooLong = true
			s.unreadable(e.Port, p.partAt, at, line, fmt.Sprintf("no line end within %d bytes", MaxLine))
		}
		s.hearSpeed(e, at)
		return
	}
	first, tooLong := p.partAt, p.tooLong
	p.part, p.tooLong = "", false
	if !tooLong {
		s.line(e.Port, first, at, strings.TrimRight(line, "\r\n"))
	}
	s.hearSpeed(e, at)
}

// endPart ends what arrived of a line whose end never will.
func (s *State) endPart(role Role, at record.Instant, why string) {
	p := &s.ports[role]
	part, first, tooLong := p.part, p.partAt, p.tooLong
	p.part, p.tooLong = "", false
	if part != "" && !tooLong {
		s.unreadable(role, first, at, part, why)
	}
}

// line takes a whole line.
func (s *State) line(role Role, line int, at record.Instant, text string) {
	if role == Indicator && s.header.Polled {
		s.answer(line, at, text)
		return
	}
	p := &s.ports[role]
	if p.lines == nil { // a journal that begins with a line
		p.lines = s.newLines(role)
	}
	pos := record.Pos{File: s.file, Line: line}
	var own string
	d := p.lines.Next(text, pos, func(row *formats.Row) { own = s.fill(role, row, at) })
	switch d.Outcome {
	case formats.NoRow:
		return
	case formats.BadRow:
		s.unreadableRow(role, line, at, text, d.Problems)
		return
	case formats.Decoded:
	}
	p.decoded++
	if why := s.ownTime(p, own, at); why != "" {
		s.unreadable(role, line, at, text, why)
		return
	}
	if d.ID != s.header.Record {
		s.otherRecord(line, at, d.ID)
		return
	}
	if role == Source && d.Event.Kind == record.Test {
		s.tellOnce(line, at, "a dead test came from the port of the proving unit: end, and begin again with the ports of --indicator and --source swapped")
		s.unreadable(Indicator, line, at, text, "a dead test from the port of the proving unit")
		return
	}
	if role == Indicator && d.HasJob {
		s.addJob(d.Job)
	}
	s.take(role, &d.Event, at)
}

// addJob keeps what job columns say, once.
func (s *State) addJob(job record.Job) {
	job.Record = s.header.Record
	same := func(j record.Job) bool {
		j.Pos = job.Pos
		return reflect.DeepEqual(j, job)
	}
	if !slices.ContainsFunc(s.jobs, same) {
		s.jobs = append(s.jobs, job)
	}
}

// take puts the event of a line into the record.
func (s *State) take(role Role, ev *record.Event, at record.Instant) {
	if role == Source && ev.Kind.IsProof() {
		s.unitProof(ev)
		return
	}
	if ev.Indicator != "" {
		s.ports[role].id = ev.Indicator
	}
	if ev.Kind == record.Test {
		s.next.From, s.next.To, s.next.Pair = "", "", ""
	}
	s.add(*ev)
}

// add puts an event at the end of the record.
func (s *State) add(ev record.Event) {
	s.events = append(s.events, ev)
	if ev.Kind.IsProof() {
		s.proved(len(s.events) - 1)
	}
	s.fresh = append(s.fresh, s.events[len(s.events)-1])
}

// fill adds to a row what its line does not tell, and returns the time that it tells.
func (s *State) fill(role Role, row *formats.Row, at record.Instant) (own string) {
	own = row[formats.TimeColumn].Text
	if formats.TrimBlanks(own) == "" || parsesAsTime(own) {
		row[formats.TimeColumn].Text = at.String()
	}
	if row[formats.RecordColumn].Text == "" {
		row[formats.RecordColumn].Text = s.header.Record
	}
	if role == Source && row[formats.EventColumn].Text == "" {
		row[formats.EventColumn].Text = record.Prove.String()
	}
	if role == Indicator {
		s.next.fill(row)
	}
	if row[formats.IndicatorColumn].Text == "" {
		row[formats.IndicatorColumn].Text = s.indicator(role)
	}
	return own
}

// indicator returns the id of the indicator for a line that names none: a proving
// unit does not know which one is held to it.
func (s *State) indicator(role Role) string {
	switch id := s.ports[Indicator].id; {
	case s.header.Indicator != "":
		return s.header.Indicator
	case id == "" && role == Source:
		return "unknown" // the line is no evidence by itself
	default:
		return id
	}
}

// otherRecord tells that a line names another record.
func (s *State) otherRecord(line int, at record.Instant, id string) {
	if slices.Contains(s.other, id) {
		return
	}
	s.other = append(s.other, id)
	s.notices = append(s.notices, Notice{
		Line: line, Time: at, Urgent: true,
		Text: fmt.Sprintf("lines name the record %s, and this session is for %s: they are in the journal but not in the record; set the instrument to %s, or begin with --record %s",
			id, s.header.Record, s.header.Record, id),
	})
}

// said takes what the technician did or said.
func (s *State) said(e Entry, at record.Instant) {
	in, err := ParseInput(e.Data)
	if err != nil {
		s.tell(e, at, true, "%v", err)
		return
	}
	switch in.Verb {
	case DidStep:
		s.add(record.Event{Time: at, Kind: in.Step, Pos: record.Pos{File: s.file, Line: e.Line}})
	case NextReading:
		s.next = in.Next
		s.tell(e, at, false, "%s", in.Next.Meaning())
	case HaveSeen:
		s.seen = len(s.events)
	case TakeNote, UsePort, Finish, NoVerb:
	}
}

// tell gives notice of something.
func (s *State) tell(e Entry, at record.Instant, urgent bool, format string, args ...any) {
	s.notices = append(s.notices, Notice{Line: e.Line, Time: at, Urgent: urgent, Text: fmt.Sprintf(format, args...)})
}

// tellOnce gives urgent notice of what was not told before.
func (s *State) tellOnce(line int, at record.Instant, text string) {
	if !slices.ContainsFunc(s.notices, func(n Notice) bool { return n.Text == text }) {
		s.notices = append(s.notices, Notice{Line: line, Time: at, Urgent: true, Text: text})
	}
}

// Header returns what the session is about.
func (s *State) Header() Header { return s.header }

// Begun reports whether the journal has begun, and Ended whether the session is over.
func (s *State) Begun() bool { return s.begun }

// Ended reports whether the session is over.
func (s *State) Ended() bool { return s.ended }

// Record returns the record so far: the rows of the job sheet are the caller's to
// add in front of Jobs. The caller must not change it.
func (s *State) Record() *record.Record {
	s.shared = true
	return &record.Record{ID: s.header.Record, Jobs: slices.Clip(s.jobs), Events: slices.Clip(s.events)}
}

// Unread returns the lines that could not be read. The caller must not change them.
func (s *State) Unread() []Unread { return slices.Clip(s.unread) }

// Notices returns what the technician was or is to be told.
func (s *State) Notices() []Notice { return slices.Clip(s.notices) }

// TakeFresh returns the events that came since it was called last, as they are now.
func (s *State) TakeFresh() []record.Event {
	fresh := s.fresh
	s.fresh = nil
	return fresh
}

// Next returns what was said of the next reading; of the one that was asked for, if it
// has not come yet.
func (s *State) Next() Next {
	if s.poll.due {
		return s.poll.next
	}
	return s.next
}

// Seen returns how many of the record's events the technician has said to have seen.
func (s *State) Seen() int { return s.seen }
