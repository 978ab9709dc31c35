package report

import "fmt"

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
func (w *Week) answers() (list []point) {
	for _, text := range []words{
		w.sayTotal(), w.sayLeftOut(), w.sayMissing(), w.sayLate(), w.sayWaiting(), w.sayDoubts(), w.sayWatch(), w.sayService(), w.saySample(),
	} {
		if text != nil {
			list = append(list, point{mark: "–", text: text})
		}
	}
	return list
}

// sayTotal says what came in, against the weeks before.
func (w *Week) sayTotal() words {
	now, before := w.Total.Now, w.Total.Before
	if now.Records == 0 {
		return say("No record began in this week.")
	}
	text := say("%s came in with %s; %s not compliant: %s.", counted(now.Records, "record"), counted(w.Readings, "reading"),
		grouped(now.Failing), rateSentence(now))
	if before.Records == 0 {
		return text.and(say(" There is no record of the %d weeks before to compare with.", w.Before))
	}
	return text.and(say(" In the %d weeks before%s %s of %s: %s. ", w.Before, w.someEmpty(), grouped(before.Failing), grouped(before.Records),
		rateSentence(before)), sayChange(w.Total.Change))
}

// sayLeftOut says what is odd about the count.
func (w *Week) sayLeftOut() words {
	var text words
	if w.Bare > 0 {
		text = say("%s no reading at all. ", countedHas(w.Bare, "record"))
	}
	if w.Copies > 0 {
		text = text.and(say("%s decided to be kept twice, and not counted.", countedWas(w.Copies, "record")))
	}
	return text
}

func (w *Week) sayMissing() words {
	if len(w.Missing) == 0 {
		return nil
	}
	return jump(say("%s on a job sheet, and nothing was ever handed in for it.", jobsStand(len(w.Missing))), "#missing")
}

func (w *Week) sayLate() words {
	if w.Late.Records == 0 {
		return nil
	}
	text := say("%s handed in late, begun before this week; %s of them not compliant.", countedWas(w.Late.Records, "record"), grouped(w.Late.Failing))
	if w.Late.Failing == 0 {
		return text
	}
	return jump(text, "#late")
}

func (w *Week) sayWaiting() words {
	if len(w.Waiting) == 0 {
		return nil
	}
	return jump(say("%s for a decision, the oldest for %s.", countedVerb(len(w.Waiting), "record", "waits", "wait"),
		counted(w.age(oldest(w.Waiting)), "day")), "#waiting")
}

func (w *Week) sayDoubts() words {
	if len(w.Doubts) == 0 {
		return nil
	}
	return jump(say("%s in doubt, because an instrument turned out bad.", countedIs(w.inDoubt(), "record")), "#doubt")
}

func (w *Week) sayWatch() words {
	const named = 6
	if len(w.Watch) == 0 {
		return nil
	}
	text := say("To watch: ")
	for i, x := range upTo(named, w.Watch) {
		if i > 0 {
			text = text.and(say(", "))
		}
		text = text.and(given(x.Instrument), say(" (%s)", x.State))
	}
	if n := len(w.Watch) - named; n > 0 {
		text = text.and(say(" and %d more", n))
	}
	return jump(text.and(say(".")), "#watch")
}

func (w *Week) sayService() words {
	if len(w.Service) == 0 {
		return nil
	}
	late := 0
	for _, s := range w.Service {
		if s.Late {
			late++
		}
	}
	text := say("%s due for service by %s", countedIs(len(w.Service), "instrument"), w.End.AddDate(0, 0, dueWithin).Format("2 January"))
	if late > 0 {
		text = text.and(say(", %s of them overdue", grouped(late)))
	}
	return jump(text.and(say(".")), "#service")
}

func (w *Week) saySample() words {
	if w.Sample.Lot == 0 {
		return nil
	}
	return jump(say("To check by hand: %s of %s, drawn by lot.", grouped(len(w.Sample.Records)), counted(w.Sample.Lot, "compliant record")), "#check")
}

// jobsStand says how many jobs stand somewhere.
func jobsStand(n int) string {
	if n == 1 {
		return "1 job of this week stands"
	}
	return grouped(n) + " jobs of this week stand"
}

// jump leads from an answer to its part.
func jump(text words, to string) words { return text.and(say(" "), say("See below.").linked(to)) }

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
