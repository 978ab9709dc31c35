package ledger

import (
	"cmp"
	"slices"
)

// A span is a time, both ends included, in Unix seconds.
type span struct{ from, to int64 }

// spans are the times at which instruments were used.
type spans map[string][]span

// add notes that an instrument was used.
func (s spans) add(instrument string, from, to int64) {
	s[instrument] = append(s[instrument], span{from, to})
}

// widen moves the ends of all spans apart and brings those together that touch, so
// that each list is ordered and without overlaps.
func (s spans) widen(before, after int64) {
	for id, list := range s {
		slices.SortFunc(list, func(a, b span) int { return cmp.Compare(a.from, b.from) })
		merged := list[:0]
		for _, p := range list {
			p.from, p.to = p.from-before, p.to+after
			if n := len(merged); n > 0 && p.from <= merged[n-1].to {
				merged[n-1].to = max(merged[n-1].to, p.to)
				continue
			}
			merged = append(merged, p)
		}
		s[id] = merged
	}
}

// touches reports whether one of the spans of an instrument, after widen, shares a
// second with the time from one to another.
func (s spans) touches(instrument string, from, to int64) bool {
	list := s[instrument]
	// The first span that does not end before from.
	i, _ := slices.BinarySearchFunc(list, from, func(p span, from int64) int { return cmp.Compare(p.to, from) })
	return i < len(list) && list[i].from <= to
}
