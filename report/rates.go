package report

import (
	"math"

	"nilvolt/fleet"
)

// confidence of all intervals of a report. Source: common practice.
const confidence = 0.95

// A Count is how many records there were, and how many of them did not comply.
type Count struct {
	Records int
	Failing int // not compliant, live ones among them
	Live    int
}

func (c *Count) add(d Count) {
	c.Records += d.Records
	c.Failing += d.Failing
	c.Live += d.Live
}

// Rate returns the share of the records that did not comply, from 0 to 1, and not a
// number without records.
func (c Count) Rate() float64 { return float64(c.Failing) / float64(c.Records) }

// Interval returns the 95 % interval of the rate by Wilson's score, 0 to 1 without
// records. Source: NIST/SEMATECH e-Handbook, 7.2.4.1.
func (c Count) Interval() (low, high float64) {
	return fleet.Wilson(c.Failing, c.Records, confidence)
}

// A Change says how a rate stands to that of the weeks before.
type Change uint8

// The changes. The zero Change is that nothing can be told.
const (
	CannotTell Change = iota // the difference may be chance, or there is nothing to compare with
	Higher
	Lower
)

// String returns the change in words.
func (c Change) String() string {
	switch c {
	case Higher:
		return "higher"
	case Lower:
		return "lower"
	case CannotTell:
	}
	return "no difference can be told"
}

// change compares a rate with the one before, by Fisher's exact test: records that do
// not comply are as many as they are, and the chance is asked that so many of them, or
// more, fall into the week. rows is how many such comparisons stand in one table: so
// that a whole table cries wolf no more often than one comparison would, each must be
// so much less likely to be chance (Bonferroni).
func change(now, before Count, rows int) Change {
	if now.Records == 0 || before.Records == 0 {
		return CannotTell
	}
	limit := (1 - confidence) / 2 / float64(max(1, rows))
	lot, bad := now.Records+before.Records, now.Failing+before.Failing
	switch {
	case 1-hypergeometric(now.Failing-1, lot, bad, now.Records) <= limit:
		return Higher
	case hypergeometric(now.Failing, lot, bad, now.Records) <= limit:
		return Lower
	}
	return CannotTell
}

// hypergeometric returns the chance that of size drawn from a lot, without putting
// back, at most most are among the bad ones.
func hypergeometric(most, lot, bad, size int) float64 {
	sum := 0.0
	for x := max(0, size-(lot-bad)); x <= min(most, bad, size); x++ {
		sum += math.Exp(logChoose(bad, x) + logChoose(lot-bad, size-x) - logChoose(lot, size))
	}
	return min(1, sum)
}

// logChoose returns the logarithm of the number of ways to choose k of n.
func logChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}
