package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"nilvolt/capture"
	"nilvolt/ledger"
	"nilvolt/record"
)

// captureOptions are the flags of capture.
type captureOptions struct {
	inputFlags
	ledgerFlags
	indicator   string
	source      string
	record      string
	indicatorID string
	columns     string
	settings    capture.Settings
	scpi        bool
	anyTime     bool
	plain       bool
	list        bool
	replay      string
	out         string
	by          string
	format      string
}

func newCapture(c *console) *cobra.Command {
	o := &captureOptions{settings: capture.DefaultSettings()}
	cmd := &cobra.Command{
		Use:   "capture --indicator PORT --record ID",
		Short: "Take readings from the instruments themselves",
		Long: `Take the readings of one record from serial ports while the work is done: from the
voltage indicator and, with --source, from the proving unit. Every line is in the
journal, on the disk, before it is shown; after a crash the same command goes on
where it was. The record is judged on every line, by the rules of nilvolt verify.

Steps are typed, a line each: inspect, identify, permission, shed-load, isolate,
lock, label, begin, restore. Where the instrument does not tell what a reading is
of, say it before: prove PU-1 250, or test L-N, or test E L (probe first on E). What
was shown is acknowledged by seen; note keeps a text; end ends the session.

Then the readings are written to --out as canonical CSV, with the journal beside
them, and judged, or with --ledger judged and kept as nilvolt ingest does.

Exit status: 0 when the record complies, 1 when not, 2 when the session did not
end, or anything could not be read or written.`,
		Example: `  nilvolt capture --list
  nilvolt capture --indicator /dev/ttyUSB0 --source /dev/ttyUSB1 --record R7 --jobs jobs.csv
  nilvolt capture --indicator COM3 --baud 19200 --map indicator.yaml --record R7 --jobs jobs.csv --ledger site.db
  nilvolt capture --indicator /dev/ttyUSB0 --scpi --record R7 --jobs jobs.csv
  nilvolt capture --replay R7.journal --jobs jobs.csv`,
		Args: func(_ *cobra.Command, args []string) error { return o.check(args) },
		RunE: func(cmd *cobra.Command, _ []string) error {
			switch {
			case o.list:
				return runListPorts(o, c)
			case o.replay != "":
				return runReplay(cmd.Context(), o, c)
			}
			return runCapture(cmd.Context(), o, c)
		},
	}
	o.register(cmd)
	completeFlags(cmd)
	return cmd
}

// register adds the flags of capture.
func (o *captureOptions) register(cmd *cobra.Command) {
	f := cmd.Flags()
	o.inputFlags.register(f)
	o.ledgerFlags.register(f, true)
	f.StringVar(&o.indicator, "indicator", "", "`port` of the voltage indicator")
	f.StringVar(&o.source, "source", "", "`port` of the proving unit")
	f.StringVar(&o.record, "record", "", "`id` of the record")
	f.StringVar(&o.indicatorID, "indicator-id", "", "`id` of the indicator, where its lines do not tell it")
	f.StringVar(&o.columns, "columns", "", "canonical `header` of lines that come without one")
	f.IntVar(&o.settings.Baud, "baud", o.settings.Baud, "`speed` of both ports")
	f.IntVar(&o.settings.Bits, "bits", o.settings.Bits, "data bits, 5 to 8")
	f.StringVar(&o.settings.Parity, "parity", o.settings.Parity, "`parity`: none, odd, even, mark or space")
	f.StringVar(&o.settings.Stop, "stop", o.settings.Stop, "stop `bits`: 1, 1.5 or 2")
	f.BoolVar(&o.scpi, "scpi", false, "ask the indicator, by SCPI, when a reading is wanted")
	f.BoolVar(&o.anyTime, "any-time", false, "do not look at the times that the lines tell, for an instrument whose clock is wrong")
	f.BoolVar(&o.plain, "plain", false, "print lines, also on a terminal")
	f.BoolVar(&o.list, "list", false, "list the serial ports, and stop")
	f.StringVar(&o.replay, "replay", "", "show what a `journal` holds, instead of ports")
	f.StringVar(&o.out, "out", "", "`file` for the readings; default is the record's id with .csv, the journal beside it")
	f.StringVar(&o.by, "by", "", "with --ledger, the `name` of who hands the readings in")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json or csv")
}

// check refuses flags that do not go together.
func (o *captureOptions) check(args []string) error {
	modes := 0
	for _, set := range []bool{o.list, o.replay != "", o.indicator != ""} {
		if set {
			modes++
		}
	}
	switch {
	case len(args) > 0:
		return hint("the ports are named with --indicator and --source", "capture takes no %q", args[0])
	case modes > 1:
		return hint("give one of them", "--list, --replay and --indicator do not go together")
	case o.list:
	case o.replay != "":
		if o.source != "" || o.scpi || o.record != "" {
			return hint("the journal tells what was captured", "--replay takes no --source, --record or --scpi")
		}
	case o.indicator == "":
		return hint("name it with --indicator; nilvolt capture --list lists the ports", "no port is named")
	case o.record == "":
		return hint("name it with --record, as the job sheet does", "no record is named")
	case o.scpi && o.readingsMap != "":
		return hint("leave out the map: an answer is a number in volts", "--scpi takes no --map for the lines")
	case o.columns != "" && o.readingsMap != "":
		return hint("a map says itself which column is which", "--columns and --map do not go together")
	}
	return checkFormat(o.format)
}

// capturePaths returns where the readings and the journal go.
func (o *captureOptions) capturePaths() (out, journal string) {
	out = o.out
	if out == "" {
		out = fileName(o.record) + ".csv"
	}
	return out, strings.TrimSuffix(out, ".csv") + ".journal"
}

// fileName makes a name for a file of an id, which may hold anything.
func fileName(id string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`/\:*?"<>|`, r) {
			return '_'
		}
		return r
	}, id)
}

// runCapture captures a record, writes its readings, and judges them.
func runCapture(ctx context.Context, o *captureOptions, c *console) error {
	in, err := o.load()
	if err != nil {
		return err
	}
	out, journal := o.capturePaths()
	if _, err := os.Stat(out); err == nil {
		return hint("name another file with --out, or move it away", "%s: the file is there already", out)
	}
	cfg, err := o.config(in, journal)
	if err != nil {
		return err
	}
	s, err := o.session(ctx, in, cfg, c)
	switch {
	case s == nil:
		return captureError(err, out, journal)
	case err != nil:
		unfinished := hint("the same command goes on with it", "the session did not end; what was captured is in %s", journal)
		if errors.Is(err, context.Canceled) { // it was broken off
			return unfinished
		}
		return errors.Join(captureError(err, out, journal), unfinished)
	}
	return o.deliver(ctx, in, s.State(), out, c)
}

// session runs the session, on a screen or line by line. It returns nil when the
// session could not begin, and an error when it did not end.
func (o *captureOptions) session(ctx context.Context, in *inputs, cfg capture.Config, c *console) (*capture.Session, error) {
	if c.screen != nil && !o.plain && o.format == "text" {
		begin := func(s *capture.Session, p *plainCapture) { p.begin(s, o, in, cfg.Journal) }
		return newCaptureScreen(o, in, c).run(ctx, cfg, begin, c)
	}
	p := newPlainCapture(c, o, in)
	cfg.Show = p.show
	s, err := capture.Start(cfg)
	if err != nil {
		return nil, err
	}
	p.begin(s, o, in, cfg.Journal)
	go readInputs(c, s, p)
	return s, s.Run(ctx)
}

// config returns what the flags say of the session.
func (o *captureOptions) config(in *inputs, journal string) (capture.Config, error) {
	cfg := capture.Config{
		Journal: journal, Policy: in.policy, Register: in.register, Jobs: in.jobs,
		Header: capture.Header{
			Record: o.record, Indicator: o.indicatorID, Columns: o.columns, Zone: o.zone, Polled: o.scpi, AnyTime: o.anyTime,
		},
		Ports: []capture.PortConfig{{Role: capture.Indicator, Name: o.indicator, Settings: o.settings}},
	}
	if o.source != "" {
		cfg.Ports = append(cfg.Ports, capture.PortConfig{Role: capture.Source, Name: o.source, Settings: o.settings})
	}
	if o.readingsMap != "" {
		i := fileOf(in, ledger.Map)
		if i == nil {
			return cfg, hint("check the name", "%s: the map was not read", o.readingsMap)
		}
		cfg.Header.Map, cfg.Header.MapName = string(i.data), filepath.Base(i.name)
	}
	if o.scpi {
		cfg.Waveform = record.AC
		for _, job := range in.jobs {
			if job.Record == o.record && job.Supply.IsDC() {
				cfg.Waveform = record.DirectVoltage
			}
		}
	}
	return cfg, nil
}

// fileOf returns the input file that plays a part, nil if there is none.
func fileOf(in *inputs, role ledger.Role) *inputFile {
	for i := range in.files {
		if in.files[i].role == role {
			return &in.files[i]
		}
	}
	return nil
}

// deliver writes the readings to a file and judges it, or keeps it in the ledger.
func (o *captureOptions) deliver(ctx context.Context, in *inputs, st *capture.State, out string, c *console) error {
	if err := writeEvents(out, st); err != nil {
		return err
	}
	fmt.Fprintf(c.err, "the readings are in %s\n", out)
	if o.where != "" {
		files := o.inputFlags
		if len(files.jobs) > 0 && files.jobsMap == "" {
			files.jobsMap = files.readingsMap
		}
		files.readingsMap = "" // what was captured is canonical now
		return runIngest(ctx, &ingestOptions{inputFlags: files, ledgerFlags: o.ledgerFlags, by: o.by, format: o.format}, []string{out}, c)
	}
	of := *in
	of.readingsMap = nil
	of.jobs = capture.WithJobs(&record.Record{ID: st.Header().Record}, in.jobs).Jobs
	return verifyFiles(ctx, &verifyOptions{format: o.format}, &of, []string{out}, c)
}

// captureError tells what to do about errors of a session.
func captureError(err error, out, journal string) error {
	var damage *capture.DamageError
	var ended *capture.EndedError
	switch {
	case errors.As(err, &ended):
		return hint(fmt.Sprintf("nilvolt capture --replay %s --out %s writes its readings; for another session name another --out", journal, out), "%v", err)
	case errors.As(err, &damage):
		return hint("keep it as it is, for whoever looks into it, and begin anew with another --out", "%v", err)
	case errors.Is(err, capture.ErrInUse):
		return hint("end the other session, or name another port or --out", "%v", err)
	case errors.Is(err, os.ErrNotExist), errors.Is(err, capture.ErrNoPort):
		return hint("nilvolt capture --list lists the ports", "%v", err)
	case errors.Is(err, os.ErrPermission):
		return hint("on Linux the group dialout may use serial ports: ask for it", "%v", err)
	}
	return err
}

// runListPorts prints the serial ports.
func runListPorts(o *captureOptions, c *console) error {
	ports, err := capture.SerialPorts().List()
	if err != nil {
		return err
	}
	return printPorts(o.format, ports, c)
}
