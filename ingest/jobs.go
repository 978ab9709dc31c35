package ingest

import (
	"slices"
	"sync/atomic"

	"nilvolt/record"
)

// A jobSheet is the rows of all job sheets by record.
type jobSheet struct {
	rows    []record.Job // grouped by record, in the order of the sheets
	order   []int        // the first row of each record, in the order of the sheets
	first   map[string]int
	present []atomic.Bool // by first row: the record has been dealt with
}

func newJobSheet(rows []record.Job) *jobSheet {
	s := &jobSheet{first: make(map[string]int)}
	byRecord := make(map[string][]record.Job)
	for _, job := range rows {
		byRecord[job.Record] = append(byRecord[job.Record], job)
	}
	for _, job := range rows {
		if _, known := s.first[job.Record]; known {
			continue
		}
		s.first[job.Record] = len(s.rows)
		s.order = append(s.order, len(s.rows))
		s.rows = append(s.rows, byRecord[job.Record]...)
	}
	s.present = make([]atomic.Bool, len(s.rows))
	return s
}

// forget makes all records not dealt with.
func (s *jobSheet) forget() {
	for i := range s.present {
		s.present[i].Store(false)
	}
}

// take returns the rows of a record and notes that it is dealt with.
func (s *jobSheet) take(id string) []record.Job {
	first, ok := s.first[id]
	if !ok {
		return nil
	}
	s.present[first].Store(true)
	return s.at(first)
}

// at returns the rows of the record whose first row is given.
func (s *jobSheet) at(first int) []record.Job {
	end := first + 1
	for end < len(s.rows) && s.rows[end].Record == s.rows[first].Record {
		end++
	}
	return s.rows[first:end:end]
}

// sameJob reports whether two rows say the same of a record; where they stand does
// not count.
func sameJob(a, b *record.Job) bool {
	return a.Site == b.Site && a.Circuit == b.Circuit && a.Technician == b.Technician &&
		a.Supply == b.Supply && a.Nominal == b.Nominal && a.Earthing == b.Earthing &&
		slices.Equal(a.Conductors, b.Conductors) && slices.Equal(a.Switched, b.Switched) &&
		a.Device == b.Device && a.Poles == b.Poles && a.OnLoad == b.OnLoad && a.Category == b.Category &&
		a.SupplySideLive == b.SupplySideLive && a.Indicator == b.Indicator &&
		a.Start.Compare(b.Start) == 0 && a.Start.IsSet() == b.Start.IsSet() &&
		a.End.Compare(b.End) == 0 && a.End.IsSet() == b.End.IsSet()
}
