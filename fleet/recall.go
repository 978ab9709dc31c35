package fleet

import (
	"maps"
	"slices"
)

// recall gives the instruments the faults that older windows confirmed and no service has
// ended, so that a fault stands however long nobody proves the instrument. Each window is
// searched by itself, the newest first: a search over all years would take the slow wander
// of healthy instruments for drifts and steps, and the memory of all proofs.
func (f *Fleet) recall(from Evidence) {
	of := make(map[role]*Assessment, len(f.Instruments))
	for i := range f.Instruments {
		of[f.Instruments[i].tracked.role] = &f.Instruments[i]
	}
	ends := slices.Sorted(maps.Keys(f.window.ends))
	for _, end := range slices.Backward(ends) {
		begin := end - float64(f.Settings.Window)
		found := Watch(f.window.pointsOf(from.Proofs, begin, end), SearchOptions{
			From: begin, Until: end, FalseAlarms: f.Settings.FalseAlarms, References: references(from.Register),
		})
		for _, fault := range found.Faults {
			// One with a service since has another id, and is nobody's.
			if a := of[role{fault.Instrument, fault.Unit}]; a != nil && fault.Confirmed {
				d := f.dated(fault, found)
				if d.Seen = f.At(end); a.Last.Before(d.Seen) {
					d.Seen = a.Last
				}
				a.recall(d)
			}
		}
	}
	for i := range f.Instruments {
		f.Instruments[i].sortFaults()
	}
}

// recall adds a fault of an older window, unless a newer one has confirmed it too: then it
// may tell when that one began.
func (a *Assessment) recall(d DatedFault) {
	for i := range a.Faults {
		x := &a.Faults[i]
		switch {
		case !x.Confirmed || (x.Size > 0) != (d.Size > 0):
		case x.Older && x.Kind == d.Kind: // it shows from the beginning of its window on
			x.Start, x.Earliest, x.Latest = d.Start, d.Earliest, d.Latest
			x.Began, x.BeganEarliest, x.BeganLatest = d.Began, d.BeganEarliest, d.BeganLatest
			x.Older = d.Older
			return
		case d.Latest >= x.Earliest && (x.Kind == Drift || d.Earliest <= x.Latest): // a drift goes on
			return
		}
	}
	a.Faults = append(a.Faults, d)
}
