package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// CSV returns all rates of the report, a line for the total and one for each rule,
// site, technician and instrument of the week (RFC 4180). Rates are shares of 0 to 1,
// blank without records.
func (w *Week) CSV() []byte {
	lines := [][]string{{
		"week", "group", "name", "records", "not_compliant", "live", "rate", "low", "high",
		"before_records", "before_not_compliant", "before_rate", "before_low", "before_high", "change",
	}}
	add := func(group string, rows Table) {
		for _, r := range rows {
			line := []string{w.Week.String(), group, r.Name, strconv.Itoa(r.Now.Records), strconv.Itoa(r.Now.Failing), strconv.Itoa(r.Now.Live)}
			line = append(line, r.Now.columns()...)
			line = append(line, strconv.Itoa(r.Before.Records), strconv.Itoa(r.Before.Failing))
			line = append(line, r.Before.columns()...)
			change := ""
			if r.Change != CannotTell {
				change = r.Change.String()
			}
			lines = append(lines, append(line, change))
		}
	}
	add("total", Table{w.Total})
	add("rule", w.Rules)
	add("site", w.Sites)
	add("technician", w.Technicians)
	add("indicator", w.Indicators)
	add("proving-unit", w.Units)
	return csvBytes(lines)
}

// columns are rate, low and high.
func (c Count) columns() []string {
	if c.Records == 0 {
		return []string{"", "", ""}
	}
	low, high := c.Interval()
	return []string{decimals(c.Rate()), decimals(low), decimals(high)}
}

func decimals(x float64) string { return fmt.Sprintf("%.4f", x) }

// RecordsCSV returns all records that the report lists, one line for each list that a
// record stands in: not-compliant, late, waiting, in-doubt, missing (no version, not
// judged) and sample (RFC 4180). Times
// are RFC 3339.
func (w *Week) RecordsCSV() []byte {
	lines := [][]string{{
		"week", "list", "record", "version", "status", "began", "handed_in", "site", "technician", "indicators", "proving_units",
		"failed", "waiting", "decided", "sheet",
	}}
	add := func(list string, f *Filed) {
		failed := make([]string, len(f.Failed))
		for i, r := range f.Failed {
			failed[i] = r.String()
		}
		zone := w.Begin.Location()
		handed := ""
		if !f.HandedIn.IsZero() {
			handed = f.HandedIn.In(zone).Format(time.RFC3339)
		}
		lines = append(lines, []string{
			w.Week.String(), list, f.Record, strconv.Itoa(f.Version), f.Status.String(), f.Began.In(zone).Format(time.RFC3339),
			handed, f.Site, f.Technician, strings.Join(f.Indicators, " "), strings.Join(f.Units, " "),
			strings.Join(failed, " "), f.Waiting, f.Decided, f.Sheet,
		})
	}
	for _, f := range w.Bad {
		add("not-compliant", f)
	}
	for _, f := range w.LateBad {
		add("late", f)
	}
	for _, f := range w.Waiting {
		add("waiting", f)
	}
	for _, d := range w.Doubts {
		add("in-doubt", d.Filed)
	}
	for _, m := range w.Missing {
		add("missing", &Filed{Record: m.Record, Began: m.Began, Site: m.Site, Technician: m.Technician})
	}
	for _, f := range w.Sample.Records {
		add("sample", f)
	}
	return csvBytes(lines)
}

func csvBytes(lines [][]string) []byte {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	w.WriteAll(lines) //nolint:errcheck // a buffer takes everything
	return out.Bytes()
}
