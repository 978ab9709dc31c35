package report

// checkSheet is the sheet for the check of the sample, on a page of its own: for
// somebody else's hands.
func (w *Week) checkSheet() []block {
	s := w.Sample
	if s.Lot == 0 {
		return nil
	}
	verdict := "no more than 1 bad one"
	switch {
	case s.Plan.Accept == 0:
		verdict = "no bad one"
	case s.Plan.Accept > 1:
		verdict = "no more than " + grouped(s.Plan.Accept) + " bad ones"
	}
	blocks := []block{
		newPage{},
		heading{level: 2, text: say("Sheet for the check, week %v", w.Week), id: "check"},
	}
	if len(s.Records) == s.Lot {
		blocks = append(blocks, paragraph{text: say("There are so few compliant records that all %s are checked.", grouped(s.Lot))})
	} else {
		blocks = append(blocks, paragraph{text: say("%s of the %s compliant records, drawn by lot. With %s among them the others stand as they are; with more, all of the week are checked. One that hides a live conductor is enough to check all.",
			grouped(len(s.Records)), grouped(s.Lot), verdict)})
	}
	blocks = append(blocks, paragraph{text: say("A record is bad when what is on site, in the indicator's own memory or on the paper job sheet does not bear it out: other conductors than were tested, readings that nobody took, another place or time.")})
	t := table{small: true, stack: true, columns: []column{
		{head: "record"}, {head: "began"}, {head: "site", weight: 2}, {head: "technician", weight: 2}, {head: "with", weight: 1}, {head: "borne out"}, {head: "bad: why", weight: 3},
	}}
	for _, f := range s.Records {
		with := words{}
		for i, id := range f.Indicators {
			if i > 0 {
				with = with.and(say(", "))
			}
			with = with.and(given(id))
		}
		t.rows = append(t.rows, row{cells: []words{
			linkTo(f), say("%s", w.shortTime(f.Began)), orMissing(f.Site, "site"), orMissing(f.Technician, "technician"), with, say("☐"), say("☐"),
		}})
	}
	blocks = append(blocks, t, signatures{who: []string{"Checked by"}})
	if len(s.Records) < s.Lot {
		blocks = append(blocks, s.curve(w)...)
	}
	return blocks
}

// curve says what the plan can and cannot find.
func (s *Sample) curve(w *Week) []block {
	t := table{small: true, caption: say("How often the check passes a week in spite of bad records, computed from the hypergeometric distribution"), columns: []column{
		{head: "bad among the compliant"}, {head: "records"}, {head: "the check passes in", weight: 1},
	}}
	for _, p := range s.Curve {
		t.rows = append(t.rows, row{cells: []words{say("%g %%", p.Percent), say("%s of %s", grouped(p.Bad), grouped(s.Lot)), say("%s %% of such weeks", percent(p.Chance))}})
	}
	return []block{
		keep{[]block{t}},
		paragraph{small: true, text: say("Plan: sample of %s, accept %s; %s.", grouped(s.Plan.Size), grouped(s.Plan.Accept), s.Plan.Source)},
		paragraph{small: true, text: say("The records with the smallest SHA-256 over \"").and(given(s.Seed), say("/\" and the record's name were drawn, in this order; the same ledger and week always draw the same. To look one up: "), given("printf %s '"), given(s.Seed), given("/RECORD' | sha256sum"), say("."))},
	}
}
