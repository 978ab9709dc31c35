package main

import (
	"strings"

	tea "charm.land/bubbletea/v2"

	"nilvolt/guide"
	"nilvolt/record"
)

// View draws the screen.
func (m *captureScreen) View() tea.View {
	v := tea.NewView(m.content())
	v.AltScreen = true
	v.WindowTitle = "nilvolt capture"
	return v
}

// content returns the lines of the screen: what has to be seen always first and last,
// and in between as much as there is room for, the log giving way first.
func (m *captureScreen) content() string {
	switch {
	case m.update == nil:
		return "waiting for the first line\n"
	case m.asking:
		return m.question()
	case m.next.Action == guide.SeeDanger:
		return m.danger()
	}
	head, foot := m.head(), m.foot()
	room := m.height - len(head) - len(foot)
	var middle []string
	for _, part := range [][]string{m.pairs(), m.steps()} {
		if len(part) > 0 && len(middle)+len(part) <= room {
			middle = append(middle, part...)
		}
	}
	log := m.log.lines[max(0, len(m.log.lines)-max(0, room-len(middle))):]
	lines := append(append(head, middle...), m.cut(log)...)
	for len(lines)+len(foot) < m.height {
		lines = append(lines, "")
	}
	return strings.Join(append(lines, foot...), "\n")
}

// cut shortens lines that were written for a wider screen.
func (m *captureScreen) cut(lines []string) []string {
	out := make([]string, 0, len(lines))
	for _, line := range lines {
		if columnsOf(line) > m.theme.width {
			line = string([]rune(line)[:m.theme.width])
		}
		out = append(out, line)
	}
	return out
}

// hung returns text behind lead as lines.
func (m *captureScreen) hung(lead, text string, i ink) []string {
	var b strings.Builder
	m.theme.hang(&b, lead, text, i)
	return strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
}

// head tells which record it is, where it stands, and what to do next.
func (m *captureScreen) head() []string {
	title := []string{"record " + m.theme.clean(m.update.Record.ID)}
	if jobs := m.update.Record.Jobs; len(jobs) > 0 {
		for _, text := range []string{jobs[0].Site, jobs[0].Circuit} {
			if text != "" {
				title = append(title, m.theme.clean(text))
			}
		}
	}
	lines := m.hung("", strings.Join(title, ", "), titleInk)
	lines = append(lines, m.hung("", m.lines.stand(m.update.Judgement), plainInk)...)
	lines = append(lines, "")
	if m.urgent != "" {
		lines = append(lines, m.hung("ATTENTION  ", m.theme.clean(m.urgent), wrongInk)...)
	}
	lines = append(lines, m.hung("NEXT  ", m.theme.clean(m.next.String()), titleInk)...)
	return append(lines, "")
}

// pairs is the picture of the required pairs.
func (m *captureScreen) pairs() []string {
	j := m.update.Judgement
	if len(j.Pairs()) == 0 {
		return nil
	}
	picture := m.theme.picture(withLive(j.Pairs(), j.Findings), 2)
	return append(strings.Split(strings.TrimSuffix(picture, "\n"), "\n"), "")
}

// steps tells which steps were taken, and when: the last of each kind.
func (m *captureScreen) steps() []string {
	taken := map[record.Kind]record.Instant{}
	for i := range m.update.Record.Events {
		if ev := &m.update.Record.Events[i]; ev.Kind.IsStep() {
			taken[ev.Kind] = ev.Time
		}
	}
	cells := make([]string, 0, len(stepKeys))
	size := 0
	for _, s := range stepKeys {
		cell := s.key + " " + s.step.String() + " not yet"
		if at, ok := taken[s.step]; ok {
			cell = s.key + " " + s.step.String() + " " + at.Clock()[:8]
		}
		cells = append(cells, cell)
		size = max(size, len(cell)+2)
	}
	perRow := max(1, (m.theme.width-2)/size)
	var lines []string
	for len(cells) > 0 {
		n := min(perRow, len(cells))
		var b strings.Builder
		for _, cell := range cells[:n] {
			b.WriteString(pad(cell, size))
		}
		lines = append(lines, "  "+strings.TrimRight(b.String(), " "))
		cells = cells[n:]
	}
	return append(lines, "")
}

// foot is what is being typed, and what may be.
func (m *captureScreen) foot() []string {
	var lines []string
	if m.wrong != "" {
		lines = append(lines, m.hung("", m.theme.clean(m.wrong), wrongInk)...)
	}
	if meaning := m.update.Next.Meaning(); meaning != "" {
		lines = append(lines, m.hung("", m.theme.clean(meaning), plainInk)...)
	}
	lines = append(lines, "> "+m.theme.clean(m.typed))
	keys := "type what was done, such as lock or test L-N, and Enter; 1 to 9 write a step; Ctrl-C ends"
	switch {
	case m.ended:
		keys = "the session is ending"
	case m.typed == "" && m.next.Action == guide.TakeStep:
		keys = "Enter: " + m.next.Step.String() + " was done now; or " + keys
	}
	return append(lines, m.hung("", keys, quietInk)...)
}

// danger fills the screen with a reading that was not dead.
func (m *captureScreen) danger() string {
	word := "RESIDUAL VOLTAGE"
	if m.next.Live {
		word = "LIVE"
	}
	lines := []string{m.theme.paint(dangerInk, pad(" "+word, m.theme.width)), ""}
	lines = append(lines, m.hung("", m.theme.clean(m.next.String()), titleInk)...)
	lines = append(lines, "")
	lines = append(lines, m.hung("", "Readings that arrive meanwhile are kept. The reading stays in the record.", plainInk)...)
	lines = append(lines, "", "press s: I have seen this")
	return strings.Join(lines, "\n")
}

// question asks whether to end.
func (m *captureScreen) question() string {
	lines := m.hung("", "End the session of record "+m.theme.clean(m.update.Record.ID)+"?", titleInk)
	lines = append(lines, "")
	lines = append(lines, m.hung("", m.lines.stand(m.update.Judgement), plainInk)...)
	lines = append(lines, "")
	lines = append(lines, m.hung("e    ", "end it, write its readings and judge them", plainInk)...)
	lines = append(lines, m.hung("k    ", "keep the journal and stop: the same command goes on with it", plainInk)...)
	lines = append(lines, "Esc  go on")
	return strings.Join(lines, "\n")
}
