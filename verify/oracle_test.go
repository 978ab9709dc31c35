package verify_test

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nilvolt/record"
	"nilvolt/verify"
)

// The oracle is a second judge, written from docs/rules.md alone and for the
// reader's eye: it computes everything anew, row by row. This file is sections 6
// and 8, and the core rules of 7; the other oracle files are the other sections.

// A verdict is what the oracle says of one record.
type verdict struct {
	status   record.Status
	findings []found
	pairs    []string // what is required and what was found of it, as "E-L@on#point dead VI-1 site.csv:9"
}

// A found is a finding without its sentence and its lines.
type found struct {
	rule      record.Rule
	severity  record.Severity
	indicator string
	pairs     []string // "E-L@on#point", the names of a pair in the order of the alphabet
}

// oracle judges the records of one call.
func oracle(records []record.Record, set setting, reg record.Register) []verdict {
	all := make([]*inquiry, len(records))
	for i := range records {
		all[i] = open(&records[i], set, reg)
	}
	verdicts := make([]verdict, len(records))
	for i, q := range all {
		others := slices.Delete(slices.Clone(all), i, i+1)
		q.findCounting(others)
		q.coreRules(others)
		q.furtherRules(others)
		verdicts[i] = q.verdict()
	}
	return verdicts
}

// A counting is the reading that counts for a slot, nil when there is none.
type counting struct {
	slot slot
	*row
	good     bool
	unproved *row // a dead reading that is not good, behind the good one that counts
	goodFrom *row // the first good reading of the run that the counting one ends
}

// livens says whether a dead test is live where it should not be.
func (q *inquiry) livens(r *row) bool { return r.class == classLive && !q.liveRemains(r) }

// liveRemains says whether a live reading is of parts that stay live.
func (q *inquiry) liveRemains(r *row) bool {
	return r.class == classLive && r.Side == record.SupplySide && q.job.SupplySideLive == record.Yes
}

// eligible says whether a reading can stand for any required pair at all.
func (q *inquiry) eligible(r *row) bool {
	if r.Kind != record.Test || r.at <= q.reset || r.Side == record.SupplySide {
		return false
	}
	return !q.supplySeen || r.Side == record.LoadSide || r.class != classDead
}

// standsFor says whether a reading stands for a slot.
func (q *inquiry) standsFor(r *row, s slot) bool {
	if !q.eligible(r) || !r.pair.Same(s.pair) {
		return false
	}
	notDead := r.class != classDead
	rightSwitch := s.sw == record.SwitchUnknown || r.Switch == s.sw || notDead && r.Switch == record.SwitchUnknown
	rightPoint := r.Point == s.point || notDead && r.Point == ""
	return rightSwitch && rightPoint
}

// findCounting finds the reading that counts for each slot.
func (q *inquiry) findCounting(others []*inquiry) {
	for _, s := range q.required {
		var readings []*row
		for _, r := range q.rows {
			if q.standsFor(r, s) {
				readings = append(readings, r)
			}
		}
		q.counts = append(q.counts, q.countingOf(s, readings, others))
	}
}

func (q *inquiry) countingOf(s slot, readings []*row, others []*inquiry) counting {
	c := counting{slot: s}
	if len(readings) == 0 {
		return c
	}
	c.row = readings[len(readings)-1]
	if c.class != classDead {
		return c
	}
	var behind *row
	for i := len(readings) - 1; i >= 0 && readings[i].class == classDead; i-- {
		r := readings[i]
		switch {
		case !q.isGoodReading(r, others):
			if !c.good {
				behind = r
			}
		case !c.good:
			c.row, c.good, c.unproved, c.goodFrom = r, true, behind, r
		default:
			c.goodFrom = r
		}
	}
	return c
}

// A bracket is the series nearest before and after a reading, nil where there is
// none.
type bracket struct{ before, after *series }

// bracketOf finds the nearest series on both sides of a reading.
func (q *inquiry) bracketOf(r *row, others []*inquiry) bracket {
	var b bracket
	for _, s := range q.series {
		switch {
		case s.first().Indicator != r.Indicator:
		case s.last().at < r.at:
			b.before = s
		case b.after == nil:
			b.after = s
		}
	}
	blockedBefore, blockedAfter := stampedElsewhere(b.before, r), stampedElsewhere(b.after, r)
	if q.set.sharedProofs {
		b = nearer(b, r, others)
	}
	if blockedBefore {
		b.before = nil
	}
	if blockedAfter {
		b.after = nil
	}
	return b
}

// stampedElsewhere says whether a series holds a proof of another file at the
// time of the reading: nobody can tell which came first.
func stampedElsewhere(s *series, r *row) bool {
	return s != nil && slices.ContainsFunc(s.rows, func(p *row) bool {
		return p.Pos.File != r.Pos.File && p.Time.Compare(r.Time) == 0
	})
}

// nearer looks for nearer series among the other records.
func nearer(b bracket, r *row, others []*inquiry) bracket {
	for _, o := range others {
		for _, s := range o.series {
			if s.first().Indicator != r.Indicator {
				continue
			}
			if s.last().Time.Before(r.Time) && (b.before == nil || b.before.last().Time.Before(s.last().Time)) {
				b.before = s
			}
			if r.Time.Before(s.first().Time) && (b.after == nil || s.first().Time.Before(b.after.first().Time)) {
				b.after = s
			}
		}
	}
	return b
}

// provedBefore returns the rule that the series before a reading breaks.
func (q *inquiry) provedBefore(b bracket, r *row) record.Rule {
	switch {
	case b.before == nil:
		return record.ProveMissing
	case !b.before.passes(false):
		return record.ProveFailed
	case r.Time.Sub(b.before.lastHigh().Time) > q.set.proveAge:
		return record.ProveStale
	}
	return record.RuleNone
}

// provedAfter returns the rule that the series after a reading breaks.
func (q *inquiry) provedAfter(b bracket, r *row) record.Rule {
	switch {
	case b.after == nil:
		return record.ReproveMissing
	case !b.after.passes(true):
		return record.ReproveFailed
	case b.after.first().Time.Sub(r.Time) > q.set.reproveDelay:
		return record.ReproveLate
	}
	return record.RuleNone
}

// bracketing returns the passing series around a reading.
func (q *inquiry) bracketing(r *row, others []*inquiry) []*series {
	var list []*series
	b := q.bracketOf(r, others)
	if b.before != nil && b.before.passes(false) {
		list = append(list, b.before)
	}
	if b.after != nil && b.after.passes(true) {
		list = append(list, b.after)
	}
	return list
}

// lackOf returns the rules that a dead reading breaks, none when it is good.
func (q *inquiry) lackOf(r *row, others []*inquiry) []record.Rule {
	b := q.bracketOf(r, others)
	if q.wrongWaveform(&r.Event, b.before, b.after) {
		return []record.Rule{record.WrongWaveform}
	}
	var rules []record.Rule
	for _, rule := range []record.Rule{q.provedBefore(b, r), q.provedAfter(b, r)} {
		if rule != record.RuleNone {
			rules = append(rules, rule)
		}
	}
	if len(rules) == 0 && failedElsewhere(r.Indicator, b.before.last().Time, b.after.first().Time, others) {
		rules = append(rules, record.ProofFailedElsewhere)
	}
	return rules
}

func failedElsewhere(indicator string, from, to record.Instant, others []*inquiry) bool {
	for _, o := range others {
		for _, s := range o.series {
			if s.first().Indicator == indicator && s.fails() && !s.last().Time.Before(from) && !to.Before(s.first().Time) {
				return true
			}
		}
	}
	return false
}

func (q *inquiry) isGoodReading(r *row, others []*inquiry) bool {
	return len(q.lackOf(r, others)) == 0
}

// coreRules judges the first table of section 7.
func (q *inquiry) coreRules(others []*inquiry) {
	if !q.known {
		q.add(record.SupplyUnknownRule, record.Failure, "")
	}
	allGood := q.known
	for _, c := range q.counts {
		allGood = allGood && c.good
		if c.good {
			continue
		}
		for _, rule := range q.coreRulesOf(c, others) {
			indicator := ""
			if c.row != nil {
				indicator = c.Indicator
			}
			q.add(rule, record.Failure, indicator, c.slot)
		}
	}
	for _, r := range q.rows {
		if r.Kind == record.Test && q.livens(r) && !allGood {
			q.add(record.LiveFoundRule, record.Failure, r.Indicator, slot{r.pair, r.Switch, r.Point})
		}
	}
}

func (q *inquiry) coreRulesOf(c counting, others []*inquiry) []record.Rule {
	if c.row == nil {
		inAnother := slices.ContainsFunc(q.rows, func(r *row) bool {
			return r.Kind == record.Test && r.Side != record.SupplySide && r.at > q.reset &&
				r.pair.Same(c.slot.pair) && r.Switch != c.slot.sw
		})
		if c.slot.sw != record.SwitchUnknown && inAnother {
			return []record.Rule{record.SwitchPositionMissing}
		}
		return []record.Rule{record.PairMissing}
	}
	switch c.class {
	case classResidual:
		return []record.Rule{record.ResidualVoltage}
	case classUnreadable:
		return []record.Rule{record.ReadingUnreadable}
	case classCannotShow:
		return []record.Rule{record.CannotShowDead}
	}
	return q.lackOf(c.row, others)
}

// add notes a finding; one of the same rule and indicator takes the pairs.
func (q *inquiry) add(rule record.Rule, severity record.Severity, indicator string, tested ...slot) {
	severity = q.set.severityOf(rule, severity)
	if severity == record.SeverityNone {
		return
	}
	at := slices.IndexFunc(q.found, func(f found) bool { return f.rule == rule && f.indicator == indicator })
	if at < 0 {
		at = len(q.found)
		q.found = append(q.found, found{rule: rule, indicator: indicator})
	}
	f := &q.found[at]
	f.severity = max(f.severity, severity)
	for _, s := range tested {
		f.pairs = appendNew(f.pairs, slotText(s.pair, s.sw, s.point))
	}
	slices.Sort(f.pairs)
}

func slotText(p record.Pair, sw record.Switch, point string) string {
	names := []string{p.A.String(), p.B.String()}
	slices.Sort(names)
	text := strings.Join(names, "-")
	if sw != record.SwitchUnknown {
		text += "@" + sw.String()
	}
	if point != "" {
		text += "#" + point
	}
	return text
}

// has says whether a rule was found.
func (q *inquiry) has(rule record.Rule) bool {
	return slices.ContainsFunc(q.found, func(f found) bool { return f.rule == rule })
}

// verdict draws the status of section 8.
func (q *inquiry) verdict() verdict {
	v := verdict{status: record.Compliant, findings: q.found}
	for _, c := range q.counts {
		text := slotText(c.slot.pair, c.slot.sw, c.slot.point)
		if c.row == nil {
			v.pairs = append(v.pairs, text+" missing")
			continue
		}
		state := map[class]verify.State{
			classDead: verify.Unproved, classCannotShow: verify.CannotShow, classUnreadable: verify.Unread, classResidual: verify.Residual,
		}[c.class]
		if c.good {
			state = verify.Good
		}
		v.pairs = append(v.pairs, fmt.Sprint(text, " ", state, " ", c.Indicator, " ", c.Pos))
	}
	for _, f := range q.found {
		if f.severity == record.Failure && v.status == record.Compliant {
			v.status = record.NonCompliant
		}
		if f.rule == record.LiveFoundRule {
			v.status = record.LiveFound
		}
	}
	return v
}

// apart returns how far two rows stand from each other in time.
func apart(a, b *row) time.Duration { return b.Time.Sub(a.Time) }
