package verify_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"nilvolt/record"
	"nilvolt/verify"
	"pgregory.net/rapid"
)

// A reporter is what testing.T and rapid.T have in common.
type reporter interface {
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// judged is one call to the judge under test.
func judged(t reporter, records []record.Record, set setting, reg record.Register) []verdict {
	policy, err := verify.ParsePolicy("policy.yaml", []byte(set.yaml()))
	if err != nil {
		t.Fatalf("policy: %v\n%s", err, set.yaml())
	}
	return judgedBy(t, records, policy, reg)
}

func judgedBy(t reporter, records []record.Record, policy *verify.Policy, reg record.Register) []verdict {
	surveys := []*verify.Survey{verify.NewSurvey(policy, reg), verify.NewSurvey(policy, reg)}
	for i := range records {
		surveys[i%2].Add(&records[i])
	}
	judge := verify.NewJudge(policy, reg, verify.NewAcross(surveys...))
	var verdicts []verdict
	for i := range records {
		j := judge.Judge(&records[i])
		v := verdict{status: j.Status}
		for _, f := range j.Findings {
			if restsOnRows(f.Rule) && len(f.Lines) == 0 {
				t.Errorf("%s: %v names no line", records[i].ID, f.Rule)
			}
			if f.Message == "" {
				t.Errorf("%s: %v has no sentence", records[i].ID, f.Rule)
			}
			g := found{rule: f.Rule, severity: f.Severity, indicator: f.Indicator}
			for _, p := range f.Tested {
				g.pairs = append(g.pairs, slotText(p.Pair, p.Switch, p.Point))
			}
			slices.Sort(g.pairs)
			v.findings = append(v.findings, g)
		}
		for _, p := range j.Pairs() {
			text := slotText(p.Tested.Pair, p.Tested.Switch, p.Tested.Point) + " " + p.State.String()
			if p.State != verify.Missing {
				text += fmt.Sprint(" ", p.Indicator, " ", p.Pos)
			}
			v.pairs = append(v.pairs, text)
		}
		verdicts = append(verdicts, v)
	}
	return verdicts
}

// restsOnRows says whether a finding of a rule can always point at input rows.
func restsOnRows(rule record.Rule) bool {
	switch rule {
	case record.LiveFoundRule, record.ResidualVoltage, record.ReadingUnreadable, record.CannotShowDead, record.WrongWaveform,
		record.ProveMissing, record.ProveFailed, record.ProveStale, record.ReproveMissing, record.ReproveFailed,
		record.ReproveLate, record.ProofFailedElsewhere, record.RecordMixed, record.ClockBackwards, record.LiveUnexplained,
		record.Interrupted, record.ReadingChanged, record.UnprovedRetest, record.ProofRetried, record.ProofUnspecified,
		record.ProofWaveform, record.ProofOnWork, record.ProofBelowNominal, record.PermissionOrder, record.PermissionGap,
		record.NotSecured, record.NotLabelled, record.BeganEarly, record.BegunLate, record.LoadNotShed, record.ProbeOrder,
		record.ConductorUnexpected, record.LivePartsRemain, record.InstrumentUnknownRule, record.InstrumentWithdrawn,
		record.InstrumentOverdue, record.InstrumentUnderrated, record.TooQuick, record.CopiedReadings, record.ClockDisagrees:
		return true
	}
	return false
}

// namesPairs says whether docs/rules.md settles which indicator and pairs a
// finding of a rule names; of the others only that they stand is compared.
func namesPairs(rule record.Rule) bool {
	switch rule {
	case record.ReadingChanged, record.UnprovedRetest, record.ProbeOrder, record.LiveUnexplained, record.ConductorUnexpected,
		record.LivePartsRemain, record.ProofBelowNominal:
		return true
	}
	return rule.IsCore()
}

// namesIndicator is the same for the indicator alone.
func namesIndicator(rule record.Rule) bool {
	switch rule {
	case record.ClockBackwards, record.ProofRetried, record.ProofUnspecified, record.ProofWaveform, record.ProofOnWork,
		record.InstrumentUnknownRule, record.InstrumentWithdrawn, record.InstrumentOverdue, record.InstrumentUnderrated,
		record.ClockDisagrees:
		return true
	}
	return namesPairs(rule)
}

// placeless leaves position and point out of the pairs of findings that rest on
// rows and not on what is required.
func placeless(f found) []string {
	switch f.rule {
	case record.LiveFoundRule, record.LiveUnexplained, record.LivePartsRemain, record.ConductorUnexpected, record.ProofBelowNominal:
	default:
		return f.pairs
	}
	var list []string
	for _, p := range f.pairs {
		end := strings.IndexAny(p, "@#")
		if end < 0 {
			end = len(p)
		}
		list = appendNew(list, p[:end])
	}
	slices.Sort(list)
	return list
}

// lines writes a verdict as text, a finding and a required pair a line, in an
// order of its own.
func (v verdict) lines() []string {
	var list []string
	for _, f := range v.findings {
		text := fmt.Sprintf("%v %v", f.severity, f.rule)
		if namesIndicator(f.rule) {
			text += " " + f.indicator
		}
		if namesPairs(f.rule) {
			text += " [" + strings.Join(placeless(f), " ") + "]"
		}
		list = appendNew(list, text)
	}
	for _, p := range v.pairs {
		list = append(list, "pair "+p)
	}
	slices.Sort(list)
	return append([]string{v.status.String()}, list...)
}

// A tally counts, by rule, the records in which it was found.
type tally struct {
	records, compliant int
	rules              [record.NumRules]int
}

func (c *tally) count(v verdict) {
	c.records++
	if v.status == record.Compliant {
		c.compliant++
	}
	seen := map[record.Rule]bool{}
	for _, f := range v.findings {
		if !seen[f.rule] {
			c.rules[f.rule]++
		}
		seen[f.rule] = true
	}
}

// TestOracleAgrees compares the judge with the oracle on records made at random,
// in calls of one to four. Every rule must have been found often.
func TestOracleAgrees(t *testing.T) {
	const workers = 4
	tallies := make([]tally, workers)
	t.Run("seeds", func(t *testing.T) {
		for w := range workers {
			t.Run(fmt.Sprint(w), func(t *testing.T) {
				t.Parallel()
				for seed := w; tallies[w].records < agreeRecords/workers && !t.Failed(); seed += workers {
					agreeOn(t, seed, &tallies[w])
				}
			})
		}
	})
	if t.Failed() {
		return
	}
	var all tally
	for _, c := range tallies {
		all.records += c.records
		all.compliant += c.compliant
		for r, n := range c.rules {
			all.rules[r] += n
		}
	}
	t.Logf("%d records, %d compliant", all.records, all.compliant)
	for r := record.RuleNone + 1; r < record.NumRules; r++ {
		t.Logf("%7d %v", all.rules[r], r)
		if all.rules[r] < 3*all.records/1000 {
			t.Errorf("%v was found in %d records only of %d", r, all.rules[r], all.records)
		}
	}
}

// agreeOn compares some calls under one policy.
func agreeOn(t *testing.T, seed int, c *tally) {
	m := &maker{dice: newDice(seed)}
	m.set = m.policy()
	policy, err := verify.ParsePolicy("policy.yaml", []byte(m.set.yaml()))
	if err != nil {
		t.Fatalf("policy: %v\n%s", err, m.set.yaml())
	}
	for range 10 {
		m.reg = m.register()
		records := m.call()
		want, got := oracle(records, m.set, m.reg), judgedBy(t, records, policy, m.reg)
		for i := range records {
			c.count(want[i])
			if w, g := want[i].lines(), got[i].lines(); !slices.Equal(w, g) {
				t.Errorf("seed %d: %s\n%s\n%s", seed, records[i].ID, difference(w, g), printed(records, m.set, m.reg))
				return
			}
		}
	}
}

// The same on rapid's draws, which make a case of disagreement small.
func TestOracleAgreesSmall(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := &maker{dice: rapidDice{t}}
		m.set, m.reg = m.policy(), m.register()
		records := m.call()
		want, got := oracle(records, m.set, m.reg), judged(t, records, m.set, m.reg)
		for i := range records {
			if w, g := want[i].lines(), got[i].lines(); !slices.Equal(w, g) {
				t.Fatalf("%s\n%s\n%s", records[i].ID, difference(w, g), printed(records, m.set, m.reg))
			}
		}
	})
}

// difference shows what only one of the two judges said.
func difference(oracle, judge []string) string {
	var b strings.Builder
	for _, l := range oracle {
		if !slices.Contains(judge, l) {
			fmt.Fprintf(&b, "  only the oracle: %s\n", l)
		}
	}
	for _, l := range judge {
		if !slices.Contains(oracle, l) {
			fmt.Fprintf(&b, "  only the judge:  %s\n", l)
		}
	}
	return b.String()
}
