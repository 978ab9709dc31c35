package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"nilvolt/capture"
	"nilvolt/fixtures/instruments"
)

// demoOptions are the flags of demo.
type demoOptions struct {
	serial   bool
	scenario string
	seed     uint64
	pace     float64
	byHand   bool
}

// listScenarios prints what can happen.
func listScenarios(c *console) error {
	for _, s := range instruments.Scenarios() {
		fmt.Fprintf(c.out, "%-12s %s\n", s.Name, s.About)
	}
	return nil
}

// runDemoSerial shows a capture with simulated instruments.
func runDemoSerial(ctx context.Context, o *demoOptions, dir string, c *console) error {
	scenario, err := instruments.Find(o.scenario)
	if err != nil {
		return hint("nilvolt demo --scenario list tells of each", "%v", err)
	}
	if o.pace <= 0 {
		return hint("1 is as fast as real work", "a pace of %v", o.pace)
	}
	if err := newFolder(dir); err != nil {
		return err
	}
	jobs, register := filepath.Join(dir, "jobs.csv"), filepath.Join(dir, "instruments.csv")
	err = errors.Join(os.WriteFile(jobs, []byte(scenario.Jobs), 0o666), os.WriteFile(register, []byte(instruments.Register), 0o666))
	if err != nil {
		return err
	}
	rig, err := instruments.NewRig()
	if err != nil {
		return hint("nilvolt demo DIR writes files to try verify on", "%v", err)
	}
	defer func() { _ = rig.Close() }() // nothing of it is kept
	co := &captureOptions{
		indicator: rig.Name(instruments.Indicator), source: rig.Name(instruments.Source), record: instruments.Record,
		settings: capture.DefaultSettings(), plain: true, out: filepath.Join(dir, instruments.Record+".csv"), format: "text",
		inputFlags: inputFlags{jobs: []string{jobs}, instruments: register},
	}
	actions := scenario.Actions(o.seed)
	if o.byHand {
		return playByHand(ctx, rig, actions, co, c)
	}
	fmt.Fprintf(c.err, "%s: %s\n", scenario.Name, scenario.About)
	said, technician := io.Pipe()
	inner := *c
	inner.in = said
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	go func() {
		err := instruments.Play(ctx, rig, actions, o.pace, func(text string) { fmt.Fprintln(technician, text) })
		if err == nil {
			fmt.Fprintln(technician, "end")
		}
		technician.CloseWithError(err)
	}()
	err = runCapture(ctx, co, &inner)
	if isVerdict(err) || err == nil {
		fmt.Fprintf(c.err, "to see it again: nilvolt capture --replay %s --jobs %s --instruments %s\n", filepath.Join(dir, instruments.Record+".journal"), jobs, register)
	}
	return err
}

// playByHand offers the ports and makes the instruments send what comes next at every
// Enter.
func playByHand(ctx context.Context, rig instruments.Rig, actions []instruments.Action, co *captureOptions, c *console) error {
	fmt.Fprintf(c.out, "In another terminal:\n\n    nilvolt capture --indicator %s --source %s --record %s --jobs %s --instruments %s --out %s\n\nthen press Enter here, again and again.\n",
		co.indicator, co.source, co.record, co.jobs[0], co.instruments, co.out)
	lines := bufio.NewScanner(c.in)
	for _, a := range actions {
		if err := c.out.Flush(); err != nil {
			return err
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if !lines.Scan() {
			return rig.Leave(ctx)
		}
		if a.Place != instruments.Technician && a.Deed == instruments.Send {
			fmt.Fprintf(c.out, "the %s sends %q", a.Place, a.Text)
		}
		err := instruments.Do(rig, a, func(text string) { fmt.Fprintf(c.out, "you say  %s", text) })
		if err != nil {
			return err
		}
	}
	fmt.Fprintln(c.out, "that was all; you say  end (the ports stay until that session is over)")
	if err := c.out.Flush(); err != nil {
		return err
	}
	return rig.Leave(ctx)
}
