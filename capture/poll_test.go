package capture

import (
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"nilvolt/fixtures/instruments"
	"nilvolt/record"
)

// A polled session is a session with a simulated meter.
type polled struct {
	*runner
	meter *instruments.Meter
	port  *fakePort
}

// poll starts a session with a meter that shows what volts gives.
func pollMeter(t *testing.T, volts func(query string) string, change ...func(*Config)) *polled {
	t.Helper()
	var ports fakePorts
	p := &polled{port: ports.plug(PortInfo{Name: "A"})}
	p.meter = &instruments.Meter{Identity: "Example works,M1,VI-31,1.0", Volts: volts}
	if volts == nil { // a meter that does not know its serial number
		p.meter = &instruments.Meter{Identity: "Example works,M1,0,1.0", Volts: func(string) string { return "0.1" }}
	}
	cfg := oneIndicator(&ports)
	cfg.Waveform = record.AC
	cfg.AnswerWithin = 200 * time.Millisecond
	for _, c := range change {
		c(&cfg)
	}
	p.runner = run(t, cfg)
	go func() {
		for query := range p.port.wrote {
			if answer, ok := p.meter.Answer(query); ok {
				p.port.send(answer + "\n")
			}
		}
	}()
	t.Cleanup(func() { close(p.port.wrote) })
	return p
}

// reading takes one reading.
func (p *polled) reading(say string) record.Event {
	p.t.Helper()
	n := 0
	if p.last != nil {
		n = len(p.last.Record.Events)
	}
	p.say(say)
	u := p.untilEvents(n + 1)
	return u.Record.Events[n]
}

// A whole record by queries.
func TestPolledRecord(t *testing.T) {
	shows := "+2.298E+02"
	p := pollMeter(t, func(string) string { return shows })
	ev := p.reading("prove PU-1 230")
	if ev.Kind != record.Prove || ev.Indicator != "VI-31" || ev.Source != "PU-1" || ev.Expected != 230 || ev.Volts.Volts != 229.8 || ev.Waveform != record.AC {
		t.Errorf("proof %+v", ev)
	}
	shows = "+1.0E-01"
	for _, pair := range []string{"test N L", "test E L", "test E N"} {
		if ev := p.reading(pair); ev.Kind != record.Test || ev.Volts.Volts != 0.1 || "test "+ev.Pair.A.String()+" "+ev.Pair.B.String() != pair {
			t.Errorf("%s: %+v", pair, ev)
		}
	}
	shows = "2.305E2"
	p.reading("prove PU-1 230")
	if p.last.Judgement.Status != record.Compliant {
		t.Errorf("%v: %s", p.last.Judgement.Status, failedRules(p.last.Judgement))
	}
	st := p.end()
	if diff := cmp.Diff(st.Record(), replayFile(t, p.cfg.Journal).Record(), recordCmp); diff != "" {
		t.Error(diff)
	}
}

// What is no value is never 0. SCPI-1999: 9.9E37 is infinity, 9.91E37 not a number.
func TestPolledAnswersThatAreNoValue(t *testing.T) {
	for _, test := range []struct {
		answer string
		want   record.ReadingState
	}{
		{"9.9E37", record.Overflow},
		{"+9.90000000E+37", record.Overflow},
		{"-9.9E+37", record.Overflow},
		{"9.91E37", record.Unreadable},
		{"+9.91000000E+37", record.Unreadable},
		{"0.1,0.2", record.Unreadable}, // which of them
		{"0.1 V", record.Unreadable},
		{"garbage", record.Unreadable},
		{" ", record.Unreadable},
		{"\xff\xfe0.1", record.Unreadable},
		{"-1.0E-1", record.Shown},
	} {
		p := pollMeter(t, func(string) string { return test.answer })
		if ev := p.reading("test L-N"); ev.Volts.State != test.want || ev.Kind != record.Test || ev.Pair.String() != "L-N" {
			t.Errorf("%q: %+v", test.answer, ev)
		}
		p.end()
	}
}

// The instrument is asked whether it went well. If not, its number does not count.
func TestPolledError(t *testing.T) {
	var p *polled
	p = pollMeter(t, func(string) string {
		p.meter.Fail(-230, "Data corrupt or stale") // an error of SCPI-1999, from memory
		return "0.1"
	})
	if ev := p.reading("test L-N"); ev.Volts.State != record.Unreadable {
		t.Errorf("%+v", ev)
	}
	p.hasNotice("Data corrupt or stale")
	p.end()
}

// An answer that does not come is an unreadable reading; one that comes late is not
// taken for that to the next query, which is of another pair.
func TestPolledTimeout(t *testing.T) {
	var p *polled
	var silent atomic.Bool
	silent.Store(true)
	p = pollMeter(t, func(string) string {
		if silent.Load() {
			return ""
		}
		return "231.0"
	})
	if ev := p.reading("test L-N"); ev.Volts.State != record.Unreadable || ev.Pair.String() != "L-N" {
		t.Errorf("%+v", ev)
	}
	p.hasNotice("did not answer")
	silent.Store(false)
	p.port.send("0.1\n") // the late one
	p.say("test L-E")
	u := p.until("the reading of L-E", func(u *Update) bool {
		return slices.ContainsFunc(u.Record.Events, func(ev record.Event) bool { return ev.Pair.String() == "L-E" })
	})
	if ev := u.Record.Events[len(u.Record.Events)-1]; ev.Volts.Volts != 231 {
		t.Errorf("%+v", ev)
	}
	for _, ev := range p.last.Record.Events {
		if ev.Volts.State == record.Shown && ev.Volts.Volts < 1 {
			t.Errorf("the late answer counts: %+v", ev)
		}
	}
	p.end()
}

// What is said while a reading is under way waits; a test needs its conductors.
func TestPolledOneAtATime(t *testing.T) {
	hold := make(chan struct{})
	p := pollMeter(t, func(string) string { <-hold; return "0.1" }, func(c *Config) { c.AnswerWithin = 10 * time.Second })
	p.say("test")
	p.hasNotice("say of which conductors")
	p.say("test L-N")
	p.say("test L-E")
	p.hasNotice("still being asked")
	close(hold)
	u := p.untilEvents(1)
	if got := u.Record.Events[0].Pair.String(); got != "L-N" {
		t.Errorf("the reading is of %s", got)
	}
	p.end()
}

func TestPolledWithoutSerialNumber(t *testing.T) {
	p := pollMeter(t, nil)
	p.hasNotice("does not tell its serial number")
	p.end()
	p = pollMeter(t, nil, func(c *Config) { c.Header.Indicator = "VI-9" })
	if ev := p.reading("test L-N"); ev.Indicator != "VI-9" {
		t.Errorf("%+v", ev)
	}
	st := p.end()
	if n := len(st.Unread()); n != 0 {
		t.Errorf("%d unread", n)
	}
}

func TestErrorOf(t *testing.T) {
	for answer, want := range map[string]string{ // forms that manuals of instruments show
		`0,"No error"`: "", `+0,"No error"`: "", `-000,"No error"`: "", `0`: "", `-113,"Undefined header"`: `"Undefined header"`, `-350,"Queue overflow"`: `"Queue overflow"`,
		"": "none", "garbage": "garbage", "1": "1",
	} {
		if got := errorOf(answer); !strings.Contains(got, want) || (want == "") != (got == "") {
			t.Errorf("%q: %q, want %q", answer, got, want)
		}
	}
}
