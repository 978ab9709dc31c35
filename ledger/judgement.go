package ledger

import (
	"database/sql"
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"nilvolt/record"
)

// A Context is what records are judged by: rows of content, 0 for none.
type Context struct {
	Policy   int64 // the policy file; 0: the default
	Register int64 // the instrument register; 0: none
	Map      int64 // the column map by which the register is read; 0: none
}

// A Cause says why records were judged.
type Cause string

// The causes.
const (
	Ingest    Cause = "ingest"    // they were handed in
	Neighbour Cause = "neighbour" // a later upload throws light on kept records
	Again     Cause = "again"     // somebody asked for it
	// Reread is as Again, of records whose files say something else now than when they
	// were kept, or cannot be read any more; the judgement is the stricter one.
	Reread Cause = "reread"
)

// A Judging is one run of the judge over records.
type Judging struct {
	ID     int64  // its row
	Made   string // RFC 3339, UTC
	Cause  Cause
	Upload int64 // the one that caused it; 0 for none
	Context
	Rules string // version of the rules
}

func (j *Judging) leaf() leaf {
	return newLeaf(kindJudging).text(j.Made).text(string(j.Cause)).int(j.Upload).int(j.Policy).int(j.Register).int(j.Map).text(j.Rules)
}

// write writes the row of a judging.
func (t *Tx) write(j *Judging) error {
	j.Made = stamp(t.now)
	row, err := t.leaf(j.leaf())
	if err != nil {
		return err
	}
	j.ID = row
	err = t.exec(`INSERT INTO judging (leaf, made, cause, upload, policy, register, map, rules)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		row, j.Made, string(j.Cause), orNull(j.Upload), orNull(j.Policy), orNull(j.Register), orNull(j.Map), j.Rules)
	return err
}

// orNull is how the number of a row that may not exist is kept.
func orNull(row int64) sql.NullInt64 { return sql.NullInt64{Int64: row, Valid: row != 0} }

// A Finding is a finding as it is kept, and as JSON output has it.
type Finding struct {
	Rule      string   `json:"rule"`
	Severity  string   `json:"severity"`
	Indicator string   `json:"indicator"`
	Pairs     []string `json:"pairs"`
	Points    []string `json:"points,omitempty"` // one for each pair, where the equipment has named points
	Lines     []string `json:"lines"`            // file:line
	Message   string   `json:"message"`
}

// A Verdict is a judgement made ready to be kept.
type Verdict struct {
	Status   record.Status
	failed   string
	findings string
}

// Failed returns the rules that failed.
func (v *Verdict) Failed() []string { return strings.Fields(v.failed) }

// NewVerdict makes a judgement ready to be kept. It holds nothing of the findings'
// memory.
func NewVerdict(status record.Status, findings []record.Finding) (*Verdict, error) {
	list := make([]Finding, len(findings))
	var failed []string
	for i := range findings {
		list[i] = keptFinding(&findings[i])
		if findings[i].Severity == record.Failure && !slices.Contains(failed, list[i].Rule) {
			failed = append(failed, list[i].Rule)
		}
	}
	v := &Verdict{Status: status}
	if len(failed) > 0 {
		v.failed = " " + strings.Join(failed, " ") + " "
	}
	text, err := json.Marshal(list)
	if err != nil {
		return nil, err
	}
	v.findings = string(text)
	return v, err
}

// says reports whether the verdict says the same as a judgement.
func (v *Verdict) says(j *Judgement) (bool, error) {
	if j.Status != v.Status.String() {
		return false, nil
	}
	var mine []Finding
	if err := json.Unmarshal([]byte(v.findings), &mine); err != nil {
		return false, err
	}
	a, err1 := essence(mine)
	b, err2 := essence(slices.Clone(j.Findings))
	return a == b, errors.Join(err1, err2)
}

// essence returns what findings say, without the lines on which they rest. Which of
// several records a copy is said to repeat does not count either: it is any one.
func essence(list []Finding) (string, error) {
	for i := range list {
		list[i].Lines = nil
		if list[i].Rule == record.CopiedReadings.String() {
			list[i].Message = ""
		}
	}
	text, err := json.Marshal(list)
	return string(text), err
}

func keptFinding(f *record.Finding) Finding {
	out := Finding{
		Rule: f.Rule.String(), Severity: f.Severity.String(), Indicator: f.Indicator,
		Pairs: make([]string, len(f.Tested)), Lines: make([]string, len(f.Lines)), Message: f.Message,
	}
	points := false
	for i, tested := range f.Tested {
		out.Pairs[i] = tested.String()
		points = points || tested.Point != ""
	}
	for i := 0; points && i < len(f.Tested); i++ {
		out.Points = append(out.Points, f.Tested[i].Point)
	}
	for i, pos := range f.Lines {
		pos.Column = 0
		out.Lines[i] = pos.String()
	}
	return out
}

// A Judged is a version with its new verdict.
type Judged struct {
	Version int64
	Verdict *Verdict
}

// A Change is a version whose judgement says something else than before.
type Change struct {
	Version int64
	Record  string
	Number  int
	Before  Judgement
	After   Judgement // without its findings
}

// A Judgement is what a judging found in a version, as it is kept.
type Judgement struct {
	ID       int64
	Version  int64
	Judging  int64
	Status   string   // compliant, non-compliant, live
	Failed   []string // the rules that failed
	Findings []Finding
}

func judgementLeaf(judging, version int64, status, failed, findings string) leaf {
	return newLeaf(kindJudgement).int(judging).int(version).text(status).text(failed).text(findings)
}

// judgementColumns are what scanJudgement reads.
const judgementColumns = `j.leaf, j.version, j.judging, j.status, j.failed, j.findings`

func scanJudgement(rows *sql.Rows, more ...any) (Judgement, error) {
	var j Judgement
	var failed, findings string
	err := rows.Scan(append([]any{&j.ID, &j.Version, &j.Judging, &j.Status, &failed, &findings}, more...)...)
	if err != nil {
		return j, err
	}
	j.Failed = strings.Fields(failed)
	return j, json.Unmarshal([]byte(findings), &j.Findings)
}

// newestJudgement joins a version with its newest judgement. The first condition follows
// from the second; PostgreSQL does not see that, and would read all judgements.
const newestJudgement = `j.version = v.leaf AND j.leaf = (SELECT MAX(leaf) FROM judgement WHERE version = v.leaf)`

// A Bench takes judgements of one judging. Made by [Tx.Bench].
type Bench struct {
	tx      *Tx
	judging Judging // not written yet while its ID is 0
	rows    *inserter
}

// Bench begins a judging: what caused it, the upload that did so (0 for none), and
// under what the records are judged. It is noted with the first judgement that says
// something new; the caller must call [Bench.Flush] behind the last one.
func (t *Tx) Bench(cause Cause, upload int64, c Context, rules string) *Bench {
	return &Bench{
		tx: t, judging: Judging{Cause: cause, Upload: upload, Context: c, Rules: rules},
		rows: newInserter(t, "judgement", "leaf", "judging", "version", "status", "failed", "findings"),
	}
}

// Judge keeps the judgements of versions that say something else than the version's
// newest one, and returns these changes in the order of list. A version that has no
// judgement yet is no change.
func (b *Bench) Judge(list []Judged) ([]Change, error) {
	var changes []Change
	for chunk := range slices.Chunk(list, mostInList) {
		before, err := b.tx.newest(chunk)
		if err != nil {
			return nil, err
		}
		for _, j := range chunk {
			c, known := before[j.Version]
			if known {
				same, err := j.Verdict.says(&c.Before)
				if err != nil {
					return nil, err
				}
				if same {
					continue
				}
			}
			if c.After, err = b.keep(j); err != nil {
				return nil, err
			}
			if known {
				changes = append(changes, c)
			}
		}
	}
	return changes, nil
}

// keep writes a judgement.
func (b *Bench) keep(j Judged) (Judgement, error) {
	t, v := b.tx, j.Verdict
	if b.judging.ID == 0 {
		if err := t.write(&b.judging); err != nil {
			return Judgement{}, err
		}
	}
	if j.Version >= t.unjudged {
		t.unjudged = j.Version + 1
	}
	out := Judgement{Version: j.Version, Judging: b.judging.ID, Status: v.Status.String(), Failed: strings.Fields(v.failed)}
	var err error
	out.ID, err = t.leaf(judgementLeaf(out.Judging, out.Version, out.Status, v.failed, v.findings))
	if err != nil {
		return out, err
	}
	return out, b.rows.add(out.ID, out.Judging, out.Version, out.Status, v.failed, v.findings)
}

// Flush writes what Judge has put down.
func (b *Bench) Flush() error { return b.rows.flush() }

// newest returns the versions with their newest judgements.
func (t *Tx) newest(list []Judged) (map[int64]Change, error) {
	args := make([]any, 0, len(list))
	for _, j := range list {
		if j.Version < t.unjudged {
			args = append(args, j.Version)
		}
	}
	out := map[int64]Change{}
	if len(args) == 0 {
		return out, nil
	}
	err := each(t.ctx, t.tx, func(rows *sql.Rows) error {
		var c Change
		var err error
		if c.Before, err = scanJudgement(rows, &c.Record, &c.Number); err != nil {
			return err
		}
		c.Version = c.Before.Version
		out[c.Version] = c
		return nil
	}, `SELECT `+judgementColumns+`, v.record, v.number FROM version v JOIN judgement j ON `+newestJudgement+`
		WHERE v.leaf IN (`+parameters(1, len(args))+`)`, args...)
	return out, err
}
