package verify_test

import (
	"testing"

	"nilvolt/record"
)

// The table of devices for isolation: BS 7671:2018 Table 537.4, clause 536 in
// IEC 60364-5-53. R: read in a text that quotes it; M: from memory. The last
// column is functional switching, which tells whether the device may be opened
// under load.
var deviceTable = []struct {
	standard  string
	isolation string
	onLoad    bool
	status    string
}{
	{"50428", "no", true, "M"},
	{"60669-1", "no", true, "M"},
	{"60669-2-1", "no", true, "M"},
	{"60669-2-2", "no", true, "M"},
	{"60669-2-3", "no", true, "M"},
	{"60669-2-4", "yes", true, "M"},
	{"60947-3", "marked", true, "M"},
	{"60947-5-1", "no", true, "M"},
	{"60947-4-1", "marked", true, "M"},
	{"61095", "no", true, "M"},
	{"60898", "yes", true, "M"},
	{"60947-2", "marked", true, "M"},
	{"61008-1", "yes", true, "M"},
	{"61009-1", "yes", true, "M"},
	{"60884", "yes", true, "R"},
	{"60906", "yes", true, "R"},
	{"BS 1363-1", "yes", true, "R"},
	{"BS 1363-2", "yes", true, "R"},
	{"60309", "yes", false, "M"}, // over 32 A not under load; the number alone does not tell the size
	{"61995-1", "yes", false, "M"},
	{"BS 6972", "yes", false, "M"},
	{"60947-6-1", "marked", true, "M"},
	{"60947-6-2", "marked", true, "M"},
	{"BS 88", "yes", false, "M"},
	{"BS 1362", "yes", false, "M"},
	{"BS 1363-4", "yes", false, "R"}, // switched, under load; unswitched, not
	{"BS 4177", "yes", true, "R"},
	{"semiconductor device", "no", false, "R"},
	{"12345-6", "unknown", true, "invented"},
}

func TestDeviceTable(t *testing.T) {
	rule := map[string]record.Rule{
		"no": record.DeviceUnsuitable, "marked": record.DeviceMarkUnknown, "unknown": record.DeviceUnknown,
	}
	for _, c := range deviceTable {
		job := socket
		job.Device = c.standard
		v := judged(t, []record.Record{worked(t, "R1", job, "08:00 isolate")}, usual(), nil)[0]
		for word, r := range rule {
			if got, want := v.has(r), word == c.isolation; got != want {
				t.Errorf("%s (%s): %v is %v, want %v", c.standard, c.status, r, got, want)
			}
		}
		if got := v.has(record.LoadNotShed); got != !c.onLoad {
			t.Errorf("%s (%s): load-not-shed is %v, want %v", c.standard, c.status, got, !c.onLoad)
		}
	}
}

// How a standard is written does not matter: the same number as BS EN, EN, IEC.
func TestDeviceWritten(t *testing.T) {
	for _, name := range []string{"60669-1", "EN 60669-1", "BS EN 60669-1", "IEC 60669-1:2017", "iec 60669-1"} {
		job := socket
		job.Device = name
		if v := judged(t, []record.Record{worked(t, "R1", job, "08:00 isolate")}, usual(), nil)[0]; !v.has(record.DeviceUnsuitable) {
			t.Errorf("%s: %v, want device-unsuitable", name, v.lines())
		}
	}
}

// What the device must open. BS 7671 461.2 (draft text read): in TN-C the PEN is
// never opened; in TN-S and TN-C-S the neutral need not be. TT (read) and IT (from
// memory): all live conductors, the neutral included. A device must open every
// line (29 CFR 1910.147, Electricity at Work Regulations 1989, reg. 12: separation
// from every source).
func TestWhatIsOpened(t *testing.T) {
	for _, c := range []struct {
		supply   record.Supply
		earthing record.Earthing
		poles    record.Poles
		want     record.Rule
	}{
		{record.SinglePhase, record.TNS, record.Poles1, record.RuleNone},
		{record.SinglePhase, record.TNCS, record.Poles1, record.RuleNone},
		{record.SinglePhase, record.TT, record.Poles1, record.NeutralNotOpened},
		{record.SinglePhase, record.IT, record.Poles1, record.NeutralNotOpened},
		{record.SinglePhase, record.TT, record.Poles1N, record.RuleNone},
		{record.SinglePhase, record.TT, record.Poles2, record.RuleNone},
		{record.SinglePhase, record.TT, record.PolesPlug, record.RuleNone},
		{record.ThreePhase, record.TNS, record.Poles3, record.RuleNone},
		{record.ThreePhase, record.TT, record.Poles3, record.NeutralNotOpened},
		{record.ThreePhase, record.TT, record.Poles3N, record.RuleNone},
		{record.ThreePhase, record.IT, record.Poles4, record.RuleNone},
		{record.ThreePhase, record.TNC, record.Poles3, record.RuleNone},
		{record.ThreePhase, record.TNC, record.Poles4, record.PENOpened},
		{record.SinglePhase, record.TNC, record.Poles2, record.PENOpened},
		{record.SinglePhase, record.TNC, record.Poles1, record.RuleNone},
		{record.ThreePhase3Wire, record.IT, record.Poles3, record.RuleNone},
		{record.ThreePhase, record.TNS, record.Poles2, record.LineNotOpened},
		{record.ThreePhase, record.TNS, record.Poles1N, record.LineNotOpened},
		{record.SplitPhase, record.TNS, record.Poles1, record.LineNotOpened},
		{record.SplitPhase, record.TT, record.Poles2, record.NeutralNotOpened},
		{record.DC, record.TNS, record.Poles1, record.LineNotOpened},
		{record.DC, record.TNS, record.Poles2, record.RuleNone},
	} {
		job := supplyOf(c.supply, 0, c.earthing)
		job.Poles = c.poles
		v := judged(t, []record.Record{worked(t, "R1", job, "08:00 isolate")}, usual(), nil)[0]
		for _, r := range []record.Rule{record.LineNotOpened, record.NeutralNotOpened, record.PENOpened} {
			if got := v.has(r); got != (r == c.want) {
				t.Errorf("%v %v %v: %v is %v", c.supply, c.earthing, c.poles, r, got)
			}
		}
	}
}
