package ledgertest

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"nilvolt/ledger"
	"nilvolt/record"
)

// A Place is where a ledger can be made.
type Place struct {
	Where   string // path or URL
	KeyFile string
	Driver  string // of database/sql, to get at the tables past the ledger
	Source  string
}

// Run holds a database to what a ledger promises. place makes an empty place.
func Run(t *testing.T, place func(t testing.TB) Place) {
	for name, test := range map[string]func(*testing.T, Place){
		"keeps":             testKeeps,
		"same content":      testSame,
		"who handed in":     testHandedIn,
		"job sheet alone":   testJobOnly,
		"errors leave none": testErrors,
		"decisions":         testDecisions,
		"review":            testReview,
		"neighbours":        testNeighbours,
		"overlaps":          testOverlaps,
		"several writers":   testWriters,
		"schema":            testSchema,
		"tampering":         testTampering,
		"checkpoints":       testCheckpoints,
		"proof":             testProof,
		"seal":              testSeal,
		"clock set back":    testClock,
		"instruments":       testInstruments,
		"newest records":    testNewest,
		"marks":             testMarks,
		"upgrade":           testUpgrade,
		"backup":            testBackup,
		"share":             testShare,
		"filings":           testFilings,
	} {
		t.Run(name, func(t *testing.T) { test(t, place(t)) })
	}
}

// SQLite is a place for an embedded database.
func SQLite(t testing.TB) Place {
	path := filepath.Join(t.TempDir(), "ledger #1?.db") // characters that a URL would take for its own
	return Place{Where: path, KeyFile: path + ".key", Driver: "sqlite", Source: "file:" + strings.NewReplacer("#", "%23", "?", "%3f").Replace(path)}
}

// PostgresPlace is a place on the test server.
func PostgresPlace(t testing.TB) Place {
	url := Postgres(t)
	return Place{Where: url, KeyFile: filepath.Join(t.TempDir(), "key"), Driver: "pgx", Source: url}
}

// Open opens the ledger of a place, with a clock that stands still.
func (p Place) Open(t testing.TB) *ledger.Ledger { return p.OpenAt(t, Now) }

// OpenAt opens the ledger of a place.
func (p Place) OpenAt(t testing.TB, now func() time.Time) *ledger.Ledger {
	t.Helper()
	l, err := ledger.Open(context.Background(), p.Where, p.options(now))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func (p Place) options(now func() time.Time) ledger.Options {
	return ledger.Options{Create: true, KeyFile: p.KeyFile, Now: now, Random: rand.Reader}
}

// raw opens the tables past the ledger.
func (p Place) raw(t testing.TB) *sql.DB {
	t.Helper()
	db, err := sql.Open(p.Driver, p.Source)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// File is a file of readings with the given text.
func File(role ledger.Role, name, text string) ledger.File {
	return ledger.File{Role: role, Name: name, Open: func() (io.ReadCloser, error) {
		return io.NopCloser(strings.NewReader(text)), nil
	}}
}

// Begin is when the records of these tests begin: 2026-03-16T08:00:00Z.
const Begin = 1773648000

// Record is a record with a proof by an indicator before and after a dead test,
// begun so many minutes after Begin.
func Record(id, site, technician, indicator string, minute int, volts string) *record.Record {
	at := func(n int) record.Instant { return record.NewInstant(Begin+int64(minute)*60+int64(n)*20, 0, 0) }
	reading := func(text string) record.Reading {
		r, err := record.ParseReading(text)
		if err != nil {
			panic(err)
		}
		return r
	}
	event := func(n int, kind record.Kind, text string) record.Event {
		e := record.Event{Time: at(n), Kind: kind, Indicator: indicator, Volts: reading(text), Pos: record.Pos{File: "a.csv", Line: n + 2}}
		if kind.IsProof() {
			e.Source, e.Expected, e.HasExpected = "PU-1", 230, true
		} else {
			e.Pair = record.Pair{A: record.L, B: record.N}
		}
		return e
	}
	return &record.Record{
		ID:   id,
		Jobs: []record.Job{{Record: id, Site: site, Technician: technician, Supply: record.SinglePhase, Pos: record.Pos{File: "jobs.csv", Line: 2}}},
		Events: []record.Event{
			event(0, record.Prove, "229.8"), event(1, record.Test, volts), event(2, record.Reprove, "230.1"),
		},
	}
}

// A deed is what one call of keep keeps.
type deed struct {
	text    string // of the file
	by      string // who hands it in
	records []*record.Record
	status  record.Status // of all of them
	keys    map[string][16]byte
}

// keep keeps records in one upload and judges all of them alike.
func keep(t testing.TB, l *ledger.Ledger, d deed) (kept []ledger.Kept, upload int64) {
	t.Helper()
	kept, upload, err := tryKeep(l, d)
	if err != nil {
		t.Fatal(err)
	}
	return kept, upload
}

func tryKeep(l *ledger.Ledger, d deed) (kept []ledger.Kept, upload int64, err error) {
	err = l.Update(context.Background(), func(tx *ledger.Tx) error {
		u, err := tx.Upload(ledger.Manifest{By: d.by, Files: []ledger.File{File(ledger.Readings, "a.csv", d.text)}})
		if err != nil {
			return err
		}
		upload = u.ID
		var packer ledger.Packer
		var packed []*ledger.Packed
		for _, rec := range d.records {
			var key *[16]byte
			if k, ok := d.keys[rec.ID]; ok {
				key = &k
			}
			packed = append(packed, packer.Pack(rec, key))
		}
		if kept, err = u.Add(packed); err == nil {
			err = u.Flush()
		}
		if err != nil {
			return err
		}
		return judge(tx, u, kept, d.status)
	})
	return kept, upload, err
}

// judge gives all kept records one status.
func judge(tx *ledger.Tx, u *ledger.Upload, kept []ledger.Kept, status record.Status) error {
	v, err := verdict(status)
	if err != nil {
		return err
	}
	var list []ledger.Judged
	for _, k := range kept {
		list = append(list, ledger.Judged{Version: k.Version, Verdict: v})
	}
	bench := tx.Bench(ledger.Ingest, u.ID, u.Context(), "1")
	_, err = bench.Judge(list)
	return errors.Join(err, bench.Flush())
}

// verdict is a verdict of a status, with one finding unless it is compliant.
func verdict(status record.Status) (*ledger.Verdict, error) {
	f := record.Finding{
		Severity: record.Failure, Indicator: "VI-1", Message: "something is wrong; do it again",
		Tested: []record.Tested{{Pair: record.Pair{A: record.L, B: record.N}}}, Lines: []record.Pos{{File: "a.csv", Line: 3, Column: 7}},
	}
	switch status {
	case record.LiveFound:
		f.Rule = record.LiveFoundRule
	case record.NonCompliant:
		f.Rule = record.ReproveMissing
	default:
		return ledger.NewVerdict(status, nil)
	}
	return ledger.NewVerdict(status, []record.Finding{f})
}

// wantClean fails the test if an audit finds anything.
func wantClean(t testing.TB, l *ledger.Ledger) *ledger.Report {
	t.Helper()
	r, err := l.Audit(context.Background(), ledger.AuditOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !r.Clean() {
		t.Fatalf("the audit found: %s", strings.Join(r.Complaints, "\n"))
	}
	return r
}

// compare compares what conductors and instants make of fields of their own.
var compare = cmp.Options{
	cmp.Comparer(func(a, b record.Conductor) bool { return a == b }),
	cmp.Comparer(func(a, b record.Instant) bool { return a == b }),
}

func testKeeps(t *testing.T, p Place) {
	l := p.Open(t)
	wantClean(t, l)
	rec := Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")
	text := strings.Repeat("readings, as they came\r\n", 400_000) // more than one part
	kept, upload := keep(t, l, deed{
		text: text, by: "a person", records: []*record.Record{rec, Record("R2", "Mill", "T-1", "VI-1", 9, "0.3")}, status: record.NonCompliant,
	})
	if len(kept) != 2 || kept[0].Outcome != ledger.New || kept[1].Outcome != ledger.New || kept[0].Number != 1 {
		t.Errorf("kept %+v", kept)
	}
	r := wantClean(t, l)
	if r.Rows["version"] != 2 || r.Rows["proof"] != 4 || r.Rows["usage"] != 4 || r.Rows["judgement"] != 2 || r.Bytes != int64(len(text)) || r.Rows["content_part"] < 2 {
		t.Errorf("audited %+v", r)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = p.Open(t)
	items, err := l.Record(context.Background(), "R1")
	if err != nil || len(items) != 1 {
		t.Fatalf("%v %v", items, err)
	}
	i := items[0]
	if i.Started != Begin || i.Ended != Begin+40 || i.Readings != 3 || i.Site != "Mill" || i.Technician != "T-1" || i.Upload != upload {
		t.Errorf("kept as %+v", i)
	}
	want := ledger.Finding{
		Rule: "reprove-missing", Severity: "failure", Indicator: "VI-1", Pairs: []string{"L-N"}, Lines: []string{"a.csv:3"},
		Message: "something is wrong; do it again",
	}
	if diff := cmp.Diff([]ledger.Finding{want}, i.Judgement.Findings); diff != "" {
		t.Error(diff)
	}
	got, err := l.Evidence(context.Background(), i.Version)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(rec, got, compare); diff != "" {
		t.Error(diff)
	}
	uploads, err := l.Uploads(context.Background())
	if err != nil || len(uploads) != 1 || len(uploads[0].Files) != 1 || uploads[0].By != "a person" {
		t.Fatalf("%+v %v", uploads, err)
	}
	bytes, err := l.Content(context.Background(), uploads[0].Files[0].Content)
	if err != nil || string(bytes) != text {
		t.Errorf("%d bytes came back of %d: %v", len(bytes), len(text), err)
	}
}

// testHandedIn holds that a version tells who handed in the upload that it came with.
func testHandedIn(t *testing.T, p Place) {
	l := p.Open(t)
	for i, by := range []string{"Ada", "", "Bo"} {
		text := strconv.Itoa(i)
		keep(t, l, deed{text: text, by: by, records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0."+text)}})
	}
	items, err := l.Record(context.Background(), "R1")
	if err != nil || len(items) != 3 || items[0].UploadBy != "Ada" || items[1].UploadBy != "" || items[2].UploadBy != "Bo" {
		t.Errorf("%+v %v", items, err)
	}
}

func testSame(t *testing.T, p Place) {
	l := p.Open(t)
	first := Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")
	one := deed{text: "one", records: []*record.Record{first}, status: record.NonCompliant}
	_, upload := keep(t, l, one)
	before := wantClean(t, l)
	if kept, again := keep(t, l, one); kept[0].Outcome != ledger.Same || again != upload {
		t.Errorf("the same again: %+v, upload %d and not %d", kept, again, upload)
	}
	if after := wantClean(t, l); after.Leaves != before.Leaves {
		t.Errorf("the log grew from %d to %d leaves", before.Leaves, after.Leaves)
	}
	// The same rows in another file and at other lines are the same record.
	moved := Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")
	for i := range moved.Events {
		moved.Events[i].Pos = record.Pos{File: "b.csv", Line: 100 + i}
	}
	kept, _ := keep(t, l, deed{text: "two", records: []*record.Record{moved}, status: record.NonCompliant})
	if kept[0].Outcome != ledger.Same || kept[0].Number != 1 {
		t.Errorf("the same rows elsewhere: %+v", kept)
	}
	other := Record("R1", "Mill", "T-1", "VI-1", 0, "0.4")
	kept, _ = keep(t, l, deed{text: "three", records: []*record.Record{other}, status: record.Compliant})
	if kept[0].Outcome != ledger.NewVersion || kept[0].Number != 2 {
		t.Errorf("other content: %+v", kept)
	}
	// What came first comes again, and is not taken for the newest.
	kept, _ = keep(t, l, deed{text: "four", records: []*record.Record{first}, status: record.NonCompliant})
	if kept[0].Outcome != ledger.Same || kept[0].Number != 1 {
		t.Errorf("the first content again: %+v", kept)
	}
	items, err := l.Record(context.Background(), "R1")
	if err != nil || len(items) != 2 || items[0].Judgement.Status != "non-compliant" || items[1].Judgement.Status != "compliant" {
		t.Errorf("%+v %v", items, err)
	}
	if r := wantClean(t, l); r.Rows["judgement"] != 2 {
		t.Errorf("%d judgements, and only two say something new", r.Rows["judgement"])
	}
}

// A job sheet that covers more than the readings handed in with it does not make
// versions without readings of the records that are kept.
func testJobOnly(t *testing.T, p Place) {
	l := p.Open(t)
	whole := Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")
	alone := func(site string) *record.Record {
		rec := Record("R1", site, "T-1", "VI-1", 0, "0.2")
		rec.Events = nil
		rec.Jobs[0].Pos.Line = 77
		return rec
	}
	keep(t, l, deed{text: "one", records: []*record.Record{whole}, status: record.Compliant})
	kept, _ := keep(t, l, deed{text: "two", records: []*record.Record{alone("Mill")}, status: record.Compliant})
	if k := kept[0]; k.Outcome != ledger.JobOnly || k.Number != 1 || k.Status != "compliant" {
		t.Errorf("the sheet alone: %+v", k)
	}
	kept, _ = keep(t, l, deed{text: "three", records: []*record.Record{alone("Dock")}, status: record.NonCompliant})
	if k := kept[0]; k.Outcome != ledger.NewVersion || k.Number != 2 {
		t.Errorf("a sheet that says something else: %+v", k)
	}
	wantClean(t, l)
}

func testErrors(t *testing.T, p Place) {
	l := p.Open(t)
	keep(t, l, deed{text: "one", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")}})
	before := wantClean(t, l)
	stop := errors.New("stop")
	err := l.Update(context.Background(), func(tx *ledger.Tx) error {
		u, err := tx.Upload(ledger.Manifest{Files: []ledger.File{File(ledger.Readings, "x.csv", "two")}})
		if err != nil {
			return err
		}
		var packer ledger.Packer
		kept, err := u.Add([]*ledger.Packed{packer.Pack(Record("R9", "Mill", "T-1", "VI-1", 0, "0.2"), nil)})
		if err = errors.Join(err, u.Flush()); err != nil {
			return err
		}
		return errors.Join(judge(tx, u, kept, record.Compliant), stop)
	})
	if !errors.Is(err, stop) {
		t.Fatal(err)
	}
	// A file that gives other bytes the second time.
	times := 0
	fickle := ledger.File{Role: ledger.Readings, Name: "fickle.csv", Open: func() (io.ReadCloser, error) {
		times++
		return io.NopCloser(strings.NewReader(strings.Repeat("x", times))), nil
	}}
	err = l.Update(context.Background(), func(tx *ledger.Tx) error {
		_, err := tx.Upload(ledger.Manifest{Files: []ledger.File{fickle}})
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "fickle.csv: changed while it was read") {
		t.Errorf("a file that changes: %v", err)
	}
	after := wantClean(t, l)
	if diff := cmp.Diff(before, after); diff != "" {
		t.Errorf("the ledger is not as it was: %s", diff)
	}
	ctx, cancel := context.WithCancel(context.Background())
	err = l.Update(ctx, func(*ledger.Tx) error { cancel(); return ctx.Err() })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v", err)
	}
}

func testWriters(t *testing.T, p Place) {
	p.Open(t)
	const writers, each = 4, 5
	var group sync.WaitGroup
	errs := make([]error, writers)
	for w := range writers {
		group.Go(func() {
			l := p.Open(t) // a handle of its own, as another process has
			for n := range each {
				id := fmt.Sprintf("R%d-%d", w, n)
				_, _, err := tryKeep(l, deed{text: id, records: []*record.Record{Record(id, "Mill", "T-1", "VI-1", n, "0.2")}})
				errs[w] = errors.Join(errs[w], err)
				// All of them hand in this one as well; it is kept once.
				_, _, err = tryKeep(l, deed{text: "the same", records: []*record.Record{Record("R", "Mill", "T-1", "VI-1", 0, "0.2")}})
				errs[w] = errors.Join(errs[w], err)
			}
		})
	}
	group.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	if r := wantClean(t, p.Open(t)); r.Rows["upload"] != writers*each+1 || r.Rows["version"] != writers*each+1 {
		t.Errorf("audited %+v", r.Rows)
	}
}

func testSchema(t *testing.T, p Place) {
	o := p.options(Now)
	o.Create = false
	if l, err := ledger.Open(context.Background(), p.Where, o); err == nil {
		l.Close()
		t.Error("a ledger that was never made could be opened")
	}
	p.Open(t)
	db := p.raw(t)
	if _, err := db.Exec(`INSERT INTO schema_version (version, made) VALUES (9999, 'tomorrow')`); err != nil {
		t.Fatal(err)
	}
	_, err := ledger.Open(context.Background(), p.Where, p.options(Now))
	if newer, ok := errors.AsType[*ledger.NewerError](err); !ok || newer.Version != 9999 {
		t.Errorf("a newer ledger: %v", err)
	}
}

func testClock(t *testing.T, p Place) {
	keep(t, p.Open(t), deed{text: "one", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.2")}})
	back := p.OpenAt(t, func() time.Time { return Now().Add(-time.Hour) })
	keep(t, back, deed{text: "two", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.3")}})
	r := wantClean(t, back)
	if len(r.ClockedBack) != 1 {
		t.Errorf("the clock was set back once: %q", r.ClockedBack)
	}
	items, err := back.Record(context.Background(), "R1")
	if err != nil || len(items) != 2 || items[1].Number != 2 || items[1].UploadMade >= items[0].UploadMade {
		t.Errorf("what was kept later is not the later version: %+v %v", items, err)
	}
}

func testInstruments(t *testing.T, p Place) {
	l := p.Open(t)
	note := func(details map[string]string) {
		t.Helper()
		err := l.Update(context.Background(), func(tx *ledger.Tx) error {
			ids := slices.Sorted(func(yield func(string) bool) {
				for id := range details {
					if !yield(id) {
						return
					}
				}
			})
			return tx.NoteRegister("a person", ids, details, 0)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	note(map[string]string{"VI-1": `{"tolerance":5}`, "VI-2": `{}`})
	note(map[string]string{"VI-1": `{"tolerance":5}`})
	note(map[string]string{"VI-1": `{"tolerance":4}`})
	events, err := l.Events(context.Background(), "VI-1")
	if err != nil {
		t.Fatal(err)
	}
	var words []ledger.EventWord
	for _, e := range events {
		words = append(words, e.Word)
	}
	if diff := cmp.Diff([]ledger.EventWord{ledger.Registered, ledger.Changed}, words); diff != "" {
		t.Error(diff)
	}
	wantClean(t, l)
}
