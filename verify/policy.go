package verify

import (
	"fmt"
	"strings"
	"time"

	"nilvolt/record"
)

// A Policy is what a site asks of its records: the values that the rules mark as
// policy. Make one with DefaultPolicy or ParsePolicy; the zero Policy is not
// usable.
type Policy struct {
	DeadLimit           record.Volts // highest voltage that is dead; default 12 V
	NeutralEarthLimit   record.Volts // the same for the pair N-E where higher; 0 is off
	Tolerance           float64      // of a proof, percent of the expected voltage; default 10
	LiveSourceTolerance float64      // of a proof on a known live source, percent; default 15

	SeriesGap        time.Duration // longest pause within a proof series; default 5 min
	ProveAge         time.Duration // from the last row of the prove to a reading; default 60 min
	ReproveDelay     time.Duration // from a reading to the first row of the reprove; default 30 min
	InterruptedAfter time.Duration // longest pause between counting readings; default 15 min
	PermissionGap    time.Duration // longest time from permission to isolation; default 10 min
	BeginWithin      time.Duration // longest time from the last reprove to begin; default 60 min

	ReproveRetry      bool            // the first row of a reprove may fail
	SharedProofs      bool            // proofs of other records of the call may bracket
	NoNeutral         bool            // pairs with N or M are not required
	ConductorsReduced record.Severity // of the rule conductors-reduced; default Failure

	// SHA256 is the hash of the policy file in lower-case hex, blank for the
	// default policy.
	SHA256 string

	promoted [record.NumRules]bool // cautions that are failures here
	off      [record.NumRules]bool // further rules that are not judged
}

// DefaultPolicy returns the policy that holds where a site states none. Its
// values have no source but prudence.
func DefaultPolicy() *Policy {
	return &Policy{
		DeadLimit:           12,
		Tolerance:           10,
		LiveSourceTolerance: 15,
		SeriesGap:           5 * time.Minute,
		ProveAge:            60 * time.Minute,
		ReproveDelay:        30 * time.Minute,
		InterruptedAfter:    15 * time.Minute,
		PermissionGap:       10 * time.Minute,
		BeginWithin:         60 * time.Minute,
		ConductorsReduced:   record.Failure,
	}
}

// maxTolerance bounds the tolerance of a proof, in percent, in a policy and in a
// register alike.
const maxTolerance = 20

// The longest that a policy may allow: how old a prove may be, and the pause
// within a proof series.
const (
	MaxProveAge  = 12 * time.Hour
	MaxSeriesGap = 30 * time.Minute
)

// Promote makes a caution a failure.
func (p *Policy) Promote(r record.Rule) { p.promoted[r] = true }

// TurnOff stops a further rule from being judged. A core rule and policy-loosened
// cannot be turned off: an error.
func (p *Policy) TurnOff(r record.Rule) error {
	switch {
	case r.IsCore():
		return fmt.Errorf("%v is a core rule and cannot be turned off", r)
	case r == record.PolicyLoosened:
		return fmt.Errorf("%v cannot be turned off: it tells the reader that the policy is looser than the default", r)
	}
	p.off[r] = true
	return nil
}

// severity returns what a finding of rule r weighs under p, given its own
// severity.
func (p *Policy) severity(r record.Rule, own record.Severity) record.Severity {
	if p.promoted[r] {
		return record.Failure
	}
	return own
}

// Loosened lists, in the words of the policy file, where p is looser than the
// default; it is empty where p is nowhere looser.
func (p *Policy) Loosened() []string {
	d := DefaultPolicy()
	var out []string
	add := func(loose bool, format string, args ...any) {
		if loose {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	add(p.DeadLimit > d.DeadLimit, "dead_limit: %g", float64(p.DeadLimit))
	add(p.NeutralEarthLimit > d.DeadLimit, "neutral_earth_limit: %g", float64(p.NeutralEarthLimit))
	add(p.Tolerance > d.Tolerance, "tolerance: %g", p.Tolerance)
	add(p.LiveSourceTolerance > d.LiveSourceTolerance, "live_source_tolerance: %g", p.LiveSourceTolerance)
	// A short gap leaves a failed proof out of the series that passes, a long one
	// lends an old proof on a high voltage to a low one.
	add(p.SeriesGap != d.SeriesGap, "series_gap: %s", minutes(p.SeriesGap))
	for _, t := range []struct {
		key       string
		own, base time.Duration
	}{
		{"prove_age", p.ProveAge, d.ProveAge},
		{"reprove_delay", p.ReproveDelay, d.ReproveDelay},
		{"interrupted_after", p.InterruptedAfter, d.InterruptedAfter},
		{"permission_gap", p.PermissionGap, d.PermissionGap},
		{"begin_within", p.BeginWithin, d.BeginWithin},
	} {
		add(t.own > t.base, "%s: %s", t.key, minutes(t.own))
	}
	add(p.ReproveRetry, "reprove_retry: true")
	add(p.SharedProofs, "shared_proofs: true")
	add(p.NoNeutral, "pairs: no-neutral")
	add(p.ConductorsReduced == record.Caution, "conductors_reduced: caution")
	var off []string
	for r := range record.NumRules {
		if p.off[r] {
			off = append(off, r.String())
		}
	}
	add(len(off) > 0, "off: %s", strings.Join(off, ", "))
	return out
}

// CheckRegister reports the first instrument whose tolerance is beyond what a
// policy may allow, as a *PolicyError.
func CheckRegister(register record.Register) error {
	var worst *record.Instrument
	for _, i := range register {
		if (i.Tolerance < 0 || i.Tolerance > maxTolerance) && (worst == nil || i.Pos.Line < worst.Pos.Line) {
			worst = i
		}
	}
	if worst == nil {
		return nil
	}
	return &PolicyError{
		worst.Pos, fmt.Sprintf("tolerance %g of %s is out of bounds", worst.Tolerance, worst.ID),
		fmt.Sprintf("a register may allow more than 0 and at most %d percent, or leave it blank", maxTolerance),
	}
}
