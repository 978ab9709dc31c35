package capture

import (
	"encoding/json"
	"testing"
	"time"

	"nilvolt/record"
)

// A script is entries of a journal, a second apart.
type script struct{ entries []Entry }

func (s *script) add(kind Kind, role Role, data string) {
	n := len(s.entries) + 1
	mono := time.Duration(n) * time.Second
	s.entries = append(s.entries, Entry{
		Kind: kind, Port: role, Data: data, Mono: mono, Line: n,
		Wall: time.Date(2026, 3, 2, 10, 0, 0, 0, time.UTC).Add(mono),
	})
}

func (s *script) begin(t *testing.T, kind Kind, polled bool) {
	t.Helper()
	text, err := json.Marshal(Header{Version: journalVersion, Record: "R1", Indicator: "VI-1", Polled: polled})
	if err != nil {
		t.Fatal(err)
	}
	s.add(kind, NoRole, string(text))
	s.add(Open, Indicator, (&Opened{Name: "A"}).text())
}

// ask asks for a reading, which answers; the end says how far it came.
func (s *script) ask(t *testing.T, say, answer string, whole bool) {
	t.Helper()
	s.add(Said, NoRole, say)
	for _, q := range []Query{{Purpose: AskReading, Waveform: "ac"}, {Purpose: AskError}} {
		text, err := json.Marshal(q)
		if err != nil {
			t.Fatal(err)
		}
		if s.add(Ask, Indicator, string(text)); q.Purpose == AskReading && answer != "" {
			s.add(Line, Indicator, answer+"\n")
		}
		if !whole {
			return
		}
	}
	s.add(Line, Indicator, "0,\"No error\"\n")
}

var singlePhase = []record.Job{{Record: "R1", Supply: record.SinglePhase, Nominal: 230}}

// replayed judges a record as it is replayed.
func (s *script) replayed() (*State, record.Status) {
	st := Replay(&Contents{Entries: s.entries}, "J")
	return st, judge(st.Record(), singlePhase).Status
}

// However a session ends, half a line of the indicator may have been a live reading.
func TestHalfALineAtTheEnd(t *testing.T) {
	for _, ended := range []bool{false, true} {
		for _, half := range []string{"", "test,VI-1,E,L,23"} {
			var s script
			s.begin(t, Begin, false)
			for _, line := range goodLines {
				s.add(Line, Indicator, line)
			}
			want := record.Compliant
			if half != "" {
				s.add(Part, Indicator, half)
				want = record.NonCompliant
			}
			if ended {
				s.add(End, NoRole, "")
			}
			if st, got := s.replayed(); got != want {
				t.Errorf("%q at the end (ended: %t) is %v, want %v; unread %+v", half, ended, got, want, st.Unread())
			}
		}
	}
}

// A reading that was asked for and is not in the record when the session is broken off,
// over, or without its port is an unreadable one, whether its answer had come or not.
func TestPolledReadingBrokenOff(t *testing.T) {
	ends := map[string]func(*script){
		"nothing more": func(*script) {},
		"end":          func(s *script) { s.add(End, NoRole, "") },
		"resume":       func(s *script) { s.begin(t, Resume, true) },
		"lost":         func(s *script) { s.add(Lost, Indicator, "pulled") },
		"lost, end":    func(s *script) { s.add(Lost, Indicator, "pulled"); s.add(End, NoRole, "") },
	}
	for name, end := range ends {
		for _, answer := range []string{"2.31E2", "0.1", ""} {
			var s script
			s.begin(t, Begin, true)
			s.ask(t, "prove PU-1 230", "229.8", true)
			for _, pair := range []string{"test L-N", "test L-E", "test N-E"} {
				s.ask(t, pair, "0.1", true)
			}
			s.ask(t, "prove PU-1 230", "230.1", true)
			if _, got := s.replayed(); got != record.Compliant {
				t.Fatalf("before it is %v", got)
			}
			s.ask(t, "test L-N", answer, false)
			end(&s)
			st, got := s.replayed()
			last := st.events[len(st.events)-1]
			if got != record.NonCompliant || len(st.events) != 6 || last.Pair.String() != "L-N" || last.Volts.State != record.Unreadable {
				t.Errorf("%q, then %s: %v, %d events, the last %+v", answer, name, got, len(st.events), last)
			}
		}
	}
}
