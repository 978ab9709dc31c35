package report

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"math"
	"slices"
)

// A SamplingPlan says how many of the compliant records of a week a person checks, and
// how many of those may turn out bad.
type SamplingPlan struct {
	Size   int // of the sample; the whole lot where it is not larger
	Accept int // at most so many bad ones, and the rest of the lot is not checked
	// Source says where size and acceptance number come from.
	Source string
}

// planSource names the table below.
const planSource = "ISO 2859-1, single sampling, normal inspection, general level II, AQL 1.0 (from memory, not yet checked against the standard)"

// plans are size and acceptance number by the size of the lot. Code letters without
// an entry of their own take the one that the arrows of the table lead to: A to D
// that of E, F that of E, G that of H. Source: ISO 2859-1:1999, tables 1 and 2-A, from
// memory; the plans themselves are judged by what [SamplingPlan.Passes] computes.
var plans = []struct{ upTo, size, accept int }{
	{150, 13, 0},                     // A to F
	{500, 50, 1},                     // G, H
	{1200, 80, 2},                    // J
	{3200, 125, 3},                   // K
	{10000, 200, 5},                  // L
	{35000, 315, 7},                  // M
	{150000, 500, 10},                // N
	{500000, 800, 14},                // P
	{math.MaxInt, LargestSample, 21}, // Q
}

// LargestSample is the largest size of a sample.
const LargestSample = 1250

// PlanFor returns the sampling plan for a lot of so many compliant records.
func PlanFor(lot int) SamplingPlan {
	i, _ := slices.BinarySearchFunc(plans, lot, func(p struct{ upTo, size, accept int }, lot int) int {
		return cmp.Compare(p.upTo, lot)
	})
	return SamplingPlan{plans[i].size, plans[i].accept, planSource}
}

// Passes returns the chance that a lot with so many bad records among it passes the
// check: that a sample drawn without putting back holds no more bad ones than are
// accepted. A lot that is checked as a whole passes where it holds no more than that.
func (p SamplingPlan) Passes(lot, bad int) float64 {
	return hypergeometric(p.Accept, lot, min(bad, lot), min(p.Size, lot))
}

// A Sample is what is drawn from the compliant records of a week to be checked.
type Sample struct {
	Lot     int // compliant records of the week
	Plan    SamplingPlan
	Records []*Filed // in the order in which they are drawn
	Seed    string   // name of the ledger and week, by which they were drawn; see placeOf
	Curve   []Passing
}

// A Passing is one point of the operating characteristic of a plan: with how many bad
// records a lot passes how often.
type Passing struct {
	Percent float64 // of the lot that is bad, as asked; the chance is for Bad
	Bad     int     // records that this makes, rounded up
	Chance  float64
}

// curveAt are the percentages at which a plan is shown.
var curveAt = []float64{1, 5, 10}

// A draw is a compliant record with its place in the order of drawing.
type draw struct {
	place [sha256.Size]byte
	filed *Filed
}

// placeOf is a record's place in the order of drawing: the SHA-256 over the seed, a
// slash and the record's name. Whoever knows the seed can draw again.
func placeOf(seed string, f *Filed) [sha256.Size]byte {
	return sha256.Sum256([]byte(seed + "/" + f.Name()))
}

// An urn keeps the records that are drawn first, as many as any plan may want.
type urn struct {
	seed  string
	first []draw
	lot   int
}

// seedOf returns the seed for a week of a ledger. Other weeks and other ledgers draw
// otherwise, the same ones always alike.
func seedOf(origin string, w ISOWeek) string { return origin + " " + w.String() }

// add takes a compliant record.
func (u *urn) add(f *Filed) {
	u.lot++
	u.first = append(u.first, draw{placeOf(u.seed, f), f})
	if len(u.first) == 2*LargestSample {
		u.trim(LargestSample)
	}
}

// trim brings the records into the order of drawing and keeps n of them.
func (u *urn) trim(n int) {
	slices.SortFunc(u.first, func(a, b draw) int {
		return cmp.Or(bytes.Compare(a.place[:], b.place[:]), cmp.Compare(a.filed.Name(), b.filed.Name()))
	})
	n = min(n, len(u.first))
	clear(u.first[n:])
	u.first = u.first[:n]
}

// sample draws by a plan.
func (u *urn) sample(p SamplingPlan) Sample {
	s := Sample{Lot: u.lot, Plan: p, Seed: u.seed}
	u.trim(len(u.first))
	for _, one := range u.first[:min(p.Size, len(u.first))] {
		s.Records = append(s.Records, one.filed)
	}
	for _, percent := range curveAt {
		bad := int(math.Ceil(float64(u.lot) * percent / 100))
		s.Curve = append(s.Curve, Passing{percent, bad, p.Passes(u.lot, bad)})
	}
	return s
}
