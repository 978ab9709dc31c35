package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"nilvolt/ingest"
	"nilvolt/ledger"
)

// ingestOptions are the flags of ingest.
type ingestOptions struct {
	inputFlags
	ledgerFlags
	by          string
	format      string
	all         bool
	withoutRows bool
}

func newIngest(c *console) *cobra.Command {
	o := &ingestOptions{}
	cmd := &cobra.Command{
		Use:   "ingest READINGS... --ledger WHERE",
		Short: "Judge files of readings and keep them in a ledger",
		Long: `Judge every isolation record of the files, as nilvolt verify does, and keep it all:
the files as they came, the records, and what was found in them. A folder stands
for all files in it and in its folders, but for those that a flag names; "-" is
standard input. The ledger is made on first use.

One call is one upload: it is kept whole or, after any error, not at all. The same
files twice are kept once. A record that is kept already with the same content is
left as it is; one with other content becomes a new version, and both stay. The record
counts by the worse of them until somebody has decided on that one.

A record that only the job sheet names, and of which no row was ever handed in, is
planned, or was done and its readings are still to come. It is counted and told, and
never passes; nilvolt review list --missing lists all such records. With
--jobs-without-rows each is kept as a record that proves nothing, for QA to decide on.

The rules across records look at the whole ledger. Where an upload throws light on
records that were kept before, those are judged again, and the change is told.

Exit status: 0 when every record complies and every row belongs to one record,
1 when not, 2 when input could not be read; then nothing was kept.`,
		Example: `  nilvolt ingest site.csv --jobs jobs.csv --instruments instruments.csv --ledger site.db
  nilvolt ingest week-12/ --map logger.yaml --ledger postgres://db.example/nilvolt --key nilvolt.key --format json`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return hint("name one or more files or folders, or - for standard input", "ingest needs readings to keep")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(o.format); err != nil {
				return err
			}
			return runIngest(cmd.Context(), o, args, c)
		},
	}
	f := cmd.Flags()
	o.inputFlags.register(f)
	o.ledgerFlags.register(f, true)
	f.StringVar(&o.by, "by", "", "the `name` of who hands the files in")
	f.BoolVar(&o.all, "all", false, "in text, list and explain every record")
	f.BoolVar(&o.withoutRows, "jobs-without-rows", false, "keep the records of the job sheet that have no row as well")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json or csv")
	completeFlags(cmd)
	return cmd
}

// errInterrupted stands for whatever was under way when the call was interrupted.
var errInterrupted = errors.New("interrupted")

// errNothingKept is said beside the reason when an upload failed.
var errNothingKept = errors.New("nothing was kept")

// notKept is the error of an upload that failed. What an interrupt broke off is no fault of
// the file that was read just then.
func notKept(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		err = errInterrupted
	}
	return errors.Join(err, errNothingKept)
}

// runIngest keeps the readings and prints what came of it.
func runIngest(ctx context.Context, o *ingestOptions, args []string, c *console) error {
	in, err := o.load()
	if err != nil {
		return notKept(ctx, err)
	}
	s, err := gather(ctx, args, &o.inputFlags, c)
	if err != nil {
		return notKept(ctx, err)
	}
	defer s.close()
	bar := newProgress(c, 3) // index, evidence, verdicts
	defer bar.stop()
	set, err := ingest.Open(ctx, s.names, ingest.Options{
		Jobs: in.jobs, Map: in.readingsMap, At: s.at, Progress: bar.update,
	})
	if err != nil {
		return notKept(ctx, err)
	}
	defer set.Close()
	l, err := o.open(ctx, c, true)
	if err != nil {
		return notKept(ctx, err)
	}
	defer l.Close()
	k := &keeper{in: in, set: set, manifest: s.manifest(o, in), out: newKeptOutput(o, c), withoutRows: o.withoutRows}
	defer func() { _ = k.out.lines.close() }() // what is left of it harms nobody
	err = l.Update(ctx, func(tx *ledger.Tx) error { return k.keep(ctx, tx) })
	bar.stop()
	if err != nil {
		return notKept(ctx, ledgerError(err))
	}
	return k.conclude(c)
}
