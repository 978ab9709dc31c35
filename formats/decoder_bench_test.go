package formats

import (
	"fmt"
	"strings"
	"testing"

	"nilvolt/record"
)

// benchRows is about 8 MB of invented records, eight rows each.
func benchRows() (text string, rows int, l *Layout) {
	const header = "record,time,event,indicator,source,from,to,volts,expected,supply\n"
	var b strings.Builder
	b.WriteString(header)
	for i := range 17_000 {
		row := func(second int, rest string) {
			fmt.Fprintf(&b, "R%07d,2026-01-05T%02d:%02d:%02dZ,%s\n", 1000000+i, i/60%24, i%60, second, rest)
			rows++
		}
		row(0, "prove,VI-100,PU-2,,,228.9,230,three-phase-3-wire")
		for k, pair := range []string{"L1,L2", "L1,L3", "L1,E", "L2,L3", "L2,E", "L3,E"} {
			row(5*k+5, fmt.Sprintf("test,VI-100,,%s,%d.%d,,", pair, k%3, i%10))
		}
		row(50, "reprove,VI-100,PU-2,,,229.4,230,")
	}
	l, err := Bind(header, "bench.csv", nil)
	if err != nil {
		panic(err)
	}
	return b.String()[len(header):], rows, l
}

func BenchmarkDecoder(b *testing.B) {
	text, rows, l := benchRows()
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	d := NewDecoder(l, "bench.csv")
	events := make([]record.Event, 8)
	for b.Loop() {
		for i, row := 0, 0; i < len(text); row++ {
			n, _, o := d.Next(text[i:], row, &events[row&7])
			if o != Decoded {
				b.Fatal(o, d.Problems())
			}
			i += n
			n, _ = d.Alike(text[i:], row+1, events)
			i += n
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(rows), "ns/row")
}
