package main

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"nilvolt/report"
)

// reportOptions are the flags of report.
type reportOptions struct {
	inputFlags
	ledgerFlags
	weeks  weekFlags
	record string
	out    string
	format string
}

func newReport(c *console) *cobra.Command {
	o := &reportOptions{}
	cmd := &cobra.Command{
		Use:   "report (--record ID | --week WEEK) --ledger WHERE",
		Short: "Put on paper what was judged: the sheet of a record, the report of a week",
		Long: `Write a report as PDF and as HTML. Both say the same; the page needs nothing beside
it and prints as the PDF does. The same ledger gives the same bytes.

--record ID writes the sheet of a record, of its newest version or of ID@VERSION: what
was isolated and where, every reading with its indicator and state, what was found and
what to do, the instruments with their service state on that day, the judgement, lines
to be signed, and a code by which nilvolt audit --sheet checks the sheet. A record of
files of readings that no ledger keeps is judged as verify does; its sheet has no code.

--week 2026-W12 writes the weekly report into a folder: PDF, HTML, a CSV file with all
rates and one with the records that it names, and their sheets as HTML. It says what
came in, what did not comply, by rule, site, technician and instrument, with intervals
and against the weeks before, what waits for a decision, what is in doubt, which
instruments are to be watched or due for service, and which compliant records are to be
checked by hand. A live record stands first. 2026-W12..2026-W24 writes the
reports of several weeks. A record counts in the week in which it began; weeks are
those of ISO 8601 in the zone of --zone, the machine's if not given.

--out names a folder, or for a record one file that ends in .pdf or .html.

Exit status: 0 when the report was written, whatever it says of the record; 2 when not.`,
		Example: `  nilvolt report --record R7 --ledger site.db
  nilvolt report --record R7 --ledger site.db --out R7.pdf
  nilvolt report --week 2026-W12 --ledger site.db --out reports
  nilvolt report --record R7 site.csv --jobs jobs.csv --instruments instruments.csv`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runReport(cmd.Context(), o, args, c)
		},
	}
	f := cmd.Flags()
	o.inputFlags.register(f)
	f.Lookup("zone").Usage = "the `zone` of weeks, the machine's if not given; with files of readings that of times without an offset"
	o.ledgerFlags.register(f, false)
	o.weeks.register(f)
	f.StringVar(&o.record, "record", "", "the `record` whose sheet is wanted; its newest version, or RECORD@VERSION")
	f.StringVar(&o.out, "out", ".", "`folder` for the report, or one file that ends in .pdf or .html")
	f.StringVar(&o.format, "format", "both", "`format` of the report in a folder: pdf, html or both")
	_ = cmd.RegisterFlagCompletionFunc("format", cobra.FixedCompletions([]string{"pdf", "html", "both"}, cobra.ShellCompDirectiveNoFileComp))
	return cmd
}

// runReport writes the report that is asked for.
func runReport(ctx context.Context, o *reportOptions, args []string, c *console) error {
	switch o.format {
	case "pdf", "html", "both":
	default:
		return hint("the formats of report are pdf, html and both", "no format is called %q", o.format)
	}
	switch {
	case o.weeks.week != "" && o.record != "":
		return hint("ask for one of them", "--week and --record are two reports")
	case o.weeks.week != "":
		return runReportWeek(ctx, o, args, c)
	case o.record == "":
		return hint("name a record with --record, or a week with --week", "no report is named")
	}
	return runReportRecord(ctx, o, args, c)
}

// writeDocument writes a document where out says, in a folder under a name without
// ending, and prints the names of the files.
func writeDocument(o *reportOptions, name string, d *report.Document, c *console) error {
	files := map[string]string{}
	switch ending := strings.ToLower(filepath.Ext(o.out)); ending {
	case ".pdf", ".html":
		files[ending[1:]] = o.out
	default:
		if err := os.MkdirAll(o.out, 0o777); err != nil {
			return cannotWrite(err)
		}
		for _, format := range []string{"pdf", "html"} {
			if o.format == format || o.format == "both" {
				files[format] = filepath.Join(o.out, name+"."+format)
			}
		}
	}
	for _, format := range []string{"pdf", "html"} {
		path, ok := files[format]
		if !ok {
			continue
		}
		data := d.HTML()
		if format == "pdf" {
			var err error
			if data, err = d.PDF(); err != nil {
				return err
			}
		}
		if err := replaceFile(path, data); err != nil {
			return err
		}
		fmt.Fprintln(c.out, path)
	}
	return nil
}

// replaceFile writes a file whole or not at all, in the place of an older one.
func replaceFile(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".nilvolt-*")
	if err != nil {
		return cannotWrite(err)
	}
	defer os.Remove(f.Name()) // nothing is there any more if all went well
	_, err = f.Write(data)
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	return err
}

// longestSheetName is how many bytes of a sheet's name are kept. Common file systems
// take 255 (POSIX NAME_MAX on Linux), of which the rest is for hash, version and ending.
const longestSheetName = 180

// sheetName is the name of the files of a record's sheet, without ending. What a file
// name cannot hold becomes an underscore, with the character's number behind it, so
// that no two records have one name. Of an id too long for a file name the beginning
// stands, with the first 128 bits of its SHA-256. Some disks take letters for the same
// that differ in case, or in how an accent is written: behind an id of other letters than
// A to Z stand the first 32 bits of it.
func sheetName(record string, version int) string {
	var b strings.Builder
	b.WriteString("record-")
	plain := true
	for _, r := range record {
		plain = plain && (r < unicode.MaxASCII && !unicode.IsLower(r) || !unicode.IsLetter(r))
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-.+", r) {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, "_%x_", r)
		}
	}
	name := b.String()
	switch sum := sha256.Sum256([]byte(record)); {
	case len(name) > longestSheetName:
		name = fmt.Sprintf("%s_%x", strings.ToValidUTF8(name[:longestSheetName], ""), sum[:16])
	case !plain:
		name = fmt.Sprintf("%s_%x", name, sum[:4])
	}
	if version > 1 {
		name += fmt.Sprintf("@%d", version)
	}
	return name
}
