package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"nilvolt/capture"
	"nilvolt/guide"
	"nilvolt/record"
	"nilvolt/verify"
)

// A plainCapture prints a session line by line:
//
//	10:15:40  test L-N  VI-1  0.4 V
//	10:15:52  LIVE: test L-E  VI-1  231.8 V: do not touch ...
//	          2 of 3 pairs dead and proved; still wrong: pair-missing
//
// Every line begins with the time or is indented, says in words what it means, and is
// printed once.
type plainCapture struct {
	mu    sync.Mutex
	out   io.Writer
	flush func() error
	theme theme
	last  string // the line on where the record stands
	// failed are the places of the proofs that were told to have failed.
	failed map[record.Pos]bool

	// guide says what to do next; nil where that is said elsewhere, or nothing is to be done.
	guide     *guide.Guide
	indicator string // the id that the session was told
	now       func() time.Time
	asked     string // what was said last to be done next
}

// newPlainCapture returns a printer. The lines are results in text, and go to
// standard error where the result is for a program.
func newPlainCapture(c *console, o *captureOptions, in *inputs) *plainCapture {
	p := &plainCapture{
		out: c.out, flush: c.out.Flush, theme: c.theme(), failed: make(map[record.Pos]bool),
		guide: guide.New(in.policy, in.register), indicator: o.indicatorID, now: c.now,
	}
	if o.format != "text" {
		p.out, p.flush, p.theme = c.err, func() error { return nil }, theme{width: 80, unicode: c.theme().unicode}
	}
	return p
}

// say prints a line.
func (p *plainCapture) say(format string, args ...any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	fmt.Fprintf(p.out, format+"\n", args...)
	_ = p.flush() // the journal has it; the result at the end tells of a broken output
}

// begin prints what is captured.
func (p *plainCapture) begin(s *capture.Session, o *captureOptions, in *inputs, journal string) {
	where := o.indicator
	if o.source != "" {
		where += " and " + o.source
	}
	if s.Resumed() {
		p.say("going on with %s: record %s, from %s", p.theme.clean(journal), p.theme.clean(o.record), where)
	} else {
		p.say("record %s, from %s; journal %s", p.theme.clean(o.record), where, p.theme.clean(journal))
	}
	known := false
	for _, job := range in.jobs {
		known = known || job.Record == o.record
	}
	if !known {
		p.say("          no job sheet names %s: without its supply nobody can say which pairs are required; break off, and go on with --jobs", p.theme.clean(o.record))
	}
}

// show prints what is new.
func (p *plainCapture) show(u *capture.Update) {
	failed := failedProofs(u.Judgement)
	for i := range u.Events {
		p.event(&u.Events[i], u.Judgement, failed)
	}
	for _, ev := range failed { // by what the proving unit said after it
		if !p.failed[ev.Pos] {
			p.event(ev, u.Judgement, failed)
		}
	}
	for i := range u.Unread {
		p.unread(&u.Unread[i])
	}
	for _, n := range u.Notices {
		p.notice(&n)
	}
	if stand := p.stand(u.Judgement); stand != p.last {
		p.last = stand
		p.block("          ", stand)
	}
	p.next(u)
}

// next prints what to do next, when that changes.
func (p *plainCapture) next(u *capture.Update) {
	if p.guide == nil || u.Ended {
		return
	}
	in := p.guide.Next(guide.Situation{Record: u.Record, Seen: u.Seen, Now: record.InstantOf(p.now()), Indicator: p.indicator})
	if text := in.String(); text != p.asked {
		p.asked = text
		p.block("          next: ", p.theme.clean(text))
	}
}

// clock is how a time stands before a line.
func clock(t record.Instant) string {
	if !t.IsSet() {
		return "          "
	}
	return t.Clock()[:8] + "  "
}

// block prints text that may take several lines.
func (p *plainCapture) block(lead, text string) {
	var b strings.Builder
	p.theme.hang(&b, lead, text, plainInk)
	p.say("%s", strings.TrimRight(b.String(), "\n"))
}

// event prints a row. failed are the proofs that failed.
func (p *plainCapture) event(ev *record.Event, j *verify.Judgement, failed []*record.Event) {
	words := []string{ev.Kind.String()}
	if ev.Pair.IsSet() {
		words[0] += " " + ev.Pair.String()
	}
	if s := ev.Switch.String(); s != "" {
		words[0] += "@" + s
	}
	add := func(text string) {
		if text != "" {
			words = append(words, p.theme.clean(text))
		}
	}
	add(ev.Point)
	add(ev.Indicator)
	if ev.Source != "" {
		add("on " + ev.Source)
	}
	switch {
	case ev.Volts.State == record.Unreadable:
		add("UNREADABLE")
	case ev.Volts.Text != "":
		add(ev.Volts.Text + " V")
	}
	if ev.Stage.Text != "" {
		add("step " + ev.Stage.Text)
	}
	if ev.HasExpected {
		add("of " + ev.Expected.String())
	}
	lead := ""
	switch {
	case names(j, record.LiveFoundRule, ev):
		lead = "LIVE, do not touch: "
	case names(j, record.ResidualVoltage, ev):
		lead = "RESIDUAL VOLTAGE, do not touch: "
	case slices.ContainsFunc(failed, func(f *record.Event) bool { return f.Pos == ev.Pos }):
		lead, p.failed[ev.Pos] = "FAILED: ", true
	}
	p.block(clock(ev.Time), lead+strings.Join(words, "  "))
}

// failedProofs returns the proofs that failed. One that could not be read says so itself.
func failedProofs(j *verify.Judgement) (failed []*record.Event) {
	for _, row := range j.Rows() {
		if row.Event.Kind.IsProof() && !row.Passes && !row.Aside && row.Event.Volts.State != record.Unreadable {
			failed = append(failed, row.Event)
		}
	}
	return failed
}

// names reports whether a finding of the rule rests on the event.
func names(j *verify.Judgement, rule record.Rule, ev *record.Event) bool {
	return ev.Kind == record.Test && slices.ContainsFunc(j.Findings, func(f record.Finding) bool {
		return f.Rule == rule && slices.Contains(f.Lines, ev.Pos)
	})
}

// unread prints a line that could not be read.
func (p *plainCapture) unread(u *capture.Unread) {
	why := "it cannot be read"
	if len(u.Problems) > 0 {
		why = u.Problems[0].Message
	}
	text := fmt.Sprintf("CANNOT READ a line of the %s: %s (line %d of the journal", u.Port, p.theme.clean(why), u.Line)
	if u.Text != "" {
		text += ", " + p.theme.clean(fmt.Sprintf("%.60q", u.Text))
	}
	mend := "Take the reading again."
	if u.InDoubt {
		mend = "It may have been a live reading or a proof that failed: prove again, then test again every pair that was tested before it."
	}
	p.block(clock(u.Time), text+"). "+mend)
}

// notice prints what the technician has to be told.
func (p *plainCapture) notice(n *capture.Notice) {
	lead := "note: "
	if n.Urgent {
		lead = "ATTENTION: "
	}
	p.block(clock(n.Time), lead+p.theme.clean(n.Text))
}

// stand says in a sentence where the record stands.
func (p *plainCapture) stand(j *verify.Judgement) string {
	text := "required pairs not known"
	if len(j.Pairs()) > 0 {
		text = provedPairs(j.Pairs()) + " pairs dead and proved"
	}
	if j.Status == record.Compliant {
		return text + ": evidence complete. It is no permission to touch."
	}
	if j.Status == record.LiveFound {
		text = "LIVE: do not touch. " + text
	}
	return text + "; still wrong: " + p.theme.clean(findingsCell(j))
}

// readInputs hands the session what is typed. The end of standard input says nothing:
// the session goes on.
func readInputs(c *console, s *capture.Session, p *plainCapture) {
	lines := bufio.NewScanner(c.in)
	for lines.Scan() {
		text := strings.TrimSpace(lines.Text())
		if text == "" {
			continue
		}
		in, err := capture.ParseInput(text)
		if err != nil {
			p.say("          %s", p.theme.clean(err.Error()))
			continue
		}
		s.Say(in)
	}
}

// runReplay shows what a journal holds as it was shown, and writes and judges its
// readings where that is asked for.
func runReplay(ctx context.Context, o *captureOptions, c *console) error {
	in, err := o.load()
	if err != nil {
		return err
	}
	data, err := os.ReadFile(o.replay)
	if err != nil {
		return err
	}
	contents, err := capture.ReadJournal(data, o.replay)
	if err != nil {
		return captureError(err, "", o.replay)
	}
	p := newPlainCapture(c, o, in)
	p.guide = nil // what is over asks for nothing
	st := capture.NewState(o.replay)
	judge := verify.NewJudge(in.policy, in.register, nil)
	shown := capture.Shown{}
	show := func() { p.show(shown.Update(st, in.jobs, judge)) }
	for _, e := range contents.Entries {
		st.Apply(e)
		show()
	}
	st.BreakOff(contents.Torn)
	show()
	if !st.Ended() {
		p.say("          the session of this journal did not end")
	}
	if o.out == "" {
		return verdictOf(judge.Judge(capture.WithJobs(st.Record(), in.jobs)))
	}
	if _, err := os.Stat(o.out); err == nil {
		return hint("name another file with --out, or move it away", "%s: the file is there already", o.out)
	}
	return o.deliver(ctx, in, st, o.out, c)
}

// verdictOf returns the verdict on one record as an error.
func verdictOf(j *verify.Judgement) error {
	if j.Status != record.Compliant {
		return errNotCompliant
	}
	return nil
}
