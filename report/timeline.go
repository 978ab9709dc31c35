package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"nilvolt/record"
	"nilvolt/verify"
)

// The timeline has a line for the steps and one for each indicator. Long pauses are
// shortened, and say how long they were.

// A timeline is made of these.
type timeline struct {
	rows   []verify.RowState
	series []verify.SeriesState
	d      *drawing
	scale  timescale
	// missing is what stands where there is no proof.
	missing words
	left    float64  // room for the names of the lines
	said    []string // what is drawn, in words
}

const (
	laneMargin = 12.0 // room for what is missing before the first row and behind the last
	laneText   = 2.4  // size of what is written
)

// drawTimeline draws the rows of a record in a width; nil where there is none. borrows
// says that proofs of other records count, so that one may be missing here.
func drawTimeline(rows []verify.RowState, series []verify.SeriesState, borrows bool, width float64) *drawing {
	if len(rows) == 0 {
		return nil
	}
	t := &timeline{rows: rows, series: series, missing: stress("NO PROOF"), d: &drawing{width: width, title: "Timeline"}}
	if borrows {
		t.missing = say("none here")
	}
	t.left = min(24, width/6)
	t.scale = newTimescale(rows, t.left+laneMargin, width-laneMargin)
	y := t.steps(0)
	for _, id := range indicatorsOf(rows) {
		y = t.indicator(id, y)
	}
	y = t.axis(y)
	t.d.height = y
	t.d.text = strings.Join(t.said, " ")
	return t.d
}

// indicatorsOf returns the indicators of proofs and dead tests, in the order in which
// they come.
func indicatorsOf(rows []verify.RowState) []string {
	var list []string
	for _, r := range rows {
		if r.Event.Kind.IsReading() && !slices.Contains(list, r.Event.Indicator) {
			list = append(list, r.Event.Indicator)
		}
	}
	return list
}

// A timescale gives each time its place.
type timescale struct {
	times []record.Instant // ascending, no two the same
	at    []float64
	cut   []bool // the pause behind it is shortened
}

// newTimescale spreads the times of rows from left to right by how long the pauses
// are; a pause much longer than the usual one takes as much room as that limit.
func newTimescale(rows []verify.RowState, left, right float64) timescale {
	var s timescale
	for _, r := range rows {
		if n := len(s.times); n == 0 || r.Event.Time.Compare(s.times[n-1]) > 0 {
			s.times = append(s.times, r.Event.Time)
		}
	}
	var pauses []time.Duration
	for i := 1; i < len(s.times); i++ {
		pauses = append(pauses, s.times[i].Sub(s.times[i-1]))
	}
	sorted := slices.Sorted(slices.Values(pauses))
	limit := time.Duration(1)
	if len(sorted) > 0 {
		limit = max(2*sorted[len(sorted)/2], time.Second)
	}
	total := time.Duration(0)
	for _, p := range pauses {
		total += min(p, limit)
	}
	x := left
	for i := range s.times {
		s.at = append(s.at, x)
		s.cut = append(s.cut, i < len(pauses) && pauses[i] > limit)
		if i < len(pauses) {
			x += (right - left) * float64(min(pauses[i], limit)) / float64(total)
		}
	}
	return s
}

// of returns the place of a time that a row has.
func (s *timescale) of(t record.Instant) float64 {
	i, _ := slices.BinarySearchFunc(s.times, t, record.Instant.Compare)
	return s.at[min(i, len(s.at)-1)]
}

// A placer finds room for words on several lines, so that none lies over another.
type placer struct {
	right []float64 // how far each line is taken
}

// place returns the line on which words from x on with a width have room, -1 if none.
func (p *placer) place(x, width float64) int {
	for i := range p.right {
		if x >= p.right[i] {
			p.right[i] = x + width + 1
			return i
		}
	}
	return -1
}

// lines returns how many lines are used.
func (p *placer) lines() int {
	n := 0
	for i := range p.right {
		if p.right[i] > 0 {
			n = i + 1
		}
	}
	return n
}

// steps draws the steps from y on and returns where the next line begins.
func (t *timeline) steps(y float64) float64 {
	const line = laneText * 1.3
	most := placer{right: make([]float64, 3)}
	for _, r := range t.rows {
		if r.Event.Kind.IsStep() {
			most.place(t.stepWord(r))
		}
	}
	base := y + float64(most.lines())*line + 2.5
	room := placer{right: make([]float64, 3)}
	any := false
	for _, r := range t.rows {
		if !r.Event.Kind.IsStep() {
			continue
		}
		any = true
		x := t.scale.of(r.Event.Time)
		word := stepWord(r)
		t.said = append(t.said, r.Event.Time.Clock()+" "+word+".")
		t.d.line(x, base-1.6, x, base+1.6, 0.35, black)
		from, width := t.stepWord(r)
		if n := room.place(from, width); n >= 0 {
			at := base - 2.4 - line*float64(n)
			if n > 0 {
				t.d.line(x, base-1.6, x, at+0.5, 0.1, mid)
			}
			t.d.add(label{x: from, y: at, size: laneText, words: say("%s", word), ink: black})
		}
	}
	if !any {
		return y
	}
	t.lane(say("steps"), base)
	return base + 3
}

// stepWord is what is written of a step.
func stepWord(r verify.RowState) string {
	if r.Aside && r.Event.Kind != record.Restore {
		return stepName(r.Event.Kind) + " (not judged)"
	}
	return stepName(r.Event.Kind)
}

// stepWord returns where the word of a step begins, and how wide it is.
func (t *timeline) stepWord(r verify.RowState) (from, width float64) {
	width = widthOf(say("%s", stepWord(r)), laneText)
	return min(max(t.scale.of(r.Event.Time)-width/2, t.left), t.d.width-width), width
}

// lane draws the line of a name.
func (t *timeline) lane(name words, y float64) {
	t.d.marks = append([]any{path{points: [][2]float64{{t.left, y}, {t.d.width, y}}, stroke: pale, width: 0.25}}, t.d.marks...)
	t.d.add(label{x: 0, y: y + 0.9, size: laneText + 0.2, words: fit(bold(name), laneText+0.2, t.left-2), ink: black})
}

// A phase is rows of one indicator, one behind the other, that are all proofs of one
// series or all dead tests.
type phase struct {
	rows []verify.RowState
}

func (p *phase) proof() bool          { return p.rows[0].Event.Kind.IsProof() }
func (p *phase) from() record.Instant { return p.rows[0].Event.Time }
func (p *phase) to() record.Instant   { return p.rows[len(p.rows)-1].Event.Time }

// phasesOf divides the readings of an indicator into phases.
func phasesOf(rows []verify.RowState, indicator string) []phase {
	var list []phase
	for _, r := range rows {
		if !r.Event.Kind.IsReading() || r.Event.Indicator != indicator {
			continue
		}
		if n := len(list); n > 0 {
			last := list[n-1].rows[0]
			if last.Event.Kind.IsProof() == r.Event.Kind.IsProof() && last.Series == r.Series && last.Aside == r.Aside {
				list[n-1].rows = append(list[n-1].rows, r)
				continue
			}
		}
		list = append(list, phase{[]verify.RowState{r}})
	}
	return list
}

// indicator draws the line of an indicator.
func (t *timeline) indicator(id string, y float64) float64 {
	const half = 2.4
	base := y + half + 1
	room := placer{right: make([]float64, 2)}
	write := func(x, width float64, word words) {
		n := room.place(x, width)
		if n < 0 {
			return
		}
		t.d.add(label{x: x, y: base + half + laneText*1.1 + laneText*1.3*float64(n), size: laneText, words: word, ink: black})
	}
	name := given(id)
	if id == "" {
		name = say("no indicator")
	}
	t.lane(name, base)
	phases := phasesOf(t.rows, id)
	judged := func(p phase) bool { return !p.rows[0].Aside }
	first, last := slices.IndexFunc(phases, judged), -1
	for i := range phases {
		if judged(phases[i]) {
			last = i
		}
	}
	tested := false
	for i := range phases {
		p := &phases[i]
		x1, x2 := t.scale.of(p.from()), t.scale.of(p.to())
		if !p.proof() && i == first {
			t.noProof(x1-laneMargin+1.5, base, half, write)
		}
		var word words
		if p.proof() {
			word = t.proofs(p, x1, x2, base, half, tested)
		} else {
			word = t.tests(p, base, half)
			tested = true
		}
		t.said = append(t.said, fmt.Sprintf("%s to %s, %s: %s.", p.from().Clock(), p.to().Clock(), id, word))
		width := widthOf(word, laneText)
		write(min(max((x1+x2-width)/2, t.left), t.d.width-width), width, word)
		if i == last && !p.proof() {
			t.noProof(x2+1.5, base, half, write)
		}
	}
	return base + half + laneText*1.3*float64(room.lines()) + 1.5
}

// noProof draws the place where a proof would stand.
func (t *timeline) noProof(x, base, half float64, write func(float64, float64, words)) {
	const w = 9
	t.d.add(path{
		points: [][2]float64{{x, base - half}, {x + w, base - half}, {x + w, base + half}, {x, base + half}},
		closed: true, fill: white, stroke: black, width: 0.3, dash: []float64{1, 0.7},
	})
	write(max(x+w/2-widthOf(t.missing, laneText)/2, t.left), widthOf(t.missing, laneText), t.missing)
	t.said = append(t.said, "No proof here.")
}

// proofs draws a proof series: a grey field where it passed, a crossed one where not.
func (t *timeline) proofs(p *phase, x1, x2, base, half float64, after bool) words {
	x1, x2 = x1-1.4, x2+1.4
	passes := false
	if s := p.rows[0].Series; s >= 0 && s < len(t.series) {
		passes = t.series[s].Passes && (!after || t.series[s].PassesAfter)
	}
	switch {
	case p.rows[0].Aside:
		t.d.box(x1, base-half, x2-x1, 2*half, white, mid, 0.2)
		return say("not judged")
	case passes:
		t.d.box(x1, base-half, x2-x1, 2*half, pale, black, 0.3)
		return say("proved")
	}
	t.d.box(x1, base-half, x2-x1, 2*half, white, black, 0.6)
	t.d.line(x1, base-half, x2, base+half, 0.4, black)
	t.d.line(x1, base+half, x2, base-half, 0.4, black)
	return stress("PROOF FAILED")
}

// tests draws dead tests: a stroke for one that was dead, a black diamond for one that
// was not.
func (t *timeline) tests(p *phase, base, half float64) words {
	counts := map[verify.State]int{}
	last := -1.0
	for _, r := range p.rows {
		x := t.scale.of(r.Event.Time)
		if !r.Dead && !r.Aside {
			counts[r.State]++
		} else if x-last > 0.25 { // nearer, another stroke would only make this one thicker
			last = x
			t.d.line(x, base-half*0.8, x, base+half*0.8, 0.3, dark)
		}
	}
	for _, r := range p.rows { // above the strokes
		if x, h := t.scale.of(r.Event.Time), half*1.1; !r.Dead && !r.Aside {
			t.d.add(path{points: [][2]float64{{x, base - h}, {x + 1.3, base}, {x, base + h}, {x - 1.3, base}}, closed: true, fill: black, stroke: white, width: 0.3})
		}
	}
	if p.rows[0].Aside {
		return say("%s, not judged", howMany(len(p.rows), "test"))
	}
	if len(counts) == 0 {
		return say("%s, dead", howMany(len(p.rows), "test"))
	}
	word := say("%s, ", howMany(len(p.rows), "test"))
	first := true
	for _, s := range States {
		if n := counts[s]; n > 0 {
			if !first {
				word = word.and(say(", "))
			}
			word = word.and(stress(fmt.Sprintf("%d %s", n, faceOf(s).word)))
			first = false
		}
	}
	return word
}

// axis draws the times, and where pauses are shortened.
func (t *timeline) axis(y float64) float64 {
	base := y + 1
	t.d.line(t.left, base, t.d.width, base, 0.3, black)
	room := placer{right: make([]float64, 1)}
	pauses := placer{right: make([]float64, 1)}
	last := len(t.scale.times) - 1
	atEnd := t.scale.at[last] - widthOf(say("00:00:00"), laneText)/2
	several := dayOf(t.scale.times[0]) != dayOf(t.scale.times[last])
	day := ""
	for i, at := range t.scale.times {
		x := t.scale.at[i]
		t.d.line(x, base, x, base+0.9, 0.2, black)
		text := at.Clock()
		if several && dayOf(at) != day {
			text = dayOf(at) + " " + text
		}
		w := widthOf(say("%s", text), laneText)
		if i == last || x+w/2+1 < atEnd {
			if room.place(x-w/2, w) >= 0 {
				t.d.add(label{x: x, y: base + 3.3, size: laneText, words: say("%s", text), align: atCentre, ink: black})
				day = dayOf(at)
			}
		}
		if !t.scale.cut[i] {
			continue
		}
		middle := (x + t.scale.at[i+1]) / 2
		t.d.line(middle-0.9, base+1, middle+0.1, base-1, 0.3, black)
		t.d.line(middle-0.1, base+1, middle+0.9, base-1, 0.3, black)
		pause := say("%s", duration(t.scale.times[i+1].Sub(at)))
		w = widthOf(pause, laneText)
		if pauses.place(middle-w/2, w) >= 0 {
			t.d.add(label{x: middle, y: base + 6.3, size: laneText, words: pause, align: atCentre, ink: dark})
		}
	}
	t.nameAxis(base)
	return base + 7
}

// nameAxis names the axis.
func (t *timeline) nameAxis(base float64) {
	t.d.add(label{x: 0, y: base + 3.3, size: laneText, words: say("time"), ink: dark},
		label{x: 0, y: base + 6.3, size: laneText, words: say("pauses"), ink: dark})
}

// duration writes how long something took.
func duration(d time.Duration) string {
	d = d.Round(time.Second)
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", d/time.Second)
	case d < time.Hour && d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	case d < time.Hour:
		return fmt.Sprintf("%d min %d s", d/time.Minute, d%time.Minute/time.Second)
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h %d min", d/time.Hour, d%time.Hour/time.Minute)
	}
	return fmt.Sprintf("%d d %d h", d/(24*time.Hour), d%(24*time.Hour)/time.Hour)
}

// howMany writes how many there are of something.
func howMany(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// stepName is a step as people say it.
func stepName(k record.Kind) string {
	return cmp.Or(map[record.Kind]string{record.ShedLoad: "load shed", record.Begin: "work begun", record.Restore: "power restored"}[k], k.String())
}
