package record

// A Rule is one question that the judge asks of a record. Its String is the name
// that output, policies and review use.
type Rule uint8

// The core rules: always judged, each a failure.
const (
	RuleNone Rule = iota
	SupplyUnknownRule
	PairMissing
	SwitchPositionMissing
	LiveFoundRule
	ResidualVoltage
	ReadingUnreadable
	CannotShowDead
	WrongWaveform
	ProveMissing
	ProveFailed
	ProveStale
	ReproveMissing
	ReproveFailed
	ReproveLate
	ProofFailedElsewhere

	// The further rules: judged when the record holds the evidence.

	ConductorsReduced
	JobConflict
	RecordMixed
	ClockBackwards
	LiveUnexplained
	Interrupted
	ReadingChanged
	UnprovedRetest
	ProofRetried
	ProofUnspecified
	ProofWaveform
	ProofOnWork
	ProofBelowNominal
	PermissionOrder
	PermissionGap
	NotSecured
	NotLabelled
	BeganEarly
	BegunLate
	DeviceUnsuitable
	DeviceUnknown
	DeviceMarkUnknown
	LineNotOpened
	NeutralNotOpened
	PENOpened
	LoadNotShed
	ProbeOrder
	ConductorUnexpected
	LivePartsRemain
	InstrumentUnknownRule
	InstrumentWithdrawn
	InstrumentOverdue
	InstrumentUnderrated
	TooQuick
	CopiedReadings
	ClockDisagrees
	PolicyLoosened
	NotRecorded

	// NumRules is one more than the highest rule.
	NumRules
)

var ruleWords = []string{
	"", "supply-unknown", "pair-missing", "switch-position-missing", "live-found", "residual-voltage",
	"reading-unreadable", "cannot-show-dead", "wrong-waveform", "prove-missing", "prove-failed", "prove-stale",
	"reprove-missing", "reprove-failed", "reprove-late", "proof-failed-elsewhere",
	"conductors-reduced", "job-conflict", "record-mixed", "clock-backwards", "live-unexplained", "interrupted",
	"reading-changed", "unproved-retest", "proof-retried", "proof-unspecified", "proof-waveform", "proof-on-work",
	"proof-below-nominal", "permission-order", "permission-gap", "not-secured", "not-labelled", "began-early",
	"begun-late", "device-unsuitable", "device-unknown", "device-mark-unknown", "line-not-opened",
	"neutral-not-opened", "pen-opened", "load-not-shed", "probe-order", "conductor-unexpected",
	"live-parts-remain", "instrument-unknown", "instrument-withdrawn", "instrument-overdue",
	"instrument-underrated", "too-quick", "copied-readings", "clock-disagrees", "policy-loosened", "not-recorded",
}

// ParseRule reads the name of a rule; an unknown or blank name is an error.
func ParseRule(text string) (Rule, error) {
	r, err := parseWord[Rule](ruleWords, text)
	if err == nil && r == RuleNone {
		err = errUnknownWord
	}
	return r, err
}

// String returns the name.
func (r Rule) String() string { return wordOf(ruleWords, r) }

// IsCore reports whether r is always judged and always a failure.
func (r Rule) IsCore() bool { return r > RuleNone && r <= ProofFailedElsewhere }
