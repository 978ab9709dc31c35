package verify

import (
	"time"

	"nilvolt/record"
)

// A Judge judges records one after the other. It keeps its working memory from
// record to record, so it serves one goroutine; make one for each.
type Judge struct {
	policy   *Policy
	register record.Register
	anyCase  map[string]*record.Instrument // the register by ids in lower case
	across   *Across                       // nil when the rules across records are not judged
	loosened string                        // message of policy-loosened; blank when it does not apply

	rec        *record.Record
	rowless    bool        // it was plain, and what follows up to steps, and the slots, are those of another
	job        *record.Job // what the job rows of the record say
	merged     record.Job  // holds it where there are several rows or none
	conflicts  []string    // columns in which job rows differ
	rows       []row
	outputs    []*record.Event // rows of proving units' logs
	retimed    record.Record   // the record with other times
	clocked    bool            // that is the one being judged
	files      bool            // the rows stand in several files
	worst      class
	doubtful   bool // a dead test was residual or unreadable
	counters   bool // a row has the instrument's counter
	pointed    bool // a row names a point
	steps      [record.Restore + 1]int32
	series     []series
	groups     []group
	byKey      map[groupKey]int // groups by what they have in common, once there are many
	indicators []indicatorState
	byID       map[string]int // indicators by id, once there are many
	current    int            // the indicator looked up last
	work       work
	usual      [record.DC3Wire + 1]usual // by supply
	lonely     bool                      // no two required pairs are of the same conductors
	slots      []slot
	reset      int32         // index of the first row behind the last reset
	resetBy    *record.Event // the last reset, nil if there is none
	sides      bool          // a row says that it was taken on the supply side

	last       [2]lastInstrument
	lastDevice lastDevice
	counted    []*row
	counting   []int32
	gaps       []time.Duration
	missing    map[missingSet]string // messages of not-recorded
	told       missingSet            // the latest set, whose message is tells
	tells      string
	said       map[string]string // what sentence keeps
	latest     int               // the required pair that findSlot tries first
	unrecorded missingSet        // of this record, where not-recorded is judged
	findings   findingList
	copying    copyHash
	judgement  Judgement
}

// A row is an event with what the judge knows of it.
type row struct {
	*record.Event
	pair      record.Pair // after N or E became PEN
	class     class       // of a dead test
	lacks     lacks       // of a dead reading, once weighed
	proof     proofResult // of a proof
	series    int32       // of a proof its series; of a dead test the series before it, -1 if none
	near      bracket     // of a dead test: the nearest series
	slot      int32       // of a dead test: the first required pair that it is of, -1 if none
	liveParts bool        // live on a supply side that stays live
}

// NewJudge returns a judge for one goroutine. register is nil when none was
// given; across is nil when the rules across records are not to be judged.
func NewJudge(policy *Policy, register record.Register, across *Across) *Judge {
	return &Judge{
		policy:   policy,
		register: register,
		anyCase:  inAnyCase(register),
		across:   across,
		loosened: loosenedMessage(policy),
		missing:  map[missingSet]string{},
		said:     map[string]string{},
	}
}

// Judge judges one record. The judgement, and all that it points to, is valid
// until the next call and as long as rec is.
func (j *Judge) Judge(rec *record.Record) *Judgement {
	j.rowless = j.plain(rec)
	switch {
	case j.rowless:
		return &j.judgement
	case hasClock(rec):
		return j.judgeTimes(rec)
	}
	return j.judge(rec)
}

// judge judges a record by the times of its rows, by the rules one by one.
func (j *Judge) judge(rec *record.Record) *Judgement {
	j.weighRows(rec)
	j.findings.reset()
	j.coreRules()
	j.furtherRules()
	j.conclude(j.allGood())
	return &j.judgement
}

// weighRows finds for each required pair the reading that counts for it.
func (j *Judge) weighRows(rec *record.Record) {
	j.prepare(rec)
	j.require()
	j.weigh()
	j.count()
}

// prepare brings the rows of rec in order, each with its class, and finds the
// proof series.
func (j *Judge) prepare(rec *record.Record) {
	j.rec = rec
	j.mergeJobs()
	j.orderRows()
	j.findSeries()
}

// furtherRules judges the rules that are judged when the record holds the
// evidence.
func (j *Judge) furtherRules() {
	j.jobRules()
	j.timingRules()
	j.readingRules()
	j.proofRules()
	j.stepRules()
	j.deviceRules()
	j.instrumentRules()
	j.acrossRules()
	j.loosenedRule()
	j.missingRule(j.missingReadings())
}

// loosenedRule tells of a policy that is looser than the default.
func (j *Judge) loosenedRule() {
	if j.loosened != "" {
		j.add(record.PolicyLoosened, record.Caution, "").Message = j.loosened
	}
}

// conclude makes the judgement of what was found; good says whether at least one
// pair is required and all that are, are good.
func (j *Judge) conclude(good bool) {
	out := &j.judgement
	out.judge = j
	out.Record, out.Supply = j.rec.ID, j.job.Supply
	out.Findings = j.findings.finish(j)
	out.Status = record.Compliant
	// Nothing but a full set of good pairs may stand as compliant, whatever the
	// rules above made of it.
	if !good {
		out.Status = record.NonCompliant
	}
	for i := range out.Findings {
		f := &out.Findings[i]
		if f.Rule == record.LiveFoundRule {
			out.Status = record.LiveFound
			break
		}
		if f.Severity == record.Failure {
			out.Status = record.NonCompliant
		}
	}
}

// Bare reports whether the record has no row: a job sheet names it, and that is
// all there is of it.
func (g *Judgement) Bare() bool { return g.judge != nil && len(g.judge.rec.Events) == 0 }

// Pairs returns every required pair, in conductor order, switched lines first,
// with what the record shows of it.
func (g *Judgement) Pairs() []PairState {
	j := g.weighed()
	if j == nil {
		return nil
	}
	pairs := make([]PairState, len(j.slots))
	for i := range j.slots {
		pairs[i] = j.pairState(&j.slots[i])
	}
	return pairs
}

// weighed returns the judge with the rows of the record weighed, nil if there is none.
func (g *Judgement) weighed() *Judge {
	if j := g.judge; j != nil && j.rowless {
		j.weighRows(j.rec)
		j.rowless = false
	}
	return g.judge
}

// pairState tells what the record shows of one required pair.
func (j *Judge) pairState(s *slot) PairState {
	p := PairState{Tested: s.Tested}
	if s.row < 0 {
		return p
	}
	r := &j.rows[s.row]
	p.Printed, p.Indicator, p.Time, p.Pos = r.Volts.Text, r.Indicator, r.Time, r.Pos
	if p.Printed == "" {
		p.Printed = r.Stage.Text
	}
	p.State = stateOf(r.class)
	if s.good && r.class == classDead {
		p.State = Good
	}
	return p
}
