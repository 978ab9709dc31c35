package capture

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"nilvolt/record"
)

const header = "event,indicator,from,to,volts,waveform\r\n"

// goodLines are a complete record of a single-phase circuit.
var goodLines = []string{
	header,
	"prove,VI-1,,,229.8,ac\r\n", "test,VI-1,N,L,0.4,ac\r\n", "test,VI-1,E,L,0.6,ac\r\n", "test,VI-1,E,N,0.1,ac\r\n",
	"prove,VI-1,,,230.1,ac\r\n",
}

func sendAll(p *fakePort, lines []string) {
	for _, line := range lines {
		p.send(line)
	}
}

func replayFile(t *testing.T, path string) *State {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	c, err := ReadJournal(data, path)
	if err != nil {
		t.Fatal(err)
	}
	return Replay(c, path)
}

var recordCmp = cmp.Options{
	cmp.Comparer(func(a, b record.Instant) bool { return a == b }),
	cmp.Comparer(func(a, b record.Conductor) bool { return a == b }),
	cmpopts.EquateEmpty(),
}

func TestSessionOfAGoodRecord(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	r := run(t, Config{Serial: &ports, Ports: []PortConfig{{Role: Indicator, Name: "A"}}})
	sendAll(vi, goodLines)
	r.untilEvents(5)
	r.say("begin")
	u := r.untilEvents(6)
	if u.Judgement.Status != record.Compliant {
		t.Errorf("judged %v: %+v", u.Judgement.Status, u.Judgement.Findings)
	}
	st := r.end()
	again := replayFile(t, r.cfg.Journal)
	if diff := cmp.Diff(st.Record(), again.Record(), recordCmp); diff != "" {
		t.Errorf("the journal replays to another record:\n%s", diff)
	}
	if len(st.Unread()) > 0 || !again.Ended() {
		t.Errorf("unread %v, ended %t", st.Unread(), again.Ended())
	}
}

// The journal holds every byte that arrived, in order.
func TestJournalHoldsEveryByte(t *testing.T) {
	var ports fakePorts
	vi := ports.plug(PortInfo{Name: "A"})
	r := run(t, Config{Serial: &ports, Ports: []PortConfig{{Role: Indicator, Name: "A"}}})
	sent := []string{"\xff\x00garb", "age\r\n", header, "test,VI-1,L,N,", "", "0.4,ac\r", "test,VI-1,L,E,0.4,ac\n\r\n\n", "half"}
	for _, text := range sent {
		if text == "" {
			r.until("a part", func(u *Update) bool { return len(u.AllUnread) == 1 })
		}
		vi.send(text)
	}
	r.untilEvents(2)
	r.say("end")
	r.until("the end", func(u *Update) bool { return u.Ended })
	if err := <-r.ended; err != nil {
		t.Fatal(err)
	}
	r.ended <- nil
	data, err := os.ReadFile(r.cfg.Journal)
	if err != nil {
		t.Fatal(err)
	}
	c, err := ReadJournal(data, "J")
	if err != nil {
		t.Fatal(err)
	}
	var got strings.Builder
	for _, e := range c.Entries {
		if e.Kind == Line || e.Kind == Part {
			got.WriteString(e.Data)
		}
	}
	if want := strings.Join(sent, ""); got.String() != want {
		t.Errorf("the journal holds %q\nsent was %q", got.String(), want)
	}
}
