package report

import (
	"cmp"
	"maps"
	"slices"
	"time"
)

// A Missing is a record that a job sheet names and of which nothing was handed in.
type Missing struct {
	Record     string
	Began      time.Time // when the sheet has it begin
	Site       string    // blank where the sheet does not say, as the next
	Technician string
}

// A Watched is an instrument to watch.
type Watched struct {
	Instrument string
	Kind       string   // indicator or proving unit
	State      string   // in a word
	Why        []string // in sentences

	chart  *InstrumentChart // nil for none
	failed map[float64]int  // failed proofs by week of the chart
}

// A Doubted is a record with one of its doubts.
type Doubted struct {
	*Filed
	Doubt
}

// doubted returns the doubts of records.
func doubted(list []*Filed) (out []Doubted) {
	for _, f := range list {
		for _, d := range f.Doubts {
			out = append(out, Doubted{f, d})
		}
	}
	slices.SortStableFunc(out, func(a, b Doubted) int {
		return cmp.Or(first(a.live(), b.live()), first(a.Certain, b.Certain), a.Began.Compare(b.Began), cmp.Compare(a.Name(), b.Name()), cmp.Compare(a.Instrument, b.Instrument))
	})
	return out
}

// first orders what is so before what is not.
func first(a, b bool) int {
	switch {
	case a && !b:
		return -1
	case b && !a:
		return 1
	}
	return 0
}

// missingBlocks list what was never handed in.
func (w *Week) missingBlocks() []block {
	if len(w.Missing) == 0 {
		return nil
	}
	t := table{small: true, stack: true, columns: []column{{head: "record"}, {head: "was to begin"}, {head: "site", weight: 1}, {head: "technician", weight: 1}}}
	for _, m := range upTo(mostMissing, w.Missing) {
		t.rows = append(t.rows, row{cells: []words{
			given(m.Record), say("%s", w.shortTime(m.Began)), orMissing(m.Site, "site"), orMissing(m.Technician, "technician"),
		}})
	}
	blocks := []block{
		heading{level: 2, text: say("Never handed in"), id: "missing"},
		paragraph{small: true, text: say("A job sheet names these, and no row of them was ever handed in: not done, or done without evidence. They are in no count.")},
		t,
	}
	if n := len(w.Missing) - mostMissing; n > 0 {
		blocks = append(blocks, paragraph{small: true, text: say("And %s more; all stand in the CSV file.", grouped(n))})
	}
	return blocks
}

// A doubtGroup is the doubts that one instrument casts.
type doubtGroup struct {
	instrument, reason string
	doubts             []Doubted
}

// doubtGroups returns the doubts by instrument, in the order in which instruments come
// first.
func (w *Week) doubtGroups() (groups []doubtGroup) {
	for _, d := range w.Doubts {
		i := slices.IndexFunc(groups, func(g doubtGroup) bool { return g.instrument == d.Instrument })
		if i < 0 {
			i = len(groups)
			groups = append(groups, doubtGroup{instrument: d.Instrument})
		}
		g := &groups[i]
		g.reason = d.Reason // of several looks back the newest record's is as good as any
		g.doubts = append(g.doubts, d)
	}
	return groups
}

// inDoubt returns how many records are in doubt.
func (w *Week) inDoubt() int {
	records := map[*Filed]bool{}
	for _, d := range w.Doubts {
		records[d.Filed] = true
	}
	return len(records)
}

// doubtBlocks list the records in doubt, instrument by instrument, with whom to call.
func (w *Week) doubtBlocks() []block {
	if len(w.Doubts) == 0 {
		return nil
	}
	blocks := []block{
		heading{level: 2, text: say("In doubt, because an instrument turned out bad"), id: "doubt"},
		paragraph{small: true, text: say("Call the sites before anybody relies on one of these records. Certain: the instrument was bad by then.")},
	}
	for _, g := range w.doubtGroups() {
		list := facts{columns: 1}
		for _, certain := range []bool{true, false} {
			some := slices.Collect(func(yield func(Doubted) bool) {
				for _, d := range g.doubts {
					if d.Certain == certain && !yield(d) {
						return
					}
				}
			})
			if len(some) == 0 {
				continue
			}
			text := say("%s: ", counted(len(some), "record"))
			for i, d := range upTo(mostDoubts, some) {
				if i > 0 {
					text = text.and(say(", "))
				}
				text = text.and(linkTo(d.Filed))
				if d.live() {
					text = text.and(stress(" LIVE"))
				}
			}
			if n := len(some) - mostDoubts; n > 0 {
				text = text.and(say(" and %s more, in the CSV file", grouped(n)))
			}
			list.list = append(list.list, fact{doubtWord(certain), text})
		}
		list.list = append(list.list,
			fact{"sites", countedNames(g.doubts, "site", func(d Doubted) string { return d.Site })},
			fact{"technicians", countedNames(g.doubts, "technician", func(d Doubted) string { return d.Technician })})
		blocks = append(blocks, heading{level: 3, text: given(g.instrument).and(say(": "), given(g.reason))}, list)
	}
	return blocks
}

// doubtWord says how certain a doubt is.
func doubtWord(certain bool) string {
	if certain {
		return "certain"
	}
	return "may be"
}

// countedNames lists names with how many records each has, by name.
func countedNames(list []Doubted, what string, name func(Doubted) string) words {
	counts := map[string]int{}
	for _, d := range list {
		counts[name(d)]++
	}
	text := words{}
	for i, n := range slices.Sorted(maps.Keys(counts)) {
		if i > 0 {
			text = text.and(say(", "))
		}
		text = text.and(orMissing(n, what), say(" (%d)", counts[n]))
	}
	return text
}

// watchBlocks list the instruments to watch.
func (w *Week) watchBlocks() []block {
	if len(w.Watch) == 0 {
		return nil
	}
	blocks := []block{heading{level: 2, text: say("Instruments to watch, worst first"), id: "watch"}}
	for _, x := range w.Watch {
		text := words{}
		for i, sentence := range x.Why {
			if i > 0 {
				text = text.and(say(" "))
			}
			text = text.and(given(sentence))
		}
		title := heading{level: 3, text: given(x.Instrument).and(say(", %s: %s", x.Kind, x.State))}
		var picture *drawing
		if x.chart != nil {
			picture = x.small()
		}
		if picture == nil {
			blocks = append(blocks, keep{[]block{title, paragraph{text: text}}})
			continue
		}
		blocks = append(blocks, keep{[]block{beside{
			left: []block{title, paragraph{text: text}}, right: []block{figure{drawing: picture}}, share: 0.48,
		}}})
	}
	return append(blocks, paragraph{small: true, text: say("Pictures: the instrument's own error week by week, from the lowest to the highest reading with their mean, its level, the tolerance, dashed, and how many proofs failed.")})
}

// serviceBlocks list what is due in the weeks to come.
func (w *Week) serviceBlocks() []block {
	if len(w.Service) == 0 {
		return nil
	}
	t := serviceTable(upTo(mostService, w.Service), false)
	blocks := []block{heading{level: 2, text: say("Due for service within %d days of this week", dueWithin), id: "service"}, t}
	if n := len(w.Service) - mostService; n > 0 {
		blocks = append(blocks, paragraph{small: true, text: say("And %s; nilvolt instruments plan shows them all.", counted(n, "more instrument"))})
	}
	return blocks
}

// day writes a date, or that there is none.
func day(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return t.Format("Mon 2 Jan 2006")
}
