package report_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"image"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"nilvolt/formats"
	"nilvolt/ingest"
	"nilvolt/record"
	"nilvolt/report"
	"nilvolt/verify"
)

var updateSheets = flag.Bool("update-sheets", false, "rewrite the golden sheets in testdata")

// A day is what is handed in: readings, job sheet and register as their files are.
type day struct{ readings, jobs, register string }

// sheet judges the record of an id and returns what its sheet shows.
func (d day) sheet(t *testing.T, id string) *report.Record {
	t.Helper()
	path := filepath.Join(t.TempDir(), "site.csv")
	if err := os.WriteFile(path, []byte(d.readings), 0o600); err != nil {
		t.Fatal(err)
	}
	out := &report.Record{Rules: verify.RulesVersion}
	var jobs []record.Job
	var err error
	if d.jobs != "" {
		if jobs, err = formats.ReadJobs([]byte(d.jobs), "jobs.csv", nil); err != nil {
			t.Fatal(err)
		}
	}
	if d.register != "" {
		if out.Register, err = formats.ReadRegister([]byte(d.register), "instruments.csv", nil); err != nil {
			t.Fatal(err)
		}
	}
	set, err := ingest.Open(context.Background(), []string{path}, ingest.Options{Jobs: jobs})
	if err != nil {
		t.Fatal(err)
	}
	defer set.Close()
	err = set.Each(context.Background(), func() ingest.Visitor {
		return func(rec *record.Record, buf []byte) []byte {
			if rec.ID == id {
				out.Evidence = kept(rec)
			}
			return buf
		}
	}, func([]byte) error { return nil })
	if err != nil || out.Evidence == nil {
		t.Fatalf("record %s: %v", id, err)
	}
	out.Judgement = verify.NewJudge(verify.DefaultPolicy(), out.Register, nil).Judge(out.Evidence)
	out.Status = out.Judgement.Status
	for _, f := range out.Judgement.Findings {
		one := report.Finding{Rule: f.Rule.String(), Failure: f.Severity == record.Failure, Indicator: f.Indicator, Message: f.Message}
		for _, p := range f.Tested {
			one.Pairs, one.Points = append(one.Pairs, p.String()), append(one.Points, p.Point)
		}
		for _, p := range f.Lines {
			one.Lines = append(one.Lines, fmt.Sprintf("site.csv:%d", p.Line))
		}
		out.Findings = append(out.Findings, one)
	}
	return out
}

// kept copies a record, whose memory the next one takes, with places that do not hang
// on the folder of the test.
func kept(rec *record.Record) *record.Record {
	out := &record.Record{ID: strings.Clone(rec.ID), Jobs: append([]record.Job(nil), rec.Jobs...)}
	out.Events = append(out.Events, rec.Events...)
	for i := range out.Events {
		e := &out.Events[i]
		e.Pos.File = "site.csv"
		for _, text := range []*string{&e.Indicator, &e.Source, &e.Point, &e.Note, &e.Volts.Text, &e.Stage.Text} {
			*text = strings.Clone(*text)
		}
	}
	return out
}

// inLedger is what a ledger knows of a record, for tests.
func inLedger() *report.Kept {
	return &report.Kept{
		Origin: "nilvolt-1f0c", Number: 1, Uploaded: "2026-03-02 17:00 UTC", By: "office",
		Latest:   time.Date(2026, 3, 2, 17, 0, 0, 0, time.UTC),
		Judgings: []report.Judging{{Made: "2026-03-02 17:00 UTC", Status: "live", Rules: "1", Policy: "the default policy"}},
		Versions: []report.Version{{Number: 1, Uploaded: "2026-03-02 17:00 UTC", Status: "live"}},
		Waits:    "a decision",
		Code:     "nilvolt-sheet-1/nilvolt-1f0c/R3/1/42/7Vgri5GFVkH0OOoxVbpcwNhd3NUeQxHTctql-_AlBKw",
	}
}

func pdfOf(t *testing.T, r *report.Record) string {
	t.Helper()
	data, err := r.Document().PDF()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// poppler runs one of poppler's programs, an independent reader of PDF. Without it the
// test is skipped, but never where .ci/test runs it.
func poppler(t *testing.T, program string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	var stderr bytes.Buffer
	cmd := exec.Command(program, args...)
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil || stderr.Len() > 0 {
		t.Fatalf("%s: %v %s", program, err, stderr.String())
	}
	return string(out)
}

// textOf returns the text of a PDF in the order in which it was written.
func textOf(t *testing.T, path string) string {
	return poppler(t, "pdftotext", "-raw", path, "-")
}

// tidy takes out of a text what differs between versions of poppler: how wide a gap is.
func tidy(text string) string {
	var lines []string
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(strings.Join(strings.Fields(line), " ")); line != "" {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

var word = regexp.MustCompile(`<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">([^<]*)<`)

// checkWithin reports every word that lies beyond the margins, which are 20 mm on the
// left, 14 mm on the right, and on a page of 297 mm.
func checkWithin(t *testing.T, path string) {
	t.Helper()
	const point = 72 / 25.4
	n := 0
	for _, m := range word.FindAllStringSubmatch(poppler(t, "pdftotext", "-bbox", path, "-"), -1) {
		var box [4]float64
		for i := range box {
			box[i], _ = strconv.ParseFloat(m[i+1], 64)
		}
		n++
		if box[0] < 20*point-1 || box[2] > (210-14)*point+1 || box[1] < 0 || box[3] > 297*point {
			t.Errorf("%q lies beyond the margins: %.1f to %.1f mm from the left", m[5], box[0]/point, box[2]/point)
		}
	}
	if n == 0 {
		t.Error("no word was found")
	}
}

// structure leaves out of a page its style and the lines of its pictures.
func structure(page string) string {
	before, rest, _ := strings.Cut(page, "<style>")
	_, after, _ := strings.Cut(rest, "</style>\n")
	var b strings.Builder
	for line := range strings.Lines(before + after) {
		if !strings.HasPrefix(line, "<path ") {
			b.WriteString(line)
		}
	}
	return b.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *updateSheets {
		if err := os.WriteFile(path, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (go test ./report -update-sheets rewrites it):\n%s", path, diff)
	}
}

func demoDay(t *testing.T) day {
	t.Helper()
	var d day
	for name, to := range map[string]*string{"site.csv": &d.readings, "jobs.csv": &d.jobs, "instruments.csv": &d.register} {
		data, err := os.ReadFile(filepath.Join("..", "fixtures", "demo", name))
		if err != nil {
			t.Fatal(err)
		}
		*to = string(data)
	}
	return d
}

// The sheets of the six records of the invented day, as text and as pages.
func TestDemoSheets(t *testing.T) {
	d := demoDay(t)
	for _, id := range []string{"R1", "R2", "R3", "R4", "R5", "R6"} {
		r := d.sheet(t, id)
		if id == "R3" {
			r.Kept = inLedger()
		}
		path := pdfOf(t, r)
		checkWithin(t, path)
		golden(t, id+".txt", tidy(textOf(t, path)))
		if id == "R3" {
			golden(t, id+".html", structure(string(r.Document().HTML())))
		}
	}
}

// The printed code is read by another library than the one that made it, from the page
// as a printer would get it.
func TestCodeIsReadable(t *testing.T) {
	r := demoDay(t).sheet(t, "R3")
	r.Kept = inLedger()
	base := filepath.Join(t.TempDir(), "page")
	poppler(t, "pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-singlefile", "-gray", "-png", pdfOf(t, r), base)
	f, err := os.Open(base + ".png")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	picture, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	bitmap, err := gozxing.NewBinaryBitmapFromImage(picture)
	if err != nil {
		t.Fatal(err)
	}
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		t.Fatal(err)
	}
	if result.GetText() != r.Kept.Code {
		t.Errorf("the code holds %q, want %q", result.GetText(), r.Kept.Code)
	}
}

// A finding of the ledger goes before what the judge says of the pairs alone: it has
// seen the other records.
func TestFindingsGoBeforePairs(t *testing.T) {
	r := demoDay(t).sheet(t, "R1")
	r.Status = record.NonCompliant
	r.Findings = []report.Finding{{
		Rule: "proof-failed-elsewhere", Failure: true, Indicator: "VI-1", Pairs: []string{"L-E", "L-N"},
		Message: "VI-1 failed a proof in record R9; test again",
	}}
	text := tidy(textOf(t, pdfOf(t, r)))
	for _, want := range []string{"NOT COMPLIANT", "1 of 3 required pairs dead and"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q on the sheet:\n%s", want, text)
		}
	}
	if n := strings.Count(text, "UNPROVED"); n != 4 { // two pairs, two readings
		t.Errorf("%d times UNPROVED, want 4:\n%s", n, text)
	}
}

// No status and no findings make a sheet say that a record complies whose pairs do not.
func TestComplianceNeedsPairs(t *testing.T) {
	for _, id := range []string{"R2", "R3", "R4", "R5"} {
		r := demoDay(t).sheet(t, id)
		r.Status, r.Findings = record.Compliant, nil
		if page := string(r.Document().HTML()); !strings.Contains(page, ">NOT COMPLIANT<") {
			t.Errorf("%s: a record without proof of every pair is not called NOT COMPLIANT", id)
		}
	}
}

// inDoubt is a compliant record that a look back at an instrument has marked.
func inDoubt(t *testing.T) *report.Record {
	r := demoDay(t).sheet(t, "R1")
	r.Kept = inLedger()
	r.Kept.Marks = []string{"in doubt for VI-1: it failed its proof"}
	return r
}

// A mark of a look back stands where the judgement stands.
func TestInDoubt(t *testing.T) {
	page := string(inDoubt(t).Document().HTML())
	for _, want := range []string{">IN DOUBT<", "it failed its proof"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q on the sheet", want)
		}
	}
	if strings.Contains(page, ">COMPLIANT<") {
		t.Error("a record in doubt is called compliant")
	}
}

// A worse version that waits for a decision stands at the head of the sheet of any other.
func TestWorseVersion(t *testing.T) {
	for _, test := range []struct {
		name, record, word string
		marks              []string
	}{
		{"compliant", "R1", "IN DOUBT", nil},
		{"marked as well", "R1", "IN DOUBT", []string{"in doubt for VI-1: it failed its proof"}},
		{"not compliant", "R2", "NOT COMPLIANT", nil},
	} {
		t.Run(test.name, func(t *testing.T) {
			r := demoDay(t).sheet(t, test.record)
			r.Kept = inLedger()
			r.Kept.Marks = test.marks
			r.Kept.Worse = "version 2 is LIVE and waits for a decision, version 1 is something else"
			page := string(r.Document().HTML())
			for _, want := range []string{">" + test.word + "<", "found in it: " + test.word + "\"", "Version 2 is LIVE and waits for a decision, version 1 is something else."} {
				if !strings.Contains(page, want) {
					t.Errorf("no %q on the sheet", want)
				}
			}
			if strings.Contains(page, ">COMPLIANT<") || strings.Contains(page, "The evidence is complete") {
				t.Error("a version with a worse one beside it is called compliant")
			}
		})
	}
}

const head = "record,time,event,indicator,source,from,to,volts,expected,note\n"

// oddNames is a day with names of every script, and very long ones.
func oddNames() day {
	long := strings.Repeat("a very long name of a circuit ", 12) + strings.Repeat("x", 200)
	return day{
		readings: head + "R1,2026-03-02T10:00:00Z,prove,מד-3,יחידה-1,,,229.8,230,\n" +
			"R1,2026-03-02T10:01:00Z,test,מד-3,,N,L,0.3,,上段で測定\nR1,2026-03-02T10:01:20Z,test,מד-3,,E,L,0.2,," + long + "\n",
		jobs: "record,site,circuit,technician,supply,nominal\nR1,בית המשאבות 12,配电盘三号回路照明," + "محمد علي,single-phase,230\n",
	}
}

// Names of every script, and very long ones, stay within the page and can be read back.
func TestNames(t *testing.T) {
	r := oddNames().sheet(t, "R1")
	path := pdfOf(t, r)
	checkWithin(t, path)
	// Without -raw it brings text from right to left into the order in which it is read.
	text := poppler(t, "pdftotext", "-layout", path, "-")
	text = tidy(strings.NewReplacer("\u202a", "", "\u202b", "", "\u202c", "").Replace(text))
	for _, want := range []string{"בית המשאבות", "配电盘三号回路照明", "محمد علي", "上段で測定", "מד", "יחידה", "a very long name of a circuit"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in the text of the PDF:\n%s", want, text)
		}
	}
	if n := strings.Count(text, "x"); n < 200 {
		t.Errorf("%d of 200 letters of a long word are left", n)
	}
	if page := string(r.Document().HTML()); !strings.Contains(page, "<bdi>בית המשאבות 12</bdi>") {
		t.Error("a foreign name does not stand apart in its direction")
	}
}

// conductors is a record of a supply with some lines, a neutral and an earth.
func conductors(lines int) day {
	var names []string
	for i := 1; i <= lines; i++ {
		names = append(names, fmt.Sprintf("L%d", i))
	}
	names = append(names, "N", "E")
	at := time.Date(2026, 3, 2, 10, 0, 0, 0, time.UTC)
	var b strings.Builder
	b.WriteString(head + "R1,2026-03-02T09:59:00Z,prove,VI-1,PU-1,,,229.8,230,\n")
	n := 0
	for i := range names {
		for k := range i {
			n++
			at = at.Add(2 * time.Second)
			fmt.Fprintf(&b, "R1,%s,test,VI-1,,%s,%s,0.%d,,\n", at.Format(time.RFC3339), names[i], names[k], n%10)
		}
	}
	fmt.Fprintf(&b, "R1,%s,reprove,VI-1,PU-1,,,229.8,230,\n", at.Add(time.Minute).Format(time.RFC3339))
	return day{readings: b.String(), jobs: "record,supply,nominal,conductors\nR1,three-phase,400," + strings.Join(names, " ") + "\n"}
}

// Forty conductors make 780 pairs. Source: n(n-1)/2.
func TestFortyConductors(t *testing.T) {
	r := conductors(38).sheet(t, "R1")
	path := pdfOf(t, r)
	checkWithin(t, path)
	text := tidy(textOf(t, path))
	if !strings.Contains(text, "780 of 780 required pairs dead and proved") {
		t.Errorf("not 780 pairs:\n%.600s", text)
	}
	if n := strings.Count(text, "dead, proved"); n != 780 {
		t.Errorf("%d readings stand as dead and proved, want 780", n)
	}
}

// Every one of 3,000 readings stands on the sheet, with the page it is on.
func TestThreeThousandReadings(t *testing.T) {
	at := time.Date(2026, 3, 2, 10, 0, 0, 0, time.UTC)
	var b strings.Builder
	b.WriteString(head)
	for i := range 3000 {
		at = at.Add(time.Second)
		fmt.Fprintf(&b, "R1,%s,test,VI-1,,N,L,0.%03d,,\n", at.Format(time.RFC3339), i%1000)
	}
	r := day{readings: b.String(), jobs: "record,supply,nominal\nR1,single-phase,230\n"}.sheet(t, "R1")
	path := pdfOf(t, r)
	checkWithin(t, path)
	text := textOf(t, path)
	pages := strings.Count(text, "\f")
	if !strings.Contains(text, fmt.Sprintf("page %d of %d", pages, pages)) || pages < 20 || pages > 60 {
		t.Errorf("%d pages, and the last does not say so", pages)
	}
	lines := regexp.MustCompile(`(?m)\b(\d+)$`).FindAllStringSubmatch(tidy(text), -1)
	seen := map[string]bool{}
	for _, m := range lines {
		seen[m[1]] = true
	}
	for line := 2; line <= 3001; line++ {
		if !seen[strconv.Itoa(line)] {
			t.Fatalf("the reading of line %d is not on the sheet", line)
		}
	}
}

// On 29 March 2026 at 01:00 UTC clocks in Europe went from 02:00 to 03:00; and 2024 had
// a 29 February. Times stand as they were written, and where the offset changes a line
// says so. Source: IANA time zone database, Europe/Berlin; Gregorian calendar.
func TestDaysAndOffsets(t *testing.T) {
	d := day{
		readings: head + "R1,2026-03-29T01:58:00+01:00,prove,VI-1,PU-1,,,229.8,230,\nR1,2026-03-29T01:59:30+01:00,test,VI-1,,N,L,0.3,,\n" +
			"R1,2026-03-29T03:00:10+02:00,test,VI-1,,E,L,0.3,,\nR1,2026-03-29T03:01:00+02:00,test,VI-1,,E,N,0.3,,\nR1,2026-03-29T03:02:00+02:00,reprove,VI-1,PU-1,,,229.8,230,\n" +
			"R2,2024-02-28T23:59:00Z,prove,VI-1,PU-1,,,229.8,230,\nR2,2024-02-29T00:00:30Z,test,VI-1,,N,L,0.3,,\n",
		jobs: "record,supply,nominal\nR1,single-phase,230\nR2,single-phase,230\n",
	}
	r := d.sheet(t, "R1")
	text := tidy(textOf(t, pdfOf(t, r)))
	for _, want := range []string{"3 of 3 required pairs", "offsets from", "2026-03-29 from here UTC+01:00", "2026-03-29 from here UTC+02:00", "03:00:10 test"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q on the sheet:\n%s", want, text)
		}
	}
	text = tidy(textOf(t, pdfOf(t, d.sheet(t, "R2"))))
	for _, want := range []string{"2024-02-28 23:59:00 to 2024-02-29 00:00:30, UTC", "2024-02-29 from here UTC"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q on the sheet:\n%s", want, text)
		}
	}
}

// broadReadings is a record whose readings take much room: of a switched line, by an
// indicator with steps and a display.
func broadReadings() day {
	return day{
		readings: `record,time,event,indicator,source,from,to,volts,expected,stage,switch
R1,2026-03-17T12:26:23+01:00,prove,VI-22,live,,,235.2,,230,
R1,2026-03-17T12:33:30+01:00,test,VI-22,,N,L,1.0,,none,
R1,2026-03-17T12:34:05+01:00,test,VI-22,,E,L,---,,none,
R1,2026-03-17T12:34:40+01:00,test,VI-22,,E,N,0.7,,none,
R1,2026-03-17T12:34:55+01:00,test,VI-22,,N,SL1,1.6,,none,on
R1,2026-03-17T12:35:23+01:00,test,VI-22,,E,SL1,0.4,,none,on
R1,2026-03-17T12:35:41+01:00,test,VI-22,,N,SL1,1.4,,none,off
R1,2026-03-17T12:35:53+01:00,test,VI-22,,E,SL1,0.1,,none,off
R1,2026-03-17T12:36:52+01:00,reprove,VI-22,PU-8,,,251.9,250,230,
`,
		jobs:     "record,supply,nominal,switched\nR1,single-phase,230,SL1\n",
		register: "instrument,kind,stages\nVI-22,indicator,12 24 50 120 230 400\n",
	}
}

// noReading is a record with a step alone.
func noReading() day {
	return day{readings: head + "R1,2026-03-02T10:00:00Z,isolate,,,,,,,\n", jobs: "record,site\nR1,pump hall\n"}
}

// A record of which nothing but a job sheet is there, and one of which nothing is known.
func TestBareRecords(t *testing.T) {
	r := noReading().sheet(t, "R1")
	text := tidy(textOf(t, pdfOf(t, r)))
	for _, want := range []string{"NOT COMPLIANT", "Nobody can say which pairs are", "No reading was handed in"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q on the sheet:\n%s", want, text)
		}
	}
	empty := &record.Record{ID: "R2"}
	r = &report.Record{Evidence: empty, Judgement: verify.NewJudge(verify.DefaultPolicy(), nil, nil).Judge(empty)}
	if text := tidy(textOf(t, pdfOf(t, r))); !strings.Contains(text, "NOT JUDGED") {
		t.Errorf("nothing is known, and it is not said:\n%s", text)
	}
}
