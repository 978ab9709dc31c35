package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"nilvolt/fleet"
	"nilvolt/record"
)

// InstrumentState returns a state as people say it.
func InstrumentState(s fleet.State) string {
	switch s {
	case fleet.StateFailing:
		return "failing proofs"
	case fleet.StateCannotTell:
		return "cannot tell"
	default:
		return s.String()
	}
}

// InstrumentKind returns a kind as people say it.
func InstrumentKind(k record.InstrumentKind) string {
	switch k {
	case record.Indicator:
		return "voltage indicator"
	case record.ProvingUnit:
		return "proving unit"
	case record.InstrumentUnknown:
	}
	return "instrument of an unknown kind"
}

// InstrumentSummary returns in one line why an instrument is in its state.
func InstrumentSummary(f *fleet.Fleet, a *fleet.Assessment) string {
	switch a.State {
	case fleet.StateWithdrawn:
		return "since " + a.Registered.Withdrawn.String()
	case fleet.StateFailing:
		return failingWords(f, a) + notProvedSince(a)
	case fleet.StateDrifting, fleet.StateStepped:
		return FaultWords(f, a.Fault()) + errorNow(f, a) + notProvedSince(a)
	case fleet.StateOverdue:
		return "was due for service on " + a.Due().Date.String()
	case fleet.StateCannotTell:
		return cannotTell(a)
	case fleet.StateWatch:
		return strings.Join(SignWords(f, a), "; ")
	case fleet.StateSteady:
	}
	return strings.TrimPrefix(errorNow(f, a)+stepsWords(a)+dueWords(a), "; ")
}

// stepsWords says what the steps of an instrument without a display show.
func stepsWords(a *fleet.Assessment) string {
	switch {
	case a.Measured || a.Steps == 0:
		return ""
	case a.Count.Failed > 0:
		return fmt.Sprintf("; it shows steps, %d of %d proofs failed", a.Count.Failed, a.Count.Proofs)
	}
	return "; it shows steps, the right ones"
}

// failingWords says how often an instrument fails.
func failingWords(f *fleet.Fleet, a *fleet.Assessment) string {
	r := &a.Rate
	text := fmt.Sprintf("failed %d of %d times (%s to %s), the others %s", r.Failed, r.Tried, rateText(r.Low), rateText(r.High), rateText(f.UsualRate))
	if r.Began.IsSet() {
		text += ", more often since " + utcDay(r.Began)
	}
	return text
}

// rateText writes a rate in percent, in as many digits as tell something.
func rateText(rate float64) string {
	switch p := 100 * rate; {
	case p == 0:
		return "0 %"
	case p < 1:
		return fmt.Sprintf("%.2g %%", p)
	case p < 10:
		return fmt.Sprintf("%.1f %%", p)
	default:
		return fmt.Sprintf("%.0f %%", p)
	}
}

// utcDay returns the day of an instant in UTC.
func utcDay(t record.Instant) string {
	return record.NewInstant(t.Unix(), 0, 0).Date().String()
}

// FaultWords says what a fault is, and since when.
func FaultWords(f *fleet.Fleet, d *fleet.DatedFault) string {
	text, since := "", ""
	if d.Kind == fleet.Step {
		text = fmt.Sprintf("stepped by %s %%", percentWords(d.Size, d.Error))
		since = " about " + utcDay(d.Began)
	} else {
		verb := "drifts"
		if d.Seen.IsSet() {
			verb = "drifted"
		}
		text = fmt.Sprintf("%s by %s %% a week", verb, percentWords(d.Size, d.Error))
		since = " since " + utcDay(d.Began)
		if d.Older {
			since = " since " + utcDay(d.Began) + " or before"
		}
	}
	if d.Seen.IsSet() {
		since += ", seen until " + utcDay(d.Seen) + " and not serviced since"
	}
	return text + since
}

// FaultStanding says whether a fault blames its instrument.
func FaultStanding(a *fleet.Assessment, d *fleet.DatedFault) string {
	switch {
	case d.Confirmed:
		return "confirmed"
	case slices.Contains(a.Unknown, fleet.UnknownStranger):
		return "blames nobody as long as the register lacks it"
	case d.Clear:
		return "to be confirmed next week"
	}
	return "in doubt"
}

// percentWords writes a number with its sign, in the digits that its error leaves.
func percentWords(v, err float64) string {
	digits := 2
	if err > 0 {
		digits = min(2, max(0, -int(math.Floor(math.Log10(err)))))
	}
	return fmt.Sprintf("%+.*f", digits, v)
}

// notProvedSince says how old the evidence is where nothing tells how the instrument is
// now; else it is blank.
func notProvedSince(a *fleet.Assessment) string {
	if !slices.Contains(a.Unknown, fleet.UnknownNow) {
		return ""
	}
	return "; not proved since " + utcDay(a.Last)
}

// errorNow says how large the error is against the tolerance; blank where nobody knows.
func errorNow(f *fleet.Fleet, a *fleet.Assessment) string {
	if !a.Measured {
		return ""
	}
	text := fmt.Sprintf("; error now %s %%, tolerance %.4g %%", signedTenth(a.Error), a.Tolerance)
	if a.OutOfTolerance() {
		text += ", out of tolerance"
	}
	return text
}

func signedTenth(v float64) string {
	if math.Abs(v) < 0.05 {
		return "0.0"
	}
	return fmt.Sprintf("%+.1f", v)
}

func dueWords(a *fleet.Assessment) string {
	if !a.Due().Date.IsSet() {
		return "; no date of service is known"
	}
	return "; service by " + a.Due().Date.String()
}

// cannotTell says what would tell.
func cannotTell(a *fleet.Assessment) string {
	switch {
	case slices.Contains(a.Unknown, fleet.UnknownStranger):
		return "not in the register: its id may be a slip, or stand for several instruments"
	case len(a.Rivals) > 0:
		return strings.Join(append([]string{a.Instrument}, a.Rivals...), " or ") + ": " + CrossProveWords(a.CrossProve)
	case a.Count.Proofs == 0:
		return "no proof of it is kept"
	}
	return fmt.Sprintf("too few proofs: %d in all, of which fewer than six of the last half year and since its last service show a number or a step", a.Count.Proofs) +
		notProvedSince(a)
}

// CrossProveWords says what to prove on what; that nothing would help where there is
// nothing to do.
func CrossProveWords(list []fleet.CrossProve) string {
	if len(list) == 0 {
		return "no proof of today can tell them apart; have both checked"
	}
	var parts []string
	for _, c := range list {
		text := fmt.Sprintf("%s on %s, %d times", c.Indicator, c.Unit, c.Proofs)
		if c.Weeks > 0 {
			text += fmt.Sprintf(" now and again in %d weeks", c.Weeks)
		}
		parts = append(parts, text)
	}
	return "cross-prove " + strings.Join(parts, ", and ")
}

// SignWords says what makes an instrument worth watching.
func SignWords(f *fleet.Fleet, a *fleet.Assessment) []string {
	var list []string
	for _, s := range a.Signs {
		switch s {
		case fleet.SignUnconfirmed:
			list = append(list, FaultWords(f, a.Fault())+", to be confirmed next week")
		case fleet.SignChart:
			list = append(list, "its error has shifted lately (CUSUM)")
		case fleet.SignFailing:
			list = append(list, "fails more often lately (CUSUM): "+failingWords(f, a))
		case fleet.SignNearLimit:
			list = append(list, strings.TrimPrefix(errorNow(f, a), "; "))
		case fleet.SignSoonOut:
			list = append(list, "as likely as not out of tolerance by "+utcDay(a.Likely))
		case fleet.SignSteps:
			list = append(list, "its steps contradict each other, time and again")
		case fleet.NoSign:
		}
	}
	return list
}

// UnknownWords says what the proofs cannot tell of an instrument.
func UnknownWords(a *fleet.Assessment) []string {
	var list []string
	for _, u := range a.Unknown {
		switch u {
		case fleet.UnknownNoProofs:
			list = append(list, "no proof of it is kept: nothing is known of its error")
		case fleet.UnknownFewProofs:
			list = append(list, "fewer than six proofs with a number in the last half year and since its last service: a drift would not be seen")
		case fleet.UnknownNow:
			list = append(list, "how it is now: it was not proved since "+utcDay(a.Last))
		case fleet.UnknownStepsOnly:
			list = append(list, "it shows steps: a drift within a step is not seen")
		case fleet.UnknownCommon:
			list = append(list, "no verified reference unit is among those that it was proved with: an error that all of them share is not seen, and its own is told against the middle of the fleet")
		case fleet.UnknownAlone:
			list = append(list, "all its proofs are with one instrument, or all of those with it: whose fault a change is cannot be told")
		case fleet.UnknownOtherParts:
			list = append(list, "other instruments were never proved, not even over others, on what it was proved on: they cannot be compared")
		case fleet.UnknownRegister:
			list = append(list, "it is not in the register: its tolerance and its date of service are not known")
		case fleet.UnknownStranger:
			list = append(list, "whether it is one instrument: the register has others and not this one")
		case fleet.UnknownCrossingDate:
			list = append(list, "when it leaves its tolerance: the proofs name no date")
		case fleet.NothingUnknown:
		}
	}
	return list
}

// DueWords says why a date of service is what it is.
func DueWords(r fleet.DueReason) string {
	switch r {
	case fleet.DueInterval:
		return "interval of the register ends"
	case fleet.DueStaircase:
		return "interval ends, reviewed by the staircase method"
	case fleet.DueChart:
		return "interval ends, reviewed by the control chart method"
	case fleet.DueCrossing:
		return "may leave its tolerance"
	case fleet.DueFailing:
		return "fails its proofs too often"
	case fleet.DueStep:
		return "has stepped, and nobody knows why"
	case fleet.NotDue:
	}
	return "nothing says when"
}

// InstrumentAdvice says what to do about an instrument, the first thing first.
func InstrumentAdvice(a *fleet.Assessment) []string {
	lookBack := "look at the records that rest on it: nilvolt instruments lookback " + a.Instrument
	switch a.State {
	case fleet.StateWithdrawn:
		return []string{"keep it out of use"}
	case fleet.StateFailing:
		return []string{"take it out of use and have it checked", lookBack}
	case fleet.StateStepped:
		return []string{"take it out of use until somebody knows what happened to it", lookBack}
	case fleet.StateDrifting:
		first := "bring it to service by " + a.Due().Date.String()
		if a.OutOfTolerance() {
			first = "take it out of use and have it adjusted"
		}
		return []string{first, lookBack}
	case fleet.StateOverdue:
		return []string{"take it out of use until it has been serviced"}
	case fleet.StateCannotTell:
		switch {
		case slices.Contains(a.Unknown, fleet.UnknownStranger):
			return []string{"find out which instrument is meant, and enter it in the register or have the readings corrected"}
		case len(a.Rivals) > 0:
			return []string{CrossProveWords(a.CrossProve)}
		}
		return []string{"prove it, on several units if it is an indicator, with several indicators if it is a unit"}
	case fleet.StateWatch:
		return []string{"look again in a week; prove it on other instruments than usual meanwhile"}
	case fleet.StateSteady:
	}
	if d := a.Due().Date; d.IsSet() {
		return []string{"nothing but its service by " + d.String()}
	}
	return []string{"nothing for now; enter its service in the register, so that somebody knows when it is due"}
}
