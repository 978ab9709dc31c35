package record

// A Supply is the kind of supply of the circuit. Its String is the word of the
// job sheet.
type Supply uint8

// The supplies.
const (
	SupplyUnknown   Supply = iota // not stated
	SinglePhase                   // L N E
	ThreePhase                    // L1 L2 L3 N E
	ThreePhase3Wire               // L1 L2 L3 E
	SplitPhase                    // L1 L2 N E
	DC                            // L+ L- E
	DC3Wire                       // L+ M L- E
)

var supplyWords = []string{"", "single-phase", "three-phase", "three-phase-3-wire", "split-phase", "dc", "dc-3-wire"}

// ParseSupply reads a word of the job sheet's supply column.
func ParseSupply(text string) (Supply, error) { return parseWord[Supply](supplyWords, text) }

// String returns the word, "" for SupplyUnknown.
func (s Supply) String() string { return wordOf(supplyWords, s) }

// IsDC reports whether s is a direct-current supply.
func (s Supply) IsDC() bool { return s == DC || s == DC3Wire }

// Conductors returns the conductors of s in the order in which pairs are
// written, nil for SupplyUnknown. The caller must not change the slice.
func (s Supply) Conductors() []Conductor {
	if int(s) < len(supplyConductors) {
		return supplyConductors[s]
	}
	return nil
}

var supplyConductors = [...][]Conductor{
	SupplyUnknown:   nil,
	SinglePhase:     {L, N, E},
	ThreePhase:      {L1, L2, L3, N, E},
	ThreePhase3Wire: {L1, L2, L3, E},
	SplitPhase:      {L1, L2, N, E},
	DC:              {LPlus, LMinus, E},
	DC3Wire:         {LPlus, M, LMinus, E},
}

// An Earthing is the type of system earthing (IEC 60364-1, 312.2).
type Earthing uint8

// The earthing systems.
const (
	EarthingUnknown Earthing = iota // not stated
	TNS
	TNCS
	TNC
	TT
	IT
)

var earthingWords = []string{"", "TN-S", "TN-C-S", "TN-C", "TT", "IT"}

// ParseEarthing reads a word of the job sheet's earthing column.
func ParseEarthing(text string) (Earthing, error) { return parseWord[Earthing](earthingWords, text) }

// String returns the word, "" for EarthingUnknown.
func (e Earthing) String() string { return wordOf(earthingWords, e) }

// A Waveform is what kind of voltage an instrument was set to or can sense.
type Waveform uint8

// The waveforms.
const (
	WaveformUnknown Waveform = iota // not recorded
	AC                              // alternating voltage
	DirectVoltage                   // direct voltage; the word is "dc"
	BothWaveforms                   // either
)

var waveformWords = []string{"", "ac", "dc", "both"}

// ParseWaveform reads ac, dc or both.
func ParseWaveform(text string) (Waveform, error) { return parseWord[Waveform](waveformWords, text) }

// String returns the word, "" for WaveformUnknown.
func (w Waveform) String() string { return wordOf(waveformWords, w) }

// Poles says which conductors an isolating device opens.
type Poles uint8

// The pole arrangements.
const (
	PolesUnknown Poles = iota // not stated
	Poles1
	Poles1N
	Poles2
	Poles3
	Poles3N
	Poles4
	PolesPlug // a plug: every conductor
)

var polesWords = []string{"", "1P", "1P+N", "2P", "3P", "3P+N", "4P", "plug"}

// ParsePoles reads a word of the job sheet's poles column.
func ParsePoles(text string) (Poles, error) { return parseWord[Poles](polesWords, text) }

// String returns the word, "" for PolesUnknown.
func (p Poles) String() string { return wordOf(polesWords, p) }

// Opens returns how many of the circuit's lines line conductors the device
// opens, and whether it opens the neutral too. Poles that are not marked as
// neutral open lines first.
func (p Poles) Opens(lines int) (opened int, neutral bool) {
	poles := 0
	switch p {
	case PolesUnknown:
		return 0, false
	case PolesPlug:
		return lines, true
	case Poles1N:
		return min(1, lines), true
	case Poles3N:
		return min(3, lines), true
	case Poles1:
		poles = 1
	case Poles2:
		poles = 2
	case Poles3:
		poles = 3
	case Poles4:
		poles = 4
	}
	return min(poles, lines), poles > lines
}

// A Category is a measurement (overvoltage) category of IEC 61010-031; higher
// is nearer to the origin of the installation.
type Category uint8

// The categories.
const (
	CategoryUnknown Category = iota // not stated
	CategoryII
	CategoryIII
	CategoryIV
)

var categoryWords = []string{"", "II", "III", "IV"}

// ParseCategory reads II, III or IV.
func ParseCategory(text string) (Category, error) { return parseWord[Category](categoryWords, text) }

// String returns the numeral, "" for CategoryUnknown.
func (c Category) String() string { return wordOf(categoryWords, c) }

// A YesNo is an answer on a job sheet, which may be missing.
type YesNo uint8

// The answers.
const (
	Unstated YesNo = iota // no answer
	Yes
	No
)

var yesNoWords = []string{"", "yes", "no"}

// ParseYesNo reads yes or no.
func ParseYesNo(text string) (YesNo, error) { return parseWord[YesNo](yesNoWords, text) }

// String returns the word, "" for Unstated.
func (y YesNo) String() string { return wordOf(yesNoWords, y) }
