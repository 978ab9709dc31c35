package verify

import "nilvolt/record"

// An Explanation is a rule in words, for the person who has to act on a finding
// of it and for the one who has to answer for it. No field is blank.
type Explanation struct {
	Rule     record.Rule
	Severity record.Severity // before any policy; where it depends, Asks says on what

	Asks string // the question that the record has to answer, as docs/rules.md has it
	Why  string // what goes wrong where the answer is bad
	Mend string // what the technician does now

	// Source is what the rule rests on. A standard named without a mark was read,
	// in an excerpt or in a text that quotes it. What was not read is marked: "from
	// memory", "common practice" (no published source), "computed", "prudence" (no
	// source at all; where a policy names the value, a site may change it).
	Source string
}

// RulesVersion says which rules made a judgement that is kept. Raise it with every
// change that can change what is found in a record.
const RulesVersion = "1"

// Rules returns every rule, the core rules first.
func Rules() []record.Rule {
	rules := make([]record.Rule, 0, record.NumRules-1)
	for r := record.RuleNone + 1; r < record.NumRules; r++ {
		rules = append(rules, r)
	}
	return rules
}

// Explain returns what is to be said of rule r; the zero Explanation for
// RuleNone and for what is no rule.
func Explain(r record.Rule) Explanation {
	for _, e := range catalogueCore {
		if e.Rule == r {
			return e
		}
	}
	for _, e := range catalogueFurther {
		if e.Rule == r {
			return e
		}
	}
	return Explanation{}
}

// provingSource is what every rule of proving before and after rests on.
const provingSource = "NFPA 70E-2021 120.5(7) and CSA Z462 4.2.5(g): shown to work before and after each test, on a known voltage source; " +
	"DGUV Information 203-001, NF C 18-510 and the Queensland Electrical Work code 2010, 6.5.1: the same; " +
	"from memory: HSE GS38 (4th edition, 2015). 29 CFR 1910.333(b)(2)(iv) demands it only over 600 V; it is asked here at every voltage"

// catalogueCore holds the core rules, in the order of record.Rule.
var catalogueCore = []Explanation{
	{
		Rule: record.SupplyUnknownRule, Severity: record.Failure,
		Asks: "Is it known which conductors had to be tested? The job sheet states a supply, or lists conductors: at least two different names, " +
			"none twice, among them a line conductor (L, L1, L2, L3, L+, L-) and E or PEN. A list that is not so counts as unknown even where a supply is stated.",
		Why: "The pairs that must be dead follow from the conductors. Nothing is guessed: a guess that is too small would call a record complete " +
			"that left a conductor untested.",
		Source: "prudence: what is not known cannot be called complete",
		Mend: "Write the supply, or the list of conductors, on the job sheet as they are on site, and have the record judged again. " +
			"Until then treat every conductor as live.",
	},
	{
		Rule: record.PairMissing, Severity: record.Failure,
		Asks: "Has every required pair a reading after the last reset that stands for it? A live reading, an isolate and a restore are resets: " +
			"what was tested before them does not count. A reading stands for a pair when the pair is the same and the switch position, " +
			"the point and the side are those asked for. Pairs that read live or residual anywhere in the record are required too.",
		Why: "A second source, a crossed conductor or a neutral shared with another circuit may show on one pair only. A pair that was not tested may be live.",
		Source: "NFPA 70E-2021 120.5(7) and CSA Z462 4.2.5(g): each phase conductor, phase to phase and phase to ground; " +
			"DGUV Information 203-001 and NF C 18-510: every active conductor, the neutral included; " +
			"computed: n conductors, earth counted, give n(n-1)/2 pairs; common practice: 3 for single-phase, 10 for three-phase with neutral",
		Mend: "Prove the indicator, test the missing pairs at the point of work, prove it again. Until then treat every conductor as live.",
	},
	{
		Rule: record.SwitchPositionMissing, Severity: record.Failure,
		Asks: "Was a pair that asks for a switch position tested in that position? A switched line (SL1) is tested in both positions, on and off " +
			"(a and b where nobody can tell which is which); a pair that read live or residual in one position is tested in that one again. " +
			"This rule is found where the pair has a reading, but in another position or without one.",
		Why:    "A switched line that is dead with its switch off says nothing of the same line with the switch on.",
		Source: "common practice: a lighting circuit is also tested with its switch operated, on the switched lines",
		Mend: "Operate the switch, prove the indicator, test the pair in the missing position, prove again, and record the position beside the reading. " +
			"Until then treat the switched line as live.",
	},
	{
		Rule: record.LiveFoundRule, Severity: record.Failure,
		Asks: "Did no dead test read live or, where one did, is every required pair shown dead after it? Live is 50 V or more; 120 V or more where the supply " +
			"is dc and the reading was taken on dc; over-range is live. Where the supply is unknown, nothing after it mends it. Live on the " +
			"supply side of the device, where the job sheet says that it stays live, is the caution live-parts-remain instead.",
		Why: "The conductor was live at the point of work. Everything tested before is void, because something feeds the circuit that was not isolated.",
		Source: "IEC 61140 and IEC 60364-4-41 clause 414: extra-low voltage is not over 50 V ac rms or 120 V ripple-free dc; " +
			"Electricity at Work Regulations 1989, regulation 12: isolation is separation from every source; prudence: a live reading voids the tests before it",
		Mend: "Stop, keep away and keep others away. Find what feeds the conductor, isolate and lock that too; then prove the indicator, test every pair anew " +
			"and prove again.",
	},
	{
		Rule: record.ResidualVoltage, Severity: record.Failure,
		Asks: "Is the reading that counts for a pair at or below the dead limit of 12 V (policy dead_limit; neutral_earth_limit for N-E), " +
			"rather than between that limit and live?",
		Why: "It may be pick-up on an open conductor, a stored charge or a feed from elsewhere, and the reading alone cannot tell which. " +
			"An open conductor beside a live one (1 nF, 230 V, 50 Hz) reads 69 V on an indicator of 1 Mohm and 0.36 V on one of 5 kohm.",
		Source: "prudence (policy dead_limit): no regulator publishes a voltage below which a conductor is dead; from memory: UL 1436 uses 3 V " +
			"for fixed absence-of-voltage testers; stored charge: IEC 60204-1, 6.2.4 (60 V within 5 s, else a warning) and NEC 460.6 (50 V within 1 min); computed: pick-up",
		Mend: "Treat the pair as live. Let stored charge go as the equipment's maker says, look for another source, and test the pair again with an indicator " +
			"of low impedance, proved before and after.",
	},
	{
		Rule: record.ReadingUnreadable, Severity: record.Failure,
		Asks:   "Is the reading that counts for a pair a number of volts, or a step of the indicator? No value, ---, ERR and any other text without a digit are unreadable, and so is a step that the indicator does not have.",
		Why:    "A display that shows nothing is what a flat battery, a broken lead and a dead conductor have in common. It is never taken as 0 V.",
		Source: "SCPI-1999: 9.91E37 is not a number; prudence for the rest: no value is no evidence",
		Mend:   "Look the indicator and its leads over, prove it, test the pair again, prove again. Until then treat the pair as live.",
	},
	{
		Rule: record.CannotShowDead, Severity: record.Failure,
		Asks: "Can the indicator show the pair dead? On a stepped indicator, no lit step says only that the voltage is below the lowest step; " +
			"that is dead only where the lowest step is not above the dead limit of 12 V (policy dead_limit).",
		Why: "An indicator whose lowest step is 50 V stays dark on 49 V.",
		Source: "IEC 61243-3: voltage detectors are not measuring devices; from memory: they must show a voltage at the limit of extra-low voltage, so that no indication says only " +
			"below about 50 V ac or 120 V dc; common practice: steps of 12, 24, 50, 120, 230, 400 and 690 V; prudence (policy dead_limit)",
		Mend: "Test the pair again with an indicator that shows 12 V or less, proved before and after. Where this one does, write its steps under stages in the register.",
	},
	{
		Rule: record.WrongWaveform, Severity: record.Failure,
		Asks: "Was the dead reading that counts taken on the waveform of the supply? It was not when it says dc and the supply is ac, or ac and the supply is dc; when it says nothing " +
			"and a proof of the series nearest before or after it was taken on the other waveform; or when the register says that the indicator senses only the other one. An indicator that senses both is always right.",
		Why:    "An instrument set to direct voltage shows about nothing on a live alternating conductor, and many a one set to alternating voltage shows nothing on a battery.",
		Source: "computed: the mean of an alternating voltage is zero, which is what a dc range shows; prudence for the rest",
		Mend: "Set the indicator to the waveform of the supply, or take one that senses both; prove it so, test every pair again, prove again. " +
			"Where this one senses both, say so under senses in the register.",
	},
	{
		Rule: record.ProveMissing, Severity: record.Failure,
		Asks:   "Was the indicator that made the dead reading proved before it, in this record (policy shared_proofs: in any record of the call)?",
		Why:    "An indicator with a flat battery or a broken lead shows a live conductor as dead. Only a proof before the test shows that it could have told.",
		Source: provingSource + "; prudence (policy shared_proofs)",
		Mend:   "Prove the indicator on a proving unit or a known live source, test every pair again, prove again. Until then treat the pairs as live.",
	},
	{
		Rule: record.ProveFailed, Severity: record.Failure,
		Asks: "Did the proof before the dead reading pass? For each source and expected voltage the last row must be within 10 % (policy tolerance; 15 % on a known live source, " +
			"policy live_source_tolerance; or less where the register says less), or light the right step of a stepped indicator; " +
			"and one of these rows must have read 45 V or more, or lit a step of 50 or more.",
		Why:    "An indicator that does not show a voltage that is there cannot be believed when it shows none. Less than about 50 V does not show that it sees a dangerous voltage.",
		Source: provingSource + "; prudence (policies tolerance and live_source_tolerance; 45 V)",
		Mend: "Put the indicator aside and mark it. Prove another on a source that is known to be good, test every pair again with it, prove it again. " +
			"Settle whether the indicator or the source is at fault before either is used again.",
	},
	{
		Rule: record.ProveStale, Severity: record.Failure,
		Asks:   "Is the proof before the dead reading recent: its last row that passed on 45 V or more at most 60 min older than the reading (policy prove_age)?",
		Why:    "Between a proof and a test an indicator can be dropped, switched to another range or run flat. The longer the time, the less the proof says.",
		Source: provingSource + "; prudence (policy prove_age)",
		Mend:   "Prove the indicator, test every pair again at once, prove again.",
	},
	{
		Rule: record.ReproveMissing, Severity: record.Failure,
		Asks:   "Was the indicator that made the dead reading proved again after it, in this record (policy shared_proofs: in any record of the call)?",
		Why:    "An indicator can die between two tests. Only a proof after the last test shows that it still worked while it showed dead.",
		Source: provingSource + "; prudence (policy shared_proofs)",
		Mend: "Where the isolation still stands: prove the indicator, test every pair again, prove again. A proof made much later does not make up for it. " +
			"Until then treat the pairs as live.",
	},
	{
		Rule: record.ReproveFailed, Severity: record.Failure,
		Asks: "Did the proof after the dead reading pass, at the first attempt? It passes as the proof before does, and the first row for each source and expected voltage " +
			"must pass as well (policy reprove_retry allows a retry).",
		Why:    "The indicator failed when it was asked whether it had still been working. A retry that passes shows that it works now, not that it worked during the test.",
		Source: provingSource + "; prudence: a failed first reprove means, test again (policies reprove_retry, tolerance and live_source_tolerance)",
		Mend:   "Treat the pairs as live. Put the indicator aside and mark it; prove another, test every pair again with it, prove it again.",
	},
	{
		Rule: record.ReproveLate, Severity: record.Failure,
		Asks:   "Did the proof after the dead reading come soon: its first row at most 30 min later (policy reprove_delay)?",
		Why:    "The proof has to speak for the indicator as it was during the test. In half an hour and more a battery is changed and a lead is mended.",
		Source: provingSource + "; prudence (policy reprove_delay)",
		Mend:   "Prove the indicator, test every pair again, and prove again before anything else is done with it.",
	},
	{
		Rule: record.ProofFailedElsewhere, Severity: record.Failure,
		Asks: "Between the proof before and the proof after a dead reading, the ends included, did the indicator fail no proof in any other record? " +
			"This rule needs all records at once; verify --stream does not judge it.",
		Why:    "A proof that failed on another job in the same stretch of time says that the indicator was not to be believed then, whatever the proofs of this job say.",
		Source: "ISO 9001:2015, 7.1.5.2: when equipment is found unfit, decide whether earlier results are still valid, and act; from memory: ISO/IEC 17025:2017, 6.4.9 and 7.10, and ISO 10012, 8.3.3",
		Mend: "Treat the pairs as live. Put the indicator aside and mark it; prove another, test every pair again with it, prove it again. " +
			"Settle with whoever made the failed proof whether the indicator or the source was at fault.",
	},
}
