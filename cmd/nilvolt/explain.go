package main

import (
	"encoding/csv"
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"nilvolt/record"
	"nilvolt/verify"
)

// explained is an explanation as a program reads it.
type explained struct {
	Rule     string `json:"rule"`
	Severity string `json:"severity"`
	Core     bool   `json:"core"`
	Asks     string `json:"asks"`
	Why      string `json:"why"`
	Source   string `json:"source"`
	Mend     string `json:"mend"`
}

// runExplain prints what a rule asks and why, of all rules for the name "all".
func runExplain(c *console, name, format string) error {
	rules := verify.Rules()
	if name != "all" {
		r, err := record.ParseRule(name)
		if err != nil {
			return unknownRule(name, rules)
		}
		rules = []record.Rule{r}
	}
	switch format {
	case "json":
		encoder := json.NewEncoder(c.out)
		encoder.SetEscapeHTML(false)
		for _, r := range rules {
			if err := encoder.Encode(explain(r)); err != nil {
				return err
			}
		}
		return nil
	case "csv":
		rows := [][]string{{"rule", "severity", "core", "asks", "why", "source", "mend"}}
		for _, r := range rules {
			e := explain(r)
			rows = append(rows, []string{e.Rule, e.Severity, strconv.FormatBool(e.Core), e.Asks, e.Why, e.Source, e.Mend})
		}
		w := csv.NewWriter(c.out)
		w.UseCRLF = true
		return w.WriteAll(rows)
	}
	if name == "all" {
		return listRules(c, rules)
	}
	_, err := c.out.WriteString(c.theme().explanation(rules[0]))
	return err
}

func explain(r record.Rule) explained {
	e := verify.Explain(r)
	return explained{r.String(), e.Severity.String(), r.IsCore(), e.Asks, e.Why, e.Source, e.Mend}
}

// explanation is a rule as people read it.
func (t theme) explanation(r record.Rule) string {
	e := verify.Explain(r)
	kind := "further rule, judged when the record holds the evidence"
	if r.IsCore() {
		kind = "core rule, always judged"
	}
	var b strings.Builder
	b.WriteString(t.paint(titleInk, r.String()) + "  " + e.Severity.String() + "; " + kind + "\n")
	for _, part := range []struct{ lead, text string }{
		{"asks    ", e.Asks}, {"why     ", e.Why}, {"mend    ", e.Mend}, {"source  ", e.Source},
	} {
		b.WriteString("\n")
		text := part.text
		if !t.unicode {
			text = t.clean(text)
		}
		t.hang(&b, part.lead, text, plainInk)
	}
	return b.String()
}

// listRules prints a line a rule.
func listRules(c *console, rules []record.Rule) error {
	t := c.theme()
	widest := 0
	for _, r := range rules {
		widest = max(widest, len(r.String()))
	}
	var b strings.Builder
	for _, r := range rules {
		e := verify.Explain(r)
		question, _, found := strings.Cut(e.Asks, "?")
		if found {
			question += "?"
		}
		t.hang(&b, pad(r.String(), widest+2)+pad(e.Severity.String(), len("failure")+2), t.clean(question), plainInk)
	}
	_, err := c.out.WriteString(b.String())
	return err
}

// unknownRule names the rules whose names are near.
func unknownRule(name string, rules []record.Rule) error {
	name = strings.ToLower(strings.TrimSpace(name))
	var near []string
	for _, r := range rules {
		if rule := r.String(); len(name) > 2 && (strings.Contains(rule, name) || distance(rule, name) <= 1+len(name)/4) {
			near = append(near, rule)
		}
	}
	mend := "--explain all lists the rules"
	if len(near) > 0 {
		slices.Sort(near)
		mend = "did you mean " + strings.Join(near, " or ") + "? " + mend
	}
	return hint(mend, "no rule is called %q", name)
}

// distance is how many letters must be put in, taken out or changed to make b of
// a (V. I. Levenshtein, 1966).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for k := range row {
		row[k] = k
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for k := range len(b) {
			change := diagonal
			if a[i] != b[k] {
				change++
			}
			diagonal = row[k+1]
			row[k+1] = min(change, row[k]+1, diagonal+1)
		}
	}
	return row[len(b)]
}
