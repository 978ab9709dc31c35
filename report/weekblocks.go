package report

import (
	"fmt"
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

// notOver says that more may come, where the ledger's newest entry is from before the
// week's end.
func (w *Week) notOver() string {
	if w.Stand.Made.Before(w.End) {
		return ", when the week was not over: more may come"
	}
	return ""
}

// liveOpen returns the live records to be seen first: those of the week, then late and
// waiting ones.
func (w *Week) liveOpen() (list []*Filed) {
	seen := map[*Filed]bool{}
	for _, from := range [][]*Filed{w.Bad, w.LateBad, w.Waiting} {
		for _, f := range from {
			if f.live() && !seen[f] {
				seen[f] = true
				list = append(list, f)
			}
		}
	}
	return list
}

// headline is the week in one line.
func (w *Week) headline() verdict {
	now := w.Total.Now
	if live := w.liveOpen(); len(live) > 0 {
		f := live[0]
		text := linkTo(f).and(say(": a conductor read live and was not shown dead after it. "), w.whereabouts(f), say("."))
		switch now, rest := w.Total.Now.Live, len(live)-w.Total.Now.Live; {
		case len(live) == 1:
		case rest == 0:
			text = text.and(say(" And %s of this week.", counted(now-1, "other")))
		case now == 0:
			text = text.and(say(" And %s, all from before this week.", counted(rest-1, "other")))
		default:
			text = text.and(say(" In all %s of this week and %s from before.", grouped(now), grouped(rest)))
		}
		word := "LIVE: "
		if w.Total.Now.Live+w.Late.Live == 0 {
			word = "LIVE, waiting: "
		}
		return verdict{word: word + counted(len(live), "record"), text: text, grave: gravid}
	}
	switch {
	case now.Records == 0:
		return verdict{word: "No record", text: say("No record began in this week. That says nothing of the work that was done: if there was any, its records are missing here."), grave: heavy}
	case now.Failing > 0:
		return verdict{
			word: fmt.Sprintf("%s of %s not compliant", grouped(now.Failing), grouped(now.Records)),
			text: say("The worst: ").and(linkTo(w.Bad[0]), say(". "), w.whereabouts(w.Bad[0]), say(".")), grave: heavy,
		}
	}
	all := fmt.Sprintf("All %s compliant", grouped(now.Records))
	if now.Records == 1 {
		all = "The one record is compliant"
	}
	if w.Quiet() {
		return verdict{word: all, text: say("A quiet week: nothing waits for a decision, no record is in doubt, no instrument is to be watched."), grave: light}
	}
	return verdict{word: all, text: say("But see below: something needs somebody."), grave: heavy}
}

// whereabouts says when, where and by whom a record was made.
func (w *Week) whereabouts(f *Filed) words {
	return say("%s, ", w.shortTime(f.Began)).and(orMissing(f.Site, "site"), say(", "), orMissing(f.Technician, "technician"))
}

// answers are the few lines that say where the week stands.
func (w *Week) answers() []point {
	var list []point
	add := func(text words) { list = append(list, point{mark: "–", text: text}) }
	now := w.Total.Now
	if now.Records > 0 {
		text := say("%s came in with %s; %s not compliant: %s.", counted(now.Records, "record"), counted(w.Readings, "reading"),
			grouped(now.Failing), rateSentence(now))
		if b := w.Total.Before; b.Records > 0 {
			text = text.and(say(" In the %d weeks before%s %s of %s: %s. ", w.Before, w.someEmpty(), grouped(b.Failing), grouped(b.Records), rateSentence(b)), sayChange(w.Total.Change))
		} else {
			text = text.and(say(" There is no record of the %d weeks before to compare with.", w.Before))
		}
		add(text)
	}
	if now.Records == 0 {
		add(say("No record began in this week."))
	}
	if w.Bare > 0 {
		add(say("%s no reading at all.", countedHas(w.Bare, "record")))
	}
	if w.Copies > 0 {
		add(say("%s decided to be kept twice, and not counted.", countedWas(w.Copies, "record")))
	}
	if n := len(w.Missing); n > 0 {
		add(jump(say("%s on a job sheet, and nothing was ever handed in for it.", jobsStand(n)), true, "#missing"))
	}
	if n := w.Late.Records; n > 0 {
		text := say("%s handed in late, begun before this week; %s of them not compliant.", countedWas(n, "record"), grouped(w.Late.Failing))
		add(jump(text, w.Late.Failing > 0, "#late"))
	}
	if n := len(w.Waiting); n > 0 {
		add(jump(say("%s for a decision, the oldest for %s.", countedVerb(n, "record", "waits", "wait"), counted(w.age(oldest(w.Waiting)), "day")), true, "#waiting"))
	}
	if n := w.inDoubt(); n > 0 {
		add(jump(say("%s in doubt, because an instrument turned out bad.", countedIs(n, "record")), true, "#doubt"))
	}
	if n := len(w.Watch); n > 0 {
		text := say("To watch: ")
		for i, x := range w.Watch[:min(n, 6)] {
			if i > 0 {
				text = text.and(say(", "))
			}
			text = text.and(given(x.Instrument), say(" (%s)", x.State))
		}
		if n > 6 {
			text = text.and(say(" and %d more", n-6))
		}
		add(jump(text.and(say(".")), true, "#watch"))
	}
	if n := len(w.Service); n > 0 {
		late := 0
		for _, s := range w.Service {
			if s.Late {
				late++
			}
		}
		text := say("%s due for service by %s", countedIs(n, "instrument"), w.End.AddDate(0, 0, dueWithin).Format("2 January"))
		if late > 0 {
			text = text.and(say(", %s of them overdue", grouped(late)))
		}
		add(jump(text.and(say(".")), true, "#service"))
	}
	if s := w.Sample; s.Lot > 0 {
		add(jump(say("To check by hand: %s of %s, drawn by lot.", grouped(len(s.Records)), counted(s.Lot, "compliant record")), true, "#check"))
	}
	return list
}

// jobsStand says how many jobs stand somewhere.
func jobsStand(n int) string {
	if n == 1 {
		return "1 job of this week stands"
	}
	return grouped(n) + " jobs of this week stand"
}

// jump leads from an answer to its part.
func jump(text words, there bool, to string) words {
	if !there {
		return text
	}
	return text.and(say(" "), say("See below.").linked(to))
}

// someEmpty says how many of the weeks before have records, where not all have.
func (w *Week) someEmpty() string {
	n := 0
	for _, p := range w.History[:w.Before] {
		if p.Records > 0 {
			n++
		}
	}
	if n == w.Before {
		return ""
	}
	return fmt.Sprintf(" (%d with records)", n)
}

func sayChange(c Change) words {
	switch c {
	case Higher:
		return stress("Higher than before.")
	case Lower:
		return say("Lower than before.")
	case CannotTell:
	}
	return say("No difference can be told.")
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
		{w.Technicians, "By technician, by name", "technician",
			"Nobody is ranked here. A count says nothing without the number of records, and a rate little without its interval, which is wide where there are few records. It also follows the work, the sites and the instruments that somebody was given. Ask before you judge."},
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
