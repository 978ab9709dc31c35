package ingest

import (
	"slices"

	"nilvolt/record"
)

// looseRows are the rows without a record id, matched to records.
type looseRows struct {
	strays []Stray
	// matched holds the rows of each record, in the order of the input.
	matched map[string][]match
	// spoiled holds the records that a bad row may belong to.
	spoiled map[string]bool
}

// A match is a loose row of a record.
type match struct {
	loose
	ambiguous bool // it fits other records as well
}

// A window is the time that a record's job sheet gives an instrument.
type window struct {
	start, end record.Instant
	record     string
	latest     record.Instant // the latest end of this window and those before it
}

// windowsOf returns the windows of the job sheet by indicator, in order of their
// start.
func windowsOf(jobs *jobSheet) map[string][]window {
	windows := make(map[string][]window)
	for i := range jobs.rows {
		j := &jobs.rows[i]
		if j.Indicator != "" && j.Start.IsSet() && j.End.IsSet() {
			windows[j.Indicator] = append(windows[j.Indicator], window{start: j.Start, end: j.End, record: j.Record})
		}
	}
	for _, list := range windows {
		slices.SortStableFunc(list, func(a, b window) int { return a.start.Compare(b.start) })
		for i := range list {
			list[i].latest = list[i].end
			if i > 0 && list[i].latest.Before(list[i-1].latest) {
				list[i].latest = list[i-1].latest
			}
		}
	}
	return windows
}

// fitting returns the records whose window holds t, each once, by their start.
func fitting(list []window, t record.Instant) []string {
	n, _ := slices.BinarySearchFunc(list, t, func(w window, t record.Instant) int {
		if w.start.Compare(t) > 0 {
			return 1
		}
		return -1
	})
	var records []string
	for i := n - 1; i >= 0 && !list[i].latest.Before(t); i-- {
		if !list[i].end.Before(t) && !slices.Contains(records, list[i].record) {
			records = append(records, list[i].record)
		}
	}
	slices.Reverse(records)
	return records
}

// matchLoose gives the loose rows to the records that they fit: a reading fits a
// record whose job sheet names its indicator, from a start before it to an end
// behind it, the limits included. Steps without a record id fit none.
func (s *Set) matchLoose(rows []loose) *looseRows {
	l := &looseRows{matched: make(map[string][]match), spoiled: make(map[string]bool)}
	windows := windowsOf(s.jobs)
	for _, row := range rows {
		list := windows[row.indicator]
		if row.bad {
			l.spoil(windows, list, &row)
			continue
		}
		var records []string
		if row.kind.IsReading() {
			records = fitting(list, row.time)
		}
		if len(records) != 1 {
			l.strays = append(l.strays, Stray{
				Pos:       record.Pos{File: s.inputs[row.input].name, Line: int(row.line)},
				Indicator: row.indicator, Time: row.time, Kind: row.kind, Records: records,
			})
		}
		for _, r := range records {
			l.matched[r] = append(l.matched[r], match{row, len(records) > 1})
		}
	}
	return l
}

// spoil notes the records that a bad row may belong to: those whose windows it
// fits as far as it can be read.
func (l *looseRows) spoil(windows map[string][]window, list []window, row *loose) {
	if row.indicator != "" {
		l.spoilAt(list, row.time)
		return
	}
	for _, list := range windows {
		l.spoilAt(list, row.time)
	}
}

func (l *looseRows) spoilAt(list []window, t record.Instant) {
	if t.IsSet() {
		for _, r := range fitting(list, t) {
			l.spoiled[r] = true
		}
		return
	}
	for _, w := range list {
		l.spoiled[w.record] = true
	}
}
