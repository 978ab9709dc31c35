package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"nilvolt/ingest"
	"nilvolt/ledger"
	"nilvolt/record"
	"nilvolt/report"
	"nilvolt/verify"
)

// runReportRecord writes the sheet of a record, of a ledger or of files of readings.
func runReportRecord(ctx context.Context, o *reportOptions, args []string, c *console) error {
	if o.where == "" {
		return runReportFiles(ctx, o, args, c)
	}
	if len(args) > 0 {
		return hint("leave one of them away", "--ledger and files of readings are two places to find a record")
	}
	l, err := o.open(ctx, c, false)
	if err != nil {
		return err
	}
	defer l.Close()
	item, err := findVersion(ctx, l, o.record)
	if err != nil {
		return err
	}
	d, err := keptSheet(ctx, l, item)
	if err != nil {
		return err
	}
	return writeDocument(o, sheetName(item.Record, item.Number), d, c)
}

// keptSheet makes the sheet of a version that a ledger keeps.
func keptSheet(ctx context.Context, l *ledger.Ledger, item *ledger.Item) (*report.Document, error) {
	rec, err := l.Evidence(ctx, item.Version)
	if err != nil {
		return nil, err
	}
	judgements, judgings, err := l.Judgements(ctx, item.Version)
	if err != nil {
		return nil, err
	}
	last := judgings[len(judgings)-1]
	by, err := loadContext(keptFiles{ctx, l}, last.Context)
	if err != nil {
		return nil, err
	}
	kept, err := keptOf(ctx, l, item, judgements, judgings)
	if err != nil {
		return nil, err
	}
	sheet := report.Record{
		Evidence: rec, Judgement: verify.NewJudge(by.policy, by.register, nil).Judge(rec),
		Status: parseStatus(item.Judgement.Status), Findings: findingsOf(item.Judgement.Findings),
		Register: by.register, Policy: report.Policy{SHA256: by.policy.SHA256, Loosened: by.policy.Loosened()},
		Rules: last.Rules, Kept: kept, Borrows: borrows(by.policy, last),
	}
	return sheet.Document(), nil
}

// borrows reports whether proofs of other records count in a judging that is still that
// of today's rules.
func borrows(policy *verify.Policy, j ledger.Judging) bool {
	return policy.SharedProofs && j.Rules == verify.RulesVersion
}

// pairsOf returns the pairs of a kept record, as its last judging left them.
func pairsOf(rec *record.Record, by judgeBy, last ledger.Judging, found []ledger.Finding) []verify.PairState {
	pairs := verify.NewJudge(by.policy, by.register, nil).Judge(rec).Pairs()
	findings := findingsOf(found)
	if borrows(by.policy, last) {
		pairs = report.Borrowed(pairs, findings)
	}
	return report.Lowered(pairs, findings)
}

// findingsOf writes kept findings as sheets have them.
func findingsOf(kept []ledger.Finding) []report.Finding {
	list := make([]report.Finding, len(kept))
	for i, f := range kept {
		list[i] = report.Finding{
			Rule: f.Rule, Failure: f.Severity == record.Failure.String(), Indicator: f.Indicator,
			Pairs: f.Pairs, Points: f.Points, Lines: f.Lines, Message: f.Message,
		}
	}
	return list
}

// parseStatus is the status of a kept word.
func parseStatus(word string) record.Status {
	for _, s := range []record.Status{record.Compliant, record.NonCompliant, record.LiveFound} {
		if s.String() == word {
			return s
		}
	}
	return record.NotJudged
}

// keptOf tells what the ledger knows of a version beside its evidence.
func keptOf(
	ctx context.Context, l *ledger.Ledger, item *ledger.Item, judgements []ledger.Judgement, judgings []ledger.Judging,
) (*report.Kept, error) {
	proof, err := l.Prove(ctx, item.Version)
	if err != nil {
		return nil, err
	}
	k := &report.Kept{
		Origin: l.Origin(), Number: item.Number, Uploaded: minute(item.UploadMade), By: item.UploadBy,
		Code: proof.Seal(l.Origin()).String(),
	}
	policies, err := policyNames(ctx, l, judgings)
	if err != nil {
		return nil, err
	}
	for i, j := range judgings {
		k.Judgings = append(k.Judgings, report.Judging{
			Made: minute(j.Made), Status: judgements[i].Status, Rules: j.Rules, Policy: policies[j.Policy],
			Why: causeWords[j.Cause],
		})
	}
	versions, err := l.Record(ctx, item.Record)
	if err != nil {
		return nil, err
	}
	if worse := item.Worse(versions); worse != nil {
		k.Worse = worseText(item, worse)
	}
	for _, v := range versions {
		k.Versions = append(k.Versions, report.Version{Number: v.Number, Uploaded: minute(v.UploadMade), Status: v.Judgement.Status})
	}
	for _, d := range item.Decisions {
		k.Decisions = append(k.Decisions, report.Decision{Made: minute(d.Made), Kind: string(d.Kind), By: d.By, Reason: d.Reason})
	}
	k.Latest = latestOf(item, judgings)
	for _, m := range item.Marks {
		k.Marks = append(k.Marks, markText(m))
	}
	if !item.Closed() {
		k.Waits = waiting(item)
	}
	return k, nil
}

// markText is what a look back says of a record.
func markText(m ledger.Mark) string {
	return fmt.Sprintf("%s for %s: %s (looked back %s)", m.Doubt, m.LookBack.Instrument, m.LookBack.Reason, minute(m.LookBack.Made))
}

// latestOf is when the last thing happened that a sheet tells of.
func latestOf(item *ledger.Item, judgings []ledger.Judging) time.Time {
	times := []string{item.UploadMade}
	for _, j := range judgings {
		times = append(times, j.Made)
	}
	for _, d := range item.Decisions {
		times = append(times, d.Made)
	}
	for _, m := range item.Marks {
		times = append(times, m.LookBack.Made)
	}
	var latest time.Time
	for _, text := range times {
		if t, err := time.Parse(time.RFC3339, text); err == nil && t.After(latest) {
			latest = t
		}
	}
	return latest
}

// causeWords say why something was judged that had been judged before.
var causeWords = map[ledger.Cause]string{
	ledger.Neighbour: "after a later upload threw light on it",
	ledger.Again:     "judged anew",
}

// minute writes a time of the ledger for people.
func minute(made string) string {
	t, err := time.Parse(time.RFC3339, made)
	if err != nil {
		return made
	}
	return t.UTC().Format("2006-01-02 15:04 UTC")
}

// runReportFiles writes the sheet of a record of files, which are judged as by verify.
func runReportFiles(ctx context.Context, o *reportOptions, args []string, c *console) error {
	if len(args) == 0 {
		return hint("name the ledger with --ledger, or files of readings", "nobody can tell where to find the record")
	}
	in, err := o.load()
	if err != nil {
		return errors.Join(err, errNothingJudged)
	}
	set, err := ingest.Open(ctx, args, ingest.Options{Jobs: in.jobs, Map: in.readingsMap, Stdin: c.in})
	if err != nil {
		return errors.Join(err, errNothingJudged)
	}
	defer func() { _ = set.Close() }() // it was only read
	across, err := survey(ctx, set, in)
	if err != nil {
		return errors.Join(err, errNothingJudged)
	}
	var mu sync.Mutex
	var doc *report.Document
	err = set.Each(ctx, func() ingest.Visitor {
		j := verify.NewJudge(in.policy, in.register, across)
		return func(rec *record.Record, out []byte) []byte {
			if rec.ID != o.record {
				return out
			}
			mu.Lock()
			defer mu.Unlock()
			doc = filesSheet(rec, j.Judge(rec), in)
			return out
		}
	}, func([]byte) error { return nil })
	if err != nil {
		return err
	}
	if doc == nil {
		return hint("ids are written as in the readings", "no record %q in the files", o.record)
	}
	return writeDocument(o, sheetName(o.record, 1), doc, c)
}

// filesSheet makes the sheet of a record that was just judged.
func filesSheet(rec *record.Record, j *verify.Judgement, in *inputs) *report.Document {
	findings := make([]report.Finding, len(j.Findings))
	for i := range j.Findings {
		findings[i] = findingOf(&j.Findings[i])
	}
	sheet := report.Record{
		Evidence: rec, Judgement: j, Status: j.Status, Findings: findings, Register: in.register,
		Policy: report.Policy{SHA256: in.policy.SHA256, Loosened: in.policy.Loosened()}, Rules: verify.RulesVersion,
	}
	return sheet.Document()
}

// findingOf writes a finding as sheets have it.
func findingOf(f *record.Finding) report.Finding {
	out := report.Finding{Rule: f.Rule.String(), Failure: f.Severity == record.Failure, Indicator: f.Indicator, Message: f.Message}
	for _, t := range f.Tested {
		out.Pairs = append(out.Pairs, t.String())
		out.Points = append(out.Points, t.Point)
	}
	for _, pos := range f.Lines {
		out.Lines = append(out.Lines, fmt.Sprintf("%s:%d", cmp.Or(pos.File, "-"), pos.Line))
	}
	return out
}
