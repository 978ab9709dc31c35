package formats

import (
	"errors"
	"slices"
	"strconv"
	"strings"

	"nilvolt/record"
)

var registerColumns = &columnSet{
	kind:     registerFile,
	what:     "instrument registers",
	has:      func(c Column) bool { return c == CategoryColumn || c >= InstrumentColumn && c <= ReferenceColumn },
	required: []Column{InstrumentColumn, KindColumn},
}

// ReadRegister reads a whole instrument register, a row an instrument, in any
// form that [Sniff] knows; m is nil for a canonical one. An instrument without
// an id or a kind, two rows of one instrument, and a register without a row are
// errors. The error is a *RowError or a
// *BadRows with all that is wrong.
func ReadRegister(data []byte, name string, m *Map) (record.Register, error) {
	text, l, err := bindWhole(data, name, m, registerColumns)
	if err != nil {
		return nil, err
	}
	r := newRegisterReader()
	if err := eachRow(text, name, l, r.row).Err(); err != nil {
		return nil, err
	}
	return r.register, nil
}

// A registerReader takes up the rows of a register.
type registerReader struct {
	register record.Register
	seen     map[string]int // lines by id in lower case
}

func newRegisterReader() *registerReader {
	return &registerReader{record.Register{}, map[string]int{}}
}

// row takes up a row, and returns what is wrong with it.
func (r *registerReader) row(row *Row, pos record.Pos) []*Problem {
	instrument := &record.Instrument{Pos: pos}
	problems := decodeInstrument(row, instrument)
	id := strings.ToLower(instrument.ID)
	if first := r.seen[id]; first != 0 {
		problems = append(problems, problemAt(InstrumentColumn, &row[InstrumentColumn],
			"this instrument stands on line "+strconv.Itoa(first)+" already", "keep one row for each instrument; case does not matter"))
	}
	if id != "" {
		r.seen[id] = pos.Line
		r.register[instrument.ID] = instrument
	}
	return problems
}

func decodeInstrument(row *Row, i *record.Instrument) []*Problem {
	i.ID = trim(row[InstrumentColumn].Text)
	problems := problemsOf(
		notBlank(InstrumentColumn, row, "an instrument without an id", "give the id that the readings name it by"),
		notBlank(KindColumn, row, "an instrument of no kind", "write indicator or proving-unit"),
	)
	if strings.EqualFold(i.ID, record.Live) {
		problems = append(problems, problemAt(InstrumentColumn, &row[InstrumentColumn],
			"the word for a known live source, not an instrument", "give the instrument another id"))
	}
	for c := range NumColumns {
		f := &row[c]
		if !registerColumns.has(c) || isBlank(f.Text) {
			continue
		}
		if err := setInstrument(i, c, trim(f.Text)); err != nil {
			problems = append(problems, problemAt(c, f, err.Error(), wordMend(c, registerMends[c])))
		}
	}
	if i.Reference == record.Yes && i.Kind == record.Indicator {
		problems = append(problems, problemAt(ReferenceColumn, &row[ReferenceColumn],
			"an indicator cannot be the reference", "write yes beside a proving unit that was verified; leave it blank elsewhere"))
	}
	slices.Sort(i.Stages)
	return problems
}

// registerMends says what to do about text that a column of the register refuses.
var registerMends = map[Column]string{
	InstrumentColumn:   "save the file as UTF-8 and type the id anew",
	KindColumn:         "use indicator or proving-unit",
	SensesColumn:       "use ac, dc or both, or leave it blank",
	StagesColumn:       "write the steps in volts with blanks between them, as in 12 24 50 120 230 400 690",
	MaxVoltsColumn:     "write volts in digits, as in 690, or leave it blank",
	CategoryColumn:     "use II, III or IV, or leave it blank",
	ToleranceColumn:    "write percent in digits, as in 10, or leave it blank",
	OutputColumn:       "write volts with blanks between them, as in 50 230 690",
	ServicedColumn:     "write dates as in 2026-03-02, or let a column map say how they are written",
	IntervalDaysColumn: "write whole days from 1 to 36500, as in 365, or leave it blank",
	WithdrawnColumn:    "write dates as in 2026-03-02, or let a column map say how they are written",
	ReferenceColumn:    "use yes or no, or leave it blank",
}

// setInstrument decodes the text of one column, which is not blank.
func setInstrument(i *record.Instrument, c Column, text string) (err error) {
	switch c {
	case InstrumentColumn:
		err = checkID(text)
	case KindColumn:
		i.Kind, err = record.ParseInstrumentKind(text)
	case SensesColumn:
		i.Senses, err = record.ParseWaveform(text)
	case StagesColumn:
		i.Stages, err = parseVoltsList(text)
	case MaxVoltsColumn:
		i.MaxVolts, err = parsePositiveVolts(text)
	case CategoryColumn:
		i.Category, err = record.ParseCategory(text)
	case ToleranceColumn:
		i.Tolerance, err = parsePercent(text)
	case OutputColumn:
		i.Outputs, err = parseVoltsList(text)
	case ServicedColumn:
		i.Serviced, err = record.ParseDate(text)
	case IntervalDaysColumn:
		i.IntervalDays, err = parseDays(text)
	case WithdrawnColumn:
		i.Withdrawn, err = record.ParseDate(text)
	case ReferenceColumn:
		i.Reference, err = record.ParseYesNo(text)
	}
	return err
}

var (
	errNotVolts   = errors.New("not a voltage above 0")
	errVoltsTwice = errors.New("a voltage stands twice")
	errNotPercent = errors.New("not a percentage above 0")
	errNotDays    = errors.New("not a number of days")
)

// parseVoltsList reads voltages separated by blanks, no two of them the same.
func parseVoltsList(text string) ([]record.Volts, error) {
	var list []record.Volts
	for word := range strings.FieldsSeq(text) {
		v, err := parsePositiveVolts(word)
		if err != nil {
			return nil, err
		}
		if slices.Contains(list, v) {
			return nil, errVoltsTwice
		}
		list = append(list, v)
	}
	return list, nil
}

func parsePositiveVolts(text string) (record.Volts, error) {
	v, ok := record.ParseNumber(text)
	if !ok || v <= 0 {
		return 0, errNotVolts
	}
	return record.Volts(v), nil
}

// parsePercent reads a share in percent, with or without the sign.
func parsePercent(text string) (float64, error) {
	v, ok := record.ParseNumber(strings.TrimSpace(strings.TrimSuffix(text, "%")))
	if !ok || v <= 0 {
		return 0, errNotPercent
	}
	return v, nil
}

func parseDays(text string) (int, error) {
	const most = 36500 // a century: more is a slip
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > most {
		return 0, errNotDays
	}
	return n, nil
}
