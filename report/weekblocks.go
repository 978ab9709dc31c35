package report

import (
	"slices"
	"strings"
	"time"

	"nilvolt/record"
	"nilvolt/verify"
)

// How many lines of a list stand on paper; the rest stands in the CSV file.
const (
	mostBad     = 25
	mostWaiting = 15
	mostLate    = 10
	mostDoubts  = 15
	mostMissing = 15
	mostService = 20
)

// Document returns the report as a document. What needs somebody stands first, a live
// record before all; a quiet week is one page and the sheet for the check.
func (w *Week) Document() *Document {
	d := &Document{
		title:   "nilvolt: week " + w.Week.String(),
		subject: "weekly report on isolation records, ledger " + w.Stand.Origin,
		head:    say("Week %v, ledger ", w.Week).and(given(w.Stand.Origin)),
		foot:    say("%s leaves, head %.16s, %s. Judges evidence, not conductors: no permission to touch.", grouped(int(w.Stand.Leaves)), w.Stand.Root, moment(w.Stand.Made.In(w.Begin.Location()))),
		made:    w.Stand.Made,
	}
	d.add(
		heading{level: 1, text: say("Week %v", w.Week)},
		paragraph{text: say("%s to %s, %s. The ledger as it stood on %s%s.", w.Begin.Format("Monday 2 January 2006"),
			w.End.AddDate(0, 0, -1).Format("Monday 2 January 2006"), w.zoneName(), moment(w.Stand.Made.In(w.Begin.Location())), w.notOver())},
		w.headline(),
	)
	d.add(points{w.answers()})
	d.add(w.pictures()...)
	d.add(w.badBlocks()...)
	d.add(w.lateBlocks()...)
	d.add(w.missingBlocks()...)
	d.add(w.waitingBlocks()...)
	d.add(w.doubtBlocks()...)
	d.add(w.watchBlocks()...)
	d.add(w.tableBlocks()...)
	d.add(w.serviceBlocks()...)
	d.add(w.notes()...)
	d.add(w.checkSheet()...)
	return d
}

// pictures are the rate of the weeks and what failed most.
func (w *Week) pictures() []block {
	var blocks []block
	if history := w.rateChart(); history != nil {
		left := []block{figure{drawing: history, caption: say("Share of records that are not compliant, week by week, with its 95 % interval; the bold one is this week.")}}
		if bars := w.paretoChart(); bars != nil {
			return append(blocks, beside{left: left, right: []block{figure{
				drawing: bars, caption: say("What failed most: records in which each rule failed. The line adds up the bars."),
			}}, share: 0.5})
		}
		blocks = append(blocks, beside{left: left, share: 0.5, right: []block{paragraph{text: say("No rule failed in this week.")}}})
	}
	return blocks
}

// filedTable lists records. What they wait for is said where it is not all the same.
func (w *Week) filedTable(list []*Filed, most int) []block {
	most = atLeastLive(most, list)
	rest := len(list) - most
	list = upTo(most, list)
	t := table{small: true, stack: true, columns: []column{
		{head: "record"}, {head: "began"}, {head: "site", weight: 2}, {head: "technician", weight: 1.5}, {head: "rules that failed", weight: 4},
	}}
	differs := slices.ContainsFunc(list, func(f *Filed) bool { return f.decision() != list[0].decision() })
	if differs {
		t.columns = append(t.columns, column{head: "decision", weight: 2})
	}
	for _, f := range list {
		name := linkTo(f)
		if f.live() {
			name = name.and(stress(" LIVE"))
		}
		cells := []words{
			name, say("%s", w.shortTime(f.Began)), orMissing(f.Site, "site"), orMissing(f.Technician, "technician"), say("%s", ruleNames(f.Failed)),
		}
		if differs {
			cells = append(cells, given(f.decision()))
		}
		t.rows = append(t.rows, row{strong: f.live(), cells: cells})
	}
	blocks := []block{t}
	if !differs && len(list) > 1 {
		blocks = append(blocks, paragraph{small: true, text: say("Each of these ").and(given(list[0].decision()), say("."))})
	}
	if rest > 0 {
		blocks = append(blocks, paragraph{small: true, text: say("And %s; all stand in the CSV file.", counted(rest, "more record"))})
	}
	return blocks
}

// atLeastLive returns how many records of a list are shown: so many, but all live ones,
// which stand first.
func atLeastLive(most int, list []*Filed) int {
	for most < len(list) && list[most].live() {
		most++
	}
	return most
}

// decision says what a record waits for, or what was decided.
func (f *Filed) decision() string {
	if f.Waiting != "" {
		return "waits for " + f.Waiting
	}
	if f.Decided != "" {
		return "has its decision: " + f.Decided
	}
	return "needs none"
}

func (w *Week) badBlocks() []block {
	if len(w.Bad) == 0 {
		return nil
	}
	blocks := []block{heading{level: 2, text: say("Not compliant, worst first"), id: "bad"}}
	return append(blocks, w.filedTable(w.Bad, mostBad)...)
}

func (w *Week) lateBlocks() []block {
	if len(w.LateBad) == 0 {
		return nil
	}
	blocks := []block{heading{level: 2, text: say("Handed in late, not compliant"), id: "late"}}
	return append(blocks, w.filedTable(w.LateBad, mostLate)...)
}

// ageSteps are the ages in days by which waiting records are counted.
var ageSteps = []int{7, 28, 91}

func (w *Week) waitingBlocks() []block {
	if len(w.Waiting) == 0 {
		return nil
	}
	counts := make([]int, len(ageSteps)+1)
	for _, f := range w.Waiting {
		i := 0
		for i < len(ageSteps) && w.age(f) > ageSteps[i] {
			i++
		}
		counts[i]++
	}
	names := []string{"up to 7 days", "8 to 28 days", "29 to 91 days", "longer"}
	ages := facts{columns: 2}
	for i, n := range counts {
		ages.list = append(ages.list, fact{names[i], say("%s", grouped(n))})
	}
	blocks := []block{
		heading{level: 2, text: say("Waiting for a decision, by age on %s", w.AsOf.Format("2 January 2006")), id: "waiting"},
		ages,
	}
	rest := w.waitingRest()
	if above := len(w.Waiting) - len(rest); above > 0 {
		blocks = append(blocks, paragraph{small: true, text: say("%s of them in another list of this report.", grouped(above))})
	}
	if len(rest) > 0 {
		blocks = append(blocks, w.filedTable(rest, mostWaiting)...)
	}
	return blocks
}

// waitingRest returns what waits and does not stand in a list above.
func (w *Week) waitingRest() (rest []*Filed) {
	listed := map[*Filed]bool{}
	for _, list := range [][]*Filed{upTo(atLeastLive(mostBad, w.Bad), w.Bad), upTo(atLeastLive(mostLate, w.LateBad), w.LateBad)} {
		for _, f := range list {
			listed[f] = true
		}
	}
	for _, f := range w.Waiting {
		if !listed[f] && (len(f.Doubts) == 0 || f.Status != record.Compliant) {
			rest = append(rest, f)
		}
	}
	return rest
}

// age returns for how many days a record has been waiting since it began.
func (w *Week) age(f *Filed) int { return int(w.AsOf.Sub(f.Began) / (24 * time.Hour)) }

// oldest returns the record that began first.
func oldest(list []*Filed) *Filed {
	first := list[0]
	for _, f := range list[1:] {
		if f.Began.Before(first.Began) {
			first = f
		}
	}
	return first
}

// tableBlocks are the rates by rule, site, technician and instrument.
func (w *Week) tableBlocks() []block {
	if w.Total.Now.Records == 0 {
		return nil
	}
	var blocks []block
	for _, g := range []struct {
		table       Table
		title, head string
		remark      string
	}{
		{w.Rules, "By rule, the most frequent first", "rule", ""},
		{w.Sites, "By site", "site", ""},
		{
			w.Technicians, "By technician, by name", "technician",
			"Nobody is ranked here. A count says nothing without the number of records, and a rate little without its interval, which is wide where there are few records. It also follows the work, the sites and the instruments that somebody was given. Ask before you judge.",
		},
		{w.Indicators, "By voltage indicator", "indicator", ""},
		{w.Units, "By proving unit", "proving unit", ""},
	} {
		blocks = append(blocks, w.rateBlocks(g.table, g.title, g.head, g.remark)...)
	}
	return blocks
}

// rateBlocks are the rows of a table that have something to say, and a line on the
// others.
func (w *Week) rateBlocks(all Table, title, head, remark string) []block {
	t := table{small: true, stack: true, columns: []column{
		{head: head, weight: 3}, {head: "not compliant"}, {head: "rate (95 %)"}, {head: "weeks before"}, {head: "rate (95 %)"}, {head: "change", weight: 1},
	}}
	var rest Count
	names := 0
	for _, r := range all {
		if r.Now.Failing == 0 && r.Change == CannotTell {
			rest.add(r.Now)
			names++
			continue
		}
		name := orMissing(r.Name, head)
		if rule, err := record.ParseRule(r.Name); err == nil && head == "rule" {
			name = stress(r.Name).and(say(" %s", question(rule)))
		}
		t.rows = append(t.rows, row{cells: []words{
			name, say("%s of %s", grouped(r.Now.Failing), grouped(r.Now.Records)), say("%s", intervalWords(r.Now)),
			say("%s of %s", grouped(r.Before.Failing), grouped(r.Before.Records)), say("%s", intervalWords(r.Before)), changeCell(r.Change),
		}})
	}
	if len(t.rows) == 0 {
		return nil
	}
	blocks := []block{heading{level: 2, text: say("%s", title)}}
	if remark != "" {
		blocks = append(blocks, paragraph{small: true, text: say("%s", remark)})
	}
	blocks = append(blocks, t)
	if names > 0 {
		blocks = append(blocks, paragraph{small: true, text: say("%s with %s: all compliant.", counted(names, "other "+head), counted(rest.Records, "record"))})
	}
	return blocks
}

func changeCell(c Change) words {
	switch c {
	case Higher:
		return stress("higher")
	case Lower:
		return say("lower")
	case CannotTell:
	}
	return say("–")
}

// question returns what a rule asks, its first sentence.
func question(r record.Rule) string {
	asks, _, _ := strings.Cut(verify.Explain(r).Asks, "?")
	return asks + "?"
}

// notes say how the report was counted.
func (w *Week) notes() []block {
	list := []words{
		say("A record counts in the week in which it began, in the zone %s; one that was handed in several times counts once, by its worst judgement. \"In the weeks before\" are the %d weeks before this one together.", w.zoneName(), w.Before),
		say("The interval of a rate is Wilson's, 95 %. \"Higher\" and \"lower\" are said by Fisher's exact test at 5 % for a whole table together (Bonferroni); a dash says that no difference can be told, not that there is none."),
		say("A record with several failed rules counts once in each of them, and once in each of its indicators and proving units."),
		say("Compliant is a judgement on evidence. It says nothing of a conductor and is no permission to touch."),
	}
	p := points{}
	for _, text := range list {
		p.list = append(p.list, point{mark: "–", text: text})
	}
	return []block{heading{level: 2, text: say("How this was counted")}, p}
}

// Headline returns the week in one line of text.
func (w *Week) Headline() string {
	v := w.headline()
	return v.word + ". " + v.text.String()
}
