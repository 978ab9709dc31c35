package report

import (
	"cmp"
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

// doubtBlocks list the records in doubt.
func (w *Week) doubtBlocks() []block {
	if len(w.Doubts) == 0 {
		return nil
	}
	t := table{small: true, stack: true, columns: []column{
		{head: "record"}, {head: "verdict"}, {head: "began"}, {head: "site", weight: 2}, {head: "technician", weight: 1.5},
		{head: "doubt"}, {head: "instrument", weight: 1}, {head: "what is wrong with it", weight: 3},
	}}
	for _, d := range upTo(mostDoubts, w.Doubts) {
		t.rows = append(t.rows, row{strong: d.live(), cells: []words{
			linkTo(d.Filed), say("%s", d.Status), say("%s", w.shortTime(d.Began)), orMissing(d.Site, "site"), orMissing(d.Technician, "technician"),
			say("%s", doubtWord(d.Certain)), given(d.Instrument), given(d.Reason),
		}})
	}
	blocks := []block{
		heading{level: 2, text: say("In doubt, because an instrument failed later"), id: "doubt"},
		paragraph{small: true, text: say("What these records say was made with an instrument that turned out bad, or may have been. Call the site before anybody relies on one.")},
		t,
	}
	if n := len(w.Doubts) - mostDoubts; n > 0 {
		blocks = append(blocks, paragraph{small: true, text: say("And %s; all stand in the CSV file.", counted(n, "more record"))})
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
