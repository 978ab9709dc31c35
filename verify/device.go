package verify

import (
	"slices"
	"strings"

	"nilvolt/record"
)

// A suitability says whether a device may serve a purpose.
type suitability uint8

const (
	unsuited suitability = iota
	ifMarked             // only if it carries the isolation symbol
	suited
)

// A deviceType is one row of the table of isolating devices.
type deviceType struct {
	name       string
	standards  []string // product standards without BS, EN or IEC
	isolation  suitability
	functional bool // it may be switched under load
}

// deviceTable tells which devices suit isolation.
// Source: BS 7671:2018, Table 537.4 (IEC 60364-5-53, clause 536), from memory,
// but for BS 1363-1, -2, -4, BS 4177 and the semiconductor device, which were
// read in a text that quotes it.
var deviceTable = []deviceType{
	{"switching device", []string{"50428"}, unsuited, true},
	{"switching device", []string{"60669-1"}, unsuited, true},
	{"switching device", []string{"60669-2-1"}, unsuited, true},
	{"switching device", []string{"60669-2-2", "60669-2-3"}, unsuited, true},
	{"isolating switch", []string{"60669-2-4"}, suited, true},
	{"switch-disconnector", []string{"60947-3"}, ifMarked, true},
	{"switching device", []string{"60947-5-1"}, unsuited, true},
	{"contactor", []string{"60947-4-1"}, ifMarked, true},
	{"contactor", []string{"61095"}, unsuited, true},
	{"circuit-breaker", []string{"60898"}, suited, true},
	{"circuit-breaker", []string{"60947-2"}, ifMarked, true},
	{"residual-current device", []string{"61008-1", "61009-1"}, suited, true},
	{"plug and socket", []string{"60309", "60884", "60906", "1363-1", "1363-2"}, suited, true},
	{"plug and socket over 32 A", []string{"60309"}, suited, false},
	{"luminaire coupler", []string{"61995-1", "6972"}, suited, false},
	{"control and protective switching", []string{"60947-6-1", "60947-6-2"}, ifMarked, true},
	{"fuse", []string{"88", "1362"}, suited, false},
	{"fused connection unit, switched", []string{"1363-4"}, suited, true},
	{"fused connection unit, unswitched, link removed", []string{"1363-4"}, suited, false},
	{"cooker control switch", []string{"4177"}, suited, true},
	{"semiconductor device", nil, unsuited, false},
}

// findDevice looks a device up by standard or name. Where several rows of the
// table fit, the worst of each column holds.
func findDevice(text string) (d deviceType, found bool) {
	name := strings.Join(strings.Fields(strings.ToLower(text)), " ")
	standard := standardNumber(name)
	for _, t := range deviceTable {
		if !strings.EqualFold(t.name, name) && !slices.ContainsFunc(t.standards, func(s string) bool { return fitsStandard(standard, s) }) {
			continue
		}
		if !found {
			d, found = t, true
			continue
		}
		d.isolation = min(d.isolation, t.isolation)
		d.functional = d.functional && t.functional
	}
	return d, found
}

// standardNumber takes the publisher and the year off the name of a standard:
// "bs en 60947-3:2009" gives "60947-3".
func standardNumber(name string) string {
	for {
		rest := strings.TrimLeft(name, " ")
		for _, publisher := range []string{"bs", "en", "iec", "din", "vde", "nf", "hd"} {
			rest = strings.TrimPrefix(rest, publisher)
		}
		if rest == name {
			break
		}
		name = rest
	}
	number, _, _ := strings.Cut(name, ":")
	return strings.TrimSpace(number)
}

// fitsStandard reports whether number is the standard s or, where the table names
// no part, a part of it.
func fitsStandard(number, s string) bool {
	if number == s {
		return true
	}
	part, ok := strings.CutPrefix(number, s+"-")
	return ok && !strings.Contains(s, "-") && strings.Trim(part, "0123456789-") == ""
}

// deviceRules judges whether the isolating device isolates, and which conductors
// it opens.
func (j *Judge) deviceRules() {
	j.jobDevice()
	j.loadShed()
}

// jobDevice is deviceRules for what the job sheet alone says.
func (j *Judge) jobDevice() {
	if j.job.Device != "" {
		j.deviceSuits()
	}
	if j.job.Poles != record.PolesUnknown && j.work.known {
		j.devicePoles()
	}
}

func (j *Judge) deviceSuits() {
	d, found := j.device()
	switch {
	case !found:
		j.addJob(record.DeviceUnknown, record.Caution)
	case d.isolation == unsuited:
		j.addJob(record.DeviceUnsuitable, record.Failure)
	case d.isolation == ifMarked:
		j.addJob(record.DeviceMarkUnknown, record.Caution)
	}
}

// device is findDevice for the device of the job; the last answer is kept, since
// a site has few kinds of device.
func (j *Judge) device() (deviceType, bool) {
	if j.lastDevice.text != j.job.Device {
		d, found := findDevice(j.job.Device)
		j.lastDevice.text = strings.Clone(j.job.Device)
		j.lastDevice.device, j.lastDevice.found = d, found
	}
	return j.lastDevice.device, j.lastDevice.found
}

// A lastDevice is the device looked up last.
type lastDevice struct {
	text   string
	device deviceType
	found  bool
}

// addJob notes a finding that rests on the job sheet.
func (j *Judge) addJob(rule record.Rule, severity record.Severity) {
	if j.judges(rule) {
		f := j.add(rule, severity, "")
		f.Lines = append(f.Lines, j.jobPos()...)
	}
}

func (j *Judge) devicePoles() {
	lines := 0
	for _, c := range j.work.use {
		if c.IsLine() {
			lines++
		}
	}
	opened, neutral := j.job.Poles.Opens(lines)
	if opened < lines {
		j.addJob(record.LineNotOpened, record.Failure)
	}
	earthing := j.job.Earthing
	// TT and IT: all live conductors are isolated, the neutral too.
	// Source: BS 7671, 461.2 (TT); from memory (IT).
	if (earthing == record.TT || earthing == record.IT) && !neutral && slices.Contains(j.work.use, record.N) {
		j.addJob(record.NeutralNotOpened, record.Failure)
	}
	// In TN-C the PEN conductor is never opened. Source: BS 7671, 461.2.
	if earthing == record.TNC && neutral && slices.Contains(j.job.Supply.Conductors(), record.N) {
		j.addJob(record.PENOpened, record.Caution)
	}
}

// loadShed judges whether the load was taken off before a device was opened that
// is not for switching under load (IEC 60947-3, utilization category AC-20).
func (j *Judge) loadShed() {
	if j.steps[record.Isolate] == 0 || !j.judges(record.LoadNotShed) || !j.notForLoad() {
		return
	}
	for i := range j.rows {
		switch r := &j.rows[i]; r.Kind {
		case record.ShedLoad:
			return
		case record.Isolate:
			rest(j.add(record.LoadNotShed, record.Caution, ""), r)
			return
		default:
		}
	}
}

// notForLoad reports whether the device is not for switching under load, as the job
// sheet says or, where it is blank, the table.
func (j *Judge) notForLoad() bool {
	if j.job.OnLoad != record.Unstated || j.job.Device == "" {
		return j.job.OnLoad == record.No
	}
	d, found := j.device()
	return found && !d.functional
}
