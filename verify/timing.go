package verify

import (
	"slices"
	"time"

	"nilvolt/record"
)

const (
	mixedAfter       = 24 * time.Hour   // rows of one record do not lie further apart
	interruptedFails = 60 * time.Minute // a pause of this kind is no longer a caution
	quickBelow       = time.Second      // nobody places two probes in less
)

// timingRules judges when the rows were taken.
func (j *Judge) timingRules() {
	if len(j.rows) == 0 {
		return
	}
	first, last := &j.rows[0], &j.rows[len(j.rows)-1]
	if j.judges(record.RecordMixed) && last.Time.Sub(first.Time) > mixedAfter {
		rest(j.add(record.RecordMixed, record.Failure, ""), first, last)
	}
	if j.counters && j.judges(record.ClockBackwards) {
		j.clockBackwards()
	}
	if last.Time.Sub(first.Time) > j.policy.InterruptedAfter && j.judges(record.Interrupted) {
		j.interrupted()
	}
	if j.judges(record.TooQuick) {
		j.tooQuick()
	}
	if j.files && j.judges(record.ClockDisagrees) {
		j.clockDisagrees()
	}
	if j.clocked {
		j.clockCorrected()
	}
}

// clockBackwards looks for two rows of one instrument's log of which the one with
// the higher counter has the earlier time.
func (j *Judge) clockBackwards() {
	counted := j.counted[:0]
	for i := range j.rows {
		if j.rows[i].HasSeq {
			counted = append(counted, &j.rows[i])
		}
	}
	j.counted = counted
	if len(counted) < 2 {
		return
	}
	// In the order of the rows the time never falls; so it is enough to see
	// whether the counter does, within one log and between times that differ.
	highest := map[[2]string]*row{}
	for start := 0; start < len(counted); {
		end := start
		for ; end < len(counted) && counted[end].Time.Compare(counted[start].Time) == 0; end++ {
			r := counted[end]
			if h := highest[[2]string{r.Pos.File, r.Indicator}]; h != nil && h.Seq > r.Seq {
				rest(j.add(record.ClockBackwards, record.Failure, r.Indicator), h, r)
			}
		}
		for ; start < end; start++ {
			r := counted[start]
			key := [2]string{r.Pos.File, r.Indicator}
			if h := highest[key]; h == nil || r.Seq > h.Seq {
				highest[key] = r
			}
		}
	}
}

// countingRows returns the rows that count for the required pairs, each once, in
// order.
func (j *Judge) countingRows() []int32 {
	rows := j.counting[:0]
	for i := range j.slots {
		if r := j.slots[i].row; r >= 0 {
			rows = append(rows, r)
		}
	}
	slices.Sort(rows)
	j.counting = slices.Compact(rows)
	return j.counting
}

// interrupted looks for pauses between the readings that count: who is called
// away begins again. Source: Queensland Electrical Work code of practice 2010,
// 6.5.1.
func (j *Judge) interrupted() {
	rows := j.countingRows()
	for i := 1; i < len(rows); i++ {
		a, b := &j.rows[rows[i-1]], &j.rows[rows[i]]
		gap := b.Time.Sub(a.Time)
		if gap <= j.policy.InterruptedAfter {
			continue
		}
		severity := record.Caution
		if gap > interruptedFails {
			severity = record.Failure
		}
		rest(j.add(record.Interrupted, severity, ""), a, b)
	}
}

// tooQuick looks at the median time between successive dead tests. Times without
// seconds say nothing about it.
func (j *Judge) tooQuick() {
	if !j.hasQuick() {
		return
	}
	gaps := j.gaps[:0]
	var before *row
	seconds := false
	for i := range j.rows {
		r := &j.rows[i]
		if r.Kind != record.Test {
			continue
		}
		seconds = seconds || r.Time.Second() != 0
		if before != nil {
			gaps = append(gaps, r.Time.Sub(before.Time))
		}
		before = r
	}
	j.gaps = gaps
	if !seconds {
		return
	}
	slices.Sort(gaps)
	n := len(gaps)
	if (gaps[(n-1)/2]+gaps[n/2])/2 >= quickBelow {
		return
	}
	f := j.add(record.TooQuick, record.Caution, "")
	for i := range j.rows {
		if r := &j.rows[i]; r.Kind == record.Test {
			rest(f, r)
		}
	}
}

// hasQuick reports whether any dead test follows another too quickly.
func (j *Judge) hasQuick() bool {
	var before *row
	for i := range j.rows {
		r := &j.rows[i]
		if r.Kind != record.Test {
			continue
		}
		if before != nil && r.Time.Sub(before.Time) < quickBelow {
			return true
		}
		before = r
	}
	return false
}

// clockDisagrees compares the proofs that two files hold: where they are the same
// proofs in the same order, their times must agree.
func (j *Judge) clockDisagrees() {
	type log struct {
		file, indicator string
		proofs          []*row
	}
	var logs []log
	for i := range j.rows {
		r := &j.rows[i]
		if !r.Kind.IsProof() {
			continue
		}
		k := slices.IndexFunc(logs, func(l log) bool { return l.file == r.Pos.File && l.indicator == r.Indicator })
		if k < 0 {
			logs = append(logs, log{file: r.Pos.File, indicator: r.Indicator})
			k = len(logs) - 1
		}
		logs[k].proofs = append(logs[k].proofs, r)
	}
	for i, a := range logs {
		for _, b := range logs[i+1:] {
			if a.indicator != b.indicator || a.file == b.file || len(a.proofs) < 2 || !slices.EqualFunc(a.proofs, b.proofs, sameProof) {
				continue
			}
			for k := range a.proofs {
				if d := a.proofs[k].Time.Sub(b.proofs[k].Time); d.Abs() > record.ClocksAgree {
					rest(j.add(record.ClockDisagrees, record.Caution, a.indicator), a.proofs[k], b.proofs[k])
				}
			}
		}
	}
}

// sameProof reports whether two logs tell of the same proof.
func sameProof(a, b *row) bool {
	return sameSource(a.Source, b.Source) && a.HasExpected == b.HasExpected && (!a.HasExpected || a.Expected == b.Expected) &&
		a.Volts.State == record.Shown && b.Volts.State == record.Shown && a.Volts.Volts == b.Volts.Volts
}
