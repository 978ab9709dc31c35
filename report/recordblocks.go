package report

import (
	"fmt"
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// findings are what was found, in words with what to do: failures by how urgent they
// are on site, then the cautions.
func (r *Record) findings() []block {
	var failures, cautions []point
	for _, f := range Urgent(r.Findings) {
		wrong, mend := Divide(f.Message)
		p := point{text: given(capital(wrong) + ".")}
		p.text[0].data = false
		if mend != "" && !Covered(f.Named(), r.Status) {
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
