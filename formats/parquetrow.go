package formats

import (
	"strconv"
	"strings"

	"nilvolt/record"
)

// The Parquet tables of an export. Struct tags say how a column is called and kept
// (parquet) and in what unit (unit); docs/parquet.md tells the same for people, which
// a test holds together. A text that is not there is null.

// A readingRow is a row of the table of readings: an event of a record or, where
// Event is null, a row of its job sheet. The job columns of an event are filled where
// they stood in its own row of the input.
type readingRow struct {
	Record      string   `parquet:"record,delta" unit:"id"`
	Version     int32    `parquet:"version,delta" unit:"number, from 1"`
	Time        *int64   `parquet:"time,optional,timestamp(millisecond:utc)" unit:"ms, UTC"`
	Nanoseconds *int32   `parquet:"time_nanoseconds,optional,dict" unit:"ns"`
	Offset      *int32   `parquet:"time_offset,optional,dict" unit:"min east of UTC"`
	Event       string   `parquet:"event,optional,dict" unit:"word"`
	Ambiguous   bool     `parquet:"ambiguous" unit:"yes or no"`
	ClockAhead  *int64   `parquet:"clock_ahead,optional,dict" unit:"ns"`
	ClockWithin *int64   `parquet:"clock_within,optional,dict" unit:"ns"`
	Indicator   string   `parquet:"indicator,optional,dict" unit:"id"`
	Source      string   `parquet:"source,optional,dict" unit:"id"`
	From        string   `parquet:"from,optional,dict" unit:"name"`
	To          string   `parquet:"to,optional,dict" unit:"name"`
	Pair        string   `parquet:"pair,optional,dict" unit:"names"`
	Volts       *float64 `parquet:"volts,optional,dict" unit:"V"`
	VoltsText   string   `parquet:"volts_text,optional,dict" unit:"text, in V where it is a number"`
	Waveform    string   `parquet:"waveform,optional,dict" unit:"word"`
	Expected    *float64 `parquet:"expected,optional,dict" unit:"V"`
	Stage       *float64 `parquet:"stage,optional,dict" unit:"V"`
	StageText   string   `parquet:"stage_text,optional,dict" unit:"text, in V where it is a number"`
	Switch      string   `parquet:"switch,optional,dict" unit:"word"`
	Seq         *int64   `parquet:"seq,optional" unit:"count"`
	Point       string   `parquet:"point,optional,dict" unit:"name"`
	Side        string   `parquet:"side,optional,dict" unit:"word"`
	Note        string   `parquet:"note,optional" unit:"text"`
	File        string   `parquet:"file,optional,dict" unit:"name"`
	Line        int32    `parquet:"line,delta" unit:"number, from 1"`

	Site           string   `parquet:"site,optional,dict" unit:"text"`
	Circuit        string   `parquet:"circuit,optional,dict" unit:"text"`
	Technician     string   `parquet:"technician,optional,dict" unit:"text"`
	Supply         string   `parquet:"supply,optional,dict" unit:"word"`
	Nominal        *float64 `parquet:"nominal,optional,dict" unit:"V"`
	Earthing       string   `parquet:"earthing,optional,dict" unit:"word"`
	Conductors     string   `parquet:"conductors,optional,dict" unit:"names"`
	Switched       string   `parquet:"switched,optional,dict" unit:"names"`
	Device         string   `parquet:"device,optional,dict" unit:"text"`
	Poles          string   `parquet:"poles,optional,dict" unit:"word"`
	OnLoad         string   `parquet:"onload,optional,dict" unit:"yes or no"`
	Category       string   `parquet:"category,optional,dict" unit:"word"`
	SupplySideLive string   `parquet:"supply_side_live,optional,dict" unit:"yes or no"`
	Start          string   `parquet:"start,optional,dict" unit:"RFC 3339"`
	End            string   `parquet:"end,optional,dict" unit:"RFC 3339"`
}

// setEvent fills the columns of an event.
func (r *readingRow) setEvent(ev *record.Event) {
	r.setTime(ev.Time)
	r.Event, r.Ambiguous = ev.Kind.String(), ev.Ambiguous
	if ev.Clock != nil {
		r.ClockAhead, r.ClockWithin = new(int64(ev.Clock.Ahead)), new(int64(ev.Clock.Within))
	}
	r.Indicator, r.Source = ev.Indicator, ev.Source
	switch {
	case ev.Placed:
		r.From, r.To = ev.Pair.A.String(), ev.Pair.B.String()
	case ev.Pair.IsSet():
		r.Pair = ev.Pair.A.String() + "/" + ev.Pair.B.String() // no name holds a slash
	}
	r.Volts, r.VoltsText = shown(ev.Volts.Volts, ev.Volts.Text, ev.Volts.State == record.Shown)
	r.Stage, r.StageText = shown(ev.Stage.Volts, ev.Stage.Text, ev.Stage.State == record.StageLit)
	r.Waveform, r.Switch, r.Side = ev.Waveform.String(), ev.Switch.String(), ev.Side.String()
	if ev.HasExpected {
		r.Expected = new(positive(ev.Expected))
	}
	if ev.HasSeq {
		r.Seq = new(ev.Seq)
	}
	r.Point, r.Note = ev.Point, ev.Note
	r.setPos(ev.Pos)
}

const (
	perSecond   = 1000      // milliseconds
	millisecond = 1_000_000 // in nanoseconds
	second      = 1_000_000_000
)

// setTime fills the columns of a time. What milliseconds cannot tell, finer fractions
// and leap seconds, stands in Nanoseconds.
func (r *readingRow) setTime(t record.Instant) {
	if !t.IsSet() {
		return
	}
	nsec := t.Nanosecond()
	r.Time = new(t.Unix()*perSecond + int64(min(nsec, second-1)/millisecond))
	if nsec%millisecond != 0 || nsec >= second {
		r.Nanoseconds = new(int32(nsec))
	}
	r.Offset = new(int32(t.Offset()))
}

// instant is the time that setTime was given.
func (r *readingRow) instant() record.Instant {
	if r.Time == nil || r.Offset == nil {
		return record.Instant{}
	}
	sec, milli := *r.Time/perSecond, *r.Time%perSecond
	if milli < 0 {
		sec, milli = sec-1, milli+perSecond
	}
	nsec := int(milli) * millisecond
	if r.Nanoseconds != nil {
		nsec = int(*r.Nanoseconds)
	}
	return record.NewInstant(sec, nsec, int(*r.Offset))
}

func (r *readingRow) setPos(p record.Pos) { r.File, r.Line = p.File, int32(p.Line) }

// setJob fills the job columns.
func (r *readingRow) setJob(j *record.Job) {
	r.Site, r.Circuit, r.Technician, r.Device = j.Site, j.Circuit, j.Technician, j.Device
	r.Supply, r.Earthing, r.Poles = j.Supply.String(), j.Earthing.String(), j.Poles.String()
	r.OnLoad, r.Category, r.SupplySideLive = j.OnLoad.String(), j.Category.String(), j.SupplySideLive.String()
	if j.Nominal != 0 {
		r.Nominal = new(float64(j.Nominal))
	}
	r.Conductors, r.Switched = joinNames(j.Conductors), joinNames(j.Switched)
	r.Start, r.End = j.Start.String(), j.End.String()
}

func joinNames(list []record.Conductor) string {
	var text strings.Builder
	for i, c := range list {
		if i > 0 {
			text.WriteByte(' ')
		}
		text.WriteString(c.String())
	}
	return text.String()
}

// hasJob reports whether a job column is filled.
func (r *readingRow) hasJob() bool {
	var row Row
	r.jobTexts(&row)
	for c := SiteColumn; c <= EndColumn; c++ {
		if row[c].Text != "" {
			return true
		}
	}
	return false
}

// shown keeps what a display showed: the value, and the text where it does not
// follow from the value.
func shown(v record.Volts, text string, isValue bool) (value *float64, other string) {
	if !isValue {
		return nil, text
	}
	value = new(positive(v))
	if text == formatVolts(value) {
		return value, ""
	}
	return value, text
}

// positive returns v as a number that is not the negative zero, which a dictionary
// does not tell from zero.
func positive(v record.Volts) float64 {
	if v == 0 {
		return 0
	}
	return float64(v)
}

// formatVolts returns the shortest decimal that means v, "" for nil.
func formatVolts(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// orVolts returns text or, where it is blank, v.
func orVolts(text string, v *float64) string {
	if text != "" {
		return text
	}
	return formatVolts(v)
}

// texts returns the row as canonical text.
func (r *readingRow) texts() Row {
	var row Row
	set := func(c Column, text string) { row[c].Text = text }
	set(RecordColumn, r.Record)
	set(TimeColumn, r.instant().String())
	set(EventColumn, r.Event)
	set(IndicatorColumn, r.Indicator)
	set(SourceColumn, r.Source)
	set(FromColumn, r.From)
	set(ToColumn, r.To)
	set(PairColumn, r.Pair)
	set(VoltsColumn, orVolts(r.VoltsText, r.Volts))
	set(WaveformColumn, r.Waveform)
	set(ExpectedColumn, formatVolts(r.Expected))
	set(StageColumn, orVolts(r.StageText, r.Stage))
	set(SwitchColumn, r.Switch)
	if r.Seq != nil {
		set(SeqColumn, strconv.FormatInt(*r.Seq, 10))
	}
	set(PointColumn, r.Point)
	set(SideColumn, r.Side)
	set(NoteColumn, r.Note)
	if r.Ambiguous {
		set(AmbiguousColumn, record.Yes.String())
	}
	if r.ClockAhead != nil && r.ClockWithin != nil {
		set(ClockColumn, strconv.FormatInt(*r.ClockAhead, 10)+" "+strconv.FormatInt(*r.ClockWithin, 10))
	}
	set(FileColumn, r.File)
	set(LineColumn, strconv.Itoa(int(r.Line)))
	r.jobTexts(&row)
	return row
}

func (r *readingRow) jobTexts(row *Row) {
	row[SiteColumn].Text = r.Site
	row[CircuitColumn].Text = r.Circuit
	row[TechnicianColumn].Text = r.Technician
	row[SupplyColumn].Text = r.Supply
	row[NominalColumn].Text = formatVolts(r.Nominal)
	row[EarthingColumn].Text = r.Earthing
	row[ConductorsColumn].Text = r.Conductors
	row[SwitchedColumn].Text = r.Switched
	row[DeviceColumn].Text = r.Device
	row[PolesColumn].Text = r.Poles
	row[OnLoadColumn].Text = r.OnLoad
	row[CategoryColumn].Text = r.Category
	row[SupplySideLiveColumn].Text = r.SupplySideLive
	row[StartColumn].Text = r.Start
	row[EndColumn].Text = r.End
}
