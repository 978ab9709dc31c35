package main

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"nilvolt/capture"
	"nilvolt/guide"
	"nilvolt/record"
)

// A captureScreen is the checklist of a session on a terminal: where the record stands,
// the one thing to do next, the steps with their times, the required pairs, and the
// last lines of what --plain prints. A reading that is not dead takes the whole screen
// until the technician says to have seen it.
//
// Everything is in words; colour only repeats it. What is typed is the same as without
// a screen, and a key fills in a step.
type captureScreen struct {
	session   sayer
	guide     *guide.Guide
	indicator string // the id that the session was told
	now       func() time.Time
	theme     theme
	height    int

	update *capture.Update
	next   guide.Instruction
	log    *logTail
	lines  *plainCapture // prints into log

	typed  string
	wrong  string // what is wrong with what was typed last
	urgent string // the last urgent notice, until something is read or said
	asking bool   // whether to end or to stop
	ended  bool   // the technician has ended the session
	stop   func() // breaks the session off; the journal stays
}

// A sayer takes what the technician did or said.
type sayer interface{ Say(capture.Input) }

// updated tells the screen of a change, over that the session is over.
type (
	updated struct{ *capture.Update }
	over    struct{}
)

// A stepKey is a key that fills in a step.
type stepKey struct {
	key  string
	step record.Kind
}

// stepKeys are the keys that fill in a step, in the order of the procedure.
var stepKeys = []stepKey{
	{"1", record.Inspect},
	{"2", record.Identify},
	{"3", record.Permission},
	{"4", record.ShedLoad},
	{"5", record.Isolate},
	{"6", record.Lock},
	{"7", record.Label},
	{"8", record.Begin},
	{"9", record.Restore},
}

// newCaptureScreen returns the screen of a session of the record.
func newCaptureScreen(o *captureOptions, in *inputs, c *console) *captureScreen {
	log := &logTail{}
	t := c.theme()
	return &captureScreen{
		guide: guide.New(in.policy, in.register), indicator: o.indicatorID, now: c.now, theme: t, log: log,
		lines: &plainCapture{out: log, flush: func() error { return nil }, theme: t, failed: make(map[record.Pos]bool)},
	}
}

// run shows the session until it is over. Ctrl-C and the end of ctx break it off.
func (m *captureScreen) run(ctx context.Context, cfg capture.Config, begin func(*capture.Session, *plainCapture), c *console) (*capture.Session, error) {
	ctx, m.stop = context.WithCancel(ctx)
	defer m.stop()
	p := tea.NewProgram(m, tea.WithInput(c.in), tea.WithOutput(c.screen), tea.WithoutSignalHandler())
	cfg.Show = func(u *capture.Update) { p.Send(updated{u}) }
	s, err := capture.Start(cfg)
	if err != nil {
		return nil, err
	}
	m.session = s
	begin(s, m.lines)
	done := make(chan error, 1)
	go func() {
		done <- s.Run(ctx)
		p.Send(over{})
	}()
	_, err = p.Run()
	m.stop() // where the screen ended first, the journal goes on to be whole
	return s, errors.Join(<-done, err)
}

// Init starts nothing.
func (m *captureScreen) Init() tea.Cmd { return nil }

// Update takes a key, a change of the record, or a new size.
func (m *captureScreen) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.resize(msg.Width, msg.Height)
	case updated:
		if len(msg.Events) > 0 {
			m.urgent = ""
		}
		for _, n := range msg.Notices {
			if n.Urgent {
				m.urgent = n.Text
			}
		}
		m.lines.show(msg.Update)
		m.update = msg.Update
		m.next = m.guide.Next(guide.Situation{
			Record: msg.Record, Seen: msg.Seen, Now: record.InstantOf(m.now()), Indicator: m.indicator,
		})
	case over:
		return m, tea.Quit
	case tea.PasteMsg:
		m.typed += strings.Join(strings.Fields(msg.Content), " ")
	case tea.KeyPressMsg:
		m.press(msg)
	}
	return m, nil
}

// resize fits the screen to the terminal.
func (m *captureScreen) resize(width, height int) {
	m.theme.width = min(max(width, 20), 110)
	m.lines.theme.width = m.theme.width
	m.height = height
}

// press takes a key. A reading that has to be seen is not seen by a key that was meant
// for something else.
func (m *captureScreen) press(k tea.KeyPressMsg) {
	m.wrong = ""
	key := k.Keystroke()
	switch {
	case key == "ctrl+c":
		m.asking = true
	case m.asking:
		m.answer(key)
	case m.next.Action == guide.SeeDanger:
		if key == "s" {
			m.session.Say(capture.Input{Verb: capture.HaveSeen})
		}
	case key == "enter":
		m.enter()
	case key == "backspace":
		if runes := []rune(m.typed); len(runes) > 0 {
			m.typed = string(runes[:len(runes)-1])
		}
	case key == "esc":
		m.typed = ""
	default:
		m.character(k)
	}
}

// character takes a key that writes something. In an empty line, and behind a step, a
// digit stands for a step.
func (m *captureScreen) character(k tea.KeyPressMsg) {
	filled := m.typed == "" || slices.ContainsFunc(stepKeys, func(s stepKey) bool { return s.step.String() == m.typed })
	for _, s := range stepKeys {
		if filled && k.Text == s.key {
			m.typed = s.step.String()
			return
		}
	}
	m.typed += k.Text
}

// enter says what was typed; with nothing typed, that the step which is asked for was
// taken.
func (m *captureScreen) enter() {
	if m.typed == "" {
		if m.next.Action == guide.TakeStep {
			m.session.Say(capture.Input{Verb: capture.DidStep, Step: m.next.Step})
		}
		return
	}
	in, err := capture.ParseInput(m.typed)
	switch {
	case err != nil:
		m.wrong = err.Error()
	case in.Verb == capture.Finish:
		m.asking = true
	default:
		m.session.Say(in)
	}
	m.typed = ""
}

// answer takes the answer to the question whether to end.
func (m *captureScreen) answer(key string) {
	switch key {
	case "e":
		m.asking, m.ended = false, true
		m.session.Say(capture.Input{Verb: capture.Finish})
	case "k":
		m.stop()
	case "esc":
		m.asking = false
	}
}

// A logTail keeps the last lines that were written to it.
type logTail struct{ lines []string }

// mostLogged is how many lines are kept: more than a terminal is high.
const mostLogged = 200

// Write takes whole lines.
func (l *logTail) Write(p []byte) (int, error) {
	l.lines = append(l.lines, strings.Split(strings.TrimSuffix(string(p), "\n"), "\n")...)
	l.lines = l.lines[max(0, len(l.lines)-mostLogged):]
	return len(p), nil
}
