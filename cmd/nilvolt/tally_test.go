package main

import (
	"strings"
	"testing"

	"nilvolt/record"
	"nilvolt/verify"
)

func TestAnswer(t *testing.T) {
	tests := []struct {
		tally  tally
		strays int
		want   string
	}{
		{tally{compliant: 6}, 0, "All 6 records comply."},
		{tally{compliant: 6, cautioned: 2}, 0, "All 6 records comply, 2 of them with cautions."},
		{tally{compliant: 1}, 0, "The record complies."},
		{tally{compliant: 1, cautioned: 1}, 0, "The record complies, with cautions."},
		{tally{notCompliant: 1}, 0, "The record does not comply."},
		{tally{live: 1}, 0, "The record is LIVE."},
		{tally{compliant: 5, notCompliant: 1}, 0, "1 of 6 records does not comply."},
		{tally{compliant: 1200, notCompliant: 1300}, 0, "1,300 of 2,500 records do not comply."},
		{tally{compliant: 5, notCompliant: 3, live: 1}, 0, "1 of 9 records is LIVE, 3 more do not comply."},
		{tally{compliant: 5, live: 2}, 0, "2 of 7 records are LIVE."},
		{tally{compliant: 5, notCompliant: 4, bare: 3}, 0, "4 of 9 records do not comply, 3 of them for want of any row."},
		{tally{compliant: 5, notCompliant: 4, bare: 4}, 0, "4 of 9 records do not comply, all for want of any row."},
		{tally{compliant: 6}, 3, "All 6 records comply, but 3 rows belong to no single record."},
		{tally{compliant: 5, notCompliant: 1}, 1, "1 of 6 records does not comply; 1 row belongs to no single record."},
		{tally{compliant: 6, loosened: "x"}, 0, "All 6 records comply, under a policy looser than the default."},
		{tally{}, 2, "No record was found, but 2 rows belong to no single record."},
	}
	for _, tt := range tests {
		if got := tt.tally.answer(tt.strays); got != tt.want {
			t.Errorf("%+v, %d strays: %q, want %q", tt.tally, tt.strays, got, tt.want)
		}
	}
}

// TestNothingUnjudgedCountsAsCompliant holds the tally to the zero status and to
// one that does not exist.
func TestNothingUnjudgedCountsAsCompliant(t *testing.T) {
	var c tally
	for status := range record.Status(10) {
		if status != record.Compliant {
			c.add(&verify.Judgement{Status: status})
		}
	}
	if c.compliant != 0 || c.records() != 9 {
		t.Errorf("%+v", c)
	}
}

// TestNoTextEverSaysSafe looks through everything the report says of itself.
func TestNoTextEverSaysSafe(t *testing.T) {
	var b strings.Builder
	theme{width: 80}.closing(&b, &tally{compliant: 1})
	c := tally{compliant: 2}
	for _, text := range []string{b.String(), c.answer(0), faceOf(verify.Good).word} {
		if strings.Contains(strings.ToLower(text), "safe") {
			t.Errorf("%q says safe", text)
		}
	}
}
