package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/formats"
	"nilvolt/ingest"
	"nilvolt/record"
	"nilvolt/verify"
)

// What was put into the records is what is found in them, in every form of the
// file; the benchmark checks the same for the long file, and that DuckDB agrees.
func TestVerdictsAreThoseGenerated(t *testing.T) {
	const rows = 20_000
	dir := t.TempDir()
	source := filepath.Join(dir, "readings.csv")
	plain, want := generated(t, rows)
	if err := os.WriteFile(source, plain, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := runVariants([]string{source, dir}); err != nil {
		t.Fatal(err)
	}
	shuffled, err := os.Create(filepath.Join(dir, "shuffled.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := generateShuffled(shuffled, rows); err != nil {
		t.Fatal(err)
	}
	if err := shuffled.Close(); err != nil {
		t.Fatal(err)
	}
	want.Rows = 0
	for _, v := range append([]variant{{name: "rows in random order", file: "shuffled.csv"}}, variants...) {
		t.Run(v.file, func(t *testing.T) {
			got := judgeFile(t, filepath.Join(dir, v.file), v.columnMap)
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("verdicts (-generated +judged):\n%s", diff)
			}
		})
	}
}

// judgeFile judges a file of readings by the default policy.
func judgeFile(t *testing.T, name, columnMap string) tally {
	t.Helper()
	o := ingest.Options{Workers: 1, TempDir: t.TempDir()}
	if columnMap != "" {
		var err error
		if o.Map, err = formats.ParseMap("map.yaml", []byte(columnMap)); err != nil {
			t.Fatal(err)
		}
	}
	set, err := ingest.Open(t.Context(), []string{name}, o)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := set.Close(); err != nil {
			t.Error(err)
		}
	}()
	var got tally
	judge := verify.NewJudge(verify.DefaultPolicy(), record.Register{}, nil)
	err = set.Each(t.Context(), func() ingest.Visitor {
		return func(rec *record.Record, out []byte) []byte {
			got.add(rec.ID, status(judge.Judge(rec).Status.String()))
			return out
		}
	}, func([]byte) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	return got
}
