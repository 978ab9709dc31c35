package record

// An InstrumentKind says what an instrument of the register is.
type InstrumentKind uint8

// The kinds of instrument.
const (
	InstrumentUnknown InstrumentKind = iota // not stated
	Indicator                               // a voltage indicator
	ProvingUnit                             // a proving unit
)

var instrumentWords = []string{"", "indicator", "proving-unit"}

// ParseInstrumentKind reads indicator or proving-unit.
func ParseInstrumentKind(text string) (InstrumentKind, error) {
	return parseWord[InstrumentKind](instrumentWords, text)
}

// String returns the word, "" for InstrumentUnknown.
func (k InstrumentKind) String() string { return wordOf(instrumentWords, k) }

// An Instrument is one row of the instrument register. Blank fields have their
// zero value.
type Instrument struct {
	ID           string
	Kind         InstrumentKind
	Senses       Waveform // what an indicator can show
	Stages       []Volts  // steps of a stepped indicator, ascending; nil for a numeric display
	MaxVolts     Volts    // highest voltage it may be used on; 0 is blank
	Category     Category
	Tolerance    float64 // percent of the expected voltage; 0 is blank
	Outputs      []Volts // what a proving unit puts out; nil is blank
	Serviced     Date
	IntervalDays int   // days from one service to the next; 0 is blank
	Withdrawn    Date  // not to be used from that day on
	Reference    YesNo // a proving unit that was verified against a standard, so that others are measured by it
	Pos          Pos   // where the row begins
}

// Due returns the last day on which the instrument may be used before it is
// serviced; the zero Date where service or interval is not recorded.
func (i *Instrument) Due() Date {
	if !i.Serviced.IsSet() || i.IntervalDays <= 0 {
		return Date{}
	}
	return i.Serviced.AddDays(i.IntervalDays)
}

// A Register is the instruments of a firm by id. A nil Register says that none
// was given.
type Register map[string]*Instrument
