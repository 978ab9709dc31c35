package guide

import (
	"slices"

	"nilvolt/record"
	"nilvolt/verify"
)

// A form is how an indicator shows what it reads.
type form struct {
	steps []record.Volts // of an indicator without a number; nil for a numeric display
}

// commonSteps are those that docs/rules.md section 3 takes where a register names none.
var commonSteps = []record.Volts{12, 24, 50, 120, 230, 400, 690}

// formOf returns the form of an indicator: of the register, else as it has read so far.
func (p *planner) formOf(id string) form {
	if entry := p.register[id]; entry != nil && len(entry.Stages) > 0 {
		return form{entry.Stages}
	}
	for i := range p.rec.Events {
		ev := &p.rec.Events[i]
		if ev.Indicator == id && ev.Stage.State != record.StageAbsent && ev.Volts.State == record.Absent {
			return form{commonSteps}
		}
	}
	return form{}
}

// A hand is an indicator that could be used next, and what it would be proved on.
type hand struct {
	id     string
	form   form
	groups []group
}

func (p *planner) handOf(id string) hand { return hand{id, p.formOf(id), p.openGroups(id)} }

// judged judges the record that acts would make of it, done well.
func (p *planner) judged(acts []Act, other bool) plan {
	with := &p.own
	if other {
		with = &p.other
	}
	events := p.events
	at := p.start
	groups := with.groups
	for _, act := range acts {
		if act.Kind == record.Test {
			groups = p.source()
		}
		if act.Kind.IsStep() || act.Kind == record.Test {
			at = at.Add(pace)
			events = append(events, p.suppose(act, with.id, with.form, at))
			continue
		}
		for _, on := range groups {
			at = at.Add(pace)
			events = append(events, on.proof(act.Kind, p.waveform, with.id, with.form, at))
		}
	}
	p.events = events[:len(p.events)]
	j := p.judge.Judge(&record.Record{ID: p.rec.ID, Jobs: p.rec.Jobs, Events: events})
	p.pairs = append(p.pairs[:0], j.Pairs()...)
	out := plan{acts: acts, other: other, wishes: len(j.NotRecorded())}
	p.left = nil
	for _, f := range j.Findings {
		switch {
		case f.Severity == record.Failure:
			out.failures++
			p.left = append(p.left, f)
		case f.Rule == record.LoadNotShed, f.Rule == record.NotLabelled:
			out.wishes++
		}
	}
	if out.failures == 0 && j.Status != record.Compliant {
		out.failures = 1
	}
	out.isolates = p.isolated && slices.ContainsFunc(acts, func(a Act) bool { return a.Kind == record.Isolate })
	return out
}

// fit returns the id of an indicator that may be used now, is not the one given and is
// not spent: of the register, in the order of their ids, else some that nobody knows.
func (p *planner) fit(not string) string {
	var ids []string
	for id, entry := range p.register {
		if entry.Kind == record.Indicator && id != not && p.trust[id] != spent && inService(entry, p.start.Date()) {
			ids = append(ids, id)
		}
	}
	if len(ids) == 0 {
		return "another indicator"
	}
	return slices.Min(ids)
}

func inService(entry *record.Instrument, on record.Date) bool {
	return (!entry.Withdrawn.IsSet() || entry.Withdrawn.After(on)) && (!entry.Due().IsSet() || !on.After(entry.Due()))
}

// suppose returns the event of a step or a dead test done well.
func (p *planner) suppose(act Act, id string, f form, at record.Instant) record.Event {
	ev := record.Event{Time: at, Kind: act.Kind, Pos: record.Pos{File: "supposed"}}
	if act.Kind.IsStep() {
		return ev
	}
	ev.Indicator, ev.Waveform = id, p.waveform
	ev.Pair, ev.Switch, ev.Point, ev.Side, ev.Placed = firstProbe(act.Tested.Pair), act.Tested.Switch, act.Tested.Point, p.side, true
	if f.steps != nil {
		ev.Stage = record.Stage{Text: "none", State: record.StageNone}
	} else {
		ev.Volts = record.Reading{Text: "0", State: record.Shown}
	}
	return ev
}

// A group is what proofs are made on: a source and what it puts out. A series passes
// when the last row of each of its groups does.
type group struct {
	source      string
	expected    record.Volts
	hasExpected bool
}

// proof returns a proof on the group that passes.
func (on group) proof(kind record.Kind, w record.Waveform, id string, f form, at record.Instant) record.Event {
	ev := record.Event{
		Time: at, Kind: kind, Pos: record.Pos{File: "supposed"}, Indicator: id, Waveform: w,
		Source: on.source, Expected: on.expected, HasExpected: on.hasExpected,
	}
	shown := on.expected
	if !on.hasExpected {
		shown = usualVolts
	}
	if f.steps == nil {
		ev.Volts = record.Reading{Text: shown.String(), Volts: shown, State: record.Shown}
		return ev
	}
	step := f.steps[0]
	for _, s := range f.steps {
		if s <= shown {
			step = s
		}
	}
	ev.Stage = record.Stage{Text: step.String(), Volts: step, State: record.StageLit}
	return ev
}

// firstProbe places the first probe as the rule probe-order asks for it.
func firstProbe(p record.Pair) record.Pair {
	if p.B.IsEarth() || p.B == record.N && !p.A.IsEarth() {
		return record.Pair{A: p.B, B: p.A}
	}
	return p
}

// usualVolts is what a proving source is taken to put out where nobody says it.
const usualVolts record.Volts = 230

// openGroups returns the groups of an indicator's proofs since its last dead test, the
// last first: another proof belongs to their series unless it comes late. Without one it
// is source.
func (p *planner) openGroups(id string) []group {
	var groups []group
	for _, ev := range slices.Backward(p.rec.Events) {
		if ev.Indicator != id {
			continue
		}
		if ev.Kind == record.Test {
			break
		}
		if on := groupOf(&ev); ev.Kind.IsProof() && !slices.Contains(groups, on) {
			groups = append(groups, on)
		}
	}
	if !slices.ContainsFunc(groups, group.isHigh) {
		groups = append(groups, p.source()...)
	}
	return groups
}

// groupOf returns what a proof was made on.
func groupOf(ev *record.Event) group { return group{ev.Source, ev.Expected, ev.HasExpected} }

// sourceNames returns the sources to prove on next, those that the record names; with a
// blank among them for one that it does not name. Without any that it names there is none.
func (p *planner) sourceNames() []string {
	var names []string
	for _, on := range p.own.groups {
		named := slices.ContainsFunc(p.rec.Events, func(ev record.Event) bool { return ev.Kind.IsProof() && ev.Source == on.source })
		if named && !slices.Contains(names, on.source) {
			names = append(names, on.source)
		}
	}
	if len(names) == 1 && names[0] == "" {
		return nil
	}
	return names
}

// isHigh reports whether a proof on the group shows that the indicator sees a voltage
// that is dangerous.
func (on group) isHigh() bool { return !on.hasExpected || on.expected >= 50 }

// source returns what to prove on anew: what a proof passed on last, else a proving unit
// of the register, else one that nobody knows.
func (p *planner) source() []group {
	for _, on := range slices.Backward(p.proved) {
		if on.isHigh() {
			return []group{on}
		}
	}
	var ids []string
	for id, entry := range p.register {
		if entry.Kind == record.ProvingUnit && len(entry.Outputs) > 0 && inService(entry, p.start.Date()) {
			ids = append(ids, id)
		}
	}
	if len(ids) == 0 {
		return []group{{"a proving unit", usualVolts, true}}
	}
	id := slices.Min(ids)
	return []group{{id, slices.Max(p.register[id].Outputs), true}}
}

// stays returns the failures that are left after a plan.
func (p *planner) stays(best plan) []record.Finding {
	p.judged(best.acts, best.other)
	return p.left
}

// unseen returns the instruction to see what was not dead since the technician last
// said to have seen what was shown: a live reading before a residual one, the last first.
func (p *planner) unseen(seen int) (in Instruction, ok bool) {
	fresh := make(map[*record.Event]bool)
	for i := seen; i < len(p.rec.Events); i++ {
		fresh[&p.rec.Events[i]] = true
	}
	for _, row := range slices.Backward(p.judge.Judge(p.rec).Rows()) {
		live := row.State == verify.LiveRead
		if !fresh[row.Event] || !live && row.State != verify.Residual || ok && !live {
			continue
		}
		in = Instruction{
			Action: SeeDanger, Live: live, Indicator: row.Event.Indicator,
			Tested: record.Tested{Pair: row.Event.Pair, Switch: row.Event.Switch, Point: row.Event.Point},
		}
		if ok = true; live {
			break
		}
	}
	return in, ok
}
