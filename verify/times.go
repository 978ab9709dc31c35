package verify

import (
	"cmp"
	"slices"
	"time"

	"nilvolt/record"
)

// Rows whose log's clock was compared with another have several times: that by the
// corrected clock, give or take its uncertainty, and that which was logged. A record
// with such rows is judged by each, and what any of the judgements finds stands, so
// that no correction makes a record better than one of its times does. The logged
// times alone are let go where the clock is more than two minutes off and the caution
// clock-disagrees says so on the record.

// A timing is one way to take the times of rows with a clock: of all logs alike, or of one
// in another way than of the others, since nobody knows that they are wrong by the same.
type timing struct {
	how   way
	other *logID // nil where there is none
	its   way    // of that log
}

// A way is how the times of a log are taken.
type way uint8

const (
	early way = iota
	late
	logged
)

// A logID tells the logs of a record apart whose clocks were compared.
type logID struct {
	file, indicator string
	clock           record.Clock
}

func logOf(e *record.Event) logID { return logID{e.Pos.File, e.Indicator, *e.Clock} }

// timings returns all ways to take the times of a record.
func timings(rec *record.Record) []timing {
	list := []timing{{how: early}, {how: late}, {how: logged}}
	var logs []logID
	for i := range rec.Events {
		if e := &rec.Events[i]; e.Clock != nil && e.Kind != record.Output && !slices.Contains(logs, logOf(e)) {
			logs = append(logs, logOf(e))
		}
	}
	for i := range logs {
		if len(logs) > 2 || len(logs) == 2 && i == 0 { // of two, each is the other's other
			list = append(list, timing{late, &logs[i], early}, timing{early, &logs[i], late})
		}
	}
	return list
}

// of returns how the time of a row is taken.
func (t *timing) of(e *record.Event) way {
	if t.other != nil && logOf(e) == *t.other {
		return t.its
	}
	return t.how
}

// hasClock reports whether a row's clock was compared with another.
func hasClock(rec *record.Record) bool {
	for i := range rec.Events {
		if rec.Events[i].Clock != nil {
			return true
		}
	}
	return false
}

// off reports whether a clock is so far off that its logged times are let go.
func (j *Judge) off(c *record.Clock) bool {
	return c.Off() && j.judges(record.ClockDisagrees)
}

// timed returns rec with the times of rows that have a clock taken in one way. It is
// valid until the next call.
func (j *Judge) timed(rec *record.Record, how timing) *record.Record {
	j.retimed.ID, j.retimed.Jobs = rec.ID, rec.Jobs
	j.retimed.Events = append(j.retimed.Events[:0], rec.Events...)
	for i := range j.retimed.Events {
		e := &j.retimed.Events[i]
		if e.Clock == nil {
			continue
		}
		way := how.of(e)
		switch corrected := e.Time.Add(-e.Clock.Ahead); {
		case way == early:
			e.Time = corrected.Add(-e.Clock.Within)
		case way == late:
			e.Time = corrected.Add(e.Clock.Within)
		case j.off(e.Clock):
			e.Time = corrected
		}
	}
	return &j.retimed
}

// judgeTimes judges a record with clocks by all its times.
func (j *Judge) judgeTimes(rec *record.Record) *Judgement {
	var found []record.Finding
	ways := timings(rec)
	worst, status := 0, record.NotJudged
	j.clocked = true
	defer func() { j.clocked = false }()
	for i, how := range ways {
		g := j.judge(j.timed(rec, how))
		if g.Status > status {
			worst, status = i, g.Status
		}
		found = mergeFindings(found, g.Findings)
	}
	out := &j.judgement
	if worst != len(ways)-1 {
		out = j.judge(j.timed(rec, ways[worst]))
	}
	out.Findings = found
	return out
}

// mergeFindings adds findings to a list, those of one rule and indicator together.
func mergeFindings(list, more []record.Finding) []record.Finding {
	for _, f := range more {
		i := slices.IndexFunc(list, func(g record.Finding) bool { return g.Rule == f.Rule && g.Indicator == f.Indicator })
		if i < 0 {
			f.Tested, f.Lines = slices.Clone(f.Tested), slices.Clone(f.Lines)
			list = append(list, f)
			continue
		}
		g := &list[i]
		if f.Severity > g.Severity || f.Severity == g.Severity && len(f.Tested) > len(g.Tested) {
			g.Severity, g.Message = f.Severity, f.Message
		}
		g.Tested = append(g.Tested, f.Tested...)
		slices.SortFunc(g.Tested, compareTested)
		g.Tested = slices.Compact(g.Tested)
		g.Lines = append(g.Lines, f.Lines...)
		slices.SortFunc(g.Lines, comparePos)
		g.Lines = slices.Compact(g.Lines)
	}
	slices.SortStableFunc(list, func(a, b record.Finding) int { return cmp.Compare(a.Rule, b.Rule) })
	return list
}

// clockCorrected says of logs whose clock is far off that the corrected times count.
func (j *Judge) clockCorrected() {
	for i := range j.rows {
		if r := &j.rows[i]; r.Clock != nil && j.off(r.Clock) {
			f := j.add(record.ClockDisagrees, record.Caution, r.Indicator)
			rest(f, r)
			f.Message = clockSentence(r.Indicator, r.Clock)
		}
	}
}

// together is how far apart two logs may show one proof, beside the uncertainty of
// their clocks: the unit's output is switched on before the indicator shows it.
const together = 10 * time.Second

// SharedProofs returns how many proofs the record has, and how many of them another
// log shows too: that of the proving unit, or a second one of the indicator. Both are
// 0 where there is no other log. It makes no verdict better.
func (g *Judgement) SharedProofs() (proofs, shared int) {
	j := g.judge
	if j == nil || len(j.outputs) == 0 && !j.files {
		return 0, 0
	}
	for i := range j.rows {
		r := &j.rows[i]
		if !r.Kind.IsProof() {
			continue
		}
		proofs++
		if j.shown(r) {
			shared++
		}
	}
	if shared == 0 && len(j.outputs) == 0 {
		return 0, 0
	}
	return proofs, shared
}

// shown reports whether another log shows a proof.
func (j *Judge) shown(r *row) bool {
	same := func(e *record.Event) bool {
		return e.Source != "" && e.Source == r.Source && e.Pos.File != r.Pos.File &&
			e.Time.Sub(r.Time).Abs() <= together+within(e)+within(r.Event)
	}
	if slices.ContainsFunc(j.outputs, same) {
		return true
	}
	for i := range j.rows {
		if p := &j.rows[i]; p.Kind.IsProof() && p.Indicator == r.Indicator && same(p.Event) {
			return true
		}
	}
	return false
}

func within(e *record.Event) time.Duration {
	if e.Clock == nil {
		return 0
	}
	return e.Clock.Within
}
