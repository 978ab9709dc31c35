package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nilvolt/record"
	"nilvolt/verify"
)

// A Record is what the sheet of a record shows.
type Record struct {
	Evidence *record.Record
	// Judgement is that of the evidence by the policy and the register of the judging
	// that the sheet tells of. It shows pairs and rows; it has not seen the other
	// records, so the findings below go before it. It must stay valid while the
	// document is made.
	Judgement *verify.Judgement
	Status    record.Status // as it stands; never compliant where a failure is found
	Findings  []Finding     // as they stand
	// Borrows says that the judging let proofs of other records stand for readings of
	// this one, by its policy, and that these are not known to Judgement.
	Borrows  bool
	Register record.Register
	Policy   Policy
	Rules    string // version of the rules
	Kept     *Kept  // nil where the record was judged from files and is not kept
}

// A Finding is a finding as a sheet shows it.
type Finding struct {
	Rule      string
	Failure   bool // else it is a caution
	Indicator string
	Pairs     []string // as [record.Tested.String] has them
	Points    []string // one for each pair where the equipment has named points, else nil
	Lines     []string // file:line
	Message   string   // what is wrong; behind the last semicolon, what to do
}

// A Policy is the policy that a judgement went by.
type Policy struct {
	SHA256   string   // of the file in lower-case hex; blank for the default policy
	Loosened []string // where it is looser than the default
}

// Kept is what a ledger knows of a record.
type Kept struct {
	Origin    string    // name of the ledger
	Number    int       // of the version, 1 for the first
	Latest    time.Time // of the latest thing that is told here
	Uploaded  string    // when, in words; so are all times here
	By        string    // who handed it in; may be blank
	Judgings  []Judging
	Versions  []Version // all of the record, this one among them
	Worse     string    // where a worse version waits for a decision: which version is what; else blank
	Decisions []Decision
	Marks     []string // what looks back at its instruments say of it, a sentence each
	Waits     string   // what it waits for; blank for nothing
	Code      string   // what the QR code carries
}

// A Judging is one judgement of a version.
type Judging struct {
	Made   string
	Status string
	Rules  string // version of the rules
	Policy string // in words
	Why    string // in words; blank for the first one
}

// A Version is a version of a record.
type Version struct {
	Number   int
	Uploaded string
	Status   string
}

// A Decision is what somebody decided.
type Decision struct {
	Made   string
	Kind   string
	By     string
	Reason string
}

// caution is what stands on every sheet.
const caution = "Judges the evidence handed in, not the conductors; no permission to work. Prove and test again before you touch anything."

// Document returns the sheet of the record.
func (r *Record) Document() *Document {
	d := &Document{title: "Isolation record " + r.Evidence.ID, made: r.made(), foot: say("%s", caution)}
	d.head = say("Isolation record ").and(given(r.Evidence.ID))
	if r.Kept != nil {
		d.head = d.head.and(say(", version %d in the ledger ", r.Kept.Number), given(r.Kept.Origin))
	}
	rows := r.Judgement.Rows()
	pairs := r.Judgement.Pairs()
	if r.Borrows {
		pairs = Borrowed(pairs, r.Findings)
	}
	pairs = Lowered(pairs, r.Findings)
	found := r.verdict(pairs)
	d.subject = "Evidence of the isolation, and what was found in it: " + found.word
	d.add(heading{level: 1, text: say("Isolation record ").and(given(r.Evidence.ID))}, found, r.facts(rows))
	d.add(r.findings()...)
	d.add(r.pictures(pairs, rows)...)
	// What fills pages by itself stands behind the signatures.
	var appendix []block
	if readings := r.readings(rows, pairs); len(rows) > mostOnFirst {
		appendix = readings
	} else {
		d.add(readings...)
	}
	d.add(r.instruments(rows)...)
	d.add(r.judged()...)
	if isLarge(pairs) {
		d.add(pairPart(pairs)...)
	}
	d.add(appendix...)
	return d
}

// mostOnFirst is how many rows stand before the signatures; more come behind them.
const mostOnFirst = 30

// made is the time of the document: that of the latest thing it tells of.
func (r *Record) made() time.Time {
	if r.Kept != nil {
		return r.Kept.Latest
	}
	var latest time.Time
	for i := range r.Evidence.Events {
		if t := r.Evidence.Events[i].Time.Time(); t.After(latest) {
			latest = t
		}
	}
	return latest
}

// Lowered returns pairs as they are to be drawn beside findings: none that a finding
// speaks of looks better than the finding, which may have seen other records than the
// judge of the pairs. A live reading wipes the slate, so that its pair is missing until
// it is tested again; it is drawn live. The pairs are changed.
func Lowered(pairs []verify.PairState, findings []Finding) []verify.PairState {
	for i := range findings {
		f := &findings[i]
		state, ok := stateFor(f)
		if !ok {
			continue
		}
		for k := range pairs {
			p := &pairs[k]
			if f.isAbout(p.Tested) && (p.State == verify.Good || p.State == verify.Missing && state == verify.LiveRead) {
				p.State = state
			}
		}
	}
	return pairs
}

// Borrowed returns pairs with the proofs of other records, by a policy that lets these
// stand: a pair that has no proof of its own is good where the findings of the judging
// that saw them, which name every pair that is not, do not name it. The pairs are
// changed.
func Borrowed(pairs []verify.PairState, findings []Finding) []verify.PairState {
	for k := range pairs {
		p := &pairs[k]
		named := slices.ContainsFunc(findings, func(f Finding) bool {
			rule, err := record.ParseRule(f.Rule)
			return err != nil || rule.IsCore() && f.isAbout(p.Tested)
		})
		if p.State == verify.Unproved && !named {
			p.State = verify.Good
		}
	}
	return pairs
}

// stateFor returns what a pair is at best that a failure of a core rule speaks of.
func stateFor(f *Finding) (verify.State, bool) {
	rule, err := record.ParseRule(f.Rule)
	if err != nil || !f.Failure || !rule.IsCore() {
		return verify.Missing, false
	}
	switch rule {
	case record.LiveFoundRule:
		return verify.LiveRead, true
	case record.ResidualVoltage:
		return verify.Residual, true
	case record.ReadingUnreadable:
		return verify.Unread, true
	case record.CannotShowDead:
		return verify.CannotShow, true
	case record.PairMissing, record.SwitchPositionMissing:
		return verify.Missing, true
	default:
		return verify.Unproved, true
	}
}

// isAbout reports whether a finding speaks of a pair.
func (f *Finding) isAbout(t record.Tested) bool {
	swapped := t
	swapped.Pair = record.Pair{A: t.Pair.B, B: t.Pair.A}
	without := t
	without.Switch = record.SwitchUnknown
	names := []string{t.String(), swapped.String(), without.String()}
	for i, pair := range f.Pairs {
		if slices.Contains(names, pair) && (len(f.Points) <= i || f.Points[i] == "" || f.Points[i] == t.Point) {
			return true
		}
	}
	return false
}

// verdict is the judgement in its frame.
func (r *Record) verdict(pairs []verify.PairState) verdict {
	good := 0
	for i := range pairs {
		good += bit(pairs[i].State == verify.Good)
	}
	state := fmt.Sprintf("%d of %s dead and proved before and after.", good, howMany(len(pairs), "required pair"))
	if r.Borrows {
		state += " Proofs of other records count, by the policy."
	}
	if len(pairs) == 0 {
		state = "Nobody can say which pairs are required."
	}
	contested := r.Kept != nil && r.Kept.Worse != ""
	if contested {
		state = capital(r.Kept.Worse) + ". " + state
	}
	failures, cautions := 0, 0
	for _, f := range r.Findings {
		failures += bit(f.Failure)
		cautions += bit(!f.Failure && f.Rule != record.NotRecorded.String())
	}
	switch {
	case r.Status == record.LiveFound:
		return verdict{word: "LIVE", grave: gravid, text: say("Do not touch. A conductor read live and was not shown dead after it. %s", state)}
	case r.Status == record.Compliant && contested:
		return verdict{word: "IN DOUBT", grave: heavy, text: say("%s", state)}
	case r.Status == record.Compliant && r.Kept != nil && len(r.Kept.Marks) > 0:
		return verdict{word: "IN DOUBT", grave: heavy, text: say("Judged compliant; an instrument that it rests on was found unfit since, see Judgement. %s", state)}
	case r.Status == record.Compliant && failures == 0 && good == len(pairs) && good > 0:
		if cautions > 0 {
			state += " " + howMany(cautions, "caution") + ", see below."
		}
		return verdict{word: "COMPLIANT", text: say("The evidence is complete: %s", state)}
	case r.Status == record.NotJudged:
		return verdict{word: "NOT JUDGED", grave: heavy, text: say("%s", state)}
	}
	if failures == 0 {
		return verdict{word: "NOT COMPLIANT", grave: heavy, text: say("Not every pair is dead and proved by the rules of today: judge the record again. %s", state)}
	}
	return verdict{word: "NOT COMPLIANT", grave: heavy, text: say("The record does not comply: %s, see below. %s", howMany(failures, "failure"), state)}
}

// job is the job row of the record, an empty one where it has none.
func (r *Record) job() *record.Job {
	if len(r.Evidence.Jobs) == 0 {
		return &record.Job{}
	}
	return &r.Evidence.Jobs[0]
}

// orNot writes what is not recorded as that.
func orNot(text string) words {
	if strings.TrimSpace(text) == "" {
		return say("not recorded")
	}
	return given(text)
}

func names(list []record.Conductor) string {
	text := make([]string, len(list))
	for i, c := range list {
		text[i] = c.String()
	}
	return strings.Join(text, " ")
}

// facts are what was isolated and where.
func (r *Record) facts(rows []verify.RowState) block {
	j := r.job()
	conductors := names(j.Conductors)
	if conductors == "" {
		conductors = names(j.Supply.Conductors())
	}
	if len(j.Switched) > 0 {
		conductors += ", switched " + names(j.Switched)
	}
	nominal := ""
	if j.Nominal > 0 {
		nominal = ", " + j.Nominal.String()
	}
	device := strings.Join(filled(j.Device, j.Poles.String(), onLoad(j.OnLoad)), ", ")
	list := []fact{
		{"site", orNot(j.Site)},
		{"circuit", orNot(j.Circuit)},
		{"technician", orNot(j.Technician)},
		{"on", given(spanOf(rows))},
		{"supply", orNot(strings.TrimPrefix(j.Supply.String()+nominal, ", "))},
		{"conductors", orNot(conductors)},
		{"earthing", orNot(earthing(j))},
		{"isolated by", orNot(device)},
	}
	if j.SupplySideLive != record.Unstated {
		list = append(list, fact{"supply side", say("%s", map[record.YesNo]string{record.Yes: "stays live", record.No: "is cut off"}[j.SupplySideLive])})
	}
	if len(r.Evidence.Jobs) > 1 {
		list = append(list, fact{"job sheet", say("%d rows; the first is shown", len(r.Evidence.Jobs))})
	}
	return facts{columns: 2, list: list}
}

func earthing(j *record.Job) string {
	if j.Category == record.CategoryUnknown {
		return j.Earthing.String()
	}
	return strings.Join(filled(j.Earthing.String(), "category "+j.Category.String()), ", ")
}

func onLoad(y record.YesNo) string {
	switch y {
	case record.Yes:
		return "may be switched under load"
	case record.No:
		return "not for switching under load"
	case record.Unstated:
	}
	return ""
}

// filled returns the texts that are not blank.
func filled(list ...string) []string {
	return slices.DeleteFunc(list, func(s string) bool { return strings.TrimSpace(s) == "" })
}

// spanOf is from when to when the rows are, with the offsets they were written with.
func spanOf(rows []verify.RowState) string {
	if len(rows) == 0 {
		return "no row was handed in"
	}
	first, last := rows[0].Event.Time, rows[len(rows)-1].Event.Time
	text := dayOf(first) + " " + first.Clock() + " to "
	if dayOf(first) != dayOf(last) {
		text += dayOf(last) + " "
	}
	return text + last.Clock() + ", " + offsetOf(rows)
}

func dayOf(t record.Instant) string { return t.Date().String() }

// offsetOf names the offset of rows from UTC, or that they differ.
func offsetOf(rows []verify.RowState) string {
	for _, r := range rows {
		if r.Event.Time.Offset() != rows[0].Event.Time.Offset() {
			return "offsets from UTC differ"
		}
	}
	return fromUTC(rows[0].Event.Time)
}

// fromUTC writes the offset of a time.
func fromUTC(t record.Instant) string {
	minutes := t.Offset()
	if minutes == 0 {
		return "UTC"
	}
	sign := '+'
	if minutes < 0 {
		sign, minutes = '-', -minutes
	}
	return fmt.Sprintf("UTC%c%02d:%02d", sign, minutes/60, minutes%60)
}

// pictures are the pair picture with the steps beside it, and the timeline.
func (r *Record) pictures(pairs []verify.PairState, rows []verify.RowState) []block {
	var out []block
	steps := r.steps(rows)
	inner := (bodyWidth-6)*0.5 - 0.1
	switch {
	case len(pairs) == 0 || isLarge(pairs):
		out = append(out, steps...)
	case len(Triangles(pairs)) == 1 && len(Triangles(pairs)[0].Columns) <= 6:
		left := append([]block{heading{level: 2, text: say("Pairs")}}, pairPictures(pairs, inner)...)
		out = append(out, beside{share: 0.5, left: left, right: steps})
	default:
		out = append(append(out, pairPart(pairs)...), steps...)
	}
	if d := drawTimeline(rows, r.Judgement.Series(), r.Borrows, bodyWidth); d != nil {
		narrow := drawTimeline(rows, r.Judgement.Series(), r.Borrows, 95)
		out = append(out, keep{blocks: []block{heading{level: 2, text: say("Prove, test, prove again")}, figure{drawing: d, narrow: narrow}}})
	}
	return out
}

// isLarge reports whether the pictures of pairs need a page of their own.
func isLarge(pairs []verify.PairState) bool {
	height := 0
	for _, t := range Triangles(pairs) {
		if t.Dead < t.Pairs || len(t.Columns) > 6 {
			height += len(t.Rows) + 2
		}
	}
	return height > 16
}

// pairPart are the pictures of pairs over the whole width.
func pairPart(pairs []verify.PairState) []block {
	return append([]block{heading{level: 2, text: say("Pairs")}}, pairPictures(pairs, bodyWidth)...)
}
