package fleet

import (
	"cmp"
	"slices"
	"strings"
)

// A party is an instrument as it takes part in proofs: as indicator or as unit.
type party struct {
	id       string
	unit     bool
	anchored bool    // a verified reference: its level is known to be 0 and it is not to blame
	rows     []int32 // its rows, in order of time
}

// past reports whether the party is an instrument before its last service, with which
// no proof can be made any more.
func (p *party) past() bool { return strings.Contains(p.id, earlier) }

// A layout is the two-way arrangement of the points. Each instrument has a node
// for each expected voltage, since its error at 50 V says little of that at
// 690 V; faults are of the instrument and show at all of its nodes.
//
// A row i says y[i] = level of indicator node a[i] + level of unit node b[i].
type layout struct {
	parties []party // indicators first, then units, each by id
	aParty  []int32 // party of each indicator node
	bParty  []int32 // party of each unit node

	aExpected, bExpected []float64 // volts of each node

	a, b    []int32
	week, y []float64
	masked  []bool // rows that were found to be spikes; they take no part in fits

	from float64 // the week in which it begins
	side int     // readings wanted on each side of a step

	dense int // unit nodes of a part up to which its matrix is inverted

	cluster  []int32 // of each party; parties of different clusters share no proof, not even by way of others
	clusters int
}

type nodeKey struct {
	id       string
	expected float64
}

// newLayout arranges the points, which must be in order of time, and takes those
// of weeks from (included) to until (not included).
func newLayout(points []Point, from, until float64, references []string) *layout {
	low, _ := slices.BinarySearchFunc(points, from, byWeek)
	high, _ := slices.BinarySearchFunc(points, until, byWeek)
	points = points[low:max(low, high)]
	n := len(points)
	l := &layout{
		from: from, side: minSide, dense: denseNodes,
		a: make([]int32, n), b: make([]int32, n),
		week: make([]float64, n), y: make([]float64, n), masked: make([]bool, n),
	}
	aKeys, bKeys := nodeKeys(points)
	aIndex := l.addParties(aKeys, false, nil, &l.aParty, &l.aExpected)
	bIndex := l.addParties(bKeys, true, references, &l.bParty, &l.bExpected)
	for i := range points {
		p := &points[i]
		l.a[i] = aIndex[nodeKey{p.Indicator, p.Expected}]
		l.b[i] = bIndex[nodeKey{p.Unit, p.Expected}]
		l.week[i], l.y[i] = p.Week, p.Percent
	}
	l.fillRows()
	l.findClusters()
	return l
}

func byWeek(p Point, week float64) int { return cmp.Compare(p.Week, week) }

// nodeKeys returns the nodes of both sides, in order.
func nodeKeys(points []Point) (a, b []nodeKey) {
	as, bs := map[nodeKey]bool{}, map[nodeKey]bool{}
	for i := range points {
		as[nodeKey{points[i].Indicator, points[i].Expected}] = true
		bs[nodeKey{points[i].Unit, points[i].Expected}] = true
	}
	return sortedKeys(as), sortedKeys(bs)
}

func sortedKeys(set map[nodeKey]bool) []nodeKey {
	keys := make([]nodeKey, 0, len(set))
	for k := range set {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(x, y nodeKey) int {
		return cmp.Or(cmp.Compare(x.id, y.id), cmp.Compare(x.expected, y.expected))
	})
	return keys
}

// addParties adds a party for each id of keys, writes the party and the voltage of
// each node to nodes and volts, and returns the node of each key.
func (l *layout) addParties(keys []nodeKey, unit bool, references []string, nodes *[]int32, volts *[]float64) map[nodeKey]int32 {
	index := make(map[nodeKey]int32, len(keys))
	for i, k := range keys {
		if i == 0 || keys[i-1].id != k.id {
			l.parties = append(l.parties, party{id: k.id, unit: unit, anchored: slices.Contains(references, plainID(k.id))})
		}
		index[k] = int32(i)
		*nodes = append(*nodes, int32(len(l.parties)-1))
		*volts = append(*volts, k.expected)
	}
	return index
}

// fillRows gives each party its rows, cut from one slice.
func (l *layout) fillRows() {
	counts := make([]int, len(l.parties))
	for i := range l.a {
		counts[l.aParty[l.a[i]]]++
		counts[l.bParty[l.b[i]]]++
	}
	all := make([]int32, 2*len(l.a))
	for p := range l.parties {
		l.parties[p].rows, all = all[:0:counts[p]], all[counts[p]:]
	}
	for i := range l.a {
		for _, p := range []int32{l.aParty[l.a[i]], l.bParty[l.b[i]]} {
			l.parties[p].rows = append(l.parties[p].rows, int32(i))
		}
	}
}

// findClusters numbers the clusters of parties.
func (l *layout) findClusters() {
	groups := newGroups(len(l.parties))
	for i := range l.a {
		groups.join(l.aParty[l.a[i]], l.bParty[l.b[i]])
	}
	l.cluster, l.clusters = groups.number(func(int32) bool { return true })
}

// rivals returns which parties could account for what party p seems to do: those of its
// cluster, and in a large fleet only those that it was proved on.
func (l *layout) rivals(p int32) func(q int32) bool {
	if len(l.parties) < large {
		return func(q int32) bool { return q != p && l.cluster[q] == l.cluster[p] }
	}
	met := make([]bool, len(l.parties))
	for _, i := range l.parties[p].rows {
		met[l.other(p, i)] = true
	}
	return func(q int32) bool { return met[q] }
}

// other returns the party that row i compares p with.
func (l *layout) other(p, i int32) int32 {
	if q := l.aParty[l.a[i]]; q != p {
		return q
	}
	return l.bParty[l.b[i]]
}
