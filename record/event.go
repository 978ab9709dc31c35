package record

import "time"

// A Kind says what a row records: a proof, a dead test or a step; or that a proving
// unit was switched on, which says nothing of what an indicator showed.
type Kind uint8

// The kinds of event. Prove and Reprove are both proofs: the position decides
// which one a proof is, not the label.
const (
	KindUnknown Kind = iota // not recorded; no valid row has it
	Prove
	Test
	Reprove
	Inspect    // the indicator and its leads looked over
	Identify   // the circuit shown to be the one that the device controls
	Permission // leave to switch off
	ShedLoad   // load taken off before switching
	Isolate    // the isolating device opened
	Lock       // lock fitted, and pulled to see that it holds
	Label      // warning label fitted
	Begin      // work begun
	Restore    // power put back
	Output     // the proving unit's output switched on, as the unit's own log shows it
)

var kindWords = []string{
	"", "prove", "test", "reprove", "inspect", "identify", "permission",
	"shed-load", "isolate", "lock", "label", "begin", "restore", "output",
}

// ParseKind reads a word of the event column.
func ParseKind(text string) (Kind, error) {
	switch text { // the common words, without a look-up
	case "test":
		return Test, nil
	case "prove":
		return Prove, nil
	case "reprove":
		return Reprove, nil
	}
	return parseWord[Kind](kindWords, text)
}

// String returns the word, "" for KindUnknown.
func (k Kind) String() string { return wordOf(kindWords, k) }

// KindWords returns the words of the event column.
func KindWords() []string { return kindWords[1:] }

// IsProof reports whether k is a reading on a proving source.
func (k Kind) IsProof() bool { return k == Prove || k == Reprove }

// IsReading reports whether k is a proof or a dead test.
func (k Kind) IsReading() bool { return k >= Prove && k <= Reprove }

// IsStep reports whether k is something done rather than read.
func (k Kind) IsStep() bool { return k >= Inspect && k <= Restore }

// A Switch is the position of the switch of a switched line during a reading.
type Switch uint8

// The switch positions.
const (
	SwitchUnknown Switch = iota // not recorded
	SwitchOn
	SwitchOff
	SwitchA // one of the two, where nobody can tell which is on
	SwitchB // the other
)

var switchWords = []string{"", "on", "off", "a", "b"}

// ParseSwitch reads on, off, a or b.
func ParseSwitch(text string) (Switch, error) { return parseWord[Switch](switchWords, text) }

// String returns the word, "" for SwitchUnknown.
func (s Switch) String() string { return wordOf(switchWords, s) }

// A Side says on which side of the isolating device a reading was taken.
type Side uint8

// The sides.
const (
	SideUnknown Side = iota // not recorded
	SupplySide
	LoadSide
)

var sideWords = []string{"", "supply", "load"}

// ParseSide reads supply or load.
func ParseSide(text string) (Side, error) { return parseWord[Side](sideWords, text) }

// String returns the word, "" for SideUnknown.
func (s Side) String() string { return wordOf(sideWords, s) }

// Live is the source word for a known live source.
const Live = "live"

// A Clock says how the clock of the log in which a row stands goes against the clock
// of its record. All rows of one log in one record share it, so that what lies between
// them is as it was logged.
type Clock struct {
	Ahead  time.Duration // negative is behind
	Within time.Duration // the uncertainty of Ahead
}

// ClocksAgree is how far apart two clocks may be and still be said to agree: up to it
// what was logged counts as well as what was corrected (policy of this project).
const ClocksAgree = 2 * time.Minute

// Off reports whether the clock is so far off that its logged times are let go.
func (c *Clock) Off() bool { return c.Ahead.Abs() > ClocksAgree }

// An Event is one row: a proof, a dead test, a step or an output.
type Event struct {
	Time      Instant // always set; as it was logged
	Kind      Kind    // never KindUnknown
	Waveform  Waveform
	Switch    Switch
	Side      Side
	Placed    bool   // Pair.A is the probe placed first (the row had from and to)
	Ambiguous bool   // the row fits several records and was handed to each of them
	Indicator string // id of the voltage indicator; not blank on a reading
	Source    string // id of the proving unit, Live, or blank
	Pair      Pair   // set on a dead test; on a proof only if it was taken on conductors
	Volts     Reading
	Expected  Volts // what the source puts out; meaningful only when HasExpected
	// HasExpected is false when the field is blank.
	HasExpected bool
	HasSeq      bool
	Seq         int64 // the instrument's own counter; meaningful only when HasSeq
	Stage       Stage
	Point       string // where on the equipment; blank where only one point is tested
	Note        string
	Clock       *Clock // nil where the time is taken as it was logged
	Pos         Pos    // where the row begins
}

// SameContent reports whether two rows say the same; where they stand does not
// count.
func (e *Event) SameContent(f *Event) bool {
	a, b := *e, *f
	a.Pos, b.Pos = Pos{}, Pos{}
	a.Clock, b.Clock = nil, nil
	sameTime := a.Time.Compare(b.Time) == 0
	a.Time, b.Time = Instant{}, Instant{}
	if a.Pair.Same(b.Pair) && !a.Placed && !b.Placed {
		a.Pair, b.Pair = Pair{}, Pair{}
	}
	return sameTime && a == b
}
