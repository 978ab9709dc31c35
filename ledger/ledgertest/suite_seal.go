package ledgertest

import (
	"context"
	"errors"
	"testing"

	"nilvolt/ledger"
	"nilvolt/record"
)

// testSeal holds a seal to the version and the judgement that it was made of, also when
// there is a later judgement, and wants every change of either to break it.
func testSeal(t *testing.T, p Place) {
	ctx := context.Background()
	l := p.Open(t)
	fill(t, l)
	items, err := l.Record(ctx, "R1")
	if err != nil {
		t.Fatal(err)
	}
	version, first := items[0].Version, items[0].Judgement.ID
	proof, err := l.Prove(ctx, version)
	if err != nil {
		t.Fatal(err)
	}
	seal := proof.Seal(l.Origin())
	judgeAgain(t, l, version)
	newest, err := l.Prove(ctx, version)
	if err != nil {
		t.Fatal(err)
	}
	if err := seal.Matches(newest.Seal(l.Origin())); err == nil {
		t.Error("the seal of one judgement holds for another")
	}
	old := func() (*ledger.Inclusion, error) { return l.ProveJudgement(ctx, version, first) }
	again, err := old()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := again.Check(l.VerifierKey()); err != nil {
		t.Errorf("the proof of an older judgement: %v", err)
	}
	if err := seal.Matches(again.Seal(l.Origin())); err != nil {
		t.Errorf("a later judgement breaks the seal: %v", err)
	}
	for _, which := range []struct{ version, judgement int64 }{{version, 1 << 40}, {items[1].Version, first}, {1 << 40, 0}} {
		if _, err := l.ProveJudgement(ctx, which.version, which.judgement); !errors.Is(err, ledger.ErrNoSuchVersion) {
			t.Errorf("judgement %d of version %d: %v", which.judgement, which.version, err)
		}
	}
	if err := seal.Matches(again.Seal("other")); err == nil {
		t.Error("a seal holds for another ledger")
	}
	db := p.raw(t)
	for _, change := range []string{
		`UPDATE judgement SET status = 'compliant' WHERE leaf = $1`, `UPDATE judgement SET findings = '[]' WHERE leaf = $1`,
		`UPDATE judgement SET failed = '' WHERE leaf = $1`,
	} {
		mustExec(t, db, change, first)
		changed, err := old()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := changed.Check(l.VerifierKey()); err == nil {
			t.Errorf("%s: the proof holds", change)
		}
		if err := seal.Matches(changed.Seal(l.Origin())); err == nil {
			t.Errorf("%s: the seal holds", change)
		}
	}
}

// judgeAgain keeps another judgement of a version.
func judgeAgain(t *testing.T, l *ledger.Ledger, version int64) {
	t.Helper()
	err := l.Update(context.Background(), func(tx *ledger.Tx) error {
		v, err := verdict(record.LiveFound)
		if err != nil {
			return err
		}
		b := tx.Bench(ledger.Again, 0, ledger.Context{}, "2")
		if _, err := b.Judge([]ledger.Judged{{Version: version, Verdict: v}}); err != nil {
			return err
		}
		return b.Flush()
	})
	if err != nil {
		t.Fatal(err)
	}
}
