package fleet

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nilvolt/record"
)

func indicatorItem(id string, due, use float64) Item {
	return Item{ID: id, Kind: record.Indicator, Due: due, Use: use, Working: true}
}

func TestSchedule(t *testing.T) {
	never := math.Inf(1)
	spare := []Item{indicatorItem("S1", never, 1), indicatorItem("S2", never, 1)}
	for _, c := range []struct {
		name  string
		items []Item
		shop  Shop
		want  string // visits as ID@week, then what is left
		risk  float64
	}{
		{"nothing is due", spare, Shop{Weeks: 4, Capacity: 1}, "", 0},
		{"as late as it may be", []Item{indicatorItem("A", 2.5, 1)}, Shop{Weeks: 4, Capacity: 1}, "A@2", 0},
		{"overdue goes first", []Item{indicatorItem("A", -1, 1)}, Shop{Weeks: 4, Capacity: 1}, "A@0", 0},
		{
			"the one used more goes first, the other waits a week past its due date",
			[]Item{indicatorItem("A", 0, 1), indicatorItem("B", 0, 3)},
			Shop{Weeks: 4, Capacity: 1},
			"B@0 A@1", 7,
		},
		{
			"one of two alike comes early to make room",
			[]Item{indicatorItem("A", 1, 1), indicatorItem("B", 1, 1)},
			Shop{Weeks: 4, Capacity: 1},
			"B@0 A@1", 0,
		},
		{
			"the reserve leaves one at a time",
			[]Item{indicatorItem("A", 0, 1), indicatorItem("B", 0, 1)},
			Shop{Weeks: 4, Capacity: 9, Reserve: map[record.InstrumentKind]int{record.Indicator: 1}},
			"A@0 B@1", 7,
		},
		{
			"no reserve, no visit",
			[]Item{indicatorItem("A", 1, 1)},
			Shop{Weeks: 3, Capacity: 9, Reserve: map[record.InstrumentKind]int{record.Indicator: 1}},
			"left A", 14,
		},
		{
			"a broken one is missed by nobody",
			[]Item{{ID: "A", Kind: record.Indicator, Due: 0, Use: 1}, indicatorItem("S", never, 1)},
			Shop{Weeks: 3, Capacity: 1, Reserve: map[record.InstrumentKind]int{record.Indicator: 1}},
			"A@0", 0,
		},
		{
			"a likely crossing counts as well as a date",
			[]Item{
				{ID: "A", Kind: record.Indicator, Due: never, Out: []float64{0.5, 0.5, 0.5}, Use: 1, Working: true},
				indicatorItem("B", 0, 0.4),
			},
			Shop{Weeks: 3, Capacity: 1},
			"A@0 B@1", 2.8,
		},
		{"a bench of nothing", []Item{indicatorItem("A", 0, 1)}, Shop{Weeks: 2}, "left A", 14},
	} {
		p := Schedule(c.items, c.shop)
		var got []string
		for _, v := range p.Visits {
			got = append(got, v.Item.ID+"@"+string(rune('0'+v.Week)))
		}
		for _, i := range p.Left {
			got = append(got, "left "+i.ID)
		}
		if s := strings.Join(got, " "); s != c.want || !near(p.Risk, c.risk, 1e-9) {
			t.Errorf("%s: %q with %v risk-days, want %q with %v", c.name, s, p.Risk, c.want, c.risk)
		}
	}
}

// brute returns the least price of all plans that keep to the shop.
func brute(items []Item, shop Shop) price {
	weeks := make([]int, len(items))
	least := price{risk: math.MaxInt64}
	var try func(i int, sum price)
	try = func(i int, sum price) {
		if i == len(items) {
			if fits(items, weeks, shop) && sum.less(least) {
				least = sum
			}
			return
		}
		for w := range shop.Weeks + 1 {
			weeks[i] = w
			try(i+1, sum.plus(items[i].price(w, shop.Weeks)))
		}
	}
	try(0, price{})
	return least
}

// fits reports whether bench and reserve allow the weeks of the items.
func fits(items []Item, weeks []int, shop Shop) bool {
	for week := range shop.Weeks {
		bench := 0
		away, working := map[record.InstrumentKind]int{}, map[record.InstrumentKind]int{}
		for i, item := range items {
			if weeks[i] == week {
				bench++
			}
			if item.Working {
				working[item.Kind]++
				if weeks[i] == week {
					away[item.Kind]++
				}
			}
		}
		if bench > shop.Capacity {
			return false
		}
		for kind, n := range away {
			if n > 0 && working[kind]-n < shop.Reserve[kind] {
				return false
			}
		}
	}
	return true
}

// No plan that keeps to bench and reserve is better than the one returned.
func TestScheduleIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shop := Shop{
			Weeks: rapid.IntRange(1, 3).Draw(t, "weeks"), Capacity: rapid.IntRange(0, 3).Draw(t, "capacity"),
			Reserve: map[record.InstrumentKind]int{
				record.Indicator: rapid.IntRange(0, 3).Draw(t, "indicators"), record.ProvingUnit: rapid.IntRange(0, 2).Draw(t, "units"),
			},
		}
		items := make([]Item, rapid.IntRange(0, 6).Draw(t, "n"))
		for i := range items {
			items[i] = Item{
				ID:      string(rune('A' + i)),
				Kind:    rapid.SampledFrom([]record.InstrumentKind{record.Indicator, record.ProvingUnit}).Draw(t, "kind"),
				Due:     float64(rapid.IntRange(-2, 8).Draw(t, "due")) / 2,
				Use:     float64(rapid.IntRange(0, 3).Draw(t, "use")),
				Out:     []float64{0, rapid.Float64Range(0, 1).Draw(t, "out")},
				Working: rapid.Bool().Draw(t, "working"),
			}
		}
		n := newNetwork(items, shop)
		for i := range items {
			n.send(i)
		}
		if !fits(items, n.week, shop) {
			t.Fatalf("weeks %v break bench or reserve", n.week)
		}
		got := price{}
		for i := range items {
			got = got.plus(n.prices[i][n.week[i]])
		}
		if want := brute(items, shop); got != want {
			t.Fatalf("weeks %v cost %v, the best plan %v", n.week, got, want)
		}
	})
}

// A bench for a fleet of 500 in 26 weeks is planned without a wait, and whole.
func TestScheduleOfAFleet(t *testing.T) {
	items := make([]Item, 500)
	for i := range items {
		items[i] = indicatorItem("I"+string(rune('0'+i%10)), float64(i%40)-5, 1+float64(i%7))
	}
	shop := Shop{Weeks: 26, Capacity: 12, Reserve: map[record.InstrumentKind]int{record.Indicator: 490}}
	p := Schedule(items, shop)
	load := map[int]int{}
	for _, v := range p.Visits {
		load[v.Week]++
	}
	for week, n := range load {
		if n > 10 {
			t.Errorf("week %d: %d away, 490 of 500 must stay", week, n)
		}
	}
	if len(p.Visits) != 260 || len(p.Left) == 0 {
		t.Errorf("%d visits, %d left", len(p.Visits), len(p.Left))
	}
}
