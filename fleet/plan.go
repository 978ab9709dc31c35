package fleet

import (
	"cmp"
	"math"
	"slices"

	"nilvolt/record"
)

// An Item is an instrument as the service plan sees it. Weeks count from the
// beginning of the plan.
type Item struct {
	ID   string
	Kind record.InstrumentKind
	// Due is the week at which it is due, below 0 where it is overdue and +Inf where
	// nothing says when.
	Due float64
	// Out is, for each week of the plan, the chance that it is out of tolerance in that
	// week if it is not serviced, as [Forecast.OutBy] has it; missing weeks are 0.
	Out []float64
	// Use is how much it is used, in days of use a day: it weighs its risk.
	Use float64
	// Working says that it is good to be used. One that is not is missed by nobody
	// while it is on the bench.
	Working bool

	of int // place in Fleet.Instruments
}

// A Shop is what the service can do.
type Shop struct {
	Weeks    int // length of the plan
	Capacity int // instruments on the bench in a week
	// Reserve is the number of working instruments of each kind that must be left
	// while others are on the bench.
	Reserve map[record.InstrumentKind]int
}

// A Visit is a week on the bench.
type Visit struct {
	Item Item
	Week int
}

// A Plan says which instrument is serviced when.
type Plan struct {
	Visits []Visit // by week, then by Due
	Left   []Item  // instruments that are due within the plan and find no place
	Risk   float64 // expected days of use past the due date or out of tolerance
}

// daysPerWeek turns weeks into days.
const daysPerWeek = 7

// Schedule returns the plan of the least expected risk-days, and of all such plans one
// that services each instrument as late as it may be. An instrument is away for
// the week of its visit; one that brings no risk within the plan gets no visit.
//
// It is a flow of instruments through weeks, with capacities on the kinds of each week
// and on the weeks, of the least cost; such flows are whole numbers at their best, so
// that the plan is optimal, not only good.
func Schedule(items []Item, shop Shop) Plan {
	n := newNetwork(items, shop)
	for i := range items {
		n.send(i)
	}
	var p Plan
	for i, item := range items {
		week := n.week[i]
		p.Risk += item.risk(week)
		switch {
		case week < shop.Weeks:
			p.Visits = append(p.Visits, Visit{item, week})
		case item.risk(shop.Weeks) > 0:
			p.Left = append(p.Left, item)
		}
	}
	slices.SortStableFunc(p.Visits, func(a, b Visit) int {
		return cmp.Or(cmp.Compare(a.Week, b.Week), cmp.Compare(a.Item.Due, b.Item.Due), cmp.Compare(a.Item.ID, b.Item.ID))
	})
	return p
}

// risk returns the expected risk-days until a visit in week.
func (i *Item) risk(week int) float64 {
	days := 0.0
	for w := range week {
		past := min(1, max(0, float64(w+1)-i.Due)) // share of week w past the due date
		if w < len(i.Out) {
			past = max(past, i.Out[w])
		}
		days += daysPerWeek * past * i.Use
	}
	return days
}

// A price is what a visit costs: the risk first, in millionths of a day, and then the
// weeks that it comes early, in thousandths. Whole numbers add up without rounding.
type price struct{ risk, early int64 }

func (p price) plus(q price) price  { return price{p.risk + q.risk, p.early + q.early} }
func (p price) minus(q price) price { return price{p.risk - q.risk, p.early - q.early} }

func (p price) less(q price) bool {
	return p.risk < q.risk || p.risk == q.risk && p.early < q.early
}

// price returns the price of a visit in week; week = weeks is none.
func (i *Item) price(week, weeks int) price {
	p := price{risk: int64(math.Round(1e6 * i.risk(week)))}
	if week < weeks {
		// A visit costs a place even at the last moment, so that none is made for nothing.
		p.early = 1 + 1000*int64(weeks-week)
	}
	return p
}

// A network is the flow of items through weeks. The last week, which has room for all,
// stands for no visit.
type network struct {
	prices [][]price
	kinds  []record.InstrumentKind // of each item; InstrumentUnknown where nobody misses it
	week   []int                   // of each item, -1 before it is sent
	in     [][]int                 // items of each week, ascending; those without a visit are not listed
	of     []map[record.InstrumentKind]int
	shop   Shop
	room   map[record.InstrumentKind]int // working instruments that may be away at once
}

func newNetwork(items []Item, shop Shop) *network {
	n := &network{shop: shop, in: make([][]int, shop.Weeks), room: map[record.InstrumentKind]int{}}
	for _, item := range items {
		prices := make([]price, shop.Weeks+1)
		for w := range prices {
			prices[w] = item.price(w, shop.Weeks)
		}
		kind := record.InstrumentUnknown
		if item.Working {
			kind = item.Kind
			n.room[kind]++
		}
		n.prices, n.kinds, n.week = append(n.prices, prices), append(n.kinds, kind), append(n.week, -1)
	}
	for kind := range n.room {
		n.room[kind] = max(0, n.room[kind]-shop.Reserve[kind])
	}
	for range shop.Weeks {
		n.of = append(n.of, map[record.InstrumentKind]int{})
	}
	return n
}

// A move puts an item into a week.
type move struct{ item, week int }

// A surplus is a week that is over-full by one item of a kind.
type surplus struct {
	week int
	kind record.InstrumentKind
}

// A way is the cheapest found to come to a surplus.
type way struct {
	cost  price
	by    move    // that made it
	from  surplus // that the move mended
	first bool    // the move placed the new item, and mended nothing
}

// send finds the cheapest way to place one more item, moving others where that pays
// (the shortest path in what is left of the network, by Bellman and Ford), and takes it.
//
// An item that is moved out of a surplus, of the same kind where the kind is over-full
// and of any where only the week is, passes it on.
func (n *network) send(item int) {
	reached := map[surplus]way{}
	var queue []surplus
	relax := func(s surplus, b way) {
		if old, seen := reached[s]; !seen || b.cost.less(old.cost) {
			reached[s] = b
			queue = append(queue, s)
		}
	}
	for w, p := range n.prices[item] {
		relax(surplus{w, n.kinds[item]}, way{cost: p, by: move{item, w}, first: true})
	}
	var cheapest *way
	for len(queue) > 0 {
		s := queue[0]
		queue = queue[1:]
		b := reached[s]
		kindFull, weekFull := n.full(s.week, s.kind)
		if !kindFull && !weekFull {
			if cheapest == nil || b.cost.less(cheapest.cost) {
				cheapest = &b
			}
			continue
		}
		for _, j := range n.in[s.week] {
			if kindFull && n.kinds[j] != s.kind {
				continue
			}
			for w, p := range n.prices[j] {
				if w != s.week {
					relax(surplus{w, n.kinds[j]}, way{cost: b.cost.plus(p).minus(n.prices[j][s.week]), by: move{j, w}, from: s})
				}
			}
		}
	}
	for b := *cheapest; ; b = reached[b.from] {
		n.place(b.by)
		if b.first {
			return
		}
	}
}

// full reports whether a week has no room for one more working item of kind, and
// whether it has none for one more item at all.
func (n *network) full(week int, kind record.InstrumentKind) (kindFull, weekFull bool) {
	if week == n.shop.Weeks {
		return false, false
	}
	kindFull = kind != record.InstrumentUnknown && n.of[week][kind] >= n.room[kind]
	return kindFull, len(n.in[week]) >= n.shop.Capacity
}

func (n *network) place(m move) {
	kind := n.kinds[m.item]
	if old := n.week[m.item]; old >= 0 && old < n.shop.Weeks {
		i, _ := slices.BinarySearch(n.in[old], m.item)
		n.in[old] = slices.Delete(n.in[old], i, i+1)
		n.of[old][kind]--
	}
	if m.week < n.shop.Weeks {
		i, _ := slices.BinarySearch(n.in[m.week], m.item)
		n.in[m.week] = slices.Insert(n.in[m.week], i, m.item)
		n.of[m.week][kind]++
	}
	n.week[m.item] = m.week
}
