package report

import (
	"cmp"
	"slices"
	"strings"

	"nilvolt/record"
)

// Urgency says how soon a person on site has to know of a finding, 0 first: live before all,
// then work that was begun too early, then the other failures, then the cautions. Nobody may
// read "test there" before "do not touch" or "stop".
func Urgency(rule record.Rule, failure bool) int {
	switch {
	case rule == record.LiveFoundRule:
		return 0
	case rule == record.BeganEarly && failure:
		return 1
	case failure:
		return 2
	}
	return 3
}

// Urgent returns findings in that order.
func Urgent(list []Finding) []Finding {
	out := slices.Clone(list)
	slices.SortStableFunc(out, func(a, b Finding) int {
		return cmp.Compare(Urgency(a.Named(), a.Failure), Urgency(b.Named(), b.Failure))
	})
	return out
}

// Named is the rule of a finding; none if its name is not known.
func (f *Finding) Named() record.Rule {
	rule, err := record.ParseRule(f.Rule)
	if err != nil {
		return record.RuleNone
	}
	return rule
}

// Covered reports whether what is to be done about a finding is left out in a record with a
// status: where something is live the whole isolation is to be repeated, and nobody may pick
// "test there" from among other things to do.
func Covered(rule record.Rule, status record.Status) bool {
	return status == record.LiveFound && rule.IsCore() && rule != record.LiveFoundRule
}

// Divide takes a message apart into what is wrong and what to do about it, which stands
// behind the last semicolon.
func Divide(message string) (wrong, mend string) {
	if i := strings.LastIndex(message, "; "); i >= 0 {
		return message[:i], message[i+2:]
	}
	return message, ""
}
