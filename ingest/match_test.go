package ingest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/formats"
	"nilvolt/record"
)

func instant(t *testing.T, text string) record.Instant {
	t.Helper()
	at, err := record.ParseInstant(text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// job is a job sheet's row: indicator VI from start to end, minutes of nine o'clock.
func job(t *testing.T, id, indicator, start, end string) record.Job {
	return record.Job{
		Record: id, Site: "sheet", Indicator: indicator,
		Start: instant(t, "2026-03-02T09:"+start+":00Z"), End: instant(t, "2026-03-02T09:"+end+":00Z"),
	}
}

// An instrument's own log has no record ids: each reading belongs to the record
// whose job sheet names the instrument at that time.
func TestMatching(t *testing.T) {
	const log = `time,event,indicator,from,to,volts,note
2026-03-02T09:04:59Z,test,VI-1,L,N,0.1,before
2026-03-02T09:05:00Z,test,VI-1,L,N,0.1,at the start
2026-03-02T09:10:00Z,test,VI-1,L,N,0.1,at the end
2026-03-02T09:10:01Z,test,VI-1,L,N,0.1,behind
2026-03-02T09:10:00Z,test,VI-2,L,N,0.1,other indicator
2026-03-02T09:22:00Z,test,VI-1,L,N,0.1,in two
2026-03-02T09:24:00Z,test,VI-1,L,N,0.1,in the longer one
2026-03-02T09:06:00Z,isolate,,,,,a step
`
	jobs := []record.Job{
		job(t, "R2", "VI-1", "20", "30"),
		job(t, "R1", "VI-1", "05", "10"),
		job(t, "R1", "VI-1", "05", "09"), // a second row of one record
		job(t, "R3", "VI-1", "21", "23"),
		job(t, "R4", "VI-9", "00", "59"),
	}
	dir := t.TempDir()
	path := write(t, dir, "log.csv", log)
	s := closed(t, open(t, Options{Jobs: jobs, blockSize: 80}, path))
	want := []visited{
		{"R2", []string{`log.csv:7 test "in two" ambiguous`, `log.csv:8 test "in the longer one"`}, []string{" sheet"}},
		{"R1", []string{`log.csv:3 test "at the start"`, `log.csv:4 test "at the end"`}, []string{" sheet", " sheet"}},
		{"R3", []string{`log.csv:7 test "in two" ambiguous`}, []string{" sheet"}},
		{"R4", nil, []string{" sheet"}},
	}
	for range 2 { // a set can be gone over again
		got, err := collectSet(t, s)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Error(diff)
		}
	}
	var strays []string
	for _, stray := range s.Strays() {
		line := stray.Pos.String()
		strays = append(strays, line[len(dir)+1:]+" "+stray.Indicator+" "+stray.Kind.String()+" "+strings.Join(stray.Records, "+"))
	}
	wantStrays := []string{
		"log.csv:2 VI-1 test ", "log.csv:5 VI-1 test ", "log.csv:6 VI-2 test ",
		"log.csv:7 VI-1 test R2+R3", "log.csv:9  isolate ",
	}
	if diff := cmp.Diff(wantStrays, strays); diff != "" {
		t.Error(diff)
	}
	if s.Rows() != 8 || s.Records() != 4 {
		t.Errorf("%d rows, %d records", s.Rows(), s.Records())
	}
}

// Rows that fit a record which has rows of its own join them, in the order of the
// files, wherever the record lies.
func TestMatchingJoins(t *testing.T) {
	const site = `record,time,event,indicator,from,to,volts,note
R1,2026-03-02T09:01:00Z,test,VI-1,L,N,0.1,own
R2,2026-03-02T09:02:00Z,test,VI-5,L,N,0.1,other
,2026-03-02T09:03:00Z,test,VI-1,L,N,0.1,loose
R1,2026-03-02T09:04:00Z,test,VI-1,L,N,0.1,own too
`
	const log = `time,event,indicator,from,to,volts,note
2026-03-02T09:03:00Z,test,VI-1,L,N,0.1,loose
2026-03-02T09:06:00Z,test,VI-1,L,N,0.1,from the log
2026-03-02T09:07:00Z,test,VI-5,L,N,0.1,of the other
`
	dir := t.TempDir()
	paths := []string{write(t, dir, "log.csv", log), write(t, dir, "site.csv", site)}
	jobs := []record.Job{job(t, "R2", "VI-5", "00", "59"), job(t, "R1", "VI-1", "00", "59")}
	got, err := collect(t, Options{Jobs: jobs, blockSize: 50}, paths...)
	if err != nil {
		t.Fatal(err)
	}
	want := []visited{
		{"R1", []string{
			`log.csv:2 test "loose"`, `log.csv:3 test "from the log"`, `site.csv:2 test "own"`, `site.csv:5 test "own too"`,
		}, []string{" sheet"}},
		{"R2", []string{`log.csv:4 test "of the other"`, `site.csv:3 test "other"`}, []string{" sheet"}},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// Rows of the same file around it do not tell whose a row is that has lost its record id;
// rows of another file do.
func TestMatchingByOwnRows(t *testing.T) {
	const site = `record,time,event,indicator,from,to,volts,note
R1,2026-03-02T09:01:00Z,test,VI-1,L,N,0.1,own
,2026-03-02T09:03:00Z,test,VI-1,L,E,0.1,lost its id
R1,2026-03-02T09:05:00Z,test,VI-1,N,E,0.1,own too
`
	const log = `time,event,indicator,from,to,volts,note
2026-03-02T09:04:00Z,test,VI-1,L,E,0.1,from the log
`
	dir := t.TempDir()
	s := closed(t, open(t, Options{}, write(t, dir, "site.csv", site), write(t, dir, "log.csv", log)))
	got, err := collectSet(t, s)
	if err != nil {
		t.Fatal(err)
	}
	want := []visited{{"R1", []string{
		`site.csv:2 test "own"`, `site.csv:3 test "lost its id" ambiguous`, `site.csv:4 test "own too"`, `log.csv:2 test "from the log"`,
	}, nil}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if list := s.Strays(); len(list) != 1 || list[0].Pos.Line != 3 || !list[0].Own {
		t.Errorf("%+v", list)
	}
}

// A bad row without a record id keeps every record from being visited that it may
// belong to, as far as it can be read.
func TestBadRowsWithoutRecord(t *testing.T) {
	tests := []struct{ row, want string }{
		{"2026-03-02T09:05:00Z,test,VI-1,L,N,1O,", "R2 R3"},    // fits R1
		{"2026-03-02T09:25:00Z,test,VI-1,L,N,1O,", "R1 R3"},    // fits R2
		{"2026-03-02T09:55:00Z,test,VI-1,L,N,1O,", "R1 R2 R3"}, // fits none
		{"yesterday,test,VI-1,L,N,0.1,", "R3"},
		{"2026-03-02T09:25:00Z,test,,L,N,0.1,", "R1"},
		{"2026-03-02T09:25:00Z,test,VI-1,L", ""},
	}
	jobs := []record.Job{
		job(t, "R1", "VI-1", "00", "10"), job(t, "R2", "VI-1", "20", "30"), job(t, "R3", "VI-3", "20", "30"),
	}
	for _, test := range tests {
		path := write(t, t.TempDir(), "log.csv", "time,event,indicator,from,to,volts,note\n"+test.row+"\n")
		got, err := collect(t, Options{Jobs: jobs}, path)
		if bad := badRowsOf(t, err); bad.Total != 1 || bad.First[0].Pos.Line != 2 {
			t.Errorf("%s: %v", test.row, bad)
		}
		if diff := cmp.Diff(strings.Fields(test.want), ids(got)); diff != "" {
			t.Errorf("%s: visited %s", test.row, diff)
		}
	}
}

// The rows of job sheets stand before what job columns in the readings say, which
// stands there once for every difference.
func TestJobs(t *testing.T) {
	const text = `record,site,time,event,indicator,from,to,volts,note,supply
R1,here,2026-03-02T09:01:00Z,test,VI-1,L,N,0.1,,single-phase
R1,,2026-03-02T09:02:00Z,test,VI-1,L,N,0.1,,
R1,here,2026-03-02T09:03:00Z,test,VI-1,L,N,0.1,,single-phase
R2,,2026-03-02T09:02:00Z,test,VI-1,L,N,0.1,,dc
R2,,2026-03-02T09:02:00Z,test,VI-1,L,N,0.1,,"dc"
R1,there,2026-03-02T09:03:00Z,test,VI-1,L,N,0.1,,single-phase
R3,there,2026-03-02T09:03:00Z,test,VI-1,L,N,0.1,,single-phase
R4,there,2026-03-02T09:03:00Z,test,VI-1,L,N,0.1,,single-phase
R5,,2026-03-02T09:03:00Z,test,VI-1,L,N,0.1,,
`
	jobs := []record.Job{{Record: "R9", Site: "s9"}, {Record: "R1", Site: "s1"}, {Record: "R8", Site: "s8"}, {Record: "R1", Site: "s1b"}}
	path := write(t, t.TempDir(), "a.csv", text)
	for _, size := range []int{1, 100, 1000} {
		got, err := collect(t, Options{Jobs: jobs, blockSize: size}, path)
		if err != nil {
			t.Fatal(err)
		}
		var list []string
		for _, r := range got {
			list = append(list, r.ID+": "+strings.Join(r.Jobs, ", "))
		}
		want := []string{
			"R1:  s1,  s1b, single-phase here, single-phase there", "R2: dc ",
			"R3: single-phase there", "R4: single-phase there", "R5: ", "R9:  s9", "R8:  s8",
		}
		if diff := cmp.Diff(want, list); diff != "" {
			t.Errorf("blocks of %d: %s", size, diff)
		}
	}
}

// What job columns say in one file does not hide what they say in another.
func TestJobsOfSeveralFiles(t *testing.T) {
	const head = "record,site,time,event,indicator,from,to,volts,note,supply\n"
	dir := t.TempDir()
	var paths []string
	for i, supply := range []string{"single-phase", "dc", "dc"} {
		text := head + fmt.Sprintf("R1,,2026-03-02T09:0%d:00Z,test,VI-1,L,N,0.1,,%s\n", i, supply)
		paths = append(paths, write(t, dir, fmt.Sprintf("%d.csv", i), text))
	}
	got, err := collect(t, Options{}, paths...)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"single-phase ", "dc "}, got[0].Jobs); diff != "" {
		t.Error(diff)
	}
}

// Identical rows in different files are one; inside a file all stay.
func TestSameRowsInSeveralFiles(t *testing.T) {
	const head = "record,time,event,indicator,from,to,volts,note\n"
	one := row("R1", 1) + "one\n"
	two := row("R1", 2) + "two\n"
	dir := t.TempDir()
	tests := []struct {
		name  string
		files []string
		want  []string
	}{
		{"once in each", []string{one + two, one + two}, []string{"a:2", "a:3"}},
		{"twice in one file", []string{one + one}, []string{"a:2", "a:3"}},
		{"twice in the first, once in the second", []string{one + one, one}, []string{"a:2", "a:3"}},
		{"once in the first, twice in the second", []string{one, one + one}, []string{"a:2", "b:3"}},
		{"once, twice, three times", []string{one, one + one, one + one + one}, []string{"a:2", "b:3", "c:4"}},
		{"other quotes and number of blanks", []string{one, `R1 ,"2026-03-02T09:00:01Z", test,VI-1,L,N,0.1,one` + "\n"}, []string{"a:2"}},
		{"other text, same value", []string{one, strings.Replace(one, "0.1", "0.10", 1)}, []string{"a:2", "b:2"}},
		{"another offset, same moment", []string{one, strings.Replace(one, "09:00:01Z", "10:00:01+01:00", 1)}, []string{"a:2"}},
		{"one more in each", []string{one, two}, []string{"a:2", "b:2"}},
	}
	for _, test := range tests {
		var paths []string
		for i, text := range test.files {
			paths = append(paths, write(t, dir, string(rune('a'+i)), head+text))
		}
		got, err := collect(t, Options{}, paths...)
		if err != nil {
			t.Fatal(test.name, err)
		}
		var places []string
		for _, ev := range got[0].Events {
			place, _, _ := strings.Cut(ev, " ")
			places = append(places, place)
		}
		if diff := cmp.Diff(test.want, places); diff != "" || len(got) != 1 {
			t.Errorf("%s: %s", test.name, diff)
		}
	}
}

// Standard input, another encoding and a column map give the same records as the
// plain file.
func TestForms(t *testing.T) {
	text := header + row("R1", 1) + "a\n" + row("R2", 2) + "b\n" + row("R1", 3) + "c\n"
	dir := t.TempDir()
	want, err := collect(t, Options{}, write(t, dir, "-", text))
	if err != nil {
		t.Fatal(err)
	}
	utf16 := "\xff\xfe"
	for _, c := range text {
		utf16 += string([]byte{byte(c), 0})
	}
	columnMap, err := formats.ParseMap("m.yaml", []byte("delimiter: ;\ncolumns:\n  record: Nr\n"))
	tests := []struct {
		name string
		text string
		m    *formats.Map
	}{
		{"byte order mark", "\xef\xbb\xbf" + text, nil},
		{"UTF-16", utf16, nil},
		{"CR LF", strings.ReplaceAll(text, "\n", "\r\n"), nil},
		{"CR", strings.ReplaceAll(text, "\n", "\r"), nil},
		{"column map", strings.Replace(strings.ReplaceAll(text, ",", ";"), "record", "Nr", 1), columnMap},
	}
	for _, test := range tests {
		if test.m == nil && err != nil && test.name == "column map" {
			t.Fatal(err)
		}
		for _, name := range []string{"file", "-"} {
			path := write(t, dir, "-", test.text)
			o := Options{Map: test.m, blockSize: 70, TempDir: dir}
			if name == "-" {
				o.Stdin, path = strings.NewReader(test.text), "-"
			}
			got, err := collect(t, o, path)
			if err != nil {
				t.Fatal(test.name, err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%s, %s: %s", test.name, name, diff)
			}
		}
	}
}

// A last line without a line end may be cut short.
func TestLastLine(t *testing.T) {
	tests := []struct {
		columns, last string
		ok            bool
	}{
		{"note", "anything", true},
		{"note", "", true},
		{"expected", "23", false},
		{"expected", "", false},
		{"expected", `"230"`, true},
		{"expected", "230\r", true},
		{"waveform", "dc", true},
		{"waveform", "", false},
		{"supply", "dc", false},
		{"seq", "7", false},
		{"ignored", "7", true},
	}
	for _, test := range tests {
		text := "record,time,event,indicator,from,to,volts," + test.columns + "\n" +
			row("R1", 1) + test.last + "\n" + row("R1", 2) + test.last
		path := write(t, t.TempDir(), "a.csv", text)
		got, err := collect(t, Options{}, path)
		if test.ok && (err != nil || len(got) != 1 || len(got[0].Events) != 2) {
			t.Errorf("%s %q: %v %v", test.columns, test.last, got, err)
		}
		if !test.ok {
			bad := badRowsOf(t, err)
			if len(got) != 0 || bad.Total != 1 || bad.First[0].Pos.Line != 3 || !strings.Contains(bad.Error(), "no line end") {
				t.Errorf("%s %q: %v %v", test.columns, test.last, got, err)
			}
		}
	}
}
