package capture

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/fixtures/instruments"
	"nilvolt/formats"
	"nilvolt/record"
	"nilvolt/verify"
)

// journalOf returns the entries of a session in which the actions happen, each at its
// time.
func journalOf(actions []instruments.Action) []Entry {
	ms := 0
	var entries []Entry
	add := func(kind Kind, role Role, data string) { entries = append(entries, entryAt(ms, kind, role, data)) }
	add(Begin, NoRole, `{"version":1,"record":"R1"}`)
	add(Open, Indicator, `{"port":"A","settings":"9600 8N1"}`)
	add(Open, Source, `{"port":"B","settings":"9600 8N1"}`)
	var split [numRoles]splitter
	cuts := func(role Role, list []cut) {
		for _, c := range list {
			kind := Part
			if c.whole {
				kind = Line
			}
			add(kind, role, c.data)
		}
	}
	for _, a := range actions {
		if a.After > 100*time.Millisecond {
			ms += 100
			for role := Indicator; role < numRoles; role++ {
				cuts(role, split[role].idle())
			}
			ms -= 100
		}
		ms += int(a.After / time.Millisecond)
		role := map[instruments.Place]Role{instruments.Indicator: Indicator, instruments.Source: Source}[a.Place]
		switch {
		case a.Place == instruments.Technician:
			add(Said, NoRole, a.Text)
		case a.Deed == instruments.Unplug:
			cuts(role, split[role].idle())
			add(Lost, role, "no such device")
		case a.Deed == instruments.Plug:
			add(Open, role, `{"port":"C","settings":"9600 8N1"}`)
		default:
			cuts(role, split[role].feed([]byte(a.Text)))
		}
	}
	add(End, NoRole, "")
	return entries
}

// scenarioJobs returns the job sheet of a scenario.
func scenarioJobs(t interface{ Fatal(...any) }, s instruments.Scenario) []record.Job {
	jobs, err := formats.ReadJobs([]byte(s.Jobs), "jobs.csv", nil)
	if err != nil {
		t.Fatal(err)
	}
	return jobs
}

func judge(rec *record.Record, jobs []record.Job) *verify.Judgement {
	return verify.NewJudge(verify.DefaultPolicy(), nil, nil).Judge(WithJobs(rec, jobs))
}

func fold(entries []Entry) *State {
	s := NewState("J")
	for i, e := range entries {
		e.Line = i + 1
		s.Apply(e)
	}
	return s
}

// failedRules names the rules that failed.
func failedRules(j *verify.Judgement) string {
	var names []string
	for _, f := range j.Findings {
		if f.Severity == record.Failure {
			names = append(names, f.Rule.String())
		}
	}
	return strings.Join(names, " ")
}

func TestScenariosAreJudgedAsTheyAreMeant(t *testing.T) {
	want := map[string]struct {
		status record.Status
		failed string
		unread int
	}{
		"good":        {status: record.Compliant},
		"three-phase": {status: record.Compliant},
		"live":        {status: record.Compliant}, // once all was repeated
		"fault":       {record.NonCompliant, "reprove-failed", 0},
		"noise":       {record.Compliant, "", 1},
		"pauses":      {status: record.Compliant},
		"unplugged":   {record.Compliant, "", 1},
		"garbage":     {record.NonCompliant, "pair-missing", 1},
	}
	for _, s := range instruments.Scenarios() {
		for seed := range uint64(5) {
			st := fold(journalOf(s.Actions(seed)))
			j := judge(st.Record(), scenarioJobs(t, s))
			w := want[s.Name]
			if j.Status != w.status || failedRules(j) != w.failed || min(len(st.Unread()), 1) != w.unread {
				t.Errorf("%s, seed %d: judged %v, failed %q, could not read %+v", s.Name, seed, j.Status, failedRules(j), st.Unread())
			}
		}
	}
}

// The proving unit's line says which source a proof was made on, and what it put out.
func TestProvingUnitTells(t *testing.T) {
	s, err := instruments.Find("good")
	if err != nil {
		t.Fatal(err)
	}
	proofs := 0
	for _, ev := range fold(journalOf(s.Actions(1))).Record().Events {
		if ev.Kind.IsProof() {
			proofs++
			if ev.Source != "PU-1" || ev.Expected != 250 || ev.Indicator != "VI-1" || !strings.Contains(ev.Note, "proving unit") {
				t.Errorf("proof %+v", ev)
			}
		}
	}
	if proofs != 2 {
		t.Errorf("%d proofs", proofs)
	}
}

// anyScenario draws a scenario, and spoils some of what is sent.
func anyScenario(rt *rapid.T) (instruments.Scenario, []instruments.Action) {
	s := rapid.SampledFrom(instruments.Scenarios()).Draw(rt, "scenario")
	actions := s.Actions(rapid.Uint64Range(0, 100).Draw(rt, "seed"))
	for range rapid.IntRange(0, 3).Draw(rt, "spoilt") {
		a := &actions[rapid.IntRange(0, len(actions)-1).Draw(rt, "action")]
		if a.Place == instruments.Technician || a.Text == "" {
			continue
		}
		text := []byte(a.Text)
		text[rapid.IntRange(0, len(text)-1).Draw(rt, "at")] = rapid.Byte().Draw(rt, "byte")
		a.Text = string(text)
	}
	return s, actions
}

// Wherever the power goes, the journal replays to the record as it stood after its last
// whole line; where a piece of a line is left, of the journal or of what arrived, it is
// kept as one that cannot be read, and never makes a record better.
func TestReplayOfAnyPrefixIsTheRecordOfThen(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, actions := anyScenario(rt)
		entries := journalOf(actions)
		text := journalText(entries)
		jobs := scenarioJobs(t, s)
		for range 20 {
			n := rapid.IntRange(0, len(text)).Draw(rt, "cut")
			c, err := ReadJournal(text[:n], "J")
			if err != nil {
				rt.Fatal(err)
			}
			then := fold(entries[:len(c.Entries)])
			now := Replay(c, "J")
			events := now.Record().Events
			if diff := cmp.Diff(then.Record().Events, events[:len(then.Record().Events)], recordCmp); diff != "" {
				rt.Fatalf("cut at %d:\n%s", n, diff)
			}
			pieces := 0
			for _, p := range then.ports {
				if p.part != "" && !p.tooLong { // one that is too long was told of
					pieces++
				}
			}
			if c.Torn != "" {
				pieces++
			}
			if len(now.Unread()) != len(then.Unread())+pieces {
				rt.Fatalf("cut at %d: %d pieces, one of them %q, are not kept", n, pieces, c.Torn)
			}
			if pieces == 0 && len(events) > len(then.Record().Events) {
				rt.Fatalf("cut at %d: %d events, and %d then", n, len(events), len(then.Record().Events))
			}
			if before, after := judge(then.Record(), jobs), judge(now.Record(), jobs); after.Status == record.Compliant && before.Status != record.Compliant {
				rt.Fatalf("cut at %d: a torn line made %v compliant", n, before.Status)
			}
		}
	})
}

// readBack writes a record as canonical CSV and reads it as a file.
func readBack(t interface{ Fatalf(string, ...any) }, rec *record.Record) *record.Record {
	text := formats.AppendEvents(nil, rec)
	layout, err := formats.Bind(string(text), "R1.csv", nil)
	if err != nil {
		t.Fatalf("%v", err)
	}
	back := &record.Record{ID: rec.ID}
	d := formats.NewDecoder(layout, "R1.csv")
	line := layout.FirstLine
	for rest := string(text[layout.FirstRow:]); rest != ""; {
		var ev record.Event
		n, lines, o := d.Next(rest, line, &ev)
		if o != formats.Decoded || d.Last().ID != rec.ID {
			t.Fatalf("%q: %v", rest[:n], d.Problems())
		}
		back.Events = append(back.Events, ev)
		if last := d.Last(); last.HasJob {
			job := *last.Job
			job.Record = rec.ID
			back.Jobs = append(back.Jobs, job)
		}
		rest, line = rest[n:], line+lines
	}
	return back
}

// The file that a session leaves is judged as the session was.
func TestFileIsJudgedAsTheSession(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, actions := anyScenario(rt)
		jobs := scenarioJobs(t, s)
		rec := fold(journalOf(actions)).Record()
		live, file := judge(rec, jobs), judge(readBack(rt, rec), jobs)
		if live.Status != file.Status || failedRules(live) != failedRules(file) || len(live.Findings) != len(file.Findings) {
			rt.Fatalf("the session %v %q, the file %v %q", live.Status, failedRules(live), file.Status, failedRules(file))
		}
	})
}

// FuzzSession: whatever bytes come from the two instruments, the journal replays to the
// record, and the file is judged as the session.
func FuzzSession(f *testing.F) {
	f.Add([]byte(header+"prove,VI-1,,,229.8,ac\r\ntest,VI-1,N,L,0.4,ac\r\ntest,VI-1,\xff\r\n"), []byte("event,source,expected\nprove,PU-1,250\n"))
	f.Add([]byte("event,indicator,pair,volts,time,record,supply\ntest,VI-1,L-N,0.4,2026-03-02T10:15:41+01:00,R1,dc\n"), []byte("\x00"))
	f.Fuzz(func(t *testing.T, indicator, source []byte) {
		actions := []instruments.Action{
			{Place: instruments.Indicator, Text: string(indicator[:len(indicator)/2])},
			{Place: instruments.Source, Text: string(source)},
			{After: time.Second, Place: instruments.Indicator, Text: string(indicator[len(indicator)/2:])},
		}
		entries := journalOf(actions)
		c, err := ReadJournal(journalText(entries), "J")
		if err != nil {
			t.Fatal(err)
		}
		rec := fold(entries).Record()
		if diff := cmp.Diff(rec, Replay(c, "J").Record(), recordCmp); diff != "" {
			t.Fatal(diff)
		}
		live, file := judge(rec, nil), judge(readBack(t, rec), nil)
		if live.Status != file.Status || failedRules(live) != failedRules(file) {
			t.Fatalf("the session %v %q, the file %v %q", live.Status, failedRules(live), file.Status, failedRules(file))
		}
	})
}

// A line of the indicator that cannot be read, anywhere behind the first proof, is never
// followed by a compliant record until the proof is made again, and the pairs before it
// are tested again.
func TestUnreadableLineIsNeverPassedOver(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := rapid.SampledFrom([]string{"good", "three-phase"}).Draw(rt, "scenario")
		scenario, err := instruments.Find(s)
		if err != nil {
			rt.Fatal(err)
		}
		actions := scenario.Actions(rapid.Uint64Range(0, 50).Draw(rt, "seed"))
		first := slices.IndexFunc(actions, func(a instruments.Action) bool {
			return a.Place == instruments.Indicator && strings.HasPrefix(a.Text, "prove,")
		})
		at := rapid.IntRange(first+1, len(actions)).Draw(rt, "at")
		garbled := "test,VI-1,L" + string(rapid.SliceOfN(rapid.ByteRange(0x80, 0xff), 1, 30).Draw(rt, "bytes")) + "\r\n"
		actions = slices.Insert(actions, at, instruments.Action{After: time.Second, Place: instruments.Indicator, Text: garbled})
		st := fold(journalOf(actions))
		if len(st.Unread()) != 1 {
			rt.Fatalf("%q was read", garbled)
		}
		if j := judge(st.Record(), scenarioJobs(t, scenario)); j.Status == record.Compliant {
			rt.Fatalf("compliant, with %q before %+v", garbled, actions[at:])
		}
	})
}

// Bytes that are no text at the begin of a line, and a pause behind them, are noise.
func TestNoiseIsNoLine(t *testing.T) {
	s, err := instruments.Find("good")
	if err != nil {
		t.Fatal(err)
	}
	for at := range s.Actions(1) {
		actions := slices.Insert(s.Actions(1), at, instruments.Action{After: time.Second, Place: instruments.Indicator, Text: "\xff\x00\xfe"})
		if at+1 < len(actions) {
			actions[at+1].After = max(actions[at+1].After, time.Second)
		}
		st := fold(journalOf(actions))
		if j := judge(st.Record(), scenarioJobs(t, s)); j.Status != record.Compliant || len(st.Unread()) > 0 {
			t.Errorf("noise before %+v: %v, could not read %+v", actions[min(at+1, len(actions)-1)], j.Status, st.Unread())
		}
	}
}

func TestSimulationIsTheSameForTheSameSeed(t *testing.T) {
	for _, s := range instruments.Scenarios() {
		if a, b := fmt.Sprint(s.Actions(7)), fmt.Sprint(s.Actions(7)); a != b {
			t.Errorf("%s: two runs differ", s.Name)
		}
		if bytes.Equal(journalText(journalOf(s.Actions(7))), journalText(journalOf(s.Actions(8)))) {
			t.Errorf("%s: another seed changes nothing", s.Name)
		}
	}
}

// A start bit and zeros up to some bit, then ones: FF, FE, FC, F8, F0, E0, C0, 80, 00.
func TestIsNoise(t *testing.T) {
	noise := map[byte]bool{0xff: true, 0xfe: true, 0xfc: true, 0xf8: true, 0xf0: true, 0xe0: true, 0xc0: true, 0x80: true, 0x00: true}
	for c := range 256 {
		if got := isNoise(string([]byte{0xff, byte(c)})); got != noise[byte(c)] {
			t.Errorf("%#x: %t", c, got)
		}
	}
	if isNoise(strings.Repeat("\xff", mostNoise+1)) {
		t.Error("many bytes pass for a plug's noise")
	}
}
