package ledgertest

import (
	"bytes"
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/mod/sumdb/note"

	"nilvolt/ledger"
	"nilvolt/record"
)

// fill keeps something in every table.
func fill(t testing.TB, l *ledger.Ledger) {
	t.Helper()
	kept, upload := keep(t, l, deed{text: "one", records: []*record.Record{
		Record("R1", "Mill", "T-1", "VI-1", 0, "0.2"), Record("R2", "Mill", "T-1", "VI-1", 9, "0.3"),
	}, status: record.NonCompliant, keys: map[string][16]byte{"R1": {7}}})
	keep(t, l, deed{text: "two", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.4")}, status: record.Compliant})
	err := l.Update(context.Background(), func(tx *ledger.Tx) error {
		if _, _, err := tx.Decide(kept[0].Version, ledger.Repeat, "Ada", "because"); err != nil {
			return err
		}
		if err := tx.Note("Ada", "VI-1", ledger.SentToStore, "reads low", upload); err != nil {
			return err
		}
		_, err := tx.Mark(ledger.LookBack{By: "Ada", Instrument: "VI-1", Reason: "failed a proof", Found: "2026-03-16T08:10:00Z"},
			map[int64]string{kept[0].Version: ledger.MarkCertain, kept[1].Version: ledger.MarkInDoubt})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// columnsByTable are the columns of the schema; a table or column that is missing
// here fails the test below.
var columnsByTable = map[string]string{
	"checkpoint":   "leaves made note",
	"content":      "leaf sha256 size packed parts",
	"content_part": "content part packed",
	"decision":     "leaf made by_whom version judgement kind reason",
	"event":        "leaf made by_whom instrument word detail cause",
	"judgement":    "leaf judging version status failed findings",
	"judging":      "leaf made cause upload policy register map rules",
	"ledger":       "leaf origin verifier made leaves longest",
	"lookback":     "leaf made by_whom instrument good earliest latest found reason",
	"mark":         "leaf lookback version doubt",
	"proof":        "version number at indicator source expected volts shown waveform",
	"tile":         "level number hashes",
	"upload":       "leaf made by_whom zone digest",
	"upload_file":  "upload number role name content",
	"usage":        "version instrument role started ended",
	"version":      "leaf record number upload digest evidence copy_key started ended readings site technician",
}

// wordsByTable is how an audit names what stands in a table.
var wordsByTable = map[string]string{
	"checkpoint": "checkpoint", "content": "file with SHA-256", "content_part": "file", "decision": "the decision",
	"event": "the event", "judgement": "the judgement of record", "judging": "by what was judged", "ledger": "ledger",
	"proof": "proofs of", "tile": "hashes of the log", "upload": "upload", "upload_file": "the list of",
	"usage": "instruments of", "version": "record ", "lookback": "the look back", "mark": "the mark",
}

// testTampering changes every column of every table, removes a row of each, and
// puts one in, and wants each to be found and its table named.
func testTampering(t *testing.T, p Place) {
	l := p.Open(t)
	fill(t, l)
	wantClean(t, l)
	db := p.raw(t)
	unchain(t, db, p.Driver)
	for _, table := range slices.Sorted(maps.Keys(columnsByTable)) {
		columns := columnsOf(t, db, table)
		if want := strings.Fields(columnsByTable[table]); !slices.Equal(columns, want) {
			t.Errorf("%s has the columns %q, and this test knows %q", table, columns, want)
		}
		for i, column := range columns {
			t.Run(table+"."+column, func(t *testing.T) {
				tamper(t, l, db, table, func(row []any) [][]any {
					changed := slices.Clone(row)
					changed[i] = other(row[i])
					return [][]any{changed}
				})
			})
		}
		t.Run(table+" row removed", func(t *testing.T) {
			tamper(t, l, db, table, func([]any) [][]any { return nil })
		})
		t.Run(table+" row inserted", func(t *testing.T) {
			tamper(t, l, db, table, func(row []any) [][]any {
				more := slices.Clone(row)
				for i := range more {
					more[i] = other(row[i])
				}
				if table == "proof" || table == "usage" || table == "upload_file" || table == "content_part" {
					more[0] = row[0] // of the same parent, so that it hides better
				}
				return [][]any{row, more}
			})
		})
	}
	wantClean(t, l)
}

// unchain takes the constraints away that a person with the rights to do so would
// not be stopped by either.
func unchain(t *testing.T, db *sql.DB, driver string) {
	t.Helper()
	db.SetMaxOpenConns(1) // what is set holds for one connection
	statement := `PRAGMA foreign_keys = 0`
	if driver == "pgx" {
		statement = `SET session_replication_role = replica`
	}
	if _, err := db.Exec(statement); err != nil {
		t.Fatal(err)
	}
}

func columnsOf(t *testing.T, db *sql.DB, table string) []string {
	t.Helper()
	rows, err := db.Query(`SELECT * FROM ` + table + ` WHERE 1 = 0`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err := errors.Join(err, rows.Err()); err != nil {
		t.Fatal(err)
	}
	return columns
}

// other returns another value of the same type.
func other(v any) any {
	switch v := v.(type) {
	case int64:
		return v + 1
	case float64:
		return v + 0.1
	case string:
		return "x" + v
	case []byte:
		if len(v) == 0 {
			return []byte{1}
		}
		c := bytes.Clone(v)
		c[len(c)/2] ^= 1
		return c
	case nil:
		return int64(3)
	}
	panic(fmt.Sprintf("a value of type %T", v))
}

// tamper puts other rows in the place of the last one of a table, looks what the
// audit says, and puts it back.
func tamper(t *testing.T, l *ledger.Ledger, db *sql.DB, table string, change func(row []any) [][]any) {
	t.Helper()
	columns := strings.Fields(columnsByTable[table])
	row := lastRow(t, db, table, columns)
	was := whereIs(columns, row)
	mustExec(t, db, `DELETE FROM `+table+` WHERE `+was.text, was.args...)
	changed := change(row)
	for _, r := range changed {
		insert(t, db, table, columns, r)
	}
	report, err := l.Audit(context.Background(), ledger.AuditOptions{})
	for _, r := range changed {
		is := whereIs(columns, r)
		mustExec(t, db, `DELETE FROM `+table+` WHERE `+is.text, is.args...)
	}
	insert(t, db, table, columns, row)
	if err != nil {
		t.Fatal(err)
	}
	if report.Clean() {
		t.Fatal("not found")
	}
	text := strings.Join(report.Complaints, "\n")
	if !strings.Contains(text, wordsByTable[table]) && !strings.Contains(text, "removed") {
		t.Errorf("%s is not named: %s", table, text)
	}
}

type condition struct {
	text string
	args []any
}

func whereIs(columns []string, row []any) condition {
	var c condition
	var parts []string
	for i, column := range columns {
		if row[i] == nil {
			parts = append(parts, column+" IS NULL")
			continue
		}
		c.args = append(c.args, row[i])
		parts = append(parts, fmt.Sprintf("%s = $%d", column, len(c.args)))
	}
	c.text = strings.Join(parts, " AND ")
	return c
}

func lastRow(t *testing.T, db *sql.DB, table string, columns []string) []any {
	t.Helper()
	order := columns[0] + " DESC, " + columns[1] + " DESC"
	row := make([]any, len(columns))
	into := make([]any, len(columns))
	for i := range row {
		into[i] = &row[i]
	}
	err := db.QueryRow(`SELECT ` + strings.Join(columns, ", ") + ` FROM ` + table + ` ORDER BY ` + order + ` LIMIT 1`).Scan(into...)
	if err != nil {
		t.Fatal(err)
	}
	return row
}

func insert(t *testing.T, db *sql.DB, table string, columns []string, row []any) {
	t.Helper()
	var marks []string
	for i := range row {
		marks = append(marks, fmt.Sprintf("$%d", i+1))
	}
	mustExec(t, db, `INSERT INTO `+table+` (`+strings.Join(columns, ", ")+`) VALUES (`+strings.Join(marks, ", ")+`)`, row...)
}

func mustExec(t *testing.T, db *sql.DB, statement string, args ...any) {
	t.Helper()
	if _, err := db.Exec(statement, args...); err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
}

// testCheckpoints holds the ledger against checkpoints that were kept elsewhere:
// somebody with the key who wrote another history is found out by them only.
func testCheckpoints(t *testing.T, p Place) {
	ctx := context.Background()
	l := p.Open(t)
	fill(t, l)
	early, err := l.Checkpoint(ctx)
	if err != nil {
		t.Fatal(err)
	}
	keep(t, l, deed{text: "later", records: []*record.Record{Record("R9", "Mill", "T-1", "VI-1", 50, "0.2")}})
	audit := func(o ledger.AuditOptions) *ledger.Report {
		t.Helper()
		r, err := l.Audit(ctx, o)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	if r := audit(ledger.AuditOptions{Earlier: []string{early}, VerifierKey: l.VerifierKey()}); !r.Clean() {
		t.Errorf("an earlier checkpoint: %q", r.Complaints)
	}
	proof, err := l.Extends(ctx, early)
	if err != nil {
		t.Fatal(err)
	}
	if err := proof.Check(l.VerifierKey()); err != nil {
		t.Errorf("the proof that it extends the earlier one: %v", err)
	}
	proof.Hashes[0][5] ^= 1
	if err := proof.Check(l.VerifierKey()); err == nil {
		t.Error("a proof that was changed is taken")
	}
	// Another history, signed with the same key.
	fork := earlierHistory(t, p, early)
	if r := audit(ledger.AuditOptions{Earlier: []string{fork}}); r.Clean() || !strings.Contains(r.Complaints[0], "kept elsewhere") {
		t.Errorf("a checkpoint of another history: %q", r.Complaints)
	}
	_, otherKey, err := note.GenerateKey(rand.Reader, l.Origin())
	if err != nil {
		t.Fatal(err)
	}
	if r := audit(ledger.AuditOptions{VerifierKey: otherKey}); r.Clean() {
		t.Error("another public key than was noted elsewhere is taken")
	}
}

// earlierHistory signs a checkpoint like another one, but with another root, with
// the key of the ledger.
func earlierHistory(t *testing.T, p Place, signed string) string {
	t.Helper()
	text, err := os.ReadFile(p.KeyFile)
	if err != nil {
		t.Fatal(err)
	}
	private, _, _ := strings.Cut(string(text), "\n")
	signer, err := note.NewSigner(private)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(signed, "\n")
	lines[2] = strings.Repeat("A", 43) + "=\n"
	out, err := note.Sign(&note.Note{Text: strings.Join(lines[:3], "")}, signer)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func testProof(t *testing.T, p Place) {
	ctx := context.Background()
	l := p.Open(t)
	fill(t, l)
	items, err := l.Record(ctx, "R1")
	if err != nil {
		t.Fatal(err)
	}
	proof, err := l.Prove(ctx, items[0].Version)
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(proof)
	if err != nil {
		t.Fatal(err)
	}
	key := l.VerifierKey()
	parse := func() *ledger.Inclusion {
		var out ledger.Inclusion
		if err := json.Unmarshal(text, &out); err != nil {
			t.Fatal(err)
		}
		return &out
	}
	rec, err := parse().Check(key)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(Record("R1", "Mill", "T-1", "VI-1", 0, "0.2"), rec, compare); diff != "" {
		t.Error(diff)
	}
	for name, spoil := range map[string]func(*ledger.Inclusion){
		"another record":        func(p *ledger.Inclusion) { p.Record = "R2" },
		"another version":       func(p *ledger.Inclusion) { p.Number++ },
		"another status":        func(p *ledger.Inclusion) { p.Status = "compliant" },
		"another place":         func(p *ledger.Inclusion) { p.Version.Index++ },
		"other evidence":        func(p *ledger.Inclusion) { p.Evidence[len(p.Evidence)-1] ^= 1 },
		"another leaf":          func(p *ledger.Inclusion) { p.Version.Leaf[30] ^= 1 },
		"another judgement":     func(p *ledger.Inclusion) { p.Judgement.Leaf[40] ^= 1 },
		"another path":          func(p *ledger.Inclusion) { p.Version.Hashes[0][0] ^= 1 },
		"no judgement":          func(p *ledger.Inclusion) { p.Judgement = nil },
		"judgement for version": func(p *ledger.Inclusion) { p.Version = *p.Judgement },
		"another checkpoint":    func(p *ledger.Inclusion) { p.Checkpoint = strings.Replace(p.Checkpoint, "\n1", "\n2", 1) },
	} {
		p := parse()
		spoil(p)
		if _, err := p.Check(key); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
