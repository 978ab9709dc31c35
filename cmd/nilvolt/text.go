package main

import (
	"cmp"
	"fmt"
	"io"
	"iter"
	"maps"
	"slices"
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// The text report answers first, then lists, then explains:
//
//	2 of 6 records do not comply.
//	a table: record, status, supply, pairs, rules
//	for each record that is not compliant, the live ones first: picture, what is
//	wrong, what to do
//	cautions of the others, and what is not recorded, in short
//	what a verdict is and is not

const (
	// shortTable is how many records are all listed without being asked for;
	// of more, only those that are not compliant are.
	shortTable = 40
	// mostDetails and mostCautions are how many records are explained, and how
	// many compliant ones have their cautions listed, without being asked for.
	mostDetails  = 200
	mostCautions = 20
	// mostBare is how many records without a row are listed like any other,
	// without being asked for: a job sheet often covers more than was handed in.
	mostBare = 3
	// longestID is how many columns of the table a record id may take; a longer
	// one is whole all the same and pushes its own line to the right.
	longestID = 32
)

// closing ends every text report.
const closing = "This judges evidence, not conductors. It is no permission to touch: follow your local rules, and test before you touch."

// A textReport gathers the sheets of all records, in order, since the answer and
// the widths of the table need all of them.
type textReport struct {
	theme theme
	all   bool // list and explain every record
	out   io.Writer

	remarks  []string // below the answer
	rows     []sheet  // of the table, without caution
	cautions []sheet  // compliant records with cautions
	details  int      // rows that have kept their detail
	brief    int      // rows that do not comply and have not
	bare     int      // records without a row that were let through
	rest     []string // the ids of the others
}

// appender returns the function with which one worker adds a judgement.
func (r *textReport) appender() appender {
	return func(out []byte, rec *record.Record, j *verify.Judgement) []byte {
		return r.theme.sheet(rec, j, j.Pairs()).append(out)
	}
}

// emit takes the sheets of some records. What will not be printed is let go, so
// that a million records do not fill the memory with pictures.
func (r *textReport) emit(chunk []byte) error {
	sheets, err := parseSheets(string(chunk))
	if err != nil {
		return err
	}
	for _, s := range sheets {
		if s.caution != "" && (r.all || len(r.cautions) < mostCautions) {
			r.cautions = append(r.cautions, s)
		}
		s.caution = ""
		if s.bare && !r.all {
			if r.bare++; r.bare > mostBare {
				r.rest = append(r.rest, s.record)
				continue
			}
		}
		switch {
		case s.status == record.Compliant:
			if r.all || len(r.rows) < shortTable {
				r.rows = append(r.rows, s)
			}
		case r.all || r.details < mostDetails || s.status == record.LiveFound:
			r.details++
			r.rows = append(r.rows, s)
		default:
			s.detail = ""
			r.brief++
			r.rows = append(r.rows, s)
		}
	}
	return nil
}

// finish writes the report.
func (r *textReport) finish(t *tally, strays int) error {
	var b strings.Builder
	b.WriteString(r.theme.answerLine(t, strays))
	for _, remark := range r.remarks {
		r.theme.hang(&b, "", r.theme.clean(remark), wrongInk)
	}
	r.table(&b, t)
	r.explain(&b)
	r.listBare(&b)
	r.listCautions(&b, t)
	r.theme.closing(&b, t)
	_, err := io.WriteString(r.out, b.String())
	return err
}

// ids gives the ids of the records that are kept to be listed: all of a few.
func (r *textReport) ids() iter.Seq[string] {
	return func(yield func(string) bool) {
		for i := range r.rows {
			if !yield(r.rows[i].record) {
				return
			}
		}
	}
}

// tally returns a tally that also counts what is not recorded.
func (r *textReport) tally() *tally { return &tally{lacks: map[string]int{}} }

// answerLine is the first line of a report.
func (t theme) answerLine(c *tally, strays int) string {
	ink := titleInk
	switch {
	case c.live > 0:
		ink = dangerInk
	case c.notCompliant > 0 || strays > 0 || c.records() == 0:
		ink = wrongInk
	}
	return t.paint(ink, c.answer(strays)) + "\n"
}

// closing ends a report: what is not recorded, and what a verdict is not.
func (t theme) closing(b *strings.Builder, c *tally) {
	b.WriteString("\n")
	if c.loosened != "" {
		t.hang(b, "", "On every record: "+t.clean(c.loosened)+" (rule policy-loosened).", plainInk)
		b.WriteString("\n")
	}
	if c.proofs > 0 {
		t.hang(b, "", fmt.Sprintf("%s of %s %s in a second log as well, by source and time. "+
			"What the two logs show was not compared, and no verdict is better for it.",
			number(c.shared), plural(c.proofs, "proof"), verb(c.shared, "stands", "stand")), plainInk)
		b.WriteString("\n")
	}
	if c.lacking > 0 {
		t.hang(b, "", c.notRecorded(), quietInk)
		b.WriteString("\n")
	}
	t.hang(b, "", closing, plainInk)
}

// notRecorded says in one sentence what the records do not tell, the most
// frequent first.
func (t *tally) notRecorded() string {
	items := slices.SortedFunc(maps.Keys(t.lacks), func(a, b string) int {
		return cmp.Or(cmp.Compare(t.lacks[b], t.lacks[a]), strings.Compare(a, b))
	})
	for i, item := range items {
		if t.lacks[item] < t.lacking {
			items[i] += " (" + number(t.lacks[item]) + ")"
		}
	}
	where := "in the record"
	if withRows := t.records() - t.bare; withRows > 1 {
		where = fmt.Sprintf("in %s of %s records", number(t.lacking), number(withRows))
	}
	switch {
	case t.bare == 0:
	case t.records()-t.bare == 1:
		where += " that has rows"
	default:
		where += " that have rows"
	}
	text := "Not recorded " + where + " (rule not-recorded)"
	if len(items) > 0 {
		text += ": " + strings.Join(items, ", ")
	}
	return text + "."
}

// tableHead names the columns of the table; "dead pairs" counts those that are
// proved dead of those that are required.
var tableHead = [...]string{"record", "status", "supply", "dead pairs", "findings"}

// cells returns the line of a sheet in the table.
func (s *sheet) cells() [len(tableHead)]string {
	word, _ := statusWord(s.status)
	return [...]string{s.record, word, s.supply, s.pairs, s.findings}
}

// liveFirst returns the rows with those of live records before the others.
func liveFirst(rows []sheet) []sheet {
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b sheet) int {
		return cmp.Compare(lateness(a.status), lateness(b.status))
	})
	return rows
}

func lateness(s record.Status) int {
	if s == record.LiveFound {
		return 0
	}
	return 1
}

// table writes a line for each record, of many only for those that are not
// compliant.
func (r *textReport) table(b *strings.Builder, t *tally) {
	rows := r.rows
	if t.records() > shortTable && !r.all {
		rows = slices.DeleteFunc(liveFirst(rows), func(s sheet) bool { return s.status == record.Compliant })
	}
	if len(rows) == 0 {
		return
	}
	widths := r.widths(rows)
	last := len(tableHead) - 1
	var head, lines strings.Builder
	for i, h := range tableHead {
		head.WriteString(pad(h, widths[i]+2))
		lines.WriteString(r.theme.rule(widths[i]) + "  ")
	}
	b.WriteString("\n" + r.theme.paint(quietInk, strings.TrimRight(head.String(), " ")) + "\n")
	b.WriteString(r.theme.paint(quietInk, strings.TrimRight(lines.String(), " ")) + "\n")
	for i := range rows {
		cells := rows[i].cells()
		cells[last] = fitWords(cells[last], widths[last])
		_, ink := statusWord(rows[i].status)
		var line strings.Builder
		for k, cell := range cells {
			padded := pad(cell, widths[k]+2)
			if k == 1 {
				padded = r.theme.paint(ink, cell) + strings.TrimPrefix(padded, cell)
			}
			line.WriteString(padded)
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
}

// widths returns how wide each column of the table is. The rules have the room
// that the others leave.
func (r *textReport) widths(rows []sheet) [len(tableHead)]int {
	var widths [len(tableHead)]int
	for i, h := range tableHead {
		widths[i] = len(h)
		for k := range rows {
			widths[i] = max(widths[i], columnsOf(rows[k].cells()[i]))
		}
	}
	widths[0] = min(widths[0], longestID)
	last := len(tableHead) - 1
	room := r.theme.width
	for _, w := range widths[:last] {
		room -= w + 2
	}
	widths[last] = min(widths[last], max(room, len("reprove-missing + 10")))
	return widths
}

// fitWords returns as many of the words of text, a comma between them, as fit
// into n columns, and how many are left out, as in "live-found + 2".
func fitWords(text string, n int) string {
	words := strings.Split(text, ", ")
	if columnsOf(text) <= n || len(words) == 1 {
		return text
	}
	for k := len(words) - 1; k > 1; k-- {
		if short := fmt.Sprintf("%s + %d", strings.Join(words[:k], ", "), len(words)-k); columnsOf(short) <= n {
			return short
		}
	}
	return fmt.Sprintf("%s + %d", words[0], len(words)-1)
}

// explain writes what is wrong with each record that is not compliant, and what
// to do about it.
func (r *textReport) explain(b *strings.Builder) {
	for _, s := range liveFirst(r.rows) {
		if s.detail != "" {
			b.WriteString("\n" + r.theme.block(&s))
		}
	}
	if more := r.brief; more > 0 {
		b.WriteString("\n")
		r.theme.hang(b, "", fmt.Sprintf("%s that %s not comply %s listed above but not explained: "+
			"--all explains every one, --format csv or json gives them to a program.",
			plural(more, "more record"), verb(more, "does", "do"), verb(more, "is", "are")), plainInk)
	}
}

// listBare names the records without a row that stand nowhere else.
func (r *textReport) listBare(b *strings.Builder) {
	if len(r.rest) == 0 {
		return
	}
	const most = 12
	names := strings.Join(r.rest[:min(most, len(r.rest))], ", ")
	if more := len(r.rest) - most; more > 0 {
		names += fmt.Sprintf(" and %s more", number(more))
	}
	b.WriteString("\n")
	r.theme.hang(b, "", fmt.Sprintf("%s of the job sheet %s no row in these files: %s. Hand in their readings, or leave them out of the job sheet; --all lists every one.",
		plural(len(r.rest), "more record"), verb(len(r.rest), "has", "have"), names), plainInk)
}

// block is what is said of one record.
func (t theme) block(s *sheet) string {
	return t.paint(quietInk, t.rule(t.width)) + "\n" + t.title(s) + "\n" + s.detail
}

// listCautions writes the cautions of compliant records.
func (r *textReport) listCautions(b *strings.Builder, t *tally) {
	if len(r.cautions) == 0 {
		return
	}
	b.WriteString("\n" + r.theme.paint(quietInk, r.theme.rule(r.theme.width)) + "\n")
	b.WriteString(r.theme.paint(titleInk, "Cautions on compliant records") + "\n")
	for i := range r.cautions {
		b.WriteString("\n" + r.cautions[i].record + "\n" + r.cautions[i].caution)
	}
	if more := t.cautioned - len(r.cautions); more > 0 {
		b.WriteString("\nand " + plural(more, "more record") + " with cautions: --all lists every one.\n")
	}
}

// A textStream writes each record as it is judged, and the answer at the end.
type textStream struct {
	lineOutput
	theme theme
}

// appender returns the function with which one worker adds a judgement.
func (r *textStream) appender() appender {
	return func(out []byte, rec *record.Record, j *verify.Judgement) []byte {
		s := r.theme.sheet(rec, j, j.Pairs())
		if s.status == record.Compliant {
			return append(append(out, r.theme.title(s)...), "\n"+s.caution...)
		}
		return append(append(out, r.theme.block(s)...), '\n')
	}
}

// tally returns a tally that also counts what is not recorded.
func (r *textStream) tally() *tally { return &tally{lacks: map[string]int{}} }

// finish writes the answer.
func (r *textStream) finish(t *tally, strays int) error {
	var b strings.Builder
	b.WriteString("\n" + r.theme.answerLine(t, strays))
	r.theme.closing(&b, t)
	_, err := io.WriteString(r.out, b.String())
	return err
}
