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

// judged judges the record that acts would make of it, done well.
func (p *planner) judged(acts []Act, other bool) plan {
	id, f := p.indicator, p.form
	if id == "" || other {
		id = p.fit(id)
		f = p.formOf(id)
	}
	events := p.events
	at := p.start
	for _, act := range acts {
		at = at.Add(pace)
		events = append(events, p.suppose(act, id, f, at))
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
	out.isolates = p.isolated && slices.ContainsFunc(acts, func(a Act) bool { return a.Kind == record.Isolate })
	return out
}

// fit returns the id of an indicator that may be used now and is not the one given: of
// the register, in the order of their ids, else some that nobody knows.
func (p *planner) fit(not string) string {
	var ids []string
	for id, entry := range p.register {
		if entry.Kind == record.Indicator && id != not && inService(entry, p.start.Date()) {
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

// suppose returns the event of an act done well.
func (p *planner) suppose(act Act, id string, f form, at record.Instant) record.Event {
	ev := record.Event{Time: at, Kind: act.Kind, Pos: record.Pos{File: "supposed"}}
	if act.Kind.IsStep() {
		return ev
	}
	ev.Indicator, ev.Waveform = id, p.waveform
	if act.Kind == record.Test {
		ev.Pair, ev.Switch, ev.Point, ev.Side, ev.Placed = firstProbe(act.Tested.Pair), act.Tested.Switch, act.Tested.Point, p.side, true
		if f.steps != nil {
			ev.Stage = record.Stage{Text: "none", State: record.StageNone}
		} else {
			ev.Volts = record.Reading{Text: "0", State: record.Shown}
		}
		return ev
	}
	source, expected := p.source()
	ev.Source, ev.Expected, ev.HasExpected = source, expected, true
	if f.steps != nil {
		step := f.steps[0]
		for _, s := range f.steps {
			if s <= expected {
				step = s
			}
		}
		ev.Stage = record.Stage{Text: step.String(), Volts: step, State: record.StageLit}
	} else {
		ev.Volts = record.Reading{Text: expected.String(), Volts: expected, State: record.Shown}
	}
	return ev
}

// firstProbe places the first probe as the rule probe-order asks for it.
func firstProbe(p record.Pair) record.Pair {
	if p.B.IsEarth() || p.B == record.N && !p.A.IsEarth() {
		return record.Pair{A: p.B, B: p.A}
	}
	return p
}

// source returns a proving source and what it puts out: the one that was proved on
// last, else one of the register, else one of the voltage of the work.
func (p *planner) source() (id string, expected record.Volts) {
	for _, ev := range slices.Backward(p.rec.Events) {
		if ev.Kind.IsProof() && ev.Source != "" && ev.Source != record.Live && ev.HasExpected && ev.Expected >= 50 {
			return ev.Source, ev.Expected
		}
	}
	var ids []string
	for id, entry := range p.register {
		if entry.Kind == record.ProvingUnit && len(entry.Outputs) > 0 && inService(entry, p.start.Date()) {
			ids = append(ids, id)
		}
	}
	if len(ids) > 0 {
		id := slices.Min(ids)
		return id, slices.Max(p.register[id].Outputs)
	}
	return "a proving unit", 230
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
