package formats

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"nilvolt/record"
)

// behind keeps the end of the text away from the rows before it.
var behind = strings.Repeat("R9,2026-03-02T10:00:00Z,lock,,,,,,,\n", 4)

// A dead test that differs in the time of day, the conductors and the volts is known by
// the row before, and no other row is.
func TestAlike(t *testing.T) {
	const before = "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,0.1,,a note\n"
	l := &Layout{Comma: ',', Columns: []Column{
		RecordColumn, TimeColumn, EventColumn, IndicatorColumn, SourceColumn, FromColumn, ToColumn, VoltsColumn, SeqColumn, NoteColumn,
	}}
	tests := []struct {
		name, row string
		like      bool
	}{
		{"the same", before, true},
		{"another time, pair and value", "R1-at-the-pumping-station,2026-03-02T23:59:59+01:00,test,VI-1,,E,L+,12.25,,a note\n", true},
		{"record", "R2,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,0.1,,a note\n", false},
		{"date", "R1-at-the-pumping-station,2026-03-03T09:15:00+01:00,test,VI-1,,L1,N,0.1,,a note\n", false},
		{"hour 24", "R1-at-the-pumping-station,2026-03-02T24:15:00+01:00,test,VI-1,,L1,N,0.1,,a note\n", false},
		{"colon", "R1-at-the-pumping-station,2026-03-02T09.15.00+01:00,test,VI-1,,L1,N,0.1,,a note\n", false},
		{"offset", "R1-at-the-pumping-station,2026-03-02T09:15:00+02:00,test,VI-1,,L1,N,0.1,,a note\n", false},
		{"fraction", "R1-at-the-pumping-station,2026-03-02T09:15:00.5+01:00,test,VI-1,,L1,N,0.1,,a note\n", false},
		{"event", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,lock,VI-1,,L1,N,0.1,,a note\n", false},
		{"source", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,P,L1,N,0.1,,a note\n", false},
		{"indicator", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-2,,L1,N,0.1,,a note\n", false},
		{"longer indicator", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-12,,L1,N,0.1,,a note\n", false},
		{"one conductor", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,N,N,0.1,,a note\n", false},
		{"no conductor", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,,N,0.1,,a note\n", false},
		{"no second conductor", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,,0.1,,a note\n", false},
		{"longer conductor", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,PEN,L1,0.1,,a note\n", false},
		{"no value", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,---,,a note\n", false},
		{"minus", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,-0.1,,a note\n", false},
		{"counter", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,0.1,1,a note\n", false},
		{"note", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,0.1,,a nota\n", false},
		{"end of the note", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,0.1,,a note\nx\n", true},
		{"longer note", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,0.1,,a notes\n", false},
		{"line end", "R1-at-the-pumping-station,2026-03-02T09:15:00+01:00,test,VI-1,,L1,N,0.1,,a note\r\n", false},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			d := NewDecoder(l, "a.csv")
			var ev record.Event
			got := make([]record.Event, 1)
			for line := range 2 { // the offset is learnt from the first
				if _, _, o := d.Next(before+behind, line+1, &ev); o != Decoded {
					t.Fatal(d.Problems())
				}
			}
			n, rows := d.Alike(test.row+behind, 3, got)
			if rows > 0 != test.like || n > 0 != test.like {
				t.Fatalf("%d bytes of %q", n, test.row)
			}
			if !test.like {
				return
			}
			var want record.Event
			size, _, o := NewDecoder(l, "a.csv").slow(test.row+behind, 3, &want)
			if o != Decoded || n != size || got[0] != want {
				t.Errorf("%d bytes, %+v, want %d, %+v", n, got[0], size, want)
			}
		})
	}
}

// A file of dead tests that hardly differ gives the same whichever way it is decoded.
// So it does when a byte in it is another.
func TestAlikeIsSlow(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := &Layout{Comma: rapid.SampledFrom([]byte(",;\t")).Draw(rt, "comma"), Columns: []Column{
			RecordColumn, EventColumn, IndicatorColumn, SourceColumn, FromColumn, ToColumn, VoltsColumn,
		}}
		time := rapid.IntRange(0, 3).Draw(rt, "where the time stands")
		l.Columns = slices.Insert(l.Columns, time, TimeColumn)
		l.Columns = append(l.Columns, rapid.SampledFrom([][]Column{
			nil, {NoColumn}, {ExpectedColumn, SupplyColumn}, {SeqColumn, NoteColumn, StageColumn, PairColumn},
		}).Draw(rt, "more columns")...)
		end := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(rt, "line end")
		var b strings.Builder
		for range rapid.IntRange(2, 12).Draw(rt, "rows") {
			for i, c := range l.Columns {
				texts := sampleTexts[c]
				if texts == nil {
					texts = []string{"ignored", "ignored", "other"}
				}
				switch c {
				case RecordColumn, IndicatorColumn, EventColumn:
					texts = texts[:1+rapid.IntRange(0, 9).Draw(rt, "unlike")/9*3]
				case TimeColumn, VoltsColumn:
					texts = texts[:2+rapid.IntRange(0, 9).Draw(rt, "unlike")/9*3]
				case FromColumn, ToColumn:
					texts = texts[:4]
				default:
					texts = texts[:1+rapid.IntRange(0, 9).Draw(rt, "unlike")/9*2]
				}
				if i > 0 {
					b.WriteByte(l.Comma)
				}
				b.WriteString(rapid.SampledFrom(texts).Draw(rt, c.String()))
			}
			b.WriteString(end)
		}
		text := []byte(b.String())
		if rapid.Bool().Draw(rt, "another byte") {
			text[rapid.IntRange(0, len(text)-1).Draw(rt, "at")] = rapid.SampledFrom([]byte("0:9ZTLNE1.,;\t\"\n\r \x00\xff")).Draw(rt, "byte")
		}
		fast, slow := decodeAll(t, l, string(text), true), decodeAll(t, l, string(text), false)
		if diff := cmp.Diff(slow, fast); diff != "" {
			rt.Fatalf("%q: %s", text, diff)
		}
	})
}

// A row does not depend on what the rows before it were, but for what they taught.
func TestRowBehindRow(t *testing.T) {
	reading := []Column{RecordColumn, TimeColumn, EventColumn, IndicatorColumn, SourceColumn, FromColumn, ToColumn, VoltsColumn}
	tests := []struct {
		name string
		more []Column // behind those of reading
		rows string
	}{
		{
			"the pair in another column too",
			[]Column{PairColumn},
			"R1,2026-03-02T09:15:00Z,test,VI-1,,L1,N,0.1,L1-N\n" +
				"R1,2026-03-02T09:15:00Z,test,VI-1,,L1,N,0.1,L1-N\n" +
				"R1,2026-03-02T09:15:05Z,test,VI-1,,L2,N,0.1,L1-N\n",
		},
		{
			"the line of another file",
			[]Column{LineColumn},
			"R1,2026-03-02T09:15:00Z,test,VI-1,,L1,N,0.1,70\n" +
				"R1,2026-03-02T09:15:00Z,test,VI-1,,L1,N,0.1,70\n" +
				"R1,2026-03-02T09:15:05Z,test,VI-1,,L2,N,0.1,70\n",
		},
		{
			"fractions of a second", nil,
			"R1,2026-03-02T09:15:00Z,test,VI-1,,L1,N,0.1\n" +
				"R1,2026-03-02T09:15:00.5Z,test,VI-1,,L1,N,0.1\n" +
				"R1,2026-03-02T09:15:05.5Z,test,VI-1,,L2,N,0.1\n",
		},
		{
			"a record that looks like a time of day", nil,
			"09:15:00,\"2026-03-02T09:15:00Z\",test,VI-1,,L1,N,0.1\n" +
				"09:15:00,\"2026-03-02T09:15:00Z\",test,VI-1,,L1,N,0.1\n" +
				"09:15:05,\"2026-03-02T09:15:00Z\",test,VI-1,,L2,N,0.1\n",
		},
		{
			"a known live source", nil,
			"R1,2026-03-02T09:15:00Z,prove,VI-1,Live,,,229.1\n" +
				"R1,2026-03-02T09:15:09Z,test,VI-1,LIVE,L1,N,0.1\n" +
				"R1,2026-03-02T09:15:10Z,test,VI-1,LIVE,L1,N,0.2\n" +
				"R1,2026-03-02T09:15:20Z,reprove,VI-1,live,,,229.1\n",
		},
		{
			"an indicator with and without quotes, and a longer one", nil,
			"R1,2026-03-02T09:15:00Z,prove,VI-1,PU-1,,,229.1\n" +
				"R1,2026-03-02T09:15:01Z,prove,\"VI-2\",PU-1,,,229.1\n" +
				"R1,2026-03-02T09:15:02Z,prove,VI-3,PU-1,,,229.1\n" +
				"R1,2026-03-02T09:15:03Z,prove,VI-1,PU-1,,,229.1\n" +
				"R1,2026-03-02T09:15:04Z,prove,VI-1-of-the-mill,PU-1,,,229.1\n" +
				"R1,2026-03-02T09:15:05Z,prove,VI-1,PU-1,,,229.1\n" +
				"R1,2026-03-02T09:15:06Z,prove,VI-12,PU-1,,,229.1\n",
		},
		{
			"text behind a closing quote",
			[]Column{SupplyColumn, NoteColumn},
			"R1,2026-03-02T09:15:00Z,prove,VI-1,PU-1,,,229.1,,\n" +
				"R1,2026-03-02T09:15:09Z,test,VI-1,,L1,N,0.1,\"dc\"x,\n" +
				"R1,2026-03-02T09:15:09Z,test,VI-1,,L1,N,0.1,,\n",
		},
		{
			"proofs on conductors", nil,
			"R1,2026-03-02T09:15:00Z,prove,VI-1,PU-1,L1,N,229.1\n" +
				"R1,2026-03-02T09:15:02Z,prove,VI-1,PU-1,L2,N,229.1\n",
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			l := &Layout{Comma: ',', Columns: slices.Concat(reading, test.more)}
			text := test.rows + test.rows + strings.Repeat("\n", likeRoom)
			if diff := cmp.Diff(decodeAll(t, l, text, false), decodeAll(t, l, text, true)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// After Reset no row is like one before it.
func TestAlikeReset(t *testing.T) {
	const row = "R1,2026-03-02T09:15:00Z,test,VI-1,L1,N,0.1\n"
	l := &Layout{Comma: ',', Columns: []Column{RecordColumn, TimeColumn, EventColumn, IndicatorColumn, FromColumn, ToColumn, VoltsColumn}}
	d := NewDecoder(l, "a.csv")
	var ev record.Event
	for range 2 {
		if _, _, o := d.Next(row+behind, 1, &ev); o != Decoded {
			t.Fatal(d.Problems())
		}
	}
	events := make([]record.Event, 9)
	if n, rows := d.Alike(strings.Repeat(row, 3)+behind, 1, events); n != 3*len(row) || rows != 3 {
		t.Fatalf("%d bytes, %d rows are like the row before", n, rows)
	}
	d.Reset()
	if n, rows := d.Alike(row+behind, 1, events); n != 0 || rows != 0 {
		t.Errorf("%d bytes, %d rows are like a row that was forgotten", n, rows)
	}
	got := record.Event{}
	if _, _, o := d.Next(row+behind, 1, &got); o != Decoded || got != ev || d.Last().ID != "R1" {
		t.Errorf("%+v of %q, want %+v", got, d.Last().ID, ev)
	}
}

// A row that is one byte off a usual one gives the same whichever way it is decoded, and
// so do the rows beside it.
func TestOneByteOff(t *testing.T) {
	rows := []string{
		"R1000001,2026-03-02T09:15:00Z,prove,VI-100,PU-1,,,229.8,\n",
		"R1000001,2026-03-02T09:15:09Z,test,VI-100,,L1,N,0.1,\n",
		"R1000001,2026-03-02T09:15:10Z,test,VI-100,,L2,N,12.25,\n",
		"R1000001,2026-03-02T09:15:20Z,reprove,VI-100,PU-1,,,230,\n",
	}
	l := &Layout{Comma: ',', Columns: append(slices.Clone(readingOrder), NoteColumn)}
	same := func(row int, text string) {
		t.Helper()
		all := slices.Clone(rows)
		all[row] = text
		file := strings.Join(all, "") + strings.Join(rows, "") + behind
		if diff := cmp.Diff(decodeAll(t, l, file, false), decodeAll(t, l, file, true)); diff != "" {
			t.Fatalf("%q: %s", text, diff)
		}
	}
	for k, row := range rows {
		for i := range len(row) {
			same(k, row[:i]+row[i+1:])
			for _, c := range []byte("09:.,\"\n xLZ\x80") {
				same(k, row[:i]+string([]byte{c})+row[i+1:])
				same(k, row[:i]+string([]byte{c})+row[i:])
			}
		}
	}
}
