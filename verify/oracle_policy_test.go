package verify_test

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nilvolt/record"
)

// A setting is the oracle's own policy: the table of section 9 of docs/rules.md.
// It reaches the judge under test only as the text of a policy file.
type setting struct {
	deadLimit, neutralEarthLimit      float64
	tolerance, liveSourceTolerance    float64
	seriesGap, proveAge, reproveDelay time.Duration
	interruptedAfter, permissionGap   time.Duration
	beginWithin                       time.Duration
	reproveRetry, sharedProofs        bool
	noNeutral, reducedIsCaution       bool
	promoted, off                     []record.Rule
}

// usual returns the defaults of section 9.
func usual() setting {
	return setting{
		deadLimit: 12, tolerance: 10, liveSourceTolerance: 15,
		seriesGap: 5 * time.Minute, proveAge: 60 * time.Minute, reproveDelay: 30 * time.Minute,
		interruptedAfter: 15 * time.Minute, permissionGap: 10 * time.Minute, beginWithin: 60 * time.Minute,
	}
}

// looser says whether a value is looser than its default. A series gap is looser
// in both directions: a short one hides a failed proof behind a passing one, a
// long one lends an old high proof to a low one.
func (s setting) looser() bool {
	d := usual()
	return s.deadLimit > d.deadLimit || s.neutralEarthLimit > max(s.deadLimit, d.deadLimit) ||
		s.tolerance > d.tolerance || s.liveSourceTolerance > d.liveSourceTolerance ||
		s.seriesGap != d.seriesGap || s.proveAge > d.proveAge || s.reproveDelay > d.reproveDelay ||
		s.interruptedAfter > d.interruptedAfter || s.permissionGap > d.permissionGap ||
		s.beginWithin > d.beginWithin || s.reproveRetry || s.sharedProofs || s.noNeutral ||
		s.reducedIsCaution || len(s.off) > 0
}

// yaml returns the policy file that says the same.
func (s setting) yaml() string {
	var b strings.Builder
	fmt.Fprintf(&b, "dead_limit: %v\nneutral_earth_limit: %v\ntolerance: %v\nlive_source_tolerance: %v\n",
		s.deadLimit, s.neutralEarthLimit, s.tolerance, s.liveSourceTolerance)
	fmt.Fprintf(&b, "series_gap: %v\nprove_age: %v\nreprove_delay: %v\n", s.seriesGap, s.proveAge, s.reproveDelay)
	fmt.Fprintf(&b, "interrupted_after: %v\npermission_gap: %v\nbegin_within: %v\n",
		s.interruptedAfter, s.permissionGap, s.beginWithin)
	fmt.Fprintf(&b, "reprove_retry: %v\nshared_proofs: %v\n", s.reproveRetry, s.sharedProofs)
	if s.noNeutral {
		b.WriteString("pairs: no-neutral\n")
	}
	if s.reducedIsCaution {
		b.WriteString("conductors_reduced: caution\n")
	}
	writeRules(&b, "failures", s.promoted)
	writeRules(&b, "off", s.off)
	return b.String()
}

func writeRules(b *strings.Builder, key string, rules []record.Rule) {
	if len(rules) == 0 {
		return
	}
	fmt.Fprintf(b, "%s:\n", key)
	for _, r := range rules {
		fmt.Fprintf(b, "  - %v\n", r)
	}
}

// severityOf applies the policy to a finding: none when the rule is off.
func (s setting) severityOf(rule record.Rule, severity record.Severity) record.Severity {
	switch {
	case slices.Contains(s.off, rule):
		return record.SeverityNone
	case slices.Contains(s.promoted, rule):
		return record.Failure
	}
	return severity
}
