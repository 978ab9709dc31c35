package report_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nilvolt/fleet"
	"nilvolt/record"
	"nilvolt/report"
)

// paper writes a document as PDF and returns its path.
func paper(t *testing.T, d *report.Document) string {
	t.Helper()
	data, err := d.PDF()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "week.pdf")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A deed is a record of a made-up week.
type deed struct {
	id, began, site, technician string
	status                      record.Status
	failed                      []record.Rule
	doubt                       string
}

// week counts deeds for a week, in a ledger that stands at the end of it.
func week(t *testing.T, name, zone string, deeds ...deed) *report.Week {
	t.Helper()
	w, err := report.ParseISOWeek(name)
	if err != nil {
		t.Fatal(err)
	}
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	weeks := report.NewWeeks(report.WeeksOptions{Zone: z, First: w, Last: w, Before: 4, Stand: report.Stand{
		Origin: "nilvolt-1f0c", Leaves: 1234, Root: strings.Repeat("5a", 32), Made: w.Add(1).Begin(z).Add(8 * time.Hour),
	}})
	for _, d := range deeds {
		began, err := time.Parse(time.RFC3339, d.began)
		if err != nil {
			t.Fatal(err)
		}
		f := &report.Filed{
			Record: d.id, Version: 1, Began: began, HandedIn: began.Add(time.Hour), Readings: 5, Site: d.site, Technician: d.technician,
			Indicators: []string{"VI-1"}, Units: []string{"PU-1"}, Status: d.status, Failed: d.failed, Counted: true,
		}
		if d.status != record.Compliant || d.doubt != "" {
			f.Open, f.Waiting, f.Sheet = true, "a decision", "record-"+d.id+".html"
		}
		if d.doubt != "" {
			f.Doubts = []report.Doubt{{Instrument: "VI-9", Reason: d.doubt}}
		}
		weeks.Add(f)
	}
	return weeks.Report(w)
}

// good returns so many compliant records, one an hour from a time on.
func good(t *testing.T, n int, from string) (deeds []deed) {
	t.Helper()
	at, err := time.Parse(time.RFC3339, from)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		deeds = append(deeds, deed{
			id: fmt.Sprintf("G%03d", i), began: at.Add(time.Duration(i) * time.Hour).Format(time.RFC3339), site: fmt.Sprintf("hall %d", i%3+1),
			technician: fmt.Sprintf("T-%d", i%4+1), status: record.Compliant,
		})
	}
	return deeds
}

// badWeek is a week in which much went wrong.
func badWeek(t *testing.T) *report.Week {
	deeds := append(good(t, 20, "2026-03-16T06:00:00Z"), good(t, 30, "2026-03-02T06:00:00Z")...)
	deeds = append(deeds,
		deed{id: "B1", began: "2026-03-17T09:00:00Z", site: "hall 1", technician: "T-1", status: record.NonCompliant, failed: []record.Rule{record.ReproveMissing}},
		deed{id: "B2", began: "2026-03-18T09:00:00Z", site: "hall 2", technician: "T-2", status: record.LiveFound, failed: []record.Rule{record.LiveFoundRule}},
		deed{id: "B3", began: "2026-03-19T09:00:00Z", technician: "T-1", status: record.NonCompliant, failed: []record.Rule{record.ProveMissing, record.ReproveMissing}},
		deed{id: "B4", began: "2026-02-10T09:00:00Z", site: "hall 1", technician: "T-3", status: record.NonCompliant, failed: []record.Rule{record.NotSecured}},
		deed{id: "D1", began: "2026-03-03T09:00:00Z", site: "hall 3", technician: "T-3", status: record.Compliant, doubt: "VI-9 failed its proof on 2026-03-20"},
	)
	w := week(t, "2026-W12", "Europe/London", deeds...)
	w.Missing = []report.Missing{{Record: "M1", Began: w.Begin.Add(30 * time.Hour), Site: "hall 2"}}
	w.Watch = []report.Watched{{Instrument: "VI-9", Kind: "indicator", State: "failing", Why: []string{"It failed 4 of its last 10 proofs.", "Take it out of use."}}}
	w.Service = []report.Service{{
		Instrument: "VI-9", Kind: "indicator", Week: w.End, Due: w.End.AddDate(0, 0, -2), Why: []string{"it fails too often"}, Late: true,
	}}
	return w
}

func TestBadWeekOnPaper(t *testing.T) {
	w := badWeek(t)
	path := paper(t, w.Document())
	checkWithin(t, path)
	golden(t, "week-bad.txt", tidy(textOf(t, path)))
	golden(t, "week-bad.html", structure(string(w.Document().HTML())))
	if want := "LIVE: 1 record. B2: a conductor read live and was not shown dead after it. Wed 18 Mar 09:00, hall 2, T-2."; w.Headline() != want {
		t.Errorf("%s, want %s", w.Headline(), want)
	}
}

// quietWeek is one in which all complies.
func quietWeek(t *testing.T) *report.Week {
	return week(t, "2026-W12", "UTC", good(t, 60, "2026-03-16T06:00:00Z")...)
}

// A quiet week is one page and the sheet for the check, and its first line says it.
func TestQuietWeekOnPaper(t *testing.T) {
	w := quietWeek(t)
	text := textOf(t, paper(t, w.Document()))
	pages := strings.Split(text, "\f")
	if len(pages) != 3 || pages[2] != "" { // a form feed stands behind each page
		t.Fatalf("%d pages:\n%s", len(pages)-1, text)
	}
	for i, want := range []string{"All 60 compliant", "Sheet for the check"} {
		if !strings.Contains(pages[i], want) {
			t.Errorf("page %d does not say %q:\n%s", i+1, want, pages[i])
		}
	}
	golden(t, "week-quiet.txt", tidy(text))
}

// oddDeeds are records with long names, and names of other scripts.
func oddDeeds() []deed {
	long := strings.Repeat("the pump hall behind the other pump hall ", 8)
	return []deed{
		{id: "N1", began: "2026-03-17T09:00:00Z", site: long, technician: strings.Repeat("x", 300), status: record.LiveFound, failed: []record.Rule{record.LiveFoundRule}},
		{id: "N2-\u05d0\u05d1", began: "2026-03-17T10:00:00Z", site: "\u0645\u062d\u0637\u0629 3", technician: "\u5c71\u7530", status: record.NonCompliant, failed: []record.Rule{record.ProveMissing}},
	}
}

// Weeks at the edges of the calendar, and what names can be.
func TestOddWeeksOnPaper(t *testing.T) {
	for _, c := range []struct {
		name, week, zone string
		deeds            []deed
		want             []string
	}{
		{"empty, from one year into the next", "2026-W53", "UTC", nil, []string{
			"Monday 28 December 2026 to Sunday 3 January 2027, UTC", "No record", "says nothing of the work that was done",
		}},
		{"leap day", "2028-W09", "Asia/Tokyo", []deed{
			{id: "L1", began: "2028-02-29T09:00:00+09:00", status: record.NonCompliant, failed: []record.Rule{record.ProveMissing}},
		}, []string{"Monday 28 February 2028 to Sunday 5 March 2028, Asia/Tokyo", "Tue 29 Feb 09:00", "site not recorded", "1 of 1 not compliant"}},
		{"clocks go forward", "2026-W13", "Europe/London", []deed{
			{id: "C1", began: "2026-03-29T00:59:00Z", status: record.NonCompliant}, {id: "C2", began: "2026-03-29T01:00:00Z", status: record.NonCompliant},
		}, []string{"Sun 29 Mar 00:59", "Sun 29 Mar 02:00"}},
		{"clocks go back", "2026-W43", "Europe/London", []deed{
			{id: "C1", began: "2026-10-25T00:30:00Z", status: record.NonCompliant}, {id: "C2", began: "2026-10-25T01:30:00Z", status: record.NonCompliant},
		}, []string{"Sun 25 Oct 01:30"}},
		{"names", "2026-W12", "UTC", oddDeeds(), []string{"LIVE: 1 record", "\u5c71\u7530"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := week(t, c.week, c.zone, c.deeds...)
			path := paper(t, w.Document())
			checkWithin(t, path)
			text := strings.Join(strings.Fields(textOf(t, path)), " ")
			for _, want := range c.want {
				if !strings.Contains(text, want) {
					t.Errorf("does not say %q:\n%s", want, text)
				}
			}
		})
	}
}

// Nothing but the values decides the bytes.
func TestWeekSameBytes(t *testing.T) {
	one, two := badWeek(t), badWeek(t)
	first, err1 := one.Document().PDF()
	second, err2 := two.Document().PDF()
	if err1 != nil || err2 != nil || !bytes.Equal(first, second) {
		t.Errorf("the PDF differs: %v, %v", err1, err2)
	}
	if !bytes.Equal(one.Document().HTML(), two.Document().HTML()) || !bytes.Equal(one.CSV(), two.CSV()) || !bytes.Equal(one.RecordsCSV(), two.RecordsCSV()) {
		t.Error("page or tables differ")
	}
}

// Every record is in the CSV file, those as well for which the paper has no room.
func TestRecordsCSVIsWhole(t *testing.T) {
	var deeds []deed
	for i := range 100 {
		deeds = append(deeds, deed{id: fmt.Sprintf("B%d", i), began: "2026-03-17T09:00:00Z", status: record.NonCompliant, failed: []record.Rule{record.ProveMissing}})
	}
	for i := range 40 {
		deeds = append(deeds, deed{id: fmt.Sprintf("L%d", i), began: "2026-03-17T09:00:00Z", status: record.LiveFound, failed: []record.Rule{record.LiveFoundRule}})
	}
	w := week(t, "2026-W12", "UTC", deeds...)
	csv, page := string(w.RecordsCSV()), string(w.Document().HTML())
	for _, d := range deeds {
		if !strings.Contains(csv, "2026-W12,not-compliant,"+d.id+",1,") {
			t.Errorf("%s is not in the table", d.id)
		}
		// Live ones are all on paper, however many there are.
		if d.status == record.LiveFound && !strings.Contains(page, `<a href="record-`+d.id+`.html">`) {
			t.Errorf("live %s is not on paper", d.id)
		}
	}
}

// servicePlan is a plan of twelve weeks, with a visit for which there is no room.
func servicePlan() *report.Plan {
	monday := time.Date(2026, 3, 23, 0, 0, 0, 0, time.UTC)
	visit := func(id string, week int, why ...string) report.Service {
		return report.Service{Instrument: id, Kind: "indicator", Week: monday.AddDate(0, 0, 7*week), Due: monday.AddDate(0, 0, 7*week+4), Why: why}
	}
	p := &report.Plan{
		Stand: report.Stand{Origin: "nilvolt-1f0c", Leaves: 1234, Root: strings.Repeat("5a", 32), Made: monday}, AsOf: monday.AddDate(0, 0, -1),
		Begin: monday, Weeks: 12, Capacity: "At most 4 a week at the bench, and 3 of each kind stay in use",
		Services: []report.Service{visit("VI-1", 0, "interval of the register ends"), visit("VI-2", 0, "it fails too often", "interval of the register ends"), visit("PU-1", 3, "interval of the register ends")},
	}
	left := visit("VI-3", 0, "its error may leave the tolerance")
	left.Week = time.Time{}
	p.Left = []report.Service{left}
	return p
}

func TestPlanOnPaper(t *testing.T) {
	p := servicePlan()
	path := paper(t, p.Document())
	checkWithin(t, path)
	golden(t, "plan.txt", tidy(textOf(t, path)))
	p.Services, p.Left = nil, nil
	if text := textOf(t, paper(t, p.Document())); !strings.Contains(text, "Nothing due") {
		t.Error(text)
	}
}

// instrumentsWeek is a week with the instruments of a site: one whose error jumps by 5 %
// in the seventh week, and one that fails four proofs. The values are made up, with a
// noise of 0.6 %.
func instrumentsWeek(t *testing.T) *report.Week {
	random := rand.New(rand.NewPCG(1, 2))
	begin := time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)
	var proofs []fleet.Proof
	for day := range 13 * 7 {
		for i := range 6 {
			for k := range 2 {
				at := begin.AddDate(0, 0, day).Add(time.Duration(2*i+k) * time.Minute)
				p := fleet.Proof{
					Indicator: fmt.Sprintf("VI-%d", i+1), Source: fmt.Sprintf("PU-%d", (i+day+k)%3+1), Expected: 230, Form: fleet.Numeric, Passed: true,
					Time: record.NewInstant(at.Unix(), 0, 0),
				}
				p.Volts = 230 * (1 + 0.006*random.NormFloat64())
				if i == 0 && day >= 6*7 {
					p.Volts *= 1.05
				}
				if i == 1 && day >= 80 && day < 84 && k == 0 {
					p.Passed, p.Form = false, fleet.NoValue
				}
				proofs = append(proofs, p)
			}
		}
	}
	w := week(t, "2026-W14", "UTC", good(t, 20, "2026-03-30T06:00:00Z")...)
	register := record.Register{"VI-3": {ID: "VI-3", Kind: record.Indicator, Serviced: record.DateOf(begin), IntervalDays: 100}}
	for _, id := range []string{"VI-1", "VI-2", "VI-4", "VI-5"} {
		register[id] = &record.Instrument{ID: id, Kind: record.Indicator}
	}
	for _, id := range []string{"PU-1", "PU-2", "PU-3"} {
		register[id] = &record.Instrument{ID: id, Kind: record.ProvingUnit}
	}
	f := fleet.Assess(fleet.Evidence{Proofs: slices.Values(proofs), Register: register, AsOf: record.NewInstant(w.End.Unix()-1, 0, 0)}, fleet.Settings{})
	w.SetInstruments(f, slices.Values(proofs), nil)
	return w
}

func TestWeekShowsInstruments(t *testing.T) {
	w := instrumentsWeek(t)
	names := ""
	for _, x := range w.Watch {
		names += x.Instrument + " " + x.State + "; "
	}
	// The register does not know VI-6.
	if !strings.Contains(names, "VI-1 stepped") || !strings.Contains(names, "VI-6 cannot tell") || strings.Contains(names, "VI-4") || strings.Contains(names, "PU-") {
		t.Errorf("to watch: %s", names)
	}
	// VI-2, which fails, and VI-1, which has stepped, are due at once.
	if s := w.Service; len(s) != 3 || s[0].Instrument != "VI-2" || s[1].Instrument != "VI-1" || s[2].Instrument != "VI-3" ||
		s[2].Due.Format(time.DateOnly) != "2026-04-15" || s[2].Late {
		t.Errorf("service: %+v", w.Service)
	}
	if w.Quiet() {
		t.Error("an instrument has stepped, and the week is quiet")
	}
	path := paper(t, w.Document())
	checkWithin(t, path)
	text := textOf(t, path)
	for _, want := range []string{"VI-1, voltage indicator: stepped", "+10 %", "step", "VI-2, voltage indicator: failing proofs", "failed", "Due for service within 28 days", "Wed 15 Apr 2026"} {
		if !strings.Contains(text, want) {
			t.Errorf("does not say %q:\n%s", want, text)
		}
	}
}
