package ingest

import "nilvolt/record"

// once takes the same row of several inputs once. Inside one input all rows stay:
// of each content as many are kept as the input has that has most of them. The
// events are in the order of the inputs, and stay in it.
func once(events []mixed) []mixed {
	type key struct {
		second int64
		kind   record.Kind
		volts  string
	}
	type content struct {
		index int // of an event that is kept
		kept  int // how many are kept
		seen  int // how many the input at hand has had so far
		input int // the input at hand
	}
	contents := make(map[key][]content)
	kept := events[:0:0]
	for i := range events {
		ev := &events[i]
		k := key{ev.Time.Unix(), ev.Kind, ev.Volts.Text}
		list := contents[k]
		at := -1
		for n := range list {
			if events[list[n].index].SameContent(&ev.Event) {
				at = n
				break
			}
		}
		if at < 0 {
			contents[k] = append(list, content{index: i, kept: 1, seen: 1, input: ev.input})
			kept = append(kept, *ev)
			continue
		}
		c := &list[at]
		if c.input != ev.input {
			c.input, c.seen = ev.input, 0
		}
		if c.seen++; c.seen > c.kept {
			c.kept++
			kept = append(kept, *ev)
		}
	}
	return kept
}
