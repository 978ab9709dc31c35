package report

import (
	"fmt"
	"slices"
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// instruments are those that readings were taken with or on, and whether the register
// allowed their use on the day.
func (r *Record) instruments(rows []verify.RowState) []block {
	type use struct {
		id        string
		indicator bool
		day       record.Date
	}
	var uses []use
	add := func(id string, indicator bool, day record.Date) {
		if id == "" || !indicator && strings.EqualFold(id, record.Live) {
			return
		}
		if !slices.ContainsFunc(uses, func(u use) bool { return u == use{id, indicator, day} }) {
			uses = append(uses, use{id, indicator, day})
		}
	}
	for _, s := range rows {
		if e := s.Event; e.Kind.IsReading() {
			add(e.Indicator, true, e.Time.Date())
			if e.Kind.IsProof() {
				add(e.Source, false, e.Time.Date())
			}
		}
	}
	if len(uses) == 0 {
		return nil
	}
	title := heading{level: 2, text: say("Instruments on the day")}
	if r.Register == nil {
		ids := make([]string, len(uses))
		for i := range uses {
			ids[i] = uses[i].id
		}
		return []block{title, paragraph{text: given(strings.Join(slices.Compact(ids), ", ")).and(say(": no register was given, so nobody can say whether they were in service."))}}
	}
	slices.SortStableFunc(uses, func(a, b use) int { return bit(b.indicator) - bit(a.indicator) })
	t := table{small: true, columns: []column{{head: "instrument"}, {head: "used as"}, {head: "on"}, {head: "state that day"}, {head: "serviced"}, {head: "due"}, {head: "by the register", weight: 1}}}
	for _, u := range uses {
		i := entry(r.Register, u.id)
		state, bad := serviceState(i, u.indicator, u.day)
		as := "proving unit"
		if u.indicator {
			as = "indicator"
		}
		serviced, due, what := "", "", ""
		if i != nil {
			serviced, due, what = i.Serviced.String(), i.Due().String(), describe(i)
		}
		t.rows = append(t.rows, row{strong: bad, cells: []words{given(u.id), say("%s", as), given(u.day.String()), state, orNot(serviced), orNot(due), given(what)}})
	}
	return []block{title, t}
}

// entry finds an instrument of the register as the judge does: by its id, else by its
// id in any case, the first row of several.
func entry(register record.Register, id string) *record.Instrument {
	if i := register[id]; i != nil {
		return i
	}
	var found *record.Instrument
	for other, i := range register {
		if strings.EqualFold(other, id) && (found == nil || i.Pos.Line < found.Pos.Line) {
			found = i
		}
	}
	return found
}

// serviceState says whether the register allowed the use of an instrument on a day.
func serviceState(i *record.Instrument, indicator bool, day record.Date) (words, bool) {
	switch {
	case i == nil:
		return stress("NOT IN THE REGISTER"), true
	case indicator && i.Kind == record.ProvingUnit, !indicator && i.Kind == record.Indicator:
		return stress("REGISTERED AS " + strings.ToUpper(i.Kind.String())), true
	case i.Withdrawn.IsSet() && !i.Withdrawn.After(day):
		return stress("WITHDRAWN " + i.Withdrawn.String()), true
	case !i.Due().IsSet():
		return say("service not recorded"), true
	case day.After(i.Due()):
		return stress("OVERDUE"), true
	}
	return say("in service"), false
}

func senses(w record.Waveform) string {
	switch w {
	case record.WaveformUnknown:
		return ""
	case record.BothWaveforms:
		return "senses ac and dc"
	case record.AC, record.DirectVoltage:
	}
	return "senses " + w.String()
}

// describe is what else the register says of an instrument.
func describe(i *record.Instrument) string {
	volts := func(lead string, list []record.Volts) string {
		if len(list) == 0 {
			return ""
		}
		text := make([]string, len(list))
		for k, v := range list {
			text[k] = strings.TrimSuffix(v.String(), " V")
		}
		return lead + strings.Join(text, ", ") + " V"
	}
	parts := filled(senses(i.Senses), volts("steps ", i.Stages), volts("puts out ", i.Outputs))
	if i.MaxVolts > 0 {
		parts = append(parts, "up to "+i.MaxVolts.String())
	}
	if i.Category != record.CategoryUnknown {
		parts = append(parts, "category "+i.Category.String())
	}
	if i.Tolerance > 0 {
		parts = append(parts, fmt.Sprintf("tolerance %g %%", i.Tolerance))
	}
	return strings.Join(parts, "; ")
}
