package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"nilvolt/record"
)

// grouped writes a number with a comma every three digits, from 10,000 on.
func grouped(n int) string {
	text := strconv.Itoa(n)
	if n < 10000 {
		return text
	}
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

// counted writes a number with its noun: 1 record, 2 records.
func counted(n int, noun string) string { return countedVerb(n, noun, "", "") }

func countedIs(n int, noun string) string  { return countedVerb(n, noun, "is", "are") }
func countedWas(n int, noun string) string { return countedVerb(n, noun, "was", "were") }
func countedHas(n int, noun string) string { return countedVerb(n, noun, "has", "have") }

func countedVerb(n int, noun, one, many string) string {
	verb := one
	if n != 1 {
		noun, verb = noun+"s", many
	}
	return strings.TrimSpace(grouped(n) + " " + noun + " " + verb)
}

// percent writes a share of 0 to 1.
func percent(x float64) string {
	switch {
	case math.IsNaN(x):
		return "–"
	case x == 0:
		return "0"
	case x == 1:
		return "100"
	}
	return fmt.Sprintf("%.1f", 100*x)
}

// intervalWords writes a rate with its interval: 5.6 % (3.2 to 9.6).
func intervalWords(c Count) string {
	if c.Records == 0 {
		return "no record"
	}
	low, high := c.Interval()
	return fmt.Sprintf("%s %% (%s to %s)", percent(c.Rate()), percent(low), percent(high))
}

// rateSentence writes a rate with its interval, and says what that is.
func rateSentence(c Count) string {
	return strings.Replace(intervalWords(c), "(", "(95 %: ", 1)
}

// ruleNames writes the names of rules.
func ruleNames(rules []record.Rule) string {
	names := make([]string, len(rules))
	for i, r := range rules {
		names[i] = r.String()
	}
	return strings.Join(names, ", ")
}

// orMissing is what was recorded, or that it was not.
func orMissing(text, what string) words {
	if text == "" {
		return say("%s not recorded", what)
	}
	return given(text)
}

// linkTo is the name of a record, leading to its sheet where that is written.
func linkTo(f *Filed) words {
	name := words{{text: f.Name(), data: true, bold: f.live()}}
	if f.Sheet == "" {
		return name
	}
	return name.linked(f.Sheet)
}

// moment writes a time with its offset.
func moment(t time.Time) string { return t.Format("2006-01-02 15:04 -07:00") }

// shortTime writes the time of a record in the zone of the report: with the day of the
// week within the week, else with the date alone.
func (w *Week) shortTime(t time.Time) string {
	t = t.In(w.Begin.Location())
	if t.Before(w.Begin) || !t.Before(w.End) {
		return t.Format("2006-01-02 15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}

// zoneName names the zone of the report.
func (w *Week) zoneName() string {
	if name := w.Begin.Location().String(); name != "Local" {
		return name
	}
	return w.Begin.Format("MST (-07:00)") // the machine's; it has no better name
}
