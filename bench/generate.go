package main

import (
	"bufio"
	"hash/fnv"
	"io"
	"math/rand/v2"
	"strconv"
	"time"
)

// The shape of the generated readings. They are invented: no source, only chosen
// so that a row takes about 58 bytes and a record about 7.7 rows.
const (
	seed          = 20260105
	numIndicators = 400
	// slot is the time that an indicator spends on one record. It is longer than
	// the longest record, so that no two records of an indicator overlap.
	slot = 3 * time.Hour

	header = "record,time,event,indicator,source,from,to,volts,expected,supply\n"
)

// firstStart is when the first record begins.
var firstStart = time.Date(2026, time.January, 5, 0, 0, 0, 0, time.UTC)

// A fault is what is wrong with a generated record.
type fault int

const (
	faultless fault = iota
	proveMissing
	reproveMissing
	proveFailed
	reproveFailed
	proveStale
	reproveLate
	pairMissing
	residual
	residualThenDead // read again and dead: compliant
	unreadable
	live
	liveThenDead    // every pair read again and dead: compliant
	probesExchanged // on one pair, a caution at most: compliant
	numFaults
)

// status returns what a record with the fault is to be judged as (docs/rules.md,
// section 8).
func (f fault) status() status {
	switch f {
	case faultless, residualThenDead, liveThenDead, probesExchanged:
		return compliant
	case live:
		return liveFound
	default:
		return nonCompliant
	}
}

// percent says how many records in a hundred have each fault; the rest is
// faultless.
var percent = [numFaults]int{
	proveMissing: 2, reproveMissing: 2, proveFailed: 1, reproveFailed: 1, proveStale: 1, reproveLate: 1,
	pairMissing: 2, residual: 1, residualThenDead: 1, unreadable: 1, live: 2, liveThenDead: 1, probesExchanged: 2,
}

// A circuit is a supply with the pairs that it requires (docs/rules.md, section 5).
type circuit struct {
	supply  string
	percent int
	pairs   [][2]string
}

var circuits = []circuit{
	{"single-phase", 56, pairsOf("L", "N", "E")},
	{"three-phase", 30, pairsOf("L1", "L2", "L3", "N", "E")},
	{"three-phase-3-wire", 14, pairsOf("L1", "L2", "L3", "E")},
}

// pairsOf returns every unordered pair, the conductor that stands later first: the
// first probe goes on earth, or else on neutral.
func pairsOf(conductors ...string) [][2]string {
	var pairs [][2]string
	for i, second := range conductors {
		for _, first := range conductors[i+1:] {
			pairs = append(pairs, [2]string{first, second})
		}
	}
	return pairs
}

// A generator makes records one after the other. The same seed gives the same
// bytes on every machine.
type generator struct {
	random *rand.Rand
	number int // of the next record
	rows   int
	buf    []byte

	// Of the record in hand.
	id, indicator string
	supply        string // written on the first row only; blank afterwards
	now           time.Time
}

func newGenerator() *generator {
	return &generator{random: rand.New(rand.NewPCG(seed, 0))}
}

// next makes one record. The rows are valid until the following call.
func (g *generator) next() (rows []byte, id string, want status) {
	g.buf = g.buf[:0]
	g.id = "R" + strconv.Itoa(1_000_000+g.number)
	unit := g.number % numIndicators
	g.indicator = "VI-" + strconv.Itoa(100+unit)
	g.now = firstStart.Add(time.Duration(g.number/numIndicators)*slot + time.Duration(unit)*time.Second)
	g.number++

	c := g.circuit()
	g.supply = c.supply
	f := g.fault()
	if g.random.IntN(100) < 8 && f != liveThenDead {
		// A live reading made dead without another isolation would be a failure
		// of its own where isolations are recorded.
		g.step("isolate")
		g.step("lock")
	}
	g.judgedRows(c, f)
	return g.buf, g.id, f.status()
}

func (g *generator) circuit() *circuit {
	n := g.random.IntN(100)
	for i := range circuits {
		if n -= circuits[i].percent; n < 0 {
			return &circuits[i]
		}
	}
	return &circuits[0]
}

func (g *generator) fault() fault {
	n := g.random.IntN(100)
	for f, share := range percent {
		if n -= share; n < 0 {
			return fault(f)
		}
	}
	return faultless
}

// judgedRows makes the readings: a prove, a dead test on every pair, a reprove,
// spoilt by f.
func (g *generator) judgedRows(c *circuit, f fault) {
	if f != proveMissing {
		g.proof("prove", f == proveFailed)
	}
	if f == proveStale {
		g.now = g.now.Add(61*time.Minute + g.upTo(20*time.Minute))
	}
	spoilt := g.random.IntN(len(c.pairs))
	for i, pair := range c.pairs {
		if i != spoilt {
			g.test(pair, g.dead())
			continue
		}
		switch f {
		case pairMissing:
		case unreadable:
			g.test(pair, "---")
		case residual:
			g.test(pair, g.tenths(121, 499))
		case residualThenDead:
			g.test(pair, g.tenths(121, 499))
			g.test(pair, g.dead())
		case live, liveThenDead:
			g.test(pair, g.tenths(500, 2400))
		case probesExchanged:
			g.test([2]string{pair[1], pair[0]}, g.dead())
		default:
			g.test(pair, g.dead())
		}
	}
	if f == liveThenDead {
		for _, pair := range c.pairs {
			g.test(pair, g.dead())
		}
	}
	if f == reproveLate {
		g.now = g.now.Add(31*time.Minute + g.upTo(20*time.Minute))
	}
	if f != reproveMissing {
		g.proof("reprove", f == reproveFailed)
	}
}

func (g *generator) upTo(d time.Duration) time.Duration {
	return time.Duration(g.random.Int64N(int64(d)))
}

// tenths returns a voltage from low to high tenths of a volt.
func (g *generator) tenths(low, high int) string {
	n := low + g.random.IntN(high-low+1)
	return strconv.Itoa(n/10) + "." + strconv.Itoa(n%10)
}

// dead returns a dead reading: mostly under 2 V, now and then up to the limit of
// 12 V.
func (g *generator) dead() string {
	if g.random.IntN(50) == 0 {
		return g.tenths(20, 120)
	}
	return g.tenths(0, 19)
}

// proof makes a reading on a proving unit of 230 V; a failed one reads a fifth
// too little.
func (g *generator) proof(label string, failed bool) {
	volts := g.tenths(2270, 2330)
	if failed {
		volts = g.tenths(1800, 1840)
	}
	g.row(label, g.indicator, "PU-"+string('1'+rune(g.number%9)), [2]string{}, volts, "230")
}

func (g *generator) test(pair [2]string, volts string) {
	g.row("test", g.indicator, "", pair, volts, "")
}

func (g *generator) step(label string) {
	g.row(label, "", "", [2]string{}, "", "")
}

// row appends one row and lets 3 to 20 seconds pass.
func (g *generator) row(event, indicator, source string, pair [2]string, volts, expected string) {
	b := append(g.buf, g.id...)
	b = append(b, ',')
	b = g.now.AppendFormat(b, time.RFC3339)
	for _, field := range [...]string{event, indicator, source, pair[0], pair[1], volts, expected, g.supply} {
		b = append(b, ',')
		b = append(b, field...)
	}
	g.buf = append(b, '\n')
	g.supply = ""
	g.rows++
	g.now = g.now.Add(time.Duration(3+g.random.IntN(18)) * time.Second)
}

// generate writes whole records until there are at least wantRows rows, and
// returns what they are to be judged as.
func generate(w io.Writer, wantRows int) (tally, error) {
	out := bufio.NewWriterSize(w, 1<<20)
	g := newGenerator()
	var t tally
	out.WriteString(header) // errors stick, and come out of Flush
	for g.rows < wantRows {
		rows, id, want := g.next()
		out.Write(rows)
		t.add(id, want)
	}
	t.Rows = g.rows
	return t, out.Flush()
}

// generateShuffled is generate with the rows in random order. It keeps all rows
// in memory.
func generateShuffled(w io.Writer, wantRows int) (tally, error) {
	g := newGenerator()
	var t tally
	var all []byte
	for g.rows < wantRows {
		rows, id, want := g.next()
		all = append(all, rows...)
		t.add(id, want)
	}
	t.Rows = g.rows
	starts := make([]int, 0, g.rows+1)
	starts = append(starts, 0)
	for i, c := range all {
		if c == '\n' {
			starts = append(starts, i+1)
		}
	}
	order := rand.New(rand.NewPCG(seed, 1)).Perm(g.rows)
	out := bufio.NewWriterSize(w, 1<<20)
	out.WriteString(header)
	for _, row := range order {
		out.Write(all[starts[row]:starts[row+1]])
	}
	return t, out.Flush()
}

// A status is a verdict as the JSON output writes it.
type status string

const (
	compliant    status = "compliant"
	nonCompliant status = "non-compliant"
	liveFound    status = "live"
)

// A tally says how many records were judged as what. Two tallies with the same
// Digest agree on each record, whatever order the records came in.
type tally struct {
	Rows         int `json:",omitempty"`
	Records      int
	Compliant    int
	NonCompliant int
	Live         int
	Other        int    // any other status
	Digest       uint64 // sum of the hashes of record and status
}

func (t *tally) add(id string, s status) {
	t.Records++
	switch s {
	case compliant:
		t.Compliant++
	case nonCompliant:
		t.NonCompliant++
	case liveFound:
		t.Live++
	default:
		t.Other++
	}
	h := fnv.New64a()
	io.WriteString(h, id)
	io.WriteString(h, "=")
	io.WriteString(h, string(s))
	t.Digest += h.Sum64()
}
