package verify

import "nilvolt/record"

// deviceSource is what the rules about isolating devices rest on.
const deviceSource = "from memory: BS 7671:2018, Table 537.4, which follows clause 536 of IEC 60364-5-53"

// catalogueFurther holds the further rules, in the order of record.Rule.
var catalogueFurther = []Explanation{
	{
		Rule: record.ConductorsReduced, Severity: record.Failure,
		Asks: "Does the list of conductors on the job sheet hold every conductor of the stated supply? With TN-C, N and E are one conductor, PEN. " +
			"A caution where the site's policy says conductors_reduced: caution.",
		Why:    "A conductor that is left off the list is a conductor that nobody has to test.",
		Source: "DGUV Information 203-001 and NF C 18-510: every active conductor, the neutral included; prudence (policy conductors_reduced)",
		Mend: "Write the missing conductors on the job sheet and test their pairs. Where the equipment has no earth (class II) and was measured to a reference, " +
			"ask who keeps the site's policy.",
	},
	{
		Rule: record.JobConflict, Severity: record.Failure,
		Asks: "Does everything that was written of the job agree: never two different values in one column, on the job sheet or among the readings? Blanks do not count. " +
			"The job sheet's first value is used, and the pairs that each of the rows asks for are required.",
		Why:    "Of two supplies or two devices one is wrong, and with the wrong one the wrong pairs are tested.",
		Source: "prudence",
		Mend:   "Find out on site which value is right, correct the other where it was written, and have the record judged again.",
	},
	{
		Rule: record.RecordMixed, Severity: record.Failure,
		Asks:   "Do the first and the last row of the record lie at most 24 h apart?",
		Why:    "Two jobs under one record id lend each other their proofs and their tests.",
		Source: "prudence",
		Mend:   "Give each isolation a record id of its own, and have both judged again.",
	},
	{
		Rule: record.ClockBackwards, Severity: record.Failure,
		Asks:   "Do the instrument's counter (seq) and its clock agree? Of two rows of one file and one indicator, the later count must not have the earlier time.",
		Why:    "Where a clock was set back, a proof that came after a test can stand before it.",
		Source: "prudence",
		Mend:   "Set the instrument's clock and say so in the record. Where the order of proofs and tests cannot be settled, prove, test every pair and prove again.",
	},
	{
		Rule: record.LiveUnexplained, Severity: record.Failure,
		Asks: "Where a pair read live after an isolate and dead later, does another isolate stand between? A caution where the record holds no isolate at all. " +
			"Readings on the supply side do not count, nor do live parts that the job sheet says stay.",
		Why:    "What made it dead? A conductor that goes dead by itself, after the isolation, goes live by itself.",
		Source: "Electricity at Work Regulations 1989, regulation 12: separation from every source, made secure; prudence",
		Mend:   "Find what fed the conductor and what took it away. Isolate and lock that, record it, then prove, test every pair and prove again.",
	},
	{
		Rule: record.Interrupted, Severity: record.Caution,
		Asks: "Were the readings that count taken in one go: no more than 15 min (policy interrupted_after) between one and the next? " +
			"A failure where it is more than 60 min.",
		Why:    "During a break somebody can switch, reconnect or move a lead, and the pairs tested before say nothing of the time after.",
		Source: "Queensland Electrical Work code 2010, 6.5.1: where the procedure is interrupted, restart the whole sequence; prudence (policy interrupted_after)",
		Mend:   "Start again: prove the indicator, test every pair, prove again, without a break.",
	},
	{
		Rule: record.ReadingChanged, Severity: record.Caution,
		Asks:   "Where a pair counts as dead, was it never residual or unreadable before, at that position and point? The supply side does not count.",
		Why:    "A voltage that has gone may have been a charge that ran down, or a source that comes and goes.",
		Source: "IEC 60204-1, 6.2.4 and NEC 460.6: stored charge takes time to go; computed: 1000 uF takes 152 s from 565 V to 60 V through 68 kohm; prudence",
		Mend:   "Say in the note what the voltage was. Where nobody knows, prove, test the pair again after some minutes, prove again.",
	},
	{
		Rule: record.UnprovedRetest, Severity: record.Caution,
		Asks:   "Where a proved dead reading counts for a pair, is no later dead reading of that pair without its proofs?",
		Why:    "The later test is the nearer one to the work, and nothing shows that the indicator worked.",
		Source: provingSource + "; prudence for what counts",
		Mend:   "Prove before and after every test, a repeated one too.",
	},
	{
		Rule: record.ProofRetried, Severity: record.Caution,
		Asks:   "Did every row of the proofs that bracket a counting reading pass at once?",
		Why:    "An indicator that shows the source at the second attempt may show a live conductor only at the second attempt as well.",
		Source: "prudence",
		Mend:   "Look the indicator, its leads and the source over. Where it happens again, put the indicator aside and have it checked.",
	},
	{
		Rule: record.ProofUnspecified, Severity: record.Caution,
		Asks: "Is it known what voltage each proof ought to have shown? Where it is not, a proof passes at 50 V or more, and no better can be asked.",
		Why:  "An indicator that shows 60 V of 230 V is faulty, and without the expected voltage nobody sees it.",
		Source: "from memory: HSE GS38 (4th edition, 2015): a proving unit, or a known live source of similar voltage; " +
			"IEC 61140: 50 V ac is the limit of extra-low voltage; prudence for the rest",
		Mend: "Record the voltage that the source puts out (expected), or give the proving unit's output in the register.",
	},
	{
		Rule: record.ProofWaveform, Severity: record.Caution,
		Asks:   "Was the indicator proved on the waveform that it then tested with? Not asked where the register says that it senses both.",
		Why:    "A proof on alternating voltage does not show that the indicator sees direct voltage, and the other way round.",
		Source: "prudence",
		Mend:   "Prove on the waveform of the supply; or, where the indicator senses both, say so under senses in the register.",
	},
	{
		Rule: record.ProofOnWork, Severity: record.Failure,
		Asks:   "After the first isolate, was no proof made on the conductors that are being isolated? Proofs on the supply side are right where the job sheet says that it stays live.",
		Why:    "After the isolation those conductors are to be dead. Either the proof was made on something else than it says, or the isolation did not work.",
		Source: "NFPA 70E-2021 120.5(7) and CSA Z462 4.2.5(g): a known voltage source; prudence",
		Mend:   "Treat the circuit as live. Prove on a proving unit or on another circuit that is known to be live, test every pair again, prove again.",
	},
	{
		Rule: record.ProofBelowNominal, Severity: record.Caution,
		Asks: "Did the proofs before and after each counting reading, by what the source puts out, else by what was shown, reach the nominal voltage between the conductors tested, to within 1 %?",
		Why:  "A proof at 50 V does not show that the indicator withstands and shows 400 V.",
		Source: "from memory: HSE GS38 (4th edition, 2015): a known live source of similar voltage, or a proving unit; IEC 60038: nominal voltages; " +
			"computed: line to line is sqrt 3 times line to neutral; prudence for the 1 %",
		Mend: "Prove on a source of the voltage that is to be tested. Where the proving unit reaches no higher, the site decides whether that is enough.",
	},
	{
		Rule: record.PermissionOrder, Severity: record.Failure,
		Asks:   "Where permission and isolation are both recorded, does the first permission stand before the first isolate?",
		Why:    "Power that goes off before the person in charge agreed takes others by surprise, and they are the ones who put it back.",
		Source: "common practice: permission comes before the power goes off; prudence",
		Mend:   "Tell the person in charge of the installation now, get the permission, and record when it was given.",
	},
	{
		Rule: record.PermissionGap, Severity: record.Caution,
		Asks:   "Was the circuit isolated at most 10 min (policy permission_gap) after the last permission before it?",
		Why:    "What was agreed an hour ago may no longer hold: other people have come, other work has begun.",
		Source: "common practice: about ten minutes, more on a bigger site; prudence (policy permission_gap)",
		Mend:   "Ask again before isolating when the time has run on. On a large site the policy may allow more.",
	},
	{
		Rule: record.NotSecured, Severity: record.Failure,
		Asks: "Has every isolate its lock before the first reading that counts? Fewer locks than isolates since the last restore (or the start) is a failure. " +
			"Not asked where no isolate is recorded.",
		Why:    "A device that is off and not locked is put on again by the next person who wants light.",
		Source: "EN 50110-1: the second of the five rules, secure against reconnection; Electricity at Work Regulations 1989, regulation 12: made secure",
		Mend:   "Lock every point of isolation and pull at the lock; then prove, test every pair and prove again. Record a lock for each isolate.",
	},
	{
		Rule: record.NotLabelled, Severity: record.Caution,
		Asks: "Has every isolate its label before the first reading that counts? Fewer labels than isolates since the last restore (or the start) is a caution. " +
			"Not asked where no isolate is recorded.",
		Why:    "A lock says no; a label says why, and whom to ask.",
		Source: "common practice",
		Mend:   "Hang a label at every point of isolation, with name, date and reason, and record it.",
	},
	{
		Rule: record.BeganEarly, Severity: record.Failure,
		Asks:   "Did the work begin only after every required pair was good, that is, after the last row of the proofs that followed the tests?",
		Why:    "The tests are complete when the indicator has been proved again, not before. Until then somebody worked on conductors that nobody had shown to be dead.",
		Source: provingSource + "; EN 50110-1: absence of voltage is verified before work",
		Mend:   "Stop the work and keep clear. Prove, test every pair, prove again, and only then go on.",
	},
	{
		Rule: record.BegunLate, Severity: record.Caution,
		Asks:   "Did the work begin at most 60 min (policy begin_within) after the last proof? A failure where no lock is recorded.",
		Why:    "The longer nobody works and nobody watches, the more can have been switched since the test.",
		Source: "prudence (policy begin_within)",
		Mend:   "Where time has gone by, look at the locks, then prove, test every pair and prove again before touching anything.",
	},
	{
		Rule: record.DeviceUnsuitable, Severity: record.Failure,
		Asks:   "Is the isolating device of a kind that its standard allows for isolation?",
		Why:    "A device that is made only to switch can leak when it is off, or close by itself: off is not separated.",
		Source: deviceSource + "; semiconductor devices never isolate: IEC 60364-5-53",
		Mend:   "Isolate with a device that is made for it, upstream; lock that one; then prove, test every pair and prove again.",
	},
	{
		Rule: record.DeviceUnknown, Severity: record.Caution,
		Asks:   "Does the table of devices know the one on the job sheet?",
		Why:    "Nobody can say whether it isolates.",
		Source: deviceSource,
		Mend:   "Read the product standard's number off the device and write that on the job sheet. Where it has none, isolate with another device.",
	},
	{
		Rule: record.DeviceMarkUnknown, Severity: record.Caution,
		Asks:   "Does the device's standard suit isolation without more? Some devices suit it only where they bear the symbol for isolation.",
		Why:    "Two devices of one standard can differ: one isolates, one only switches.",
		Source: deviceSource,
		Mend:   "Look for the symbol on the device and note it. Where it is not there, isolate with another device.",
	},
	{
		Rule: record.LineNotOpened, Severity: record.Failure,
		Asks:   "Do the poles of the isolating device open every line conductor in use?",
		Why:    "A line conductor that the device does not open stays connected to its source, and may be dead only for now.",
		Source: "Electricity at Work Regulations 1989, regulation 12: separation from every source; EN 50110-1: disconnect completely",
		Mend:   "Isolate with a device that opens every line conductor, or correct the poles on the job sheet; then prove, test every pair and prove again.",
	},
	{
		Rule: record.NeutralNotOpened, Severity: record.Failure,
		Asks: "On a TT or IT system with a neutral in use, do the poles of the isolating device open the neutral too?",
		Why:  "There the neutral can take a dangerous voltage to earth while the lines are open.",
		Source: "BS 7671, 461.2 (read as a draft): the neutral need not be opened in TN-S and TN-C-S; read of TT, clause not noted: all live conductors are, the neutral included; from memory: of IT as well; " +
			"common practice: single-pole devices do not suit",
		Mend: "Isolate with a device that opens the neutral as well, or correct the poles or the earthing on the job sheet; then prove, test every pair and prove again.",
	},
	{
		Rule: record.PENOpened, Severity: record.Caution,
		Asks:   "On a TN-C system with a neutral, does the isolating device leave the PEN conductor closed?",
		Why:    "With the PEN open, whatever it earths loses its earth and can stand at line voltage.",
		Source: "BS 7671, 461.2 (read as a draft): in TN-C the PEN is never opened",
		Mend:   "Look whether the device opens the PEN. Where it does, tell the person in charge of the installation; where it does not, correct the poles on the job sheet.",
	},
	{
		Rule: record.LoadNotShed, Severity: record.Caution,
		Asks:   "Where the device is not for switching under load (onload says no, or is blank and the table says so), was the load shed before the first isolate?",
		Why:    "Opened under load, such a device draws an arc that it cannot put out.",
		Source: "IEC 60947-3: AC-20 connects and disconnects without load only, AC-21 to AC-23 switch loads; " + deviceSource,
		Mend:   "Switch the load off first and record it as shed-load. Have a device that was opened under load looked at before it is closed again.",
	},
	{
		Rule: record.ProbeOrder, Severity: record.Caution,
		Asks:   "Where the order of the probes is recorded, was the first one placed on E or PEN, and on a pair with N but without these, on N?",
		Why:    "With the first probe on a live conductor, the tip in the other hand is live through the indicator.",
		Source: "the technical page of a certification body: first probe on earth; common practice: on a pair of line and neutral, on the neutral",
		Mend:   "Place the first probe on earth or neutral, the second on the line.",
	},
	{
		Rule: record.ConductorUnexpected, Severity: record.Caution,
		Asks:   "Is every conductor that a dead test names in use on the job sheet, or one of its switched lines?",
		Why:    "There is a conductor more than the job sheet knows of, or a name is wrong. In the first case pairs are missing that nobody asks for.",
		Source: "prudence",
		Mend:   "Look what is in the enclosure. Write every conductor on the job sheet, or correct the name, and have the record judged again.",
	},
	{
		Rule: record.LivePartsRemain, Severity: record.Caution,
		Asks:   "Is nothing beside the work live? It is where a test on the supply side read live and the job sheet says that this side stays so, or no later test shows it dead.",
		Why:    "The load side is dead and the supply side, a hand's breadth away, is not.",
		Source: "EN 50110-1: the fifth of the five rules, protect against adjacent live parts",
		Mend:   "Screen the live parts off before work begins, as the site's rules say.",
	},
	{
		Rule: record.InstrumentUnknownRule, Severity: record.Caution,
		Asks:   "Is every instrument of the readings in the register that was given, the indicator as an indicator? The source live and a blank one are no instruments.",
		Why:    "Nobody can say what steps it has, what it withstands and whether it is in date.",
		Source: "prudence",
		Mend:   "Enter the instrument in the register, or correct its id in the readings.",
	},
	{
		Rule: record.InstrumentWithdrawn, Severity: record.Failure,
		Asks:   "Was every instrument still in use on the day of each reading? From the date under withdrawn in the register it is not.",
		Why:    "It was taken out of use for a reason.",
		Source: "ISO 9001:2015, 7.1.5.2: when equipment is found unfit, decide on its results, and act; from memory: ISO/IEC 17025:2017, 6.4.9: take it out of service",
		Mend:   "Hand the instrument in. Prove another, test every pair again with it, prove it again.",
	},
	{
		Rule: record.InstrumentOverdue, Severity: record.Failure,
		Asks:   "Was every instrument in date on the day of each reading? It is due interval_days after it was serviced, and overdue from the day after that.",
		Why:    "Nobody has looked at it for longer than the site itself allows.",
		Source: "ILAC-G24:2022 / OIML D 10:2022: instruments have an interval, which is kept and reviewed",
		Mend:   "Hand the instrument in for service. Prove another, test every pair again with it, prove it again.",
	},
	{
		Rule: record.InstrumentUnderrated, Severity: record.Failure,
		Asks:   "Does the rating of every indicator fit the place: its max_volts not below the highest nominal voltage between the conductors it tested, and its category not below the job's? No indicator fits above 1000 V ac or 1500 V dc.",
		Why:    "An indicator that is tested beyond its rating can break down in the hand. Above low voltage other detectors and other rules of work are needed, which this tool does not judge.",
		Source: "IEC 61243-3: two-pole voltage detectors are for up to 1000 V ac and 1500 V dc; IEC 61010-031: categories II, III and IV, each with a voltage to earth; HSE GS38, paragraph 9: the category is marked; common practice: the lower of instrument and leads rules",
		Mend:   "Do not use it there. Take an indicator, with leads, of the right category and voltage; prove it, test every pair again, prove it again.",
	},
	{
		Rule: record.TooQuick, Severity: record.Caution,
		Asks:   "Is the median time between successive dead tests one second or more? Not asked where all their seconds are :00.",
		Why:    "Nobody moves two probes and reads a display in less. The rows may have been made up, or one contact counted as many.",
		Source: "prudence",
		Mend:   "Ask who took the readings. Where there is doubt, prove, test every pair and prove again.",
	},
	{
		Rule: record.CopiedReadings, Severity: record.Caution,
		Asks: "Do the readings in volts differ from those of every other record? The same values in the same order, three or more of them not zero, are not chance. " +
			"This rule needs all records at once; verify --stream does not judge it.",
		Why:    "Real readings differ in their last digits. These may have been copied from another job.",
		Source: "prudence",
		Mend:   "Ask who took the readings. Where there is doubt, prove, test every pair and prove again.",
	},
	{
		Rule: record.ClockDisagrees, Severity: record.Caution,
		Asks:   "Where two files hold the same proofs of an indicator (two or more, with the same sources, expected and shown volts, in the same order), are their times at most 2 min apart? And was no reading's time corrected by more?",
		Why:    "One of the clocks is wrong, and with it the order of proofs and tests. Where common proofs show by how much, the times are corrected, and the record says so.",
		Source: "prudence",
		Mend:   "Compare both instruments' clocks with a right one, set them, and note by how much they were off.",
	},
	{
		Rule: record.PolicyLoosened, Severity: record.Caution,
		Asks:   "Is the site's policy nowhere looser than the defaults? Where it is, every record says so, with the SHA-256 of the policy file.",
		Why:    "Whoever reads the judgement has to know by what measure it was made.",
		Source: "prudence",
		Mend:   "Nothing for the technician. Who keeps the policy states the reason for each looser value, or takes it back.",
	},
	{
		Rule: record.NotRecorded, Severity: record.Caution,
		Asks: "Is everything recorded that a full record shows? The job sheet's supply, nominal voltage, earthing, device and poles; the steps inspect, identify, permission, isolate, " +
			"lock, label and begin; the waveform of each counting reading; the source of the proofs that bracket it; the order of its probes; the steps of a stepped indicator.",
		Why:    "What is not recorded cannot be judged. It may have been done well.",
		Source: "EN 50110-1: the five rules in their order; HSG253: isolations are audited from time to time, which needs a record; prudence for the list",
		Mend:   "Record it next time. A site that wants it always puts not-recorded under failures in its policy.",
	},
}
