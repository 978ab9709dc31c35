package verify

import (
	"strings"

	"nilvolt/record"
)

// A missingSet holds what a record does not tell.
type missingSet uint32

// What a record may not tell, in the order in which it is listed.
const (
	missingSupply missingSet = 1 << iota
	missingNominal
	missingEarthing
	missingDevice
	missingPoles
	missingInspect
	missingIdentify
	missingPermission
	missingIsolate
	missingLock
	missingLabel
	missingBegin
	missingWaveform
	missingSource
	missingProbeOrder
	missingSteps
	missingEnd
)

var missingWords = []string{
	"supply", "nominal voltage", "earthing", "isolating device", "its poles",
	"inspect", "identify", "permission", "isolate", "lock", "label", "begin",
	"waveform of the readings", "proving source", "which probe was placed first", "steps of the indicator",
}

// missingRule lists what the record does not tell, in one caution; readings is what
// its readings do not.
func (j *Judge) missingRule(readings missingSet) {
	j.unrecorded = 0
	if !j.judges(record.NotRecorded) {
		return
	}
	set := j.missingJob() | j.missingSteps() | readings
	if set == 0 {
		return
	}
	if set != j.told {
		message, ok := j.missing[set]
		if !ok {
			message = set.sentence()
			j.missing[set] = message
		}
		j.told, j.tells = set, message
	}
	j.unrecorded = set
	j.add(record.NotRecorded, record.Caution, "").Message = j.tells
}

// when returns m where cond holds, else nothing.
func (m missingSet) when(cond bool) missingSet {
	if cond {
		return m
	}
	return 0
}

func (j *Judge) missingJob() missingSet {
	job := j.job
	return missingSupply.when(job.Supply == record.SupplyUnknown) |
		missingNominal.when(job.Nominal == 0) |
		missingEarthing.when(job.Earthing == record.EarthingUnknown) |
		missingDevice.when(job.Device == "") |
		missingPoles.when(job.Poles == record.PolesUnknown)
}

// missingSteps leaves out what another finding names.
func (j *Judge) missingSteps() missingSet {
	secured, labelled := false, false
	for i := range j.findings.list {
		secured = secured || j.findings.list[i].Rule == record.NotSecured
		labelled = labelled || j.findings.list[i].Rule == record.NotLabelled
	}
	return missingInspect.when(j.steps[record.Inspect] == 0) |
		missingIdentify.when(j.steps[record.Identify] == 0) |
		missingPermission.when(j.steps[record.Permission] == 0) |
		missingIsolate.when(j.steps[record.Isolate] == 0) |
		missingLock.when(j.steps[record.Lock] == 0 && !secured) |
		missingLabel.when(j.steps[record.Label] == 0 && !labelled) |
		missingBegin.when(j.steps[record.Begin] == 0)
}

// missingReadings looks at the readings that count and the series around them,
// and at indicators with steps.
func (j *Judge) missingReadings() missingSet {
	var set missingSet
	for i := range j.slots {
		if j.slots[i].row < 0 {
			continue
		}
		r := &j.rows[j.slots[i].row]
		set |= missingProbeOrder.when(!r.Placed)
		if r.Waveform == record.WaveformUnknown {
			e := j.instrument(r.Indicator)
			set |= missingWaveform.when(e == nil || e.Senses == record.WaveformUnknown)
		}
		if r.class == classDead {
			b := r.near
			set |= missingSource.when(b.before != nil && b.before.noSource || b.after != nil && b.after.noSource)
		}
	}
	for i := range j.rows {
		if r := &j.rows[i]; r.Stage.State != record.StageAbsent {
			e := j.instrument(r.Indicator)
			set |= missingSteps.when(e == nil || len(e.Stages) == 0)
		}
	}
	return set
}

// NotRecorded returns what the finding not-recorded lists, nil without one.
func (g *Judgement) NotRecorded() []string {
	if g.judge == nil {
		return nil
	}
	return g.judge.unrecorded.words()
}

func (m missingSet) words() []string {
	var words []string
	for i, w := range missingWords {
		if m&(1<<i) != 0 {
			words = append(words, w)
		}
	}
	return words
}

func (m missingSet) sentence() string {
	return "not recorded: " + strings.Join(m.words(), ", ") + "; record it at the next job"
}
