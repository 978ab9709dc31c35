package ledger

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"strconv"
	"strings"

	"nilvolt/record"
)

// An Item is a version with its newest judgement and what was decided on it.
type Item struct {
	Version    int64 // its row
	Record     string
	Number     int    // 1 for the first version of the record
	Upload     int64  // its row
	UploadNo   int    // 1 for the first upload
	UploadMade string // RFC 3339, UTC
	UploadBy   string // who handed it in; may be blank
	Started    int64  // Unix seconds
	Ended      int64
	Readings   int
	Site       string
	Technician string
	Judgement  Judgement
	Decisions  []Decision // in order
	Marks      []Mark     // what looks back at instruments say of it, the newest for each instrument
}

// MarkedAt returns the leaf of its newest mark, 0 without one. Decisions from before do
// not know what it says.
func (i *Item) MarkedAt() int64 {
	newest := int64(0)
	for _, m := range i.Marks {
		newest = max(newest, m.ID)
	}
	return newest
}

// Newest returns the newest leaf of the log that is about the version and that a decision
// rests on: its judgement, a mark, or a decision.
func (i *Item) Newest() int64 {
	newest := max(i.Judgement.ID, i.MarkedAt())
	if n := len(i.Decisions); n > 0 {
		newest = max(newest, i.Decisions[n-1].ID)
	}
	return newest
}

// accepts returns the decisions to accept the newest judgement, those before another
// decision or a mark left out.
func (i *Item) accepts() []Decision {
	var list []Decision
	for _, d := range i.Decisions {
		switch {
		case d.Judgement != i.Judgement.ID || d.ID < i.MarkedAt():
		case d.Kind == Accept:
			list = append(list, d)
		default:
			list = nil
		}
	}
	return list
}

// Closed reports whether nothing waits for a decision: the version is compliant and no
// mark says otherwise, or its newest judgement and its marks have been decided on. An
// accepted live record needs two people.
func (i *Item) Closed() bool {
	if i.Judgement.Status == record.Compliant.String() && len(i.Marks) == 0 {
		return true
	}
	n := len(i.Decisions)
	if n == 0 || i.Decisions[n-1].Judgement != i.Judgement.ID || i.Decisions[n-1].ID < i.MarkedAt() {
		return false
	}
	if i.Decisions[n-1].Kind != Accept || i.Judgement.Status != record.LiveFound.String() {
		return true
	}
	list := i.accepts()
	for _, d := range list[1:] {
		if !sameName(d.By, list[0].By) {
			return true
		}
	}
	return false
}

// Worse returns what has to be known before anybody relies on a version, out of all versions
// of its record: of those that are judged worse and wait for a decision the worst, and of
// these the newest; nil if there is none. A version that complies does not take a worse one
// out of the record. What a job sheet alone made counts only until readings came.
func (i *Item) Worse(versions []*Item) *Item {
	rivals := make([]rival, len(versions))
	for n, v := range versions {
		rivals[n] = rival{v.Version, int64(v.Readings), v.Judgement.Status}
		if v.Closed() {
			rivals[n].status = record.Compliant.String()
		}
	}
	worst, _ := standing(rivals)
	for _, v := range versions {
		if v.Version == worst && !v.Closed() && rankOf(v.Judgement.Status) > rankOf(i.Judgement.Status) {
			return v
		}
	}
	return nil
}

// A Contest is a version that was handed in, and a worse one of its record that waits for a
// decision.
type Contest struct{ Version, Worse *Item }

// Contests returns those of the versions of an upload beside which a worse one of the same
// record waits for a decision. All must be judged.
func (t *Tx) Contests(kept []Kept) ([]Contest, error) {
	kept = slices.DeleteFunc(slices.Clone(kept), func(k Kept) bool { return !k.Several || k.Outcome == JobOnly })
	var out []Contest
	for chunk := range slices.Chunk(kept, mostInList) {
		args := make([]any, len(chunk))
		for i, k := range chunk {
			args[i] = k.Record
		}
		list, err := items(t.ctx, t.tx, "WHERE v.record IN ("+parameters(1, len(args))+")", args...)
		if err != nil {
			return nil, err
		}
		versions := map[string][]*Item{}
		for _, i := range list {
			versions[i.Record] = append(versions[i.Record], i)
		}
		for _, k := range chunk {
			for _, i := range versions[k.Record] {
				if worse := i.Worse(versions[k.Record]); i.Version == k.Version && worse != nil {
					out = append(out, Contest{i, worse})
				}
			}
		}
	}
	return out, nil
}

// A Filter says which records are wanted. Blank fields want all.
type Filter struct {
	From, To   int64 // when the record began, Unix seconds; To 0 is open
	Rule       string
	Site       string
	Technician string
	Instrument string // indicator or proving source
	Closed     bool   // those decided on as well
	Marked     bool   // only those that a look back marks
}

// Review returns the versions that are not compliant, or marked by a look back, and wait
// for a decision, worst first: live ones, then by how many rules failed, then the oldest.
func (l *Ledger) Review(ctx context.Context, f Filter) ([]*Item, error) {
	tx, err := l.snapshot(ctx)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	// What a job sheet alone made waits for nobody once readings came.
	where := []string{
		"(v.readings > 0 OR NOT EXISTS (SELECT 1 FROM version n WHERE n.record = v.record AND n.readings > 0))",
	}
	var args []any
	add := func(condition string, value any) {
		args = append(args, value)
		where = append(where, strings.ReplaceAll(condition, "?", "$"+strconv.Itoa(len(args))))
	}
	if f.From != 0 {
		add("v.started >= ?", f.From)
	}
	if f.To != 0 {
		add("v.started < ?", f.To)
	}
	if f.Rule != "" {
		add("j.failed LIKE ?", "% "+f.Rule+" %")
	}
	if f.Site != "" {
		add("v.site = ?", f.Site)
	}
	if f.Technician != "" {
		add("v.technician = ?", f.Technician)
	}
	if f.Instrument != "" {
		add("v.leaf IN (SELECT version FROM usage WHERE instrument = ?)", f.Instrument)
	}
	var list []*Item
	// Apart, so that each is found by an index.
	for _, which := range []string{"j.status <> 'compliant'", "j.status = 'compliant' AND v.leaf IN (SELECT version FROM mark)"} {
		some, err := items(ctx, tx, "WHERE "+strings.Join(append([]string{which}, where...), " AND "), args...)
		if err != nil {
			return nil, err
		}
		list = append(list, some...)
	}
	list = slices.DeleteFunc(list, func(i *Item) bool {
		compliant := i.Judgement.Status == record.Compliant.String()
		return !f.Closed && i.Closed() || (f.Marked || compliant) && len(i.Marks) == 0
	})
	live := record.LiveFound.String()
	slices.SortStableFunc(list, func(a, b *Item) int {
		switch aLive, bLive := a.Judgement.Status == live, b.Judgement.Status == live; {
		case aLive && !bLive:
			return -1
		case bLive && !aLive:
			return 1
		}
		return cmp.Or(cmp.Compare(len(b.Judgement.Failed), len(a.Judgement.Failed)),
			cmp.Compare(a.Started, b.Started), cmp.Compare(a.Version, b.Version))
	})
	return list, nil
}

// Record returns all versions of a record, the first one first; nil if there is
// none.
func (l *Ledger) Record(ctx context.Context, id string) ([]*Item, error) {
	tx, err := l.snapshot(ctx)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	return items(ctx, tx, "WHERE v.record = $1", id)
}

// items returns versions with what belongs to them, in the order in which they were
// kept.
func items(ctx context.Context, q querier, where string, args ...any) ([]*Item, error) {
	var list []*Item
	byVersion := map[int64]*Item{}
	err := each(ctx, q, func(rows *sql.Rows) error {
		i := &Item{}
		var err error
		i.Judgement, err = scanJudgement(rows, &i.Record, &i.Number, &i.Upload, &i.UploadMade, &i.UploadBy, &i.Started,
			&i.Ended, &i.Readings, &i.Site, &i.Technician)
		i.Version = i.Judgement.Version
		list = append(list, i)
		byVersion[i.Version] = i
		return err
	}, `SELECT `+judgementColumns+`, v.record, v.number, v.upload, u.made, u.by_whom, v.started,
			v.ended, v.readings, v.site, v.technician
		FROM version v JOIN upload u ON u.leaf = v.upload JOIN judgement j ON `+newestJudgement+" "+where+` ORDER BY v.leaf`, args...)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	numbers, err := uploadNumbers(ctx, q)
	if err != nil {
		return nil, err
	}
	for _, i := range list {
		i.UploadNo = numbers[i.Upload]
	}
	for chunk := range slices.Chunk(list, mostInList) {
		versions := make([]any, len(chunk))
		for i, item := range chunk {
			versions[i] = item.Version
		}
		err := each(ctx, q, func(rows *sql.Rows) error {
			var d Decision
			var kind string
			err := rows.Scan(&d.ID, &d.Made, &d.By, &d.Version, &d.Judgement, &kind, &d.Reason)
			d.Kind = DecisionKind(kind)
			item := byVersion[d.Version]
			item.Decisions = append(item.Decisions, d)
			return err
		}, `SELECT leaf, made, by_whom, version, judgement, kind, reason FROM decision
			WHERE version IN (`+parameters(1, len(versions))+`) ORDER BY leaf`, versions...)
		if err == nil {
			err = addMarks(ctx, q, byVersion, parameters(1, len(versions)), versions)
		}
		if err != nil {
			return nil, err
		}
	}
	return list, nil
}

// Evidence returns the record of a version as it is kept.
func (l *Ledger) Evidence(ctx context.Context, version int64) (*record.Record, error) {
	var id string
	var evidence []byte
	err := l.db.QueryRowContext(ctx, `SELECT record, evidence FROM version WHERE leaf = $1`, version).Scan(&id, &evidence)
	if err != nil {
		return nil, err
	}
	return decodeEvidence(id, evidence)
}

// Judgements returns all judgements of a version, the first one first, each with
// the judging that it came of.
func (l *Ledger) Judgements(ctx context.Context, version int64) ([]Judgement, []Judging, error) {
	var judgements []Judgement
	var judgings []Judging
	err := each(ctx, l.db, func(rows *sql.Rows) error {
		g := Judging{}
		var upload, policy, register, columnMap sql.NullInt64
		var cause string
		j, err := scanJudgement(rows, &g.Made, &cause, &upload, &policy, &register, &columnMap, &g.Rules)
		g.ID, g.Cause, g.Upload = j.Judging, Cause(cause), upload.Int64
		g.Context = Context{policy.Int64, register.Int64, columnMap.Int64}
		judgements, judgings = append(judgements, j), append(judgings, g)
		return err
	}, `SELECT `+judgementColumns+`, g.made, g.cause, g.upload, g.policy, g.register, g.map, g.rules
		FROM judgement j JOIN judging g ON g.leaf = j.judging WHERE j.version = $1 ORDER BY j.leaf`, version)
	return judgements, judgings, err
}
