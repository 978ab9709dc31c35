package formats

import (
	"strings"
	"testing"
)

// A misspelt column must not be passed over: without it a switched line, a point or a
// withdrawal would be unknown, and a record would look better than it is.
func TestSlips(t *testing.T) {
	for _, c := range []struct {
		set          *columnSet
		header, want string // want "" for a header that is taken
	}{
		{jobColumns, "record,supply,swiched", "nearly switched"},
		{jobColumns, "record,suply", "nearly supply"},
		{jobColumns, "record,supply,SupplySideLive", "nearly supply_side_live"},
		{jobColumns, "record,supply,Supply side live", ""},
		{jobColumns, "record,supply,switched,swiched", ""}, // the column is there
		{jobColumns, "record,supply,notes,sites", ""},      // decides nothing
		{jobColumns, "record,supply,invoice", ""},
		{registerColumns, "instrument,kind,withdrawnn", "nearly withdrawn"},
		{registerColumns, "instrument,kind,maxvolts", "nearly max_volts"},
		{registerColumns, "instrument,kind,colour", ""},
		{readingColumns, "time,event,indicator,form,to,volts", "nearly from"}, // neighbours changed
		{readingColumns, "time,event,indicator,pair,volts,points", "nearly point"},
		{readingColumns, "time,event,indicator,pair,volts,no", ""},
	} {
		_, err := bind(c.header+"\nx\n", "f.csv", nil, c.set)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", c.header, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v, want %q", c.header, err, c.want)
		}
	}
}

// With ignore in a map somebody has said that the column may be passed over.
func TestSlipIgnored(t *testing.T) {
	m, err := ParseMap("m.yaml", []byte("for: jobs\nignore: [swiched]\n"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := bind("record,supply,swiched\nR1,dc,x\n", "f.csv", m.section(jobsFile, "f.csv"), jobColumns); err != nil {
		t.Error(err)
	}
}
