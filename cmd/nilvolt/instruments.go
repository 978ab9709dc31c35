package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"nilvolt/fleet"
	"nilvolt/ledger"
	"nilvolt/record"
)

func newInstruments(c *console) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "instruments",
		Short: "Look at instruments over time: drift, failing proofs, service, records in doubt",
		Long: `The tool store's view of a ledger: which voltage indicator or proving unit drifts, has
jumped or fails its proofs, when each is due for service, and which records rest on
one that has failed.

A proof compares an indicator with a proving unit, so that only differences are seen.
An instrument is blamed only where no other accounts for what is seen; otherwise it is
said which proofs would tell. docs/instruments.md says how, and what cannot be known.`,
	}
	cmd.AddCommand(newInstrumentsList(c), newInstrumentsShow(c), newInstrumentsPlan(c), newInstrumentsLookBack(c))
	return cmd
}

// fleetFlags say what the instruments are judged by.
type fleetFlags struct {
	ledgerFlags
	asOf   string
	review string
}

func (f *fleetFlags) register(flags *pflag.FlagSet, writes bool) {
	f.ledgerFlags.register(flags, writes)
	flags.StringVar(&f.asOf, "as-of", "", "only what was known at the end of this `day`, such as 2026-05-29; the day of the last reading if not given")
	flags.StringVar(&f.review, "review", "register", "how the `interval` between services is set: register, staircase or control-chart")
}

// reviewMethods are the words of --review.
var reviewMethods = map[string]fleet.ReviewMethod{
	"register": fleet.RegisterInterval, "staircase": fleet.StaircaseReview, "control-chart": fleet.ControlChartReview,
}

// An assessed is a ledger open for reading, with its instruments judged.
type assessed struct {
	*fleetRecord
	*fleet.Fleet
	ledger *ledger.Ledger
}

// load opens the ledger and judges its instruments. The caller must close the ledger.
func (f *fleetFlags) load(ctx context.Context, c *console) (*assessed, error) {
	method, known := reviewMethods[f.review]
	if !known {
		return nil, hint("use register, staircase or control-chart", "no review of intervals is called %q", f.review)
	}
	var day record.Date
	if f.asOf != "" {
		var err error
		if day, err = record.ParseDate(f.asOf); err != nil {
			return nil, hint("write the day as in 2026-05-29", "--as-of %q is no day", f.asOf)
		}
	}
	l, err := f.open(ctx, c, false)
	if err != nil {
		return nil, err
	}
	r, err := readFleet(ctx, l, day, c.now())
	if err != nil {
		l.Close()
		return nil, err
	}
	a := &assessed{fleetRecord: r, ledger: l}
	a.Fleet = fleet.Assess(fleet.Evidence{
		Proofs: r.all, Register: r.register, Services: r.services, AsOf: r.asOf,
	}, fleet.Settings{Tolerance: r.policy.Tolerance, Method: method})
	a.warn(c, f.asOf == "")
	return a, nil
}

// warn tells what was left out, and how old the evidence is where nobody named a day.
func (a *assessed) warn(c *console, unnamed bool) {
	if !unnamed {
		return
	}
	if a.later > 0 {
		fmt.Fprintf(c.err, "%s with a date behind %s, ahead of this machine's clock: left out; look at the clocks of these instruments\n", plural(a.later, "record"), a.day)
	}
	const old = 14 // days
	today := record.DateOf(c.now().UTC())
	if days := today.DaysSince(a.day); days > old {
		fmt.Fprintf(c.err, "the last reading is of %s, %s ago: what was due since is not told; --as-of %s tells it\n",
			a.day, plural(days, "day"), today)
	}
}

// find returns an instrument by its id, in any case.
func (a *assessed) find(id string) (*fleet.Assessment, error) {
	for i := range a.Instruments {
		if strings.EqualFold(a.Instruments[i].Instrument, strings.TrimSpace(id)) {
			return &a.Instruments[i], nil
		}
	}
	return nil, hint("nilvolt instruments list shows all", "no instrument %q in the register or the readings of the ledger", id)
}
