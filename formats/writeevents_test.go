package formats

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nilvolt/record"
)

// What is written of an event is read as the same event.
func TestEventsAreReadAsTheyWereWritten(t *testing.T) {
	columns := eventColumns
	header := string(AppendEvents(nil, new(record.Record)))
	layout, err := Bind(header, "out.csv", nil)
	if err != nil {
		t.Fatal(err)
	}
	base := map[Column]string{TimeColumn: "2026-03-02T09:15:00Z", EventColumn: "prove", IndicatorColumn: "VI-1"}
	decoded := 0
	rapid.Check(t, func(rt *rapid.T) {
		vary := rapid.SliceOfN(rapid.SampledFrom(columns), 0, 4).Draw(rt, "vary")
		var b []byte
		for i, c := range columns {
			if i > 0 {
				b = append(b, ',')
			}
			text := base[c]
			if slices.Contains(vary, c) {
				text = rapid.SampledFrom(append([]string{text}, sampleTexts[c]...)).Draw(rt, c.String())
			}
			b = appendCSVField(b, text)
		}
		row := string(b) + "\n"
		var ev, again record.Event
		d := NewDecoder(layout, "in.csv")
		if _, _, o := d.Next(row, 1, &ev); o != Decoded {
			return
		}
		decoded++
		id := strings.Clone(d.Last().ID)
		written := string(AppendEvents(nil, &record.Record{ID: id, Events: []record.Event{ev}}))[len(header):]
		d = NewDecoder(layout, "out.csv")
		n, _, o := d.Next(written, 1, &again)
		if o != Decoded || n != len(written) || d.Last().ID != id || !ev.SameContent(&again) {
			rt.Fatalf("%q was written as %q:\n%+v\n%+v %v", row, written, ev, again, d.Problems())
		}
	})
	if decoded == 0 {
		t.Error("no event was decoded")
	}
}

func TestAppendEvent(t *testing.T) {
	at, err := record.ParseInstant("2026-03-02T10:15:40.25+01:00")
	if err != nil {
		t.Fatal(err)
	}
	ev := record.Event{
		Time: at, Kind: record.Test, Indicator: "VI-1", Pair: record.Pair{A: record.LPlus, B: record.LMinus},
		Volts: record.Reading{Text: "0.40", Volts: 0.4, State: record.Shown}, Waveform: record.DirectVoltage, Note: `said "ok", left`,
	}
	const want = `R1,2026-03-02T10:15:40.25+01:00,test,VI-1,,,,L+:L-,0.40,dc,,,,,,,"said ""ok"", left"` + "\r\n"
	const columns = "record,time,event,indicator,source,from,to,pair,volts,waveform,expected,stage,switch,seq,point,side,note"
	if got := string(AppendEvents(nil, &record.Record{ID: "R1", Events: []record.Event{ev}})); got != columns+"\r\n"+want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	job := record.Job{Site: "pump hall", Supply: record.DC, Nominal: 110.5, Conductors: []record.Conductor{record.LPlus, record.LMinus}, OnLoad: record.No, Start: at}
	const wantJob = `,pump hall,,,dc,110.5,,L+ L-,,,,no,,,2026-03-02T10:15:40.25+01:00,` + "\r\n"
	const jobColumns = ",site,circuit,technician,supply,nominal,earthing,conductors,switched,device,poles,onload,category,supply_side_live,start,end\r\n"
	got := string(AppendEvents(nil, &record.Record{ID: "R1", Jobs: []record.Job{job}, Events: []record.Event{ev, ev}}))
	row := strings.TrimSuffix(want, "\r\n")
	if got != columns+jobColumns+row+wantJob+row+strings.Repeat(",", 15)+"\r\n" {
		t.Errorf("got %s", got)
	}
}
