package ledger

import "testing"

// What has to be known beside a version: the worst that waits for a decision.
func TestWorse(t *testing.T) {
	version := func(number int64, status string, readings int) *Item {
		return &Item{
			Version: number, Number: int(number), Readings: readings,
			Judgement: Judgement{ID: 10 * number, Version: number, Status: status},
		}
	}
	decided := func(i *Item, kind DecisionKind, by ...string) *Item {
		for n, name := range by {
			i.Decisions = append(i.Decisions, Decision{ID: i.Judgement.ID + int64(n) + 1, Judgement: i.Judgement.ID, Kind: kind, By: name})
		}
		return i
	}
	const compliant, bad, live = "compliant", "non-compliant", "live"
	for _, test := range []struct {
		name     string
		versions []*Item
		of, want int64 // want 0: none
	}{
		{"alone", []*Item{version(1, live, 3)}, 1, 0},
		{"live before", []*Item{version(1, live, 3), version(2, compliant, 5)}, 2, 1},
		{"the live one itself", []*Item{version(1, live, 3), version(2, compliant, 5)}, 1, 0},
		{"live since", []*Item{version(1, compliant, 5), version(2, live, 3)}, 1, 2},
		{"live beside what does not comply", []*Item{version(1, live, 3), version(2, bad, 5)}, 2, 1},
		{"equally bad", []*Item{version(1, bad, 3), version(2, bad, 5)}, 2, 0},
		{"the worst", []*Item{version(1, bad, 3), version(2, live, 3), version(3, bad, 3), version(4, compliant, 5)}, 4, 2},
		{"the newest of equals", []*Item{version(1, bad, 3), version(2, bad, 3), version(3, compliant, 5)}, 3, 2},
		{"decided on", []*Item{decided(version(1, live, 3), Repeat, "Ada"), version(2, compliant, 5)}, 2, 0},
		{"decided on before it was judged anew", []*Item{func() *Item {
			i := decided(version(1, bad, 3), Repeat, "Ada")
			i.Judgement = Judgement{ID: 15, Status: live}
			return i
		}(), version(2, compliant, 5)}, 2, 1},
		{"accepted by one", []*Item{decided(version(1, live, 3), Accept, "Ada"), version(2, compliant, 5)}, 2, 1},
		{"accepted by two", []*Item{decided(version(1, live, 3), Accept, "Ada", "Bo"), version(2, compliant, 5)}, 2, 0},
		{"the worst decided on", []*Item{decided(version(1, live, 3), Repeat, "Ada"), version(2, bad, 3), version(3, compliant, 5)}, 3, 2},
		{"of the job sheet alone", []*Item{version(1, bad, 0), version(2, compliant, 5)}, 2, 0},
		{"of the job sheet alone, the other decided on", []*Item{version(1, bad, 0), decided(version(2, bad, 5), Accept, "Ada")}, 2, 0},
		{"unknown is as bad as can be", []*Item{version(1, "odd", 3), version(2, bad, 5)}, 2, 1},
	} {
		t.Run(test.name, func(t *testing.T) {
			got := int64(0)
			if worse := test.versions[test.of-1].Worse(test.versions); worse != nil {
				got = worse.Version
			}
			if got != test.want {
				t.Errorf("beside version %d: version %d, want %d", test.of, got, test.want)
			}
		})
	}
}
