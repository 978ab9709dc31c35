package capture

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"nilvolt/formats"
	"nilvolt/record"
)

// A Query is what was sent to an instrument that is asked, and what its answer is of.
type Query struct {
	Purpose  Purpose `json:"purpose"`
	Text     string  `json:"text"` // as it was sent, without the line end
	Waveform string  `json:"waveform,omitempty"`
}

// A Purpose says what a query is for.
type Purpose string

// The purposes.
const (
	AskIdentity Purpose = "identity" // who is there: *IDN? (IEEE 488.2, 10.14)
	AskReading  Purpose = "reading"  // the voltage: MEASure:VOLTage:AC? or :DC? (SCPI-1999)
	AskError    Purpose = "error"    // did it go well: SYSTem:ERRor? (SCPI-1999)
	AskAgain    Purpose = "again"    // the identity, until it comes: what comes before it is late
)

// A poll is how far the asking is.
type poll struct {
	query    *Query // that waits for its answer
	due      bool   // a reading was asked for, and is not in the record yet
	identity string // what the instrument answered
	reading  string // the answer that waits for whether it went well
	line     int    // of it
	at       record.Instant
	next     Next // what it is of
	waveform string
}

// asked takes a query. What a reading is of was said before it is asked for; what is
// said while it is under way is of the next one.
func (s *State) asked(e Entry) {
	q := new(Query)
	if err := json.Unmarshal([]byte(e.Data), q); err != nil {
		q = &Query{Text: e.Data}
	}
	s.poll.query = q
	if q.Purpose == AskReading {
		s.poll.due, s.poll.next, s.poll.waveform = true, s.next, q.Waveform
		s.next.From, s.next.To, s.next.Pair = "", "", ""
	}
}

// answer takes a line of an instrument that is asked.
func (s *State) answer(line int, at record.Instant, text string) {
	p := &s.poll
	q := p.query
	if q == nil {
		s.unreadable(Indicator, line, at, text, "it came without being asked for")
		return
	}
	switch q.Purpose {
	case AskIdentity:
		s.identified(line, at, text)
		p.query = nil
	case AskReading:
		p.reading, p.line, p.at, p.query = text, line, at, nil
	case AskError:
		p.query = nil
		if why := errorOf(text); why != "" {
			s.tell(Entry{Line: line}, at, true, "the instrument reports %s: the reading does not count, take it again", why)
			p.reading = unreadText
		}
		s.polled(at)
	case AskAgain:
		if text == p.identity {
			p.query = nil
		}
	}
}

// identified takes the answer to *IDN?: maker, model, serial number and version, with
// commas between (IEEE 488.2, 10.14). From memory: an unknown serial number is 0.
func (s *State) identified(line int, at record.Instant, text string) {
	s.poll.identity = text
	fields := strings.Split(text, ",")
	if len(fields) == 4 {
		if id := strings.TrimSpace(fields[2]); id != "" && id != "0" {
			s.ports[Indicator].id = id
		}
	}
	if s.header.Indicator == "" && s.ports[Indicator].id == "" {
		s.tell(Entry{Line: line}, at, true, "the instrument does not tell its serial number (%q): begin with --indicator-id", text)
	}
}

// errorOf returns what an answer to SYSTem:ERRor? complains of, blank for no error,
// which is number 0, with or without a sign (SCPI-1999, read in manuals of
// instruments).
func errorOf(text string) string {
	number, message, _ := strings.Cut(text, ",")
	if n, err := strconv.Atoi(strings.TrimSpace(number)); err == nil && n == 0 {
		return ""
	}
	if message == "" {
		message = "an answer that is none, " + strconv.Quote(text)
	}
	return strings.TrimSpace(message)
}

// timeout takes that no answer came. A reading that was asked for and did not come is
// an unreadable one.
func (s *State) timeout(e Entry, at record.Instant) {
	p := &s.poll
	q := p.query
	if q == nil {
		return
	}
	p.query = nil
	s.tell(e, at, true, "the instrument did not answer %s in time", q.Text)
	switch q.Purpose {
	case AskReading:
		p.line, p.at, p.reading = e.Line, at, unreadText
		s.polled(at)
	case AskError:
		p.reading = unreadText
		s.polled(at)
	case AskIdentity, AskAgain:
	}
}

// endPoll ends a reading that was asked for and is not in the record yet: nobody will
// know what the instrument showed, or whether that went well. It is an unreadable one.
func (s *State) endPoll(at record.Instant) {
	p := &s.poll
	if !p.due {
		return
	}
	p.query, p.line, p.at, p.reading = nil, s.before+1, at, unreadText
	s.polled(at)
}

// polled makes an event of the answer. Text that is no number is no value; 9.9E37 is
// over-range and 9.91E37 no number (SCPI-1999), which package record knows.
func (s *State) polled(at record.Instant) {
	p := &s.poll
	p.due = false
	text := strings.TrimSpace(p.reading)
	if _, err := record.ParseReading(text); err != nil || text == "" {
		s.tell(Entry{Line: p.line}, at, true, "the instrument answered %q, which is no number", text)
		text = unreadText
	}
	var row formats.Row
	row[formats.VoltsColumn].Text = text
	row[formats.TimeColumn].Text = p.at.String()
	row[formats.IndicatorColumn].Text = s.indicator(Indicator)
	if row[formats.IndicatorColumn].Text == "" {
		row[formats.IndicatorColumn].Text = "unknown"
	}
	row[formats.WaveformColumn].Text = p.waveform
	p.next.fill(&row)
	pos := record.Pos{File: s.file, Line: p.line}
	var ev record.Event
	var job record.Job
	if _, _, problems := formats.DecodeRow(&row, pos, &ev, &job); len(problems) > 0 {
		s.unreadable(Indicator, p.line, p.at, p.reading, fmt.Sprintf("nobody said what it is of: %s", problems[0].Message))
		return
	}
	s.ports[Indicator].decoded++
	s.add(ev)
}
