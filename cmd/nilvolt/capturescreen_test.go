package main

import (
	"slices"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"

	"nilvolt/capture"
	"nilvolt/formats"
	"nilvolt/record"
	"nilvolt/verify"
)

// A said keeps what the technician told the session.
type said struct{ words []string }

func (s *said) Say(in capture.Input) { s.words = append(s.words, in.String()) }

// screenOf returns a screen of the given size after the rows, which are canonical CSV
// without record and time, one every 10 s.
func screenOf(t *testing.T, width, height int, rows ...string) (*captureScreen, *said) {
	t.Helper()
	policy := verify.DefaultPolicy()
	m := newCaptureScreen(&captureOptions{}, &inputs{policy: policy}, &console{
		columns: width, getenv: func(string) string { return "" }, now: func() time.Time { return time.Unix(1772445600+600, 0) },
	})
	to := &said{}
	m.session = to
	m.Update(tea.WindowSizeMsg{Width: width, Height: height})
	job := record.Job{Record: "R1", Site: "pump hall", Supply: record.SinglePhase, Nominal: 230, Earthing: record.TNS, Device: "60947-3", Poles: record.Poles2}
	rec := &record.Record{ID: "R1", Jobs: []record.Job{job}}
	lines := formats.NewLines("test", nil)
	lines.Next("record,time,event,indicator,source,expected,from,to,volts,waveform", record.Pos{}, nil)
	for i, row := range rows {
		at := record.NewInstant(1772445600+int64(i)*10, 0, 0)
		d := lines.Next("R1,"+at.String()+","+row, record.Pos{File: "R1.journal", Line: i + 1}, nil)
		if d.Outcome != formats.Decoded {
			t.Fatalf("%q: %v", row, d.Problems)
		}
		rec.Events = append(rec.Events, d.Event)
	}
	m.Update(updated{&capture.Update{Events: rec.Events, Record: rec, Judgement: verify.NewJudge(policy, nil, nil).Judge(rec)}})
	return m, to
}

// press presses keys: enter, esc, ctrl+c, or what they write.
func press(m *captureScreen, keys ...string) {
	for _, key := range keys {
		k := tea.KeyPressMsg{Text: key, Code: []rune(key)[0]}
		switch key {
		case "enter":
			k = tea.KeyPressMsg{Code: tea.KeyEnter}
		case "esc":
			k = tea.KeyPressMsg{Code: tea.KeyEscape}
		case "ctrl+c":
			k = tea.KeyPressMsg{Code: 'c', Mod: tea.ModCtrl}
		}
		m.Update(k)
	}
}

var (
	toLabel  = []string{"inspect,,,,,,,", "identify,,,,,,,", "permission,,,,,,,", "isolate,,,,,,,", "lock,,,,,,,", "label,,,,,,,"}
	proved   = "prove,VI-1,PU-1,250,,,249.6,ac"
	tested   = []string{"test,VI-1,,,N,L,0.3,ac", "test,VI-1,,,E,L,0.2,ac", "test,VI-1,,,E,N,0.1,ac"}
	complete = slices.Concat(toLabel, []string{proved}, tested, []string{proved})
)

func TestScreenFits(t *testing.T) {
	for name, rows := range map[string][]string{
		"nothing": nil, "labelled": toLabel, "complete": complete,
		"failed": append(slices.Clone(complete), "prove,VI-1,PU-1,250,,,179.9,ac"),
		"live":   append(slices.Concat(toLabel, []string{proved}), "test,VI-1,,,N,L,231.4,ac"),
	} {
		for _, size := range [][2]int{{40, 20}, {80, 24}, {200, 60}} {
			m, _ := screenOf(t, size[0], size[1], rows...)
			asked, _ := screenOf(t, size[0], size[1], rows...)
			press(asked, "ctrl+c")
			for _, content := range []string{m.content(), asked.content()} {
				lines := strings.Split(content, "\n")
				if len(lines) > size[1] {
					t.Errorf("%s: %d lines on a screen of %v", name, len(lines), size)
				}
				for _, line := range lines {
					if columnsOf(line) > size[0] {
						t.Errorf("%s: a screen of %v has the line %q", name, size, line)
					}
				}
			}
		}
	}
}

// One line says what to do next, everything else is there in words too.
func TestScreenTells(t *testing.T) {
	m, _ := screenOf(t, 80, 40, slices.Concat(toLabel, []string{proved}, tested[:1])...)
	got := m.content()
	if strings.Count(got, "NEXT") != 1 {
		t.Errorf("not one line says what to do next:\n%s", got)
	}
	for _, want := range []string{"NEXT  Test L-E.", "5 isolate 10:00:30", "8 begin not yet", "MISSING", "UNPROVED", "test N-L  VI-1  0.3 V", "0 of 3 pairs dead and proved"} {
		if !strings.Contains(strings.Join(strings.Fields(got), " "), strings.Join(strings.Fields(want), " ")) {
			t.Errorf("%q is not on the screen:\n%s", want, got)
		}
	}
	m, _ = screenOf(t, 80, 40, complete...)
	got = m.content()
	if !strings.Contains(got, "Evidence complete") || !strings.Contains(got, "no permission to touch") {
		t.Errorf("complete evidence is not told, or without the caution:\n%s", got)
	}
	if strings.Contains(strings.ToLower(got), "safe") {
		t.Errorf("the screen speaks of safety:\n%s", got)
	}
}

// Which pair the next reading counts for stands above what is being typed.
func TestScreenShowsTheNextReading(t *testing.T) {
	m, _ := screenOf(t, 80, 24, toLabel...)
	u := *m.update
	u.Events, u.Next = nil, capture.Next{Event: record.Test, Pair: "L-N"}
	m.Update(updated{&u})
	if got := m.content(); !strings.Contains(got, "the next reading counts as test L-N, unless its line says otherwise\n> ") {
		t.Errorf("the screen:\n%s", got)
	}
}

// What needs doing about an instrument stands above what to do next.
func TestScreenAttention(t *testing.T) {
	m, _ := screenOf(t, 40, 20, toLabel...)
	u := *m.update
	u.Events, u.Notices = nil, []capture.Notice{{Urgent: true, Text: "the indicator is gone"}}
	m.Update(updated{&u})
	if got := m.content(); !strings.Contains(got, "ATTENTION  the indicator is gone") {
		t.Errorf("the screen:\n%s", got)
	}
	press(m, "1", "enter")
	u.Events, u.Notices = u.Record.Events[:1], nil
	m.Update(updated{&u})
	if got := m.content(); strings.Contains(got, "ATTENTION  the") {
		t.Errorf("the notice stays:\n%s", got)
	}
}

// A reading that is not dead takes the whole screen until it was seen, and no key that
// was meant for something else says so.
func TestScreenDanger(t *testing.T) {
	for _, tt := range []struct{ row, word string }{
		{"test,VI-1,,,N,L,231.4,ac", "LIVE on N-L"}, {"test,VI-1,,,N,L,30,ac", "RESIDUAL VOLTAGE on N-L"},
	} {
		m, to := screenOf(t, 80, 24, append(slices.Concat(toLabel, []string{proved}), tt.row)...)
		got := m.content()
		if !strings.Contains(got, tt.word) || !strings.Contains(got, "do not touch") || strings.Contains(got, "NEXT") {
			t.Errorf("the screen of %q:\n%s", tt.row, got)
		}
		if strings.Contains(got, "\x1b") {
			t.Error("colour without a terminal")
		}
		press(m, "enter", "e", "x", "esc", "1", "enter")
		if len(to.words) > 0 {
			t.Errorf("keys said %q", to.words)
		}
		if press(m, "s"); !slices.Equal(to.words, []string{"seen"}) {
			t.Errorf("s said %q", to.words)
		}
	}
}

func TestScreenKeys(t *testing.T) {
	for _, tt := range []struct {
		name string
		rows []string
		keys []string
		want []string
	}{
		{"Enter takes the step that is asked for", nil, []string{"enter"}, []string{"inspect"}},
		{"a digit fills in a step, Enter says it", nil, []string{"5", "enter"}, []string{"isolate"}},
		{"a step that was filled in is taken out again", nil, []string{"5", "esc"}, nil},
		{"another digit takes its place", nil, []string{"9", "2", "enter"}, []string{"identify"}},
		{"what was not understood is not added to", nil, []string{"x", "enter", "l", "o", "c", "k", "enter"}, []string{"lock"}},
		{"Enter takes no step where none is asked for", toLabel, []string{"enter"}, nil},
		{"what is typed is said", toLabel, []string{"t", "e", "s", "t", " ", "L", "-", "N", "enter"}, []string{"test L-N"}},
		{"what is no input is not said", toLabel, []string{"x", "enter"}, nil},
		{"the end is asked for", complete, []string{"ctrl+c", "x", "esc"}, nil},
		{"and said", complete, []string{"e", "n", "d", "enter", "e"}, []string{"end"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m, to := screenOf(t, 80, 24, tt.rows...)
			if press(m, tt.keys...); !slices.Equal(to.words, tt.want) {
				t.Errorf("%q said %q, not %q", tt.keys, to.words, tt.want)
			}
		})
	}
	m, _ := screenOf(t, 80, 24)
	stopped := false
	m.stop = func() { stopped = true }
	if press(m, "ctrl+c", "k"); !stopped {
		t.Error("the session is not broken off")
	}
}
