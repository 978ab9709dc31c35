package formats

// A Column is a column of the canonical reading events, of the job sheet or of
// the instrument register.
type Column uint8

// The canonical columns. Those from Site to End belong to the job sheet and may
// also stand among the readings; Record and Indicator are columns of both. Those
// from Instrument on belong to the register, whose Category is the job sheet's; those
// from Ambiguous on to Parquet files.
const (
	NoColumn Column = iota // a column of the file that is kept and ignored
	RecordColumn
	TimeColumn
	EventColumn
	IndicatorColumn
	SourceColumn
	FromColumn
	ToColumn
	PairColumn
	VoltsColumn
	WaveformColumn
	ExpectedColumn
	StageColumn
	SwitchColumn
	SeqColumn
	PointColumn
	SideColumn
	NoteColumn

	SiteColumn
	CircuitColumn
	TechnicianColumn
	SupplyColumn
	NominalColumn
	EarthingColumn
	ConductorsColumn
	SwitchedColumn
	DeviceColumn
	PolesColumn
	OnLoadColumn
	CategoryColumn
	SupplySideLiveColumn
	StartColumn
	EndColumn

	InstrumentColumn
	KindColumn
	SensesColumn
	StagesColumn
	MaxVoltsColumn
	ToleranceColumn
	OutputColumn
	ServicedColumn
	IntervalDaysColumn
	WithdrawnColumn
	ReferenceColumn

	AmbiguousColumn // of Parquet files: the row fits several records
	ClockColumn     // of Parquet files: how far the clock is ahead, and within what, in nanoseconds
	FileColumn      // of Parquet files: where the row stood in the input that was ingested
	LineColumn

	// NumColumns is one more than the highest column.
	NumColumns
)

var columnNames = [NumColumns]string{
	"", "record", "time", "event", "indicator", "source", "from", "to", "pair", "volts", "waveform", "expected",
	"stage", "switch", "seq", "point", "side", "note",
	"site", "circuit", "technician", "supply", "nominal", "earthing", "conductors", "switched", "device", "poles",
	"onload", "category", "supply_side_live", "start", "end",
	"instrument", "kind", "senses", "stages", "max_volts", "tolerance", "output", "serviced", "interval_days", "withdrawn",
	"reference",
	"ambiguous", "clock", "file", "line",
}

// String returns the name of the column in a canonical header.
func (c Column) String() string {
	if c < NumColumns {
		return columnNames[c]
	}
	return "no column"
}

// IsJob reports whether c belongs to the job sheet only.
func (c Column) IsJob() bool { return c >= SiteColumn && c <= EndColumn }
