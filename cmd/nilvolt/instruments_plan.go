package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"nilvolt/fleet"
	"nilvolt/record"
	"nilvolt/report"
)

// planOptions are the flags of instruments plan.
type planOptions struct {
	fleetFlags
	weeks    int
	capacity int
	reserve  string
	format   string
	out      string
}

func newInstrumentsPlan(c *console) *cobra.Command {
	o := &planOptions{}
	cmd := &cobra.Command{
		Use:   "plan --ledger WHERE",
		Short: "Plan which instrument goes to service in which week",
		Long: `Plan the service of the next weeks, from the first Monday after the day of the
assessment on. An instrument is due at the end of its interval in the register
(--review: or as the interval is reviewed), when it may leave its tolerance, or at once
where it fails its proofs too often. Of all plans that the bench has room for and that
leave the reserve on the shelf, this is the one with the fewest expected days of use
past the due date or out of tolerance, and of these the one that services latest.

--reserve is how many working instruments of each kind stay on the shelf; or say it for
each kind: indicator=3,proving-unit=1. --format ics writes a calendar (RFC 5545). --out writes the
plan into a folder, as a sheet for the bench to tick off (PDF, HTML) and as a calendar.`,
		Example: `  nilvolt instruments plan --ledger site.db --weeks 12 --capacity 4 --reserve 3
  nilvolt instruments plan --ledger site.db --reserve indicator=3,proving-unit=1 --format ics
  nilvolt instruments plan --ledger site.db --out plan`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			shop, err := o.shop()
			if err != nil {
				return err
			}
			a, err := o.load(cmd.Context(), c)
			if err != nil {
				return err
			}
			defer a.ledger.Close()
			if o.out != "" {
				return writePlan(cmd.Context(), c, a, a.Plan(shop), o.out)
			}
			return printPlan(c, a, a.Plan(shop), o.format)
		},
	}
	f := cmd.Flags()
	o.register(f, false)
	f.IntVar(&o.weeks, "weeks", 12, "how many `weeks` to plan")
	f.IntVar(&o.capacity, "capacity", 4, "how many `instruments` the bench takes in a week")
	f.StringVar(&o.reserve, "reserve", "0", "how many working instruments of each kind stay on the shelf: a `number`, or one for each kind")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json, csv or ics")
	f.StringVar(&o.out, "out", "", "`folder` for the plan as a sheet for the bench and as a calendar")
	completeFlags(cmd)
	return cmd
}

// shop reads the flags.
func (o *planOptions) shop() (fleet.Shop, error) {
	const mostWeeks = 104
	shop := fleet.Shop{Weeks: o.weeks, Capacity: o.capacity, Reserve: map[record.InstrumentKind]int{}}
	switch o.format {
	case "text", "json", "csv", "ics":
	default:
		return shop, hint("the formats of a plan are text, json, csv and ics", "no format is called %q", o.format)
	}
	switch {
	case o.weeks < 1 || o.weeks > mostWeeks:
		return shop, hint(fmt.Sprintf("plan from 1 to %d weeks", mostWeeks), "--weeks %d", o.weeks)
	case o.capacity < 0:
		return shop, hint("say how many instruments the bench takes in a week", "--capacity %d", o.capacity)
	}
	bad := hint("write a number, or as in indicator=3,proving-unit=1", "--reserve %q is no reserve", o.reserve)
	for part := range strings.SplitSeq(o.reserve, ",") {
		word, count, each := strings.Cut(part, "=")
		if !each {
			count = word
		}
		n, err := strconv.Atoi(strings.TrimSpace(count))
		kinds := []record.InstrumentKind{record.Indicator, record.ProvingUnit}
		if each {
			kind, kindErr := record.ParseInstrumentKind(word)
			if kindErr != nil || kind == record.InstrumentUnknown {
				return shop, bad
			}
			kinds = []record.InstrumentKind{kind}
		}
		if err != nil || n < 0 {
			return shop, bad
		}
		for _, k := range kinds {
			shop.Reserve[k] = n
		}
	}
	return shop, nil
}

// printPlan prints a plan.
func printPlan(c *console, a *assessed, p fleet.ServicePlan, format string) error {
	switch format {
	case "json":
		return printLines(c, servicesOf(p))
	case "csv":
		out := []byte("instrument,kind,state,week,from,due,reasons,late\r\n")
		for _, s := range servicesOf(p) {
			var reasons []string
			for _, r := range s.Reasons {
				reasons = append(reasons, r.Reason+" "+r.Date)
			}
			out = appendCSVRow(out, []string{s.Instrument, s.Kind, s.State, s.Week, s.From, s.Due, strings.Join(reasons, "; "), strconv.FormatBool(s.Late)})
		}
		c.out.Write(out)
	case "ics":
		c.out.Write(report.PlanCalendar(a.Fleet, p, a.ledger.Origin()).Bytes())
	default:
		printPlanText(c, a, p)
	}
	return nil
}

// A serviceJSON is an instrument of the plan as JSON.
type serviceJSON struct {
	Instrument string       `json:"instrument"`
	Kind       string       `json:"kind"`
	State      string       `json:"state"`
	Week       string       `json:"week"` // as in 2026-W23; blank where no week has room
	From       string       `json:"from"` // its Monday
	Due        string       `json:"due"`
	Reasons    []reasonJSON `json:"reasons"`
	Late       bool         `json:"late"` // due before that week, or no week has room
}

type reasonJSON struct {
	Reason string `json:"reason"`
	Date   string `json:"date"`
}

// servicesOf returns a plan as JSON has it: by week, those without one at the end.
func servicesOf(p fleet.ServicePlan) []serviceJSON {
	var list []serviceJSON
	for _, services := range [][]fleet.Service{p.Services, p.Left} {
		for _, s := range services {
			j := serviceJSON{
				Instrument: s.Instrument, Kind: s.Kind.String(), State: s.State.String(), Week: weekOf(s.From), From: s.From.String(),
				Due: s.Due().Date.String(), Reasons: []reasonJSON{}, Late: s.Late || s.Week < 0,
			}
			for _, d := range s.Reasons {
				j.Reasons = append(j.Reasons, reasonJSON{d.Reason.String(), d.Date.String()})
			}
			list = append(list, j)
		}
	}
	return list
}

// weekOf writes the week of a day as in 2026-W23 (ISO 8601), blank for no day.
func weekOf(d record.Date) string {
	if !d.IsSet() {
		return ""
	}
	year, week := endOf(d).Time().ISOWeek()
	return fmt.Sprintf("%04d-W%02d", year, week)
}

// printPlanText prints a plan for people, a part for each week.
func printPlanText(c *console, a *assessed, p fleet.ServicePlan) {
	t := c.theme()
	end := p.Begin.AddDays(7*p.Shop.Weeks - 1)
	fmt.Fprintln(c.out, t.paint(titleInk, fmt.Sprintf("%s for service from %s to %s, as of %s.", plural(len(p.Services), "instrument"), p.Begin, end, a.day)))
	var b strings.Builder
	week := -1
	for _, s := range p.Services {
		if s.Week != week {
			week = s.Week
			fmt.Fprintf(&b, "\n%s\n", t.paint(titleInk, fmt.Sprintf("%s, from Monday %s", weekOf(s.From), s.From)))
		}
		t.service(&b, &s)
	}
	if len(p.Left) > 0 {
		fmt.Fprintf(&b, "\n%s\n", t.paint(wrongInk, "NO PLACE: due within the plan, and no week has room"))
		for _, s := range p.Left {
			t.service(&b, &s)
		}
	}
	b.WriteString("\n")
	t.hang(&b, "", fmt.Sprintf("%s on the bench in a week, %s. What is left as risk: %.0f expected days of use past the due date or out of tolerance.",
		plural(p.Shop.Capacity, "place"), reserveWords(p.Shop), p.Risk), quietInk)
	c.out.WriteString(b.String())
}

func reserveWords(shop fleet.Shop) string {
	return fmt.Sprintf("%s and %s stay on the shelf", plural(shop.Reserve[record.Indicator], "working indicator"),
		plural(shop.Reserve[record.ProvingUnit], "working unit"))
}

// service writes an instrument of a plan, with why and by when.
func (t theme) service(b *strings.Builder, s *fleet.Service) {
	var reasons []string
	for _, d := range s.Reasons {
		reasons = append(reasons, "by "+d.Date.String()+": "+report.DueWords(d.Reason))
	}
	text := strings.Join(reasons, "; ")
	if text == "" {
		text = "it may be out of tolerance within the plan"
	}
	if s.Late || s.Week < 0 {
		text += "; keep it out of use from that day until it has been serviced"
	}
	lead := "  " + pad(t.clean(s.Instrument), 8) + "  "
	t.hangBehind(b, lead, columnsOf(lead), text)
}
