package verify

import (
	"slices"

	"nilvolt/record"
)

// mergeJobs makes one job of the job rows of the record: of each column the first
// value that is not blank. Columns with two values are conflicts.
func (j *Judge) mergeJobs() {
	j.conflicts = j.conflicts[:0]
	if len(j.rec.Jobs) == 1 {
		j.job = &j.rec.Jobs[0]
		return
	}
	j.job, j.merged = &j.merged, record.Job{}
	if len(j.rec.Jobs) == 0 {
		return
	}
	j.merged = j.rec.Jobs[0]
	for i := range j.rec.Jobs[1:] {
		j.mergeJob(&j.rec.Jobs[i+1])
	}
}

// mergeJob fills the blanks of the merged job from one more row.
func (j *Judge) mergeJob(more *record.Job) {
	job := &j.merged
	merge(j, "site", &job.Site, more.Site)
	merge(j, "circuit", &job.Circuit, more.Circuit)
	merge(j, "technician", &job.Technician, more.Technician)
	merge(j, "supply", &job.Supply, more.Supply)
	merge(j, "nominal", &job.Nominal, more.Nominal)
	merge(j, "earthing", &job.Earthing, more.Earthing)
	merge(j, "device", &job.Device, more.Device)
	merge(j, "poles", &job.Poles, more.Poles)
	merge(j, "onload", &job.OnLoad, more.OnLoad)
	merge(j, "category", &job.Category, more.Category)
	merge(j, "supply_side_live", &job.SupplySideLive, more.SupplySideLive)
	merge(j, "indicator", &job.Indicator, more.Indicator)
	mergeList(j, "conductors", &job.Conductors, more.Conductors)
	mergeList(j, "switched", &job.Switched, more.Switched)
	mergeTime(j, "start", &job.Start, more.Start)
	mergeTime(j, "end", &job.End, more.End)
}

func merge[T comparable](j *Judge, column string, into *T, more T) {
	var blank T
	switch {
	case *into == blank:
		*into = more
	case more != blank && more != *into:
		j.conflict(column)
	}
}

func mergeList(j *Judge, column string, into *[]record.Conductor, more []record.Conductor) {
	switch {
	case len(*into) == 0:
		*into = more
	case len(more) > 0 && !slices.Equal(*into, more):
		j.conflict(column)
	}
}

func mergeTime(j *Judge, column string, into *record.Instant, more record.Instant) {
	switch {
	case !into.IsSet():
		*into = more
	case more.IsSet() && more.Compare(*into) != 0:
		j.conflict(column)
	}
}

func (j *Judge) conflict(column string) {
	if !slices.Contains(j.conflicts, column) {
		j.conflicts = append(j.conflicts, column)
	}
}

// over returns the merged job with what one of its rows says instead: the job as
// that row sees it.
func (j *Judge) over(one *record.Job) record.Job {
	job := *j.job
	if one.Supply != record.SupplyUnknown {
		job.Supply = one.Supply
	}
	if one.Earthing != record.EarthingUnknown {
		job.Earthing = one.Earthing
	}
	if len(one.Conductors) > 0 {
		job.Conductors = one.Conductors
	}
	if len(one.Switched) > 0 {
		job.Switched = one.Switched
	}
	return job
}

// jobRules judges what the job sheet says: conflicts, and conductors left out.
func (j *Judge) jobRules() {
	if len(j.conflicts) > 0 && j.judges(record.JobConflict) {
		f := j.add(record.JobConflict, record.Failure, "")
		for i := range j.rec.Jobs {
			f.Lines = append(f.Lines, j.rec.Jobs[i].Pos)
		}
	}
	if len(j.work.reduced) > 0 && j.judges(record.ConductorsReduced) {
		f := j.add(record.ConductorsReduced, j.policy.ConductorsReduced, "")
		f.Lines = append(f.Lines, j.jobPos()...)
	}
}

// jobPos returns where the job of the record stands.
func (j *Judge) jobPos() []record.Pos {
	if len(j.rec.Jobs) == 0 {
		return nil
	}
	return []record.Pos{j.rec.Jobs[0].Pos}
}
