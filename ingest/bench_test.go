package ingest

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"nilvolt/record"
)

// benchFile is about 24 MB of invented records, eight rows each.
func benchFile(b *testing.B) (path string, size int64) {
	b.Helper()
	var text strings.Builder
	text.WriteString("record,time,event,indicator,source,from,to,volts,expected,supply\n")
	for i := range 50_000 {
		row := func(second int, rest string) {
			fmt.Fprintf(&text, "R%07d,2026-01-05T%02d:%02d:%02dZ,%s\n", 1000000+i, i/60%24, i%60, second, rest)
		}
		row(0, "prove,VI-100,PU-2,,,228.9,230,three-phase-3-wire")
		for k, pair := range []string{"L1,L2", "L1,L3", "L1,E", "L2,L3", "L2,E", "L3,E"} {
			row(5*k+5, fmt.Sprintf("test,VI-100,,%s,%d.%d,,", pair, k%3, i%10))
		}
		row(50, "reprove,VI-100,PU-2,,,229.4,230,")
	}
	return write(b, b.TempDir(), "bench.csv", text.String()), int64(text.Len())
}

func BenchmarkOpen(b *testing.B) {
	path, size := benchFile(b)
	b.SetBytes(size)
	b.ReportAllocs()
	for b.Loop() {
		if err := open(b, Options{}, path).Close(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEach(b *testing.B) {
	path, size := benchFile(b)
	s := closed(b, open(b, Options{}, path))
	b.SetBytes(size)
	b.ReportAllocs()
	for b.Loop() {
		err := s.Each(context.Background(), func() Visitor {
			return func(rec *record.Record, out []byte) []byte { return append(out, rec.ID...) }
		}, func([]byte) error { return nil })
		if err != nil {
			b.Fatal(err)
		}
	}
}
