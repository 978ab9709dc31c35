package verify

import (
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"nilvolt/record"
)

// BenchmarkJudge judges records of a site: three in four of them clean, the others
// with one fault each or with steps that were not followed up. Invented, in the shares
// of the readings that bench generates.
func BenchmarkJudge(b *testing.B) {
	m := mixer{random: rand.New(rand.NewPCG(1, 2))}
	var clean, faulty, all []*record.Record
	j := NewJudge(DefaultPolicy(), nil, nil)
	for range 300 {
		rec := m.record()
		all = append(all, rec)
		if len(j.Judge(rec).Findings) == 1 { // not-recorded
			clean = append(clean, rec)
		} else {
			faulty = append(faulty, rec)
		}
	}
	for _, of := range []struct {
		name    string
		records []*record.Record
	}{{"mix", all}, {"clean", clean}, {"faulty", faulty}} {
		b.Run(of.name, func(b *testing.B) {
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				j.Judge(of.records[i%len(of.records)])
			}
		})
	}
}

// A mixer makes records one after the other.
type mixer struct {
	random    *rand.Rand
	number    int
	indicator string
	now       record.Instant
	events    []record.Event
}

// mixed says how many records in a hundred have each fault; the rest has none.
var mixed = []struct {
	fault   string
	percent int
}{
	{"prove missing", 2},
	{"reprove missing", 2},
	{"prove failed", 1},
	{"reprove failed", 1},
	{"prove stale", 1},
	{"reprove late", 1},
	{"pair missing", 2},
	{"residual", 1},
	{"residual then dead", 1},
	{"unreadable", 1},
	{"live", 2},
	{"live then dead", 1},
	{"probes exchanged", 2},
}

// record makes the next record.
func (m *mixer) record() *record.Record {
	m.number++
	m.events = nil
	m.indicator = "VI-" + strconv.Itoa(100+m.number%400)
	m.now = record.NewInstant(1767571200+int64(m.number)*3600, 0, 0)
	supply := record.SinglePhase
	switch n := m.random.IntN(100); {
	case n >= 86:
		supply = record.ThreePhase3Wire
	case n >= 56:
		supply = record.ThreePhase
	}
	fault, share := "", m.random.IntN(100)
	for _, f := range mixed {
		if share -= f.percent; share < 0 {
			fault = f.fault
			break
		}
	}
	if m.random.IntN(100) < 8 && fault != "live then dead" {
		m.row(record.Event{Kind: record.Isolate})
		m.row(record.Event{Kind: record.Lock})
	}
	m.work(supply.Conductors(), fault)
	return &record.Record{
		ID: "R" + strconv.Itoa(m.number), Events: m.events,
		Jobs: []record.Job{{Record: "R" + strconv.Itoa(m.number), Supply: supply, Pos: m.events[0].Pos}},
	}
}

// work makes the proofs and the dead tests, spoilt by a fault.
func (m *mixer) work(use []record.Conductor, fault string) {
	if fault != "prove missing" {
		m.proof(record.Prove, fault == "prove failed")
	}
	if fault == "prove stale" {
		m.now = m.now.Add(70 * time.Minute)
	}
	var pairs []record.Pair
	for i, second := range use {
		for _, first := range use[i+1:] {
			pairs = append(pairs, record.Pair{A: first, B: second})
		}
	}
	spoilt := m.random.IntN(len(pairs))
	for i, p := range pairs {
		if i == spoilt && m.spoil(p, fault) {
			continue
		}
		m.test(p, m.tenths(0, 19))
	}
	if fault == "live then dead" {
		for _, p := range pairs {
			m.test(p, m.tenths(0, 19))
		}
	}
	if fault == "reprove late" {
		m.now = m.now.Add(40 * time.Minute)
	}
	if fault != "reprove missing" {
		m.proof(record.Reprove, fault == "reprove failed")
	}
}

// spoil makes the dead test of the pair that has the fault, false where it is like
// any other.
func (m *mixer) spoil(p record.Pair, fault string) bool {
	switch fault {
	case "pair missing":
	case "residual":
		m.test(p, m.tenths(121, 499))
	case "residual then dead":
		m.test(p, m.tenths(121, 499))
		m.test(p, m.tenths(0, 19))
	case "unreadable":
		m.test(p, "---")
	case "live", "live then dead":
		m.test(p, m.tenths(500, 2400))
	case "probes exchanged":
		m.test(record.Pair{A: p.B, B: p.A}, m.tenths(0, 19))
	default:
		return false
	}
	return true
}

func (m *mixer) tenths(low, high int) string {
	n := low + m.random.IntN(high-low+1)
	return strconv.Itoa(n/10) + "." + strconv.Itoa(n%10)
}

func (m *mixer) proof(k record.Kind, failed bool) {
	volts := m.tenths(2270, 2330)
	if failed {
		volts = m.tenths(1800, 1840)
	}
	m.reading(record.Event{Kind: k, Source: "PU-" + strconv.Itoa(1+m.number%9), Expected: 230, HasExpected: true}, volts)
}

func (m *mixer) test(p record.Pair, volts string) {
	m.reading(record.Event{Kind: record.Test, Pair: p, Placed: true}, volts)
}

func (m *mixer) reading(e record.Event, volts string) {
	var err error
	if e.Volts, err = record.ParseReading(volts); err != nil {
		panic(err)
	}
	e.Indicator = m.indicator
	m.row(e)
}

// row adds a row and lets some seconds pass.
func (m *mixer) row(e record.Event) {
	e.Time = m.now
	e.Pos = record.Pos{File: "site.csv", Line: 8*m.number + len(m.events), Column: 1}
	m.events = append(m.events, e)
	m.now = m.now.Add(time.Duration(3+m.random.IntN(18)) * time.Second)
}
