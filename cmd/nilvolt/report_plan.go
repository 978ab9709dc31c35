package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"nilvolt/fleet"
	"nilvolt/report"
)

// writePlan writes a service plan into a folder: the sheet for the bench as PDF and HTML,
// and a calendar.
func writePlan(ctx context.Context, c *console, a *assessed, p fleet.ServicePlan, dir string) error {
	if !p.Begin.IsSet() {
		return hint("nilvolt ingest adds readings and a register", "the ledger holds nothing to plan by")
	}
	filings, err := a.ledger.Filings(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = filings.Close() }() // it was only read
	d := report.PlanOf(a.Fleet, p, standOf(filings)).Document()
	pdf, err := d.PDF()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return cannotWrite(err)
	}
	name := filepath.Join(dir, "plan-"+p.Begin.String())
	for _, file := range []struct {
		name string
		data []byte
	}{
		{name + ".html", d.HTML()}, {name + ".pdf", pdf}, {name + ".ics", report.PlanCalendar(a.Fleet, p, a.ledger.Origin()).Bytes()},
	} {
		if err := replaceFile(file.name, file.data); err != nil {
			return err
		}
		fmt.Fprintln(c.out, file.name)
	}
	return nil
}
