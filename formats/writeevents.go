package formats

import (
	"slices"
	"strconv"
	"strings"

	"nilvolt/record"
)

// eventColumns are the columns of events that are written, in order.
var eventColumns = []Column{
	RecordColumn, TimeColumn, EventColumn, IndicatorColumn, SourceColumn, FromColumn, ToColumn, PairColumn, VoltsColumn,
	WaveformColumn, ExpectedColumn, StageColumn, SwitchColumn, SeqColumn, PointColumn, SideColumn, NoteColumn,
}

// AppendEvents appends the events of a record to out as canonical CSV, with a header.
// Its Jobs, of which there may be no more than events, stand in the job columns of the
// first rows; where there is none, there are no such columns. What is read of it says
// the same, but for Ambiguous, which no canonical column holds.
func AppendEvents(out []byte, rec *record.Record) []byte {
	columns := eventColumns
	if len(rec.Jobs) > 0 {
		columns = slices.Clone(columns)
		for c := SiteColumn; c <= EndColumn; c++ {
			columns = append(columns, c)
		}
	}
	out = appendEventRow(out, columns, func(c Column) string { return c.String() })
	for i := range rec.Events {
		var job Row
		if i < len(rec.Jobs) {
			var texts readingRow
			texts.setJob(&rec.Jobs[i])
			texts.jobTexts(&job)
		}
		out = appendEventRow(out, columns, func(c Column) string {
			if c.IsJob() {
				return job[c].Text
			}
			return eventText(c, rec.ID, &rec.Events[i])
		})
	}
	return out
}

// appendEventRow appends a line of CSV.
func appendEventRow(out []byte, columns []Column, text func(Column) string) []byte {
	for i, c := range columns {
		if i > 0 {
			out = append(out, ',')
		}
		out = appendCSVField(out, text(c))
	}
	return append(out, "\r\n"...)
}

// eventText returns the canonical text of one column of an event.
func eventText(c Column, id string, ev *record.Event) string {
	switch c {
	case RecordColumn:
		return id
	case TimeColumn:
		return ev.Time.String()
	case EventColumn:
		return ev.Kind.String()
	case IndicatorColumn:
		return ev.Indicator
	case SourceColumn:
		return ev.Source
	case FromColumn:
		if ev.Placed {
			return ev.Pair.A.String()
		}
	case ToColumn:
		if ev.Placed {
			return ev.Pair.B.String()
		}
	case PairColumn:
		if !ev.Placed && ev.Pair.IsSet() {
			return pairText(ev.Pair)
		}
	case VoltsColumn:
		return ev.Volts.Text
	case WaveformColumn:
		return ev.Waveform.String()
	case ExpectedColumn:
		if ev.HasExpected {
			return strconv.FormatFloat(float64(ev.Expected), 'f', -1, 64)
		}
	case StageColumn:
		return ev.Stage.Text
	case SwitchColumn:
		return ev.Switch.String()
	case SeqColumn:
		if ev.HasSeq {
			return strconv.FormatInt(ev.Seq, 10)
		}
	case PointColumn:
		return ev.Point
	case SideColumn:
		return ev.Side.String()
	case NoteColumn:
		return ev.Note
	}
	return ""
}

// pairText writes a pair so that it can be read where a name holds a hyphen, as L-.
func pairText(p record.Pair) string {
	a, b := p.A.String(), p.B.String()
	if strings.Contains(a+b, "-") {
		return a + ":" + b
	}
	return a + "-" + b
}

// appendCSVField appends a field of CSV, in quotes where it needs them (RFC 4180).
func appendCSVField(out []byte, text string) []byte {
	if !strings.ContainsAny(text, ",\"\r\n") {
		return append(out, text...)
	}
	out = append(out, '"')
	for i := range len(text) {
		if text[i] == '"' {
			out = append(out, '"')
		}
		out = append(out, text[i])
	}
	return append(out, '"')
}
