package main

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"nilvolt/formats"
	"nilvolt/ledger"
)

// exportOptions are the flags of export.
type exportOptions struct {
	ledgerFlags
	to     string
	format string
}

func newExport(c *console) *cobra.Command {
	o := &exportOptions{}
	cmd := &cobra.Command{
		Use:   "export --ledger WHERE --to DIR",
		Short: "Write what a ledger keeps as Parquet files",
		Long: `Write the readings, records, findings and proofs of a ledger as Parquet files, a
folder a table and within it one a month, by the month in UTC in which the record
began. Exporting again into the same folder adds files with what is new since; files
that are there are not touched. A record stands in one file, in one row group.

nilvolt verify judges the files of readings as it does those that were ingested.`,
		Example: `  nilvolt export --ledger site.db --to parquet
  nilvolt export --ledger postgres://db.example/nilvolt --to parquet --format json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.format != "text" && o.format != "json" {
				return hint("the formats of export are text and json", "no format is called %q", o.format)
			}
			if o.to == "" {
				return hint("name it with --to", "no folder to write to is named")
			}
			l, err := o.open(cmd.Context(), c, false)
			if err != nil {
				return err
			}
			defer func() { _ = l.Close() }() // it was only read
			return runExport(cmd.Context(), l, o, c)
		},
	}
	f := cmd.Flags()
	o.register(f, false)
	f.StringVar(&o.to, "to", "", "the `folder` to write to; made if it is not there")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text or json")
	_ = cmd.RegisterFlagCompletionFunc("format", cobra.FixedCompletions([]string{"text", "json"}, cobra.ShellCompDirectiveNoFileComp))
	return cmd
}

// runExport writes what is new and prints what was written.
func runExport(ctx context.Context, l *ledger.Ledger, o *exportOptions, c *console) error {
	folder, err := openExportFolder(o.to, l.Origin())
	if err != nil {
		return err
	}
	defer folder.close()
	share, err := l.Share(ctx, folder.state.Leaves)
	if err != nil {
		return err
	}
	defer func() { _ = share.Close() }() // it was only read
	if share.Upto < share.After {
		return hint("export into another folder", "%s: holds more than the ledger does, which was put back to an earlier state", o.to)
	}
	tables, err := exportShare(ctx, share, folder)
	if err != nil {
		return err
	}
	if o.format == "json" {
		return printExportJSON(c, tables)
	}
	printExport(c, o.to, tables)
	return nil
}

// exportShare writes a share into the folder.
func exportShare(ctx context.Context, share *ledger.Share, folder *exportFolder) ([]*exportedTable, error) {
	name := fmt.Sprintf("%012d-%012d.parquet", share.After, share.Upto)
	readings := newMonthly(folder, name, "readings", formats.NewReadingsWriter)
	proofs := newMonthly(folder, name, "proofs", formats.NewProofsWriter)
	records := newMonthly(folder, name, "records", formats.NewRecordsWriter)
	findings := newMonthly(folder, name, "findings", formats.NewFindingsWriter)
	tables := []*exportedTable{&readings.exportedTable, &records.exportedTable, &findings.exportedTable, &proofs.exportedTable}
	defer readings.abandon()
	defer proofs.abandon()
	defer records.abandon()
	defer findings.abandon()
	if share.Upto == share.After {
		return tables, nil
	}
	err := share.Versions(func(v *ledger.SharedVersion) error {
		if err := context.Cause(ctx); err != nil {
			return err
		}
		w, err := readings.at(v.Started)
		if err == nil {
			err = w.Write(v.Record, v.Number)
		}
		if err != nil {
			return err
		}
		return writeRows(proofs, v.Started, formats.ProofRows(v.Record, v.Number))
	})
	if err == nil {
		err = share.Judgements(func(j *ledger.SharedJudgement) error {
			if err := context.Cause(ctx); err != nil {
				return err
			}
			if err := writeRows(records, j.Started, []formats.RecordRow{recordRow(j)}); err != nil {
				return err
			}
			return writeRows(findings, j.Started, findingRows(j))
		})
	}
	for _, finish := range []func() error{readings.finish, proofs.finish, records.finish, findings.finish} {
		if err == nil {
			err = finish()
		}
	}
	if err == nil {
		err = folder.keep(share.Upto)
	}
	return tables, err
}

// writeRows writes the rows of one record into the file of its month.
func writeRows[T any](m *monthly[*formats.TableWriter[T]], started int64, rows []T) error {
	if len(rows) == 0 {
		return nil
	}
	w, err := m.at(started)
	if err != nil {
		return err
	}
	return w.Write(rows)
}

func recordRow(j *ledger.SharedJudgement) formats.RecordRow {
	return formats.RecordRow{
		Record: j.Record, Version: int32(j.Number), Judgement: j.ID, Judged: j.Judged.UnixMicro(), Cause: string(j.Cause),
		Rules: j.Rules, Status: j.Status, Failed: strings.Join(j.Failed, " "),
		Started: time.Unix(j.Started, 0).UnixMicro(), Ended: time.Unix(j.Ended, 0).UnixMicro(), Readings: int32(j.Readings),
		Site: j.Site, Technician: j.Technician, Upload: int64(j.Upload), Uploaded: j.Uploaded.UnixMicro(),
	}
}

func findingRows(j *ledger.SharedJudgement) []formats.FindingRow {
	rows := make([]formats.FindingRow, len(j.Findings))
	for i, f := range j.Findings {
		rows[i] = formats.FindingRow{
			Record: j.Record, Version: int32(j.Number), Judgement: j.ID, Rule: f.Rule, Severity: f.Severity,
			Indicator: f.Indicator, Pairs: strings.Join(f.Pairs, " "), Points: strings.Join(f.Points, " "),
			Lines: strings.Join(f.Lines, " "), Message: f.Message,
		}
	}
	return rows
}

// printExport says what was written.
func printExport(c *console, dir string, tables []*exportedTable) {
	files := 0
	for _, t := range tables {
		files += t.files
	}
	if files == 0 {
		fmt.Fprintln(c.out, "Nothing is new in the ledger since the last export.")
		return
	}
	fmt.Fprintf(c.out, "%s written into %s:\n\n", plural(files, "file"), c.theme().clean(dir))
	for _, t := range tables {
		if t.rows == 0 {
			continue
		}
		fmt.Fprintf(c.out, "  %-9s %12s, %s, %s, %.1f bytes a row\n", t.name, plural(int(t.rows), "row"), plural(t.files, "file"),
			plural(int(t.bytes), "byte"), float64(t.bytes)/float64(t.rows))
	}
}

func printExportJSON(c *console, tables []*exportedTable) error {
	for _, t := range tables {
		text, err := json.Marshal(struct {
			Table string `json:"table"`
			Files int    `json:"files"`
			Rows  int64  `json:"rows"`
			Bytes int64  `json:"bytes"`
		}{t.name, t.files, t.rows, t.bytes})
		if err != nil {
			return err
		}
		fmt.Fprintf(c.out, "%s\n", text)
	}
	return nil
}

// monthOf returns the month in UTC of a time, as folders are called by it.
func monthOf(started int64) string { return "month=" + time.Unix(started, 0).UTC().Format("2006-01") }
