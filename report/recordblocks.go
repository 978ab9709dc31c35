package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// findings are what was found, in words with what to do: failures by how urgent they
// are on site, then the cautions.
func (r *Record) findings() []block {
	var failures, cautions []point
	for _, f := range r.urgent() {
		wrong, mend := divide(f.Message)
		p := point{text: given(capital(wrong) + ".")}
		p.text[0].data = false
		if mend != "" && !r.covered(f) {
			p.text = p.text.and(say(" "), stress("Now: "+mend+"."))
		}
		p.below = []words{given(basis(f))}
		p.below[0][0].data = false
		if f.Failure {
			p.mark = fmt.Sprint(len(failures) + 1)
			failures = append(failures, p)
			continue
		}
		p.mark = "–"
		cautions = append(cautions, p)
	}
	var out []block
	if len(failures) > 0 {
		out = append(out, heading{level: 2, text: say("Failures: what is wrong and what to do"), id: "findings"}, points{list: failures})
	}
	if len(cautions) > 0 {
		out = append(out, heading{level: 2, text: say("Cautions"), id: "cautions"}, points{list: cautions})
	}
	return out
}

// urgent returns the findings in the order in which a person on site has to know them:
// live first, then work that was begun too early, then the other failures.
func (r *Record) urgent() []Finding {
	rank := func(f Finding) int {
		switch {
		case f.Rule == record.LiveFoundRule.String():
			return 0
		case f.Rule == record.BeganEarly.String() && f.Failure:
			return 1
		case f.Failure:
			return 2
		}
		return 3
	}
	out := slices.Clone(r.Findings)
	slices.SortStableFunc(out, func(a, b Finding) int { return rank(a) - rank(b) })
	return out
}

// covered reports whether what is to be done about a finding is left out: where
// something is live the whole isolation is to be repeated, and nobody may pick "test
// there" from among other things to do.
func (r *Record) covered(f Finding) bool {
	rule, err := record.ParseRule(f.Rule)
	return err == nil && r.Status == record.LiveFound && rule.IsCore() && rule != record.LiveFoundRule
}

// divide takes a message apart into what is wrong and what to do, which stands behind
// the last semicolon.
func divide(message string) (wrong, mend string) {
	if i := strings.LastIndex(message, "; "); i >= 0 {
		return message[:i], message[i+2:]
	}
	return message, ""
}

// capital begins a sentence with a capital, but not an id.
func capital(text string) string {
	first, _, _ := strings.Cut(text, " ")
	if first == strings.ToLower(first) && !strings.ContainsAny(first, "0123456789-@") && first != "" {
		return strings.ToUpper(text[:1]) + text[1:]
	}
	return text
}

// basis names the rule, the indicator and the rows that a finding rests on.
func basis(f Finding) string {
	const most = 12
	parts := filled(f.Rule, f.Indicator)
	lines := f.Lines[:min(len(f.Lines), most)]
	before := ""
	for _, line := range lines {
		file, number := line, ""
		if i := strings.LastIndexByte(line, ':'); i > 0 {
			file, number = line[:i], line[i+1:]
		}
		if file == before && number != "" {
			parts = append(parts, number)
		} else {
			parts = append(parts, line)
		}
		before = file
	}
	text := strings.Join(parts, ", ")
	if more := len(f.Lines) - most; more > 0 {
		text += " and " + howMany(more, "more row")
	}
	return text
}

// wantedSteps are the steps that a record is asked for, in the order of the work.
var wantedSteps = []record.Kind{
	record.Inspect, record.Identify, record.Permission, record.Isolate, record.Lock, record.Label, record.Begin,
}

// steps are the steps with their times; those that are not recorded are named too.
func (r *Record) steps(rows []verify.RowState) []block {
	t := table{small: true, columns: []column{{head: "step"}, {head: "time"}, {head: "note", weight: 1}}}
	several := len(rows) > 0 && dayOf(rows[0].Event.Time) != dayOf(rows[len(rows)-1].Event.Time)
	seen := map[record.Kind]bool{}
	for _, row := range rows {
		if !row.Event.Kind.IsStep() {
			continue
		}
		seen[row.Event.Kind] = true
		days := ""
		if several {
			days = dayOf(row.Event.Time) + " "
		}
		note := strings.Join(filled(row.Event.Note, asideNote(row)), "; ")
		t.rows = append(t.rows, cellsOf(say("%s", stepName(row.Event.Kind)), given(days+clock(row.Event.Time)), given(note)))
	}
	var missing []string
	for _, kind := range wantedSteps {
		if !seen[kind] {
			missing = append(missing, stepName(kind))
		}
	}
	out := []block{heading{level: 2, text: say("Steps")}}
	if len(t.rows) > 0 {
		out = append(out, t)
	}
	if len(missing) > 0 {
		out = append(out, paragraph{text: say("Not recorded: %s.", strings.Join(missing, ", ")), small: true})
	}
	return out
}

// asideNote says why a step was not judged.
func asideNote(s verify.RowState) string {
	switch {
	case !s.Aside:
		return ""
	case s.Event.Ambiguous:
		return "not judged: may belong to another record"
	case s.Event.Kind == record.Restore:
		return "closes the record"
	}
	return "not judged: behind the closing"
}

func cellsOf(cells ...words) row { return row{cells: cells} }

// clock is the time of day of a row, with parts of a second where it has them.
func clock(t record.Instant) string {
	text := t.Clock()
	if ns := t.Nanosecond() % 1e9; ns != 0 {
		text += strings.TrimRight(fmt.Sprintf(".%03d", ns/1e6), "0")
	}
	return text
}

// A readingTable makes the table of the readings: what is the same in all of them
// stands above it, not in a column.
type readingTable struct {
	columns []column
	cells   []func(s verify.RowState) words
	above   []string
	rows    []row
}

// readings is every proof and dead test by time.
func (r *Record) readings(rows []verify.RowState, pairs []verify.PairState) []block {
	title := heading{level: 2, text: say("Readings")}
	readings := slices.DeleteFunc(slices.Clone(rows), func(s verify.RowState) bool { return !s.Event.Kind.IsReading() })
	if len(readings) == 0 {
		return []block{title, paragraph{text: say("No reading was handed in.")}}
	}
	t := &readingTable{}
	t.choose(readings, pairs)
	t.fill(readings, offsetOf(rows) != fromUTC(readings[0].Event.Time))
	var out []block
	if len(t.above) > 0 {
		out = append(out, paragraph{text: say("%s.", strings.Join(t.above, "; ")), small: true})
	}
	n := len(t.rows)
	if len(t.columns) > 6 || n < 6 || n > mostOnFirst || n > len(readings) {
		if !slices.ContainsFunc(t.columns, func(c column) bool { return c.weight > 0 }) {
			t.columns[len(t.columns)-1].weight = 1
		}
		return append([]block{title}, append(out, table{small: true, id: "readings", columns: t.columns, rows: t.rows})...)
	}
	half := func(rows []row) []block { return []block{table{small: true, columns: t.columns, rows: rows}} }
	return append([]block{title}, append(out, beside{share: 0.5, left: half(t.rows[:(n+1)/2]), right: half(t.rows[(n+1)/2:])})...)
}

// add adds a column.
func (t *readingTable) add(head string, a align, cell func(s verify.RowState) words) {
	t.columns, t.cells = append(t.columns, column{head: head, align: a}), append(t.cells, cell)
}

// addUnlessSame adds a column where the texts differ from row to row; where they are
// all the same, lead and text stand above the table. Nothing is said of blank ones.
func (t *readingTable) addUnlessSame(head, lead string, readings []verify.RowState, get func(e *record.Event) string) {
	first := get(readings[0].Event)
	if slices.ContainsFunc(readings, func(s verify.RowState) bool { return get(s.Event) != first }) {
		t.add(head, atLeft, func(s verify.RowState) words { return given(get(s.Event)) })
	} else if first != "" {
		t.above = append(t.above, lead+first)
	}
}

// choose chooses the columns.
func (t *readingTable) choose(readings []verify.RowState, pairs []verify.PairState) {
	weak := map[record.Pos]verify.State{} // rows whose pair is drawn worse than the row
	for _, p := range pairs {
		if p.State != verify.Good && p.Indicator != "" {
			weak[p.Pos] = p.State
		}
	}
	t.add("time", atLeft, func(s verify.RowState) words { return given(clock(s.Event.Time)) })
	t.add("what", atLeft, func(s verify.RowState) words { return say("%s", s.Event.Kind) })
	t.add("on", atLeft, func(s verify.RowState) words { return on(s.Event) })
	t.addUnlessSame("at", "all at ", readings, func(e *record.Event) string { return strings.Join(filled(e.Point, sideName(e.Side)), ", ") })
	t.add("showed", atRight, func(s verify.RowState) words { return showed(s.Event) })
	t.addUnlessSame("wave", "all on ", readings, func(e *record.Event) string { return e.Waveform.String() })
	t.add("state", atLeft, func(s verify.RowState) words { state, _ := rowState(s, weak); return state })
	t.addUnlessSame("indicator", "all with ", readings, func(e *record.Event) string { return cmp.Or(e.Indicator, "no indicator named") })
	t.addUnlessSame("note", "note: ", readings, func(e *record.Event) string { return e.Note })
	if last := &t.columns[len(t.columns)-1]; last.head == "note" {
		last.weight = 1
	}
	file := readings[0].Event.Pos.File
	if slices.ContainsFunc(readings, func(s verify.RowState) bool { return s.Event.Pos.File != file }) {
		t.add("row of the log", atLeft, func(s verify.RowState) words { return given(place(s.Event.Pos)) })
		return
	}
	t.above = append(t.above, "rows of "+cmp.Or(file, "standard input"))
	t.add("row", atLeft, func(s verify.RowState) words { return say("%d", s.Event.Pos.Line) })
}

// fill fills the rows. Where the day or the offset from UTC changes a line says so, and
// a first one where it was not said above.
func (t *readingTable) fill(readings []verify.RowState, first bool) {
	day, offset := dayOf(readings[0].Event.Time), fromUTC(readings[0].Event.Time)
	for i, s := range readings {
		d, o := dayOf(s.Event.Time), fromUTC(s.Event.Time)
		if d != day || o != offset || i == 0 && first {
			line := row{cells: make([]words, len(t.columns)), strong: true}
			line.cells[0], line.cells[1], line.cells[2] = stress(d), stress("from here"), stress(o)
			t.rows = append(t.rows, line)
			day, offset = d, o
		}
		_, bad := rowState(s, nil)
		r := row{strong: bad}
		for _, cell := range t.cells {
			r.cells = append(r.cells, cell(s))
		}
		t.rows = append(t.rows, r)
	}
}

func sideName(s record.Side) string {
	if s == record.SideUnknown {
		return ""
	}
	return s.String() + " side"
}

func place(p record.Pos) string {
	p.Column = 0
	return p.String()
}

// on is what a reading was taken on: two conductors, the probe placed first before the
// other; or a source.
func on(e *record.Event) words {
	var w words
	if e.Pair.IsSet() {
		text := e.Pair.String()
		if e.Placed {
			text = e.Pair.A.String() + " → " + e.Pair.B.String()
		}
		if e.Switch != record.SwitchUnknown {
			text += ", switch " + e.Switch.String()
		}
		w = given(text)
	}
	if e.Kind.IsProof() {
		source := orNot(e.Source)
		if w != nil {
			source = say(" ").and(source)
		}
		w = w.and(source)
		if e.HasExpected {
			w = w.and(say(", %s", e.Expected))
		}
	}
	return w
}

// showed is what the indicator showed, as it was printed.
func showed(e *record.Event) words {
	var parts []string
	if e.Volts.Text != "" {
		parts = append(parts, inVolts(e.Volts.Text))
	}
	switch e.Stage.State {
	case record.StageAbsent:
	case record.StageNone:
		parts = append(parts, "no step lit")
	case record.StageLit, record.StageUnreadable:
		parts = append(parts, "step "+inVolts(e.Stage.Text))
	}
	if len(parts) == 0 {
		return say("nothing recorded")
	}
	return given(strings.Join(parts, ", "))
}

// inVolts adds the unit to a number, and to nothing else.
func inVolts(text string) string {
	if _, ok := record.ParseNumber(text); ok {
		return text + " V"
	}
	return text
}

// rowState says what a reading was taken for, and whether it must not be overlooked.
func rowState(s verify.RowState, weak map[record.Pos]verify.State) (words, bool) {
	state := s.State
	if worse, ok := weak[s.Event.Pos]; ok && state == verify.Good {
		state = worse
	}
	switch {
	case s.Aside:
		return say("not judged"), false
	case s.Event.Kind.IsProof() && s.Passes:
		return say("proved"), false
	case s.Event.Kind.IsProof():
		return stress("PROOF FAILED"), true
	case !s.Dead:
		return stress(faceOf(state).word), true
	case !s.Counts:
		return say("dead, not counted"), false
	case state == verify.Good:
		return say("dead, proved"), false
	}
	return stress(faceOf(state).word), true
}

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

// judged is by what it was judged, how before, other versions and the decisions, with
// the lines to be signed and the code beside them.
func (r *Record) judged() []block {
	left := append([]block{heading{level: 2, text: say("Judgement")}}, r.judgement())
	left = append(left, signatures{who: []string{"Technician", "Checked by"}})
	if r.Kept == nil {
		return append(left, paragraph{small: true, text: say("Judged from files; not kept in a ledger, so nobody can check this sheet later.")})
	}
	code := codeFigure(r.Kept.Code)
	if code == nil {
		return append(left, paragraph{small: true, text: given(r.Kept.Code)})
	}
	return []block{keep{blocks: []block{
		beside{share: 0.8, left: left, right: []block{*code}},
		paragraph{small: true, text: say("Check this sheet with nilvolt audit --ledger WHERE --sheet TEXT, the text of the code: ").and(given(r.Kept.Code))},
	}}}
}

// policy is by what the record was judged.
func (r *Record) policy() words {
	text := say("the default policy")
	if r.Policy.SHA256 != "" {
		text = say("the policy with SHA-256 %s", r.Policy.SHA256)
	}
	if len(r.Policy.Loosened) > 0 {
		text = text.and(stress(", looser than the default: "), given(strings.Join(r.Policy.Loosened, "; ")))
	}
	return text
}

// judgement is what was judged when, and what came of it.
func (r *Record) judgement() block {
	now := stress(r.Status.String()).and(say(" by rules version %s and ", r.Rules), r.policy())
	k := r.Kept
	if k == nil {
		return facts{list: []fact{{"judged", now}}}
	}
	list := []fact{{"handed in", say("%s", k.Uploaded).and(byWhom(k.By))}}
	for i, j := range k.Judgings {
		if i == len(k.Judgings)-1 {
			list = append(list, fact{"judged", say("%s: ", j.Made).and(now, why(j.Why))})
		} else {
			list = append(list, fact{"before", say("%s: %s by rules version %s and %s", j.Made, j.Status, j.Rules, j.Policy).and(why(j.Why))})
		}
	}
	for _, v := range k.Versions {
		if v.Number != k.Number {
			list = append(list, fact{"other version", say("%d, handed in %s: %s", v.Number, v.Uploaded, v.Status)})
		}
	}
	for _, m := range k.Marks {
		list = append(list, fact{"in doubt", bold(given(m))})
	}
	for _, d := range k.Decisions {
		list = append(list, fact{"decided", stress(d.Kind).and(say(" by "), given(d.By), say(", %s: ", d.Made), given(d.Reason))})
	}
	if k.Waits != "" {
		list = append(list, fact{"waits for", stress(k.Waits)})
	}
	return facts{list: list}
}

func why(text string) words {
	if text == "" {
		return nil
	}
	return say("; %s", text)
}

func byWhom(name string) words {
	if name == "" {
		return nil
	}
	return say(" by ").and(given(name))
}
