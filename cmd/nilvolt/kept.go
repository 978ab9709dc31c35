package main

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/verify"
)

// A keptOutput prints what ingest found and what became of each record, when all is kept. In text it
// is the report of verify with a last part on what was kept; in JSON the object of
// verify with the fields kept, version and upload; in CSV a line a record.
type keptOutput struct {
	format string
	report *textReport // of the format text
	c      *console
	lines  held // of the other formats, until all is kept

	counts map[ledger.Outcome]int
	newer  []ledger.Kept // new versions of records that were kept before
}

// keptHeader is the first line of the CSV output of ingest.
const keptHeader = "record,status,kept,version,upload,failed\r\n"

func newKeptOutput(o *ingestOptions, c *console) *keptOutput {
	out := &keptOutput{format: o.format, c: c, counts: map[ledger.Outcome]int{}}
	switch o.format {
	case "text":
		out.report = &textReport{theme: c.theme(), all: o.all, out: c.out}
	case "csv":
		out.lines.buf.WriteString(keptHeader)
	}
	return out
}

// appender returns the function with which one worker makes text of judgements.
func (k *keptOutput) appender() appender {
	switch k.format {
	case "json":
		w := new(jsonWriter)
		return func(out []byte, _ *record.Record, j *verify.Judgement) []byte { return w.append(out, j) }
	case "csv":
		return func(out []byte, _ *record.Record, _ *verify.Judgement) []byte { return out } // all is known later
	}
	return k.report.appender()
}

// tally returns an empty tally that counts what the output needs.
func (k *keptOutput) tally() *tally {
	if k.report != nil {
		return k.report.tally()
	}
	return new(tally)
}

// add takes one record, in the order of the input.
func (k *keptOutput) add(text []byte, kept ledger.Kept, upload int, verdict *ledger.Verdict) error {
	k.counts[kept.Outcome]++
	status := kept.Status
	if kept.Outcome == ledger.NoRow {
		status = record.NonCompliant.String() // what has no evidence is never more
	}
	var failed []string
	if verdict != nil {
		status, failed = verdict.Status.String(), verdict.Failed()
	}
	if kept.Outcome == ledger.NewVersion {
		k.newer = append(k.newer, kept)
	}
	var line []byte
	switch {
	case k.format == "text":
		return k.report.emit(text)
	case k.format == "json" && verdict == nil:
		line = appendJSON(append(line, `{"record":`...), kept.Record)
		line = fmt.Appendf(line, `,"status":%q,"kept":%q,"version":%d,"upload":%d}`+"\n", status, kept.Outcome, kept.Number, upload)
	case k.format == "json":
		line = append(line, bytes.TrimSuffix(text, []byte("}\n"))...)
		line = append(line, `,"kept":"`+string(kept.Outcome)+`","version":`...)
		line = strconv.AppendInt(line, int64(kept.Number), 10)
		line = append(line, `,"upload":`...)
		line = strconv.AppendInt(line, int64(upload), 10)
		line = append(line, "}\n"...)
	default:
		line = appendCSVField(line, kept.Record)
		line = fmt.Appendf(line, ",%s,%s,%d,%d,", status, kept.Outcome, kept.Number, upload)
		line = append(appendCSVField(line, strings.Join(failed, " ")), "\r\n"...)
	}
	_, err := k.lines.Write(line)
	return err
}

// mostNewer is how many new versions are listed.
const mostNewer = 20

// finish prints what was held, or the end of the report. All must be kept by now.
func (k *keptOutput) finish(keep *keeper, strays int) error {
	u := keep.upload
	worse := contestTexts(keep.contests)
	if k.report == nil {
		if err := k.lines.release(k.c.out); err != nil {
			return err
		}
		if u.Same {
			fmt.Fprintf(k.c.err, "the same files were kept already, as upload %d of %s: nothing is kept twice\n", u.Number, k.c.theme().day(u.Made))
		}
		for _, text := range worse {
			fmt.Fprintln(k.c.err, k.c.theme().clean(text))
		}
		return nil
	}
	k.report.remarks = worse
	if err := k.report.finish(keep.tally, strays); err != nil {
		return err
	}
	t := k.report.theme
	var b strings.Builder
	b.WriteString("\n")
	if u.Same {
		t.hang(&b, "", fmt.Sprintf("The same files were kept already, as upload %d of %s: nothing is kept twice.", u.Number, t.day(u.Made)), plainInk)
	} else {
		t.hang(&b, "", fmt.Sprintf("Kept as upload %d: %s, %s of records kept before, %s kept before with the same content.",
			u.Number, plural(k.counts[ledger.New], "new record"), plural(k.counts[ledger.NewVersion], "new version"),
			number(k.counts[ledger.Same])), plainInk)
	}
	if n := k.counts[ledger.JobOnly]; n > 0 {
		t.hang(&b, "", fmt.Sprintf("%s of the job sheet came without readings; theirs are kept already, and were not judged here.", plural(n, "record")), plainInk)
	}
	if n := k.counts[ledger.NoRow]; n > 0 {
		t.hang(&b, "", fmt.Sprintf("%s of the job sheet %s without a row, here and in the ledger: not proven, and not kept. "+
			"nilvolt review list --missing lists what was never handed in; --jobs-without-rows keeps it.",
			plural(n, "record"), verb(n, "is", "are")), plainInk)
	}
	for _, n := range k.newer[:min(len(k.newer), mostNewer)] {
		t.hang(&b, "  ", fmt.Sprintf("%s is now version %d; nilvolt review show %[1]s shows the versions beside each other", t.clean(n.Record), n.Number), plainInk)
	}
	if more := len(k.newer) - mostNewer; more > 0 {
		t.hang(&b, "  ", "and "+plural(more, "more new version"), plainInk)
	}
	_, err := k.c.out.WriteString(b.String())
	return err
}

// mostRemarks is how many changes, overlaps and worse versions are listed.
const mostRemarks = 20

// contestTexts says beside which of the versions handed in a worse one waits: of all that
// are live, and of some others.
func contestTexts(list []ledger.Contest) []string {
	var out []string
	for i, c := range list {
		if i >= mostRemarks && parseStatus(c.Worse.Judgement.Status) != record.LiveFound {
			return append(out, "and "+plural(len(list)-i, "more record")+" with a worse version; nilvolt review list names them")
		}
		out = append(out, fmt.Sprintf("%s: %s; nilvolt review show %[1]s shows them", c.Version.Record, worseText(c.Version, c.Worse)))
	}
	return out
}

// listChanges tells which records that were kept before are judged otherwise now.
func listChanges(c *console, changes []ledger.Change) {
	t := theme{unicode: c.theme().unicode}
	for _, g := range changes[:min(len(changes), mostRemarks)] {
		fmt.Fprintln(c.err, t.clean(changeText(g)))
	}
	if more := len(changes) - mostRemarks; more > 0 {
		fmt.Fprintln(c.err, "and "+plural(more, "more record")+" judged otherwise than before")
	}
}

// changeText says what changed in the judgement of a version.
func changeText(g ledger.Change) string {
	text := fmt.Sprintf("%s (version %d) was %s and is %s", g.Record, g.Number, g.Before.Status, g.After.Status)
	if g.Before.Status == g.After.Status {
		text = fmt.Sprintf("%s (version %d) is %s as before, with other findings", g.Record, g.Number, g.After.Status)
	}
	if len(g.After.Failed) > 0 {
		text += ": " + strings.Join(g.After.Failed, " ")
	}
	return text
}

// listOverlaps tells who or what was at two sites at once.
func listOverlaps(c *console, list []ledger.Overlap) {
	t := theme{unicode: c.theme().unicode, zone: c.location()}
	for _, o := range list[:min(len(list), mostRemarks)] {
		fmt.Fprintln(c.err, t.clean(t.overlapText(o)))
	}
	if more := len(list) - mostRemarks; more > 0 {
		fmt.Fprintln(c.err, "and "+plural(more, "more record")+" at two sites at once")
	}
}

func (t theme) overlapText(o ledger.Overlap) string {
	what := "technician"
	if o.Instrument {
		what = "instrument"
	}
	return fmt.Sprintf("%s %s was at two sites at once: %s at %s and %s at %s, %s",
		what, o.Who, o.Record, o.Site, o.Other, o.Elsewhere, t.moment(o.Started))
}
