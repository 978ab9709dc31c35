package main

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/spf13/cobra"

	"nilvolt/ingest"
	"nilvolt/record"
	"nilvolt/verify"
)

// verifyOptions are the flags of verify.
type verifyOptions struct {
	inputFlags
	ledgerFlags
	format  string
	stream  bool
	all     bool
	explain string
}

func newVerify(c *console) *cobra.Command {
	o := &verifyOptions{}
	cmd := &cobra.Command{
		Use:   "verify READINGS...",
		Short: "Judge the isolation records of files of readings",
		Long: `Judge every isolation record of the files and say what is wrong with it, where
that stands, and what to do. Nothing is stored. A folder stands for all files in it
and in its folders, but for those that a flag names; "-" is standard input.

A record is all rows of one record id over all files of the call. Files that are
not canonical are read through a column map; nilvolt formats guess FILE proposes
one.

With --ledger the records that a ledger keeps are judged anew and what changed is
shown: by --policy and --instruments if given, else by what each was judged by last.
The old judgements stay in the ledger beside the new ones.

Exit status: 0 when every record complies and every row belongs to one record,
1 when not, 2 when input could not be read; then nothing was judged.`,
		Example: `  nilvolt verify site.csv --jobs jobs.csv --instruments instruments.csv
  nilvolt verify logger.txt --map logger.yaml --jobs jobs.csv --format csv
  nilvolt verify --explain reprove-missing
  nilvolt verify --ledger site.db --policy policy.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case o.where != "":
				return o.checkAgain(args)
			case o.explain != "" && len(args) > 0:
				return hint("ask for one of them", "--explain takes no readings")
			case o.explain == "" && len(args) == 0:
				return hint("name one or more files or folders, or - for standard input", "verify needs readings to judge")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(o.format); err != nil {
				return err
			}
			if o.explain != "" {
				return runExplain(c, o.explain, o.format)
			}
			if o.where != "" {
				return runAgain(cmd.Context(), o, c)
			}
			return runVerify(cmd.Context(), o, args, c)
		},
	}
	f := cmd.Flags()
	o.inputFlags.register(f)
	o.ledgerFlags.register(f, true)
	f.BoolVar(&o.stream, "stream", false, "print verdicts as they come, without the rules across records")
	f.BoolVar(&o.all, "all", false, "in text, list and explain every record")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json or csv")
	f.StringVar(&o.explain, "explain", "", "print what a `rule` asks and why, and stop; all lists the rules")
	completeFlags(cmd)
	return cmd
}

// checkFormat refuses a word that is no format of results.
func checkFormat(format string) error {
	switch format {
	case "text", "json", "csv":
		return nil
	}
	return hint("the formats are text, json and csv", "no format is called %q", format)
}

// completeFlags tells the shell what may stand behind a flag.
func completeFlags(cmd *cobra.Command) {
	var rules []string
	for _, r := range verify.Rules() {
		rules = append(rules, r.String())
	}
	for flag, words := range map[string][]string{"format": {"text", "json", "csv"}, "explain": append(rules, "all")} {
		if cmd.Flag(flag) != nil {
			_ = cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
		}
	}
}

// runVerify judges the readings and prints what came of it.
func runVerify(ctx context.Context, o *verifyOptions, args []string, c *console) error {
	in, err := o.load()
	if err != nil {
		return errors.Join(err, errNothingJudged)
	}
	readings, err := readingsIn(args, &o.inputFlags)
	if err != nil {
		return errors.Join(err, errNothingJudged)
	}
	return verifyFiles(ctx, o, in, readings, c)
}

// verifyFiles judges the readings by inputs that are read already.
func verifyFiles(ctx context.Context, o *verifyOptions, in *inputs, readings []string, c *console) error {
	passes := 3 // to find the records, to survey them, to judge them
	if o.stream {
		passes = 2
	}
	if o.stream && in.readingsMap == nil {
		collectAt(300) // next to nothing is held, and little is made
	}
	bar := newProgress(c, passes)
	defer bar.stop()
	set, err := ingest.Open(ctx, readings, ingest.Options{
		Jobs: in.jobs, Map: in.readingsMap, Stdin: c.in, Progress: bar.update,
	})
	if err != nil {
		return errors.Join(err, errNothingJudged)
	}
	defer func() { _ = set.Close() }() // it was only read
	var across *verify.Across
	if !o.stream {
		if across, err = survey(ctx, set, in); err != nil {
			return errors.Join(err, errNothingJudged)
		}
	}
	out := newOutput(o, c)
	total, err := judge(ctx, set, in, across, out, c)
	bar.stop()
	if err != nil {
		return notJudged(err, o.stream || o.format != "text")
	}
	return conclude(o, set, total, out, c)
}

// notJudged adds to the reason what it means for the verdicts, some of which may
// be printed already. Where results could not be written it means nothing for them.
func notJudged(err error, printed bool) error {
	if _, ok := errors.AsType[*outputError](err); ok {
		return err
	}
	if printed {
		return errors.Join(err, errJudgedInPart)
	}
	return errors.Join(err, errNothingJudged)
}

// What is said beside the reason when not all was judged.
var (
	errNothingJudged = errors.New("nothing was judged")
	errJudgedInPart  = errors.New("not everything was judged: what was printed is no answer for the whole input")
)

// survey goes over all records for the rules across records. It reads every row,
// so a bad one is found before any verdict is printed.
func survey(ctx context.Context, set *ingest.Set, in *inputs) (*verify.Across, error) {
	var mu sync.Mutex
	var surveys []*verify.Survey
	err := set.Each(ctx, func() ingest.Visitor {
		s := verify.NewSurvey(in.policy, in.register)
		mu.Lock()
		surveys = append(surveys, s)
		mu.Unlock()
		return func(rec *record.Record, out []byte) []byte {
			s.Add(rec)
			return out
		}
	}, func([]byte) error { return nil })
	if err != nil {
		return nil, err
	}
	return verify.NewAcross(surveys...), nil
}

// judge judges all records and hands what each worker wrote to out, in order.
func judge(ctx context.Context, set *ingest.Set, in *inputs, across *verify.Across, out output, c *console) (*tally, error) {
	var mu sync.Mutex
	var tallies []*tally
	err := set.Each(ctx, func() ingest.Visitor {
		j := verify.NewJudge(in.policy, in.register, across)
		t := out.tally()
		write := out.appender()
		mu.Lock()
		tallies = append(tallies, t)
		mu.Unlock()
		return func(rec *record.Record, buf []byte) []byte {
			judgement := j.Judge(rec)
			t.add(judgement)
			return write(buf, rec, judgement)
		}
	}, out.emit)
	total := out.tally()
	for _, t := range tallies {
		total.merge(t)
	}
	return total, err
}

// conclude prints the end of the output, the rows of no record and the counts,
// and returns the verdict over all as an error.
func conclude(o *verifyOptions, set *ingest.Set, total *tally, out output, c *console) error {
	strays := set.Strays()
	if err := out.finish(total, len(strays)); err != nil {
		return err
	}
	if err := c.out.Flush(); err != nil { // results before diagnostics
		return err
	}
	listClocks(c, set)
	listStrays(c, strays)
	if report, ok := out.(*textReport); ok {
		listTwins(c, report.ids())
	}
	if o.stream {
		fmt.Fprintln(c.err, "note: the rules across records were not judged (--stream)")
	}
	listSuperseded(c, set)
	if n := set.Skipped(); n > 0 { // evidence that a map drops must not go unseen
		fmt.Fprintf(c.err, "note: the column map skips %s\n", plural(int(n), "row"))
	}
	total.counts(c.err, set.Rows(), len(strays))
	if total.compliant != total.records() || total.records() == 0 || len(strays) > 0 {
		return errNotCompliant
	}
	return nil
}
