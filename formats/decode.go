package formats

import (
	"errors"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
	"unique"

	"nilvolt/record"
)

// DecodeRow turns the canonical text of one row into an event and, where the row
// has job columns that are not blank (hasJob), a job. pos is where the row
// begins. All mistakes of the row are reported; ev and job are of use only when
// there is none.
//
// A row must have a time and an event; a proof or a dead test an indicator; a dead
// test two conductors that differ. The pair of any other row is optional, but it
// is whole or not there, and pair and from/to agree.
func DecodeRow(row *Row, pos record.Pos, ev *record.Event, job *record.Job) (id string, hasJob bool, problems []*Problem) {
	var s rowState
	var refused [NumColumns]bool
	s.event.Pos, s.job.Pos = pos, pos
	for c := RecordColumn; c < NumColumns; c++ {
		f := &row[c]
		if f.Text == "" {
			refused[c] = f.Refused
			continue
		}
		if c.IsJob() && !isBlank(f.Text) {
			hasJob = true
		}
		if err := s.set(c, f.Text); err != nil {
			problems = append(problems, fieldProblem(c, f, err))
			refused[c] = true
		}
	}
	if !s.finish() {
		problems = append(problems, s.incomplete(row, &refused)...)
	}
	if s.line > 0 {
		s.event.Pos.Line, s.job.Pos = s.line, record.Pos{File: s.event.Pos.File, Line: s.line}
	}
	s.job.Record = s.id
	*ev, *job = s.event, s.job
	return s.id, hasJob, problems
}

// A rowState is one row as far as its fields are decoded. Each column sets its
// own part and no other, so that a row can be decoded on top of the row before
// it, field by field where the text differs.
type rowState struct {
	id       string // record id, outer blanks removed
	event    record.Event
	job      record.Job
	from, to record.Conductor
	pair     record.Pair
	line     int // where the row stood before it came into a Parquet file; 0 in any other file
}

var errEncoding = errors.New("bytes that are no UTF-8 text")

// set decodes the text of one column.
func (s *rowState) set(c Column, text string) (err error) {
	switch c {
	case TimeColumn:
		s.event.Time = record.Instant{}
		if !isBlank(text) {
			s.event.Time, err = record.ParseInstant(trim(text))
		}
	case EventColumn:
		s.event.Kind, err = record.ParseKind(text)
	case FromColumn:
		s.from, err = record.ParseConductor(text)
	case ToColumn:
		s.to, err = record.ParseConductor(text)
	case PairColumn:
		s.pair, err = record.ParsePair(text)
	case VoltsColumn:
		s.event.Volts, err = record.ParseReading(text)
	case WaveformColumn:
		s.event.Waveform, err = record.ParseWaveform(text)
	case ExpectedColumn:
		s.event.Expected, s.event.HasExpected = 0, false
		if text != "" {
			s.event.Expected, s.event.HasExpected, err = record.ParseVolts(text)
		}
	case StageColumn:
		s.event.Stage, err = record.ParseStage(text)
	case SwitchColumn:
		s.event.Switch, err = record.ParseSwitch(text)
	case SeqColumn:
		s.event.Seq, s.event.HasSeq, err = parseSeq(text)
	case SideColumn:
		s.event.Side, err = record.ParseSide(text)
	case LineColumn:
		s.line, err = parseLine(text)
	case SupplyColumn:
		s.job.Supply, err = record.ParseSupply(text)
	case EarthingColumn:
		s.job.Earthing, err = record.ParseEarthing(text)
	case PolesColumn:
		s.job.Poles, err = record.ParsePoles(text)
	case OnLoadColumn:
		s.job.OnLoad, err = record.ParseYesNo(text)
	case CategoryColumn:
		s.job.Category, err = record.ParseCategory(text)
	case SupplySideLiveColumn:
		s.job.SupplySideLive, err = record.ParseYesNo(text)
	case NoColumn:
	default:
		if !utf8.ValidString(text) {
			return errEncoding
		}
		return s.setText(c, text)
	}
	if err != nil && !utf8.ValidString(text) {
		return errEncoding
	}
	return err
}

// setText sets the columns of text that no list of words holds.
func (s *rowState) setText(c Column, text string) (err error) {
	switch c {
	case RecordColumn:
		s.id = trim(text)
		err = checkID(s.id)
	case IndicatorColumn:
		s.event.Indicator = trim(text)
		err = checkID(s.event.Indicator)
	case SourceColumn:
		s.event.Source = trim(text)
		if len(s.event.Source) == len(record.Live) && strings.EqualFold(s.event.Source, record.Live) {
			s.event.Source = record.Live
		}
		err = checkID(s.event.Source)
	case PointColumn:
		s.event.Point = trim(text)
	case NoteColumn:
		s.event.Note = text
	case SiteColumn:
		s.job.Site = trim(text)
	case CircuitColumn:
		s.job.Circuit = trim(text)
	case TechnicianColumn:
		s.job.Technician = trim(text)
	case DeviceColumn:
		s.job.Device = trim(text)
	case NominalColumn:
		s.job.Nominal, _, err = record.ParseVolts(text)
	case ConductorsColumn:
		s.job.Conductors, err = parseConductors(text)
	case SwitchedColumn:
		s.job.Switched, err = parseConductors(text)
	case StartColumn:
		s.job.Start, err = parseJobTime(text)
	case EndColumn:
		s.job.End, err = parseJobTime(text)
	case AmbiguousColumn:
		var answer record.YesNo
		answer, err = record.ParseYesNo(text)
		s.event.Ambiguous = answer == record.Yes
	case ClockColumn:
		s.event.Clock, err = parseClock(text)
	case FileColumn:
		if text == "" {
			return errNoFile
		}
		// Findings keep it for longer than the text lasts.
		s.event.Pos.File = unique.Make(text).Value()
	}
	return err
}

// parseClock reads how far a clock is ahead, and within what, in nanoseconds.
func parseClock(text string) (*record.Clock, error) {
	if text == "" {
		return nil, nil
	}
	ahead, within, _ := strings.Cut(text, " ")
	a, errAhead := strconv.ParseInt(ahead, 10, 64)
	w, errWithin := strconv.ParseInt(within, 10, 64)
	if errAhead != nil || errWithin != nil || w < 0 {
		return nil, errNotClock
	}
	return &record.Clock{Ahead: time.Duration(a), Within: time.Duration(w)}, nil
}

// parseLine reads the number of a line.
func parseLine(text string) (int, error) {
	line, err := strconv.ParseUint(text, 10, 31)
	if err != nil || line == 0 {
		return 0, errNotLine
	}
	return int(line), nil
}

var (
	errNotLine  = errors.New("not the number of a line")
	errNoFile   = errors.New("no name of a file")
	errNotClock = errors.New("not how far a clock is ahead")
)

// parseSeq reads an instrument's counter.
func parseSeq(text string) (seq int64, ok bool, err error) {
	if isBlank(text) {
		return 0, false, nil
	}
	seq, err = strconv.ParseInt(trim(text), 10, 64)
	if err != nil {
		return 0, false, errNotInteger
	}
	return seq, true, nil
}

var errNotInteger = errors.New("not an integer")

// mostConductors is how many names a list may have. Every pair of them is to be
// tested, so no piece of work has as many.
const mostConductors = 64

var errConductors = errors.New("more than " + strconv.Itoa(mostConductors) + " conductors")

// parseConductors reads names separated by blanks; blank text gives nil.
func parseConductors(text string) ([]record.Conductor, error) {
	var list []record.Conductor
	for name := range strings.FieldsSeq(text) {
		if len(list) == mostConductors {
			return nil, errConductors
		}
		c, err := record.ParseConductor(name)
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, nil
}

// parseJobTime reads a start or an end; blank text gives the zero Instant.
func parseJobTime(text string) (record.Instant, error) {
	if isBlank(text) {
		return record.Instant{}, nil
	}
	return record.ParseInstant(trim(text))
}

// finish puts the pair together and reports whether the row as a whole is
// complete. Where it is not, incomplete says why.
func (s *rowState) finish() bool {
	ev := &s.event
	fromTo := record.Pair{A: s.from, B: s.to}
	ev.Placed = fromTo.IsSet()
	switch {
	case !ev.Placed:
		ev.Pair = s.pair
		if s.from.IsSet() || s.to.IsSet() {
			return false
		}
	case s.pair.IsSet() && !s.pair.Same(fromTo):
		return false
	default:
		ev.Pair = fromTo
	}
	if ev.Kind == record.KindUnknown || !ev.Time.IsSet() || ev.Kind.IsReading() && ev.Indicator == "" ||
		ev.Kind == record.Output && ev.Source == "" {
		return false
	}
	if ev.Pair.IsSet() {
		return ev.Pair.A != ev.Pair.B
	}
	return ev.Kind != record.Test
}

// incomplete lists what finish found wanting, but for what follows from a field
// whose text was refused.
func (s *rowState) incomplete(row *Row, refused *[NumColumns]bool) []*Problem {
	var problems []*Problem
	add := func(c Column, message, mend string) {
		if refused[c] {
			return
		}
		f := &row[c]
		problems = append(problems, &Problem{
			Column: f.Column, Line: f.Line, Field: c.String(), Text: f.Text, Message: message, Mend: mend,
		})
	}
	ev := &s.event
	if !ev.Time.IsSet() {
		add(TimeColumn, "a row without a time", "give every row the time at which it was recorded")
	}
	if ev.Kind == record.KindUnknown {
		add(EventColumn, "a row without an event", "say what the row records: "+strings.Join(record.KindWords(), ", "))
	}
	if ev.Kind.IsReading() && ev.Indicator == "" {
		add(IndicatorColumn, "a reading without an indicator",
			"write which voltage indicator took it; a column map may give one for the whole file")
	}
	if ev.Kind == record.Output && ev.Source == "" {
		add(SourceColumn, "an output without the proving unit that gave it",
			"write which proving unit it was; a column map may give one for the whole file")
	}
	if refused[FromColumn] || refused[ToColumn] || refused[PairColumn] {
		return problems
	}
	const mendPair = "name both conductors, in from and to or in pair"
	where := PairColumn
	if s.from.IsSet() || s.to.IsSet() {
		where = FromColumn
	}
	switch fromTo := (record.Pair{A: s.from, B: s.to}); {
	case s.from.IsSet() && !s.to.IsSet():
		add(ToColumn, "one conductor without the other", mendPair)
	case s.to.IsSet() && !s.from.IsSet():
		add(FromColumn, "one conductor without the other", mendPair)
	case fromTo.IsSet() && s.pair.IsSet() && !s.pair.Same(fromTo):
		add(PairColumn, "not the conductors of from and to, "+fromTo.String(), "correct one of them, or leave pair blank")
	case ev.Pair.IsSet() && ev.Pair.A == ev.Pair.B:
		add(where, "both conductors of the pair are "+ev.Pair.A.String(), "name two conductors that differ (PE, CPC and G are E)")
	case ev.Kind == record.Test && !ev.Pair.IsSet():
		add(where, "a dead test without its two conductors", mendPair)
	}
	return problems
}

// fieldProblem is the problem of a field whose text set refused.
func fieldProblem(c Column, f *Field, err error) *Problem {
	mend := wordMend(c, columnMends[c])
	if errors.Is(err, errEncoding) {
		mend = "save the file as UTF-8, or name its encoding in a column map"
	}
	if errors.Is(err, errConductors) {
		mend = "name the conductors at the point of work only; give another point a record of its own"
	}
	if _, unseen := errors.AsType[*unseenError](err); unseen {
		mend = mendUnseen
	}
	return problemAt(c, f, err.Error(), mend)
}

// wordMend is the mend of a word that a column refuses: what it takes, or a map.
func wordMend(c Column, mend string) string {
	if contentOf(c) != wordContent {
		return mend
	}
	return mend + "; a column map can translate other words, under  words:  of " + c.String()
}

const (
	mendTime = "write the time with its offset, as in 2026-03-02T09:15:00+01:00, or let a column map say how times are written and in which zone"
	mendName = "a name holds letters, digits and + - . _ ' only; a column map may translate it"
	mendVolt = "write volts in digits, as in 229.8, and what is no value as ---"
)

// columnMends says what to do about text that a column refuses.
var columnMends = [NumColumns]string{
	TimeColumn:           mendTime,
	EventColumn:          "use one of " + strings.Join(record.KindWords(), ", "),
	FromColumn:           mendName,
	ToColumn:             mendName,
	PairColumn:           "write two conductors as in L1-N, or use the columns from and to",
	VoltsColumn:          mendVolt,
	WaveformColumn:       "use ac, dc or both, or leave it blank",
	ExpectedColumn:       mendVolt,
	StageColumn:          "write the highest lit step in volts, as in 50, or none",
	SwitchColumn:         "use on, off, a or b, or leave it blank",
	SeqColumn:            "write the instrument's counter in digits, or leave it blank",
	SideColumn:           "use supply or load, or leave it blank",
	SupplyColumn:         "use single-phase, three-phase, three-phase-3-wire, split-phase, dc or dc-3-wire",
	NominalColumn:        mendVolt,
	EarthingColumn:       "use TN-S, TN-C-S, TN-C, TT or IT",
	ConductorsColumn:     mendName,
	SwitchedColumn:       mendName,
	PolesColumn:          "use 1P, 1P+N, 2P, 3P, 3P+N, 4P or plug",
	OnLoadColumn:         "use yes or no, or leave it blank",
	CategoryColumn:       "use II, III or IV",
	SupplySideLiveColumn: "use yes or no, or leave it blank",
	StartColumn:          mendTime,
	EndColumn:            mendTime,
}

// trim is short for TrimBlanks.
func trim(text string) string { return TrimBlanks(text) }

// TrimBlanks returns text without outer spaces and tabs.
func TrimBlanks(text string) string {
	start, end := 0, len(text)
	for start < end && (text[start] == ' ' || text[start] == '\t') {
		start++
	}
	for end > start && (text[end-1] == ' ' || text[end-1] == '\t') {
		end--
	}
	return text[start:end]
}

// isBlank reports whether text holds nothing but spaces and tabs.
func isBlank(text string) bool { return trim(text) == "" }
