package guide

import (
	"nilvolt/record"
	"nilvolt/verify"
)

// A trust says what the proofs of an indicator have made of it.
type trust uint8

// The trusts. What docs/rules.md says to do about a proof that failed decides: before
// tests it may be tried once more (proof-retried), where it happens again, or after tests
// (reprove-failed), the indicator is put aside.
const (
	trusted trust = iota
	doubted       // its last proof failed, the first that did
	spent         // it is put aside, whatever its proofs show from then on
)

// lookAtProofs takes from a judgement which proofs passed, and which indicators failed
// theirs. One that gave no reading, as of a line that could not be read, says nothing of
// the indicator.
func (p *planner) lookAtProofs(j *verify.Judgement) {
	p.trust = make(map[string]trust)
	tested, failed := make(map[string]bool), make(map[string]record.Instant)
	for _, row := range j.Rows() {
		ev := row.Event
		switch {
		case row.Aside:
		case ev.Kind == record.Test:
			tested[ev.Indicator] = true
		case !ev.Kind.IsProof():
		case row.Passes:
			p.proved = append(p.proved, groupOf(ev))
			if p.trust[ev.Indicator] == doubted {
				p.trust[ev.Indicator] = trusted
			}
		case ev.Volts.State != record.Unreadable:
			first := failed[ev.Indicator]
			again := first.IsSet() && first.Before(ev.Time) // else one proof by two accounts
			if again || tested[ev.Indicator] && !p.policy.ReproveRetry {
				p.trust[ev.Indicator] = spent
			} else if p.trust[ev.Indicator] == trusted {
				p.trust[ev.Indicator] = doubted
			}
			failed[ev.Indicator] = ev.Time
		}
	}
}

// spent reports whether the indicator used so far is to be put aside.
func (p *planner) spent() bool { return p.trust[p.indicator] == spent }
