package ledgertest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"nilvolt/ledger"
	"nilvolt/record"
)

// testBackup copies a ledger while others write to it, and back.
func testBackup(t *testing.T, p Place) {
	ctx := context.Background()
	l := p.Open(t)
	fill(t, l)
	stop, done := make(chan struct{}), make(chan error, 1)
	go func() {
		other := p.Open(t)
		for n := 0; ; n++ {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			id := fmt.Sprintf("W%d", n)
			if _, _, err := tryKeep(other, deed{text: id, records: []*record.Record{Record(id, "Mill", "T-1", "VI-1", n, "0.2")}}); err != nil {
				done <- err
				return
			}
		}
	}()
	var copies []Place
	for n := range 5 {
		path := filepath.Join(t.TempDir(), fmt.Sprintf("backup-%d.db", n))
		if err := l.Copy(ctx, path); err != nil {
			t.Fatal(err)
		}
		copies = append(copies, Place{Where: path, KeyFile: p.KeyFile})
	}
	close(stop)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	var checkpoints []string
	for _, c := range copies {
		b := c.Open(t)
		r := wantClean(t, b)
		// Every upload is there with its record and judgement.
		if r.Rows["upload"] != r.Rows["version"]-1 || r.Rows["judgement"] != r.Rows["version"] {
			t.Errorf("part of an upload: %v", r.Rows)
		}
		checkpoints = append(checkpoints, r.Checkpoint)
		if left, err := filepath.Glob(c.Where + ".part*"); err != nil || left != nil {
			t.Errorf("left behind: %q %v", left, err)
		}
	}
	// The ledger extends every one of its backups.
	r, err := l.Audit(ctx, ledger.AuditOptions{Earlier: checkpoints})
	if err != nil || !r.Clean() {
		t.Errorf("%v %v", r.Complaints, err)
	}
	backup := copies[len(copies)-1].Open(t)
	if err := backup.Copy(ctx, copies[0].Where); !errors.Is(err, ledger.ErrExists) {
		t.Errorf("over a file: %v", err)
	}
	if err := backup.Copy(ctx, p.Where); !errors.Is(err, ledger.ErrExists) {
		t.Errorf("over a ledger: %v", err)
	}
	testRestore(t, p, backup)
}

// testRestore brings a backup back to an empty place of the same kind, and goes on
// there.
func testRestore(t *testing.T, p Place, backup *ledger.Ledger) {
	empty := Place{Where: filepath.Join(t.TempDir(), "restored.db"), KeyFile: p.KeyFile}
	if ledger.IsURL(p.Where) {
		empty.Where = Postgres(t)
	}
	if err := backup.Copy(context.Background(), empty.Where); err != nil {
		t.Fatal(err)
	}
	restored := empty.Open(t)
	before := wantClean(t, restored)
	kept, _ := keep(t, restored, deed{text: "afterwards", records: []*record.Record{Record("R1", "Mill", "T-1", "VI-1", 0, "0.6")}})
	if kept[0].Number != 3 {
		t.Errorf("the record has two versions in the backup: %+v", kept)
	}
	if after := wantClean(t, restored); after.Leaves <= before.Leaves {
		t.Errorf("%d leaves, and then %d", before.Leaves, after.Leaves)
	}
	without := empty
	without.KeyFile = filepath.Join(t.TempDir(), "no.key")
	_, _, err := tryKeep(without.Open(t), deed{text: "without its key"})
	if !errors.Is(err, os.ErrNotExist) {
		t.Errorf("without its key: %v", err)
	}
}
