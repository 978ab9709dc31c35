package guide

import (
	"slices"
	"strings"

	"nilvolt/record"
)

// String returns the instruction as some sentences for the technician.
func (in Instruction) String() string { return in.failure() + in.deed() }

// failure tells of an indicator that failed its proof.
func (in Instruction) failure() string {
	switch {
	case in.Failed == "":
		return ""
	case in.Aside:
		return in.Failed + " failed its proof: put it aside and mark it. "
	}
	return in.Failed + " failed its proof: look it, its leads and the source over. "
}

// deed asks for what is to be done.
func (in Instruction) deed() string {
	switch in.Action {
	case SeeDanger:
		return in.danger()
	case TakeStep:
		if in.Again {
			return "Isolate anew: find all that feeds these conductors and open it, then say isolate."
		}
		return stepSentences[in.Step]
	case ProveOn:
		return in.proof()
	case TestPair:
		return in.test()
	case Complete:
		return "Evidence complete. It is no permission to touch: follow your local rules, and test before you touch."
	case StartAnew:
		return "Nothing that is taken now makes this record comply: end it, mend what is wrong, and begin a new one." + in.stays()
	case MendSheet:
		return "The job sheet has to be mended first; what was taken stays, and this record can be gone on with then." + in.stays()
	case NoAction:
	}
	return ""
}

// stays tells what is wrong and stays so.
func (in Instruction) stays() string {
	var b strings.Builder
	for _, f := range in.Stays {
		b.WriteString(" " + f.Rule.String() + ": " + f.Message + ".")
	}
	return b.String()
}

var stepSentences = map[record.Kind]string{
	record.Inspect:    "Look the indicator and its leads over, then say inspect.",
	record.Identify:   "Show that the circuit is the one that the device controls, then say identify.",
	record.Permission: "Get leave to switch off, then say permission.",
	record.ShedLoad:   "Take the load off: the device is not for switching under load. Then say shed-load.",
	record.Isolate:    "Open the isolating device, then say isolate.",
	record.Lock:       "Fit the lock and pull it to see that it holds, then say lock.",
	record.Label:      "Fit the warning label, then say label.",
}

// danger tells of a reading that was not dead.
func (in Instruction) danger() string {
	word := "RESIDUAL VOLTAGE"
	if in.Live {
		word = "LIVE"
	}
	return word + " on " + in.Tested.String() + at(in.Tested.Point) + ": do not touch. Find where the voltage comes from, then say seen."
}

// proof asks for a proof.
func (in Instruction) proof() string {
	if in.Aside {
		return "Take another indicator and prove it, at no less than the voltage of the work, on a source that is known to be good: " +
			"the one of the failed proof may be at fault."
	}
	subject, again := in.Indicator, ""
	switch {
	case in.Other:
		subject = "another indicator: the one used so far cannot give this evidence"
	case subject == "":
		subject = "the indicator"
	}
	if in.After || in.Failed != "" && !in.Other {
		again = " again,"
	}
	on := "the proving unit"
	if len(in.On) > 0 {
		names := slices.Clone(in.On)
		if i := slices.Index(names, ""); i >= 0 {
			names[i] = "the source that was not named"
		}
		on = strings.Join(names, " and on ")
	}
	text := "Prove " + subject + again + " on " + on
	if !in.After {
		text += ", at no less than the voltage of the work"
	}
	if in.Failed != "" && !in.Other {
		text += "; where it fails again, put it aside and take another"
	}
	return text + "."
}

// test asks for a dead test.
func (in Instruction) test() string {
	var b strings.Builder
	b.WriteString("Test " + in.Tested.Pair.String())
	switch in.Tested.Switch {
	case record.SwitchOn, record.SwitchOff:
		b.WriteString(" with the switch " + in.Tested.Switch.String())
	case record.SwitchA, record.SwitchB:
		b.WriteString(" with the switch in position " + in.Tested.Switch.String())
	case record.SwitchUnknown:
	}
	b.WriteString(at(in.Tested.Point))
	if in.Waveform != record.WaveformUnknown {
		b.WriteString(", on " + in.Waveform.String())
	}
	if in.Other {
		b.WriteString(", with another indicator")
	}
	return b.String() + "."
}

func at(point string) string {
	if point == "" {
		return ""
	}
	return " at " + point
}
