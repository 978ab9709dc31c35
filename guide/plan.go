package guide

import (
	"slices"
	"time"

	"nilvolt/record"
	"nilvolt/verify"
)

// procedure is the order of the steps before the first test (common practice).
var procedure = []record.Kind{
	record.Inspect, record.Identify, record.Permission, record.ShedLoad,
	record.Isolate, record.Lock, record.Label,
}

// pace is the time from one act of a plan to the next.
const pace = 5 * time.Second

// A plan is what could be done, and what the record would be then.
type plan struct {
	acts     []Act
	other    bool // with another indicator than before
	failures int
	wishes   int // what would be told as a caution and can be had without harm
	isolates bool
}

// betterThan compares plans: fewest failures; no second isolation, no other indicator
// and no step left out if it can be helped; then the shortest.
func (a *plan) betterThan(b *plan) bool {
	count := func(p *plan) [5]int {
		return [5]int{p.failures, oneIf(p.isolates), oneIf(p.other), p.wishes, len(p.acts)}
	}
	x, y := count(a), count(b)
	return slices.Compare(x[:], y[:]) < 0
}

func oneIf(b bool) int {
	if b {
		return 1
	}
	return 0
}

// A planner makes plans for one situation.
type planner struct {
	*Guide
	rec       *record.Record
	start     record.Instant
	indicator string // used so far; blank if none was
	own       hand   // it, or one that may be used where none was
	other     hand   // another one
	trust     map[string]trust
	waveform  record.Waveform // of the supply
	side      record.Side
	proved    []group // what proofs that passed were made on, in order
	required  []record.Tested
	// begun is, for each way in which the tests may have been begun anew (by a proof, by
	// a lock), the required pairs that were not read since.
	begun    [][]record.Tested
	fresh    bool // no dead test stands since the last isolation
	isolated bool

	wrongWaveform bool
	events        []record.Event     // the record's, with room for those of a plan
	pairs         []verify.PairState // after the plan that was judged last
	left          []record.Finding   // the failures after it; their texts hold until the next
}

// newPlanner looks at the record as it is.
func (g *Guide) newPlanner(at Situation) *planner {
	p := &planner{Guide: g, rec: at.Record, start: at.Now, indicator: at.Indicator, fresh: true, waveform: record.AC}
	j := g.judge.Judge(at.Record)
	p.begun = make([][]record.Tested, 2)
	p.lookAtProofs(j)
	proved := lastOf(at.Record, record.Kind.IsProof)
	locked := lastOf(at.Record, func(k record.Kind) bool { return k == record.Lock })
	for _, pair := range j.Pairs() {
		p.required = append(p.required, pair.Tested)
		for i, since := range []record.Instant{proved, locked} {
			if !readSince(at.Record, pair.Tested, since) {
				p.begun[i] = append(p.begun[i], pair.Tested)
			}
		}
	}
	if j.Supply.IsDC() {
		p.waveform = record.DirectVoltage
	}
	p.wrongWaveform = slices.ContainsFunc(j.Findings, func(f record.Finding) bool { return f.Rule == record.WrongWaveform })
	for i := range at.Record.Events {
		p.lookAt(&at.Record.Events[i])
	}
	p.other = p.handOf(p.fit(p.indicator))
	if p.own = p.other; p.indicator != "" {
		p.own = p.handOf(p.indicator)
	}
	p.events = slices.Grow(slices.Clone(at.Record.Events), len(p.required)+len(procedure)+2)
	return p
}

// lastOf returns the time of the last event of a kind, the zero Instant where there is
// none.
func lastOf(rec *record.Record, is func(record.Kind) bool) (last record.Instant) {
	for i := range rec.Events {
		if ev := &rec.Events[i]; is(ev.Kind) && !ev.Time.Before(last) {
			last = ev.Time
		}
	}
	return last
}

// readSince reports whether a dead test of the required pair stands after a time. The
// reading that counts for a pair may be an older one, until the new one is proved.
func readSince(rec *record.Record, required record.Tested, since record.Instant) bool {
	return slices.ContainsFunc(rec.Events, func(ev record.Event) bool {
		return ev.Kind == record.Test && since.Before(ev.Time) && ev.Pair.Same(required.Pair) &&
			(required.Switch == record.SwitchUnknown || ev.Switch == required.Switch) &&
			(required.Point == "" || ev.Point == required.Point)
	})
}

// lookAt takes in one event of the record.
func (p *planner) lookAt(ev *record.Event) {
	if p.start.Before(ev.Time) {
		p.start = ev.Time
	}
	if ev.Side != record.SideUnknown {
		p.side = record.LoadSide
	}
	if ev.Indicator != "" && ev.Kind.IsReading() {
		p.indicator = ev.Indicator
	}
	if ev.Kind == record.Test {
		p.fresh = false
	}
	if ev.Kind == record.Isolate || ev.Kind == record.Restore {
		p.fresh, p.isolated = true, ev.Kind == record.Isolate
	}
}

// best returns the plan to follow.
func (p *planner) best() plan {
	best := p.shortest(nil, p.spent())
	if p.fresh && (best.failures == 0 || !p.isolated) {
		best = p.withSteps(best)
	}
	if best.failures == 0 {
		return best
	}
	for _, other := range []bool{p.spent(), true} {
		locks, labels := p.owed(record.Lock), p.owed(record.Label)
		isolated := append([]record.Kind{record.Isolate}, slices.Repeat([]record.Kind{record.Lock}, locks+1)...)
		isolated = append(isolated, slices.Repeat([]record.Kind{record.Label}, labels+1)...)
		for _, steps := range [][]record.Kind{nil, slices.Repeat([]record.Kind{record.Lock}, max(1, locks)), isolated} {
			if try := p.shortest(steps, other); try.betterThan(&best) {
				best = try
			}
		}
	}
	return best
}

// withSteps adds to a plan the steps that were not taken yet, each where it does no harm.
func (p *planner) withSteps(best plan) plan {
	var missing []record.Kind
	for _, step := range procedure {
		switch {
		case !p.taken(step):
			missing = append(missing, slices.Repeat([]record.Kind{step}, max(1, p.owed(step)))...)
		case step == record.Lock || step == record.Label:
			missing = append(missing, slices.Repeat([]record.Kind{step}, p.owed(step))...)
		}
	}
	var chosen []record.Kind
	consider := func(more ...record.Kind) {
		var steps []record.Kind
		for _, step := range missing {
			if slices.Contains(chosen, step) || slices.Contains(more, step) {
				steps = append(steps, step)
			}
		}
		try := p.shortest(steps, best.other)
		if try.failures < best.failures || try.failures == best.failures && try.wishes < best.wishes {
			best, chosen = try, steps
		}
	}
	if slices.Contains(missing, record.Isolate) {
		consider(record.Isolate, record.Lock, record.Label)
	}
	for _, step := range missing {
		consider(step)
	}
	return best
}

// owed returns how many more isolations than locks, or labels, stand in the record since
// power was last put back: each device that was opened has its own.
func (p *planner) owed(step record.Kind) int {
	n := 0
	for _, ev := range slices.Backward(p.rec.Events) {
		switch ev.Kind {
		case record.Restore:
			return max(0, n)
		case record.Isolate:
			n++
		case step:
			n--
		default:
		}
	}
	return max(0, n)
}

// taken reports whether a step stands in the record since power was last put back.
func (p *planner) taken(step record.Kind) bool {
	for _, ev := range slices.Backward(p.rec.Events) {
		if ev.Kind == step || ev.Kind == record.Restore {
			return ev.Kind == step
		}
	}
	return false
}

// shortest returns the best plan that begins with the steps.
func (p *planner) shortest(steps []record.Kind, other bool) plan {
	best := p.judged(acts(steps, false, nil, false), other)
	for _, prove := range []bool{false, true} {
		for _, pairs := range p.choices(steps, prove, other) {
			for _, reprove := range []bool{false, true} {
				if try := p.judged(acts(steps, prove, pairs, reprove), other); try.betterThan(&best) {
					best = try
				}
			}
		}
	}
	return best
}

// choices returns which pairs could be tested: none; those that would not be good if
// only proofs were made; these and those that were not read yet since all was begun anew;
// all.
func (p *planner) choices(steps []record.Kind, prove, other bool) [][]record.Tested {
	p.judged(acts(steps, prove, nil, true), other)
	var lacking []record.Tested
	for _, pair := range p.pairs {
		if pair.State != verify.Good {
			lacking = append(lacking, pair.Tested)
		}
	}
	out := [][]record.Tested{nil}
	if len(lacking) > 0 {
		out = append(out, lacking)
	}
	if len(lacking) < len(p.required) {
		out = append(out, p.required)
		for _, begun := range p.begun {
			var pairs []record.Tested
			for _, pair := range p.required {
				if slices.Contains(begun, pair) || slices.Contains(lacking, pair) {
					pairs = append(pairs, pair)
				}
			}
			if len(pairs) < len(p.required) {
				out = append(out, pairs)
			}
		}
	}
	return out
}

// acts puts a plan together.
func acts(steps []record.Kind, prove bool, pairs []record.Tested, reprove bool) []Act {
	list := make([]Act, 0, len(steps)+len(pairs)+2)
	for _, step := range steps {
		list = append(list, Act{Kind: step})
	}
	if prove {
		list = append(list, Act{Kind: record.Prove})
	}
	for _, tested := range pairs {
		list = append(list, Act{Kind: record.Test, Tested: tested})
	}
	if reprove {
		list = append(list, Act{Kind: record.Reprove})
	}
	return list
}
