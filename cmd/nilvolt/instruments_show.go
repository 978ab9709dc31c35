package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"nilvolt/fleet"
	"nilvolt/ledger"
	"nilvolt/report"
)

// showOptions are the flags of instruments show.
type showOptions struct {
	fleetFlags
	plot   string
	format string
}

func newInstrumentsShow(c *console) *cobra.Command {
	o := &showOptions{}
	cmd := &cobra.Command{
		Use:   "show [ID] --ledger WHERE",
		Short: "Show all that is known of an instrument, or who was proved on whom",
		Long: `Show all that the proofs tell of one instrument: its error with each partner, faults
and whose they are, how often it fails, when it may leave its tolerance, its services,
what cannot be known, and what to do. Without an id, show who was proved on whom.

--plot draws it: the error over time with level, limits, faults, forecast, tolerance and
services; or the fleet, a disc for each pair. --format csv gives the readings, or the
pairs, a line each.`,
		Example: `  nilvolt instruments show VI-03 --ledger site.db
  nilvolt instruments show VI-03 --ledger site.db --plot VI-03.svg
  nilvolt instruments show --ledger site.db --plot fleet.png`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return hint("name one, or none to see the fleet", "%d instruments are named", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(o.format); err != nil {
				return err
			}
			if err := checkPlot(o.plot); err != nil {
				return err
			}
			a, err := o.load(cmd.Context(), c)
			if err != nil {
				return err
			}
			defer a.ledger.Close()
			if len(args) == 0 {
				return o.showFleet(c, a)
			}
			return o.showInstrument(cmd.Context(), c, a, args[0])
		},
	}
	f := cmd.Flags()
	o.register(f, false)
	f.StringVar(&o.plot, "plot", "", "draw it into this `file`, .svg or .png")
	f.StringVar(&o.format, "format", "text", "`format` of the result: text, json or csv")
	completeFlags(cmd)
	return cmd
}

// checkPlot refuses files of other kinds than can be drawn.
func checkPlot(path string) error {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".svg", ".png":
		return nil
	}
	if path == "" {
		return nil
	}
	return hint("give the file a name that ends in .svg or .png", "%s: no picture of that kind can be drawn", path)
}

// draw writes a picture into the file of --plot, if there is one.
func (o *showOptions) draw(c *console, p report.Picture) error {
	if o.plot == "" {
		return nil
	}
	data := p.SVG()
	if strings.EqualFold(filepath.Ext(o.plot), ".png") {
		var err error
		if data, err = p.PNG(); err != nil {
			return err
		}
	}
	if err := os.WriteFile(o.plot, data, 0o666); err != nil { //nolint:gosec // a picture for whoever may read the folder
		if errors.Is(err, fs.ErrNotExist) {
			return hint("make the folder first", "%v", err)
		}
		return cannotWrite(err)
	}
	fmt.Fprintf(c.err, "%s written\n", o.plot)
	return nil
}

// showInstrument shows one instrument.
func (o *showOptions) showInstrument(ctx context.Context, c *console, a *assessed, id string) error {
	one, err := a.find(id)
	if err != nil {
		return err
	}
	chart := report.ChartOf(a.Fleet, one, a.services[one.Instrument])
	if err := o.draw(c, chart.Picture()); err != nil {
		return err
	}
	switch o.format {
	case "json":
		return printLines(c, []showJSON{showOf(a, one)})
	case "csv":
		printReadingsCSV(c, a, one)
		return nil
	}
	events, err := a.ledger.Events(ctx, one.Instrument)
	if err != nil {
		return err
	}
	c.out.WriteString(c.theme().instrument(a, one, events))
	return nil
}

// showFleet shows who was proved on whom.
func (o *showOptions) showFleet(c *console, a *assessed) error {
	if err := o.draw(c, report.FleetPictureOf(a.Fleet).Picture()); err != nil {
		return err
	}
	switch o.format {
	case "json":
		var list []pairJSON
		for _, p := range a.Pairs() {
			list = append(list, pairJSON(p))
		}
		return printLines(c, list)
	case "csv":
		out := []byte("indicator,unit,proofs\r\n")
		for _, p := range a.Pairs() {
			out = appendCSVRow(out, []string{p.Indicator, p.Unit, strconv.Itoa(p.Proofs)})
		}
		c.out.Write(out)
	default:
		c.out.WriteString(c.theme().pairs(a))
	}
	return nil
}

// A pairJSON is two instruments that were proved on each other.
type pairJSON struct {
	Indicator string `json:"indicator"`
	Unit      string `json:"unit"`
	Proofs    int    `json:"proofs"`
}

// pairs writes who was proved on whom, a part of the fleet after the other.
func (t theme) pairs(a *assessed) string {
	var b strings.Builder
	units := map[string][]string{}
	for _, p := range a.Pairs() {
		units[p.Indicator] = append(units[p.Indicator], fmt.Sprintf("%s %d", p.Unit, p.Proofs))
	}
	t.hang(&b, "", report.FleetPictureOf(a.Fleet).Title+".", titleInk)
	for n, part := range a.Parts {
		b.WriteString("\n")
		switch {
		case len(a.Parts) > 1:
			t.hang(&b, "", fmt.Sprintf("Part %d of %d, which cannot be compared with the others: %s", n+1, len(a.Parts), plural(part.Proofs, "proof")), titleInk)
		case part.Anchored:
			t.hang(&b, "", "A verified reference unit is among them: errors are told against it.", quietInk)
		default:
			t.hang(&b, "", "No verified reference unit is among them: errors are told against the middle of the fleet.", quietInk)
		}
		width := 0
		for _, id := range part.Indicators {
			width = max(width, columnsOf(t.clean(id)))
		}
		for _, id := range part.Indicators {
			t.hangBehind(&b, pad(t.clean(id), width)+"  on ", width+5, t.clean(strings.Join(units[id], ", ")))
		}
	}
	return b.String()
}

// instrument writes all that is known of an instrument.
func (t theme) instrument(a *assessed, one *fleet.Assessment, events []ledger.Event) string {
	var b strings.Builder
	word, ink := stateInk(one.State)
	fmt.Fprintf(&b, "%s\n%s  %s  %s, as of %s\n", t.paint(quietInk, t.rule(t.width)), t.paint(titleInk, t.clean(one.Instrument)),
		t.paint(ink, word), report.InstrumentKind(one.Kind), a.day)
	t.hang(&b, "", t.clean(report.InstrumentSummary(a.Fleet, one)), plainInk)
	b.WriteString("\n")
	list := func(lead string, texts ...string) {
		for _, text := range texts {
			t.hang(&b, pad(lead, 12), t.clean(text), plainInk)
			lead = ""
		}
	}
	list("to do", report.InstrumentAdvice(one)...)
	list("proofs", proofsText(one))
	list("failing", failingTexts(a, one)...)
	list("error", errorText(a, one))
	list("faults", faultTexts(a, one)...)
	list("forecast", forecastText(one))
	list("charts", chartTexts(a, one)...)
	list("service", serviceTexts(a, one, events)...)
	list("proved with", partnerTexts(a, one)...)
	list("not known", report.UnknownWords(one)...)
	return b.String()
}

func proofsText(one *fleet.Assessment) string {
	n := &one.Count
	if n.Proofs == 0 {
		return "none"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s from %s to %s; %d failed", number(n.Proofs), dayOf(one.First), dayOf(one.Last), n.Failed)
	for _, part := range []struct {
		count int
		what  string
	}{
		{n.Retried, "of these tried again and passed"},
		{n.Unreadable, "without a value"},
		{n.OnLive, "on a known live source"},
		{n.Unknown, "without a source or an expected voltage"},
		{one.Steps, "of the last half year with steps"},
	} {
		if part.count > 0 {
			fmt.Fprintf(&b, ", %d %s", part.count, part.what)
		}
	}
	return b.String()
}

func failingTexts(a *assessed, one *fleet.Assessment) []string {
	r := &one.Rate
	if r.Tried == 0 {
		return []string{"no occasion since its last service"}
	}
	texts := []string{
		fmt.Sprintf("%d of %d occasions, %.2g %%; 95 %% limits %.2g to %.2g %% (Wilson), %.2g to %.2g %% (exact)", r.Failed, r.Tried,
			100*r.Rate, 100*r.Low, 100*r.High, 100*r.ExactLow, 100*r.ExactHigh),
	}
	if r.Shrunk > 0 {
		texts = append(texts, fmt.Sprintf("drawn towards the fleet %.2g %%, %.2g to %.2g %%; usual is %.2g %%", 100*r.Shrunk, 100*r.ShrunkLow, 100*r.ShrunkHigh, 100*a.UsualRate))
	}
	if r.TooOften {
		texts = append(texts, "too often since "+dayOf(r.Began)+", and no other instrument accounts for it")
	}
	if r.Doubted {
		texts = append(texts, "too often since "+dayOf(r.Began)+", and so does "+r.Rival+", with which it failed: it is one or the other")
	}
	return texts
}

func errorText(a *assessed, one *fleet.Assessment) string {
	switch {
	case !one.Measured && one.Steps > 0 && one.StepLow >= one.StepHigh:
		return "not known; its steps contradict each other"
	case !one.Measured && one.Steps > 0:
		return fmt.Sprintf("not known; its steps leave %.3g to %.3g %% for it and its unit together", one.StepLow, one.StepHigh)
	case !one.Measured:
		return "not known"
	}
	against := "against the middle of the fleet"
	if one.Part >= 0 && a.Parts[one.Part].Anchored {
		against = "against the verified reference"
	}
	text := fmt.Sprintf("%+.2f %% at %g V, %s; tolerance %g %%", one.Error, one.Expected, against, one.Tolerance)
	if one.OutOfTolerance() {
		text += ": OUT OF TOLERANCE"
	}
	return text
}

func faultTexts(a *assessed, one *fleet.Assessment) []string {
	if len(one.Faults) == 0 && len(one.Rivals) == 0 {
		return []string{"none found"}
	}
	var texts []string
	for i := range one.Faults {
		d := &one.Faults[i]
		text := report.FaultWords(a.Fleet, d)
		if d.Kind == fleet.Step {
			text += fmt.Sprintf(" (from %s to %s)", dayOf(d.BeganEarliest), dayOf(d.BeganLatest))
		}
		text += "; " + report.FaultStanding(one, d)
		if d.Rival != "" {
			text += fmt.Sprintf("; explains more than any fault of %s, by a likelihood ratio of %s", d.Rival, ratioText(d.Margin))
		}
		texts = append(texts, text)
	}
	if len(one.Rivals) > 0 {
		texts = append(texts, "it is this one or "+strings.Join(one.Rivals, " or ")+": "+report.CrossProveWords(one.CrossProve))
	}
	return texts
}

// ratioText writes the likelihood ratio of a gain in residual variances: a gain of x is one
// of e^(x/2).
func ratioText(gain float64) string {
	const most = 14 // above e^7 it is all one
	if gain > most {
		return "more than 1000"
	}
	return fmt.Sprintf("%.3g", math.Exp(gain/2))
}

func forecastText(one *fleet.Assessment) string {
	switch {
	case one.Forecast == nil:
		return "none: too few readings"
	case one.OutOfTolerance():
		return "it is out of tolerance"
	case !one.NotBefore.IsSet():
		return "it stays within its tolerance as far as can be seen"
	}
	text := "not out of tolerance before " + dayOf(one.NotBefore)
	if one.Likely.IsSet() {
		text += ", as likely as not by " + dayOf(one.Likely)
	}
	if one.NotAfter.IsSet() {
		return text + ", by " + dayOf(one.NotAfter) + " with a chance of 95 %"
	}
	return text + "; no last date can be named"
}

// chartTexts says what the charts of the own part of the error show.
func chartTexts(a *assessed, one *fleet.Assessment) []string {
	c := a.Charts(one)
	if len(c.Values) == 0 {
		return []string{"none: fewer than six readings since its last service"}
	}
	texts := []string{fmt.Sprintf("Shewhart: %d of %d readings and %d of %d ranges beyond three standard deviations",
		countOut(c.Values), len(c.Values), countOut(c.Ranges), len(c.Ranges))}
	last := len(c.EWMA) - 1
	word := map[bool]string{true: "OUT", false: "within"}
	texts = append(texts,
		fmt.Sprintf("EWMA (%g): %+.2f %%, limits %+.2f to %+.2f %%: %s", c.EWMAChart.Lambda, c.EWMA[last].Value, c.EWMA[last].Low, c.EWMA[last].High, word[c.EWMA[last].Out]),
		fmt.Sprintf("CUSUM (%g, %.2g): high %.2f, low %.2f, decision at %.2f %%: %s", c.CUSUMChart.Reference, c.CUSUMChart.Decision,
			c.CUSUM[last].High, c.CUSUM[last].Low, c.Decision, word[c.CUSUM[last].Out]))
	return texts
}

func serviceTexts(a *assessed, one *fleet.Assessment, events []ledger.Event) []string {
	var texts []string
	for _, d := range a.services[one.Instrument] {
		texts = append(texts, "serviced "+d.String())
	}
	for _, e := range events {
		if e.Word == ledger.SentToStore {
			texts = append(texts, fmt.Sprintf("sent to the tool store by %s, %s: %s", e.By, e.Made[:len(time.DateOnly)], e.Detail))
		}
	}
	for _, d := range one.Dues {
		texts = append(texts, "due "+d.Date.String()+": "+report.DueWords(d.Reason))
	}
	if one.Registered != nil && one.Registered.Withdrawn.IsSet() {
		texts = append(texts, "withdrawn from "+one.Registered.Withdrawn.String()+" on")
	}
	if texts == nil {
		return []string{"nothing is known of it"}
	}
	return texts
}

// mostPartners is how many partners are listed.
const mostPartners = 12

func partnerTexts(a *assessed, one *fleet.Assessment) []string {
	list := partnersOf(a, one)
	var texts []string
	for _, p := range list[:min(len(list), mostPartners)] {
		texts = append(texts, fmt.Sprintf("%s: %s, %s to %s, its own part %+.2f %% in the middle", p.Instrument, plural(p.Proofs, "proof"), p.First, p.Last, p.Percent))
	}
	if more := len(list) - mostPartners; more > 0 {
		texts = append(texts, "and "+plural(more, "more instrument"))
	}
	if texts == nil {
		return []string{"no other instrument, in a proof with a number"}
	}
	return texts
}

func countOut(points []fleet.ChartPoint) int {
	n := 0
	for _, p := range points {
		if p.Out {
			n++
		}
	}
	return n
}
