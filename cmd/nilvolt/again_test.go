package main

import (
	"context"
	"crypto/rand"
	"database/sql"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nilvolt/ingest"
	"nilvolt/ledger"
	"nilvolt/ledger/ledgertest"
	"nilvolt/record"
	"nilvolt/verify"
)

// The text of a record that complies, and of one that is live.
const (
	deadText = `record,time,event,indicator,source,from,to,volts,expected,supply
R1,2026-03-16T08:00:00Z,prove,VI-1,PU-1,,,229.8,230,single-phase
R1,2026-03-16T08:00:20Z,test,VI-1,,E,L,0.2,,single-phase
R1,2026-03-16T08:00:40Z,test,VI-1,,N,L,0.1,,single-phase
R1,2026-03-16T08:01:00Z,test,VI-1,,E,N,0.3,,single-phase
R1,2026-03-16T08:10:00Z,reprove,VI-1,PU-1,,,230.1,230,single-phase
`
	header = "record,time,event,indicator,source,from,to,volts,expected,supply\n"
)

var liveText = strings.Replace(deadText, "N,L,0.1", "N,L,231", 1)

// misread keeps a file as a reader would have that made other records of it: those of
// another text. It is what a ledger looks like whose reader was mended since.
func misread(t *testing.T, l *ledger.Ledger, text, readAs string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "as.csv")
	createFile(t, name, readAs)
	set, err := ingest.Open(t.Context(), []string{name}, ingest.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer set.Close()
	var records carrier[*ledger.Packed]
	err = l.Update(t.Context(), func(tx *ledger.Tx) error {
		u, err := tx.Upload(ledger.Manifest{Files: []ledger.File{ledgertest.File(ledger.Readings, "site.csv", text)}})
		if err != nil {
			return err
		}
		judge := verify.NewJudge(verify.DefaultPolicy(), nil, nil)
		var verdicts []*ledger.Verdict
		var packer ledger.Packer
		bench := tx.Bench(ledger.Ingest, u.ID, u.Context(), verify.RulesVersion)
		return set.Each(t.Context(), func() ingest.Visitor {
			return func(rec *record.Record, out []byte) []byte {
				j := judge.Judge(rec)
				v, err := ledger.NewVerdict(j.Status, j.Findings)
				if err != nil {
					t.Error(err)
				}
				verdicts = append(verdicts, v)
				return records.put(out, packer.Pack(rec, nil))
			}
		}, func(chunk []byte) error {
			list, err := records.take(chunk)
			if err != nil {
				return err
			}
			kept, err := u.Add(list)
			if err != nil {
				return err
			}
			var judged []ledger.Judged
			for i, k := range kept {
				judged = append(judged, ledger.Judged{Version: k.Version, Verdict: verdicts[i]})
			}
			if err := u.Flush(); err != nil {
				return err
			}
			if _, err := bench.Judge(judged); err != nil {
				return err
			}
			return bench.Flush()
		})
	})
	if err != nil {
		t.Fatal(err)
	}
}

func createFile(t *testing.T, name, text string) {
	t.Helper()
	f, err := createBuffered(name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(f, text); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestReadAnew has verify --ledger meet records whose files say something else now than
// when they were kept: a reader was mended since. The stricter judgement must stand,
// the record be named, and nothing that is kept be altered.
func TestReadAnew(t *testing.T) {
	t.Run("sqlite", func(t *testing.T) {
		readAnew(t, func(t *testing.T) string { return filepath.Join(t.TempDir(), "l.db") })
	})
	t.Run("postgres", func(t *testing.T) {
		if server := startPostgres(t); server != nil {
			readAnew(t, func(t *testing.T) string { return server.Database(t) })
		}
	})
}

// readAnew runs the cases, each on a ledger where place says.
func readAnew(t *testing.T, place func(*testing.T) string) {
	other := strings.ReplaceAll(deadText, "R1", "R2")
	for name, test := range map[string]struct {
		text, readAs string
		want         []string // lines of CSV
		status       map[string]string
	}{
		"same": {deadText, deadText, nil, map[string]string{"R1": "compliant"}},
		"live taken for dead": {
			liveText, deadText, []string{"R1,1,compliant,live,otherwise"}, map[string]string{"R1": "live"},
		},
		"dead taken for live": {
			deadText, liveText, []string{"R1,1,live,live,otherwise"}, map[string]string{"R1": "live"},
		},
		"another note": {
			strings.ReplaceAll(deadText, "230.1", "230.2"), deadText,
			[]string{"R1,1,compliant,compliant,otherwise"},
			map[string]string{"R1": "compliant"},
		},
		"not to be read any more": {
			strings.Replace(deadText, "0.3", "O.3", 1), deadText,
			[]string{"R1,1,compliant,non-compliant,unreadable"},
			map[string]string{"R1": "non-compliant"},
		},
		"live, and not to be read any more": {
			strings.Replace(deadText, "0.3", "O.3", 1), liveText,
			[]string{"R1,1,live,live,unreadable"},
			map[string]string{"R1": "live"},
		},
		"another record": {
			other, deadText,
			[]string{"R1,1,compliant,non-compliant,gone", "R2,0,,compliant,new"},
			map[string]string{"R1": "non-compliant"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			where, key := place(t), filepath.Join(t.TempDir(), "key")
			l := openLedger(t, where, key)
			misread(t, l, test.text, test.readAs)
			before := evidence(t, l)
			out, diagnostics, code := runCommand(t, "", "verify", "--ledger", where, "--key", key, "--format", "csv")
			var got []string
			for line := range strings.SplitSeq(strings.TrimSpace(out), "\r\n") {
				got = append(got, line)
			}
			if got = got[1:]; !slices.Equal(got, test.want) {
				t.Errorf("told %q, want %q\n%s", got, test.want, diagnostics)
			}
			if wantCode := map[bool]int{true: 0, false: 1}[allCompliant(test.status) && !strings.Contains(out, "new")]; code != wantCode {
				t.Errorf("exit status %d, want %d", code, wantCode)
			}
			for id, want := range test.status {
				items, err := l.Record(t.Context(), id)
				if err != nil || items[0].Judgement.Status != want {
					t.Errorf("%s is %+v, want %s", id, items[0].Judgement, want)
				}
			}
			if after := evidence(t, l); !slices.Equal(before, after) {
				t.Errorf("what is kept was %q and is %q", before, after)
			}
			wantClean(t, l)
			if again, _, _ := runCommand(t, "", "verify", "--ledger", where, "--key", key, "--format", "json"); strings.Count(again, "\n") != len(test.want) {
				t.Errorf("a second time: %s", again) // what is odd stays odd
			}
		})
	}
}

// TestReadAnewAcross has a proof come to light, which a reader had overlooked, and on it
// the record of another file.
func TestReadAnewAcross(t *testing.T) {
	where := filepath.Join(t.TempDir(), "l.db")
	l := openLedger(t, where, "")
	misread(t, l, deadText, deadText)
	failed := header + "R5,2026-03-16T08:05:00Z,prove,VI-1,PU-1,,,3.1,230,single-phase\n"
	misread(t, l, failed, strings.ReplaceAll(failed, "3.1", "231"))
	out, _, _ := runCommand(t, "", "verify", "--ledger", where, "--format", "json")
	if !strings.Contains(out, `"record":"R1","version":1,"before":"compliant","after":"non-compliant","reads":"same","failed":["proof-failed-elsewhere"]`) {
		t.Error(out)
	}
	wantClean(t, l)
}

// TestStricter holds the merging of two rulings to what it is for: no failure of
// either is lost, and the status is that of the worse.
func TestStricter(t *testing.T) {
	fail := func(rule record.Rule) record.Finding { return record.Finding{Rule: rule, Severity: record.Failure} }
	a := ruling{record.NonCompliant, []record.Finding{fail(record.PairMissing), fail(record.ReproveMissing)}}
	b := ruling{record.LiveFound, []record.Finding{fail(record.PairMissing), fail(record.LiveFoundRule), {Rule: record.TooQuick, Severity: record.Caution}}}
	for _, got := range []ruling{stricter(a, b), stricter(b, a)} {
		if got.status != record.LiveFound || len(got.findings) != 4 || got.findings[3].Rule != record.ReproveMissing {
			t.Errorf("%+v", got)
		}
	}
	if got := stricter(ruling{status: record.Compliant}, a); got.status != record.NonCompliant || len(got.findings) != 2 {
		t.Errorf("%+v", got)
	}
}

func allCompliant(status map[string]string) bool {
	for _, s := range status {
		if s != record.Compliant.String() {
			return false
		}
	}
	return true
}

func openLedger(t *testing.T, where, key string) *ledger.Ledger {
	t.Helper()
	l, err := ledger.Open(t.Context(), where, ledger.Options{Create: true, KeyFile: key, Now: time.Now, Random: rand.Reader})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func wantClean(t *testing.T, l *ledger.Ledger) {
	t.Helper()
	r, err := l.Audit(context.Background(), ledger.AuditOptions{})
	if err != nil || !r.Clean() {
		t.Fatalf("the audit found %+v, %v", r, err)
	}
}

// evidence returns what is kept of all records, in words.
func evidence(t *testing.T, l *ledger.Ledger) (list []string) {
	t.Helper()
	share, err := l.Share(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer share.Close()
	err = share.Versions(func(v *ledger.SharedVersion) error {
		for _, e := range v.Record.Events {
			list = append(list, v.Record.ID+" "+e.Time.String()+" "+e.Volts.Text)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// TestReadAnewAltered exchanges the bytes of two kept files: nothing may be judged by
// them.
func TestReadAnewAltered(t *testing.T) {
	where := filepath.Join(t.TempDir(), "l.db")
	l := openLedger(t, where, "")
	misread(t, l, liveText, liveText)
	misread(t, l, strings.ReplaceAll(deadText, "R1", "R2"), strings.ReplaceAll(deadText, "R1", "R2"))
	db, err := sql.Open("sqlite", where)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	_, err = db.Exec(`UPDATE content_part SET packed = (SELECT o.packed FROM content_part o WHERE o.content <> content_part.content)`)
	if err != nil {
		t.Fatal(err)
	}
	out, diagnostics, code := runCommand(t, "", "verify", "--ledger", where)
	if code != 2 || out != "" || !strings.Contains(diagnostics, "site.csv of upload 1: the kept file is not what came") {
		t.Errorf("exit status %d: %s%s", code, out, diagnostics)
	}
}
