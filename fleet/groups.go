package fleet

// groups are sets of numbered things that are joined two by two (union-find).
type groups struct{ root []int32 }

func newGroups(n int) *groups {
	g := &groups{make([]int32, n)}
	for i := range g.root {
		g.root[i] = int32(i)
	}
	return g
}

func (g *groups) find(i int32) int32 {
	for g.root[i] != i {
		g.root[i] = g.root[g.root[i]]
		i = g.root[i]
	}
	return i
}

func (g *groups) join(i, j int32) { g.root[g.find(i)] = g.find(j) }

// number numbers the groups of the things that are wanted, from 0 in their order; the
// others get -1.
func (g *groups) number(wanted func(i int32) bool) (numbers []int32, count int) {
	numbers = make([]int32, len(g.root))
	ofRoot := make(map[int32]int32)
	for i := range g.root {
		if numbers[i] = -1; !wanted(int32(i)) {
			continue
		}
		r := g.find(int32(i))
		n, seen := ofRoot[r]
		if !seen {
			n = int32(count)
			ofRoot[r] = n
			count++
		}
		numbers[i] = n
	}
	return numbers, count
}
