package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"nilvolt/fleet"
	"nilvolt/record"
	"nilvolt/report"
)

func newInstrumentsList(c *console) *cobra.Command {
	var flags fleetFlags
	var format string
	cmd := &cobra.Command{
		Use:   "list --ledger WHERE",
		Short: "List the instruments with their state, worst first",
		Long: `List every instrument of the register and of the readings, a line each, worst first:

  failing proofs  it fails its proofs more often than the others do
  stepped         its error has jumped
  drifting        its error grows
  overdue         its day of service has passed
  cannot tell     too few proofs, or it is this one or another: the line says what to do
  watch           a first sign, which blames nobody yet
  steady          no sign of a change
  withdrawn       taken out of use

Only what the ledger knew of readings up to --as-of counts.`,
		Example: `  nilvolt instruments list --ledger site.db
  nilvolt instruments list --ledger site.db --as-of 2026-05-29 --format json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			a, err := flags.load(cmd.Context(), c)
			if err != nil {
				return err
			}
			defer a.ledger.Close()
			switch format {
			case "json":
				return printInstrumentsJSON(c, a)
			case "csv":
				printInstrumentsCSV(c, a)
			default:
				printInstruments(c, a)
			}
			return nil
		},
	}
	flags.register(cmd.Flags(), false)
	cmd.Flags().StringVar(&format, "format", "text", "`format` of the result: text, json or csv")
	completeFlags(cmd)
	return cmd
}

// stateInk is how a state is painted; states that call for something stand in capitals.
func stateInk(s fleet.State) (string, ink) {
	word := report.InstrumentState(s)
	switch s {
	case fleet.StateFailing, fleet.StateStepped, fleet.StateDrifting, fleet.StateOverdue:
		return strings.ToUpper(word), wrongInk
	case fleet.StateCannotTell:
		return strings.ToUpper(word), missingInk
	case fleet.StateWithdrawn:
		return word, quietInk
	case fleet.StateWatch, fleet.StateSteady:
	}
	return word, plainInk
}

// printInstruments prints the list for people.
func printInstruments(c *console, a *assessed) {
	t := c.theme()
	fmt.Fprintln(c.out, t.paint(titleInk, fmt.Sprintf("%s as of %s, worst first: %s.", plural(len(a.Instruments), "instrument"), a.day, countStates(a.Fleet))))
	fmt.Fprintln(c.out)
	width := 0
	for i := range a.Instruments {
		width = max(width, columnsOf(t.clean(a.Instruments[i].Instrument)))
	}
	var b strings.Builder
	for i := range a.Instruments {
		one := &a.Instruments[i]
		word, ink := stateInk(one.State)
		lead := pad(t.clean(one.Instrument), width) + "  " + t.paint(ink, pad(word, len("FAILING PROOFS"))) + "  "
		t.hangBehind(&b, lead, width+len("FAILING PROOFS")+4, t.clean(report.InstrumentSummary(a.Fleet, one)))
	}
	c.out.WriteString(b.String())
}

// hangBehind writes text behind a lead that takes so many columns, its further lines
// indented to the same column.
func (t theme) hangBehind(b *strings.Builder, lead string, columns int, text string) {
	for _, line := range wrap(text, max(20, t.width-columns)) {
		b.WriteString(lead + line + "\n")
		lead = strings.Repeat(" ", columns)
	}
}

// countStates counts the instruments by state, worst first.
func countStates(f *fleet.Fleet) string {
	var parts []string
	last, n := fleet.State(math.MaxUint8), 0
	flush := func() {
		if n > 0 {
			parts = append(parts, strconv.Itoa(n)+" "+report.InstrumentState(last))
		}
	}
	for i := range f.Instruments {
		if s := f.Instruments[i].State; s != last {
			flush()
			last, n = s, 0
		}
		n++
	}
	flush()
	if parts == nil {
		return "none"
	}
	return strings.Join(parts, ", ")
}

// An instrumentJSON is an instrument as docs/files.md has it.
type instrumentJSON struct {
	Instrument string           `json:"instrument"`
	Kind       string           `json:"kind"`
	State      string           `json:"state"`
	Proofs     int              `json:"proofs"`
	Failed     int              `json:"failed"`
	Fault      *faultJSON       `json:"fault"`
	CrossProve []crossProveJSON `json:"cross_prove"`
	NotBefore  string           `json:"not_before"`
	Due        string           `json:"due"`
}

type faultJSON struct {
	Kind           string   `json:"kind"`
	Start          string   `json:"start"`
	PercentPerWeek *float64 `json:"percent_per_week,omitempty"`
	Percent        *float64 `json:"percent,omitempty"`
	Confirmed      bool     `json:"confirmed"`
}

type crossProveJSON struct {
	Indicator string `json:"indicator"`
	Unit      string `json:"unit"`
	Proofs    int    `json:"proofs"`
	Weeks     int    `json:"weeks"`
}

// instrumentOf returns an instrument as JSON has it.
func instrumentOf(a *fleet.Assessment) instrumentJSON {
	return instrumentJSON{
		Instrument: a.Instrument, Kind: a.Kind.String(), State: a.State.String(), Proofs: a.Count.Proofs, Failed: a.Count.Failed,
		Fault: faultOf(a.Fault()), CrossProve: crossProvesOf(a.CrossProve), NotBefore: dayOf(a.NotBefore), Due: a.Due().Date.String(),
	}
}

func faultOf(d *fleet.DatedFault) *faultJSON {
	if d == nil {
		return nil
	}
	size := roundTo(d.Size, 3)
	f := &faultJSON{Kind: "drift", Start: d.Began.String(), PercentPerWeek: &size, Confirmed: d.Confirmed}
	if d.Kind == fleet.Step {
		f.Kind, f.PercentPerWeek, f.Percent = "step", nil, &size
	}
	return f
}

func crossProvesOf(list []fleet.CrossProve) []crossProveJSON {
	out := []crossProveJSON{}
	for _, p := range list {
		out = append(out, crossProveJSON{p.Indicator, p.Unit, p.Proofs, p.Weeks})
	}
	return out
}

// roundTo rounds to so many digits behind the point.
func roundTo(v float64, digits int) float64 {
	scale := math.Pow10(digits)
	return math.Round(v*scale) / scale
}

// dayOf returns the day of an instant in UTC, blank where it is not set.
func dayOf(t record.Instant) string {
	if !t.IsSet() {
		return ""
	}
	return record.NewInstant(t.Unix(), 0, 0).Date().String()
}

// printLines prints values as JSON, a line each.
func printLines[T any](c *console, list []T) error {
	encoder := json.NewEncoder(c.out)
	encoder.SetEscapeHTML(false)
	for _, v := range list {
		if err := encoder.Encode(v); err != nil {
			return err
		}
	}
	return nil
}

func printInstrumentsJSON(c *console, a *assessed) error {
	list := make([]instrumentJSON, len(a.Instruments))
	for i := range a.Instruments {
		list[i] = instrumentOf(&a.Instruments[i])
	}
	return printLines(c, list)
}

func printInstrumentsCSV(c *console, a *assessed) {
	out := []byte("instrument,kind,state,proofs,failed,fault,start,percent,percent_per_week,confirmed,cross_prove,not_before,due\r\n")
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', -1, 64)
	}
	for i := range a.Instruments {
		j := instrumentOf(&a.Instruments[i])
		fault := make([]string, 5)
		if f := j.Fault; f != nil {
			fault = []string{f.Kind, f.Start, number(f.Percent), number(f.PercentPerWeek), strconv.FormatBool(f.Confirmed)}
		}
		var pairs []string
		for _, p := range j.CrossProve {
			pairs = append(pairs, p.Indicator+" "+p.Unit)
		}
		row := append([]string{j.Instrument, j.Kind, j.State, strconv.Itoa(j.Proofs), strconv.Itoa(j.Failed)}, fault...)
		out = appendCSVRow(out, append(row, strings.Join(pairs, "; "), j.NotBefore, j.Due))
	}
	c.out.Write(out)
}

// appendCSVRow appends a row.
func appendCSVRow(out []byte, fields []string) []byte {
	for i, f := range fields {
		if i > 0 {
			out = append(out, ',')
		}
		out = appendCSVField(out, f)
	}
	return append(out, "\r\n"...)
}
