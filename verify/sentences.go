package verify

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"nilvolt/record"
)

// sentence returns the sentence of a finding: what is wrong, and what to do about
// it. One that names nothing but pairs comes again in record after record, as do the
// lists of pairs, so both are kept.
func (j *Judge) sentence(f *record.Finding) string {
	if text := furtherSentences[f.Rule]; text != "" {
		return text
	}
	kept := record.RuleNone // the list of pairs alone
	if j.namesPairsOnly(f.Rule) {
		kept = f.Rule
	}
	var room [128]byte // enough for most
	key := appendPairs(append(room[:0], byte(kept)), f)
	text, ok := j.said[string(key)]
	if !ok {
		if text = string(key[1:]); kept != record.RuleNone {
			text = j.sentenceOn(f, text)
		}
		j.keep(string(key), text)
	}
	if kept == record.RuleNone {
		return j.sentenceOn(f, text)
	}
	return text
}

// mostSaid bounds how many sentences and lists are kept.
const mostSaid = 1024

// keep keeps a text that sentence will need again.
func (j *Judge) keep(key, text string) {
	if len(j.said) == mostSaid {
		clear(j.said)
	}
	j.said[key] = text
}

// namesPairsOnly reports whether the sentence of a rule tells nothing else of the
// record than the pairs.
func (j *Judge) namesPairsOnly(r record.Rule) bool {
	switch r {
	case record.PairMissing:
		return j.resetBy == nil && len(j.rec.Events) > 0
	case record.SwitchPositionMissing, record.LiveFoundRule, record.ResidualVoltage, record.ReadingUnreadable,
		record.LiveUnexplained, record.ReadingChanged, record.UnprovedRetest, record.ProbeOrder,
		record.ConductorUnexpected, record.LivePartsRemain:
		return true
	}
	return false
}

// sentenceOn makes the sentence of a finding about the pairs of a list.
func (j *Judge) sentenceOn(f *record.Finding, pairs string) string {
	if f.Rule.IsCore() {
		return j.coreSentence(f, pairs)
	}
	return j.furtherSentence(f, pairs)
}

const nothingRequired = "the policy leaves no pair to test; state the conductors or change the policy, then judge again"

func (j *Judge) coreSentence(f *record.Finding, pairs string) string {
	vi := f.Indicator
	switch f.Rule {
	case record.SupplyUnknownRule:
		switch {
		case len(j.rec.Jobs) == 0:
			return "no job sheet has this record, so nobody can say which pairs must be tested; hand in its job sheet and judge again"
		case len(j.job.Conductors) > 0:
			return "the list of conductors cannot be judged: it needs a line and an earth, each named once; correct the job sheet and judge again"
		}
		if len(j.rec.Events) == 0 {
			return "no row of this record was handed in, and the job sheet states no supply; hand in its readings, state the supply and judge again"
		}
		return "the job sheet states no supply, so nobody can say which pairs must be tested; state it and judge again"
	case record.PairMissing:
		if len(j.rec.Events) == 0 {
			return "no row of this record was handed in; hand in its readings, or test " + pairs + " and prove the indicator before and after"
		}
		return "no reading that counts for " + pairs + j.sinceReset() + "; test there and prove the indicator again"
	case record.SwitchPositionMissing:
		return pairs + " not tested in that switch position; operate the switch, test again and prove the indicator again"
	case record.LiveFoundRule:
		return pairs + " read live and not every pair was shown dead after it; do not touch, find the source, isolate it and repeat the whole isolation"
	case record.ResidualVoltage:
		return fmt.Sprintf("%s above the dead limit of %g V; find where the voltage comes from (stored charge, pick-up, another source), remove it and test again", pairs, float64(j.policy.DeadLimit))
	case record.ReadingUnreadable:
		return pairs + " gave no reading that can be read; test again and prove the indicator again"
	case record.CannotShowDead:
		return fmt.Sprintf("%s has no step low enough to show %s dead at %g V; test with an indicator that has", vi, pairs, float64(j.policy.DeadLimit))
	case record.WrongWaveform:
		return fmt.Sprintf("%s was set to the other kind of voltage than the supply's on %s, where it shows nothing; set it right, prove it and test again", vi, pairs)
	}
	return j.bracketSentence(f, pairs, vi)
}

// bracketSentence is coreSentence for the proofs around a reading.
func (j *Judge) bracketSentence(f *record.Finding, pairs, vi string) string {
	const again = "; prove it, test again and prove it again"
	switch f.Rule {
	case record.ProveMissing:
		return vi + " was not proved before " + pairs + again
	case record.ProveFailed:
		return vi + " failed its proof before " + pairs + "; take another indicator or find the fault, then prove, test and prove again"
	case record.ProveStale:
		return vi + " was proved more than " + minutes(j.policy.ProveAge) + " before " + pairs + again
	case record.ReproveMissing:
		return vi + " was not proved after " + pairs + ", so nobody knows that it still worked" + again
	case record.ReproveFailed:
		return vi + " failed its proof after " + pairs + ", so its readings count for nothing; take another indicator, prove it, test again and prove it again"
	case record.ReproveLate:
		return vi + " was proved again more than " + minutes(j.policy.ReproveDelay) + " after " + pairs + again
	}
	return ""
}

func elsewhereSentence(f *record.Finding, other string) string {
	return fmt.Sprintf("%s failed a proof in record %s between its proofs around %s; take another indicator, prove it, test again and prove it again",
		f.Indicator, other, string(appendPairs(nil, f)))
}

func copiedSentence(other string) string {
	return "the readings repeat those of record " + other + "; ask the technician which were taken, and repeat the others"
}

// sinceReset names the reset after which a reading would have counted.
func (j *Judge) sinceReset() string {
	r := j.resetBy
	if r == nil {
		return ""
	}
	what := r.Kind.String()
	if r.Kind == record.Test {
		what = "live reading"
	}
	return " after the " + what + " at " + r.Time.Clock()
}

func (j *Judge) furtherSentence(f *record.Finding, pairs string) string {
	vi := f.Indicator
	switch f.Rule {
	case record.ConductorsReduced:
		return "the job sheet's list leaves out " + conductorList(j.work.reduced) + " of the stated supply; test those too, or have QA accept why they cannot be tested"
	case record.JobConflict:
		return "the job rows disagree on " + strings.Join(j.conflicts, ", ") + "; find out which is right and hand in one job sheet"
	case record.ClockBackwards:
		return "the clock of " + vi + " was set back between readings, so their order is not sure; set it right and repeat the isolation"
	case record.LiveUnexplained:
		return pairs + " read live and then dead with no isolation between; find out what made it dead, isolate that and repeat the isolation"
	case record.Interrupted:
		return fmt.Sprintf("more than %s passed between readings that count; after an interruption begin the whole sequence again", minutes(j.policy.InterruptedAfter))
	case record.ReadingChanged:
		return pairs + " read otherwise before it read dead; find out why before relying on it"
	case record.UnprovedRetest:
		return pairs + " tested once more without a passing proof on both sides; the earlier reading counts, prove around each test"
	case record.ProbeOrder:
		return pairs + " taken with the wrong probe first; place the probe on earth first, on a line and neutral pair the one on neutral"
	case record.ConductorUnexpected:
		return pairs + " names a conductor that the job sheet does not have; correct the job sheet or the reading"
	case record.LivePartsRemain:
		return pairs + " is live on the supply side; guard it and tell everyone at the point of work"
	case record.PermissionGap:
		return fmt.Sprintf("more than %s from permission to isolation; ask again before switching off", minutes(j.policy.PermissionGap))
	case record.BegunLate:
		return fmt.Sprintf("work began more than %s after the last proof; test again before beginning", minutes(j.policy.BeginWithin))
	}
	return j.instrumentSentence(f, pairs, vi)
}

// instrumentSentence is furtherSentence for instruments and their proofs.
func (j *Judge) instrumentSentence(f *record.Finding, pairs, vi string) string {
	switch f.Rule {
	case record.ProofRetried:
		return "a proof of " + vi + " failed before it passed; report the indicator to the tool store"
	case record.ProofUnspecified:
		return "nobody recorded what the source that " + vi + " was proved on puts out; record the expected voltage"
	case record.ProofWaveform:
		return vi + " was proved on one kind of voltage and tested " + pairs + " on the other; prove on the kind that is tested"
	case record.ProofOnWork:
		return vi + " was proved on conductors of the work after the isolation; find out whether they were live, prove elsewhere and repeat the isolation"
	case record.ProofBelowNominal:
		return vi + " was proved below the nominal voltage of " + pairs + "; prove on a source of similar voltage"
	case record.InstrumentUnknownRule:
		return "the register has no " + vi + " of that kind; enter it or correct the reading"
	case record.InstrumentWithdrawn:
		return vi + " was withdrawn from use; repeat the isolation with another and hand it to the tool store"
	case record.InstrumentOverdue:
		return vi + " was overdue for service on that day; repeat the isolation with another and hand it to the tool store"
	case record.InstrumentUnderrated:
		return vi + " is not rated for the voltage or category of this work; repeat the isolation with one that is"
	case record.ClockDisagrees:
		return "two logs of the proofs of " + vi + " are more than 2 min apart; set the clocks, and find out which is right"
	}
	return ""
}

// clockSentence says how far a log's clock is off.
func clockSentence(indicator string, c *record.Clock) string {
	side := "ahead"
	if c.Ahead < 0 {
		side = "behind"
	}
	off := c.Ahead.Abs().Round(time.Second)
	return fmt.Sprintf("the clock of a log of %s is %d h %d min %d s %s, as its proofs show; its times were corrected: set the clock",
		indicator, off/time.Hour, off%time.Hour/time.Minute, off%time.Minute/time.Second, side)
}

// furtherSentences are those that say the same of every record.
var furtherSentences = [record.NumRules]string{
	record.RecordMixed:       "rows more than 24 h apart stand under one record; give each isolation a record of its own",
	record.PermissionOrder:   "isolation came before permission; ask for permission first",
	record.NotSecured:        "fewer locks than isolations before the first test; lock each device off, pull to see that it holds and repeat the tests",
	record.NotLabelled:       "fewer labels than isolations before the first test; label each device",
	record.BeganEarly:        "work began before every pair was shown dead and the indicator proved again; stop, leave the equipment and repeat the isolation",
	record.DeviceUnsuitable:  "a device of this standard does not isolate; isolate with one that does and repeat the isolation",
	record.DeviceUnknown:     "the device is not in the table of isolating devices; name its product standard, or check by hand that it isolates",
	record.DeviceMarkUnknown: "a device of this standard isolates only if it carries the isolation symbol; look for it and note it",
	record.LineNotOpened:     "the device does not open every line conductor; isolate with one that does and repeat the isolation",
	record.NeutralNotOpened:  "on this earthing system the neutral must be opened too; isolate with a device that opens it and repeat the isolation",
	record.PENOpened:         "the device opens the PEN conductor, which is never opened; check the device and the earthing system",
	record.LoadNotShed:       "the device is not for switching under load and no load was shed first; take the load off before opening it",
	record.TooQuick:          "the dead tests follow each other faster than probes can be placed; ask how they were taken and repeat them",
}

// appendPairs names the pairs of a finding, the first few of many.
func appendPairs(b []byte, f *record.Finding) []byte {
	const most = 10
	for i, t := range f.Tested {
		if i == most {
			b = append(b, " and "...)
			b = strconv.AppendInt(b, int64(len(f.Tested)-i), 10)
			return append(b, " more"...)
		}
		if i > 0 {
			b = append(b, ", "...)
		}
		b = t.Append(b)
		if t.Point != "" {
			b = append(b, " at "...)
			b = append(b, t.Point...)
		}
	}
	return b
}

func conductorList(list []record.Conductor) string {
	names := make([]string, len(list))
	for i, c := range list {
		names[i] = c.String()
	}
	return strings.Join(names, ", ")
}

// loosenedMessage is the sentence of policy-loosened, blank where the policy is
// nowhere looser than the default.
func loosenedMessage(p *Policy) string {
	loose := p.Loosened()
	if len(loose) == 0 {
		return ""
	}
	hash := ""
	if p.SHA256 != "" {
		hash = " (SHA-256 of the policy " + p.SHA256 + ")"
	}
	return "judged under a policy that is looser than the default: " + strings.Join(loose, "; ") + hash + "; QA answers for it"
}
