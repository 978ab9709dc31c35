package record

// A Job is one row of a job sheet: what the technician wrote of a record. Blank
// fields have their zero value.
type Job struct {
	Record         string // record id
	Site           string
	Circuit        string
	Technician     string
	Supply         Supply
	Nominal        Volts // SPEC of the supply column: line-earth for single-phase, line-line otherwise; 0 is blank
	Earthing       Earthing
	Conductors     []Conductor // replaces the supply's conductors; nil is blank
	Switched       []Conductor // switched lines
	Device         string      // product standard or common name of the isolating device
	Poles          Poles
	OnLoad         YesNo // may the device be switched under load
	Category       Category
	SupplySideLive YesNo  // the supply side stays live
	Indicator      string // which instrument made the tests, for matching
	Start, End     Instant
	Pos            Pos // where the row begins
}

// A Record is the evidence of one isolation at one point of work: all rows of
// one id in one call.
type Record struct {
	ID string
	// Jobs are the job rows of this record, those of job sheets first, then
	// those of job columns that stand in the readings. Several rows that say
	// different things are a conflict, which the judge reports.
	Jobs []Job
	// Events are all rows: files in the order given, rows in file order.
	Events []Event
}
