package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"nilvolt/record"
	"nilvolt/report"
	"nilvolt/verify"
)

// A sheet is one record as the text report shows it: its line of the table, and
// what is said below. All its text is cleaned for the terminal already.
type sheet struct {
	status   record.Status
	record   string
	supply   string
	pairs    string // "2 of 3"
	findings string // the rules that failed, or caution
	detail   string // of a record that is not compliant: picture and findings
	caution  string // of a compliant record: its cautions, blank if it has none
	bare     bool   // the record has no row
}

// Sheets go from the workers to the report as text. The separators of ASCII
// stand between the parts; clean leaves none in them.
const (
	unitSeparator   = "\x1f"
	recordSeparator = "\x1e"
)

// append appends the sheet as text.
func (s *sheet) append(out []byte) []byte {
	out = strconv.AppendInt(out, int64(s.status), 10)
	for _, part := range []string{s.record, s.supply, s.pairs, s.findings, s.detail, s.caution} {
		out = append(out, unitSeparator...)
		out = append(out, part...)
	}
	out = append(out, unitSeparator...)
	out = strconv.AppendBool(out, s.bare)
	return append(out, recordSeparator...)
}

// parseSheets is the reverse of append for any number of sheets.
func parseSheets(text string) ([]sheet, error) {
	var out []sheet
	for text != "" {
		one, rest, found := strings.Cut(text, recordSeparator)
		parts := strings.Split(one, unitSeparator)
		status, err := strconv.Atoi(parts[0])
		if !found || len(parts) != 8 || err != nil {
			return nil, fmt.Errorf("a sheet of the report is damaged: %.60q", one)
		}
		out = append(out, sheet{
			status: record.Status(status), record: parts[1], supply: parts[2], pairs: parts[3], findings: parts[4],
			detail: parts[5], caution: parts[6], bare: parts[7] == strconv.FormatBool(true),
		})
		text = rest
	}
	return out, nil
}

// statusWord returns the status as people read it.
func statusWord(s record.Status) (string, ink) {
	switch s {
	case record.Compliant:
		return "compliant", plainInk
	case record.LiveFound:
		return "LIVE", dangerInk
	case record.NonCompliant:
		return "NOT COMPLIANT", wrongInk
	case record.NotJudged:
	}
	return "NOT JUDGED", wrongInk
}

// sheet makes the sheet of the judgement of rec, whose required pairs are pairs.
func (t theme) sheet(rec *record.Record, j *verify.Judgement, pairs []verify.PairState) *sheet {
	s := &sheet{status: j.Status, record: t.clean(j.Record), supply: j.Supply.String(), pairs: provedPairs(pairs), bare: j.Bare()}
	if s.supply == "" {
		s.supply = "not stated"
	}
	s.findings = findingsCell(j)
	if j.Status == record.Compliant {
		s.caution = t.cautions(j)
	} else {
		s.detail = t.place(rec) + t.detail(j, pairs)
	}
	return s
}

// findingsCell names the rules that failed; of a compliant record those that it
// cautions about, but for what is merely not recorded.
func findingsCell(j *verify.Judgement) string {
	var rules []string
	add := func(f *record.Finding) {
		if !slices.Contains(rules, f.Rule.String()) {
			rules = append(rules, f.Rule.String())
		}
	}
	if j.Status != record.Compliant {
		for _, f := range failures(j) {
			add(f)
		}
		return strings.Join(rules, ", ")
	}
	for i := range j.Findings {
		if f := &j.Findings[i]; f.Rule != record.NotRecorded {
			add(f)
		}
	}
	if len(rules) == 0 {
		return ""
	}
	return "caution: " + strings.Join(rules, ", ")
}

// failures returns the failures of a record in the order of the rules, but what
// was found live before all others.
func failures(j *verify.Judgement) []*record.Finding {
	return failuresBy(j, func(f *record.Finding) int { return min(report.Urgency(f.Rule, true), 1) })
}

// urgent returns the failures in the order in which a person on site has to know them.
func urgent(j *verify.Judgement) []*record.Finding {
	return failuresBy(j, func(f *record.Finding) int { return report.Urgency(f.Rule, true) })
}

// failuresBy returns the failures of a record by rank, then in the order of the rules.
func failuresBy(j *verify.Judgement, rank func(*record.Finding) int) []*record.Finding {
	var out []*record.Finding
	for i := range j.Findings {
		if f := &j.Findings[i]; f.Severity == record.Failure {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, func(a, b *record.Finding) int { return cmp.Compare(rank(a), rank(b)) })
	return out
}

// provedPairs returns "2 of 3", or what takes its place where no pair is required.
func provedPairs(pairs []verify.PairState) string {
	good := 0
	for i := range pairs {
		if pairs[i].State == verify.Good {
			good++
		}
	}
	if len(pairs) == 0 {
		return "none known"
	}
	return number(good) + " of " + number(len(pairs))
}

// title is the line above what is said of a record.
func (t theme) title(s *sheet) string {
	word, ink := statusWord(s.status)
	line := t.paint(titleInk, s.record) + "  " + t.paint(ink, word) + "  " + s.supply + ", "
	if s.pairs == "none known" {
		return line + "required pairs not known"
	}
	return line + s.pairs + " pairs dead and proved"
}

// place is a line that says whose record it is, as the job sheet has it; blank
// where that says nothing.
func (t theme) place(rec *record.Record) string {
	if len(rec.Jobs) == 0 {
		return ""
	}
	job := &rec.Jobs[0]
	var parts []string
	for _, part := range []string{job.Site, job.Circuit, job.Technician} {
		if part != "" {
			parts = append(parts, t.clean(part))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return t.paint(quietInk, strings.Join(parts, ", ")) + "\n"
}

// detail is what is said of a record that is not compliant: the picture of its
// pairs, then each failure, then the cautions in short.
func (t theme) detail(j *verify.Judgement, pairs []verify.PairState) string {
	var b strings.Builder
	b.WriteString("\n")
	if len(pairs) > 0 {
		b.WriteString(t.picture(withLive(pairs, j.Findings), 4))
		t.showings(&b, pairs)
		b.WriteString("\n")
	}
	for i, f := range urgent(j) {
		wrong, mend := report.Divide(t.clean(f.Message))
		t.hang(&b, fmt.Sprintf("%2d  ", i+1), wrong, plainInk)
		if mend != "" && !report.Covered(f.Rule, j.Status) {
			t.hang(&b, "    now: ", mend, titleInk)
		}
		t.hang(&b, "    ", t.basis(f), quietInk)
	}
	b.WriteString(t.cautions(j))
	return b.String()
}

// showings says what the indicator showed where it counts and is not dead.
func (t theme) showings(b *strings.Builder, pairs []verify.PairState) {
	const most = 8
	n := 0
	for i := range pairs {
		p := &pairs[i]
		if p.Printed == "" || p.State == verify.Good || p.State == verify.Unproved {
			continue
		}
		if n++; n > most {
			continue
		}
		text := p.Tested.String()
		if p.Tested.Point != "" {
			text += " at " + p.Tested.Point
		}
		t.hang(b, "    ", t.clean(text+" showed "+p.Printed+" at "+p.Time.Clock()), plainInk)
	}
	if n > most {
		b.WriteString("    and " + plural(n-most, "more pair") + "\n")
	}
}

// cautions is a line or two for each caution of a record. What is merely not
// recorded, and in what a policy is loose, stand once at the end of the report.
func (t theme) cautions(j *verify.Judgement) string {
	var b strings.Builder
	for i := range j.Findings {
		f := &j.Findings[i]
		text := t.clean(f.Message) + " (" + t.basis(f) + ")"
		switch {
		case f.Severity != record.Caution || f.Rule == record.NotRecorded:
			continue
		case f.Rule == record.PolicyLoosened && j.Status == record.Compliant:
			continue // the table has it
		case f.Rule == record.PolicyLoosened:
			text = "judged under a looser policy, see the end (policy-loosened)"
		}
		t.hang(&b, " -  ", "caution: "+text, plainInk)
	}
	return b.String()
}

// basis names the rule of a finding, its indicator and the rows it rests on, as
// in "reprove-missing, VI-3, site.csv:14, 15".
func (t theme) basis(f *record.Finding) string {
	const most = 8 // rows that are listed
	text := f.Rule.String()
	if f.Indicator != "" {
		text += ", " + t.clean(f.Indicator)
	}
	for i, pos := range f.Lines {
		switch {
		case i == most:
			return text + " and " + plural(len(f.Lines)-most, "more row")
		case i > 0 && pos.File == f.Lines[i-1].File:
			text += ", " + strconv.Itoa(pos.Line)
		default:
			pos.Column = 0
			text += ", " + t.clean(pos.String())
		}
	}
	return text
}
