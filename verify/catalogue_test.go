package verify

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/record"
)

// A documented is what docs/rules.md, section 7, says of a rule.
type documented struct {
	severity string // as in the table: "failure", "caution, failure over 60 min"
	when     string
}

var quoted = regexp.MustCompile("`([^`]+)`")

// documentedRules reads the two tables of docs/rules.md, section 7, and the rule
// not-recorded, which is described below them.
func documentedRules(t *testing.T) (names []string, rules map[string]documented) {
	t.Helper()
	data, err := os.ReadFile("../docs/rules.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(data), "\n## 7. Findings\n")
	section, _, ok := strings.Cut(section, "\n## 8. ")
	if !ok {
		t.Fatal("docs/rules.md has no section 7 followed by a section 8")
	}
	rules = map[string]documented{}
	for line := range strings.SplitSeq(section, "\n") {
		if !strings.HasPrefix(line, "| `") {
			continue
		}
		cells := strings.Split(strings.Trim(line, "|"), " | ")
		severities := []string{"failure"} // the core table says so above it
		if len(cells) == 3 {
			severities = strings.Split(cells[1], " / ")
		}
		for i, name := range rulesOfCell(cells[0]) {
			names = append(names, name)
			severity := severities[min(i, len(severities)-1)]
			rules[name] = documented{strings.TrimSpace(severity), cells[len(cells)-1]}
		}
	}
	if !strings.Contains(section, "one caution, `not-recorded`") {
		t.Error("docs/rules.md, section 7, does not say that not-recorded is one caution")
	}
	names = append(names, "not-recorded")
	rules["not-recorded"] = documented{severity: "caution"}
	return names, rules
}

// rulesOfCell returns the names in the first cell of a row; "-overdue" behind
// "instrument-withdrawn" is instrument-overdue.
func rulesOfCell(cell string) []string {
	var names []string
	for _, m := range quoted.FindAllStringSubmatch(cell, -1) {
		name := m[1]
		if strings.HasPrefix(name, "-") {
			family, _, _ := strings.Cut(names[len(names)-1], "-")
			name = family + name
		}
		names = append(names, name)
	}
	return names
}

func TestCatalogueIsCompleteAndSpeaksPlainly(t *testing.T) {
	for _, r := range Rules() {
		e := Explain(r)
		if e.Rule != r {
			t.Errorf("%v: no explanation", r)
			continue
		}
		for field, text := range map[string]string{"asks": e.Asks, "why": e.Why, "source": e.Source, "mend": e.Mend} {
			switch {
			case strings.TrimSpace(text) == "":
				t.Errorf("%v: %s is blank", r, field)
			case strings.ContainsAny(text, "\n\t") || strings.Contains(text, "  ") || strings.TrimSpace(text) != text:
				t.Errorf("%v: %s has stray blanks: %q", r, field, text)
			case field != "source" && !strings.HasSuffix(text, ".") && !strings.HasSuffix(text, "?"):
				t.Errorf("%v: %s is no sentence: %q", r, field, text)
			}
		}
		if !strings.Contains(e.Asks, "?") {
			t.Errorf("%v: asks is no question: %q", r, e.Asks)
		}
		if r.IsCore() && e.Severity != record.Failure {
			t.Errorf("%v: a core rule is a failure, not a %v", r, e.Severity)
		}
	}
	if got := Explain(record.RuleNone); got != (Explanation{}) {
		t.Errorf("no rule is explained: %v", got)
	}
}

func TestCatalogueFollowsTheOrderOfTheRules(t *testing.T) {
	var got []record.Rule
	for _, e := range slices.Concat(catalogueCore, catalogueFurther) {
		got = append(got, e.Rule)
	}
	if diff := cmp.Diff(Rules(), got); diff != "" {
		t.Error(diff)
	}
}

func TestCatalogueAgreesWithTheDocument(t *testing.T) {
	names, rules := documentedRules(t)
	var want []string
	for _, r := range Rules() {
		want = append(want, r.String())
	}
	slices.Sort(want)
	slices.Sort(names)
	if diff := cmp.Diff(want, names); diff != "" {
		t.Fatalf("rules of the program (-) and of docs/rules.md (+):\n%s", diff)
	}
	for _, r := range Rules() {
		doc, e := rules[r.String()], Explain(r)
		severity, otherwise, _ := strings.Cut(doc.severity, ", ")
		severity, _, _ = strings.Cut(severity, " ") // a policy may stand behind it
		if severity != e.Severity.String() {
			t.Errorf("%v: docs/rules.md says %s, the catalogue %v", r, severity, e.Severity)
		}
		if other, _, _ := strings.Cut(otherwise, " "); other != "" && !strings.Contains(strings.ToLower(e.Asks), other) {
			t.Errorf("%v: docs/rules.md says %q, of which asks does not speak: %q", r, otherwise, e.Asks)
		}
		for _, key := range quoted.FindAllStringSubmatch(doc.when, -1) {
			if _, isKey := policyKeys[key[1]]; isKey && !strings.Contains(e.Asks, key[1]) {
				t.Errorf("%v: docs/rules.md names the policy %s, asks does not: %q", r, key[1], e.Asks)
			}
		}
	}
}

// A limit that a rule names is the default of the policy that it names beside it.
func TestCatalogueNamesTheLimitsThatHold(t *testing.T) {
	d := DefaultPolicy()
	for _, c := range []struct {
		rule record.Rule
		want string
	}{
		{record.ResidualVoltage, fmt.Sprintf("%g V (policy dead_limit", float64(d.DeadLimit))},
		{record.CannotShowDead, fmt.Sprintf("%g V (policy dead_limit", float64(d.DeadLimit))},
		{record.ProveFailed, fmt.Sprintf("%g %% (policy tolerance", d.Tolerance)},
		{record.ProveFailed, fmt.Sprintf("%g %% on a known live source, policy live_source_tolerance", d.LiveSourceTolerance)},
		{record.ProveStale, fmt.Sprintf("%g min older than the reading (policy prove_age", d.ProveAge.Minutes())},
		{record.ReproveLate, fmt.Sprintf("%g min later (policy reprove_delay", d.ReproveDelay.Minutes())},
		{record.Interrupted, fmt.Sprintf("%g min (policy interrupted_after", d.InterruptedAfter.Minutes())},
		{record.PermissionGap, fmt.Sprintf("%g min (policy permission_gap", d.PermissionGap.Minutes())},
		{record.BegunLate, fmt.Sprintf("%g min (policy begin_within", d.BeginWithin.Minutes())},
	} {
		if asks := Explain(c.rule).Asks; !strings.Contains(asks, c.want) {
			t.Errorf("%v: %q does not say %q", c.rule, asks, c.want)
		}
	}
}

// namedPolicy finds "policy prove_age" and "policies tolerance and ...".
var namedPolicy = regexp.MustCompile(`polic(?:y|ies) ([a-z]+_?[a-z_]*)`)

func TestCatalogueSourcesTellWhatTheyRestOn(t *testing.T) {
	data, err := os.ReadFile("../docs/sources.md")
	if err != nil {
		t.Fatal(err)
	}
	listed := strings.Join(strings.Fields(string(data)), " ")
	standard := regexp.MustCompile(`(NFPA|CSA|CFR|DGUV|NF C|EN|HSE|IEC|ISO|ISO/IEC|UL|NEC|BS|HSG|SCPI|ILAC|OIML)[- ]?[A-Z]?[\d][\d.-]*\d|GS38|[A-Z][a-z]+ at Work Regulations 1989`)
	mark := regexp.MustCompile(`prudence|common practice|computed|from memory|certification body`)
	for _, r := range Rules() {
		e := Explain(r)
		named := standard.FindAllString(e.Source, -1)
		if len(named) == 0 && !mark.MatchString(e.Source) {
			t.Errorf("%v: a source without a standard or a mark: %q", r, e.Source)
		}
		for _, s := range named {
			if !strings.Contains(listed, s) {
				t.Errorf("%v rests on %s, which docs/sources.md does not list", r, s)
			}
		}
		for _, m := range namedPolicy.FindAllStringSubmatch(e.Asks+e.Source, -1) {
			_, known := policyKeys[m[1]]
			if strings.Contains(m[1], "_") && !known {
				t.Errorf("%v: no policy is called %s", r, m[1])
			}
			if known && !strings.Contains(e.Source, "prudence") {
				t.Errorf("%v: a value of the policy has no source but prudence: %q", r, e.Source)
			}
		}
	}
}
