package fleet

import (
	"cmp"
	"math"
	"slices"
)

// fillParts fills in the part, the party and the error of each instrument.
func (f *Fleet) fillParts() {
	m := f.findings.model
	index := make(map[role]int32, len(m.l.parties))
	for p := range m.l.parties {
		index[role{m.l.parties[p].id, m.l.parties[p].unit}] = int32(p)
	}
	part := map[role]int{}
	for i := range f.Parts {
		for _, id := range f.Parts[i].Indicators {
			part[role{id, false}] = i
		}
		for _, id := range f.Parts[i].Units {
			part[role{id, true}] = i
		}
	}
	for i := range f.Instruments {
		a := &f.Instruments[i]
		if n, ok := part[a.tracked.role]; ok {
			a.Part = n
		}
		if p, ok := index[a.tracked.role]; ok {
			a.party = p
		}
	}
	for _, l := range f.findings.Levels {
		p, ok := index[role{l.Instrument, l.Unit}]
		if !ok {
			continue
		}
		i, ok := slices.BinarySearchFunc(f.Instruments, l.Instrument, func(a Assessment, id string) int {
			return cmp.Compare(a.Instrument, id)
		})
		for ; ok && i < len(f.Instruments) && f.Instruments[i].Instrument == l.Instrument; i++ {
			a := &f.Instruments[i]
			if a.tracked.unit != l.Unit {
				continue
			}
			now := l.Percent + m.faultsOf(p, f.window.until)
			if !a.Measured || math.Abs(now) > math.Abs(a.Error) {
				a.Measured, a.Error, a.Expected = true, now, l.Expected
			}
		}
	}
}

// faultsOf returns the sum of the faults of party p at a week.
func (m *model) faultsOf(p int32, week float64) float64 {
	sum := 0.0
	for _, k := range m.fitsOf[p] {
		sum += m.fits[k].size * m.fits[k].at(week)
	}
	return sum
}

// charge gives each instrument its faults, and both suspects of a doubt the doubt.
func (f *Fleet) charge() {
	of := make(map[role]*Assessment, len(f.Instruments))
	for i := range f.Instruments {
		of[f.Instruments[i].tracked.role] = &f.Instruments[i]
	}
	for _, fault := range f.findings.Faults {
		a := of[role{fault.Instrument, fault.Unit}]
		d := f.dated(fault, f.findings)
		d.CrossProve = f.findings.Advise(fault, f.window.until)
		if a != nil {
			a.Faults = append(a.Faults, d)
		}
		if rival := of[role{d.Rival, fault.RivalUnit}]; !fault.Clear && rival != nil && rival != a {
			rival.Rivals = append(rival.Rivals, plainID(fault.Instrument))
			rival.CrossProve = append(rival.CrossProve, d.CrossProve...)
			if a != nil {
				a.Rivals = append(a.Rivals, d.Rival)
				a.CrossProve = append(a.CrossProve, d.CrossProve...)
			}
		}
	}
	for i := range f.Instruments {
		a := &f.Instruments[i]
		a.sortFaults()
		a.Rivals = sortedSet(a.Rivals)
	}
}

func (a *Assessment) sortFaults() {
	slices.SortStableFunc(a.Faults, func(x, y DatedFault) int {
		return cmp.Or(-cmp.Compare(x.rank(), y.rank()), -cmp.Compare(x.T, y.T))
	})
}

// dated returns a fault that a search found with its times.
func (f *Fleet) dated(fault Fault, found *Findings) DatedFault {
	d := DatedFault{Fault: fault}
	d.Rival = plainID(fault.Rival)
	first := found.firstWeek(role{fault.Instrument, fault.Unit})
	d.Start, d.Earliest, d.Latest = max(d.Start, first), max(d.Earliest, first), max(d.Latest, first)
	d.Began, d.BeganEarliest, d.BeganLatest = f.At(d.Start), f.At(d.Earliest), f.At(d.Latest)
	d.Older = fault.Kind == Drift && d.Earliest <= first
	return d
}

// firstWeek returns the beginning of the week of the first numeric proof of an instrument
// in a search: it cannot show a fault before.
func (f *Findings) firstWeek(r role) float64 {
	l := f.model.l
	p := slices.IndexFunc(l.parties, func(q party) bool { return q.id == r.id && q.unit == r.unit })
	return math.Floor(l.week[l.parties[p].rows[0]])
}

// rank ranks a fault: confirmed, confirmed once, clear, in doubt.
func (d *DatedFault) rank() int {
	switch {
	case d.Confirmed && !d.Seen.IsSet():
		return 3
	case d.Confirmed:
		return 2
	case d.Clear:
		return 1
	}
	return 0
}

func sortedSet(ids []string) []string {
	slices.Sort(ids)
	return slices.Compact(ids)
}
