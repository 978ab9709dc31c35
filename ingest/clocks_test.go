package ingest

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"nilvolt/record"
)

// A clockedDay is made-up records of one indicator on one proving unit, with the logs
// of both by their own clocks. Every row of a log has the record it is of in its note.
type clockedDay struct {
	jobs      []record.Job
	log, unit string
}

var dayBegins = record.NewInstant(1772434800, 0, 0) // 2026-03-02T07:00:00Z

func stamp(after float64) record.Instant {
	return dayBegins.Add(time.Duration(after) * time.Second)
}

// madeUp makes a day: records come one right behind the other or some time later.
func madeUp(rng *rand.Rand, indicatorAhead, unitAhead float64, records int) clockedDay {
	var d clockedDay
	log := &strings.Builder{}
	unit := &strings.Builder{}
	log.WriteString("time,event,indicator,source,from,to,volts,expected,note\n")
	unit.WriteString("time,event,source,note\n")
	t := 600 * rng.Float64()
	for n := range records {
		id := fmt.Sprintf("R%d", n+1)
		begin := t
		t += 60 + 300*rng.Float64()
		proof := func(kind string) {
			fmt.Fprintf(log, "%v,%s,VI-1,PU-1,,,229.7,230,%s\n", stamp(t+indicatorAhead), kind, id)
			if rng.IntN(10) > 0 { // the unit misses one now and then
				fmt.Fprintf(unit, "%v,output,PU-1,%s\n", stamp(t+unitAhead-rng.Float64()), id)
			}
		}
		proof("prove")
		for _, pair := range []string{"N,L", "E,L", "E,N"} {
			t += 20 + 60*rng.Float64()
			fmt.Fprintf(log, "%v,test,VI-1,,%s,0.3,,%s\n", stamp(t+indicatorAhead), pair, id)
		}
		t += 20 + 600*rng.Float64()
		proof("reprove")
		t += 60 + 300*rng.Float64()
		d.jobs = append(d.jobs, record.Job{Record: id, Indicator: "VI-1", Start: stamp(begin), End: stamp(t)})
		if rng.IntN(2) == 0 {
			t += 7000 * rng.Float64()
		}
	}
	d.log, d.unit = log.String(), unit.String()
	return d
}

// rowsOf returns what each record has, as "note kind", ambiguous ones with a mark.
func rowsOf(t *testing.T, s *Set) map[string][]string {
	t.Helper()
	rows := make(map[string][]string)
	err := s.Each(t.Context(), func() Visitor {
		return func(rec *record.Record, out []byte) []byte {
			for i := range rec.Events {
				ev := &rec.Events[i]
				text := ev.Note + " " + ev.Kind.String()
				if ev.Ambiguous {
					text += "?"
				}
				if ev.Clock != nil {
					text += fmt.Sprintf(" %.0f", ev.Clock.Ahead.Seconds())
				}
				rows[strings.Clone(rec.ID)] = append(rows[rec.ID], strings.Clone(text))
			}
			return out
		}
	}, func([]byte) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// Whatever the clocks are: where the program is sure of them, no row is good evidence
// in a record that it is not of, and most are in theirs.
func TestNoRowInTheWrongRecord(t *testing.T) {
	sure, rows, right := 0, 0, 0
	for seed := range 150 {
		rng := rand.New(rand.NewPCG(uint64(seed), 1))
		var indicator, unit float64
		switch seed % 4 {
		case 0: // the indicator's is right
			unit = []float64{0, 3600, -7200, 40, -86000}[rng.IntN(5)] + 5*rng.Float64()
		case 1: // the unit's is right
			indicator = []float64{3600, -3600, 7200, 43200, 30}[rng.IntN(5)] + 5*rng.Float64()
		case 2:
			indicator, unit = 20000*rng.Float64()-10000, 20000*rng.Float64()-10000
		}
		d := madeUp(rng, indicator, unit, 4+rng.IntN(6))
		dir := t.TempDir()
		s := closed(t, open(t, Options{Jobs: d.jobs, Workers: 1}, write(t, dir, "log.csv", d.log), write(t, dir, "unit.csv", d.unit)))
		known := s.Clocks()
		if len(known) != 1 {
			t.Fatalf("seed %d: %d clocks", seed, len(known))
		}
		// Nobody can know whose clock is right when both are wrong.
		if !known[0].Sure || seed%4 == 2 && !corrected(known[0], "log.csv") {
			continue
		}
		if seed%4 == 1 && indicator > 200 && !corrected(known[0], "log.csv") {
			continue // by its own clock, too, half of the rows fit
		}
		sure++
		for id, list := range rowsOf(t, s) {
			for _, row := range list {
				rows++
				of, what, _ := strings.Cut(row, " ")
				switch {
				case of == id && !strings.Contains(what, "?"):
					right++
				case of != id && !strings.Contains(what, "?") && seed%4 != 2:
					t.Errorf("seed %d, clocks %.0f s and %.0f s ahead: %s is good in %s", seed, indicator, unit, row, id)
				}
			}
		}
	}
	if sure < 75 || right < rows*8/10 {
		t.Errorf("%d were sure; %d of %d rows are where they belong", sure, right, rows)
	}
}

// The records' own rows come by another clock than the indicator's memory, which was
// set in between: no row of it is good evidence in a record that it is not of.
func TestNoRowInTheWrongRecordWhenAClockWasSet(t *testing.T) {
	doubted, ambiguous := 0, 0
	for seed := range 60 {
		rng := rand.New(rand.NewPCG(uint64(seed), 2))
		d := madeUp(rng, 0, 0, 16)
		lines := strings.Split(strings.TrimSpace(d.log), "\n")
		var own, memory strings.Builder
		own.WriteString("record," + lines[0] + "\n")
		memory.WriteString(lines[0] + "\n")
		set := time.Duration([]int{600, 3600, -3600, 7200}[rng.IntN(4)]) * time.Second
		from := 30 + rng.IntN(len(lines)-60)
		for i, line := range lines[1:] {
			id := line[strings.LastIndexByte(line, ',')+1:]
			own.WriteString(id + "," + line + "\n")
			at, rest, _ := strings.Cut(line, ",")
			if i >= from {
				at = instant(t, at).Add(set).String()
			}
			memory.WriteString(at + "," + strings.TrimSuffix(rest, id) + "m" + id + "\n")
		}
		dir := t.TempDir()
		s := closed(t, open(t, Options{Jobs: d.jobs, Workers: 1}, write(t, dir, "own.csv", own.String()), write(t, dir, "memory.csv", memory.String())))
		if c := s.Clocks(); len(c) != 1 || c[0].Sure {
			t.Errorf("seed %d: %+v", seed, c)
			continue
		}
		doubted++
		for id, list := range rowsOf(t, s) {
			for _, row := range list {
				of, what, _ := strings.Cut(row, " ")
				switch {
				case strings.Contains(what, "?"):
					ambiguous++
				case of != id && of != "m"+id:
					t.Errorf("seed %d, set by %v: %s is good in %s", seed, set, row, id)
				}
			}
		}
	}
	if doubted == 0 || ambiguous == 0 {
		t.Errorf("%d clocks in doubt, %d rows that fit several records", doubted, ambiguous)
	}
}

func corrected(c Clock, file string) bool { return strings.HasSuffix(c.File, file) }

// A row within the uncertainty of the edge of a window fits both records; beyond it, one.
func TestEdgesAreAsWideAsTheClockIsUncertain(t *testing.T) {
	d := madeUp(rand.New(rand.NewPCG(9, 9)), 43200, 0, 8)
	var probes strings.Builder
	edge := d.jobs[3].End
	d.jobs[4].Start = edge // back to back
	for _, off := range []time.Duration{-20 * time.Second, 0, 20 * time.Second} {
		fmt.Fprintf(&probes, "%v,test,VI-1,,N,L,0.3,,probe%+.0f\n", edge.Add(12*time.Hour+off), off.Seconds())
	}
	dir := t.TempDir()
	s := closed(t, open(t, Options{Jobs: d.jobs, Workers: 1}, write(t, dir, "log.csv", d.log+probes.String()), write(t, dir, "unit.csv", d.unit)))
	if c := s.Clocks(); len(c) != 1 || !c[0].Sure || !corrected(c[0], "log.csv") {
		t.Fatalf("%+v", c)
	}
	rows := rowsOf(t, s)
	has := func(id, text string) bool {
		return slices.ContainsFunc(rows[id], func(row string) bool { return strings.HasPrefix(row, text) })
	}
	for _, test := range []struct {
		id, text string
		want     bool
	}{
		{"R4", "probe-20 test 432", true},
		{"R5", "probe-20", false},
		{"R4", "probe+0 test? 432", true},
		{"R5", "probe+0 test? 432", true},
		{"R4", "probe+20", false},
		{"R5", "probe+20 test 432", true},
	} {
		if has(test.id, test.text) != test.want {
			t.Errorf("%s has %q: %t; it has %q", test.id, test.text, !test.want, rows[test.id])
		}
	}
}

// Where a record's own rows name the instrument, another log's rows of that time
// belong to it, without a job sheet.
func TestOwnRowsGiveTheTime(t *testing.T) {
	const own = `record,time,event,indicator,source,from,to,volts,note
R1,2026-03-02T09:01:00Z,prove,VI-1,PU-1,,,230,own
R1,2026-03-02T09:05:00Z,reprove,VI-1,PU-1,,,230,own
R1,2026-03-02T09:59:00Z,test,VI-2,,L,N,0.3,other indicator
R2,2026-03-02T09:10:00Z,prove,VI-1,PU-1,,,230,own
`
	const log = `time,event,indicator,source,from,to,volts,note
2026-03-02T09:00:59Z,test,VI-1,,L,N,0.1,before
2026-03-02T09:01:00Z,test,VI-1,,L,N,0.1,first
2026-03-02T09:05:00Z,test,VI-1,,L,N,0.1,last
2026-03-02T09:05:01Z,test,VI-1,,L,N,0.1,behind
2026-03-02T09:00:30Z,output,,PU-1,,,,switched on
2026-03-02T09:07:30Z,output,,PU-1,,,,nobody
`
	dir := t.TempDir()
	s := closed(t, open(t, Options{}, write(t, dir, "own.csv", own), write(t, dir, "log.csv", log)))
	rows := rowsOf(t, s)
	want := []string{"own prove", "own reprove", "other indicator test", "first test", "last test", "switched on output"}
	if got := rows["R1"]; !slices.Equal(got, want) {
		t.Errorf("R1 has %q", got)
	}
	var strays []string
	for _, stray := range s.Strays() {
		strays = append(strays, fmt.Sprintf("%d %s%s", stray.Pos.Line, stray.Indicator, stray.Source))
	}
	if want := []string{"2 VI-1", "5 VI-1", "7 PU-1"}; !slices.Equal(strays, want) {
		t.Errorf("no record has %q", strays)
	}
}

// A bad row spoils the records in which its logged and its corrected time lie.
func TestBadRowsSpoilByEitherTime(t *testing.T) {
	d := madeUp(rand.New(rand.NewPCG(9, 9)), 7200, 0, 8)
	inside := d.jobs[2].Start.Add(time.Minute)
	d.jobs = append(d.jobs, record.Job{Record: "R99", Indicator: "VI-1", Start: inside.Add(7100 * time.Second), End: inside.Add(7300 * time.Second)})
	bad := fmt.Sprintf("%v,test,VI-1,,N,L,1O,,bad\n", inside.Add(2*time.Hour))
	dir := t.TempDir()
	path := write(t, dir, "log.csv", d.log+bad)
	s := open(t, Options{Jobs: d.jobs}, path, write(t, dir, "unit.csv", d.unit))
	got, err := collectSet(t, s)
	if n := badRowsOf(t, err).Total; n != 1 {
		t.Errorf("%d bad rows", n)
	}
	for _, id := range ids(got) {
		if id == "R3" || id == "R99" {
			t.Errorf("%s was visited", id)
		}
	}
	if len(got) < 6 {
		t.Errorf("visited %v", ids(got))
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
