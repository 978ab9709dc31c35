package verify

import "nilvolt/record"

// stepRules judges the steps of the procedure, where they are recorded.
func (j *Judge) stepRules() {
	if j.judges(record.PermissionOrder) || j.judges(record.PermissionGap) {
		j.permission()
	}
	if j.steps[record.Isolate] > 0 {
		j.secured(record.NotSecured, record.Failure, record.Lock)
		j.secured(record.NotLabelled, record.Caution, record.Label)
	}
	if j.steps[record.Begin] > 0 {
		if j.judges(record.BeganEarly) {
			j.beganEarly()
		}
		if j.judges(record.BegunLate) {
			j.begunLate()
		}
	}
}

// first returns the first row of a kind, nil if there is none.
func (j *Judge) first(k record.Kind) *row {
	if j.steps[k] == 0 {
		return nil
	}
	for i := range j.rows {
		if j.rows[i].Kind == k {
			return &j.rows[i]
		}
	}
	return nil
}

// permission judges whether leave was given before the isolation, and how long
// before. That the two lie about ten minutes apart is common practice and depends
// on the site.
func (j *Judge) permission() {
	if j.steps[record.Permission] == 0 || j.steps[record.Isolate] == 0 {
		return
	}
	var last *row
	for i := range j.rows {
		r := &j.rows[i]
		switch r.Kind {
		case record.Permission:
			last = r
		case record.Isolate:
			switch {
			case last == nil:
				if j.judges(record.PermissionOrder) {
					rest(j.add(record.PermissionOrder, record.Failure, ""), j.first(record.Permission), r)
				}
			case r.Time.Sub(last.Time) > j.policy.PermissionGap && j.judges(record.PermissionGap):
				rest(j.add(record.PermissionGap, record.Caution, ""), last, r)
			}
			return
		default:
		}
	}
}

// secured judges whether each isolation before the first counting reading was
// followed up: locked, labelled.
func (j *Judge) secured(rule record.Rule, severity record.Severity, step record.Kind) {
	if !j.judges(rule) {
		return
	}
	end := len(j.rows)
	if rows := j.countingRows(); len(rows) > 0 {
		end = int(rows[0])
	}
	isolates, steps := 0, 0
	for i := end - 1; i >= 0 && j.rows[i].Kind != record.Restore; i-- {
		switch j.rows[i].Kind {
		case record.Isolate:
			isolates++
		case step:
			steps++
		default:
		}
	}
	if steps >= isolates {
		return
	}
	f := j.add(rule, severity, "")
	for i := end - 1; i >= 0 && j.rows[i].Kind != record.Restore; i-- {
		if j.rows[i].Kind == record.Isolate {
			rest(f, &j.rows[i])
		}
	}
}

// beganEarly looks for work that began after the last isolate or restore and
// before every required pair was shown dead and the indicator proved again. A
// live reading is a reset too, but it does not excuse a begin before it.
func (j *Judge) beganEarly() {
	all := j.allGood()
	for i := len(j.rows) - 1; i >= 0 && j.rows[i].Kind != record.Isolate && j.rows[i].Kind != record.Restore; i-- {
		if j.rows[i].Kind == record.Begin && (!all || j.reprovedAfter(i)) {
			rest(j.add(record.BeganEarly, record.Failure, ""), &j.rows[i])
		}
	}
}

// reprovedAfter reports whether a reprove series with which a pair became good
// ended after row i.
func (j *Judge) reprovedAfter(i int) bool {
	for k := range j.slots {
		s := j.slots[k].goodSince
		if s != nil && (i < int(s.lastRow) || s.lastRow < 0 && j.rows[i].Time.Before(s.last)) {
			return true
		}
	}
	return false
}

// begunLate judges the time from the last reprove to the begin of work: what was
// dead then need not be now. Without a lock recorded it fails.
func (j *Judge) begunLate() {
	var end record.Instant
	endRow := int32(-1)
	for i := range j.slots {
		s := &j.slots[i]
		if s.row < 0 || j.rows[s.row].class != classDead {
			continue
		}
		if after := j.rows[s.row].near.after; after != nil && (!end.IsSet() || end.Before(after.last)) {
			end, endRow = after.last, after.lastRow
		}
	}
	if !end.IsSet() {
		return
	}
	for i := range j.rows {
		r := &j.rows[i]
		if r.Kind != record.Begin || endRow >= 0 && int32(i) < endRow || r.Time.Before(end) {
			continue
		}
		if r.Time.Sub(end) > j.policy.BeginWithin {
			severity := record.Caution
			if j.steps[record.Lock] == 0 {
				severity = record.Failure
			}
			f := j.add(record.BegunLate, severity, "")
			rest(f, r)
			if endRow >= 0 {
				rest(f, &j.rows[endRow])
			}
		}
		return
	}
}
