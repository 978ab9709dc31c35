package main

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/report"
)

// statusInk is how a kept status is painted.
func statusInk(status string) (string, ink) {
	for _, s := range []record.Status{record.Compliant, record.NonCompliant, record.LiveFound} {
		if s.String() == status {
			return statusWord(s)
		}
	}
	return statusWord(record.NotJudged)
}

// waiting says what an item waits for.
func waiting(i *ledger.Item) string {
	switch n := len(i.Decisions); {
	case i.Closed() && n > 0:
		return string(i.Decisions[n-1].Kind) + " by " + i.Decisions[n-1].By
	case i.Closed():
		return ""
	case n > 0 && i.Decisions[n-1].ID < i.MarkedAt():
		return "a decision: marked since the last one"
	case n > 0 && i.Decisions[n-1].Judgement == i.Judgement.ID:
		return "a second person (accepted by " + i.Decisions[n-1].By + ")"
	case n > 0:
		return "a decision: judged otherwise since the last one"
	}
	return "a decision"
}

// worseText says which version is what, where a worse one than i waits for a decision.
func worseText(i, worse *ledger.Item) string {
	word, _ := statusInk(worse.Judgement.Status)
	own, _ := statusInk(i.Judgement.Status)
	return fmt.Sprintf("version %d is %s and waits for a decision, version %d is %s", worse.Number, word, i.Number, own)
}

// printItems prints the queue for people; span says of what it is.
func printItems(c *console, list []*ledger.Item, span string) {
	t := c.theme()
	if len(list) == 0 {
		fmt.Fprintln(c.out, "No record"+span+" waits for a decision.")
		return
	}
	fmt.Fprintln(c.out, t.paint(titleInk, plural(len(list), "record")+span+", worst first."))
	for _, i := range list {
		word, ink := statusInk(i.Judgement.Status)
		fmt.Fprintf(c.out, "\n%s  %s  %s, %s, %s\n", t.paint(titleInk, t.clean(nameOf(i))), t.paint(ink, word), t.moment(i.Started),
			t.clean(orUnknown(i.Site, "site")), t.clean(orUnknown(i.Technician, "technician")))
		var b strings.Builder
		if len(i.Judgement.Failed) > 0 {
			t.hang(&b, "    ", "failed: "+strings.Join(i.Judgement.Failed, " "), plainInk)
		}
		t.marks(&b, "    ", i.Marks)
		t.hang(&b, "    ", "waits for "+t.clean(waiting(i)), quietInk)
		c.out.WriteString(b.String())
	}
}

// marks writes what looks back at instruments say of a record.
func (t theme) marks(b *strings.Builder, lead string, list []ledger.Mark) {
	for _, m := range list {
		t.hang(b, lead, t.clean(fmt.Sprintf("%s for %s: %s", m.Doubt, m.LookBack.Instrument, m.LookBack.Reason)), wrongInk)
	}
}

// nameOf is how a version is called on the command line.
func nameOf(i *ledger.Item) string {
	if i.Number == 1 {
		return i.Record
	}
	return fmt.Sprintf("%s@%d", i.Record, i.Number)
}

func orUnknown(text, what string) string {
	if text == "" {
		return what + " not recorded"
	}
	return text
}

// An itemJSON is an item of the queue as JSON.
type itemJSON struct {
	Record     string           `json:"record"`
	Version    int              `json:"version"`
	Upload     int              `json:"upload"`
	Status     string           `json:"status"`
	Started    string           `json:"started"`
	Site       string           `json:"site"`
	Technician string           `json:"technician"`
	Failed     []string         `json:"failed"`
	Open       bool             `json:"open"`
	Findings   []ledger.Finding `json:"findings"`
	Decisions  []decisionJSON   `json:"decisions"`
	Marks      []markJSON       `json:"marks"`
	Leaf       int64            `json:"leaf"` // the newest of the log that is about it
}

// A markJSON is what a look back at an instrument says of a record.
type markJSON struct {
	Instrument string `json:"instrument"`
	Doubt      string `json:"doubt"` // certain, in doubt
	Reason     string `json:"reason"`
	Made       string `json:"made"`
}

type decisionJSON struct {
	Decision string `json:"decision"`
	By       string `json:"by"`
	Made     string `json:"made"`
	Reason   string `json:"reason"`
}

func jsonOf(i *ledger.Item) itemJSON {
	out := itemJSON{
		Record: i.Record, Version: i.Number, Upload: i.UploadNo, Status: i.Judgement.Status,
		Started: time.Unix(i.Started, 0).UTC().Format(time.RFC3339), Site: i.Site, Technician: i.Technician,
		Failed: i.Judgement.Failed, Open: !i.Closed(), Findings: i.Judgement.Findings, Decisions: []decisionJSON{},
		Marks: []markJSON{}, Leaf: i.Newest(),
	}
	if out.Failed == nil {
		out.Failed = []string{}
	}
	for _, d := range i.Decisions {
		out.Decisions = append(out.Decisions, decisionJSON{string(d.Kind), d.By, d.Made, d.Reason})
	}
	for _, m := range i.Marks {
		out.Marks = append(out.Marks, markJSON{m.LookBack.Instrument, m.Doubt, m.LookBack.Reason, m.LookBack.Made})
	}
	return out
}

func printItemsJSON(c *console, list []*ledger.Item) error {
	encoder := json.NewEncoder(c.out)
	encoder.SetEscapeHTML(false)
	for _, i := range list {
		if err := encoder.Encode(jsonOf(i)); err != nil {
			return err
		}
	}
	return nil
}

func printItemsCSV(c *console, list []*ledger.Item) {
	out := []byte("record,version,status,started,site,technician,failed,open,leaf\r\n")
	for _, i := range list {
		out = appendCSVField(out, i.Record)
		out = fmt.Appendf(out, ",%d,%s,%s,", i.Number, i.Judgement.Status, time.Unix(i.Started, 0).UTC().Format(time.RFC3339))
		out = append(appendCSVField(out, i.Site), ',')
		out = append(appendCSVField(out, i.Technician), ',')
		out = append(appendCSVField(out, strings.Join(i.Judgement.Failed, " ")), ',')
		out = fmt.Appendf(out, "%v,%d\r\n", !i.Closed(), i.Newest())
	}
	c.out.Write(out)
}

func newReviewShow(c *console) *cobra.Command {
	var flags ledgerFlags
	var zone zoneFlag
	var format string
	cmd := &cobra.Command{
		Use:   "show RECORD --ledger WHERE",
		Short: "Show all evidence of a record, its versions, judgements and decisions",
		Long: `Show every version of a record: what was found in it, the picture of its pairs, its
rows in the order of time, how it was judged before, and what was decided on it.`,
		Example: "  nilvolt review show R7 --ledger site.db",
		Args:    exactArgs(1, "name the record"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if format != "text" && format != "json" {
				return hint("the formats of review show are text and json", "no format is called %q", format)
			}
			if err := zone.set(c); err != nil {
				return err
			}
			l, err := flags.open(cmd.Context(), c, false)
			if err != nil {
				return err
			}
			defer l.Close()
			list, err := l.Record(cmd.Context(), args[0])
			if err == nil && len(list) == 0 {
				_, err = findVersion(cmd.Context(), l, args[0])
			}
			switch {
			case err != nil:
				return err
			case format == "json":
				return printItemsJSON(c, list)
			}
			for _, item := range list {
				if err := showItem(cmd.Context(), c, l, item, item.Worse(list)); err != nil {
					return err
				}
			}
			return nil
		},
	}
	flags.register(cmd.Flags(), false)
	zone.register(cmd.Flags())
	cmd.Flags().StringVar(&format, "format", "text", "`format` of the result: text or json")
	return cmd
}

// keptFiles gives the files of a ledger outside a transaction.
type keptFiles struct {
	ctx    context.Context
	ledger *ledger.Ledger
}

// Content returns the bytes of a kept file.
func (k keptFiles) Content(row int64) ([]byte, error) { return k.ledger.Content(k.ctx, row) }

// showItem prints all that is kept of a version; worse is a worse one that waits, or nil.
func showItem(ctx context.Context, c *console, l *ledger.Ledger, i, worse *ledger.Item) error {
	t := c.theme()
	rec, err := l.Evidence(ctx, i.Version)
	if err != nil {
		return err
	}
	judgements, judgings, err := l.Judgements(ctx, i.Version)
	if err != nil {
		return err
	}
	by, err := loadContext(keptFiles{ctx, l}, judgings[len(judgings)-1].Context)
	if err != nil {
		return err
	}
	word, ink := statusInk(i.Judgement.Status)
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%s  %s  version %d, upload %d of %s\n", t.paint(quietInk, t.rule(t.width)), t.paint(titleInk, t.clean(i.Record)),
		t.paint(ink, word), i.Number, i.UploadNo, t.day(i.UploadMade))
	if worse != nil {
		t.hang(&b, "", "But "+worseText(i, worse)+".", wrongInk)
	}
	fmt.Fprintf(&b, "%s, %s, %s to %s\n\n", t.clean(orUnknown(i.Site, "site")), t.clean(orUnknown(i.Technician, "technician")),
		t.moment(i.Started), t.moment(i.Ended))
	b.WriteString(t.picture(pairsOf(rec, by, judgings[len(judgings)-1], i.Judgement.Findings), 4))
	b.WriteString("\n")
	t.marks(&b, " -  ", i.Marks)
	t.keptFindings(&b, &i.Judgement)
	t.timeline(&b, rec)
	policies, err := policyNames(ctx, l, judgings)
	if err != nil {
		return err
	}
	t.history(&b, judgements, judgings, policies)
	for _, d := range i.Decisions {
		t.hang(&b, "decided     ", t.clean(fmt.Sprintf("%s by %s, %s: %s", d.Kind, d.By, t.stamp(d.Made), d.Reason)), plainInk)
	}
	if w := waiting(i); w != "" && !i.Closed() {
		t.hang(&b, "waits for   ", t.clean(w), titleInk)
	}
	_, err = c.out.WriteString(b.String())
	return err
}

// keptFindings writes what a kept judgement found, in the order in which a person on site
// has to know it.
func (t theme) keptFindings(b *strings.Builder, j *ledger.Judgement) {
	for _, f := range report.Urgent(findingsOf(j.Findings)) {
		text, severity := f.Message, record.Caution
		if f.Failure {
			severity = record.Failure
		}
		if report.Covered(f.Named(), parseStatus(j.Status)) {
			text, _ = report.Divide(text)
		}
		basis := strings.Join(append([]string{f.Rule}, foldLines(f.Lines)...), ", ")
		t.hang(b, " -  ", t.clean(severity.String()+": "+text+" ("+basis+")"), plainInk)
	}
	if len(j.Findings) > 0 {
		b.WriteString("\n")
	}
}

// foldLines names a file once for the lines of it that follow each other in the list, as
// in "site.csv:14", "15".
func foldLines(lines []string) []string {
	out := slices.Clone(lines)
	for i := 1; i < len(lines); i++ {
		file, line, found := cutLast(lines[i], ":")
		before, _, _ := cutLast(lines[i-1], ":")
		if found && file == before {
			out[i] = line
		}
	}
	return out
}

// cutLast is strings.Cut at the last place where sep stands.
func cutLast(s, sep string) (before, after string, found bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// timeline writes the rows of a record by time, a line each.
func (t theme) timeline(b *strings.Builder, rec *record.Record) {
	events := slices.Clone(rec.Events)
	slices.SortStableFunc(events, func(a, b record.Event) int { return a.Time.Compare(b.Time) })
	for i := range events {
		e := &events[i]
		shown := e.Volts.Text
		switch {
		case shown != "":
			shown += " V"
		case e.Stage.Text != "":
			shown = "step " + e.Stage.Text
		}
		pair := ""
		if e.Pair.IsSet() {
			pair = e.Pair.String()
		}
		pos := e.Pos
		pos.Column = 0
		words := []string{e.Time.String(), pad(e.Kind.String(), 10), pad(pair, 6), pad(shown, 8)}
		for _, text := range []string{e.Indicator, e.Source, e.Point, e.Note, pos.String()} {
			if text != "" {
				words = append(words, text)
			}
		}
		b.WriteString("    " + t.clean(strings.Join(words, "  ")) + "\n")
	}
	b.WriteString("\n")
}

// policyNames returns how people call the policies of some judgings, by row.
func policyNames(ctx context.Context, l *ledger.Ledger, judgings []ledger.Judging) (map[int64]string, error) {
	names := map[int64]string{0: "the default policy"}
	for _, g := range judgings {
		if names[g.Policy] != "" {
			continue
		}
		name, sum, err := l.FileName(ctx, g.Policy)
		if err != nil {
			return nil, err
		}
		names[g.Policy] = "the policy " + strings.TrimSpace(fmt.Sprintf("%s (SHA-256 %.4x...)", name, sum))
	}
	return names, nil
}

// causeText says why a record was judged.
func causeText(cause ledger.Cause) string {
	switch cause {
	case ledger.Ingest:
		return "when it came in"
	case ledger.Neighbour:
		return "when a later upload threw light on it"
	case ledger.Again:
		return "anew"
	case ledger.Reread:
		return "anew, its files saying something else than when it came in"
	}
	return string(cause)
}

// history writes how a version was judged, one time after the other.
func (t theme) history(b *strings.Builder, judgements []ledger.Judgement, judgings []ledger.Judging, policies map[int64]string) {
	for i, j := range judgements {
		g := judgings[i]
		policy := t.clean(policies[g.Policy])
		t.hang(b, "judged      ", fmt.Sprintf("%s: %s, %s, by rules %s and %s", t.stamp(g.Made), j.Status, causeText(g.Cause), g.Rules, policy), quietInk)
	}
}
