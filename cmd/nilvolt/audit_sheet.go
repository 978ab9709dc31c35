package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"nilvolt/ledger"
)

// A sheetCheck is what a check of a printed sheet found.
type sheetCheck struct {
	Holds     bool   `json:"holds"`   // the sheet is as the log has it
	Current   bool   `json:"current"` // and nothing newer is known of the record
	Record    string `json:"record"`
	Version   int    `json:"version"`
	Status    string `json:"status"` // as the log has it for the judgement of the sheet
	Complaint string `json:"complaint"`
	// Doubts are what looks back at instruments say of the record. The code cannot tell
	// whether the sheet was printed before them.
	Doubts []string `json:"doubts"`
	// Worse says which version is what, where a worse one waits for a decision; else blank.
	Worse string `json:"worse"`
}

// runCheckSheet checks the code of a printed sheet against the ledger, or against a
// proof that was kept.
func runCheckSheet(ctx context.Context, o *auditOptions, c *console) error {
	seal, err := ledger.ParseSeal(o.sheet)
	if err != nil {
		return hint("give the text as the code holds it; it also stands below the code", "--sheet: %v", err)
	}
	var r *sheetCheck
	if o.check != "" {
		r, err = sheetInProof(o, seal)
	} else {
		r, err = sheetInLedger(ctx, o, seal, c)
	}
	if err != nil {
		return err
	}
	if err := printSheetCheck(o, r, c); err != nil {
		return err
	}
	if !r.Holds || !r.Current || r.Worse != "" || len(r.Doubts) > 0 {
		return errAltered
	}
	return nil
}

// sheetInProof checks a seal against a proof, with the public key alone.
func sheetInProof(o *auditOptions, seal ledger.Seal) (*sheetCheck, error) {
	proof, err := readProof(o)
	if err != nil {
		return nil, err
	}
	r := &sheetCheck{Record: seal.Record, Version: seal.Number, Doubts: []string{}}
	if _, err := proof.Check(o.verifier); err != nil {
		r.Complaint = fmt.Sprintf("the proof does not hold: %v", err)
		return r, nil
	}
	head, err := ledger.OpenCheckpoint(proof.Checkpoint, o.verifier)
	if err != nil {
		return nil, err
	}
	r.settle(seal, proof, head.Origin)
	r.Current = r.Holds
	return r, nil
}

// settle compares the seal with what a proof that holds proves.
func (r *sheetCheck) settle(seal ledger.Seal, proof *ledger.Inclusion, origin string) {
	if err := seal.Matches(proof.Seal(origin)); err != nil {
		r.Complaint = err.Error()
		return
	}
	r.Holds, r.Status = true, proof.Status
}

// sheetInLedger checks a seal against the ledger: the version and the judgement that it
// names are proved to stand in the log under its newest checkpoint.
func sheetInLedger(ctx context.Context, o *auditOptions, seal ledger.Seal, c *console) (*sheetCheck, error) {
	l, err := o.open(ctx, c, false)
	if err != nil {
		return nil, err
	}
	defer l.Close()
	r := &sheetCheck{Record: seal.Record, Version: seal.Number, Doubts: []string{}}
	if seal.Origin != l.Origin() {
		r.Complaint = seal.Matches(ledger.Seal{Origin: l.Origin()}).Error()
		return r, nil
	}
	versions, err := l.Record(ctx, seal.Record)
	if err != nil {
		return nil, err
	}
	if seal.Number > len(versions) {
		r.Complaint = "the ledger has no such version of that record"
		return r, nil
	}
	item := versions[seal.Number-1]
	proof, err := l.ProveJudgement(ctx, item.Version, seal.Judgement)
	if errors.Is(err, ledger.ErrNoSuchVersion) {
		r.Complaint = "the ledger has no such judgement of that record"
		return r, nil
	}
	if err != nil {
		return nil, err
	}
	key := o.verifier
	if key == "" {
		key = l.VerifierKey()
	}
	if _, err := proof.Check(key); err != nil {
		r.Complaint = fmt.Sprintf("the ledger is not as it was written: %v; run nilvolt audit on all of it", err)
		return r, nil
	}
	r.settle(seal, proof, l.Origin())
	r.Current = r.Holds
	for _, m := range item.Marks {
		r.Doubts = append(r.Doubts, markText(m))
	}
	newest := versions[len(versions)-1]
	if worse := newest.Worse(versions); worse != nil {
		r.Worse = worseText(newest, worse)
	}
	switch {
	case !r.Holds:
	case item.Judgement.ID != seal.Judgement:
		r.Current = false
		r.Complaint = "the record has been judged again since: " + item.Judgement.Status + "; print its sheet anew"
	case newest.Number != seal.Number:
		r.Current = false
		r.Complaint = fmt.Sprintf("version %d of the record was handed in since: %s; print its sheet", newest.Number, newest.Judgement.Status)
	}
	return r, nil
}

// printSheetCheck prints what the check found.
func printSheetCheck(o *auditOptions, r *sheetCheck, c *console) error {
	if o.format == "json" {
		text, err := json.Marshal(r)
		if err == nil {
			_, err = fmt.Fprintf(c.out, "%s\n", text)
		}
		return err
	}
	t := c.theme()
	name := t.clean(fmt.Sprintf("%s, version %d", r.Record, r.Version))
	var err error
	switch {
	case !r.Holds:
		_, err = fmt.Fprintf(c.out, "The sheet does not hold: %s: %s.\n", name, t.clean(r.Complaint))
	case !r.Current:
		_, err = fmt.Fprintf(c.out, "The sheet is out of date: %s, judged %s then; %s.\n", name, r.Status, t.clean(r.Complaint))
		if r.Worse != "" && err == nil {
			_, err = fmt.Fprintf(c.out, "Do not rely on the newest version alone: %s.\n", r.Worse)
		}
	case r.Worse != "":
		_, err = fmt.Fprintf(c.out, "The sheet is as the ledger has it, but do not rely on it: of %s %s. A sheet that does not say so is older; print it anew.\n",
			t.clean(r.Record), r.Worse)
	default:
		_, err = fmt.Fprintf(c.out, "The sheet holds: %s, judged %s. Compare with it what is printed; the code binds the evidence and the judgement in the ledger, not the ink.\n", name, r.Status)
	}
	for _, doubt := range r.Doubts {
		if err == nil && r.Holds {
			_, err = fmt.Fprintf(c.out, "A look back marks the record: %s. A sheet that does not say so is older; print it anew.\n", t.clean(doubt))
		}
	}
	return err
}
