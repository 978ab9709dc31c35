package formats

// isRegister reports whether the columns are those of a register of instruments. They
// are known by their canonical names alone: the columns of a log may be called
// instrument and type too.
func (g *guesser) isRegister() bool {
	instrument, kind := false, false
	for _, name := range g.header {
		c := registerColumns.column(name)
		instrument = instrument || c == InstrumentColumn
		kind = kind || c == KindColumn
	}
	return instrument && kind
}

// guessRegister writes the columns of a register.
func (g *guesser) guessRegister() {
	g.kind = registerFile
	g.say("for: instruments", "columns of a register of instruments, and none of readings")
	g.say("columns:", "")
	found := make(map[Column]bool)
	for at, name := range g.header {
		c := registerColumns.column(name)
		switch {
		case c == NoColumn:
			continue
		case found[c]:
			g.doubt("#   "+c.String()+": "+g.ref(at), "another column of that name stands before it: leave one out")
		default:
			g.sayColumn(c, at, "", g.describe(at))
		}
		found[c], g.used[at] = true, true
	}
	g.guessIgnored()
}
