package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"nilvolt/ledger"
)

// auditOptions are the flags of audit.
type auditOptions struct {
	ledgerFlags
	format      string
	verifier    string
	checkpoints []string
	save        string
	prove       string
	check       string
	sheet       string
}

func newAudit(c *console) *cobra.Command {
	o := &auditOptions{}
	cmd := &cobra.Command{
		Use:   "audit --ledger WHERE",
		Short: "Prove that nothing kept was altered or lost",
		Long: `Check every kept byte of a ledger against its log, and the log against its signed
checkpoints, and name what was changed, removed or inserted.

Who has both the ledger and its private key can write another history and sign it.
To be safe from that, keep the public key and a checkpoint from time to time where
that person cannot get at them (--save), and hand them in with --verifier and
--checkpoint: the ledger must have that key and extend those checkpoints.

--prove RECORD prints the proof that a record stands in the log; --check PROOF
verifies such a proof with the public key alone, without the ledger. --sheet TEXT checks
the code of a printed sheet, against the ledger or against such a proof.

Exit status: 0 when nothing is wrong, 1 when something is, 2 when the ledger or a
file could not be read.`,
		Example: `  nilvolt audit --ledger site.db --save checkpoint-2026-03.txt
  nilvolt audit --ledger site.db --checkpoint checkpoint-2026-03.txt
  nilvolt audit --ledger site.db --prove R7
  nilvolt audit --check R7.proof --verifier nilvolt-1f0c+6d2a+AQz
  nilvolt audit --ledger site.db --sheet nilvolt-sheet-1/nilvolt-1f0c/R7/1/42/Xbq`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.format != "text" && o.format != "json" {
				return hint("the formats of audit are text and json", "no format is called %q", o.format)
			}
			// A slip of the pen on the command line is no fault of the ledger.
			if o.verifier != "" && ledger.CheckVerifierKey(o.verifier) != nil {
				return hint("give the whole line as nilvolt audit prints it behind public key, such as nilvolt-1f0c+6d2a+AQz...",
					"--verifier %q is no public key", o.verifier)
			}
			if o.sheet != "" {
				return runCheckSheet(cmd.Context(), o, c)
			}
			if o.check != "" {
				return runCheckProof(o, c)
			}
			l, err := o.open(cmd.Context(), c, false)
			if err != nil {
				return err
			}
			defer l.Close()
			if o.prove != "" {
				return runProve(cmd.Context(), l, o.prove, c)
			}
			return runAudit(cmd.Context(), l, o, c)
		},
	}
	f := cmd.Flags()
	o.register(f, false)
	f.StringVar(&o.verifier, "verifier", "", "the public `key` of the ledger, as it was noted elsewhere")
	f.StringArrayVar(&o.checkpoints, "checkpoint", nil, "`file` with a checkpoint that was kept elsewhere; may be given several times")
	f.StringVar(&o.save, "save", "", "new `file` for the newest checkpoint, to be kept elsewhere")
	f.StringVar(&o.prove, "prove", "", "print the proof that a `record` stands in the log; its newest version, or RECORD@VERSION")
	f.StringVar(&o.check, "check", "", "verify the proof in a `file`, without the ledger; needs --verifier")
	f.StringVar(&o.sheet, "sheet", "", "check a printed sheet by the `text` of its code; with --check and --verifier without the ledger")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text or json")
	_ = cmd.RegisterFlagCompletionFunc("format", cobra.FixedCompletions([]string{"text", "json"}, cobra.ShellCompDirectiveNoFileComp))
	return cmd
}

// runAudit audits the ledger and prints what it found.
func runAudit(ctx context.Context, l *ledger.Ledger, o *auditOptions, c *console) error {
	a := ledger.AuditOptions{VerifierKey: o.verifier}
	for _, name := range o.checkpoints {
		text, err := readFile(name)
		if err != nil {
			return err
		}
		if err := ledger.CheckCheckpointForm(string(text)); err != nil {
			return hint("name a file that nilvolt audit --save wrote", "%s: %v", name, err)
		}
		a.Earlier = append(a.Earlier, string(text))
	}
	bar := newProgress(c, 1)
	defer bar.stop()
	a.Progress = bar.update
	r, err := l.Audit(ctx, a)
	bar.stop()
	if err != nil {
		return ledgerError(err)
	}
	if o.format == "json" {
		err = printAuditJSON(c, l, r)
	} else {
		printAudit(c, l, o, r)
	}
	switch {
	case err != nil:
		return err
	case !r.Clean():
		return errAltered
	case o.save != "":
		f, err := createBuffered(o.save)
		if err != nil {
			return err
		}
		_, err = f.WriteString(r.Checkpoint)
		return errors.Join(err, f.Close())
	}
	return nil
}

func printAudit(c *console, l *ledger.Ledger, o *auditOptions, r *ledger.Report) {
	t := c.theme()
	if r.Clean() {
		fmt.Fprintln(c.out, t.paint(titleInk, "Nothing was altered or lost."))
	} else {
		fmt.Fprintln(c.out, t.paint(dangerInk, "NOT AS IT WAS WRITTEN: "+plural(r.Total, "finding")+"."))
	}
	fmt.Fprintln(c.out)
	for _, text := range r.Complaints {
		fmt.Fprintln(c.out, "  "+t.clean(text))
	}
	if more := r.Total - len(r.Complaints); more > 0 {
		fmt.Fprintln(c.out, "  and "+number(more)+" more")
	}
	if len(r.Complaints) > 0 {
		fmt.Fprintln(c.out)
	}
	var b strings.Builder
	t.hang(&b, "checked     ", checkedText(r), plainInk)
	b.WriteString("public key  " + l.VerifierKey() + "\n")
	if len(o.checkpoints) == 0 {
		t.hang(&b, "", "No checkpoint that was kept elsewhere was given (--checkpoint): whoever holds the ledger's private key could still have written it anew.", quietInk)
	}
	for _, back := range r.ClockedBack {
		t.hang(&b, "note        ", "the clock of the machine was set back: "+back, plainInk)
	}
	b.WriteString("\n" + r.Checkpoint)
	c.out.WriteString(b.String())
}

// checkedText says what was gone over.
func checkedText(r *ledger.Report) string {
	count := func(table, one string) string { return plural(int(r.Rows[table]), one) }
	return strings.Join([]string{
		count("upload", "upload"), count("content", "file") + " of " + plural(int(r.Bytes), "byte"),
		count("version", "version") + " of records", count("proof", "proof"), count("judgement", "judgement"),
		count("decision", "decision"), count("lookback", "look back") + " with " + count("mark", "mark"), count("event", "event") + " of instruments",
		number(int(r.Leaves)) + " leaves of the log under " + count("checkpoint", "signed checkpoint"),
	}, ", ")
}

func printAuditJSON(c *console, l *ledger.Ledger, r *ledger.Report) error {
	complaints := r.Complaints
	if complaints == nil {
		complaints = []string{}
	}
	text, err := json.Marshal(struct {
		Clean      bool             `json:"clean"`
		Leaves     int64            `json:"leaves"`
		Bytes      int64            `json:"bytes"`
		Rows       map[string]int64 `json:"rows"`
		Findings   int              `json:"findings"`
		Complaints []string         `json:"complaints"`
		Verifier   string           `json:"verifier"`
		Checkpoint string           `json:"checkpoint"`
	}{r.Clean(), r.Leaves, r.Bytes, r.Rows, r.Total, complaints, l.VerifierKey(), r.Checkpoint})
	if err == nil {
		_, err = fmt.Fprintf(c.out, "%s\n", text)
	}
	return err
}

// findVersion returns the version that is meant by RECORD or RECORD@VERSION.
func findVersion(ctx context.Context, l *ledger.Ledger, name string) (*ledger.Item, error) {
	list, err := l.Record(ctx, name)
	if err != nil {
		return nil, err
	}
	if len(list) > 0 {
		return list[len(list)-1], nil
	}
	if i := strings.LastIndexByte(name, '@'); i > 0 {
		n, err := strconv.Atoi(name[i+1:])
		if list, listErr := l.Record(ctx, name[:i]); listErr == nil && err == nil && n > 0 && n <= len(list) {
			return list[n-1], nil
		}
	}
	return nil, hint("nilvolt review list shows what waits for a decision; ids are written as in the readings", "no record %q in the ledger", name)
}

// runProve prints the proof of a record.
func runProve(ctx context.Context, l *ledger.Ledger, name string, c *console) error {
	item, err := findVersion(ctx, l, name)
	if err != nil {
		return err
	}
	proof, err := l.Prove(ctx, item.Version)
	if err != nil {
		return err
	}
	text, err := json.Marshal(proof)
	if err == nil {
		_, err = fmt.Fprintf(c.out, "%s\n", text)
	}
	return err
}

// readProof reads the proof that --check names, which wants the key too.
func readProof(o *auditOptions) (*ledger.Inclusion, error) {
	if o.verifier == "" {
		return nil, hint("name the ledger's public key with --verifier, as it was noted when the ledger was made", "a proof is checked with a key")
	}
	data, err := readFile(o.check)
	if err != nil {
		return nil, err
	}
	proof := new(ledger.Inclusion)
	if err := json.Unmarshal(data, proof); err != nil {
		return nil, hint("it must be what nilvolt audit --prove printed", "%s: not a proof: %v", o.check, err)
	}
	return proof, nil
}

// runCheckProof verifies a proof without the ledger.
func runCheckProof(o *auditOptions, c *console) error {
	proof, err := readProof(o)
	if err != nil {
		return err
	}
	rec, err := proof.Check(o.verifier)
	if err != nil {
		fmt.Fprintf(c.out, "The proof does not hold: %v.\n", err)
		return errAltered
	}
	_, err = fmt.Fprintf(c.out, "The proof holds: %s, version %d, %s, judged %s, stands in the log under this checkpoint:\n\n%s",
		c.theme().clean(rec.ID), proof.Number, plural(len(rec.Events), "row"), proof.Status, proof.Checkpoint)
	return err
}
