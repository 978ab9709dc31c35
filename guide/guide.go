// Package guide says what to do next while the evidence of an isolation is being
// taken, so that the record complies in the end.
//
// It knows no rule of its own. It appends to the record what could be done now, done
// well (a step, a proof, dead tests of some pairs, another proof), and lets package
// verify judge the record that this would make. Of the plans that end with the fewest
// failures the shortest one is followed, and its first act is the instruction. So an
// instruction never spoils what was taken before, and when no plan leads to a record
// that complies, that is said at once and not after the work.
//
// The package is pure. The moment from which plans start is handed in.
package guide

import (
	"slices"

	"nilvolt/record"
	"nilvolt/verify"
)

// An Action says what kind of thing is to be done next.
type Action uint8

// The actions.
const (
	NoAction  Action = iota
	SeeDanger        // a reading was not dead, and nobody has said to have seen it
	TakeStep         // Instruction.Step is to be taken
	ProveOn          // the indicator is to be proved, before tests or after them
	TestPair         // Instruction.Tested is to be tested dead
	Complete         // the evidence is complete; it is no permission to touch
	StartAnew        // nothing that is taken now makes this record comply
	MendSheet        // as StartAnew, and what is wrong is the job sheet, which may be mended
)

// An Instruction is the one thing to do next.
type Instruction struct {
	Action Action
	Step   record.Kind   // of TakeStep
	Again  bool          // the step is an isolation, and one was made before: it did not do
	Tested record.Tested // of TestPair, and the pair of the reading of SeeDanger
	// After says of ProveOn that dead tests wait for this proof.
	After bool
	// On names the sources to prove on, where the record names some. A blank stands for
	// one that was proved on and is not named.
	On []string
	// Indicator is the one to use; blank where the record names none yet.
	Indicator string
	// Other says that the indicator used so far cannot give this evidence: take another.
	Other bool
	// Failed is the indicator that failed its proof last; blank where none did, or where a
	// later proof passed. It is to be looked over with its leads and the source, and may
	// be proved once more; where Aside, it is to be put aside for another.
	Failed string
	Aside  bool
	// Waveform is what the reading has to be taken on; unknown where that was never wrong.
	Waveform record.Waveform
	// Live says of SeeDanger that the reading was live, not residual.
	Live bool
	// Stays are the failures of StartAnew and MendSheet that nothing which is taken mends.
	Stays []record.Finding
	// Plan is all that is to be done, this included.
	Plan []Act
}

// An Act is one thing of a plan.
type Act struct {
	Kind   record.Kind   // a step, Prove, Test or Reprove
	Tested record.Tested // of Test
}

// A Situation is where a session stands.
type Situation struct {
	Record *record.Record // with the rows of the job sheet
	Seen   int            // how many of its events the technician has said to have seen
	Now    record.Instant
	// Indicator is the id that the session was told; blank takes that of the last reading.
	Indicator string
}

// A Guide gives instructions by one policy and register. It serves one goroutine.
type Guide struct {
	policy   *verify.Policy
	register record.Register
	judge    *verify.Judge
}

// New returns a guide. register is nil where none was given.
func New(policy *verify.Policy, register record.Register) *Guide {
	return &Guide{policy: policy, register: register, judge: verify.NewJudge(policy, register, nil)}
}

// Next returns what is to be done in a situation. The instruction holds as long as the
// record does.
func (g *Guide) Next(at Situation) Instruction {
	p := g.newPlanner(at)
	if danger, ok := p.unseen(at.Seen); ok {
		return danger
	}
	best := p.best()
	switch {
	case best.failures > 0:
		in := Instruction{Action: StartAnew, Indicator: p.indicator, Stays: p.stays(best)}
		if len(in.Stays) > 0 && !slices.ContainsFunc(in.Stays, isOfWork) {
			in.Action = MendSheet
		}
		return in
	case len(best.acts) == 0:
		return p.withTrust(Instruction{Action: Complete, Indicator: p.indicator})
	}
	return p.withTrust(p.instruction(best))
}

// isOfWork reports whether a finding is about more than the job sheet, which can be mended
// when the work is over.
func isOfWork(f record.Finding) bool {
	return f.Rule != record.SupplyUnknownRule && f.Rule != record.JobConflict
}

// withTrust adds to an instruction that the indicator used so far failed its proof.
func (p *planner) withTrust(in Instruction) Instruction {
	if trust := p.trust[p.indicator]; trust != trusted {
		in.Failed, in.Aside = p.indicator, trust == spent
	}
	if in.Aside { // the source may be at fault as well
		in.On = nil
	}
	return in
}

// instruction is the first act of a plan.
func (p *planner) instruction(best plan) Instruction {
	first := best.acts[0]
	in := Instruction{Plan: best.acts, Indicator: p.indicator}
	if best.other {
		in.Indicator, in.Other = "", p.indicator != ""
	}
	switch {
	case first.Kind.IsStep():
		in.Action, in.Step = TakeStep, first.Kind
		in.Again = first.Kind == record.Isolate && p.isolated
	case first.Kind == record.Test:
		in.Action, in.Tested = TestPair, first.Tested
		if p.wrongWaveform {
			in.Waveform = p.waveform
		}
	default:
		in.Action, in.After = ProveOn, first.Kind == record.Reprove
		in.On = p.sourceNames()
	}
	return in
}
