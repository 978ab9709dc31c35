package formats

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestBindCanonical(t *testing.T) {
	tests := []struct {
		name string
		head string
		want string // columns, then the first row's byte and line; or the errors
	}{
		{"plain", "record,time,event,indicator,pair,volts\n", "record time event indicator pair volts @39:2"},
		{"any order, spaces, case, hyphen", "Event, TIME ,supply-side-live\n", "event time supply_side_live @30:2"},
		{"byte order mark", "\ufefftime,event\r\n", "time event @15:2"},
		{"quoted", "\"time\",\"event\"\n", "time event @15:2"},
		{"a column that looks like another", "time,event,volts,volts\u200b\n", "f.csv:1:18: header \"volts\\u200b\": a name with a character that cannot be seen (U+200B)"},
		{"quoted line break", "time,event,\"what\nelse\"\n", "time event - @23:3"},
		{"unknown column", "time,event,weather\n1,test,rain\n", "time event - @19:2"},
		{"blank names", "time,event,,\n", "time event - - @13:2"},
		{"empty", "", `f.csv:1: header "time, event": no such column, and readings need it`},
		{"no event", "time,pair\n", `f.csv:1: header "event": no such column, and readings need it`},
		{"from alone", "time,event,from\n", "f.csv:1: header blank: one of the columns from and to stands without the other"},
		{"twice", "time,event,Time\n", `f.csv:1:12: header "Time": column 3 has the name of column 1`},
		{"semicolons", "time;event\n", `f.csv:1:1: header "time;event": the columns are divided by semicolons, not by commas`},
		{"bare quote", "time,ev\"ent\n", `f.csv:1:8: "ev": a quote within an unquoted field`},
		{"unit by name", "time,event,volts,unit\n", `f.csv:1:18: header "unit": a column that tells a unit cannot be ignored without saying so`},
		{"unit in a name", "time,event,volts (mV)\n", `f.csv:1:12: header "volts (mV)": a column that tells a unit cannot be ignored without saying so`},
		{"range by name", "time,event,Range\n", `f.csv:1:12: header "Range": a column that tells a range cannot be ignored without saying so`},
		{"coupling by name", "time,event,AC/DC\n", `f.csv:1:12: header "AC/DC": a column that tells a coupling cannot be ignored without saying so`},
		{"coupling in a name", "time,event,volts_dc\n", `f.csv:1:12: header "volts_dc": a column that tells a coupling cannot be ignored without saying so`},
		{
			"unit by its cells", "time,event,x\n1,test,mV\n2,test,\n",
			`f.csv:1:12: header "x": a column that tells a unit, a range, a function or a coupling (its cells do) cannot be ignored without saying so`,
		},
		{
			"range by its cells", "time,event,x\n1,test,600 V\n",
			`f.csv:1:12: header "x": a column that tells a unit, a range, a function or a coupling (its cells do) cannot be ignored without saying so`,
		},
		{
			"function by its cells", "time,event,x\n1,test,Resistance\n2,test,Voltage\n3,test,?\n",
			`f.csv:1:12: header "x": a column that tells a unit, a range, a function or a coupling (its cells do) cannot be ignored without saying so`,
		},
		{"initials are no coupling", "time,event,by\n1,test,DC\n2,test,KR\n3,test,JP\n", "time event - @14:2"},
		{"an ampere is no vocabulary", "time,event,grade\n1,test,A\n2,test,B\n3,test,B\n", "time event - @17:2"},
		{"id of a proving unit", "time,event,proving unit\n", "time event - @24:2"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			l, err := Bind(tt.head, "f.csv", nil)
			if diff := cmp.Diff(tt.want, layoutText(l, err)); diff != "" {
				t.Error(diff)
			}
			if err == nil && !l.IsPlain() {
				t.Error("the layout of a canonical file is not plain")
			}
		})
	}
}

// layoutText writes a layout, or else every listed error, in a line.
func layoutText(l *Layout, err error) string {
	if err != nil {
		return errorText(err)
	}
	var names []string
	for _, c := range l.Columns {
		if c == NoColumn {
			names = append(names, "-")
			continue
		}
		names = append(names, c.String())
	}
	return strings.Join(names, " ") + " @" + itoa(int(l.FirstRow)) + ":" + itoa(l.FirstLine)
}
