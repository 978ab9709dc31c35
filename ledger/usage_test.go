package ledger

import (
	"testing"
	"time"

	"nilvolt/record"
)

// A failed proof throws doubt on the records that lie around any of its times; they are
// found by the time in which its instruments were used.
func TestUsageByCorrectedTime(t *testing.T) {
	at := record.NewInstant(1_772_445_600, 0, 0)
	for _, test := range []struct {
		clock       *record.Clock
		first, last time.Duration
	}{
		{nil, 0, 0},
		{&record.Clock{Ahead: 24 * time.Hour, Within: 2 * time.Second}, -24*time.Hour - 2*time.Second, 0},
		{&record.Clock{Ahead: -24 * time.Hour, Within: 2 * time.Second}, 0, 24*time.Hour + 2*time.Second},
		{&record.Clock{Within: time.Minute}, -time.Minute, time.Minute},
	} {
		rec := &record.Record{ID: "R1", Events: []record.Event{
			{Time: at, Kind: record.Prove, Indicator: "VI-1", Source: "PU-1", Clock: test.clock},
		}}
		d := derive(rec)
		want := []usage{
			{"VI-1", roleIndicator, at.Add(test.first).Unix(), at.Add(test.last).Unix()},
			{"PU-1", roleSource, at.Add(test.first).Unix(), at.Add(test.last).Unix()},
		}
		if len(d.usage) != 2 || d.usage[0] != want[0] || d.usage[1] != want[1] {
			t.Errorf("%+v: used %v, want %v", test.clock, d.usage, want)
		}
	}
}
